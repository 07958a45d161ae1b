/* The contracts of what lubetrip.h offers. */
#ifndef LUBETRIP_OFFERED_H
#define LUBETRIP_OFFERED_H

#include "predicates.h"

/*@ requires memory: READABLE(settings, LT_SET_SIZE);
    assigns \nothing;
    ensures \result == LUBETRIP_ALL_RIGHT ==> in_ranges(settings) && related(settings);
    ensures in_ranges(settings) && related(settings) ==> \result == LUBETRIP_ALL_RIGHT;
    ensures LUBETRIP_ALL_RIGHT <= \result < LT_SET_COUNT + LUBETRIP_RELATION_COUNT; */
int32_t lubetrip_first_fault(const int32_t settings[LT_SET_SIZE]);

/*@ requires memory: WRITABLE(settings, LT_SET_SIZE);
    requires in_ranges(settings) && related(settings);
    assigns settings[LT_SET_SLOPE .. LT_SET_RELOAD_LEVEL];
    ensures in_ranges(settings) && related(settings);
    ensures ramp_fits(settings);
    ensures scale_fits(settings);
    ensures 0 <= settings[LT_SET_RELOAD_LEVEL] <= settings[LT_SET_TRIP_DELAY]; */
void lubetrip_derive(int32_t settings[LT_SET_SIZE]);

/*@ requires memory: memory_and_settings(state, settings);
    requires admitted(settings);
    assigns state[0 .. LT_ST_SIZE - 1];
    ENSURES_CONSISTENT(state, settings)
    ensures state[LT_ST_STATE] == LT_STOPPED && state[LT_ST_INTEGRAL] == 0;
    ensures (state[LT_ST_FLAGS] & LT_FLAG_RESET_HELD) != 0 && (state[LT_ST_FLAGS] & LT_FLAG_RESET_PRESSED) == 0;
    ensures state[LT_ST_GRACE_LEFT] == settings[LT_SET_START_GRACE] &&
            state[LT_ST_RESTART_LEFT] == settings[LT_SET_RESTART_DELAY]; */
void lubetrip_power_up(int32_t state[LT_ST_SIZE], const int32_t settings[LT_SET_SIZE]);

/*@ assigns \nothing;
    ensures 0 <= \result <= LT_ELAPSED_ADMITTED;
    ensures (uint32_t)(now - before) <= LT_ELAPSED_ADMITTED ==> \result == (uint32_t)(now - before); */
int32_t lubetrip_elapsed_ms(uint32_t now, uint32_t before);

/*@ requires memory: all_arrays(state, settings, inputs, outputs);
    requires admitted(settings) && consistent(state, settings);
    assigns state[0 .. LT_ST_SIZE - 1], outputs[0 .. LT_OUT_SIZE - 1];
    ENSURES_CONSISTENT(state, settings)
    ensures no_permission: state[LT_ST_STATE] >= LT_TRIPPED ==> outputs[LT_OUT_RUN_PERMISSION] == 0;
    ensures permission: state[LT_ST_STATE] < LT_TRIPPED ==> outputs[LT_OUT_RUN_PERMISSION] == 1;
    ensures lockout: \old(state[LT_ST_STATE]) == LT_LOCKED_OUT && state[LT_ST_STATE] != LT_LOCKED_OUT ==>
              inputs[LT_IN_RESET] != 0 && (\old(state[LT_ST_FLAGS]) & LT_FLAG_RESET_PRESSED) != 0;
    ensures restart: \old(state[LT_ST_STATE]) >= LT_TRIPPED && outputs[LT_OUT_RUN_PERMISSION] == 1 ==>
              inputs[LT_IN_RUN_FEEDBACK] == 0 && outputs[LT_OUT_CREDIBLE] == 1 &&
              state[LT_ST_RESTART_LEFT] == 0;
    ensures not_credible: !credible_range(settings, inputs) ==> not_lowered(state, Pre, Post);
    ensures short_of_oil: inputs[LT_IN_RUN_FEEDBACK] != 0 && outputs[LT_OUT_NET_OIL_PRESSURE] < settings[LT_SET_CUT_IN] ==>
              not_lowered(state, Pre, Post); */
void lubetrip_step(int32_t state[LT_ST_SIZE], const int32_t settings[LT_SET_SIZE],
                   const int32_t inputs[LT_IN_SIZE], int32_t outputs[LT_OUT_SIZE]);

#endif
