/* The C port behind its contracts, for the proof only. */
#include "contracts.h"
#include "lubetrip.c"
