/* The seal behind its contracts, for the proof only. */
#include "seal_contracts.h"
#include "lubetrip_seal.c"
