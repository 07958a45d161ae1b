/* Lubrication protection of a reciprocating refrigeration compressor: C99 port.

   The same logic, word for word, as the reference in protect/: read its modules
   and the head comment of its table for what is decided and why. Settings,
   inputs, state and outputs are arrays of int32_t with named places
   (lubetrip_generated.h), so every port can be compared word by word.

   Nothing is allocated, no clock is read, no division and no floating point is
   used in a step, and no interrupt may change the arrays during one.

   Not a certified safety device and never the only protection of a machine or
   of the people near it. */
#ifndef LUBETRIP_H
#define LUBETRIP_H

#include <stdint.h>

#include "lubetrip_generated.h"

#ifdef __cplusplus
extern "C" {
#endif

/* What lubetrip_first_fault() says of settings that may be used. */
#define LUBETRIP_ALL_RIGHT (-1)

/* Say what is wrong with the settings first: the place of a value outside its
   range, or LT_SET_COUNT + the row of a broken relation, or LUBETRIP_ALL_RIGHT. */
int32_t lubetrip_first_fault(const int32_t settings[LT_SET_SIZE]);

/* Fill the derived places of settings that have passed lubetrip_first_fault().
   Divides; settings exported by the host carry these values already. */
void lubetrip_derive(int32_t settings[LT_SET_SIZE]);

/* Set the state of a machine at rest with an empty memory. */
void lubetrip_power_up(int32_t state[LT_ST_SIZE], const int32_t settings[LT_SET_SIZE]);

/* Milliseconds from tick `before` to tick `now` of a free-running 32-bit
   millisecond counter, across any wrap, as an admitted elapsed time. */
int32_t lubetrip_elapsed_ms(uint32_t now, uint32_t before);

/* Advance the state by one set of inputs and fill the outputs. The readings
   apply to the time elapsed since the previous step; the first step after
   power-up integrates nothing. The arrays must not overlap. */
void lubetrip_step(int32_t state[LT_ST_SIZE], const int32_t settings[LT_SET_SIZE],
                   const int32_t inputs[LT_IN_SIZE], int32_t outputs[LT_OUT_SIZE]);

#ifdef __cplusplus
}
#endif

#endif
