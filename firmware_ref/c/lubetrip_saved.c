/* The saved record; see lubetrip_saved.h and protect/saved.py. */
#include "lubetrip_saved.h"

#include "lubetrip.h"

#define FORM UINT32_C(2)
#define NUMBERS UINT32_C(65536)
#define SETTINGS_CRC_AT 4
#define WORDS_AT 8
#define CRC_AT 40
#define COPY_SIZE 44
#define KEPT_COUNT 6
#define STOP_AT (WORDS_AT + (4 * KEPT_COUNT))
#define FLAGS_AT (STOP_AT + 4)
#define KEPT_FLAGS (LT_FLAG_FAULT_DECLARED | LT_FLAG_RESETS)

static const uint8_t kept[KEPT_COUNT] = {
    LT_ST_INTEGRAL, LT_ST_INTEGRAL_FRACTION, LT_ST_MEMORY_LEFT, LT_ST_TRIPS, LT_ST_FAULT_TIME, LT_ST_CAUSE
};

static uint32_t add_byte(uint32_t crc, uint8_t byte)
{
    uint32_t sum = crc ^ byte;
    int bit;

    for (bit = 0; bit < 8; bit++) {
        sum = ((sum & 1U) != 0U) ? ((sum >> 1) ^ 0xEDB88320U) : (sum >> 1);
    }
    return sum;
}

static void put_word(uint8_t record[], int at, uint32_t word)
{
    int place;

    for (place = 0; place < 4; place++) {
        record[at + place] = (uint8_t)((word >> (8 * place)) & 0xFFU);
    }
}

static uint32_t bits_at(const uint8_t record[], int at)
{
    uint32_t word = 0;
    int place;

    for (place = 3; place >= 0; place--) {
        word = (word << 8) | record[at + place];
    }
    return word;
}

/* The word of four bytes, or -1 for one that no record holds: 2^30 and more. */
static int32_t word_at(const uint8_t record[], int at)
{
    uint32_t word = bits_at(record, at);

    return (word < 0x40000000U) ? (int32_t)word : -1;
}

static uint32_t crc_of_content(const uint8_t record[])
{
    uint32_t crc = 0xFFFFFFFFU;
    int place;

    /*@ loop pragma UNROLL 0;
        loop invariant 0 <= place <= CRC_AT;
        loop assigns place, crc;
        loop variant CRC_AT - place; */
    for (place = 0; place < CRC_AT; place++) {
        crc = add_byte(crc, record[place]);
    }
    return crc ^ 0xFFFFFFFFU;
}

static uint32_t crc_of_settings(const int32_t settings[])
{
    uint32_t crc = 0xFFFFFFFFU;
    int place;
    int shift;

    /*@ loop pragma UNROLL 0;
        loop invariant 0 <= place <= LT_SET_SIZE;
        loop assigns place, shift, crc;
        loop variant LT_SET_SIZE - place; */
    for (place = 0; place < LT_SET_SIZE; place++) {
        for (shift = 0; shift < 32; shift += 8) {
            crc = add_byte(crc, (uint8_t)(((uint32_t)settings[place] >> shift) & 0xFFU));
        }
    }
    return crc ^ 0xFFFFFFFFU;
}

void lubetrip_write_record(uint8_t record[LUBETRIP_RECORD_SIZE], int32_t number,
                           const int32_t settings[LT_SET_SIZE], const int32_t state[LT_ST_SIZE])
{
    int32_t stop = (state[LT_ST_STATE] >= LT_TRIPPED) ? state[LT_ST_STATE] : 0;
    int place;

    put_word(record, 0, (uint32_t)number | (FORM << 16));
    put_word(record, SETTINGS_CRC_AT, crc_of_settings(settings));
    for (place = 0; place < KEPT_COUNT; place++) {
        put_word(record, WORDS_AT + (4 * place), (uint32_t)state[kept[place]]);
    }
    put_word(record, STOP_AT, (uint32_t)stop);
    put_word(record, FLAGS_AT, (uint32_t)state[LT_ST_FLAGS] & KEPT_FLAGS);
    put_word(record, CRC_AT, crc_of_content(record));
    /*@ loop pragma UNROLL 0;
        loop invariant 0 <= place <= COPY_SIZE;
        loop assigns place, record[COPY_SIZE .. LUBETRIP_RECORD_SIZE - 1];
        loop variant COPY_SIZE - place; */
    for (place = 0; place < COPY_SIZE; place++) {
        record[COPY_SIZE + place] = (uint8_t)(0xFFU ^ record[place]);
    }
}

