/* SPDX-License-Identifier: MIT
   Written by `python -m firmware_ref.generate`: the logic of this port, for tables of settings
   that were exported for it, and for the display or the service port. */
#ifndef LUBETRIP_LOGIC_H
#define LUBETRIP_LOGIC_H

/* Which places the settings have, and in which units. */
#define LUBETRIP_LAYOUT 0x8089cd42U

/* SHA-256 of the reference, its first 64 bits for the preprocessor. */
#define LUBETRIP_LOGIC 0xc40b2318b5bcc254U
#define LUBETRIP_LOGIC_DIGEST "c40b2318b5bcc254d7196934f1d18f357163dabe64267c61cf78c54e918c385e"

#define LUBETRIP_VERSION "0.1.0"

#endif
