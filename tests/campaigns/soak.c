/* Ticks of a free-running 32-bit millisecond counter through the C port, as a target's pass takes them. */
#include "lubetrip.h"

/* ticks[count], readings[count][6] with the first word of each unused; trail[count][25]. `before` is carried on. */
void soak_run(const uint32_t *ticks, const int32_t *readings, int64_t count, uint32_t *before,
              const int32_t *settings, int32_t *state, int32_t *trail)
{
    int32_t inputs[LT_IN_SIZE];
    int32_t outputs[LT_OUT_SIZE] = {0};
    int64_t tick;
    int place;

    for (tick = 0; tick < count; tick++) {
        for (place = 1; place < LT_IN_SIZE; place++) {
            inputs[place] = readings[(tick * LT_IN_SIZE) + place];
        }
        inputs[LT_IN_ELAPSED] = lubetrip_elapsed_ms(ticks[tick], *before);
        *before = ticks[tick];
        lubetrip_step(state, settings, inputs, outputs);
        for (place = 0; place < LT_ST_SIZE; place++) {
            *trail++ = state[place];
        }
        for (place = 0; place < LT_OUT_SIZE; place++) {
            *trail++ = outputs[place];
        }
    }
}
