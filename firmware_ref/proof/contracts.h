/* What the C port promises, function by function, in ACSL; looked at by
   `python -m tests.gates proof-c` for all admitted settings, every state that a step
   can leave behind, and any 32-bit inputs. The port itself holds
   loop contracts and a few asserts only: contracted.c puts these declarations in front
   of the unchanged lubetrip.c. Which of them are proved, the gate says. */
#ifndef LUBETRIP_CONTRACTS_H
#define LUBETRIP_CONTRACTS_H

#include "offered.h"

/*@
  // Facts about shifts and masks that the contracts below lean on.
  lemma shift_weight: \forall integer x; 0 <= x ==> (x >> 11) == x / 2048;
  lemma shift_half: \forall integer x; 0 <= x ==> (x >> 1) == x / 2;
  lemma shift_slope: \forall integer x; 0 <= x ==> (x >> 16) == x / 65536;
  lemma shift_percent: \forall integer x; 0 <= x ==> (x >> 23) == x / 8388608;
  lemma product: \forall integer a, b, c, d; 0 <= a <= c && 0 <= b <= d ==> 0 <= a * b <= c * d;
*/

/* ---- flags ---- */

/*@ requires \valid_read(state + (0 .. 15)) && 0 <= state[LT_ST_FLAGS] <= 31;
    assigns \nothing;
    ensures \result == (state[LT_ST_FLAGS] & mask); */
static uint32_t flags_of(const int32_t state[], uint32_t mask);

/*@ requires \valid(state + (0 .. 15)) && 0 <= state[LT_ST_FLAGS] <= 31 && mask <= 31;
    assigns state[LT_ST_FLAGS];
    ensures 0 <= state[LT_ST_FLAGS] <= 31 && state[LT_ST_FLAGS] == (\old(state[LT_ST_FLAGS]) | mask); */
static void set_flags(int32_t state[], uint32_t mask);

/*@ requires \valid(state + (0 .. 15)) && 0 <= state[LT_ST_FLAGS] <= 31 && mask <= 31;
    assigns state[LT_ST_FLAGS];
    ensures 0 <= state[LT_ST_FLAGS] <= 31 && state[LT_ST_FLAGS] == (\old(state[LT_ST_FLAGS]) & ~mask); */
static void clear_flags(int32_t state[], uint32_t mask);

/* ---- 1. signals ---- */

/*@ requires \valid_read(state + (0 .. 15)) && \valid_read(inputs + (0 .. 5)) && 0 <= state[LT_ST_FLAGS] <= 31;
    assigns \nothing;
    ensures 0 <= \result <= LT_ELAPSED_MOST; */
static int32_t counted_elapsed(const int32_t state[], const int32_t inputs[]);

/*@ assigns \nothing;
    ensures \result != 0 <==> least <= reading <= most; */
static int within(int32_t reading, int32_t least, int32_t most);

/*@ requires \valid_read(settings + (0 .. 24)) && \valid_read(inputs + (0 .. 5));
    assigns \nothing;
    ensures \result != 0 <==> credible_range(settings, inputs); */
static int plausible(const int32_t settings[], const int32_t inputs[]);

/*@ requires \valid(seen + (0 .. 1)) && 0 <= seen[1] <= stuck_after <= 86400000;
    requires 0 <= elapsed <= LT_ELAPSED_MOST;
    assigns seen[0], seen[1];
    ensures 0 <= \result <= elapsed && 0 <= seen[1] <= stuck_after && seen[0] == reading;
    ensures running != 0 && reading == \old(seen[0]) && \old(seen[1]) == stuck_after ==> \result == elapsed; */
static int32_t stuck_part(int32_t seen[2], int32_t reading, int32_t running, int32_t elapsed, int32_t stuck_after);

/*@ requires all_arrays(state, settings, inputs, outputs) && admitted(settings) && consistent(state, settings);
    assigns state[LT_ST_OIL_SEEN .. LT_ST_CRANKCASE_SEEN + 1], outputs[LT_OUT_NET_OIL_PRESSURE .. LT_OUT_DOUBTED];
    ensures consistent(state, settings) && shared(settings, outputs);
    ensures not_credible: !credible_range(settings, inputs) ==>
              outputs[LT_OUT_SEEN] == 0 && outputs[LT_OUT_CREDIBLE] == 0;
    ensures frozen: inputs[LT_IN_RUNNING] != 0 && inputs[LT_IN_OIL_PRESSURE] == \old(state[LT_ST_OIL_SEEN]) &&
              \old(state[LT_ST_OIL_SEEN + 1]) == settings[LT_SET_STUCK_AFTER] ==> outputs[LT_OUT_SEEN] == 0; */
