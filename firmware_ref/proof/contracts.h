/* What the C port promises, function by function, in ACSL; looked at by
   `python -m tests.gates proof-c` for all admitted settings, every state that a step
   can leave behind, and any 32-bit inputs. The port itself holds
   loop contracts and a few asserts only: contracted.c puts these declarations in front
   of the unchanged lubetrip.c. Every goal is proved; the axioms below are facts on the bits
   of words, which tests/port/test_proof_of_the_port.py proves with bit vectors. */
#ifndef LUBETRIP_CONTRACTS_H
#define LUBETRIP_CONTRACTS_H

#include "offered.h"

/*@
  // C99 6.5.7: what is shifted right and not negative is the whole part of the quotient by the power of two.
  axiomatic shifts {
    axiom by_1: \forall integer x; 0 <= x ==> (x >> 1) == x / 2;
    axiom by_weight_bits: \forall integer x; 0 <= x ==> (x >> 11) == x / 2048;
    axiom by_slope_bits: \forall integer x; 0 <= x ==> (x >> 16) == x / 65536;
    axiom by_percent_bits: \forall integer x; 0 <= x ==> (x >> 23) == x / 8388608;
  }

  axiomatic conditions {
    axiom joined: \forall integer a, b; 0 <= a && a <= 134217727 && 0 <= b && b <= 134217727 ==>
      0 <= (a | b) && (a | b) <= 134217727;
    axiom room_for_a_reset: \forall integer f; 0 <= f && f <= 511 && (f & 224) != 224 ==> f <= 479;
  }
*/

/* ---- settings ---- */

/* As the tables of lubetrip.c have it; lubetrip_first_fault ties them to the ranges and relations of predicates.h. */
#define is_in_order(s, ranges, i) ((ranges)[i].least <= (s)[i] <= (ranges)[i].most)
#define in_order(s, ranges, count) (\forall integer i; 0 <= i < (count) ==> is_in_order(s, ranges, i))
#define relation_holds(s, rows, i) ((s)[(rows)[i].lower] + (rows)[i].gap <= (s)[(rows)[i].higher])
#define relations_hold(s, rows, count) (\forall integer i; 0 <= i < (count) ==> relation_holds(s, rows, i))

/* ---- conditions: the bits of a word, by what sets them ---- */

#define no_bit(word, bit) (((word) & (bit)) == 0)
#define no_pressure_bit(word) (                                                                                       \
    no_bit(word, LT_BIT_SENSOR_OK) && no_bit(word, LT_BIT_LOW) && no_bit(word, LT_BIT_HEALTHY))
#define no_memory_bit(word) (                                                                                         \
    no_bit(word, LT_BIT_IN_GRACE) && no_bit(word, LT_BIT_INTEGRAL_FULL) && no_bit(word, LT_BIT_RESTART_DUE) &&        \
    no_bit(word, LT_BIT_LAST_TRIP) && no_bit(word, LT_BIT_SENSOR_FAULT) && no_bit(word, LT_BIT_RESETS_SPENT))
#define no_bit_of_evaluate(word) (no_bit(word, LT_BIT_RUNNING) && no_bit(word, LT_BIT_RELOAD_GUARD))
#define only_doubts(word) (                                                                                           \
    no_pressure_bit(word) && no_memory_bit(word) && no_bit_of_evaluate(word) && no_bit(word, LT_BIT_RESET_PRESS))

/* ---- flags ---- */

/*@ requires memory: READABLE(state, LT_ST_SIZE);
    requires 0 <= state[LT_ST_FLAGS] <= 511;
    assigns \nothing;
    ensures \result == (state[LT_ST_FLAGS] & mask); */
static uint32_t flags_of(const int32_t state[], uint32_t mask);

/*@ requires memory: WRITABLE(state, LT_ST_SIZE);
    requires 0 <= state[LT_ST_FLAGS] <= 511 && mask <= 511;
    assigns state[LT_ST_FLAGS];
    ensures 0 <= state[LT_ST_FLAGS] <= 511;
    ensures state[LT_ST_FLAGS] == (\old(state[LT_ST_FLAGS]) | mask); */
static void set_flags(int32_t state[], uint32_t mask);

