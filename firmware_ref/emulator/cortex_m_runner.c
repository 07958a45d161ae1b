/* The C port with its vectors on a Cortex-M under an emulator, talking by semihosting.

   The image carries the compact vectors, takes every step, compares each word
   on the spot and writes all it got into results.bin for the host to compare
   once more. The time that each step took on the core's own timer goes into
   times.bin, after those of known numbers of instructions. With SEALED defined
   the steps are sealed ones. */
#include "lubetrip.h"
#include "lubetrip_seal.h"

__asm__(".section .rodata\n"
        ".balign 4\n"
        "vectors:\n"
        ".incbin \"" VECTORS "\"\n"
        ".text\n");
extern const uint32_t vectors[];

#define CASE UINT32_C(0x80000001)
#define CHECK UINT32_C(0x80000002)
#define TICKS UINT32_C(0x80000003)
#define HEAD_WORDS 9 /* title and digest */
#define STEP_WORDS (LT_IN_SIZE + LT_ST_SIZE + LT_OUT_SIZE)

#define SYS_OPEN 0x01U
#define SYS_WRITE0 0x04U
#define SYS_WRITE 0x05U
#define SYS_EXIT 0x18U
#define MODE_WB 5U
#define EXIT_GOOD 0x20026U
#define EXIT_BAD 0x20024U

#define SYSTICK ((volatile uint32_t *)UINT32_C(0xE000E010))
#define SYSTICK_MASK UINT32_C(0x00FFFFFF)

static uint32_t semihost(uint32_t operation, uint32_t argument)
{
    register uint32_t r0 __asm__("r0") = operation;
    register uint32_t r1 __asm__("r1") = argument;

    __asm__ volatile("bkpt 0xAB" : "+r"(r0) : "r"(r1) : "memory");
    return r0;
}

static uint32_t open_file(const char *name, uint32_t length)
{
    uint32_t block[] = {(uint32_t)name, MODE_WB, length};

    return semihost(SYS_OPEN, (uint32_t)block);
}

static void write_words(uint32_t file, const void *words, uint32_t count)
{
    uint32_t block[] = {file, (uint32_t)words, count * 4U};

    (void)semihost(SYS_WRITE, (uint32_t)block);
}

typedef void (*step_function)(int32_t state[], const int32_t settings[], const int32_t inputs[], int32_t outputs[]);

static void no_step(int32_t state[], const int32_t settings[], const int32_t inputs[], int32_t outputs[])
{
}

/* So many instructions and the return, whatever the compiler does. */
__attribute__((naked)) static void nops_1000(int32_t state[], const int32_t settings[], const int32_t inputs[],
                                             int32_t outputs[])
{
    __asm__ volatile(".rept 1000\n nop\n .endr\n bx lr\n");
}

__attribute__((naked)) static void nops_3000(int32_t state[], const int32_t settings[], const int32_t inputs[],
                                             int32_t outputs[])
{
    __asm__ volatile(".rept 3000\n nop\n .endr\n bx lr\n");
}

static int32_t settings[LT_SET_SIZE];
static int32_t state[LT_ST_SIZE];
static int32_t outputs[LT_OUT_SIZE];
static int32_t expected[STEP_WORDS];
static uint32_t results_file;
static uint32_t times_file;
static uint32_t different;

#ifdef SEALED
static uint32_t seals[LUBETRIP_SEALS_SIZE];

static void seal_all(void)
{
    lubetrip_seal_settings(settings, seals);
    lubetrip_seal_state(state, seals);
}

static void take_step(int32_t memory[], const int32_t values[], const int32_t inputs[], int32_t results[])
{
    lubetrip_sealed_step(memory, values, inputs, results, seals);
}
#else
static void seal_all(void)
{
}

#define take_step lubetrip_step
#endif

/* The pointer is volatile, so every function is called in the same few instructions. */
static void timed(step_function function, const int32_t inputs[])
{
    step_function volatile called = function;
    uint32_t before = SYSTICK[2];
    uint32_t ticks;

    called(state, settings, inputs, outputs);
    ticks = (before - SYSTICK[2]) & SYSTICK_MASK;
    write_words(times_file, &ticks, 1U);
}

