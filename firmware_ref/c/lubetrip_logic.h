/* SPDX-License-Identifier: MIT
   Written by `python -m firmware_ref.generate`: the logic of this port, for tables of settings
   that were exported for it, and for the display or the service port. */
#ifndef LUBETRIP_LOGIC_H
#define LUBETRIP_LOGIC_H

/* Which places the settings have, and in which units. */
#define LUBETRIP_LAYOUT 0x8089cd42U

/* SHA-256 of the reference, its first 64 bits for the preprocessor. */
#define LUBETRIP_LOGIC 0x7250625de12ab131U
#define LUBETRIP_LOGIC_DIGEST "7250625de12ab131d6914a3bcf7d40b881cdb3affdb2b419bc8a64ee0e9aef95"

#define LUBETRIP_VERSION "0.1.0"

#endif
