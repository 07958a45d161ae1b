/* The C port behind the line protocol of firmware_ref/README.md, for a host.

   On a board, keep answer() and give it lines from a serial line instead of stdin.
   Only this file uses a C library; the port itself does not. */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "lubetrip.h"
#include "lubetrip_saved.h"
#include "lubetrip_seal.h"
#ifdef __has_include
#if __has_include("lubetrip_logic.h")
#include "lubetrip_logic.h" /* the digest of the logic */
#endif
#endif

/* LUBETRIP_BUILD: compiler and options in quotes. LUBETRIP_WITH_SETTINGS: an exported table is linked, which has its digest. */
#ifdef LUBETRIP_WITH_SETTINGS
extern const char lubetrip_settings_digest[65];
#endif

#define LINE_SIZE 512
#define TICK_BITS 32

static int32_t settings[LT_SET_SIZE];
static int32_t state[LT_ST_SIZE];
static int32_t outputs[LT_OUT_SIZE];
static uint32_t seals[LUBETRIP_SEALS_SIZE];

static void print_numbers(const int32_t numbers[], int count)
{
    int place;

    for (place = 0; place < count; place++) {
        printf(" %ld", (long)numbers[place]);
    }
}

/* Read `count` numbers from `least` on and nothing behind them; 0 when the line is not like that.
   Of a word only the 32 bits are kept, signed or not as the range is. */
static int read_words(const char *text, int32_t words[], int count, int64_t least)
{
    int place;
    char *end;

    for (place = 0; place < count; place++) {
        int64_t number = strtoll(text, &end, 10);
        if ((end == text) || (number < least) || (number > least + UINT32_MAX)) {
            return 0;
        }
        words[place] = (int32_t)number;
        text = end;
    }
    return text[strspn(text, " \r\n")] == '\0';
}

static int answer_set(const char *text)
{
    int32_t given[LT_SET_SIZE];

    if (read_words(text, given, LT_SET_SIZE, INT32_MIN) == 0) {
        return 0;
    }
    memcpy(settings, given, sizeof settings);
    lubetrip_power_up(state, settings);
    printf("state");
    print_numbers(state, LT_ST_SIZE);
    return 1;
}

static int answer_step(const char *text)
{
    int32_t inputs[LT_IN_SIZE];

    if (read_words(text, inputs, LT_IN_SIZE, INT32_MIN) == 0) {
        return 0;
    }
    lubetrip_step(state, settings, inputs, outputs);
    printf("done");
    print_numbers(state, LT_ST_SIZE);
    print_numbers(outputs, LT_OUT_SIZE);
    return 1;
}

static int answer_check(const char *text)
{
    int32_t values[LT_SET_SIZE] = {0};
    int32_t fault;

    if (read_words(text, values, LT_SET_COUNT, INT32_MIN) == 0) {
        return 0;
    }
    fault = lubetrip_first_fault(values);
    if (fault == LUBETRIP_ALL_RIGHT) {
        lubetrip_derive(values);
    }
    printf("checked %ld", (long)fault);
    print_numbers(&values[LT_SET_COUNT], LT_SET_SIZE - LT_SET_COUNT);
    return 1;
}

static int answer_ticks(const char *text)
{
    int32_t ticks[2];

    if (read_words(text, ticks, 2, 0) == 0) {
        return 0;
    }
    printf("elapsed %ld", (long)lubetrip_elapsed_ms((uint32_t)ticks[0], (uint32_t)ticks[1]));
    return 1;
}

static void print_seals(void)
{
    int place;

    for (place = 0; place < LUBETRIP_SEALS_SIZE; place++) {
        printf(" %lu", (unsigned long)seals[place]);
    }
}

/* The number of a hexadecimal digit; -1 for any other character. */
static int digit(char character)
{
    const char *digits = "0123456789abcdef";
    const char *found = strchr(digits, character);

    return ((character == '\0') || (found == NULL)) ? -1 : (int)(found - digits);
}

/* Read one record and the blank or the end behind it; return what follows, or NULL. */
static const char *read_record(const char *text, uint8_t record[LUBETRIP_RECORD_SIZE])
{
    int place;

    for (place = 0; place < LUBETRIP_RECORD_SIZE; place++) {
        int high = digit(text[0]);
        int low = (high < 0) ? -1 : digit(text[1]);
        if (low < 0) {
            return NULL;
        }
        record[place] = (uint8_t)((high * 16) + low);
        text += 2;
    }
    return text + strspn(text, " \r\n");
}

static int answer_save(const char *text)
{
    int32_t number;
    int place;
    uint8_t record[LUBETRIP_RECORD_SIZE];

    if (read_words(text, &number, 1, 0) == 0) {
        return 0;
    }
    lubetrip_write_record(record, number, settings, state);
    printf("saved ");
    for (place = 0; place < LUBETRIP_RECORD_SIZE; place++) {
        printf("%02x", (unsigned)record[place]);
    }
    return 1;
}