static void observe(int32_t state[], const int32_t settings[], const int32_t inputs[], int32_t outputs[]);

/* ---- 2. integral ---- */

/*@ requires \valid_read(settings + (0 .. 24)) && -20100000 <= net <= 20100000;
    requires 0 <= settings[LT_SET_FLOOR] < settings[LT_SET_CUT_OUT] < settings[LT_SET_CUT_IN] <= 1000000;
    requires 2048 <= settings[LT_SET_FLOOR_WEIGHT] <= 16384 && 2048 <= settings[LT_SET_VACUUM_WEIGHT] <= 16384;
    requires 0 <= settings[LT_SET_RECOVERY] <= 16384 && ramp_fits(settings);
    assigns \nothing;
    ensures -16384 <= \result <= 131072;
    ensures net >= settings[LT_SET_CUT_IN] ==> \result <= 0;
    ensures net < settings[LT_SET_CUT_IN] ==> \result >= 0;
    ensures net < settings[LT_SET_CUT_OUT] ==> \result >= LT_ONE; */
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

/*@ requires memory_and_settings(state, settings) && 1000 <= settings[LT_SET_TRIP_DELAY] <= 1800000;
    requires integral_within(state, settings);
    requires -16384 <= gain <= 131072 && 0 <= elapsed <= LT_ELAPSED_MOST;
    requires elapsed <= 300000 || gain == LT_ONE;
    assigns state[LT_ST_INTEGRAL], state[LT_ST_INTEGRAL_FRACTION];
    ensures integral_within(state, settings);
    ensures gain >= 0 || elapsed == 0 ==> not_lowered{Pre, Post}(state);
    ensures gain >= LT_ONE ==> state[LT_ST_INTEGRAL] == settings[LT_SET_TRIP_DELAY] ||
              state[LT_ST_INTEGRAL] >= \old(state[LT_ST_INTEGRAL]) + elapsed; */
static void accumulate(int32_t state[], const int32_t settings[], int32_t gain, int32_t elapsed);

/*@ requires \valid(state + (0 .. 15)) && 0 <= state[LT_ST_GRACE_LEFT] <= LT_ELAPSED_MOST;
    requires 0 <= elapsed <= LT_ELAPSED_MOST;
    assigns state[LT_ST_GRACE_LEFT];
    ensures 0 <= state[LT_ST_GRACE_LEFT] <= \old(state[LT_ST_GRACE_LEFT]);
    ensures \result == elapsed - (\old(state[LT_ST_GRACE_LEFT]) - state[LT_ST_GRACE_LEFT]);
    ensures 0 <= \result <= elapsed && (\result > 0 ==> state[LT_ST_GRACE_LEFT] == 0); */
static int32_t past_grace(int32_t state[], int32_t elapsed);

/*@ requires memory_and_settings(state, settings) && admitted(settings);
    requires 0 <= state[LT_ST_GRACE_LEFT] <= settings[LT_SET_START_GRACE] && 0 <= elapsed <= LT_ELAPSED_MOST;
    assigns state[LT_ST_GRACE_LEFT];
    ensures \old(state[LT_ST_GRACE_LEFT]) <= state[LT_ST_GRACE_LEFT] <= settings[LT_SET_START_GRACE]; */
static void regain_grace(int32_t state[], const int32_t settings[], int32_t elapsed);

/*@ requires with_inputs(state, settings, inputs) && with_outputs(state, settings, outputs);
    requires admitted(settings) && consistent(state, settings) && shared(settings, outputs);
    assigns state[LT_ST_INTEGRAL .. LT_ST_GRACE_LEFT];
    ensures consistent(state, settings);
    ensures outputs[LT_OUT_SEEN] == 0 ==> not_lowered{Pre, Post}(state);
    ensures inputs[LT_IN_RUNNING] != 0 && outputs[LT_OUT_NET_OIL_PRESSURE] < settings[LT_SET_CUT_IN] ==>
              not_lowered{Pre, Post}(state); */
