/* What the C port promises, function by function, in ACSL; proved by
   `python -m tests.gates proof` for all admitted settings, every state that a step
   can leave behind, and any 32-bit inputs. The port itself stays free of it:
   contracted.c puts these declarations in front of the unchanged lubetrip.c.

   The ranges are restated here. That they are those of the generated header is
   proved too: see lubetrip_first_fault. */
#ifndef LUBETRIP_CONTRACTS_H
#define LUBETRIP_CONTRACTS_H

#include "lubetrip.h"

/*@
  // Facts about shifts and masks that the contracts below lean on.
  lemma shift_weight: \forall integer x; 0 <= x ==> (x >> 11) == x / 2048;
  lemma shift_half: \forall integer x; 0 <= x ==> (x >> 1) == x / 2;
  lemma shift_slope: \forall integer x; 0 <= x ==> (x >> 16) == x / 65536;
  lemma shift_percent: \forall integer x; 0 <= x ==> (x >> 23) == x / 8388608;
  lemma product: \forall integer a, b, c, d; 0 <= a <= c && 0 <= b <= d ==> 0 <= a * b <= c * d;

  predicate in_ranges(int32_t *s) =
    1000 <= s[LT_SET_CUT_OUT] <= 1000000 && 1000 <= s[LT_SET_CUT_IN] <= 1000000 &&
    0 <= s[LT_SET_FLOOR] <= 1000000 && 1000 <= s[LT_SET_TRIP_DELAY] <= 1800000 &&
    2048 <= s[LT_SET_FLOOR_WEIGHT] <= 16384 && 2048 <= s[LT_SET_VACUUM_WEIGHT] <= 16384 &&
    0 <= s[LT_SET_RECOVERY] <= 16384 && 0 <= s[LT_SET_STOPPED_RECOVERY] <= 16384 &&
    0 <= s[LT_SET_VACUUM] <= 10000000 && 0 <= s[LT_SET_RELOAD] <= 20000000 &&
    0 <= s[LT_SET_RELOAD_FRACTION] <= 2048 && 0 <= s[LT_SET_START_GRACE] <= 1800000 &&
    0 <= s[LT_SET_RESTART_DELAY] <= 86400000 && 1 <= s[LT_SET_TRIPS_TO_LOCKOUT] <= 100 &&
    1000 <= s[LT_SET_TRIP_MEMORY] <= 604800000 &&
    -100000 <= s[LT_SET_OIL_LEAST] <= 20000000 && -100000 <= s[LT_SET_OIL_MOST] <= 20000000 &&
    -100000 <= s[LT_SET_SUCTION_LEAST] <= 20000000 && -100000 <= s[LT_SET_SUCTION_MOST] <= 20000000 &&
    10 <= s[LT_SET_MAX_GAP] <= 300000 && 1000 <= s[LT_SET_STUCK_AFTER] <= 86400000 &&
    100 <= s[LT_SET_FAULT_DELAY] <= 1800000;

  predicate related(int32_t *s) =
    s[LT_SET_FLOOR] < s[LT_SET_CUT_OUT] < s[LT_SET_CUT_IN] < s[LT_SET_OIL_MOST] &&
    s[LT_SET_OIL_LEAST] < s[LT_SET_OIL_MOST] && s[LT_SET_SUCTION_LEAST] < s[LT_SET_SUCTION_MOST] &&
    s[LT_SET_SUCTION_LEAST] <= s[LT_SET_VACUUM] <= s[LT_SET_RELOAD] <= s[LT_SET_SUCTION_MOST] &&
    s[LT_SET_MAX_GAP] < s[LT_SET_STUCK_AFTER];

  predicate ramp_fits(int32_t *s) = 0 <= s[LT_SET_SLOPE] &&
    s[LT_SET_SLOPE] * (s[LT_SET_CUT_OUT] - s[LT_SET_FLOOR]) <= (s[LT_SET_FLOOR_WEIGHT] - 2048) * 65536;

  predicate scale_fits(int32_t *s) = 0 <= s[LT_SET_PERCENT_SCALE] &&
    s[LT_SET_PERCENT_SCALE] * s[LT_SET_TRIP_DELAY] <= 838860800;

  predicate derived(int32_t *s) =
    ramp_fits(s) && scale_fits(s) && 0 <= s[LT_SET_RELOAD_LEVEL] <= s[LT_SET_TRIP_DELAY];

  predicate admitted(int32_t *s) = in_ranges(s) && related(s) && derived(s);

  predicate integral_within(int32_t *m, int32_t *s) =
    0 <= m[LT_ST_INTEGRAL] <= s[LT_SET_TRIP_DELAY] && 0 <= m[LT_ST_INTEGRAL_FRACTION] <= 2047 &&
    (m[LT_ST_INTEGRAL] == s[LT_SET_TRIP_DELAY] ==> m[LT_ST_INTEGRAL_FRACTION] == 0);

  // What every step leaves behind, and so what every step may rely on.
  predicate consistent(int32_t *m, int32_t *s) =
    LT_STOPPED <= m[LT_ST_STATE] <= LT_LOCKED_OUT &&
    integral_within(m, s) &&
    0 <= m[LT_ST_GRACE_LEFT] <= s[LT_SET_START_GRACE] && 0 <= m[LT_ST_RESTART_LEFT] <= s[LT_SET_RESTART_DELAY] &&
    0 <= m[LT_ST_MEMORY_LEFT] <= s[LT_SET_TRIP_MEMORY] && 0 <= m[LT_ST_FAULT_TIME] <= s[LT_SET_FAULT_DELAY] &&
    0 <= m[LT_ST_TRIPS] <= s[LT_SET_TRIPS_TO_LOCKOUT] &&
    (m[LT_ST_STATE] != LT_LOCKED_OUT ==> m[LT_ST_TRIPS] < s[LT_SET_TRIPS_TO_LOCKOUT]) &&
    0 <= m[LT_ST_FLAGS] <= 31 && LT_NO_CAUSE <= m[LT_ST_CAUSE] <= LT_SENSOR_CAUSE &&
    0 <= m[LT_ST_OIL_SEEN + 1] <= s[LT_SET_STUCK_AFTER] &&
    0 <= m[LT_ST_SUCTION_SEEN + 1] <= s[LT_SET_STUCK_AFTER] &&
    0 <= m[LT_ST_CRANKCASE_SEEN + 1] <= s[LT_SET_STUCK_AFTER];

  predicate credible_range(int32_t *s, int32_t *in) =
    s[LT_SET_OIL_LEAST] <= in[LT_IN_OIL_PRESSURE] <= s[LT_SET_OIL_MOST] &&
    s[LT_SET_SUCTION_LEAST] <= in[LT_IN_SUCTION_PRESSURE] <= s[LT_SET_SUCTION_MOST] &&
    s[LT_SET_SUCTION_LEAST] <= in[LT_IN_CRANKCASE_PRESSURE] <= s[LT_SET_SUCTION_MOST];

  // The elapsed time is shared between what was seen and what was in doubt.
  predicate shared(int32_t *s, int32_t *out) =
    0 <= out[LT_OUT_SEEN] <= s[LT_SET_MAX_GAP] && 0 <= out[LT_OUT_DOUBTED] &&
    out[LT_OUT_SEEN] + out[LT_OUT_DOUBTED] <= LT_ELAPSED_MOST &&
    -20100000 <= out[LT_OUT_NET_OIL_PRESSURE] <= 20100000 && 0 <= out[LT_OUT_CREDIBLE] <= 1;

  // The integral, in whole ms, is not smaller than before.
  predicate not_lowered{Before, After}(int32_t *m) =
    \at(m[LT_ST_INTEGRAL], Before) <= \at(m[LT_ST_INTEGRAL], After);

  predicate memory_and_settings(int32_t *m, int32_t *s) =
    \valid(m + (0 .. LT_ST_SIZE - 1)) && \valid_read(s + (0 .. LT_SET_SIZE - 1)) &&
    \separated(m + (0 .. LT_ST_SIZE - 1), s + (0 .. LT_SET_SIZE - 1));

  predicate with_inputs(int32_t *m, int32_t *s, int32_t *in) =
    memory_and_settings(m, s) && \valid_read(in + (0 .. LT_IN_SIZE - 1)) &&
    \separated(m + (0 .. LT_ST_SIZE - 1), in + (0 .. LT_IN_SIZE - 1));

  predicate with_outputs(int32_t *m, int32_t *s, int32_t *out) =
    memory_and_settings(m, s) && \valid(out + (0 .. LT_OUT_SIZE - 1)) &&
    \separated(m + (0 .. LT_ST_SIZE - 1), out + (0 .. LT_OUT_SIZE - 1)) &&
    \separated(s + (0 .. LT_SET_SIZE - 1), out + (0 .. LT_OUT_SIZE - 1));

  predicate all_arrays(int32_t *m, int32_t *s, int32_t *in, int32_t *out) =
    with_inputs(m, s, in) && with_outputs(m, s, out) &&
    \separated(in + (0 .. LT_IN_SIZE - 1), out + (0 .. LT_OUT_SIZE - 1));
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
    ensures \result != 0 ==> state[LT_ST_TRIPS] == \old(state[LT_ST_TRIPS]) &&
              \old(state[LT_ST_STATE]) != LT_LOCKED_OUT && state[LT_ST_STATE] < LT_TRIPPED;
    ensures lockout: \old(state[LT_ST_STATE]) == LT_LOCKED_OUT && state[LT_ST_STATE] != LT_LOCKED_OUT ==>
              (bits & LT_BIT_RESET_EDGE) != 0;
    ensures restart: \old(state[LT_ST_STATE]) >= LT_TRIPPED && state[LT_ST_STATE] < LT_TRIPPED ==>
              state[LT_ST_STATE] == LT_STOPPED &&
              (bits & LT_BIT_SENSOR_OK) != 0 && (bits & LT_BIT_RUNNING) == 0 &&
              ((bits & LT_BIT_RESET_EDGE) != 0 || (bits & LT_BIT_RESTART_DUE) != 0); */
