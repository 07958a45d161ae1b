/* What the seal promises, in ACSL; looked at by `python -m tests.gates proof-c`.

   That the sums find what they are to find is tested. Here stands what is worked out
   behind them: never a step with settings whose seal is broken, never a state that
   a step did not leave behind, and no run permission in either case. */
#ifndef LUBETRIP_SEAL_CONTRACTS_H
#define LUBETRIP_SEAL_CONTRACTS_H

#include "lubetrip_seal.h"
#include "offered.h"

/* The sums. The two functions that work them out are proved with these definitions
   (OPENED); all else holds whatever the sums are, and is proved so. */
#ifdef OPENED
/*@
  logic integer low_half(int32_t word) = ((uint32_t)word) & 65535;
  logic integer high_half(int32_t word) = ((uint32_t)word) >> 16;

  logic integer plain_of(int32_t *words, integer count) = count <= 0 ? 1 :
    (uint32_t)(plain_of(words, count - 1) +
      (uint32_t)(low_half(words[count - 1]) + high_half(words[count - 1])));

  logic integer with_word(integer sum, integer weight, int32_t word) =
    (uint32_t)(sum + (uint32_t)((uint32_t)(weight * low_half(word)) +
                                (uint32_t)((uint32_t)(weight + 1) * high_half(word))));

  logic integer weighted_of(int32_t *words, integer count) = count <= 0 ? 1 :
    with_word(weighted_of(words, count - 1), 2 * count - 1, words[count - 1]);
*/
#else
/*@ axiomatic sums {
      logic integer with_word(integer sum, integer weight, int32_t word);
      logic integer plain_of(int32_t *words, integer count) reads words[0 .. count - 1];
      logic integer weighted_of(int32_t *words, integer count) reads words[0 .. count - 1];
    } */
#endif

#define sealed(words, count, seals, at) (                                                                             \
    seals[at] == plain_of(words, count) && seals[at + 1] == weighted_of(words, count))
#define state_sealed(m, seals) sealed(m, LT_ST_SIZE, seals, 0)
#define settings_sealed(s, seals) sealed(s, LT_SET_SIZE, seals, 2)

/*@ requires memory: READABLE(words, count);
    requires 0 <= count <= LT_SET_SIZE;
    assigns \nothing;
    ensures \result == plain_of(words, count); */
static uint32_t plain_sum(const int32_t words[], int count);

/*@ requires memory: READABLE(words, count);
    requires 0 <= count <= LT_SET_SIZE;
    assigns \nothing;
    ensures \result == weighted_of(words, count); */
static uint32_t weighted_sum(const int32_t words[], int count);

/*@ requires memory: READABLE(words, count);
    requires 0 <= count <= LT_SET_SIZE;
    requires memory: WRITABLE(seals, LUBETRIP_SEALS_SIZE);
    requires (at == 0 || at == 2);
    requires memory: \separated(words + (0 .. count - 1), seals + (0 .. LUBETRIP_SEALS_SIZE - 1));
    assigns seals[at], seals[at + 1];
    ensures sealed(words, count, seals, at); */
static void seal(const int32_t words[], int count, uint32_t seals[], int at);

/*@ requires memory: READABLE(words, count);
    requires 0 <= count <= LT_SET_SIZE;
    requires memory: READABLE(seals, LUBETRIP_SEALS_SIZE);
    requires (at == 0 || at == 2);
    assigns \nothing;
    ensures \result != 0 <==> sealed(words, count, seals, at); */
static int holds(const int32_t words[], int count, const uint32_t seals[], int at);

/*@ requires memory: WRITABLE(outputs, LT_OUT_SIZE);
    assigns outputs[0 .. LT_OUT_SIZE - 1];
    ensures outputs[LT_OUT_RUN_PERMISSION] == 0 && outputs[LT_OUT_ALARM] == 1; */
static void withhold(int32_t outputs[]);

/* ---- what lubetrip_seal.h offers ---- */

/*@ requires memory: READABLE(state, LT_ST_SIZE) && WRITABLE(seals, LUBETRIP_SEALS_SIZE);
    requires memory: \separated(state + (0 .. LT_ST_SIZE - 1), seals + (0 .. LUBETRIP_SEALS_SIZE - 1));
    assigns seals[0 .. 1];
    ensures state_sealed(state, seals); */
void lubetrip_seal_state(const int32_t state[LT_ST_SIZE], uint32_t seals[LUBETRIP_SEALS_SIZE]);

/*@ requires memory: READABLE(settings, LT_SET_SIZE) && WRITABLE(seals, LUBETRIP_SEALS_SIZE);
    requires memory: \separated(settings + (0 .. LT_SET_SIZE - 1), seals + (0 .. LUBETRIP_SEALS_SIZE - 1));
    assigns seals[2 .. 3];
    ensures settings_sealed(settings, seals); */
void lubetrip_seal_settings(const int32_t settings[LT_SET_SIZE], uint32_t seals[LUBETRIP_SEALS_SIZE]);

/*@ requires memory: memory_and_settings(state, settings) && READABLE(seals, LUBETRIP_SEALS_SIZE);
    assigns \nothing;
    ensures \result == 0 || \result == 1;
    ensures \result != 0 <==> state_sealed(state, seals) && settings_sealed(settings, seals); */
int32_t lubetrip_seals_hold(const int32_t state[LT_ST_SIZE], const int32_t settings[LT_SET_SIZE],
                            const uint32_t seals[LUBETRIP_SEALS_SIZE]);

/*@ requires memory: all_arrays(state, settings, inputs, outputs) && WRITABLE(seals, LUBETRIP_SEALS_SIZE);
    requires memory: \separated(seals + (0 .. LUBETRIP_SEALS_SIZE - 1), state + (0 .. LT_ST_SIZE - 1));
    requires memory: \separated(seals + (0 .. LUBETRIP_SEALS_SIZE - 1), settings + (0 .. LT_SET_SIZE - 1));
    requires memory: \separated(seals + (0 .. LUBETRIP_SEALS_SIZE - 1), inputs + (0 .. LT_IN_SIZE - 1));
    requires memory: \separated(seals + (0 .. LUBETRIP_SEALS_SIZE - 1), outputs + (0 .. LT_OUT_SIZE - 1));
    requires settings_sealed(settings, seals) ==> admitted(settings);
    requires settings_sealed(settings, seals) && state_sealed(state, seals) ==> consistent(state, settings);
    assigns state[0 .. LT_ST_SIZE - 1], outputs[0 .. LT_OUT_SIZE - 1], seals[0 .. 1];
    ensures sealed_again: \old(settings_sealed(settings, seals)) ==> consistent(state, settings) && state_sealed(state, seals);
    ensures no_permission: state[LT_ST_STATE] >= LT_TRIPPED ==> outputs[LT_OUT_RUN_PERMISSION] == 0;
    ensures broken: !\old(settings_sealed(settings, seals) && state_sealed(state, seals)) ==>
              state[LT_ST_STATE] == LT_LOCKED_OUT && outputs[LT_OUT_RUN_PERMISSION] == 0; */
void lubetrip_sealed_step(int32_t state[LT_ST_SIZE], const int32_t settings[LT_SET_SIZE],
                          const int32_t inputs[LT_IN_SIZE], int32_t outputs[LT_OUT_SIZE],
                          uint32_t seals[LUBETRIP_SEALS_SIZE]);

#endif
