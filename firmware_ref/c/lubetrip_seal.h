/* The seal: what tells, before every step, that state and settings in RAM are still
   the words that were left there. The same, word for word, as protect/seal.py, which
   tells what is found, what is not, and why a fault always leads to a stop.

   The target keeps the seals beside state and settings. It seals the settings once,
   right after they were checked or copied to RAM, the state after lubetrip_recall(),
   and then takes lubetrip_sealed_step() instead of lubetrip_step(). */
#ifndef LUBETRIP_SEAL_H
#define LUBETRIP_SEAL_H

#include <stdint.h>

#include "lubetrip_generated.h"

#ifdef __cplusplus
extern "C" {
#endif

#define LUBETRIP_SEALS_SIZE 4

/* Seal the state as it is: after power-up, and whenever anything but a sealed step has changed it. */
void lubetrip_seal_state(const int32_t state[LT_ST_SIZE], uint32_t seals[LUBETRIP_SEALS_SIZE]);

/* Seal the settings as they are: once, before the first step. */
void lubetrip_seal_settings(const int32_t settings[LT_SET_SIZE], uint32_t seals[LUBETRIP_SEALS_SIZE]);

/* 1 while both seals hold, else 0. Write a saved record only then. */
int32_t lubetrip_seals_hold(const int32_t state[LT_ST_SIZE], const int32_t settings[LT_SET_SIZE],
                            const uint32_t seals[LUBETRIP_SEALS_SIZE]);

/* Check both seals, take a step as lubetrip_step() does, seal the state. A broken
   state comes up locked out as without a good record; broken settings lock out in
   every pass, and nothing is worked out from them. The arrays must not overlap. */
void lubetrip_sealed_step(int32_t state[LT_ST_SIZE], const int32_t settings[LT_SET_SIZE],
                          const int32_t inputs[LT_IN_SIZE], int32_t outputs[LT_OUT_SIZE],
                          uint32_t seals[LUBETRIP_SEALS_SIZE]);

#ifdef __cplusplus
}
#endif

#endif