static int move_once(int32_t state[], const int32_t settings[], uint32_t bits);

/*@ requires memory_and_settings(state, settings) && admitted(settings) && consistent(state, settings);
    requires bits <= 2047;
    requires (bits & LT_BIT_LAST_TRIP) != 0 <==> state[LT_ST_TRIPS] + 1 >= settings[LT_SET_TRIPS_TO_LOCKOUT];
    assigns state[LT_ST_STATE], state[LT_ST_MEMORY_LEFT], state[LT_ST_TRIPS], state[LT_ST_CAUSE];
    ensures consistent(state, settings);
    ensures lockout: \old(state[LT_ST_STATE]) == LT_LOCKED_OUT && state[LT_ST_STATE] != LT_LOCKED_OUT ==>
              (bits & LT_BIT_RESET_EDGE) != 0;
    ensures restart: \old(state[LT_ST_STATE]) >= LT_TRIPPED && state[LT_ST_STATE] < LT_TRIPPED ==>
              (bits & LT_BIT_SENSOR_OK) != 0 && (bits & LT_BIT_RUNNING) == 0 &&
              ((bits & LT_BIT_RESET_EDGE) != 0 || (bits & LT_BIT_RESTART_DUE) != 0); */
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

/* ---- what lubetrip.h offers ---- */

