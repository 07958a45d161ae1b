/* Lubrication protection, C99 port: see lubetrip.h. The functions have the names
   and the order of the reference in protect/; bounds of the arithmetic stand there. */
#include "lubetrip.h"

typedef struct {
    int32_t least;
    int32_t most;
} lubetrip_range;

typedef struct {
    uint8_t lower;
    uint8_t higher;
    uint8_t gap;
} lubetrip_relation;

static const lubetrip_range setting_ranges[LT_SET_COUNT] = LUBETRIP_SETTING_RANGES;
static const lubetrip_relation relations[LUBETRIP_RELATION_COUNT] = LUBETRIP_RELATIONS;
static const lubetrip_row table[LUBETRIP_ROW_COUNT] = LUBETRIP_TABLE;

/* ---- flags: one word of the state, handled unsigned ---- */

static uint32_t flags_of(const int32_t state[], uint32_t mask)
{
    return (uint32_t)state[LT_ST_FLAGS] & mask;
}

static void set_flags(int32_t state[], uint32_t mask)
{
    state[LT_ST_FLAGS] = (int32_t)((uint32_t)state[LT_ST_FLAGS] | mask);
}

static void clear_flags(int32_t state[], uint32_t mask)
{
    state[LT_ST_FLAGS] = (int32_t)((uint32_t)state[LT_ST_FLAGS] & ~mask);
}

/* ---- 1. signals ---- */

static int32_t counted_elapsed(const int32_t state[], const int32_t inputs[])
{
    int32_t elapsed = inputs[LT_IN_ELAPSED];

    if (flags_of(state, LT_FLAG_FRESH) != 0U) {
        elapsed = 0;
    } else if ((elapsed < 0) || (elapsed > LT_ELAPSED_MOST)) {
        elapsed = LT_ELAPSED_MOST;
    } else {
        /* an elapsed time as it was given */
    }
    return elapsed;
}

static int within(int32_t reading, int32_t least, int32_t most)
{
    return (least <= reading) && (reading <= most);
}

static int plausible(const int32_t settings[], const int32_t inputs[])
{
    int32_t least = settings[LT_SET_SUCTION_LEAST];
    int32_t most = settings[LT_SET_SUCTION_MOST];

    return within(inputs[LT_IN_OIL_PRESSURE], settings[LT_SET_OIL_LEAST], settings[LT_SET_OIL_MOST])
        && within(inputs[LT_IN_SUCTION_PRESSURE], least, most)
        && within(inputs[LT_IN_CRANKCASE_PRESSURE], least, most);
}

/* `missing` is the lowest of the channel's three bits. */
static uint32_t channel_doubt(int32_t reading, int32_t least, int32_t most, int is_stuck, uint32_t missing)
{
    uint32_t doubt = 0U;

    if (reading == LT_NO_READING) {
        doubt = missing;
    } else if (!within(reading, least, most)) {
        doubt = missing << 1;
    } else if (is_stuck) {
        doubt = missing << 2;
    } else {
        /* nothing is wrong with this channel */
    }
    return doubt;
}

static uint32_t channel_doubts(const int32_t state[], const int32_t settings[], const int32_t inputs[])
{
    int32_t stuck_after = settings[LT_SET_STUCK_AFTER];
    int32_t least = settings[LT_SET_SUCTION_LEAST];
    int32_t most = settings[LT_SET_SUCTION_MOST];
    int oil_stuck = state[LT_ST_OIL_SEEN + 1] == stuck_after;
    int suction_stuck = state[LT_ST_SUCTION_SEEN + 1] == stuck_after;
    int crankcase_stuck = state[LT_ST_CRANKCASE_SEEN + 1] == stuck_after;
    uint32_t doubts;

    doubts = channel_doubt(inputs[LT_IN_OIL_PRESSURE], settings[LT_SET_OIL_LEAST], settings[LT_SET_OIL_MOST],
                           oil_stuck, LT_DOUBT_OIL_MISSING);
    doubts |= channel_doubt(inputs[LT_IN_SUCTION_PRESSURE], least, most, suction_stuck, LT_DOUBT_SUCTION_MISSING);
    doubts |= channel_doubt(inputs[LT_IN_CRANKCASE_PRESSURE], least, most, crankcase_stuck,
                            LT_DOUBT_CRANKCASE_MISSING);
    return doubts;
}

