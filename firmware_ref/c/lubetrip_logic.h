/* Written by `python -m firmware_ref.generate`: the logic of this port, for tables of settings
   that were exported for it, and for the display or the service port. */
#ifndef LUBETRIP_LOGIC_H
#define LUBETRIP_LOGIC_H

/* Which places the settings have, and in which units. */
#define LUBETRIP_LAYOUT 0x047cda24U

/* SHA-256 of the reference, its first 64 bits for the preprocessor. */
#define LUBETRIP_LOGIC 0x7635e4b75b622890U
#define LUBETRIP_LOGIC_DIGEST "7635e4b75b622890d9341db4f6dddcdf5b180f7fc1e3a13ca2ec9c8d049a1528"

#endif