static int is_sealed(const uint8_t record[])
{
    int sealed = 1;
    int place;

    /*@ loop pragma UNROLL 0;
        loop invariant 0 <= place <= COPY_SIZE && 0 <= sealed <= 1;
        loop assigns place, sealed;
        loop variant COPY_SIZE - place; */
    for (place = 0; place < COPY_SIZE; place++) {
        if ((record[place] ^ record[COPY_SIZE + place]) != 0xFFU) {
            sealed = 0;
        }
    }
    return (sealed != 0) && (bits_at(record, CRC_AT) == crc_of_content(record));
}

static int within(int32_t word, int32_t most)
{
    return (word >= 0) && (word <= most);
}

static int is_possible(const uint8_t record[], const int32_t settings[])
{
    int32_t stop = word_at(record, STOP_AT);
    uint32_t flags = bits_at(record, FLAGS_AT);
    uint32_t cause = bits_at(record, WORDS_AT + 20);

    return within(word_at(record, WORDS_AT), settings[LT_SET_TRIP_DELAY])
        && within(word_at(record, WORDS_AT + 4), LT_ONE - 1)
        && within(word_at(record, WORDS_AT + 8), settings[LT_SET_TRIP_MEMORY])
        && within(word_at(record, WORDS_AT + 12), settings[LT_SET_TRIPS_TO_LOCKOUT])
        && within(word_at(record, WORDS_AT + 16), settings[LT_SET_FAULT_DELAY])
        && ((cause | LT_DOUBT_ANY) <= ((uint32_t)LT_RESETS_CAUSE | LT_DOUBT_ANY))
        && ((stop == 0) || (stop == LT_TRIPPED) || (stop == LT_LOCKED_OUT))
        && ((flags | KEPT_FLAGS) == KEPT_FLAGS)
        && ((flags & LT_FLAG_RESETS) <= ((uint32_t)settings[LT_SET_RESETS_MOST] << LT_RESETS_SHIFT));
}

int32_t lubetrip_record_number(const uint8_t record[LUBETRIP_RECORD_SIZE], const int32_t settings[LT_SET_SIZE])
{
    int32_t number = LUBETRIP_NO_RECORD;

    if ((is_sealed(record) != 0) && (bits_at(record, SETTINGS_CRC_AT) == crc_of_settings(settings))
        && (is_possible(record, settings) != 0) && ((bits_at(record, 0) >> 16) == FORM)) {
        number = (int32_t)(bits_at(record, 0) & (NUMBERS - 1U));
    }
    return number;
}

static int is_newer(int32_t number, int32_t than)
{
    uint32_t ahead = ((uint32_t)number - (uint32_t)than) & (NUMBERS - 1U);

    return (ahead != 0U) && (ahead < (NUMBERS >> 1));
}

static void put_back(int32_t state[], const uint8_t record[])
{
    int32_t stop = word_at(record, STOP_AT);
    int place;

    for (place = 0; place < KEPT_COUNT; place++) {
        state[kept[place]] = word_at(record, WORDS_AT + (4 * place));
    }
    state[LT_ST_FLAGS] = (int32_t)((uint32_t)state[LT_ST_FLAGS] | bits_at(record, FLAGS_AT));
    if (stop != 0) {
        state[LT_ST_STATE] = stop;
    }
}

int32_t lubetrip_recall(int32_t state[LT_ST_SIZE], const int32_t settings[LT_SET_SIZE],
                        const uint8_t first[LUBETRIP_RECORD_SIZE], const uint8_t second[LUBETRIP_RECORD_SIZE])
{
    int32_t one = lubetrip_record_number(first, settings);
    int32_t two = lubetrip_record_number(second, settings);
    int32_t number = LUBETRIP_NO_RECORD;

    lubetrip_power_up(state, settings);
    if ((one == LUBETRIP_NO_RECORD) && (two == LUBETRIP_NO_RECORD)) {
        state[LT_ST_STATE] = LT_LOCKED_OUT;
    } else if ((two == LUBETRIP_NO_RECORD) || ((one != LUBETRIP_NO_RECORD) && (is_newer(one, two) != 0))) {
        put_back(state, first);
        number = one;
    } else {
        put_back(state, second);
        number = two;
    }
    return number;
}

int32_t lubetrip_next_number(int32_t number)
{
    return (int32_t)(((uint32_t)number + 1U) & (NUMBERS - 1U));
}
