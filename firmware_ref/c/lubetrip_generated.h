/* Written by `python -m firmware_ref.generate` from the reference in protect/.
   Do not edit: change the reference and run the generator again. */
#ifndef LUBETRIP_GENERATED_H
#define LUBETRIP_GENERATED_H

#include <stdint.h>

#define LT_ONE INT32_C(2048) /* weight 1 in fixed point */
#define LT_NO_READING INT32_C(-1000000000) /* a pressure that was not read, Pa */
#define LT_ELAPSED_MOST INT32_C(1800000) /* longest elapsed time that says anything more, ms */
#define LT_REST_OFF INT32_C(20100000) /* a rest_most that finds nothing: no standstill zero, Pa */
#define LT_ELAPSED_ADMITTED INT32_C(1073741823) /* largest admitted elapsed time, ms */
#define LT_WEIGHT_BITS 11
#define LT_SLOPE_BITS 16
#define LT_PERCENT_BITS 23
#define LT_MOST_MOVES 3
#define LT_RESETS_SHIFT 5
#define LT_CAUSE_CODE 7

/* Places of the settings; from LT_SET_SLOPE on they are derived. */
enum {
    LT_SET_CUT_OUT = 0,
    LT_SET_CUT_IN = 1,
    LT_SET_FLOOR = 2,
    LT_SET_TRIP_DELAY = 3,
    LT_SET_FLOOR_WEIGHT = 4,
    LT_SET_VACUUM_WEIGHT = 5,
    LT_SET_RECOVERY = 6,
    LT_SET_STOPPED_RECOVERY = 7,
    LT_SET_VACUUM = 8,
    LT_SET_RELOAD = 9,
    LT_SET_RELOAD_FRACTION = 10,
    LT_SET_START_GRACE = 11,
    LT_SET_RESTART_DELAY = 12,
    LT_SET_TRIPS_TO_LOCKOUT = 13,
    LT_SET_TRIP_MEMORY = 14,
    LT_SET_OIL_LEAST = 15,
    LT_SET_OIL_MOST = 16,
    LT_SET_SUCTION_LEAST = 17,
    LT_SET_SUCTION_MOST = 18,
    LT_SET_MAX_GAP = 19,
    LT_SET_STUCK_AFTER = 20,
    LT_SET_FAULT_DELAY = 21,
    LT_SET_REST_SETTLE = 22,
    LT_SET_REST_MOST = 23,
    LT_SET_RESET_HOLD = 24,
    LT_SET_RESETS_MOST = 25,
    LT_SET_COUNT = 26,
    LT_SET_SLOPE = 26,
    LT_SET_PERCENT_SCALE = 27,
    LT_SET_RELOAD_LEVEL = 28,
    LT_SET_SIZE = 29
};

/* Places of the inputs. */
enum {
    LT_IN_ELAPSED = 0,
    LT_IN_RUN_FEEDBACK = 1,
    LT_IN_RESET = 2,
    LT_IN_OIL_PRESSURE = 3,
    LT_IN_SUCTION_PRESSURE = 4,
    LT_IN_CRANKCASE_PRESSURE = 5,
    LT_IN_SIZE = 6
};

/* Places of the state. */
enum {
    LT_ST_STATE = 0,
    LT_ST_INTEGRAL = 1,
    LT_ST_INTEGRAL_FRACTION = 2,
    LT_ST_GRACE_LEFT = 3,
    LT_ST_RESTART_LEFT = 4,
    LT_ST_MEMORY_LEFT = 5,
    LT_ST_TRIPS = 6,
    LT_ST_FAULT_TIME = 7,
    LT_ST_FLAGS = 8,
    LT_ST_CAUSE = 9,
    LT_ST_OIL_SEEN = 10,
    LT_ST_SUCTION_SEEN = 12,
    LT_ST_CRANKCASE_SEEN = 14,
    LT_ST_SIZE = 16
};

