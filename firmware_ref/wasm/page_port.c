/* The C port for a page: whole traces through trace_run.c, and what a plot shows of one.
   Built for WebAssembly by `python -m replay.page.build_wasm`. Not for a target.

   The page owns the memory from __heap_base on and passes places in it. */
#include "lubetrip.h"

#define WINDOW 4096 /* ticks that are run at a time: a bound on the memory beside the trace itself */
#define COLUMNS 7
#define CHANGE_WORDS 7
#define STOP_WORDS 2
#define TRAIL_WORDS (LT_ST_SIZE + LT_OUT_SIZE)

enum { POSITION, RUN_MS, PERMITTED, FELT, LOCKED_OUT, CHANGES, STOPS, CARRY_SIZE };
enum { MAY_RUN = 0 }; /* as in trace_run.c */
enum { RESULT_STOPS, FIRST_STOP_MS, FIRST_CAUSE, RESULT_RUN_MS, RESULT_LOCKED_OUT };

/* In trace_run.c. */
void lubetrip_run_trace(const int64_t *columns, int64_t ticks, int64_t end, const int32_t *settings, int32_t *state,
                        int64_t room, int64_t *changes, int64_t *stops, int64_t *carry, int32_t *trail);
void page_unpack(const uint8_t *planes, int32_t ticks, int64_t *columns);
void page_run(const int64_t *columns, int32_t ticks, const int32_t *settings, double *result, int32_t *shown,
              double *stop_times, int32_t most_stops);

static int64_t changes[WINDOW * CHANGE_WORDS];
static int64_t stops[WINDOW * STOP_WORDS];
static int32_t trail[WINDOW * TRAIL_WORDS];

/* planes[7][8][ticks]: of each column the differences from tick to tick, their lowest bytes first; the
   crankcase column comes as its difference from suction. columns[7][ticks] takes the columns themselves. */
void page_unpack(const uint8_t *planes, int32_t ticks, int64_t *columns)
{
    int32_t column;
    int32_t tick;
    uint32_t plane;

    for (column = 0; column < COLUMNS; column++) {
        uint64_t value = 0U;
        for (tick = 0; tick < ticks; tick++) {
            uint64_t difference = 0U;
            for (plane = 0U; plane < 8U; plane++) {
                difference |= (uint64_t)planes[((int32_t)plane * ticks) + tick] << (8U * plane);
            }
            value += difference;
            columns[(column * ticks) + tick] = (int64_t)value;
        }
        planes += 8 * ticks;
    }
    for (tick = 0; tick < ticks; tick++) {
        columns[((COLUMNS - 1) * ticks) + tick] += columns[((COLUMNS - 2) * ticks) + tick];
    }
}

/* Of each tick: state, integral in ms, net oil pressure in Pa or no reading where it was not credible. */
static int32_t *show(int32_t *shown, int32_t count)
{
    int32_t tick;

    for (tick = 0; tick < count; tick++) {
        const int32_t *state = &trail[tick * TRAIL_WORDS];
        const int32_t *outputs = &state[LT_ST_SIZE];
        *shown++ = state[LT_ST_STATE];
        *shown++ = state[LT_ST_INTEGRAL];
        *shown++ = (outputs[LT_OUT_CREDIBLE] != 0) ? outputs[LT_OUT_NET_OIL_PRESSURE] : LT_NO_READING;
    }
    return shown;
}

/* Run a trace from power-up of a machine at rest.

   result[5]: stops, time of the first in ms, its cause, time run in ms, locked out or not.
   shown[ticks][3] or a null pointer; stop_times[most_stops][3] takes time and cause of the first stops, and
   the time at which each machine may run again, -1 where that does not come. */
void page_run(const int64_t *columns, int32_t ticks, const int32_t *settings, double *result, int32_t *shown,
              double *stop_times, int32_t most_stops)
{
    int32_t state[LT_ST_SIZE];
    int64_t carry[CARRY_SIZE] = {0};
    int32_t found = 0;
    int32_t begin;

    lubetrip_power_up(state, settings);
    carry[PERMITTED] = 1;
    for (begin = 0; begin < ticks; begin += WINDOW) {
        int32_t count = (ticks - begin < WINDOW) ? ticks - begin : WINDOW;
        int32_t stop;

        /* A tick brings one change and one stop at most, so there is always room. */
        lubetrip_run_trace(columns, ticks, begin + count, settings, state, WINDOW + 1, changes, stops, carry,
                           (shown != 0) ? trail : 0);
        if (shown != 0) {
            shown = show(shown, count);
        }
        for (stop = 0; stop < (int32_t)carry[STOPS]; stop++) {
            const int64_t *row = &stops[STOP_WORDS * stop];

            if (row[1] != MAY_RUN) {
                if (found < most_stops) {
                    stop_times[3 * found] = (double)row[0];
                    stop_times[(3 * found) + 1] = (double)row[1];
                    stop_times[(3 * found) + 2] = -1.0;
                }
                found++;
            } else if (found <= most_stops) {
                stop_times[(3 * found) - 1] = (double)row[0];
            } else {
                /* of a stop whose time is not kept */
            }
        }
    }
    result[RESULT_STOPS] = found;
    result[FIRST_STOP_MS] = (found > 0) ? stop_times[0] : 0.0;
    result[FIRST_CAUSE] = (found > 0) ? stop_times[1] : 0.0;
    result[RESULT_RUN_MS] = (double)carry[RUN_MS];
    result[RESULT_LOCKED_OUT] = (double)carry[LOCKED_OUT];
}