/*@ requires memory: WRITABLE(state, LT_ST_SIZE);
    requires 0 <= state[LT_ST_FLAGS] <= 511 && mask <= 511;
    assigns state[LT_ST_FLAGS];
    ensures 0 <= state[LT_ST_FLAGS] <= 511;
    ensures state[LT_ST_FLAGS] == (\old(state[LT_ST_FLAGS]) & (uint32_t)~mask); */
static void clear_flags(int32_t state[], uint32_t mask);

/* ---- 1. signals ---- */

/*@ requires memory: READABLE(state, LT_ST_SIZE) && READABLE(inputs, LT_IN_SIZE);
    requires 0 <= state[LT_ST_FLAGS] <= 511;
    assigns \nothing;
    ensures 0 <= \result <= LT_ELAPSED_MOST; */
static int32_t counted_elapsed(const int32_t state[], const int32_t inputs[]);

/*@ assigns \nothing;
    ensures \result != 0 <==> least <= reading <= most; */
static int within(int32_t reading, int32_t least, int32_t most);

/*@ requires memory: READABLE(settings, LT_SET_SIZE) && READABLE(inputs, LT_IN_SIZE);
    assigns \nothing;
    ensures \result != 0 <==> credible_range(settings, inputs); */
static int plausible(const int32_t settings[], const int32_t inputs[]);

/*@ requires 0 <= missing <= LT_DOUBT_CRANKCASE_MISSING && only_doubts(missing);
    assigns \nothing;
    ensures \result <= LT_DOUBT_CRANKCASE_STUCK;
    ensures only_doubts(\result);
    ensures missing > 0 && !(least <= reading <= most) ==> \result != 0; */
static uint32_t channel_doubt(int32_t reading, int32_t least, int32_t most, int is_stuck, uint32_t missing);

/*@ requires memory: READABLE(state, LT_ST_SIZE) && READABLE(settings, LT_SET_SIZE) && READABLE(inputs, LT_IN_SIZE);
    assigns \nothing;
    ensures \result <= MOST_BITS;
    ensures only_doubts(\result);
    ensures !credible_range(settings, inputs) ==> \result != 0; */
static uint32_t channel_doubts(const int32_t state[], const int32_t settings[], const int32_t inputs[]);

/*@ requires memory: READABLE(state, LT_ST_SIZE) && READABLE(settings, LT_SET_SIZE);
    requires 0 <= settings[LT_SET_REST_SETTLE] <= settings[LT_SET_RESTART_DELAY] <= 86400000;
    requires 0 <= state[LT_ST_RESTART_LEFT] <= settings[LT_SET_RESTART_DELAY] && 0 <= elapsed <= LT_ELAPSED_MOST;
    assigns \nothing;
    ensures -86400000 <= \result <= elapsed;
    ensures state[LT_ST_RESTART_LEFT] <= settings[LT_SET_RESTART_DELAY] - settings[LT_SET_REST_SETTLE] ==>
              \result == elapsed; */
static int32_t settled_part(const int32_t state[], const int32_t settings[], int32_t elapsed);

/*@ requires memory: WRITABLE(state, LT_ST_SIZE);
    requires (seen == LT_ST_OIL_SEEN || seen == LT_ST_SUCTION_SEEN || seen == LT_ST_CRANKCASE_SEEN);
    requires 0 <= state[seen + 1] <= stuck_after <= 86400000;
    requires 0 <= elapsed <= LT_ELAPSED_MOST;
    assigns state[seen], state[seen + 1];
    ensures 0 <= \result <= elapsed && 0 <= state[seen + 1] <= stuck_after;
    ensures reading == LT_NO_READING ==>
              \result == 0 && state[seen] == \old(state[seen]) && state[seen + 1] == \old(state[seen + 1]);
    ensures reading != LT_NO_READING ==> state[seen] == reading;
    ensures running != 0 && reading != LT_NO_READING && reading == \old(state[seen]) &&
              \old(state[seen + 1]) == stuck_after ==> \result == elapsed; */
static int32_t stuck_part(int32_t state[], int seen, int32_t reading, int32_t running, int32_t elapsed,
                          int32_t stuck_after);