static int32_t stuck_part(int32_t state[], int seen, int32_t reading, int32_t running, int32_t elapsed,
                          int32_t stuck_after)
{
    int32_t part = 0;

    if (reading != LT_NO_READING) {
        int32_t unmoved = 0;

        if (reading == state[seen]) {
            unmoved = state[seen + 1];
        }
        if ((running != 0) || (unmoved == stuck_after)) {
            unmoved += elapsed;
        }
        state[seen] = reading;
        if (unmoved > stuck_after) {
            part = unmoved - stuck_after;
            unmoved = stuck_after;
        }
        state[seen + 1] = unmoved;
    }
    return part;
}

/* Ms of `elapsed`, all standstill, that lie behind rest_settle; below 0 as long as none do. */
static int32_t settled_part(const int32_t state[], const int32_t settings[], int32_t elapsed)
{
    int32_t left = state[LT_ST_RESTART_LEFT] - (settings[LT_SET_RESTART_DELAY] - settings[LT_SET_REST_SETTLE]);

    if (left < 0) {
        left = 0;
    }
    return elapsed - left;
}

static void observe(int32_t state[], const int32_t settings[], const int32_t inputs[], int32_t outputs[])
{
    int32_t elapsed = counted_elapsed(state, inputs);
    int32_t running = inputs[LT_IN_RUN_FEEDBACK];
    int32_t stuck_after = settings[LT_SET_STUCK_AFTER];
    int32_t rest_most = settings[LT_SET_REST_MOST];
    int32_t net = 0;
    int32_t part;
    uint32_t doubts;
    int32_t doubted = stuck_part(state, LT_ST_OIL_SEEN, inputs[LT_IN_OIL_PRESSURE], running, elapsed, stuck_after);

    part = stuck_part(state, LT_ST_SUCTION_SEEN, inputs[LT_IN_SUCTION_PRESSURE], running, elapsed, stuck_after);
    if (part > doubted) {
        doubted = part;
    }
    part = stuck_part(state, LT_ST_CRANKCASE_SEEN, inputs[LT_IN_CRANKCASE_PRESSURE], running, elapsed, stuck_after);
    if (part > doubted) {
        doubted = part;
    }
    /*@ assert parts: 0 <= doubted <= elapsed; */
    /*@ assert still: running != 0 && inputs[LT_IN_OIL_PRESSURE] != LT_NO_READING &&
                      inputs[LT_IN_OIL_PRESSURE] == \at(state[LT_ST_OIL_SEEN], Pre) &&
                      \at(state[LT_ST_OIL_SEEN + 1], Pre) == stuck_after ==> doubted == elapsed; */
    doubts = channel_doubts(state, settings, inputs);
    if (elapsed > settings[LT_SET_MAX_GAP]) {
        doubts |= LT_DOUBT_LATE;
    }
    if ((elapsed > settings[LT_SET_MAX_GAP]) || !plausible(settings, inputs)) {
        doubted = elapsed;
    } else {
        net = inputs[LT_IN_OIL_PRESSURE] - inputs[LT_IN_CRANKCASE_PRESSURE];
        part = settled_part(state, settings, elapsed);
        if ((running == 0) && (part >= 0) && !within(net, -rest_most, rest_most)) {
            doubts |= LT_DOUBT_STANDSTILL;
            if (part > doubted) {
                doubted = part;
            }
        }
    }
    /*@ assert time: 0 <= doubted <= elapsed && elapsed - doubted <= settings[LT_SET_MAX_GAP]; */
    /*@ assert net: -20100000 <= net <= 20100000; */
    /*@ assert frozen: running != 0 && inputs[LT_IN_OIL_PRESSURE] == \at(state[LT_ST_OIL_SEEN], Pre) &&
                       \at(state[LT_ST_OIL_SEEN + 1], Pre) == stuck_after ==> doubted == elapsed; */
    outputs[LT_OUT_SEEN] = elapsed - doubted;
    outputs[LT_OUT_DOUBTED] = doubted;
    outputs[LT_OUT_CREDIBLE] = (doubts == 0U) ? 1 : 0;
    outputs[LT_OUT_NET_OIL_PRESSURE] = net;
    outputs[LT_OUT_CONDITIONS] = (int32_t)doubts;
}

