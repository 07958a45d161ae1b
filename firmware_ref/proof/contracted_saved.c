/* The saved record behind its contracts, for the proof only. */
#include "saved_contracts.h"
#include "lubetrip_saved.c"