/*@ requires memory: all_arrays(state, settings, inputs, outputs);
    requires admitted(settings) && consistent(state, settings);
    assigns state[LT_ST_OIL_SEEN .. LT_ST_CRANKCASE_SEEN + 1], outputs[LT_OUT_CONDITIONS .. LT_OUT_DOUBTED];
    ENSURES_CONSISTENT(state, settings)
    ensures shared(settings, outputs);
    ensures 0 <= outputs[LT_OUT_CONDITIONS] <= MOST_BITS && only_doubts(outputs[LT_OUT_CONDITIONS]);
    ensures standstill: inputs[LT_IN_RUN_FEEDBACK] == 0 && credible_range(settings, inputs) &&
              \old(state[LT_ST_RESTART_LEFT]) <= settings[LT_SET_RESTART_DELAY] - settings[LT_SET_REST_SETTLE] &&
              !(-settings[LT_SET_REST_MOST] <= inputs[LT_IN_OIL_PRESSURE] - inputs[LT_IN_CRANKCASE_PRESSURE] <=
                settings[LT_SET_REST_MOST]) ==> outputs[LT_OUT_SEEN] == 0;
    ensures not_credible: !credible_range(settings, inputs) ==>
              outputs[LT_OUT_SEEN] == 0 && outputs[LT_OUT_CREDIBLE] == 0;
    ensures frozen: inputs[LT_IN_RUN_FEEDBACK] != 0 && inputs[LT_IN_OIL_PRESSURE] == \old(state[LT_ST_OIL_SEEN]) &&
              \old(state[LT_ST_OIL_SEEN + 1]) == settings[LT_SET_STUCK_AFTER] ==> outputs[LT_OUT_SEEN] == 0; */
static void observe(int32_t state[], const int32_t settings[], const int32_t inputs[], int32_t outputs[]);

/* ---- 2. integral ---- */

/*@ requires memory: READABLE(settings, LT_SET_SIZE);
    requires -20100000 <= net <= 20100000;
    requires 0 <= settings[LT_SET_FLOOR] < settings[LT_SET_CUT_OUT] < settings[LT_SET_CUT_IN] <= 1000000;
    requires 2048 <= settings[LT_SET_FLOOR_WEIGHT] <= 16384 && 205 <= settings[LT_SET_VACUUM_WEIGHT] <= 16384;
    requires 0 <= settings[LT_SET_RECOVERY] <= 16384 && ramp_fits(settings);
    assigns \nothing;
    ensures -16384 <= \result <= 131072;
    ensures net >= settings[LT_SET_CUT_IN] ==> \result <= 0;
    ensures net < settings[LT_SET_CUT_IN] ==> \result >= 0;
    ensures net < settings[LT_SET_CUT_OUT] && suction >= settings[LT_SET_VACUUM] ==> \result >= LT_ONE;
    ensures net < settings[LT_SET_CUT_OUT] ==> \result >= 205; */
static int32_t weight(const int32_t settings[], int32_t net, int32_t suction);

/*@ requires fixed >= 0;
    assigns \nothing;
    ensures \result == fixed / 2048; */
static int32_t whole_part(int32_t fixed);

/*@ requires fixed >= 0;
    assigns \nothing;
    ensures 0 <= \result <= 2047;
    ensures fixed == 0 ==> \result == 0;
    ensures fixed == LT_ONE ==> \result == 0; */
static int32_t fraction_part(int32_t fixed);

/*@ requires memory: memory_and_settings(state, settings);
    requires 1000 <= settings[LT_SET_TRIP_DELAY] <= 1800000;
    requires integral_within(state, settings);
    requires -16384 <= gain <= 131072 && 0 <= elapsed <= LT_ELAPSED_MOST;
    requires elapsed <= 300000 || gain == LT_ONE;
    assigns state[LT_ST_INTEGRAL], state[LT_ST_INTEGRAL_FRACTION];
    ensures integral_within(state, settings);
    ensures gain >= 0 || elapsed == 0 ==> not_lowered(state, Pre, Post);
    ensures gain >= LT_ONE ==> state[LT_ST_INTEGRAL] == settings[LT_SET_TRIP_DELAY] ||
              state[LT_ST_INTEGRAL] >= \old(state[LT_ST_INTEGRAL]) + elapsed; */
static void accumulate(int32_t state[], const int32_t settings[], int32_t gain, int32_t elapsed);

/*@ requires memory: WRITABLE(state, LT_ST_SIZE);
    requires 0 <= state[LT_ST_GRACE_LEFT] <= LT_ELAPSED_MOST;
    requires 0 <= elapsed <= LT_ELAPSED_MOST;
    assigns state[LT_ST_GRACE_LEFT];
    ensures 0 <= state[LT_ST_GRACE_LEFT] <= \old(state[LT_ST_GRACE_LEFT]);
    ensures \result == elapsed - (\old(state[LT_ST_GRACE_LEFT]) - state[LT_ST_GRACE_LEFT]);
    ensures 0 <= \result <= elapsed && (\result > 0 ==> state[LT_ST_GRACE_LEFT] == 0); */
