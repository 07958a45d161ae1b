#include "store.h"

#include <string.h>

#include "board.h"
#include "lubetrip.h"
#include "lubetrip_saved.h"

#define NUMBERS INT32_C(65536)
#define TRIES 2

static uint16_t slot_of(int32_t number)
{
    return (uint16_t)(number % STORE_SLOTS);
}

static int is_newer(int32_t number, int32_t than)
{
    int32_t ahead = ((number - than) + NUMBERS) % NUMBERS;

    return (ahead != 0) && (ahead < (NUMBERS / 2));
}

int32_t store_recall(int32_t state[], const int32_t settings[])
{
    static uint8_t newest[LUBETRIP_RECORD_SIZE];
    static uint8_t other[LUBETRIP_RECORD_SIZE];
    int32_t best = LUBETRIP_NO_RECORD;
    uint16_t slot;

    memset(newest, 0, sizeof newest);
    for (slot = 0U; slot < (uint16_t)STORE_SLOTS; slot++) {
        int32_t number;

        board_read_slot(slot, other, (uint16_t)sizeof other);
        number = lubetrip_record_number(other, settings);
        if ((number != LUBETRIP_NO_RECORD) && ((best == LUBETRIP_NO_RECORD) || is_newer(number, best))) {
            best = number;
            memcpy(newest, other, sizeof newest);
        }
    }
    memset(other, 0, sizeof other);
    return lubetrip_recall(state, settings, newest, other);
}

int32_t store_save(int32_t number, const int32_t settings[], const int32_t state[])
{
    static uint8_t record[LUBETRIP_RECORD_SIZE];
    static uint8_t back[LUBETRIP_RECORD_SIZE];
    int tries;

    for (tries = 0; tries < TRIES; tries++) {
        number = lubetrip_next_number(number);
        lubetrip_write_record(record, number, settings, state);
        board_write_slot(slot_of(number), record, (uint16_t)sizeof record);
        board_read_slot(slot_of(number), back, (uint16_t)sizeof back);
        if (memcmp(record, back, sizeof record) == 0) {
            return number;
        }
    }
    return LUBETRIP_NO_RECORD;
}
