/* Converter counts to absolute pascals, or LT_NO_READING: whatever is no measurement is no reading, never the last good value. */
#ifndef SENSORS_H
#define SENSORS_H

#include <stdint.h>

/* The ends of a sensor's range, whole kPa absolute, 0 .. 20000. */
typedef struct {
    int32_t least_kpa;
    int32_t most_kpa;
} sensor_range;

/* uA for 16-bit counts; full_scale_ua, at most 32000, is the current at 65535 counts. */
int32_t sensor_loop_current(uint16_t counts, int32_t full_scale_ua);

/* Pa of a 4-20 mA sensor. A measurement lies in 3.8 .. 20.5 mA (NAMUR NE 43, as secondary texts tell it). */
int32_t sensor_loop_pressure(int32_t current_ua, sensor_range range);

/* Pa of a 0.5-4.5 V sensor from its counts and those of its 5 V supply, which has to lie in least .. most: the signal is
   10 % to 90 % of the supply; below 5 % and above 95 % it is a broken wire or a short (common practice, no source). */
int32_t sensor_ratiometric_pressure(uint16_t counts, uint16_t supply, uint16_t least, uint16_t most, sensor_range range);

#endif
