/* What settings, states and outputs may hold, as the contracts name it.

   The ranges are restated here. That they are those of the generated header is
   proved too: see lubetrip_first_fault. Macros, so that the provers see the words
   themselves; in seconds they come to what they did not find in minutes behind names. */
#ifndef LUBETRIP_PREDICATES_H
#define LUBETRIP_PREDICATES_H

#include "lubetrip.h"

/* Whether an array is there is looked at apart from what it holds: see tests/gates/wp.py. */
#ifdef CONTENT
/*@
  predicate is_array(int32_t *words) = \true;
  predicate is_array(uint32_t *words) = \true;
  predicate is_array(uint8_t *words) = \true;
*/
#define READABLE(words, count) is_array(words)
#define WRITABLE(words, count) is_array(words)
#else
#define READABLE(words, count) \valid_read((words) + (0 .. (count) - 1))
#define WRITABLE(words, count) \valid((words) + (0 .. (count) - 1))
#endif

/* The conditions of a step and the doubts above them, and so a cause with its doubts, are below 2^27. */
#define MOST_BITS 134217727

#define in_ranges(s) (                                                                                                \
    1000 <= s[LT_SET_CUT_OUT] <= 1000000 && 1000 <= s[LT_SET_CUT_IN] <= 1000000 &&                                    \
    0 <= s[LT_SET_FLOOR] <= 1000000 && 1000 <= s[LT_SET_TRIP_DELAY] <= 1800000 &&                                     \
    2048 <= s[LT_SET_FLOOR_WEIGHT] <= 16384 && 205 <= s[LT_SET_VACUUM_WEIGHT] <= 16384 &&                             \
    0 <= s[LT_SET_RECOVERY] <= 16384 && 0 <= s[LT_SET_STOPPED_RECOVERY] <= 16384 &&                                   \
    0 <= s[LT_SET_VACUUM] <= 10000000 && 0 <= s[LT_SET_RELOAD] <= 20000000 &&                                         \
    0 <= s[LT_SET_RELOAD_FRACTION] <= 2048 && 0 <= s[LT_SET_START_GRACE] <= 1800000 &&                                \
    0 <= s[LT_SET_RESTART_DELAY] <= 86400000 && 1 <= s[LT_SET_TRIPS_TO_LOCKOUT] <= 100 &&                             \
    1000 <= s[LT_SET_TRIP_MEMORY] <= 604800000 &&                                                                     \
    -100000 <= s[LT_SET_OIL_LEAST] <= 20000000 && -100000 <= s[LT_SET_OIL_MOST] <= 20000000 &&                        \
    -100000 <= s[LT_SET_SUCTION_LEAST] <= 20000000 && -100000 <= s[LT_SET_SUCTION_MOST] <= 20000000 &&                \
    10 <= s[LT_SET_MAX_GAP] <= 300000 && 1000 <= s[LT_SET_STUCK_AFTER] <= 86400000 &&                                 \
    100 <= s[LT_SET_FAULT_DELAY] <= 1800000 && 0 <= s[LT_SET_REST_SETTLE] <= 86400000 &&                              \
    1000 <= s[LT_SET_REST_MOST] <= 20100000 && 0 <= s[LT_SET_RESET_HOLD] <= 86400000 &&                               \
    1 <= s[LT_SET_RESETS_MOST] <= 7)

#define related(s) (                                                                                                  \
    s[LT_SET_FLOOR] < s[LT_SET_CUT_OUT] < s[LT_SET_CUT_IN] < s[LT_SET_OIL_MOST] &&                                    \
    s[LT_SET_OIL_LEAST] < s[LT_SET_OIL_MOST] && s[LT_SET_SUCTION_LEAST] < s[LT_SET_SUCTION_MOST] &&                   \
    s[LT_SET_SUCTION_LEAST] <= s[LT_SET_VACUUM] <= s[LT_SET_RELOAD] <= s[LT_SET_SUCTION_MOST] &&                      \
    s[LT_SET_MAX_GAP] < s[LT_SET_STUCK_AFTER] &&                                                                      \
    s[LT_SET_REST_SETTLE] <= s[LT_SET_RESTART_DELAY] && s[LT_SET_RESET_HOLD] <= s[LT_SET_RESTART_DELAY])

#define ramp_fits(s) (                                                                                                \
    0 <= s[LT_SET_SLOPE] &&                                                                                           \
    s[LT_SET_SLOPE] * (s[LT_SET_CUT_OUT] - s[LT_SET_FLOOR]) <= (s[LT_SET_FLOOR_WEIGHT] - 2048) * 65536)

#define scale_fits(s) (                                                                                               \
    0 <= s[LT_SET_PERCENT_SCALE] &&                                                                                   \
    s[LT_SET_PERCENT_SCALE] * s[LT_SET_TRIP_DELAY] <= 838860800)

#define derived(s) (                                                                                                  \
    ramp_fits(s) && scale_fits(s) && 0 <= s[LT_SET_RELOAD_LEVEL] <= s[LT_SET_TRIP_DELAY])

#define admitted(s) (                                                                                                 \
    in_ranges(s) && related(s) && derived(s))