/* ---- 2. integral ---- */

static int32_t weight(const int32_t settings[], int32_t net, int32_t suction)
{
    int32_t gain;

    if (net >= settings[LT_SET_CUT_IN]) {
        gain = -settings[LT_SET_RECOVERY];
    } else if (net >= settings[LT_SET_CUT_OUT]) {
        gain = 0;
    } else {
        if (net < settings[LT_SET_FLOOR]) {
            gain = settings[LT_SET_FLOOR_WEIGHT];
        } else {
            int32_t depth = settings[LT_SET_CUT_OUT] - net;
            gain = LT_ONE + (((depth * settings[LT_SET_SLOPE]) + (INT32_C(1) << (LT_SLOPE_BITS - 1))) >> LT_SLOPE_BITS);
        }
        /*@ assert LT_ONE <= gain <= 8 * LT_ONE; */
        if (suction < settings[LT_SET_VACUUM]) {
            gain = ((gain * settings[LT_SET_VACUUM_WEIGHT]) + (LT_ONE >> 1)) >> LT_WEIGHT_BITS;
        }
    }
    return gain;
}

/* Fixed point: whole part and fraction of what is not negative. */
static int32_t whole_part(int32_t fixed)
{
    return (int32_t)((uint32_t)fixed >> LT_WEIGHT_BITS);
}

static int32_t fraction_part(int32_t fixed)
{
    return (int32_t)((uint32_t)fixed & ((uint32_t)LT_ONE - 1U));
}

static void accumulate(int32_t state[], const int32_t settings[], int32_t gain, int32_t elapsed)
{
    int32_t whole = state[LT_ST_INTEGRAL];
    int32_t fraction = state[LT_ST_INTEGRAL_FRACTION];

    if (gain >= 0) {
        fraction += fraction_part(gain) * elapsed;
        /*@ assert 0 <= fraction <= 614102047; */
        whole += (whole_part(gain) * elapsed) + whole_part(fraction);
        fraction = fraction_part(fraction);
        if (whole >= settings[LT_SET_TRIP_DELAY]) {
            whole = settings[LT_SET_TRIP_DELAY];
            fraction = 0;
        }
    } else {
        int32_t loss = -gain;
        int32_t drained = fraction_part(loss) * elapsed;
        /*@ assert 0 <= drained <= 614100000; */
        whole -= (whole_part(loss) * elapsed) + whole_part(drained);
        fraction -= fraction_part(drained);
        if (fraction < 0) {
            fraction += LT_ONE;
            whole -= 1;
        }
        if (whole < 0) {
            whole = 0;
            fraction = 0;
        }
    }
    state[LT_ST_INTEGRAL] = whole;
    state[LT_ST_INTEGRAL_FRACTION] = fraction;
}

static int32_t past_grace(int32_t state[], int32_t elapsed)
{
    int32_t left = state[LT_ST_GRACE_LEFT] - elapsed;
    int32_t past = 0;

    if (left < 0) {
        past = -left;
        left = 0;
    }
    state[LT_ST_GRACE_LEFT] = left;
    return past;
}

static void regain_grace(int32_t state[], const int32_t settings[], int32_t elapsed)
{
    int32_t left = state[LT_ST_GRACE_LEFT] + elapsed;

    if (left > settings[LT_SET_START_GRACE]) {
        left = settings[LT_SET_START_GRACE];
    }
    state[LT_ST_GRACE_LEFT] = left;
}

