/* The C port behind the line protocol of firmware_ref/README.md, for a host.

   On a board, keep answer() and give it lines from a serial line instead of stdin.
   Only this file uses a C library; the port itself does not. */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "lubetrip.h"

#define LINE_SIZE 512
#define TICK_BITS 32

static int32_t settings[LT_SET_SIZE];
static int32_t state[LT_ST_SIZE];
static int32_t outputs[LT_OUT_SIZE];

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
    return 0;
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
