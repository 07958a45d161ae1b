/* The machine obeys, in C: a whole trace through the port, for the host's replay and for the
   page. The counterpart of obey() in replay/engine/obeying.py, place by place. Not for a target. */
#include "lubetrip.h"

enum { TIME = 0, FIRST_INPUT = 1 };
enum { CHANGE_TIME, BEFORE, AFTER, CHANGE_CAUSE, NET, SUCTION, PERCENT, CHANGE_SIZE };
enum { STOP_TIME, STOP_CAUSE, STOP_SIZE };
enum { POSITION, RUN_MS, PERMITTED, FELT, LOCKED_OUT, CHANGES, STOPS };
enum { MAY_RUN = 0 }; /* in place of the cause: again, after a stop that the machine felt */

static void note_change(int64_t row[CHANGE_SIZE], int64_t time, int32_t before, const int32_t state[],
                        const int32_t inputs[], const int32_t outputs[])
{
    row[CHANGE_TIME] = time;
    row[BEFORE] = before;
    row[AFTER] = state[LT_ST_STATE];
    row[CHANGE_CAUSE] = outputs[LT_OUT_STOP_CAUSE];
    row[NET] = (outputs[LT_OUT_CREDIBLE] != 0) ? outputs[LT_OUT_NET_OIL_PRESSURE] : LT_NO_READING;
    row[SUCTION] = inputs[LT_IN_SUCTION_PRESSURE];
    row[PERCENT] = outputs[LT_OUT_INTEGRAL_PERCENT];
}

/* Run on from carry[POSITION] to before tick `end`, or until changes or stops are full.
   columns[7][ticks], changes[room][7], stops[room][2], carry[7]; trail[end - POSITION][25] or a null pointer. */
void lubetrip_run_trace(const int64_t *columns, int64_t ticks, int64_t end, const int32_t *settings, int32_t *state,
                        int64_t room, int64_t *changes, int64_t *stops, int64_t *carry, int32_t *trail)
{
    int32_t inputs[LT_IN_SIZE];
    int32_t outputs[LT_OUT_SIZE] = {0};
    int32_t without_zero[LT_SET_SIZE];
    int place;

    for (place = 0; place < LT_SET_SIZE; place++) {
        without_zero[place] = (place == LT_SET_REST_MOST) ? LT_REST_OFF : settings[place];
    }
    carry[CHANGES] = 0;
    carry[STOPS] = 0;
    while ((carry[POSITION] < end) && (carry[CHANGES] < room) && (carry[STOPS] < room)) {
        int64_t tick = carry[POSITION];
        int64_t time = columns[(TIME * ticks) + tick];
        int32_t before = state[LT_ST_STATE];
        int wants_to_run;

        for (place = 0; place < LT_IN_SIZE; place++) {
            inputs[place] = (int32_t)columns[((FIRST_INPUT + place) * ticks) + tick];
        }
        wants_to_run = inputs[LT_IN_RUN_FEEDBACK] != 0;
        inputs[LT_IN_RUN_FEEDBACK] = (wants_to_run && (carry[PERMITTED] != 0)) ? 1 : 0;
        /* What is recorded of a machine that runs on tells nothing of one at rest. */
        lubetrip_step(state, (wants_to_run && (inputs[LT_IN_RUN_FEEDBACK] == 0)) ? without_zero : settings, inputs,
                      outputs);

        if ((inputs[LT_IN_RUN_FEEDBACK] != 0) && (inputs[LT_IN_ELAPSED] <= settings[LT_SET_MAX_GAP])) {
            carry[RUN_MS] += inputs[LT_IN_ELAPSED];
        }
        carry[PERMITTED] = outputs[LT_OUT_RUN_PERMISSION];
        if (carry[PERMITTED] != 0) {
            if (carry[FELT] != 0) {
                carry[FELT] = 0;
                stops[(carry[STOPS] * STOP_SIZE) + STOP_TIME] = time;
                stops[(carry[STOPS] * STOP_SIZE) + STOP_CAUSE] = MAY_RUN;
                carry[STOPS]++;
            }
        } else if (wants_to_run && (carry[FELT] == 0)) {
            carry[FELT] = 1;
            stops[(carry[STOPS] * STOP_SIZE) + STOP_TIME] = time;
            stops[(carry[STOPS] * STOP_SIZE) + STOP_CAUSE] = state[LT_ST_CAUSE];
            carry[STOPS]++;
        } else {
            /* the stop is felt already, or the machine does not want to run */
        }
        if (state[LT_ST_STATE] != before) {
            note_change(&changes[carry[CHANGES] * CHANGE_SIZE], time, before, state, inputs, outputs);
            carry[CHANGES]++;
            if (state[LT_ST_STATE] == LT_LOCKED_OUT) {
                carry[LOCKED_OUT] = 1;
            }
        }
        if (trail != 0) {
            for (place = 0; place < LT_ST_SIZE; place++) {
                *trail++ = state[place];
            }
            for (place = 0; place < LT_OUT_SIZE; place++) {
                *trail++ = outputs[place];
            }
        }
        carry[POSITION]++;
    }
}

/* inputs[count][6] step by step from a given state; trail[count][25] takes state and outputs of each. */
void lubetrip_run_steps(const int32_t *inputs, int64_t count, const int32_t *settings, int32_t *state, int32_t *trail)
{
    int32_t outputs[LT_OUT_SIZE] = {0};
    int64_t step;
    int place;

    for (step = 0; step < count; step++) {
        lubetrip_step(state, settings, &inputs[step * LT_IN_SIZE], outputs);
        for (place = 0; place < LT_ST_SIZE; place++) {
            *trail++ = state[place];
        }
        for (place = 0; place < LT_OUT_SIZE; place++) {
            *trail++ = outputs[place];
        }
    }
}