static void update_integral(int32_t state[], const int32_t settings[], const int32_t inputs[], const int32_t outputs[]);

/* ---- the other timers ---- */

/*@ requires \valid(left) && 0 <= *left && 0 <= elapsed;
    assigns *left;
    ensures 0 <= *left <= \old(*left) && (elapsed == 0 ==> *left == \old(*left)); */
static void run_down(int32_t *left, int32_t elapsed);

/*@ requires with_outputs(state, settings, outputs) && admitted(settings);
    requires consistent(state, settings) && shared(settings, outputs);
    assigns state[LT_ST_FAULT_TIME .. LT_ST_FLAGS];
    ensures consistent(state, settings);
    ensures (state[LT_ST_FLAGS] & LT_FLAG_RESET_HELD) == (\old(state[LT_ST_FLAGS]) & LT_FLAG_RESET_HELD); */
static void update_fault_time(int32_t state[], const int32_t settings[], const int32_t outputs[]);

/*@ requires with_inputs(state, settings, inputs) && with_outputs(state, settings, outputs);
    requires admitted(settings) && consistent(state, settings) && shared(settings, outputs);
    assigns state[LT_ST_RESTART_LEFT .. LT_ST_FLAGS];
    ensures consistent(state, settings);
    ensures (state[LT_ST_FLAGS] & LT_FLAG_RESET_HELD) == (\old(state[LT_ST_FLAGS]) & LT_FLAG_RESET_HELD);
    ensures inputs[LT_IN_RUNNING] != 0 ==> state[LT_ST_RESTART_LEFT] == settings[LT_SET_RESTART_DELAY]; */
static void update_timers(int32_t state[], const int32_t settings[], const int32_t inputs[], const int32_t outputs[]);

/* ---- 3. conditions ---- */

/*@ requires \valid(state + (0 .. 15)) && \valid_read(inputs + (0 .. 5));
    requires \separated(state + (0 .. 15), inputs + (0 .. 5)) && 0 <= state[LT_ST_FLAGS] <= 31;
    assigns state[LT_ST_FLAGS];
    ensures 0 <= state[LT_ST_FLAGS] <= 31 && (\result == 0 || \result == LT_BIT_RESET_EDGE);
    ensures \result != 0 <==> inputs[LT_IN_RESET] != 0 && (\old(state[LT_ST_FLAGS]) & LT_FLAG_RESET_HELD) == 0;
    ensures (state[LT_ST_FLAGS] & LT_FLAG_RESET_HELD) != 0 <==> inputs[LT_IN_RESET] != 0; */
static uint32_t follow_reset(int32_t state[], const int32_t inputs[]);

/*@ requires memory_and_settings(state, settings) && 0 <= state[LT_ST_FLAGS] <= 31;
    assigns state[LT_ST_FLAGS];
    ensures 0 <= state[LT_ST_FLAGS] <= 31; */
static void follow_spell(int32_t state[], const int32_t settings[], int32_t suction, uint32_t bits);

/*@ requires memory_and_settings(state, settings) && 0 <= state[LT_ST_FLAGS] <= 31;
    assigns \nothing;
    ensures \result != 0 ==> (bits & LT_BIT_SENSOR_OK) != 0 && suction >= settings[LT_SET_RELOAD] &&
              net < settings[LT_SET_FLOOR] && state[LT_ST_INTEGRAL] >= settings[LT_SET_RELOAD_LEVEL]; */
static int reload_guard(const int32_t state[], const int32_t settings[], int32_t net, int32_t suction, uint32_t bits);

/*@ requires \valid_read(settings + (0 .. 24)) && \valid_read(outputs + (0 .. 8));
    assigns \nothing;
    ensures (\result & (LT_BIT_SENSOR_OK | LT_BIT_LOW | LT_BIT_HEALTHY)) == \result;
    ensures (\result & LT_BIT_SENSOR_OK) != 0 <==> outputs[LT_OUT_CREDIBLE] != 0; */
static uint32_t oil_bits(const int32_t settings[], const int32_t outputs[]);