static void update_integral(int32_t state[], const int32_t settings[], const int32_t inputs[], const int32_t outputs[])
{
    int32_t seen = outputs[LT_OUT_SEEN];

    if (inputs[LT_IN_RUN_FEEDBACK] == 0) {
        regain_grace(state, settings, seen);
        accumulate(state, settings, -settings[LT_SET_STOPPED_RECOVERY], seen);
    } else {
        int32_t gain = weight(settings, outputs[LT_OUT_NET_OIL_PRESSURE], inputs[LT_IN_SUCTION_PRESSURE]);
        int32_t counted = past_grace(state, seen);
        if (gain < 0) {
            counted = seen;
        }
        accumulate(state, settings, gain, counted);
        accumulate(state, settings, LT_ONE, past_grace(state, outputs[LT_OUT_DOUBTED]));
    }
}

/* ---- 3. timers ---- */

static void run_down(int32_t state[], int place, int32_t elapsed)
{
    state[place] -= elapsed;
    if (state[place] < 0) {
        state[place] = 0;
    }
}

static void update_fault_time(int32_t state[], const int32_t settings[], const int32_t outputs[])
{
    int32_t doubt;

    run_down(state, LT_ST_FAULT_TIME, outputs[LT_OUT_SEEN]);
    if (state[LT_ST_FAULT_TIME] == 0) {
        clear_flags(state, LT_FLAG_FAULT_DECLARED);
    }
    doubt = state[LT_ST_FAULT_TIME] + outputs[LT_OUT_DOUBTED];
    if (doubt >= settings[LT_SET_FAULT_DELAY]) {
        doubt = settings[LT_SET_FAULT_DELAY];
        set_flags(state, LT_FLAG_FAULT_DECLARED);
    }
    state[LT_ST_FAULT_TIME] = doubt;
}

static void update_timers(int32_t state[], const int32_t settings[], const int32_t inputs[], const int32_t outputs[])
{
    int32_t elapsed = outputs[LT_OUT_SEEN] + outputs[LT_OUT_DOUBTED];
    int running = inputs[LT_IN_RUN_FEEDBACK] != 0;

    if (running) {
        state[LT_ST_RESTART_LEFT] = settings[LT_SET_RESTART_DELAY];
    } else if (elapsed <= settings[LT_SET_MAX_GAP]) {
        run_down(state, LT_ST_RESTART_LEFT, elapsed);
    } else {
        /* time that nobody saw is no standstill */
    }
    if (!(running && (state[LT_ST_STATE] >= LT_TRIPPED))) {
        run_down(state, LT_ST_MEMORY_LEFT, outputs[LT_OUT_SEEN]);
        if (state[LT_ST_MEMORY_LEFT] == 0) {
            state[LT_ST_TRIPS] = 0;
            clear_flags(state, LT_FLAG_RESETS);
        }
    }
    update_fault_time(state, settings, outputs);
}

/* ---- 4. conditions ---- */

static uint32_t follow_reset(int32_t state[], const int32_t settings[], const int32_t inputs[])
{
    uint32_t press = 0U;

    if (inputs[LT_IN_RESET] == 0) {
        clear_flags(state, LT_FLAG_RESET_HELD | LT_FLAG_RESET_PRESSED);
    } else if (flags_of(state, LT_FLAG_RESET_HELD) != 0U) {
        if ((flags_of(state, LT_FLAG_RESET_PRESSED) != 0U)
            && ((settings[LT_SET_RESTART_DELAY] - state[LT_ST_RESTART_LEFT]) >= settings[LT_SET_RESET_HOLD])) {
            press = LT_BIT_RESET_PRESS;
        }
    } else {
        set_flags(state, LT_FLAG_RESET_HELD);
        if (state[LT_ST_STATE] == LT_LOCKED_OUT) {
            set_flags(state, LT_FLAG_RESET_PRESSED);
            state[LT_ST_RESTART_LEFT] = settings[LT_SET_RESTART_DELAY];
        }
    }
    return press;
}