static int32_t past_grace(int32_t state[], int32_t elapsed);

/*@ requires memory: memory_and_settings(state, settings);
    requires admitted(settings);
    requires 0 <= state[LT_ST_GRACE_LEFT] <= settings[LT_SET_START_GRACE] && 0 <= elapsed <= LT_ELAPSED_MOST;
    assigns state[LT_ST_GRACE_LEFT];
    ensures \old(state[LT_ST_GRACE_LEFT]) <= state[LT_ST_GRACE_LEFT] <= settings[LT_SET_START_GRACE]; */
static void regain_grace(int32_t state[], const int32_t settings[], int32_t elapsed);

/*@ requires memory: with_inputs(state, settings, inputs) && with_outputs(state, settings, outputs);
    requires admitted(settings) && consistent(state, settings) && shared(settings, outputs);
    assigns state[LT_ST_INTEGRAL .. LT_ST_GRACE_LEFT];
    ENSURES_CONSISTENT(state, settings)
    ensures outputs[LT_OUT_SEEN] == 0 ==> not_lowered(state, Pre, Post);
    ensures inputs[LT_IN_RUN_FEEDBACK] != 0 && outputs[LT_OUT_NET_OIL_PRESSURE] < settings[LT_SET_CUT_IN] ==>
              not_lowered(state, Pre, Post); */
static void update_integral(int32_t state[], const int32_t settings[], const int32_t inputs[], const int32_t outputs[]);

/* ---- 3. timers ---- */

/*@ requires memory: WRITABLE(state, LT_ST_SIZE);
    requires 0 <= place <= 15 && 0 <= state[place] && 0 <= elapsed;
    assigns state[place];
    ensures 0 <= state[place] <= \old(state[place]) && (elapsed == 0 ==> state[place] == \old(state[place])); */
static void run_down(int32_t state[], int place, int32_t elapsed);

/*@ requires memory: with_outputs(state, settings, outputs);
    requires admitted(settings);
    requires consistent(state, settings) && shared(settings, outputs);
    assigns state[LT_ST_FAULT_TIME .. LT_ST_FLAGS];
    ENSURES_CONSISTENT(state, settings)
    ensures (state[LT_ST_FLAGS] & LT_FLAG_RESET_PRESSED) == (\old(state[LT_ST_FLAGS]) & LT_FLAG_RESET_PRESSED); */
static void update_fault_time(int32_t state[], const int32_t settings[], const int32_t outputs[]);

/*@ requires memory: with_inputs(state, settings, inputs) && with_outputs(state, settings, outputs);
    requires admitted(settings) && consistent(state, settings) && shared(settings, outputs);
    assigns state[LT_ST_RESTART_LEFT .. LT_ST_FLAGS];
    ENSURES_CONSISTENT(state, settings)
    ensures (state[LT_ST_FLAGS] & LT_FLAG_RESET_PRESSED) == (\old(state[LT_ST_FLAGS]) & LT_FLAG_RESET_PRESSED);
    ensures inputs[LT_IN_RUN_FEEDBACK] != 0 ==> state[LT_ST_RESTART_LEFT] == settings[LT_SET_RESTART_DELAY]; */
static void update_timers(int32_t state[], const int32_t settings[], const int32_t inputs[], const int32_t outputs[]);

/* ---- 4. conditions ---- */

/*@ requires memory: with_inputs(state, settings, inputs);
    requires admitted(settings) && consistent(state, settings);
    assigns state[LT_ST_FLAGS], state[LT_ST_RESTART_LEFT];
    ensures 0 <= state[LT_ST_RESTART_LEFT] <= settings[LT_SET_RESTART_DELAY];
    ensures 0 <= state[LT_ST_FLAGS] <= 511;
    ensures \result <= MOST_BITS;
    ensures no_pressure_bit(\result) && no_memory_bit(\result) && no_bit_of_evaluate(\result);
    ensures pressed: (\result & LT_BIT_RESET_PRESS) != 0 ==>
              inputs[LT_IN_RESET] != 0 && (\old(state[LT_ST_FLAGS]) & LT_FLAG_RESET_PRESSED) != 0 &&
              settings[LT_SET_RESTART_DELAY] - state[LT_ST_RESTART_LEFT] >= settings[LT_SET_RESET_HOLD]; */
