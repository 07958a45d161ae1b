/* Cases through the C port: every word of every step compared, natively or on an emulated AVR (avr_host.c).

   Words come on standard input, 32 bits each in the order of the host: how many
   ticks, settings[25], state[16] after power-up, then inputs[6], state[16] and
   outputs[9] of each tick; after the last case -1. Settings checks follow as their
   number and values[22], fault, derived[3] of each, tick differences as their
   number and now, before, elapsed of each. Then what saved records and seals come
   to, each kind as its number and its items: see the functions below.

   With MUTANTS the port has a switch, and each mutant FIRST .. LAST of the command
   line runs in a process of its own: "ID killed", "ID survived", "ID timeout" or
   "ID crashed" a line. Without, exit status 1 and a line tell of the first difference.
   An AVR takes and gives bytes through registers that have no other use, and marks there what is timed.
   With SEALED_STEPS the steps of the cases are sealed ones. */
#include <string.h>

#include "lubetrip.h"
#include "lubetrip_saved.h"
#include "lubetrip_seal.h"

#ifdef MUTANTS
#include <signal.h>
#include <sys/time.h>
#include <sys/wait.h>
#include <unistd.h>
extern int lubetrip_mutant;
#endif

#define TICK (LT_IN_SIZE + LT_ST_SIZE + LT_OUT_SIZE)
#define CHECK (LT_SET_SIZE + 1)
#define RECORD (LUBETRIP_RECORD_SIZE / 4)
#define SEALED (LT_ST_SIZE + LT_SET_SIZE + LUBETRIP_SEALS_SIZE)

#ifdef __AVR__
#include <avr/interrupt.h>
#include <avr/io.h>
#include <avr/sleep.h>

#define MOST ((2 * SEALED) + LT_IN_SIZE + 1 + LT_OUT_SIZE) /* words of the largest item */
#define TIMED(kind, call) (GPIOR2 = (kind), (call), GPIOR2 = 0U)

static const int32_t *take(size_t many)
{
    static int32_t taken[MOST];
    uint8_t *byte = (uint8_t *)taken;
    size_t left;

    for (left = many * sizeof(int32_t); left > 0U; left--) {
        *byte++ = GPIOR0;
    }
    return taken;
}

static int at_end(void)
{
    return 1; /* the other side sees to it */
}
#else
#include <stdio.h>
#include <stdlib.h>

#define TIMED(kind, call) (call)

static int32_t *words;
static size_t count;
static const int32_t *at;

static int read_all(void)
{
    size_t room = 1U << 20;
    size_t got = 0;

    words = malloc(room * sizeof(int32_t));
    while (words != NULL) {
        got = fread(&words[count], sizeof(int32_t), room - count, stdin);
        count += got;
        if (count < room) {
            break;
        }
        room *= 2U;
        words = realloc(words, room * sizeof(int32_t));
    }
    return words != NULL;
}

static const int32_t *take(size_t many)
{
    const int32_t *taken = at;

    at = &at[many];
    return taken;
}

static int at_end(void)
{
    return at == &words[count];
}
#endif

static uint32_t case_seals[LUBETRIP_SEALS_SIZE];

static void seal_case(const int32_t state[], const int32_t settings[])
{
    lubetrip_seal_settings(settings, case_seals);
    lubetrip_seal_state(state, case_seals);
}

static void take_step(int32_t state[], const int32_t settings[], const int32_t inputs[], int32_t outputs[])
{
#ifdef SEALED_STEPS
    TIMED(2, lubetrip_sealed_step(state, settings, inputs, outputs, case_seals));
#else
    TIMED(1, lubetrip_step(state, settings, inputs, outputs));
#endif
}

static int case_differs(int32_t ticks)
{
    const int32_t *head = take(LT_SET_SIZE + LT_ST_SIZE);
    int32_t settings[LT_SET_SIZE];
    int32_t state[LT_ST_SIZE];
    int32_t outputs[LT_OUT_SIZE] = {0};
    int32_t number;

    memcpy(settings, head, sizeof settings);
    lubetrip_power_up(state, settings);
    if (memcmp(state, &head[LT_SET_SIZE], sizeof state) != 0) {
        return 1;
    }
    seal_case(state, settings);
    for (number = 0; number < ticks; number++) {
        const int32_t *tick = take(TICK);
        take_step(state, settings, tick, outputs);
        if ((memcmp(state, &tick[LT_IN_SIZE], sizeof state) != 0)
            || (memcmp(outputs, &tick[LT_IN_SIZE + LT_ST_SIZE], sizeof outputs) != 0)) {
            return 1;
        }
    }
    return 0;
}

static int check_differs(const int32_t *check)
{
    int32_t values[LT_SET_SIZE] = {0};
    int32_t fault;

    memcpy(values, check, LT_SET_COUNT * sizeof(int32_t));
    fault = lubetrip_first_fault(values);
    if (fault == LUBETRIP_ALL_RIGHT) {
        lubetrip_derive(values);
    }
    return (fault != check[LT_SET_COUNT])
        || (memcmp(&values[LT_SET_COUNT], &check[LT_SET_COUNT + 1], (LT_SET_SIZE - LT_SET_COUNT) * sizeof(int32_t)) != 0);
}

static int tick_differs(const int32_t *item)
{
    return lubetrip_elapsed_ms((uint32_t)item[0], (uint32_t)item[1]) != item[2];
}