static void follow_spell(int32_t state[], const int32_t settings[], int32_t suction, uint32_t bits)
{
    if ((bits & LT_BIT_RUNNING) == 0U) {
        clear_flags(state, LT_FLAG_IN_SPELL | LT_FLAG_VACUUM_SEEN);
    } else if ((bits & LT_BIT_HEALTHY) != 0U) {
        clear_flags(state, LT_FLAG_IN_SPELL);
        if (state[LT_ST_INTEGRAL] == 0) {
            clear_flags(state, LT_FLAG_VACUUM_SEEN);
        }
    } else {
        if ((bits & LT_BIT_LOW) != 0U) {
            set_flags(state, LT_FLAG_IN_SPELL);
        }
        if ((flags_of(state, LT_FLAG_IN_SPELL) != 0U) && ((bits & LT_BIT_SENSOR_OK) != 0U)
            && (suction < settings[LT_SET_VACUUM])) {
            set_flags(state, LT_FLAG_VACUUM_SEEN);
        }
    }
}

static int reload_guard(const int32_t state[], const int32_t settings[], int32_t suction, uint32_t bits)
{
    return (flags_of(state, LT_FLAG_VACUUM_SEEN) != 0U)
        && ((bits & LT_BIT_SENSOR_OK) != 0U)
        && (suction >= settings[LT_SET_RELOAD])
        && (state[LT_ST_INTEGRAL] >= settings[LT_SET_RELOAD_LEVEL]);
}

static uint32_t pressure_bits(const int32_t settings[], const int32_t outputs[])
{
    uint32_t bits = 0U;

    if (outputs[LT_OUT_CREDIBLE] == 0) {
        bits = LT_BIT_LOW;
    } else if (outputs[LT_OUT_NET_OIL_PRESSURE] >= settings[LT_SET_CUT_IN]) {
        bits = LT_BIT_SENSOR_OK | LT_BIT_HEALTHY;
    } else if (outputs[LT_OUT_NET_OIL_PRESSURE] < settings[LT_SET_CUT_OUT]) {
        bits = LT_BIT_SENSOR_OK | LT_BIT_LOW;
    } else {
        bits = LT_BIT_SENSOR_OK;
    }
    return bits;
}

static uint32_t memory_bits(const int32_t state[], const int32_t settings[])
{
    uint32_t bits = 0U;

    if (state[LT_ST_GRACE_LEFT] > 0) {
        bits |= LT_BIT_IN_GRACE;
    }
    if (state[LT_ST_INTEGRAL] >= settings[LT_SET_TRIP_DELAY]) {
        bits |= LT_BIT_INTEGRAL_FULL;
    }
    if (state[LT_ST_RESTART_LEFT] == 0) {
        bits |= LT_BIT_RESTART_DUE;
    }
    if ((state[LT_ST_TRIPS] + 1) >= settings[LT_SET_TRIPS_TO_LOCKOUT]) {
        bits |= LT_BIT_LAST_TRIP;
    }
    if (flags_of(state, LT_FLAG_FAULT_DECLARED) != 0U) {
        bits |= LT_BIT_SENSOR_FAULT;
    }
    if ((int32_t)flags_of(state, LT_FLAG_RESETS) >= (settings[LT_SET_RESETS_MOST] * (int32_t)LT_FLAG_ONE_RESET)) {
        bits |= LT_BIT_RESETS_SPENT;
    }
    return bits;
}

