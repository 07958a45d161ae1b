/* SPDX-License-Identifier: MIT
   Written by `python -m firmware_ref.generate`: the logic of this port, for tables of settings
   that were exported for it, and for the display or the service port. */
#ifndef LUBETRIP_LOGIC_H
#define LUBETRIP_LOGIC_H

/* Which places the settings have, and in which units. */
#define LUBETRIP_LAYOUT 0x8089cd42U

/* SHA-256 of the reference, its first 64 bits for the preprocessor. */
#define LUBETRIP_LOGIC 0x6db204d9c9f85cccU
#define LUBETRIP_LOGIC_DIGEST "6db204d9c9f85cccf475a63efde3cb27dd4bb70f406aca4756ed84aae2d3c32f"

#define LUBETRIP_VERSION "0.1.0"

#endif