/* number, settings[25], state[16], the bytes of its record */
static int fill_differs(const int32_t *item)
{
    uint8_t record[LUBETRIP_RECORD_SIZE];
    const int32_t *settings = &item[1];

    TIMED(3, lubetrip_write_record(record, item[0], settings, &settings[LT_SET_SIZE]));
    return memcmp(record, &settings[LT_SET_SIZE + LT_ST_SIZE], sizeof record) != 0;
}

/* number, the number after it */
static int next_differs(const int32_t *item)
{
    return lubetrip_next_number(item[0]) != item[1];
}

/* settings[25], the bytes of two records, the answer, state[16] */
static int recall_differs(const int32_t *item)
{
    int32_t state[LT_ST_SIZE];
    uint8_t records[2][LUBETRIP_RECORD_SIZE];
    const int32_t *answer = &item[LT_SET_SIZE + (2 * RECORD)];
    int32_t number;

    memcpy(records, &item[LT_SET_SIZE], sizeof records);
    TIMED(4, number = lubetrip_recall(state, item, records[0], records[1]));
    return (number != answer[0]) || (memcmp(state, &answer[1], sizeof state) != 0);
}

/* state[16], settings[25], seals[4], inputs[6], whether the seals hold; the same three after a sealed step, outputs[9] */
static int seal_differs(const int32_t *item)
{
    int32_t before[SEALED];
    int32_t outputs[LT_OUT_SIZE] = {7, 7, 7, 7, 7, 7, 7, 7, 7};
    uint32_t seals[LUBETRIP_SEALS_SIZE];
    uint32_t again[LUBETRIP_SEALS_SIZE];
    int32_t *settings = &before[LT_ST_SIZE];
    const int32_t *inputs = &item[SEALED];
    const int32_t *after = &inputs[LT_IN_SIZE + 1];
    int32_t hold = inputs[LT_IN_SIZE];

    memcpy(before, item, sizeof before);
    memcpy(seals, &settings[LT_SET_SIZE], sizeof seals);
    if (lubetrip_seals_hold(before, settings, seals) != hold) {
        return 1;
    }
    lubetrip_seal_state(before, again);
    lubetrip_seal_settings(settings, again);
    if ((hold != 0) && (memcmp(again, seals, sizeof seals) != 0)) {
        return 1;
    }
    TIMED(2, lubetrip_sealed_step(before, settings, inputs, outputs, seals));
    memcpy(&settings[LT_SET_SIZE], seals, sizeof seals);
    return (memcmp(before, after, sizeof before) != 0) || (memcmp(outputs, &after[SEALED], sizeof outputs) != 0);
}

static const struct {
    int (*differs)(const int32_t *item);
    int32_t size;
} kinds[] = {
    {check_differs, CHECK},
    {tick_differs, 3},
    {fill_differs, 1 + LT_SET_SIZE + LT_ST_SIZE + RECORD},
    {next_differs, 2},
    {recall_differs, LT_SET_SIZE + (2 * RECORD) + 1 + LT_ST_SIZE},
    {seal_differs, (2 * SEALED) + LT_IN_SIZE + 1 + LT_OUT_SIZE},
};

/* The number of the first thing that differs, or 0. */
static long first_difference(void)
{
    long number = 0;
    size_t kind;
    int32_t left;

    for (left = *take(1); left >= 0; left = *take(1)) {
        number++;
        if (case_differs(left) != 0) {
            return number;
        }
    }
    for (kind = 0; kind < (sizeof kinds / sizeof kinds[0]); kind++) {
        for (left = *take(1); left > 0; left--) {
            number++;
            if (kinds[kind].differs(take((size_t)kinds[kind].size)) != 0) {
                return number;
            }
        }
    }
    return at_end() ? 0 : -1;
}

#ifdef MUTANTS
static const char *fate_of(int mutant)
{
    const struct itimerval most = {{0, 0}, {0, 150000}}; /* of the processor's time; a run takes some thousandths, a watched one some hundredths */
    int status = 0;
    pid_t child = fork();

    if (child == 0) {
        at = words;
        lubetrip_mutant = mutant;
        setitimer(ITIMER_VIRTUAL, &most, NULL);
        _exit((first_difference() != 0) ? 1 : 0);
    }
    waitpid(child, &status, 0);
    if (WIFSIGNALED(status)) {
        return (WTERMSIG(status) == SIGVTALRM) ? "timeout" : "crashed";
    }
    if (WEXITSTATUS(status) > 1) {
        return "crashed"; /* stopped by a sanitizer */
    }
    return (WEXITSTATUS(status) == 0) ? "survived" : "killed";
}
#endif

#ifdef __AVR__
int main(void)
{
    long difference = first_difference();
    uint8_t byte;

    for (byte = 0U; byte < 4U; byte++) {
        GPIOR1 = (uint8_t)((uint32_t)difference >> (8U * byte));
    }
    cli();
    sleep_mode(); /* for ever: the emulator ends here */
    return 0;
}
#else
int main(int arguments, char **argument)
{
    long difference;

    if (read_all() == 0) {
        return 2;
    }
#ifdef MUTANTS
    if (arguments == 3) {
        int mutant;
        for (mutant = atoi(argument[1]); mutant <= atoi(argument[2]); mutant++) {
            printf("%d %s\n", mutant, fate_of(mutant));
            fflush(stdout);
        }
        return 0;
    }
#endif
    (void)arguments;
    (void)argument;
    at = words;
    difference = first_difference();
    if (difference != 0) {
        printf("difference in item %ld\n", difference);
    }
    return (difference != 0) ? 1 : 0;
}
#endif
