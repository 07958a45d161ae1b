/* SPDX-License-Identifier: MIT
   Written by `python -m firmware_ref.generate`: the logic of this port, for tables of settings
   that were exported for it, and for the display or the service port. */
#ifndef LUBETRIP_LOGIC_H
#define LUBETRIP_LOGIC_H

/* Which places the settings have, and in which units. */
#define LUBETRIP_LAYOUT 0x8089cd42U

/* SHA-256 of the reference, its first 64 bits for the preprocessor. */
#define LUBETRIP_LOGIC 0x9c7769f2abf4c5e9U
#define LUBETRIP_LOGIC_DIGEST "9c7769f2abf4c5e9b3025083d68c94b4a3bdbe80b2b7ab7f5af9599da3d3b55e"

#define LUBETRIP_VERSION "0.1.0"

#endif