static int answer_recall(const char *text)
{
    uint8_t first[LUBETRIP_RECORD_SIZE];
    uint8_t second[LUBETRIP_RECORD_SIZE];
    const char *rest = read_record(text, first);

    if (rest != NULL) {
        rest = read_record(rest, second);
    }
    if ((rest == NULL) || (*rest != '\0')) {
        return 0;
    }
    printf("recalled %ld", (long)lubetrip_recall(state, settings, first, second));
    print_numbers(state, LT_ST_SIZE);
    return 1;
}

static int answer_next(const char *text)
{
    int32_t number;

    if (read_words(text, &number, 1, 0) == 0) {
        return 0;
    }
    printf("next %ld", (long)lubetrip_next_number(number));
    return 1;
}

static int answer_seal(void)
{
    lubetrip_seal_state(state, seals);
    lubetrip_seal_settings(settings, seals);
    printf("seals");
    print_seals();
    return 1;
}

/* Flip a bit of the state (array 0), the settings (1) or the seals (2), as a fault in RAM does. */
static int answer_flip(const char *text)
{
    static const int32_t sizes[3] = {LT_ST_SIZE, LT_SET_SIZE, LUBETRIP_SEALS_SIZE};
    int32_t words[3];
    uint32_t bit;

    if ((read_words(text, words, 3, 0) == 0) || (words[0] < 0) || (words[0] > 2) || (words[1] < 0) ||
        (words[1] >= sizes[words[0]]) || (words[2] < 0) || (words[2] > 31)) {
        return 0;
    }
    bit = UINT32_C(1) << words[2];
    if (words[0] == 0) {
        state[words[1]] = (int32_t)((uint32_t)state[words[1]] ^ bit);
    } else if (words[0] == 1) {
        settings[words[1]] = (int32_t)((uint32_t)settings[words[1]] ^ bit);
    } else {
        seals[words[1]] ^= bit;
    }
    printf("holds %ld", (long)lubetrip_seals_hold(state, settings, seals));
    return 1;
}

static int answer_sealed(const char *text)
{
    int32_t inputs[LT_IN_SIZE];

    if (read_words(text, inputs, LT_IN_SIZE, INT32_MIN) == 0) {
        return 0;
    }
    lubetrip_sealed_step(state, settings, inputs, outputs, seals);
    printf("passed");
    print_numbers(state, LT_ST_SIZE);
    print_numbers(outputs, LT_OUT_SIZE);
    print_seals();
    return 1;
}

/* What the program is made of; `none` where it does not know. */
static int answer_about(const char *line)
{
    if (strncmp(line, "logic", 5) == 0) {
#ifdef LUBETRIP_LOGIC_DIGEST
        printf("logic %s", LUBETRIP_LOGIC_DIGEST);
#else
        printf("none");
#endif
        return 1;
    }
    if (strncmp(line, "settings", 8) == 0) {
#ifdef LUBETRIP_WITH_SETTINGS
        printf("settings %s", lubetrip_settings_digest);
#else
        printf("none");
#endif
        return 1;
    }
    if (strncmp(line, "build", 5) == 0) {
#ifdef LUBETRIP_BUILD
        printf("build %s", LUBETRIP_BUILD);
#elif defined(__VERSION__)
        printf("build %s", __VERSION__);
#else
        printf("none");
#endif
        return 1;
    }
    return 0;
}

static int answer_kept(const char *line)
{
    if (strncmp(line, "save ", 5) == 0) {
        return answer_save(line + 5);
    }
    if (strncmp(line, "recall ", 7) == 0) {
        return answer_recall(line + 7);
    }
    if (strncmp(line, "next ", 5) == 0) {
        return answer_next(line + 5);
    }
    if (strncmp(line, "flip ", 5) == 0) {
        return answer_flip(line + 5);
    }
    if (strncmp(line, "sealed ", 7) == 0) {
        return answer_sealed(line + 7);
    }
    if (strncmp(line, "seal", 4) == 0) {
        return answer_seal();
    }
    return answer_about(line);
}

static int answer(const char *line)
{
    if (strncmp(line, "hello", 5) == 0) {
        printf("port %d lubetrip C99", TICK_BITS);
        return 1;
    }
    if (strncmp(line, "set ", 4) == 0) {
        return answer_set(line + 4);
    }
    if (strncmp(line, "step ", 5) == 0) {
        return answer_step(line + 5);
    }
    if (strncmp(line, "check ", 6) == 0) {
        return answer_check(line + 6);
    }
    if (strncmp(line, "ticks ", 6) == 0) {
        return answer_ticks(line + 6);
    }
    return answer_kept(line);
}

int main(void)
{
    char line[LINE_SIZE];

    while (fgets(line, LINE_SIZE, stdin) != NULL) {
        if (strncmp(line, "bye", 3) == 0) {
            puts("bye");
            break;
        }
        if (answer(line) == 0) {
            printf("error not a line of the protocol");
        }
        putchar('\n');
        fflush(stdout);
    }
    return 0;
}