static uint32_t evaluate(int32_t state[], const int32_t settings[], const int32_t inputs[], const int32_t outputs[])
{
    int32_t suction = inputs[LT_IN_SUCTION_PRESSURE];
    uint32_t bits;

    clear_flags(state, LT_FLAG_FRESH);
    bits = (uint32_t)outputs[LT_OUT_CONDITIONS];
    bits |= follow_reset(state, settings, inputs);
    bits |= pressure_bits(settings, outputs);
    bits |= memory_bits(state, settings);
    if (inputs[LT_IN_RUN_FEEDBACK] != 0) {
        bits |= LT_BIT_RUNNING;
    }
    follow_spell(state, settings, suction, bits);
    if (reload_guard(state, settings, suction, bits)) {
        bits |= LT_BIT_RELOAD_GUARD;
    }
    return bits;
}

/* ---- 5. cause-and-effect table ---- */

/* A manual reset: taken and counted, or refused. */
static void apply_reset(int32_t state[], const int32_t settings[], int effect)
{
    clear_flags(state, LT_FLAG_RESET_PRESSED);
    if (effect == LT_EFFECT_REFUSE_RESET) {
        state[LT_ST_CAUSE] = LT_RESETS_CAUSE;
    } else {
        state[LT_ST_TRIPS] = 0;
        state[LT_ST_MEMORY_LEFT] = settings[LT_SET_TRIP_MEMORY];
        if (flags_of(state, LT_FLAG_RESETS) != LT_FLAG_RESETS) {
            state[LT_ST_FLAGS] += (int32_t)LT_FLAG_ONE_RESET;
        }
    }
}

static void apply_effect(int32_t state[], const int32_t settings[], uint32_t bits, int effect)
{
    if ((effect == LT_EFFECT_STOP_ON_OIL) || (effect == LT_EFFECT_STOP_ON_RELOAD)) {
        state[LT_ST_TRIPS] += 1;
        state[LT_ST_MEMORY_LEFT] = settings[LT_SET_TRIP_MEMORY];
        state[LT_ST_CAUSE] = (effect == LT_EFFECT_STOP_ON_OIL) ? LT_OIL_CAUSE : LT_RELOAD_CAUSE;
    } else if (effect == LT_EFFECT_STOP_ON_SENSOR) {
        /*@ assert 0 <= ((uint32_t)LT_SENSOR_CAUSE | (bits & LT_DOUBT_ANY)) <= MOST_BITS; */
        state[LT_ST_CAUSE] = (int32_t)((uint32_t)LT_SENSOR_CAUSE | (bits & LT_DOUBT_ANY));
    } else if ((effect == LT_EFFECT_FORGET_TRIPS) || (effect == LT_EFFECT_REFUSE_RESET)) {
        apply_reset(state, settings, effect);
    } else {
        /* a row that changes the state alone */
    }
}

/* Take the first row that applies; say whether the table is to be read again. */
static int move_once(int32_t state[], const int32_t settings[], uint32_t bits)
{
    int moved = 0;
    int again = 0;
    int number;

    /*@ assert each: each_row(&table[0], bits); */
    /*@ assert rows: \forall integer i; 0 <= i < LUBETRIP_ROW_COUNT ==> row_right(&table[0], i, bits); */
    /*@ loop pragma UNROLL 0;
        loop invariant 0 <= number <= LUBETRIP_ROW_COUNT;
        loop invariant moved == 0 ==> again == 0 && not_moved{Pre, Here}(state);
        loop invariant moved == 0 ==> none_applies(&table[0], number, state, bits);
        loop invariant consistent(state, settings);
        loop invariant again != 0 ==> moved != 0 && may_go_on{Pre, Here}(state);
        loop invariant lockout_kept{Pre, Here}(state, bits) && stop_kept{Pre, Here}(state, bits);
        loop assigns number, moved, again;
        loop assigns state[LT_ST_STATE], state[LT_ST_MEMORY_LEFT], state[LT_ST_TRIPS], state[LT_ST_FLAGS],
                     state[LT_ST_CAUSE];
        loop variant LUBETRIP_ROW_COUNT - number; */
    for (number = 0; (number < LUBETRIP_ROW_COUNT) && (moved == 0); number++) {
        const lubetrip_row *row = &table[number];
        if (((int32_t)row->state == state[LT_ST_STATE]) && ((bits & row->mask) == row->value)) {
            /*@ assert row_leads(row, bits) && (counted_stop(row) ==> (bits & LT_BIT_LAST_TRIP) == 0); */
            state[LT_ST_STATE] = row->next_state;
            apply_effect(state, settings, bits, row->effect);
            moved = 1;
            again = (row->effect == (uint8_t)LT_EFFECT_NONE);
        }
    }
    return again;
}

