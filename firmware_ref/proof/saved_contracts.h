/* What the saved record promises, in ACSL; looked at by `python -m tests.gates proof-c`.

   What a checksum finds is no part of it: that no flipped bit passes is tested.
   Here stands what follows from it. The words of any record that
   counts are within the bounds of the step; that those which were written come back is
   tested, not proved. */
#ifndef LUBETRIP_SAVED_CONTRACTS_H
#define LUBETRIP_SAVED_CONTRACTS_H

#include "lubetrip_saved.h"
#include "offered.h"

/* The word of four bytes. bits_at is proved with its definition (OPENED); all else
   holds whatever the word is, and is proved so, which spares the provers its bits. */
#ifdef OPENED
/*@ logic integer word_of(uint8_t *r, integer at) =
      (uint32_t)(((uint32_t)(((uint32_t)(((uint32_t)r[at + 3]) << 8) | r[at + 2]) << 8) | r[at + 1]) << 8) | r[at]; */
#else
/*@ axiomatic word { logic integer word_of(uint8_t *r, integer at) reads r[at .. at + 3]; } */
#endif

/* Facts on the bits of words; proved with bit vectors, as those of contracts.h. */
/*@
  axiomatic bits_of_a_record {
    axiom kept_flags: \forall integer f; 0 <= f && f <= 4294967295 && (f & 4294967055) == 0 ==> f <= 240;
    axiom no_less_joined: \forall integer a, b; 0 <= a && 0 <= b ==> a <= (a | b) && b <= (a | b);
  }
*/

#define record_and_settings(r, s) (                                                                                   \
    READABLE(r, LUBETRIP_RECORD_SIZE) && READABLE(s, LT_SET_SIZE))

/* The words of a record, as far as each can be told by itself. */
#define words_possible(r, s) (                                                                                        \
    0 <= word_of(r, 8) <= s[LT_SET_TRIP_DELAY] && 0 <= word_of(r, 12) < LT_ONE &&                                     \
    0 <= word_of(r, 16) <= s[LT_SET_TRIP_MEMORY] && 0 <= word_of(r, 20) <= s[LT_SET_TRIPS_TO_LOCKOUT] &&              \
    0 <= word_of(r, 24) <= s[LT_SET_FAULT_DELAY] && 0 <= word_of(r, 28) <= MOST_BITS &&                               \
    (word_of(r, 32) == 0 || word_of(r, 32) == LT_TRIPPED || word_of(r, 32) == LT_LOCKED_OUT) &&                       \
    0 <= word_of(r, 36) <= 511)

/* The two rules between words, which every record keeps that was written of a state of the step. */
#define words_agree(r, s) (                                                                                           \
    (word_of(r, 8) == s[LT_SET_TRIP_DELAY] ==> word_of(r, 12) == 0) &&                                                \
    (word_of(r, 32) != LT_LOCKED_OUT ==> word_of(r, 20) < s[LT_SET_TRIPS_TO_LOCKOUT]))

/* The bounds of every word of the state, whatever two words say of each other. */
#define recalled_within(m, s) (                                                                                       \
    (m[LT_ST_STATE] == LT_STOPPED || LT_TRIPPED <= m[LT_ST_STATE] <= LT_LOCKED_OUT) &&                                \
    0 <= m[LT_ST_INTEGRAL] <= s[LT_SET_TRIP_DELAY] && 0 <= m[LT_ST_INTEGRAL_FRACTION] < LT_ONE &&                     \
    0 <= m[LT_ST_MEMORY_LEFT] <= s[LT_SET_TRIP_MEMORY] && 0 <= m[LT_ST_TRIPS] <= s[LT_SET_TRIPS_TO_LOCKOUT] &&        \
    0 <= m[LT_ST_FAULT_TIME] <= s[LT_SET_FAULT_DELAY] && LT_NO_CAUSE <= m[LT_ST_CAUSE] <= MOST_BITS &&                \
    m[LT_ST_GRACE_LEFT] == s[LT_SET_START_GRACE] && m[LT_ST_RESTART_LEFT] == s[LT_SET_RESTART_DELAY])

#define state_and_record(m, r) (                                                                                      \
    WRITABLE(m, LT_ST_SIZE) && READABLE(r, LUBETRIP_RECORD_SIZE) &&                                                   \
    \separated(m + (0 .. LT_ST_SIZE - 1), r + (0 .. LUBETRIP_RECORD_SIZE - 1)))


/*@ assigns \nothing; */
static uint32_t add_byte(uint32_t crc, uint8_t byte);

/*@ requires memory: WRITABLE(record + at, 4);
    requires 0 <= at <= 84;
    assigns record[at .. at + 3];
    ensures record[at] == (word & 255) && record[at + 1] == ((word >> 8) & 255) &&
            record[at + 2] == ((word >> 16) & 255) && record[at + 3] == ((word >> 24) & 255); */
static void put_word(uint8_t record[], int at, uint32_t word);

/*@ requires memory: READABLE(record + at, 4);
    requires 0 <= at <= 84;
    assigns \nothing;
    ensures \result == word_of(record, at); */
static uint32_t bits_at(const uint8_t record[], int at);

