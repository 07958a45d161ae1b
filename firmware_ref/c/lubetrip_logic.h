/* SPDX-License-Identifier: MIT
   Written by `python -m firmware_ref.generate`: the logic of this port, for tables of settings
   that were exported for it, and for the display or the service port. */
#ifndef LUBETRIP_LOGIC_H
#define LUBETRIP_LOGIC_H

/* Which places the settings have, and in which units. */
#define LUBETRIP_LAYOUT 0x8089cd42U

/* SHA-256 of the reference, its first 64 bits for the preprocessor. */
#define LUBETRIP_LOGIC 0x1b37f5b3e3df8948U
#define LUBETRIP_LOGIC_DIGEST "1b37f5b3e3df8948f85d10509d896d7cf98c6e376797f5f1c751592214e1ef8d"

#define LUBETRIP_VERSION "0.1.0"

#endif