static uint32_t follow_reset(int32_t state[], const int32_t settings[], const int32_t inputs[]);

/*@ requires memory: memory_and_settings(state, settings);
    requires 0 <= state[LT_ST_FLAGS] <= 511;
    assigns state[LT_ST_FLAGS];
    ensures 0 <= state[LT_ST_FLAGS] <= 511; */
static void follow_spell(int32_t state[], const int32_t settings[], int32_t suction, uint32_t bits);

/*@ requires memory: memory_and_settings(state, settings);
    requires 0 <= state[LT_ST_FLAGS] <= 511;
    assigns \nothing;
    ensures \result != 0 ==> (bits & LT_BIT_SENSOR_OK) != 0 && suction >= settings[LT_SET_RELOAD] &&
              state[LT_ST_INTEGRAL] >= settings[LT_SET_RELOAD_LEVEL]; */
static int reload_guard(const int32_t state[], const int32_t settings[], int32_t suction, uint32_t bits);

/*@ requires memory: READABLE(settings, LT_SET_SIZE) && READABLE(outputs, LT_OUT_SIZE);
    assigns \nothing;
    ensures \result <= MOST_BITS;
    ensures no_bit(\result, LT_BIT_RESET_PRESS) && no_memory_bit(\result) && no_bit_of_evaluate(\result);
    ensures (\result & LT_BIT_SENSOR_OK) != 0 <==> outputs[LT_OUT_CREDIBLE] != 0; */
static uint32_t pressure_bits(const int32_t settings[], const int32_t outputs[]);

/*@ requires memory: READABLE(state, LT_ST_SIZE) && READABLE(settings, LT_SET_SIZE);
    requires 0 <= state[LT_ST_FLAGS] <= 511 && 0 <= state[LT_ST_TRIPS] <= 100 && 1 <= settings[LT_SET_RESETS_MOST] <= 7;
    assigns \nothing;
    ensures \result <= MOST_BITS;
    ensures no_bit(\result, LT_BIT_RESET_PRESS) && no_pressure_bit(\result) && no_bit_of_evaluate(\result);
    ensures (\result & LT_BIT_INTEGRAL_FULL) != 0 <==> state[LT_ST_INTEGRAL] >= settings[LT_SET_TRIP_DELAY];
    ensures (\result & LT_BIT_RESTART_DUE) != 0 <==> state[LT_ST_RESTART_LEFT] == 0;
    ensures (\result & LT_BIT_LAST_TRIP) != 0 <==> state[LT_ST_TRIPS] + 1 >= settings[LT_SET_TRIPS_TO_LOCKOUT]; */
static uint32_t memory_bits(const int32_t state[], const int32_t settings[]);

/*@ requires memory: with_inputs(state, settings, inputs) && with_outputs(state, settings, outputs);
    requires admitted(settings) && consistent(state, settings) && 0 <= outputs[LT_OUT_CONDITIONS] <= MOST_BITS;
    requires conditions_free: only_doubts(outputs[LT_OUT_CONDITIONS]);
    assigns state[LT_ST_FLAGS], state[LT_ST_RESTART_LEFT];
    ENSURES_CONSISTENT(state, settings)
    ensures \result <= MOST_BITS;
    ensures (\result & LT_BIT_RUNNING) != 0 <==> inputs[LT_IN_RUN_FEEDBACK] != 0;
    ensures (\result & LT_BIT_SENSOR_OK) != 0 <==> outputs[LT_OUT_CREDIBLE] != 0;
    ensures (\result & LT_BIT_INTEGRAL_FULL) != 0 <==> state[LT_ST_INTEGRAL] >= settings[LT_SET_TRIP_DELAY];
    ensures (\result & LT_BIT_RESTART_DUE) != 0 <==> state[LT_ST_RESTART_LEFT] == 0;
    ensures (\result & LT_BIT_LAST_TRIP) != 0 <==> state[LT_ST_TRIPS] + 1 >= settings[LT_SET_TRIPS_TO_LOCKOUT];
    ensures (\result & LT_BIT_RESET_PRESS) != 0 ==>
              inputs[LT_IN_RESET] != 0 && (\old(state[LT_ST_FLAGS]) & LT_FLAG_RESET_PRESSED) != 0; */
