/* Cases through the C port, natively: every word of every step compared.

   Words come on standard input, 32 bits each in the order of the host: how many
   ticks, settings[25], state[16] after power-up, then inputs[6], state[16] and
   outputs[9] of each tick; after the last case -1. Settings checks follow as their
   number and values[22], fault, derived[3] of each, tick differences as their
   number and now, before, elapsed of each.

   With MUTANTS the port has a switch, and each mutant FIRST .. LAST of the command
   line runs in a process of its own: "ID killed", "ID survived", "ID timeout" or
   "ID crashed" a line. Without, exit status 1 and a line tell of the first difference. */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "lubetrip.h"

#ifdef MUTANTS
#include <signal.h>
#include <sys/time.h>
#include <sys/wait.h>
#include <unistd.h>
extern int lubetrip_mutant;
#endif

#define TICK (LT_IN_SIZE + LT_ST_SIZE + LT_OUT_SIZE)
#define CHECK (LT_SET_SIZE + 1)

static int32_t *words;
static size_t count;

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

static int case_differs(const int32_t *head, const int32_t *ticks)
{
    int32_t settings[LT_SET_SIZE];
    int32_t state[LT_ST_SIZE];
    int32_t outputs[LT_OUT_SIZE] = {0};
    int32_t number;

    memcpy(settings, &head[1], sizeof settings);
    lubetrip_power_up(state, settings);
    if (memcmp(state, &head[1 + LT_SET_SIZE], sizeof state) != 0) {
        return 1;
    }
    for (number = 0; number < head[0]; number++) {
        const int32_t *tick = &ticks[number * TICK];
        lubetrip_step(state, settings, tick, outputs);
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

/* The number of the first thing that differs, or 0. */
static long first_difference(void)
{
    const int32_t *at = words;
    long number = 0;
    int32_t left;

    while (*at >= 0) {
        const int32_t *ticks = &at[1 + LT_SET_SIZE + LT_ST_SIZE];
        number++;
        if (case_differs(at, ticks) != 0) {
            return number;
        }
        at = &ticks[at[0] * TICK];
    }
    at++;
    for (left = *at++; left > 0; left--, at += CHECK) {
        number++;
        if (check_differs(at) != 0) {
            return number;
        }
    }
    for (left = *at++; left > 0; left--, at += 3) {
        number++;
        if (lubetrip_elapsed_ms((uint32_t)at[0], (uint32_t)at[1]) != at[2]) {
            return number;
        }
    }
    return (at == &words[count]) ? 0 : -1;
}

#ifdef MUTANTS
static const char *fate_of(int mutant)
{
    const struct itimerval most = {{0, 0}, {0, 500000}}; /* of the processor's time; a run takes some thousandths */
    int status = 0;
    pid_t child = fork();

    if (child == 0) {
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
    difference = first_difference();
    if (difference != 0) {
        printf("difference in item %ld\n", difference);
    }
    return (difference != 0) ? 1 : 0;
}
