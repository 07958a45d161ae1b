/* SPDX-License-Identifier: MIT
   Written by `python -m firmware_ref.generate`: the logic of this port, for tables of settings
   that were exported for it, and for the display or the service port. */
#ifndef LUBETRIP_LOGIC_H
#define LUBETRIP_LOGIC_H

/* Which places the settings have, and in which units. */
#define LUBETRIP_LAYOUT 0x8089cd42U

/* SHA-256 of the reference, its first 64 bits for the preprocessor. */
#define LUBETRIP_LOGIC 0x33732e7aa3672d16U
#define LUBETRIP_LOGIC_DIGEST "33732e7aa3672d168d1e4eed8e9124458e737a9091f4dd17d187562a2fb0502d"

#define LUBETRIP_VERSION "0.1.0"

#endif