static uint32_t evaluate(int32_t state[], const int32_t settings[], const int32_t inputs[], const int32_t outputs[]);

/* ---- 5. cause-and-effect table ---- */

/* Whether a word that is not negative has the bit, as a digit of the number. */
#define digit(word, bit) (((word) / (bit)) % 2 == 1)

/*@
  // What follows from the bits of two words; each proved with bit vectors, as those above.
  axiomatic bits {
    axiom asked_restart_due: \forall integer b, m; 0 <= b && 0 <= m && digit(b & m, 64) ==> (b & 64) != 0;
    axiom asked_reset_press: \forall integer b, m; 0 <= b && 0 <= m && digit(b & m, 256) ==> (b & 256) != 0;
    axiom asked_sensor_ok: \forall integer b, m; 0 <= b && 0 <= m && digit(b & m, 512) ==> (b & 512) != 0;
    axiom not_running: \forall integer b, m; 0 <= b && 0 <= m && digit(m, 1) && !digit(b & m, 1) ==> (b & 1) == 0;
    axiom last_trip: \forall integer b, m; 0 <= b && 0 <= m && !digit(m, 128) && (b & 128) != 0 ==>
      (b & (m + 128)) == (b & m) + 128;
  }
*/

/*@
  // A row that applies, and what it may lead to whatever stands before it.
  predicate row_applies(lubetrip_row *row, integer state, integer bits) =
    row->state == state && (bits & row->mask) == row->value;

  predicate restart_conditions(integer bits) =
    (bits & LT_BIT_SENSOR_OK) != 0 && (bits & LT_BIT_RUNNING) == 0 && (bits & LT_BIT_RESTART_DUE) != 0;

  predicate stop_on_low_oil(lubetrip_row *row) =
    row->effect == LT_EFFECT_STOP_ON_OIL || row->effect == LT_EFFECT_STOP_ON_RELOAD;

  predicate row_leads(lubetrip_row *row, integer bits) =
    row->next_state <= LT_LOCKED_OUT && row->effect <= LT_EFFECT_REFUSE_RESET &&
    (row->effect == LT_EFFECT_NONE ==> row->next_state < LT_TRIPPED) &&
    (row->state == LT_LOCKED_OUT <==> row->effect == LT_EFFECT_FORGET_TRIPS || row->effect == LT_EFFECT_REFUSE_RESET) &&
    (row->effect == LT_EFFECT_REFUSE_RESET ==> row->next_state == LT_LOCKED_OUT) &&
    (row->state != LT_LOCKED_OUT && row->next_state == LT_LOCKED_OUT ==> stop_on_low_oil(row)) &&
    (row->state == LT_LOCKED_OUT && (bits & row->mask) == row->value ==> (bits & LT_BIT_RESET_PRESS) != 0) &&
    (row->state >= LT_TRIPPED && row->next_state < LT_TRIPPED && (bits & row->mask) == row->value ==>
      row->next_state == LT_STOPPED && restart_conditions(bits));

  // A counted stop without lockout stands right below the row that locks out on the last trip.
  predicate counted_stop(lubetrip_row *row) = row->next_state == LT_TRIPPED && stop_on_low_oil(row);

  predicate last_trip_first(lubetrip_row *rows, integer i, integer bits) =
    counted_stop(rows + i) && (bits & rows[i].mask) == rows[i].value && (bits & LT_BIT_LAST_TRIP) != 0 ==>
      0 < i && row_applies(rows + (i - 1), rows[i].state, bits);

  predicate row_right(lubetrip_row *rows, integer i, integer bits) =
    row_leads(rows + i, bits) && last_trip_first(rows, i, bits);

  predicate none_applies(lubetrip_row *rows, integer count, int32_t *m, integer bits) =
    \forall integer i; 0 <= i < count ==> !row_applies(rows + i, m[LT_ST_STATE], bits);

  predicate not_moved{Before, After}(int32_t *m) =
    \at(m[LT_ST_STATE], Before) == \at(m[LT_ST_STATE], After) &&
    \at(m[LT_ST_TRIPS], Before) == \at(m[LT_ST_TRIPS], After) &&
    \at(m[LT_ST_CAUSE], Before) == \at(m[LT_ST_CAUSE], After) &&
    \at(m[LT_ST_MEMORY_LEFT], Before) == \at(m[LT_ST_MEMORY_LEFT], After);

  // The table is read again only after a move that stopped nothing and counted nothing.
  predicate may_go_on{Before, After}(int32_t *m) =
    \at(m[LT_ST_TRIPS], Before) == \at(m[LT_ST_TRIPS], After) &&
    \at(m[LT_ST_STATE], Before) != LT_LOCKED_OUT && \at(m[LT_ST_STATE], After) < LT_TRIPPED;

  predicate lockout_kept{Before, After}(int32_t *m, integer bits) =
    \at(m[LT_ST_STATE], Before) == LT_LOCKED_OUT && \at(m[LT_ST_STATE], After) != LT_LOCKED_OUT ==>
      (bits & LT_BIT_RESET_PRESS) != 0;

  predicate stop_kept{Before, After}(int32_t *m, integer bits) =
    \at(m[LT_ST_STATE], Before) >= LT_TRIPPED && \at(m[LT_ST_STATE], After) < LT_TRIPPED ==>
      \at(m[LT_ST_STATE], After) == LT_STOPPED && restart_conditions(bits);
*/

