#include "application.h"

#include "board.h"
#include "lubetrip.h"
#include "lubetrip_saved.h"
#include "lubetrip_seal.h"
#include "sensors.h"
#include "service.h"
#include "store.h"

#define STEP_MS INT32_C(200)
#define SAVE_MS INT32_C(600000) /* between records while nothing changes */
#define TELL_MS INT32_C(60000)  /* between lines while nothing changes */

/* The sensors of this machine: oil pressure 4-20 mA over 150 ohm at 3.3 V, suction pressure ratiometric. */
#define LOOP_FULL_SCALE_UA INT32_C(22000)
#define SUPPLY_LEAST 35000U
#define SUPPLY_MOST 50000U
static const sensor_range oil_range = {0, 2000};
static const sensor_range suction_range = {0, 1600};

/* Written by `lubetrip export settings.toml --to c`; with another lubetrip_logic.h beside it, it does not compile. */
extern const char lubetrip_settings_digest[65];
extern const int32_t lubetrip_settings[LT_SET_SIZE];

static int32_t state[LT_ST_SIZE];
static int32_t outputs[LT_OUT_SIZE];
static uint32_t seals[LUBETRIP_SEALS_SIZE];
static uint32_t before;
static int32_t record_number;
static int records_fail;

/* What was saved and told last. */
static int32_t saved_stop;
static int32_t saved_trips;
static uint32_t saved_at;
static int32_t told[4];
static uint32_t told_at;

/* The state while run permission is withdrawn, else 0: a manual reset changes it, and is saved so. */
static int32_t stop(void)
{
    return (state[LT_ST_STATE] >= LT_TRIPPED) ? state[LT_ST_STATE] : 0;
}

static void read_inputs(int32_t inputs[LT_IN_SIZE], int32_t elapsed)
{
    int32_t current = sensor_loop_current(board_counts(BOARD_OIL), LOOP_FULL_SCALE_UA);
    int32_t suction = sensor_ratiometric_pressure(board_counts(BOARD_SUCTION), board_counts(BOARD_SUPPLY), SUPPLY_LEAST,
                                                  SUPPLY_MOST, suction_range);

    inputs[LT_IN_ELAPSED] = elapsed;
    inputs[LT_IN_RUN_FEEDBACK] = board_runs();
    inputs[LT_IN_RESET] = board_reset_pressed();
    inputs[LT_IN_OIL_PRESSURE] = sensor_loop_pressure(current, oil_range);
    inputs[LT_IN_SUCTION_PRESSURE] = suction;
    inputs[LT_IN_CRANKCASE_PRESSURE] = suction; /* no crankcase sensor on this machine */
}

/* Not at every change of state, since oil pressure that flutters would wear the memory out, and never of a broken seal. */
static void save_when_due(uint32_t now)
{
    int changed = (stop() != saved_stop) || (state[LT_ST_TRIPS] != saved_trips);
    int32_t number;

    if ((changed == 0) && (lubetrip_elapsed_ms(now, saved_at) < SAVE_MS)) {
        return;
    }
    if (lubetrip_seals_hold(state, lubetrip_settings, seals) == 0) {
        return;
    }
    number = store_save(record_number, lubetrip_settings, state);
    records_fail = (number == LUBETRIP_NO_RECORD) ? 1 : 0;
    if (records_fail == 0) {
        record_number = number;
    }
    saved_stop = stop();
    saved_trips = state[LT_ST_TRIPS];
    saved_at = now;
}

static void tell_when_due(uint32_t now)
{
    static char line[SERVICE_LINE];
    const int32_t news[4] = {state[LT_ST_STATE], outputs[LT_OUT_ALARM], outputs[LT_OUT_STOP_CAUSE], records_fail};
    int changed = 0;
    int place;

    for (place = 0; place < 4; place++) {
        changed = ((news[place] != told[place]) ? 1 : changed);
        told[place] = news[place];
    }
    if ((changed != 0) || (lubetrip_elapsed_ms(now, told_at) >= TELL_MS)) {
        service_line(line, state, outputs, lubetrip_settings_digest, records_fail);
        board_send(line);
        told_at = now;
    }
}

void application_start(void)
{
    board_relay(0);
    board_alarm(1);
    record_number = store_recall(state, lubetrip_settings);
    lubetrip_seal_settings(lubetrip_settings, seals);
    lubetrip_seal_state(state, seals);
    records_fail = 0;
    saved_stop = stop();
    saved_trips = state[LT_ST_TRIPS];
    before = board_ticks_ms();
    saved_at = before;
    told_at = before;
    told[0] = -1;
}

int application_pass(void)
{
    int32_t inputs[LT_IN_SIZE];
    uint32_t now = board_ticks_ms();
    int32_t elapsed = lubetrip_elapsed_ms(now, before);

    if (elapsed < STEP_MS) {
        return 0;
    }
    before = now;
    read_inputs(inputs, elapsed);
    lubetrip_sealed_step(state, lubetrip_settings, inputs, outputs, seals);
    board_relay((int)outputs[LT_OUT_RUN_PERMISSION]);
    board_alarm(((outputs[LT_OUT_ALARM] != 0) || (records_fail != 0)) ? 1 : 0);
    save_when_due(now);
    tell_when_due(now);
    board_feed_watchdog(); /* here and nowhere else: the pass is done */
    return 1;
}