static void settle(int32_t state[], const int32_t settings[], uint32_t bits)
{
    int again = 1;
    int moves;

    for (moves = 0; (moves < LT_MOST_MOVES) && (again != 0); moves++) {
        again = move_once(state, settings, bits);
    }
}

/* ---- 6. outputs ---- */

static int32_t percent(const int32_t state[], const int32_t settings[])
{
    int32_t whole = 100;

    if (state[LT_ST_INTEGRAL] < settings[LT_SET_TRIP_DELAY]) {
        whole = (state[LT_ST_INTEGRAL] * settings[LT_SET_PERCENT_SCALE]) >> LT_PERCENT_BITS;
        /*@ assert 0 <= whole <= 99; */
        /*@ assert whole == 99 ==> (whole + 1) * settings[LT_SET_TRIP_DELAY] > 100 * state[LT_ST_INTEGRAL]; */
        if (((whole + 1) * settings[LT_SET_TRIP_DELAY]) <= (100 * state[LT_ST_INTEGRAL])) {
            whole++; /* the scale is rounded down: right or one short */
        }
        /*@ assert whole <= 99; */
    }
    return whole;
}

static void write_outputs(const int32_t state[], const int32_t settings[], int32_t outputs[])
{
    int stopped = state[LT_ST_STATE] >= LT_TRIPPED;
    int alarm = (state[LT_ST_STATE] >= LT_STARVED) || (outputs[LT_OUT_CREDIBLE] == 0);

    outputs[LT_OUT_RUN_PERMISSION] = stopped ? 0 : 1;
    outputs[LT_OUT_ALARM] = alarm ? 1 : 0;
    outputs[LT_OUT_STOP_CAUSE] = stopped ? state[LT_ST_CAUSE] : LT_NO_CAUSE;
    outputs[LT_OUT_INTEGRAL_PERCENT] = percent(state, settings);
}

/* ---- what lubetrip.h offers ---- */

int32_t lubetrip_first_fault(const int32_t settings[LT_SET_SIZE])
{
    int32_t fault = LUBETRIP_ALL_RIGHT;
    int32_t number;

    /*@ loop pragma UNROLL 0;
        loop invariant 0 <= number <= LT_SET_COUNT && LUBETRIP_ALL_RIGHT <= fault < LT_SET_COUNT;
        loop invariant fault == LUBETRIP_ALL_RIGHT ==> in_order(settings, &setting_ranges[0], number);
        loop invariant fault != LUBETRIP_ALL_RIGHT ==> !is_in_order(settings, &setting_ranges[0], fault);
        loop assigns number, fault;
        loop variant LT_SET_COUNT - number; */
    for (number = 0; (number < LT_SET_COUNT) && (fault == LUBETRIP_ALL_RIGHT); number++) {
        if (!within(settings[number], setting_ranges[number].least, setting_ranges[number].most)) {
            fault = number;
        }
    }
    /*@ assert ranges: fault == LUBETRIP_ALL_RIGHT <==> in_ranges(settings); */
    /*@ loop pragma UNROLL 0;
        loop invariant 0 <= number <= LUBETRIP_RELATION_COUNT;
        loop invariant fault < LT_SET_COUNT + number;
        loop invariant fault == \at(fault, LoopEntry) ||
                       (\at(fault, LoopEntry) == LUBETRIP_ALL_RIGHT && fault >= LT_SET_COUNT);
        loop invariant fault == LUBETRIP_ALL_RIGHT ==> relations_hold(settings, &relations[0], number);
        loop invariant fault >= LT_SET_COUNT ==> !relation_holds(settings, &relations[0], fault - LT_SET_COUNT);
        loop invariant LUBETRIP_ALL_RIGHT <= fault;
        loop assigns number, fault;
        loop variant LUBETRIP_RELATION_COUNT - number; */
    for (number = 0; (number < LUBETRIP_RELATION_COUNT) && (fault == LUBETRIP_ALL_RIGHT); number++) {
        const lubetrip_relation *row = &relations[number];
        if ((settings[row->lower] + (int32_t)row->gap) > settings[row->higher]) {
            fault = LT_SET_COUNT + number;
        }
    }
    /*@ assert held: fault == LUBETRIP_ALL_RIGHT ==> related(settings); */
    /*@ assert broken: fault >= LT_SET_COUNT ==> !related(settings); */
    return fault;
}