/* The rows one by one: what stands in each is known. */
#define each_row(rows, bits) (                                                                                        \
    row_right(rows, 0, bits) && row_right(rows, 1, bits) && row_right(rows, 2, bits) && row_right(rows, 3, bits) && \
    row_right(rows, 4, bits) && row_right(rows, 5, bits) && row_right(rows, 6, bits) && row_right(rows, 7, bits) && \
    row_right(rows, 8, bits) && row_right(rows, 9, bits) && row_right(rows, 10, bits) && row_right(rows, 11, bits) && \
    row_right(rows, 12, bits) && row_right(rows, 13, bits) && row_right(rows, 14, bits) && row_right(rows, 15, bits) && \
    row_right(rows, 16, bits) && row_right(rows, 17, bits) && row_right(rows, 18, bits) && row_right(rows, 19, bits) && \
    row_right(rows, 20, bits))

/*@ requires memory: memory_and_settings(state, settings);
    requires effect == LT_EFFECT_FORGET_TRIPS || effect == LT_EFFECT_REFUSE_RESET;
    requires 0 <= state[LT_ST_FLAGS] <= 511;
    assigns state[LT_ST_MEMORY_LEFT], state[LT_ST_TRIPS], state[LT_ST_FLAGS], state[LT_ST_CAUSE];
    ensures 0 <= state[LT_ST_FLAGS] <= 511;
    ensures effect == LT_EFFECT_REFUSE_RESET ==> state[LT_ST_TRIPS] == \old(state[LT_ST_TRIPS]) &&
              state[LT_ST_MEMORY_LEFT] == \old(state[LT_ST_MEMORY_LEFT]) && state[LT_ST_CAUSE] == LT_RESETS_CAUSE;
    ensures effect == LT_EFFECT_FORGET_TRIPS ==> state[LT_ST_TRIPS] == 0 &&
              state[LT_ST_MEMORY_LEFT] == settings[LT_SET_TRIP_MEMORY] && state[LT_ST_CAUSE] == \old(state[LT_ST_CAUSE]); */
static void apply_reset(int32_t state[], const int32_t settings[], int effect);

/*@ requires memory: memory_and_settings(state, settings);
    requires 0 <= effect <= LT_EFFECT_REFUSE_RESET && bits <= MOST_BITS;
    requires 0 <= state[LT_ST_TRIPS] <= 100 && 0 <= state[LT_ST_FLAGS] <= 511;
    assigns state[LT_ST_MEMORY_LEFT], state[LT_ST_TRIPS], state[LT_ST_FLAGS], state[LT_ST_CAUSE];
    ensures 0 <= state[LT_ST_FLAGS] <= 511;
    ensures effect == LT_EFFECT_REFUSE_RESET ==> state[LT_ST_TRIPS] == \old(state[LT_ST_TRIPS]) &&
              state[LT_ST_MEMORY_LEFT] == \old(state[LT_ST_MEMORY_LEFT]);
    ensures effect == LT_EFFECT_NONE ==> state[LT_ST_MEMORY_LEFT] == \old(state[LT_ST_MEMORY_LEFT]) &&
              state[LT_ST_TRIPS] == \old(state[LT_ST_TRIPS]) && state[LT_ST_CAUSE] == \old(state[LT_ST_CAUSE]);
    ensures effect == LT_EFFECT_STOP_ON_OIL || effect == LT_EFFECT_STOP_ON_RELOAD ==>
              state[LT_ST_TRIPS] == \old(state[LT_ST_TRIPS]) + 1 &&
              state[LT_ST_MEMORY_LEFT] == settings[LT_SET_TRIP_MEMORY];
    ensures effect == LT_EFFECT_STOP_ON_SENSOR ==> state[LT_ST_TRIPS] == \old(state[LT_ST_TRIPS]) &&
              state[LT_ST_MEMORY_LEFT] == \old(state[LT_ST_MEMORY_LEFT]);
    ensures effect == LT_EFFECT_FORGET_TRIPS ==> state[LT_ST_TRIPS] == 0 && state[LT_ST_MEMORY_LEFT] == settings[LT_SET_TRIP_MEMORY];
    ensures state[LT_ST_CAUSE] == \old(state[LT_ST_CAUSE]) ||
              0 <= state[LT_ST_CAUSE] <= MOST_BITS; */