static void compare(const int32_t got[], const int32_t wanted[], int count)
{
    int place;

    for (place = 0; place < count; place++) {
        if (got[place] != wanted[place]) {
            different++;
        }
    }
}

static const uint32_t *take(const uint32_t *from, int32_t to[], int count)
{
    int place;

    for (place = 0; place < count; place++) {
        to[place] = (int32_t)from[place];
    }
    return &from[count];
}

static const uint32_t *run_case(const uint32_t *word)
{
    int place;

    word = take(word, settings, LT_SET_SIZE);
    for (place = 0; place < STEP_WORDS; place++) {
        int is_state = (place >= LT_IN_SIZE) && (place < LT_IN_SIZE + LT_ST_SIZE);
        expected[place] = is_state ? (int32_t)*word++ : 0;
    }
    lubetrip_power_up(state, settings);
    seal_all();
    compare(state, &expected[LT_IN_SIZE], LT_ST_SIZE);
    write_words(results_file, state, LT_ST_SIZE);
    while ((*word >> 31) == 0U) {
        uint32_t changed = *word++;
        for (place = 0; place < STEP_WORDS; place++) {
            if (((changed >> place) & 1U) != 0U) {
                expected[place] = (int32_t)*word++;
            }
        }
        timed(take_step, expected);
        compare(state, &expected[LT_IN_SIZE], LT_ST_SIZE);
        compare(outputs, &expected[LT_IN_SIZE + LT_ST_SIZE], LT_OUT_SIZE);
        write_words(results_file, state, LT_ST_SIZE);
        write_words(results_file, outputs, LT_OUT_SIZE);
    }
    return word;
}

static const uint32_t *run_check(const uint32_t *word)
{
    static int32_t values[LT_SET_SIZE];
    int32_t answer[4];
    int place;

    word = take(word, values, LT_SET_COUNT);
    for (place = LT_SET_COUNT; place < LT_SET_SIZE; place++) {
        values[place] = 0;
    }
    answer[0] = lubetrip_first_fault(values);
    if (answer[0] == LUBETRIP_ALL_RIGHT) {
        lubetrip_derive(values);
    }
    for (place = 1; place < 4; place++) {
        answer[place] = values[LT_SET_COUNT + place - 1];
    }
    compare(answer, (const int32_t *)word, 4);
    write_words(results_file, answer, 4U);
    return &word[4];
}

static const uint32_t *run_ticks(const uint32_t *word)
{
    if (word[0] == 32U) {
        int32_t elapsed = lubetrip_elapsed_ms(word[1], word[2]);
        compare(&elapsed, (const int32_t *)&word[3], 1);
        write_words(results_file, &elapsed, 1U);
    }
    return &word[4];
}

static void run_all(void)
{
    const uint32_t *word = &vectors[HEAD_WORDS];

    for (;;) {
        uint32_t mark = *word++;
        if (mark == CASE) {
            word = run_case(word);
        } else if (mark == CHECK) {
            word = run_check(word);
        } else if (mark == TICKS) {
            word = run_ticks(word);
        } else {
            break;
        }
    }
}

void start(void)
{
    results_file = open_file("results.bin", 11U);
    times_file = open_file("times.bin", 9U);
    different = 0U;
    SYSTICK[1] = SYSTICK_MASK;
    SYSTICK[2] = 0U;
    SYSTICK[0] = 5U; /* run, on the core's clock */
    timed(no_step, expected);
    timed(nops_1000, expected);
    timed(nops_3000, expected);
    run_all();
    (void)semihost(SYS_WRITE0, (uint32_t)((different == 0U) ? "identical\n" : "different\n"));
    (void)semihost(SYS_EXIT, (different == 0U) ? EXIT_GOOD : EXIT_BAD);
    for (;;) {
    }
}

extern uint32_t stack_top;

__attribute__((section(".vector_table"), used)) static const void *const vector_table[] = {&stack_top, (const void *)start};