/* Places of the outputs. */
enum {
    LT_OUT_RUN_PERMISSION = 0,
    LT_OUT_ALARM = 1,
    LT_OUT_STOP_CAUSE = 2,
    LT_OUT_INTEGRAL_PERCENT = 3,
    LT_OUT_CONDITIONS = 4,
    LT_OUT_NET_OIL_PRESSURE = 5,
    LT_OUT_CREDIBLE = 6,
    LT_OUT_SEEN = 7,
    LT_OUT_DOUBTED = 8,
    LT_OUT_SIZE = 9
};

/* States; everything from LT_TRIPPED on has no run permission. */
enum {
    LT_STOPPED = 0,
    LT_PRIMING = 1,
    LT_LUBRICATED = 2,
    LT_STARVED = 3,
    LT_TRIPPED = 4,
    LT_LOCKED_OUT = 5
};

/* Reason codes of a stop: the bits under LT_CAUSE_CODE; above them the doubts of a sensor stop. */
enum {
    LT_NO_CAUSE = 0,
    LT_OIL_CAUSE = 1,
    LT_RELOAD_CAUSE = 2,
    LT_SENSOR_CAUSE = 3,
    LT_RESETS_CAUSE = 4
};

/* Effects of a row of the table. */
enum {
    LT_EFFECT_NONE = 0,
    LT_EFFECT_STOP_ON_OIL = 1,
    LT_EFFECT_STOP_ON_RELOAD = 2,
    LT_EFFECT_STOP_ON_SENSOR = 3,
    LT_EFFECT_FORGET_TRIPS = 4,
    LT_EFFECT_REFUSE_RESET = 5
};

/* Bits of the state's flags. */
#define LT_FLAG_FRESH 1U
#define LT_FLAG_RESET_HELD 2U
#define LT_FLAG_IN_SPELL 4U
#define LT_FLAG_VACUUM_SEEN 8U
#define LT_FLAG_FAULT_DECLARED 16U
#define LT_FLAG_ONE_RESET 32U
#define LT_FLAG_RESETS 224U
#define LT_FLAG_RESET_PRESSED 256U

/* Condition bits. */
#define LT_BIT_RUNNING 1U
#define LT_BIT_IN_GRACE 2U
#define LT_BIT_LOW 4U
#define LT_BIT_HEALTHY 8U
#define LT_BIT_INTEGRAL_FULL 16U
#define LT_BIT_RELOAD_GUARD 32U
#define LT_BIT_RESTART_DUE 64U
#define LT_BIT_LAST_TRIP 128U
#define LT_BIT_RESET_PRESS 256U
#define LT_BIT_SENSOR_OK 512U
#define LT_BIT_SENSOR_FAULT 1024U
#define LT_BIT_RESETS_SPENT 2048U

/* Doubts, above the condition bits: which channel and why. */
#define LT_DOUBT_OIL_MISSING 65536U
#define LT_DOUBT_OIL_RANGE 131072U
#define LT_DOUBT_OIL_STUCK 262144U
#define LT_DOUBT_SUCTION_MISSING 524288U
#define LT_DOUBT_SUCTION_RANGE 1048576U
#define LT_DOUBT_SUCTION_STUCK 2097152U
#define LT_DOUBT_CRANKCASE_MISSING 4194304U
#define LT_DOUBT_CRANKCASE_RANGE 8388608U
#define LT_DOUBT_CRANKCASE_STUCK 16777216U
#define LT_DOUBT_LATE 33554432U
#define LT_DOUBT_STANDSTILL 67108864U
#define LT_DOUBT_ANY 134152192U

