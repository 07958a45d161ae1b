/* The seal; see lubetrip_seal.h and protect/seal.py. */
#include "lubetrip_seal.h"

#include "lubetrip.h"

#define BEGIN 1U
#define HALF 0xFFFFU
#define STATE_AT 0
#define SETTINGS_AT 2

/* At most 1 + 58 * 65535 = 3801031. */
static uint32_t plain_sum(const int32_t words[], int count)
{
    uint32_t sum = BEGIN;
    int place;

    /*@ loop pragma UNROLL 0;
        loop invariant 0 <= place <= count && sum == plain_of(&words[0], place);
        loop assigns place, sum;
        loop variant count - place; */
    for (place = 0; place < count; place++) {
        uint32_t word = (uint32_t)words[place];
        sum += (word & HALF) + (word >> 16);
    }
    return sum;
}

/* At most 1 + (1 + 2 + .. + 58) * 65535 = 112130386, below 2^30. */
static uint32_t weighted_sum(const int32_t words[], int count)
{
    uint32_t sum = BEGIN;
    uint32_t weight = 1U;
    int place;

    /*@ loop pragma UNROLL 0;
        loop invariant 0 <= place <= count && weight == 1 + 2 * place;
        loop invariant sum == weighted_of(&words[0], place);
        loop assigns place, sum, weight;
        loop variant count - place; */
    for (place = 0; place < count; place++) {
        uint32_t word = (uint32_t)words[place];
        sum += (weight * (word & HALF)) + ((weight + 1U) * (word >> 16));
        /*@ assert sum == with_word(\at(sum, LoopCurrent), weight, words[place]); */
        weight += 2U;
    }
    return sum;
}

static void seal(const int32_t words[], int count, uint32_t seals[], int at)
{
    seals[at] = plain_sum(words, count);
    seals[at + 1] = weighted_sum(words, count);
}

static int holds(const int32_t words[], int count, const uint32_t seals[], int at)
{
    return (seals[at] == plain_sum(words, count)) && (seals[at + 1] == weighted_sum(words, count));
}

void lubetrip_seal_state(const int32_t state[LT_ST_SIZE], uint32_t seals[LUBETRIP_SEALS_SIZE])
{
    seal(state, LT_ST_SIZE, seals, STATE_AT);
}

void lubetrip_seal_settings(const int32_t settings[LT_SET_SIZE], uint32_t seals[LUBETRIP_SEALS_SIZE])
{
    seal(settings, LT_SET_SIZE, seals, SETTINGS_AT);
}

int32_t lubetrip_seals_hold(const int32_t state[LT_ST_SIZE], const int32_t settings[LT_SET_SIZE],
                            const uint32_t seals[LUBETRIP_SEALS_SIZE])
{
    return (holds(settings, LT_SET_SIZE, seals, SETTINGS_AT) != 0) && (holds(state, LT_ST_SIZE, seals, STATE_AT) != 0);
}

/* What the plant gets in a pass without a step: no permission, and the alarm. */
static void withhold(int32_t outputs[])
{
    int place;

    for (place = 0; place < LT_OUT_SIZE; place++) {
        outputs[place] = (place == LT_OUT_ALARM) ? 1 : 0;
    }
}

void lubetrip_sealed_step(int32_t state[LT_ST_SIZE], const int32_t settings[LT_SET_SIZE],
                          const int32_t inputs[LT_IN_SIZE], int32_t outputs[LT_OUT_SIZE],
                          uint32_t seals[LUBETRIP_SEALS_SIZE])
{
    if (holds(settings, LT_SET_SIZE, seals, SETTINGS_AT) != 0) {
        if (holds(state, LT_ST_SIZE, seals, STATE_AT) == 0) {
            lubetrip_power_up(state, settings);
            state[LT_ST_STATE] = LT_LOCKED_OUT;
        }
        lubetrip_step(state, settings, inputs, outputs);
        lubetrip_seal_state(state, seals);
    } else {
        state[LT_ST_STATE] = LT_LOCKED_OUT;
        withhold(outputs);
    }
}