/*@ requires \valid_read(settings + (0 .. 24));
    assigns \nothing;
    ensures \result == LUBETRIP_ALL_RIGHT <==> in_ranges(settings) && related(settings);
    ensures LUBETRIP_ALL_RIGHT <= \result < LT_SET_COUNT + LUBETRIP_RELATION_COUNT; */
int32_t lubetrip_first_fault(const int32_t settings[LT_SET_SIZE]);

/*@ requires \valid(settings + (0 .. 24)) && in_ranges(settings) && related(settings);
    assigns settings[LT_SET_SLOPE .. LT_SET_RELOAD_LEVEL];
    ensures admitted(settings); */
void lubetrip_derive(int32_t settings[LT_SET_SIZE]);

/*@ requires memory_and_settings(state, settings) && admitted(settings);
    assigns state[0 .. LT_ST_SIZE - 1];
    ensures consistent(state, settings) && state[LT_ST_STATE] == LT_STOPPED && state[LT_ST_INTEGRAL] == 0;
    ensures (state[LT_ST_FLAGS] & LT_FLAG_RESET_HELD) != 0; */
void lubetrip_power_up(int32_t state[LT_ST_SIZE], const int32_t settings[LT_SET_SIZE]);

/*@ assigns \nothing;
    ensures 0 <= \result <= LT_ELAPSED_ADMITTED;
    ensures (uint32_t)(now - before) <= LT_ELAPSED_ADMITTED ==> \result == (uint32_t)(now - before); */
int32_t lubetrip_elapsed_ms(uint32_t now, uint32_t before);

/*@ requires all_arrays(state, settings, inputs, outputs) && admitted(settings) && consistent(state, settings);
    assigns state[0 .. LT_ST_SIZE - 1], outputs[0 .. LT_OUT_SIZE - 1];
    ensures integral_within_bounds: consistent(state, settings);
    ensures no_permission: state[LT_ST_STATE] >= LT_TRIPPED ==> outputs[LT_OUT_RUN_PERMISSION] == 0;
    ensures permission: state[LT_ST_STATE] < LT_TRIPPED ==> outputs[LT_OUT_RUN_PERMISSION] == 1;
    ensures lockout: \old(state[LT_ST_STATE]) == LT_LOCKED_OUT && state[LT_ST_STATE] != LT_LOCKED_OUT ==>
              inputs[LT_IN_RESET] != 0 && (\old(state[LT_ST_FLAGS]) & LT_FLAG_RESET_HELD) == 0;
    ensures restart: \old(state[LT_ST_STATE]) >= LT_TRIPPED && outputs[LT_OUT_RUN_PERMISSION] == 1 ==>
              inputs[LT_IN_RUNNING] == 0 && outputs[LT_OUT_CREDIBLE] == 1 &&
              (inputs[LT_IN_RESET] != 0 || state[LT_ST_RESTART_LEFT] == 0);
    ensures not_credible: !credible_range(settings, inputs) ==> not_lowered{Pre, Post}(state);
    ensures short_of_oil: inputs[LT_IN_RUNNING] != 0 && outputs[LT_OUT_NET_OIL_PRESSURE] < settings[LT_SET_CUT_IN] ==>
              not_lowered{Pre, Post}(state); */
void lubetrip_step(int32_t state[LT_ST_SIZE], const int32_t settings[LT_SET_SIZE],
                   const int32_t inputs[LT_IN_SIZE], int32_t outputs[LT_OUT_SIZE]);

#endif