/* Least and most admitted value of each setting, in the order of the places. */
#define LUBETRIP_SETTING_RANGES \
{ \
    {INT32_C(1000), INT32_C(1000000)} /* cut_out, Pa */, \
    {INT32_C(1000), INT32_C(1000000)} /* cut_in, Pa */, \
    {INT32_C(0), INT32_C(1000000)} /* floor, Pa */, \
    {INT32_C(1000), INT32_C(1800000)} /* trip_delay, ms */, \
    {INT32_C(2048), INT32_C(16384)} /* floor_weight, weight */, \
    {INT32_C(205), INT32_C(16384)} /* vacuum_weight, weight */, \
    {INT32_C(0), INT32_C(16384)} /* recovery, weight */, \
    {INT32_C(0), INT32_C(16384)} /* stopped_recovery, weight */, \
    {INT32_C(0), INT32_C(10000000)} /* vacuum, Pa */, \
    {INT32_C(0), INT32_C(20000000)} /* reload, Pa */, \
    {INT32_C(0), INT32_C(2048)} /* reload_fraction, weight */, \
    {INT32_C(0), INT32_C(1800000)} /* start_grace, ms */, \
    {INT32_C(0), INT32_C(86400000)} /* restart_delay, ms */, \
    {INT32_C(1), INT32_C(100)} /* trips_to_lockout, count */, \
    {INT32_C(1000), INT32_C(604800000)} /* trip_memory, ms */, \
    {INT32_C(-100000), INT32_C(20000000)} /* oil_least, Pa */, \
    {INT32_C(-100000), INT32_C(20000000)} /* oil_most, Pa */, \
    {INT32_C(-100000), INT32_C(20000000)} /* suction_least, Pa */, \
    {INT32_C(-100000), INT32_C(20000000)} /* suction_most, Pa */, \
    {INT32_C(10), INT32_C(300000)} /* max_gap, ms */, \
    {INT32_C(1000), INT32_C(86400000)} /* stuck_after, ms */, \
    {INT32_C(100), INT32_C(1800000)} /* fault_delay, ms */, \
    {INT32_C(0), INT32_C(86400000)} /* rest_settle, ms */, \
    {INT32_C(1000), INT32_C(20100000)} /* rest_most, Pa */, \
    {INT32_C(0), INT32_C(86400000)} /* reset_hold, ms */, \
    {INT32_C(1), INT32_C(7)} /* resets_most, count */ \
}

/* settings[lower] + gap <= settings[higher] */
#define LUBETRIP_RELATION_COUNT 11
#define LUBETRIP_RELATIONS \
{ \
    {LT_SET_FLOOR, LT_SET_CUT_OUT, 1}, \
    {LT_SET_CUT_OUT, LT_SET_CUT_IN, 1}, \
    {LT_SET_CUT_IN, LT_SET_OIL_MOST, 1}, \
    {LT_SET_VACUUM, LT_SET_RELOAD, 0}, \
    {LT_SET_OIL_LEAST, LT_SET_OIL_MOST, 1}, \
    {LT_SET_SUCTION_LEAST, LT_SET_SUCTION_MOST, 1}, \
    {LT_SET_SUCTION_LEAST, LT_SET_VACUUM, 0}, \
    {LT_SET_RELOAD, LT_SET_SUCTION_MOST, 0}, \
    {LT_SET_MAX_GAP, LT_SET_STUCK_AFTER, 1}, \
    {LT_SET_REST_SETTLE, LT_SET_RESTART_DELAY, 0}, \
    {LT_SET_RESET_HOLD, LT_SET_RESTART_DELAY, 0} \
}

/* A row applies when the machine is in `state` and (conditions & mask) == value. */
typedef struct {
    uint16_t mask;
    uint16_t value;
    uint8_t state;
    uint8_t next_state;
    uint8_t effect;
} lubetrip_row;