/*@ requires with_inputs(state, settings, inputs) && with_outputs(state, settings, outputs);
    requires admitted(settings) && consistent(state, settings);
    assigns state[LT_ST_FLAGS];
    ensures consistent(state, settings) && \result <= 2047;
    ensures (\result & LT_BIT_RUNNING) != 0 <==> inputs[LT_IN_RUNNING] != 0;
    ensures (\result & LT_BIT_SENSOR_OK) != 0 <==> outputs[LT_OUT_CREDIBLE] != 0;
    ensures (\result & LT_BIT_INTEGRAL_FULL) != 0 <==> state[LT_ST_INTEGRAL] >= settings[LT_SET_TRIP_DELAY];
    ensures (\result & LT_BIT_RESTART_DUE) != 0 <==> state[LT_ST_RESTART_LEFT] == 0;
    ensures (\result & LT_BIT_LAST_TRIP) != 0 <==> state[LT_ST_TRIPS] + 1 >= settings[LT_SET_TRIPS_TO_LOCKOUT];
    ensures (\result & LT_BIT_RESET_EDGE) != 0 <==>
              inputs[LT_IN_RESET] != 0 && (\old(state[LT_ST_FLAGS]) & LT_FLAG_RESET_HELD) == 0; */
static uint32_t evaluate(int32_t state[], const int32_t settings[], const int32_t inputs[], const int32_t outputs[]);

/* ---- 4. cause-and-effect table ---- */

/*@
  // A row that applies, and what it may lead to whatever stands before it.
  predicate row_applies(lubetrip_row *row, integer state, integer bits) =
    row->state == state && (bits & row->mask) == row->value;

  predicate restart_conditions(integer bits) =
    (bits & LT_BIT_SENSOR_OK) != 0 && (bits & LT_BIT_RUNNING) == 0 &&
    ((bits & LT_BIT_RESET_EDGE) != 0 || (bits & LT_BIT_RESTART_DUE) != 0);

  predicate stop_on_low_oil(lubetrip_row *row) =
    row->effect == LT_EFFECT_STOP_ON_OIL || row->effect == LT_EFFECT_STOP_ON_RELOAD;

  predicate row_leads(lubetrip_row *row, integer bits) =
    row->next_state <= LT_LOCKED_OUT && row->effect <= LT_EFFECT_FORGET_TRIPS &&
    (row->effect == LT_EFFECT_NONE ==> row->next_state < LT_TRIPPED) &&
    (row->state == LT_LOCKED_OUT ==> row->effect == LT_EFFECT_FORGET_TRIPS) &&
    (row->next_state == LT_LOCKED_OUT ==> stop_on_low_oil(row)) &&
    (row->state == LT_LOCKED_OUT && (bits & row->mask) == row->value ==> (bits & LT_BIT_RESET_EDGE) != 0) &&
    (row->state >= LT_TRIPPED && row->next_state < LT_TRIPPED && (bits & row->mask) == row->value ==>
      row->next_state == LT_STOPPED && restart_conditions(bits));

  // A counted stop without lockout stands right below the row that locks out on the last trip.
  predicate counted_stop(lubetrip_row *row) = row->next_state == LT_TRIPPED && stop_on_low_oil(row);

  predicate last_trip_comes_first(lubetrip_row *rows, integer bits) =
    \forall integer i; 0 <= i < LUBETRIP_ROW_COUNT && counted_stop(rows + i) &&
      (bits & rows[i].mask) == rows[i].value && (bits & LT_BIT_LAST_TRIP) != 0 ==>
      0 < i && row_applies(rows + (i - 1), rows[i].state, bits);

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
      (bits & LT_BIT_RESET_EDGE) != 0;

  predicate stop_kept{Before, After}(int32_t *m, integer bits) =
    \at(m[LT_ST_STATE], Before) >= LT_TRIPPED && \at(m[LT_ST_STATE], After) < LT_TRIPPED ==>
      \at(m[LT_ST_STATE], After) == LT_STOPPED && restart_conditions(bits);
*/

