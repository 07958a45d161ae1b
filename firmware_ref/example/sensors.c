#include "sensors.h"

#include "lubetrip.h"

#define MEASURED_LEAST_UA INT32_C(3800)
#define MEASURED_MOST_UA INT32_C(20500)
#define LIVE_ZERO_UA INT32_C(4000)
#define PART INT32_C(4096)         /* a ratio of 1 */
#define BROKEN_PART INT32_C(205)   /* 5 %, rounded up: no measurement below it */
#define SHORTED_PART INT32_C(3891) /* 95 %, rounded down: no measurement above it */
#define ENDS INT32_C(32768)        /* from the lower to the upper end of a signal */

/* Divide and round down, below nothing too. */
static int32_t floored(int32_t over, int32_t under)
{
    int32_t whole = over / under;

    return ((over % under) < 0) ? (whole - 1) : whole;
}

/* |position| <= 34816 and a span of at most 20000 kPa: the product stays below 2^30. */
static int32_t pressure(int32_t position, sensor_range range)
{
    int32_t scaled = position * (range.most_kpa - range.least_kpa);
    int32_t whole = floored(scaled, ENDS);
    int32_t rest = scaled - (whole * ENDS);

    return ((range.least_kpa + whole) * 1000) + ((rest * 1000) / ENDS);
}

int32_t sensor_loop_current(uint16_t counts, int32_t full_scale_ua)
{
    return ((int32_t)counts * (full_scale_ua / 2)) / ENDS;
}

int32_t sensor_loop_pressure(int32_t current_ua, sensor_range range)
{
    if ((current_ua < MEASURED_LEAST_UA) || (current_ua > MEASURED_MOST_UA)) {
        return LT_NO_READING;
    }
    return pressure(floored((current_ua - LIVE_ZERO_UA) * 2048, 1000), range);
}

int32_t sensor_ratiometric_pressure(uint16_t counts, uint16_t supply, uint16_t least, uint16_t most, sensor_range range)
{
    int32_t part;

    if ((supply < least) || (supply > most) || (supply == 0U)) {
        return LT_NO_READING;
    }
    part = ((int32_t)counts * PART) / (int32_t)supply;
    if ((part < BROKEN_PART) || (part > SHORTED_PART)) {
        return LT_NO_READING;
    }
    return pressure((part * 10) - PART, range); /* 10 % .. 90 %, times ten: 1 .. 9 parts */
}