#define LUBETRIP_ROW_COUNT 21
#define LUBETRIP_TABLE \
{ \
    {LT_BIT_SENSOR_FAULT, LT_BIT_SENSOR_FAULT, LT_STOPPED, LT_TRIPPED, LT_EFFECT_STOP_ON_SENSOR}, \
    {LT_BIT_RUNNING, LT_BIT_RUNNING, LT_STOPPED, LT_PRIMING, LT_EFFECT_NONE}, \
    {LT_BIT_SENSOR_FAULT, LT_BIT_SENSOR_FAULT, LT_PRIMING, LT_TRIPPED, LT_EFFECT_STOP_ON_SENSOR}, \
    {LT_BIT_RUNNING, 0U, LT_PRIMING, LT_STOPPED, LT_EFFECT_NONE}, \
    {LT_BIT_RELOAD_GUARD, LT_BIT_RELOAD_GUARD, LT_PRIMING, LT_LOCKED_OUT, LT_EFFECT_STOP_ON_RELOAD}, \
    {LT_BIT_IN_GRACE | LT_BIT_LOW, LT_BIT_LOW, LT_PRIMING, LT_STARVED, LT_EFFECT_NONE}, \
    {LT_BIT_LOW | LT_BIT_HEALTHY, LT_BIT_HEALTHY, LT_PRIMING, LT_LUBRICATED, LT_EFFECT_NONE}, \
    {LT_BIT_SENSOR_FAULT, LT_BIT_SENSOR_FAULT, LT_LUBRICATED, LT_TRIPPED, LT_EFFECT_STOP_ON_SENSOR}, \
    {LT_BIT_RUNNING, 0U, LT_LUBRICATED, LT_STOPPED, LT_EFFECT_NONE}, \
    {LT_BIT_RELOAD_GUARD, LT_BIT_RELOAD_GUARD, LT_LUBRICATED, LT_LOCKED_OUT, LT_EFFECT_STOP_ON_RELOAD}, \
    {LT_BIT_IN_GRACE | LT_BIT_LOW, LT_BIT_IN_GRACE | LT_BIT_LOW, LT_LUBRICATED, LT_PRIMING, LT_EFFECT_NONE}, \
    {LT_BIT_LOW, LT_BIT_LOW, LT_LUBRICATED, LT_STARVED, LT_EFFECT_NONE}, \
    {LT_BIT_SENSOR_FAULT, LT_BIT_SENSOR_FAULT, LT_STARVED, LT_TRIPPED, LT_EFFECT_STOP_ON_SENSOR}, \
    {LT_BIT_RUNNING, 0U, LT_STARVED, LT_STOPPED, LT_EFFECT_NONE}, \
    {LT_BIT_RELOAD_GUARD, LT_BIT_RELOAD_GUARD, LT_STARVED, LT_LOCKED_OUT, LT_EFFECT_STOP_ON_RELOAD}, \
    {LT_BIT_INTEGRAL_FULL | LT_BIT_LAST_TRIP, LT_BIT_INTEGRAL_FULL | LT_BIT_LAST_TRIP, LT_STARVED, LT_LOCKED_OUT, LT_EFFECT_STOP_ON_OIL}, \
    {LT_BIT_INTEGRAL_FULL, LT_BIT_INTEGRAL_FULL, LT_STARVED, LT_TRIPPED, LT_EFFECT_STOP_ON_OIL}, \
    {LT_BIT_LOW | LT_BIT_HEALTHY, LT_BIT_HEALTHY, LT_STARVED, LT_LUBRICATED, LT_EFFECT_NONE}, \
    {LT_BIT_RUNNING | LT_BIT_RESTART_DUE | LT_BIT_SENSOR_OK | LT_BIT_SENSOR_FAULT, LT_BIT_RESTART_DUE | LT_BIT_SENSOR_OK, LT_TRIPPED, LT_STOPPED, LT_EFFECT_NONE}, \
    {LT_BIT_RESET_PRESS | LT_BIT_RESETS_SPENT, LT_BIT_RESET_PRESS | LT_BIT_RESETS_SPENT, LT_LOCKED_OUT, LT_LOCKED_OUT, LT_EFFECT_REFUSE_RESET}, \
    {LT_BIT_RESET_PRESS, LT_BIT_RESET_PRESS, LT_LOCKED_OUT, LT_TRIPPED, LT_EFFECT_FORGET_TRIPS} \
}

#endif