/*@ requires memory: READABLE(record + at, 4);
    requires 0 <= at <= 84;
    assigns \nothing;
    ensures -1 <= \result < 1073741824 && (\result != -1 ==> \result == word_of(record, at));
    ensures word_of(record, at) < 1073741824 ==> \result == word_of(record, at); */
static int32_t word_at(const uint8_t record[], int at);

/*@ requires memory: READABLE(record, 40);
    assigns \nothing; */
static uint32_t crc_of_content(const uint8_t record[]);

/*@ requires memory: READABLE(settings, LT_SET_SIZE);
    assigns \nothing; */
static uint32_t crc_of_settings(const int32_t settings[]);

/*@ requires memory: READABLE(record, LUBETRIP_RECORD_SIZE);
    assigns \nothing;
    ensures \result == 0 || \result == 1; */
static int is_sealed(const uint8_t record[]);

/*@ assigns \nothing;
    ensures \result != 0 <==> 0 <= word <= most; */
static int within(int32_t word, int32_t most);

/*@ requires memory: record_and_settings(record, settings);
    assigns \nothing;
    ensures \result != 0 ==> words_possible(record, settings); */
static int is_possible(const uint8_t record[], const int32_t settings[]);

/*@ requires 0 <= number <= 65535 && 0 <= than <= 65535;
    assigns \nothing;
    ensures \result != 0 ==> number != than; */
static int is_newer(int32_t number, int32_t than);

/*@ requires memory: state_and_record(state, record);
    requires state[LT_ST_STATE] == LT_STOPPED && 0 <= state[LT_ST_FLAGS] <= 511;
    requires word_of(record, 8) < 1073741824 && word_of(record, 12) < 1073741824;
    requires word_of(record, 16) < 1073741824 && word_of(record, 20) < 1073741824;
    requires word_of(record, 24) < 1073741824 && word_of(record, 28) < 1073741824;
    requires word_of(record, 32) == 0 || LT_TRIPPED <= word_of(record, 32) <= LT_LOCKED_OUT;
    requires 0 <= word_of(record, 36) <= 511;
    assigns state[LT_ST_STATE .. LT_ST_INTEGRAL_FRACTION], state[LT_ST_MEMORY_LEFT .. LT_ST_CAUSE];
    ensures state[LT_ST_INTEGRAL] == word_of(record, 8);
    ensures state[LT_ST_INTEGRAL_FRACTION] == word_of(record, 12);
    ensures state[LT_ST_MEMORY_LEFT] == word_of(record, 16);
    ensures state[LT_ST_TRIPS] == word_of(record, 20);
    ensures state[LT_ST_FAULT_TIME] == word_of(record, 24);
    ensures state[LT_ST_CAUSE] == word_of(record, 28);
    ensures state[LT_ST_STATE] == (word_of(record, 32) == 0 ? LT_STOPPED : word_of(record, 32));
    ensures 0 <= state[LT_ST_FLAGS] <= 511; */
static void put_back(int32_t state[], const uint8_t record[]);

/* ---- what lubetrip_saved.h offers ---- */

/*@ requires memory: WRITABLE(record, LUBETRIP_RECORD_SIZE) && memory_and_settings(state, settings);
    requires memory: \separated(record + (0 .. LUBETRIP_RECORD_SIZE - 1), state + (0 .. LT_ST_SIZE - 1));
    requires memory: \separated(record + (0 .. LUBETRIP_RECORD_SIZE - 1), settings + (0 .. LT_SET_SIZE - 1));
    requires 0 <= number <= 65535;
    assigns record[0 .. LUBETRIP_RECORD_SIZE - 1]; */
void lubetrip_write_record(uint8_t record[LUBETRIP_RECORD_SIZE], int32_t number,
                           const int32_t settings[LT_SET_SIZE], const int32_t state[LT_ST_SIZE]);

/*@ requires memory: record_and_settings(record, settings);
    assigns \nothing;
    ensures LUBETRIP_NO_RECORD <= \result <= 65535;
    ensures \result != LUBETRIP_NO_RECORD ==> words_possible(record, settings); */
int32_t lubetrip_record_number(const uint8_t record[LUBETRIP_RECORD_SIZE], const int32_t settings[LT_SET_SIZE]);

/*@ requires memory: memory_and_settings(state, settings);
    requires admitted(settings);
    requires memory: state_and_record(state, first) && state_and_record(state, second);
    assigns state[0 .. LT_ST_SIZE - 1];
    ensures LUBETRIP_NO_RECORD <= \result <= 65535;
    ensures lost: \result == LUBETRIP_NO_RECORD ==> state[LT_ST_STATE] == LT_LOCKED_OUT;
    ensures bounds: recalled_within(state, settings);
    ensures agreeing: words_agree(first, settings) && words_agree(second, settings) ==> consistent(state, settings); */
int32_t lubetrip_recall(int32_t state[LT_ST_SIZE], const int32_t settings[LT_SET_SIZE],
                        const uint8_t first[LUBETRIP_RECORD_SIZE], const uint8_t second[LUBETRIP_RECORD_SIZE]);

/*@ requires LUBETRIP_NO_RECORD <= number <= 65535;
    assigns \nothing;
    ensures 0 <= \result <= 65535; */
int32_t lubetrip_next_number(int32_t number);

#endif
