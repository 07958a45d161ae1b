"""Checked settings as a constant table for a target, with the digest of their values.

The table carries the derived places, so the target divides nothing, and reads
back into the very same settings. It names the layout of the settings and the logic that it
was made for: with another one it does not compile, or is refused at start.
"""

import re
from pathlib import Path

from firmware_ref.digest import layout, logic_digest, settings_places
from replay.settings import Settings

C_HEAD = """\
/* Settings of the lubrication protection, exported from {file}.
   Checked by the host; do not edit: change the settings file and export again.
   digest {digest} */
#include "lubetrip.h"
#include "lubetrip_logic.h"

#if LUBETRIP_LAYOUT != 0x{layout}U
#error "settings exported for another layout of the settings: export them again"
#endif
#if LUBETRIP_LOGIC != 0x{start}U
#error "settings exported for another logic: export them again"
#endif

extern const char lubetrip_settings_digest[65];
extern const int32_t lubetrip_settings[LT_SET_SIZE];

const char lubetrip_settings_digest[65] =
    "{digest}";

const int32_t lubetrip_settings[LT_SET_SIZE] = {{
"""
PYTHON_HEAD = '''\
"""Settings of the lubrication protection, exported from {file}.

Checked by the host; do not edit: change the settings file and export again.
"""

DIGEST = "{digest}"
LAYOUT = "{layout}"
LOGIC = "{logic}"
SETTINGS = (
'''


def export_settings(checked: Settings, form: str) -> str:
    """Return checked settings as a constant table with their digest, source text; form: "c" or "micropython"."""
    file = re.sub(r"[^\w. -]", "_", Path(checked.file).name, flags=re.ASCII)
    rows = list(zip(settings_places(), checked.values, strict=True))
    made_for = {"file": file, "digest": checked.digest, "layout": layout(), "logic": logic_digest()}
    if form == "c":
        body = "".join(f"    [LT_SET_{n.upper()}] = INT32_C({value}), /* {unit} */\n" for (n, unit), value in rows)
        return C_HEAD.format(**made_for, start=logic_digest()[:16]) + body + "};\n"
    body = "".join(f"    {value},  # {name}, {unit}\n" for (name, unit), value in rows)
    return PYTHON_HEAD.format(**made_for) + body + ")\n"
