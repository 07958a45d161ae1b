/* Saved records in a ring of slots, so that wear is spread and a power loss while one is written leaves those before it.

   A record a stop, and one every SAVE_MS: at 10 minutes some 53,000 a year, so 3,300 a slot of 16. Memory that is good for
   100,000 writes (assumed; see the data sheet) lasts 30 years so. */
#ifndef STORE_H
#define STORE_H

#include <stdint.h>

#define STORE_SLOTS 16 /* a power of two, so that the numbers of records wrap with it */

/* Set the state at power-up from the newest good record; return its number, or LUBETRIP_NO_RECORD and a locked-out state. */
int32_t store_recall(int32_t state[], const int32_t settings[]);

/* Write the state as the record after this number; return its number. A slot that does not give back what was written is
   left, and the next one taken; LUBETRIP_NO_RECORD when that one fails too. */
int32_t store_save(int32_t number, const int32_t settings[], const int32_t state[]);

#endif
