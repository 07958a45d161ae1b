/* What settings, states and outputs may hold, as the contracts name it.

   The ranges are restated here. That they are those of the generated header is
   proved too: see lubetrip_first_fault. */
#ifndef LUBETRIP_PREDICATES_H
#define LUBETRIP_PREDICATES_H

#include "lubetrip.h"

/*@
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

#endif