#define integral_within(m, s) (                                                                                       \
    0 <= m[LT_ST_INTEGRAL] <= s[LT_SET_TRIP_DELAY] && 0 <= m[LT_ST_INTEGRAL_FRACTION] <= 2047 &&                      \
    (m[LT_ST_INTEGRAL] == s[LT_SET_TRIP_DELAY] ==> m[LT_ST_INTEGRAL_FRACTION] == 0))

#define timers_within(m, s) (                                                                                         \
    0 <= m[LT_ST_GRACE_LEFT] <= s[LT_SET_START_GRACE] && 0 <= m[LT_ST_RESTART_LEFT] <= s[LT_SET_RESTART_DELAY] &&     \
    0 <= m[LT_ST_MEMORY_LEFT] <= s[LT_SET_TRIP_MEMORY] && 0 <= m[LT_ST_FAULT_TIME] <= s[LT_SET_FAULT_DELAY])

#define trips_within(m, s) (                                                                                          \
    0 <= m[LT_ST_TRIPS] <= s[LT_SET_TRIPS_TO_LOCKOUT] &&                                                              \
    (m[LT_ST_STATE] != LT_LOCKED_OUT ==> m[LT_ST_TRIPS] < s[LT_SET_TRIPS_TO_LOCKOUT]))

#define words_within(m) (                                                                                             \
    LT_STOPPED <= m[LT_ST_STATE] <= LT_LOCKED_OUT && 0 <= m[LT_ST_FLAGS] <= 511 &&                                    \
    LT_NO_CAUSE <= m[LT_ST_CAUSE] <= MOST_BITS)

#define seen_within(m, s) (                                                                                           \
    0 <= m[LT_ST_OIL_SEEN + 1] <= s[LT_SET_STUCK_AFTER] &&                                                            \
    0 <= m[LT_ST_SUCTION_SEEN + 1] <= s[LT_SET_STUCK_AFTER] &&                                                        \
    0 <= m[LT_ST_CRANKCASE_SEEN + 1] <= s[LT_SET_STUCK_AFTER])

/* What every step leaves behind, and so what every step may rely on. */
#define consistent(m, s) (                                                                                            \
    words_within(m) && integral_within(m, s) && timers_within(m, s) && trips_within(m, s) && seen_within(m, s))

/* The same as a promise: one goal for each part. */
#define ENSURES_CONSISTENT(m, s)                                                                                      \
    ensures words_within(m);                                                                                          \
    ensures integral_within(m, s);                                                                                    \
    ensures timers_within(m, s);                                                                                      \
    ensures trips_within(m, s);                                                                                       \
    ensures seen_within(m, s);

#define credible_range(s, in) (                                                                                       \
    s[LT_SET_OIL_LEAST] <= in[LT_IN_OIL_PRESSURE] <= s[LT_SET_OIL_MOST] &&                                            \
    s[LT_SET_SUCTION_LEAST] <= in[LT_IN_SUCTION_PRESSURE] <= s[LT_SET_SUCTION_MOST] &&                                \
    s[LT_SET_SUCTION_LEAST] <= in[LT_IN_CRANKCASE_PRESSURE] <= s[LT_SET_SUCTION_MOST])

/* The elapsed time is shared between what was seen and what was in doubt. */
#define shared(s, out) (                                                                                              \
    0 <= out[LT_OUT_SEEN] <= s[LT_SET_MAX_GAP] && 0 <= out[LT_OUT_DOUBTED] &&                                         \
    out[LT_OUT_SEEN] + out[LT_OUT_DOUBTED] <= LT_ELAPSED_MOST &&                                                      \
    -20100000 <= out[LT_OUT_NET_OIL_PRESSURE] <= 20100000 && 0 <= out[LT_OUT_CREDIBLE] <= 1)

/* The integral, in whole ms, is not smaller than before. */
#define not_lowered(m, Before, After) (                                                                               \
    \at(m[LT_ST_INTEGRAL], Before) <= \at(m[LT_ST_INTEGRAL], After))

#define memory_and_settings(m, s) (                                                                                   \
    WRITABLE(m, LT_ST_SIZE) && READABLE(s, LT_SET_SIZE) &&                                                            \
    \separated(m + (0 .. LT_ST_SIZE - 1), s + (0 .. LT_SET_SIZE - 1)))

#define with_inputs(m, s, in) (                                                                                       \
    memory_and_settings(m, s) && READABLE(in, LT_IN_SIZE) &&                                                          \
    \separated(m + (0 .. LT_ST_SIZE - 1), in + (0 .. LT_IN_SIZE - 1)))

#define with_outputs(m, s, out) (                                                                                     \
    memory_and_settings(m, s) && WRITABLE(out, LT_OUT_SIZE) &&                                                        \
    \separated(m + (0 .. LT_ST_SIZE - 1), out + (0 .. LT_OUT_SIZE - 1)) &&                                            \
    \separated(s + (0 .. LT_SET_SIZE - 1), out + (0 .. LT_OUT_SIZE - 1)))

#define all_arrays(m, s, in, out) (                                                                                   \
    with_inputs(m, s, in) && with_outputs(m, s, out) &&                                                               \
    \separated(in + (0 .. LT_IN_SIZE - 1), out + (0 .. LT_OUT_SIZE - 1)))

#endif