static void apply_effect(int32_t state[], const int32_t settings[], uint32_t bits, int effect);

/*@ requires memory: memory_and_settings(state, settings);
    requires admitted(settings) && consistent(state, settings);
    requires bits <= MOST_BITS;
    requires (bits & LT_BIT_LAST_TRIP) != 0 <==> state[LT_ST_TRIPS] + 1 >= settings[LT_SET_TRIPS_TO_LOCKOUT];
    assigns state[LT_ST_STATE], state[LT_ST_MEMORY_LEFT], state[LT_ST_TRIPS], state[LT_ST_FLAGS], state[LT_ST_CAUSE];
    ENSURES_CONSISTENT(state, settings)
    ensures \result != 0 ==> may_go_on{Pre, Post}(state);
    ensures lockout: lockout_kept{Pre, Post}(state, bits);
    ensures restart: stop_kept{Pre, Post}(state, bits); */
static int move_once(int32_t state[], const int32_t settings[], uint32_t bits);

/*@ requires memory: memory_and_settings(state, settings);
    requires admitted(settings) && consistent(state, settings);
    requires bits <= MOST_BITS;
    requires (bits & LT_BIT_LAST_TRIP) != 0 <==> state[LT_ST_TRIPS] + 1 >= settings[LT_SET_TRIPS_TO_LOCKOUT];
    assigns state[LT_ST_STATE], state[LT_ST_MEMORY_LEFT], state[LT_ST_TRIPS], state[LT_ST_FLAGS], state[LT_ST_CAUSE];
    ENSURES_CONSISTENT(state, settings)
    ensures lockout: lockout_kept{Pre, Post}(state, bits);
    ensures restart: \old(state[LT_ST_STATE]) >= LT_TRIPPED && state[LT_ST_STATE] < LT_TRIPPED ==> restart_conditions(bits); */
static void settle(int32_t state[], const int32_t settings[], uint32_t bits);

/* ---- 6. outputs ---- */

/*@ requires memory: READABLE(state, LT_ST_SIZE) && READABLE(settings, LT_SET_SIZE);
    requires scale_fits(settings);
    requires 0 <= state[LT_ST_INTEGRAL] <= settings[LT_SET_TRIP_DELAY] <= 1800000;
    assigns \nothing;
    ensures 0 <= \result <= 100;
    ensures \result == 100 <==> state[LT_ST_INTEGRAL] == settings[LT_SET_TRIP_DELAY]; */
static int32_t percent(const int32_t state[], const int32_t settings[]);

/*@ requires memory: with_outputs(state, settings, outputs);
    requires scale_fits(settings);
    requires 0 <= state[LT_ST_INTEGRAL] <= settings[LT_SET_TRIP_DELAY] <= 1800000;
    assigns outputs[LT_OUT_RUN_PERMISSION .. LT_OUT_INTEGRAL_PERCENT];
    ensures outputs[LT_OUT_RUN_PERMISSION] == (state[LT_ST_STATE] < LT_TRIPPED ? 1 : 0);
    ensures outputs[LT_OUT_ALARM] == (state[LT_ST_STATE] >= LT_STARVED || outputs[LT_OUT_CREDIBLE] == 0 ? 1 : 0);
    ensures 0 <= outputs[LT_OUT_INTEGRAL_PERCENT] <= 100; */
static void write_outputs(const int32_t state[], const int32_t settings[], int32_t outputs[]);

#endif
