/* A board that is none: it plays a short story to the application on the host and prints what the service port says.
   Not for a target. Exit status 1 when the watchdog would have bitten. */
#include <stdio.h>
#include <string.h>

#include "application.h"
#include "board.h"
#include "lubetrip_saved.h"
#include "store.h"

#define TICK_MS 50U
#define WATCHDOG_MS 2000U

/* Oil and suction pressure in kPa absolute; -1 for a broken wire. `wanted`: the thermostat calls for the machine. */
typedef struct {
    const char *title;
    uint32_t seconds;
    int wanted;
    int reset;
    int oil_kpa;
    int suction_kpa;
    int power_lost; /* before it */
    int wears_out;  /* the slot that is written next keeps nothing any more */
} chapter;

static const chapter story[] = {
    {"a new controller, nothing saved", 20, 1, 0, 300, 300, 0, 0},
    {"somebody looks at the machine and holds the reset", 400, 0, 1, 300, 300, 0, 0},
    {"the machine starts and runs", 120, 1, 0, 650, 300, 0, 0},
    {"the oil fails", 150, 1, 0, 305, 300, 0, 0},
    {"the power is lost in between", 20, 1, 0, 300, 300, 1, 0},
    {"a restart after the restart delay", 400, 1, 0, 650, 300, 0, 0},
    {"the wire of the oil sensor breaks", 60, 1, 0, -1, 300, 0, 0},
    {"it is mended; a slot of the memory has worn out", 400, 0, 0, 300, 300, 0, 1},
    {"the power is lost again", 20, 0, 0, 300, 300, 1, 0},
};

static uint8_t slots[STORE_SLOTS][LUBETRIP_RECORD_SIZE];
static uint32_t written[STORE_SLOTS];
static const chapter *now_playing;
static uint32_t ticks = 0xFFFF0000U; /* wraps on the way */
static uint32_t fed;
static int relay;
static int alarm_on;
static int worn = -1;

uint32_t board_ticks_ms(void)
{
    return ticks;
}

static int runs(void)
{
    return relay & now_playing->wanted;
}

uint16_t board_counts(int channel)
{
    int wobble = (int)((ticks / 200U) % 3U); /* a reading that moves */
    int kpa = (channel == BOARD_OIL) ? now_playing->oil_kpa : now_playing->suction_kpa;

    if ((channel == BOARD_OIL) && (runs() == 0) && (kpa > now_playing->suction_kpa)) {
        kpa = now_playing->suction_kpa; /* a machine that stands pumps no oil */
    }
    if (channel == BOARD_SUPPLY) {
        return 43690U;
    }
    if (kpa < 0) {
        return 0U;
    }
    if (channel == BOARD_OIL) { /* 4-20 mA of 2000 kPa, 22 mA full scale */
        return (uint16_t)((((4000L + ((kpa * 16000L) / 2000L)) * 65535L) / 22000L) + wobble);
    }
    return (uint16_t)(((43690L * (4096L + ((kpa * 32768L) / 1600L))) / 40960L) + wobble);
}

int board_runs(void)
{
    return runs();
}

int board_reset_pressed(void)
{
    return now_playing->reset;
}

void board_relay(int on)
{
    relay = on;
}

void board_alarm(int on)
{
    if (on != alarm_on) {
        printf("  alarm %s\n", (on != 0) ? "on" : "off");
    }
    alarm_on = on;
}

void board_feed_watchdog(void)
{
    fed = ticks;
}

void board_read_slot(uint16_t slot, uint8_t bytes[], uint16_t count)
{
    memcpy(bytes, slots[slot], count);
}

void board_write_slot(uint16_t slot, const uint8_t bytes[], uint16_t count)
{
    memcpy(slots[slot], bytes, count);
    written[slot]++;
    if ((now_playing->wears_out != 0) && (worn < 0)) {
        worn = (int)slot;
    }
    if ((int)slot == worn) {
        printf("  slot %d does not keep what was written\n", worn);
        slots[slot][count / 2U] ^= 4U;
    }
}

void board_send(const char line[])
{
    printf("  %s\n", line);
}

int main(void)
{
    uint32_t number;
    uint32_t left;
    uint32_t most = 0U;

    for (number = 0U; number < (uint32_t)(sizeof story / sizeof story[0]); number++) {
        now_playing = &story[number];
        printf("%s\n", now_playing->title);
        if ((number == 0U) || (now_playing->power_lost != 0)) {
            application_start();
            fed = ticks;
        }
        for (left = (now_playing->seconds * 1000U) / TICK_MS; left > 0U; left--) {
            ticks += TICK_MS;
            (void)application_pass();
            if ((ticks - fed) > WATCHDOG_MS) {
                printf("  the watchdog bites\n");
                return 1;
            }
        }
    }
    for (number = 0U; number < (uint32_t)STORE_SLOTS; number++) {
        most = (written[number] > most) ? written[number] : most;
    }
    printf("writes of one slot at most: %lu\n", (unsigned long)most);
    return 0;
}
