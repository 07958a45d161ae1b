/* The saved record: what has to survive a power loss, as 88 bytes that are whole
   or do not count. The same, byte for byte, as protect/saved.py, which tells why.

   The target keeps two records, even numbers in the first place and odd ones in
   the second, so that a power loss while one is written leaves the other. */
#ifndef LUBETRIP_SAVED_H
#define LUBETRIP_SAVED_H

#include <stdint.h>

#include "lubetrip_generated.h"

#ifdef __cplusplus
extern "C" {
#endif

#define LUBETRIP_RECORD_SIZE 88
#define LUBETRIP_NO_RECORD (-1)

/* Fill a record with what has to survive of a state. */
void lubetrip_write_record(uint8_t record[LUBETRIP_RECORD_SIZE], int32_t number,
                           const int32_t settings[LT_SET_SIZE], const int32_t state[LT_ST_SIZE]);

/* The number of a good record made under these settings, or LUBETRIP_NO_RECORD. */
int32_t lubetrip_record_number(const uint8_t record[LUBETRIP_RECORD_SIZE], const int32_t settings[LT_SET_SIZE]);

/* Set the state at power-up from the newer good record and return its number;
   with none the state is locked out and LUBETRIP_NO_RECORD is returned. Give
   bytes of zero for a record that could not be read. */
int32_t lubetrip_recall(int32_t state[LT_ST_SIZE], const int32_t settings[LT_SET_SIZE],
                        const uint8_t first[LUBETRIP_RECORD_SIZE], const uint8_t second[LUBETRIP_RECORD_SIZE]);

/* The number of the record to write after that one, and after LUBETRIP_NO_RECORD. */
int32_t lubetrip_next_number(int32_t number);

#ifdef __cplusplus
}
#endif

#endif
