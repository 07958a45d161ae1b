/* An emulated AVR, whose int has 16 bits, runs vector_run.c: `avr_host IMAGE < words`.

   The image takes its words through GPIOR0 and gives the number of the first difference through GPIOR1. Through GPIOR2 it
   marks what is timed: of each kind of call the most cycles and the deepest stack are told. Exit status 0 identical,
   1 different, 2 the image broke off. */
#include <simavr/sim_avr.h>
#include <simavr/sim_elf.h>
#include <simavr/sim_io.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define GPIOR0_AT 0x3EU
#define GPIOR1_AT 0x4AU
#define GPIOR2_AT 0x4BU
#define RAM_AT 0x100
#define UNTOUCHED 0xA5U
#define SP_LOW 0x5DU
#define SP_HIGH 0x5EU
#define KINDS 5

static const char *const names[KINDS] = {"", "step", "sealed step", "write record", "recall"};
static uint8_t *bytes;
static size_t count;
static size_t taken;
static uint32_t answer;
static int answered;
static int kind;
static avr_cycle_count_t begun;
static int top;
static int free_from; /* lowest address of the stack */
static unsigned long long most_cycles[KINDS];
static int most_stack[KINDS];
static unsigned long calls[KINDS];

static void read_all(void)
{
    size_t room = 1U << 20;

    bytes = malloc(room);
    while ((bytes != NULL) && ((count += fread(&bytes[count], 1U, room - count, stdin)) == room)) {
        room *= 2U;
        bytes = realloc(bytes, room);
    }
}

static uint8_t give(avr_t *avr, avr_io_addr_t address, void *nothing)
{
    (void)avr;
    (void)address;
    (void)nothing;
    if (taken >= count) {
        fprintf(stderr, "more words were taken than given\n");
        exit(2);
    }
    return bytes[taken++];
}

static void receive(avr_t *avr, avr_io_addr_t address, uint8_t byte, void *nothing)
{
    (void)avr;
    (void)address;
    (void)nothing;
    answer |= (uint32_t)byte << (8 * answered);
    answered++;
}

static int stack_pointer(const avr_t *avr)
{
    return avr->data[SP_LOW] | (avr->data[SP_HIGH] << 8);
}

static void mark(avr_t *avr, avr_io_addr_t address, uint8_t now, void *nothing)
{
    (void)address;
    (void)nothing;
    if (now != 0U) {
        kind = now;
        begun = avr->cycle;
        top = stack_pointer(avr);
        memset(&avr->data[free_from], UNTOUCHED, (size_t)(top + 1 - free_from));
    } else {
        int lowest = free_from;
        while ((lowest <= top) && (avr->data[lowest] == UNTOUCHED)) {
            lowest++;
        }
        if (avr->cycle - begun > most_cycles[kind]) {
            most_cycles[kind] = avr->cycle - begun;
        }
        if (top + 1 - lowest > most_stack[kind]) {
            most_stack[kind] = top + 1 - lowest;
        }
        calls[kind]++;
        kind = 0;
    }
}

int main(int arguments, char **argument)
{
    elf_firmware_t image = {0};
    avr_t *avr = avr_make_mcu_by_name("atmega328p");
    int now = cpu_Running;

    if ((arguments != 2) || (avr == NULL) || (elf_read_firmware(argument[1], &image) != 0)) {
        fprintf(stderr, "usage: avr_host IMAGE < words\n");
        return 2;
    }
    read_all();
    avr_init(avr);
    avr->log = LOG_ERROR;
    avr_load_firmware(avr, &image);
    free_from = RAM_AT + (int)image.datasize + (int)image.bsssize;
    avr_register_io_read(avr, GPIOR0_AT, give, NULL);
    avr_register_io_write(avr, GPIOR1_AT, receive, NULL);
    avr_register_io_write(avr, GPIOR2_AT, mark, NULL);
    while ((now != cpu_Done) && (now != cpu_Crashed)) {
        now = avr_run(avr);
    }
    if (answered != 4) {
        fprintf(stderr, "the image broke off\n");
        return 2;
    }
    for (kind = 1; kind < KINDS; kind++) {
        printf("%s: %lu calls, at most %llu cycles and %d bytes of stack\n", names[kind], calls[kind], most_cycles[kind],
               most_stack[kind]);
    }
    if ((answer == 0U) && (taken != count)) {
        answer = UINT32_MAX;
    }
    if (answer != 0U) {
        printf("difference in item %ld\n", (long)(int32_t)answer);
    }
    return (answer != 0U) ? 1 : 0;
}