void lubetrip_derive(int32_t settings[LT_SET_SIZE])
{
    uint32_t span = (uint32_t)(settings[LT_SET_CUT_OUT] - settings[LT_SET_FLOOR]);
    uint32_t rise = (uint32_t)(settings[LT_SET_FLOOR_WEIGHT] - LT_ONE) << LT_SLOPE_BITS;
    int32_t trip_delay = settings[LT_SET_TRIP_DELAY];
    int32_t fraction = settings[LT_SET_RELOAD_FRACTION];
    int32_t whole = trip_delay / LT_ONE;
    int32_t rest = trip_delay % LT_ONE;

    /*@ assert parts: 0 <= whole <= 878 && 0 <= rest <= 2047 && LT_ONE * whole + rest == trip_delay; */
    /*@ assert products: 0 <= fraction * whole <= LT_ONE * whole && 0 <= fraction * rest <= LT_ONE * rest; */
    settings[LT_SET_SLOPE] = (int32_t)(rise / span);
    settings[LT_SET_PERCENT_SCALE] = (int32_t)((UINT32_C(100) << LT_PERCENT_BITS) / (uint32_t)trip_delay);
    settings[LT_SET_RELOAD_LEVEL] = (fraction * whole) + whole_part(fraction * rest);
}

void lubetrip_power_up(int32_t state[LT_ST_SIZE], const int32_t settings[LT_SET_SIZE])
{
    int place;

    /* One by one with a choice in it, or a compiler makes a call of memset of this. */
    for (place = 0; place < LT_ST_SIZE; place++) {
        int reading = (place == LT_ST_OIL_SEEN) || (place == LT_ST_SUCTION_SEEN) || (place == LT_ST_CRANKCASE_SEEN);
        state[place] = reading ? LT_NO_READING : 0;
    }
    state[LT_ST_GRACE_LEFT] = settings[LT_SET_START_GRACE];
    state[LT_ST_RESTART_LEFT] = settings[LT_SET_RESTART_DELAY];
    set_flags(state, LT_FLAG_FRESH | LT_FLAG_RESET_HELD);
}

int32_t lubetrip_elapsed_ms(uint32_t now, uint32_t before)
{
    uint32_t elapsed = now - before;

    if (elapsed > (uint32_t)LT_ELAPSED_ADMITTED) {
        elapsed = (uint32_t)LT_ELAPSED_ADMITTED;
    }
    return (int32_t)elapsed;
}

void lubetrip_step(int32_t state[LT_ST_SIZE], const int32_t settings[LT_SET_SIZE],
                   const int32_t inputs[LT_IN_SIZE], int32_t outputs[LT_OUT_SIZE])
{
    uint32_t bits;

    observe(state, settings, inputs, outputs);
    update_integral(state, settings, inputs, outputs);
    update_timers(state, settings, inputs, outputs);
    bits = evaluate(state, settings, inputs, outputs);
    settle(state, settings, bits);
    outputs[LT_OUT_CONDITIONS] = (int32_t)bits;
    write_outputs(state, settings, outputs);
}