/*@ requires memory_and_settings(state, settings) && effect <= LT_EFFECT_FORGET_TRIPS;
    requires 0 <= state[LT_ST_TRIPS] <= 100;
    assigns state[LT_ST_MEMORY_LEFT], state[LT_ST_TRIPS], state[LT_ST_CAUSE];
    ensures effect == LT_EFFECT_NONE ==> state[LT_ST_MEMORY_LEFT] == \old(state[LT_ST_MEMORY_LEFT]) &&
              state[LT_ST_TRIPS] == \old(state[LT_ST_TRIPS]) && state[LT_ST_CAUSE] == \old(state[LT_ST_CAUSE]);
    ensures effect == LT_EFFECT_STOP_ON_OIL || effect == LT_EFFECT_STOP_ON_RELOAD ==>
              state[LT_ST_TRIPS] == \old(state[LT_ST_TRIPS]) + 1 &&
              state[LT_ST_MEMORY_LEFT] == settings[LT_SET_TRIP_MEMORY];
    ensures effect == LT_EFFECT_STOP_ON_SENSOR ==> state[LT_ST_TRIPS] == \old(state[LT_ST_TRIPS]) &&
              state[LT_ST_MEMORY_LEFT] == \old(state[LT_ST_MEMORY_LEFT]);
    ensures effect == LT_EFFECT_FORGET_TRIPS ==> state[LT_ST_TRIPS] == 0 && state[LT_ST_MEMORY_LEFT] == 0;
    ensures state[LT_ST_CAUSE] == \old(state[LT_ST_CAUSE]) ||
              LT_OIL_CAUSE <= state[LT_ST_CAUSE] <= LT_SENSOR_CAUSE; */
static void apply_effect(int32_t state[], const int32_t settings[], uint8_t effect);

/*@ requires memory_and_settings(state, settings) && admitted(settings) && consistent(state, settings);
    requires bits <= 2047;
    requires (bits & LT_BIT_LAST_TRIP) != 0 <==> state[LT_ST_TRIPS] + 1 >= settings[LT_SET_TRIPS_TO_LOCKOUT];
    assigns state[LT_ST_STATE], state[LT_ST_MEMORY_LEFT], state[LT_ST_TRIPS], state[LT_ST_CAUSE];
    ensures consistent(state, settings);
    ensures \result != 0 ==> may_go_on{Pre, Post}(state);
    ensures lockout: lockout_kept{Pre, Post}(state, bits);
    ensures restart: stop_kept{Pre, Post}(state, bits); */
static int move_once(int32_t state[], const int32_t settings[], uint32_t bits);

/*@ requires memory_and_settings(state, settings) && admitted(settings) && consistent(state, settings);
    requires bits <= 2047;
    requires (bits & LT_BIT_LAST_TRIP) != 0 <==> state[LT_ST_TRIPS] + 1 >= settings[LT_SET_TRIPS_TO_LOCKOUT];
    assigns state[LT_ST_STATE], state[LT_ST_MEMORY_LEFT], state[LT_ST_TRIPS], state[LT_ST_CAUSE];
    ensures consistent(state, settings);
    ensures lockout: lockout_kept{Pre, Post}(state, bits);
    ensures restart: \old(state[LT_ST_STATE]) >= LT_TRIPPED && state[LT_ST_STATE] < LT_TRIPPED ==> restart_conditions(bits); */
static void settle(int32_t state[], const int32_t settings[], uint32_t bits);

/* ---- 5. outputs ---- */

/*@ requires \valid_read(state + (0 .. 15)) && \valid_read(settings + (0 .. 24)) && scale_fits(settings);
    requires 0 <= state[LT_ST_INTEGRAL] <= settings[LT_SET_TRIP_DELAY] <= 1800000;
    assigns \nothing;
    ensures 0 <= \result <= 100;
    ensures \result == 100 <==> state[LT_ST_INTEGRAL] == settings[LT_SET_TRIP_DELAY]; */
static int32_t percent(const int32_t state[], const int32_t settings[]);

/*@ requires with_outputs(state, settings, outputs) && scale_fits(settings);
    requires 0 <= state[LT_ST_INTEGRAL] <= settings[LT_SET_TRIP_DELAY] <= 1800000;
    assigns outputs[LT_OUT_RUN_PERMISSION .. LT_OUT_INTEGRAL_PERCENT];
    ensures outputs[LT_OUT_RUN_PERMISSION] == (state[LT_ST_STATE] < LT_TRIPPED ? 1 : 0);
    ensures outputs[LT_OUT_ALARM] == (state[LT_ST_STATE] >= LT_STARVED || outputs[LT_OUT_CREDIBLE] == 0 ? 1 : 0);
    ensures 0 <= outputs[LT_OUT_INTEGRAL_PERCENT] <= 100; */
static void write_outputs(const int32_t state[], const int32_t settings[], int32_t outputs[]);

#endif
