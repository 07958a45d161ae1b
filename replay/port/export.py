"""Checked settings as a constant table for a target, with the digest of their values.

The table carries the derived places, so the target divides nothing, and reads
back into the very same settings. It names the layout of the settings and the logic that it
was made for: with another one it does not compile, or is refused at start. The JSON form,
for a language that has no form of its own, names everything a port needs beside it.

How to add a form: its name in FORMS, a function here, and its reader in tests/support/exported.py.
"""

import json
import re
from pathlib import Path

from firmware_ref.digest import layout, logic_digest, settings_places
from firmware_ref.names import described
from firmware_ref.release import licence, version
from protect import ranges
from replay.settings import Settings

FORMS = ("c", "micropython", "st", "json")
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
ST_HEAD = """\
(* Settings of the lubrication protection, exported from {file}.
   Checked by the host; do not edit: change the settings file and export again.
   digest "{digest}" *)

(* The first eight digits of the digest, for the display. *)
FUNCTION LT_site_digest : DWORD
    LT_site_digest := DWORD#16#{short};
END_FUNCTION

(* Fill the settings; FALSE, and nothing filled, for another layout of the settings or another logic. *)
FUNCTION LT_site_settings : BOOL
VAR_INPUT
    layout : DWORD;
    logic : DWORD;
END_VAR
VAR_IN_OUT
    settings : ARRAY[0..{last}] OF DINT;
END_VAR
    IF (layout <> DWORD#16#{layout}) OR (logic <> DWORD#16#{start}) THEN
        LT_site_settings := FALSE;
        RETURN;
    END_IF;
"""
ST_TAIL = """\
    LT_site_settings := TRUE;
END_FUNCTION
"""


def export_settings(checked: Settings, form: str) -> str:
    """Return checked settings as a constant table with their digest, as source text or JSON; form: one of FORMS.

    Raises ValueError for another form.
    """
    if form not in FORMS:
        raise ValueError(f"{form!r} is not one of {', '.join(FORMS)}")
    file = re.sub(r"[^\w. -]", "_", Path(checked.file).name, flags=re.ASCII)
    rows = list(zip(settings_places(), checked.values, strict=True))
    made_for = {"file": file, "digest": checked.digest, "layout": layout(), "logic": logic_digest()}
    if form == "c":
        body = "".join(f"    [LT_SET_{n.upper()}] = INT32_C({value}), /* {unit} */\n" for (n, unit), value in rows)
        return C_HEAD.format(**made_for, start=logic_digest()[:16]) + body + "};\n"
    if form == "micropython":
        body = "".join(f"    {value},  # {name}, {unit}\n" for (name, unit), value in rows)
        return PYTHON_HEAD.format(**made_for) + body + ")\n"
    if form == "st":
        digits = {"layout": layout().upper(), "start": logic_digest()[:8].upper(), "short": checked.digest[:8].upper()}
        body = "".join(f"    settings[{n}] := {row[1]}; (* {', '.join(row[0])} *)\n" for n, row in enumerate(rows))
        return ST_HEAD.format(file=file, digest=checked.digest, last=len(rows) - 1, **digits) + body + ST_TAIL
    return json.dumps(_neutral(checked, made_for), indent=1) + "\n"


def _neutral(checked: Settings, made_for: dict[str, str]) -> dict[str, object]:
    """Return settings, ranges, names and rows as JSON takes them; the settings in the order of their places."""
    limits = {name: {"least": least, "most": most} for name, _, least, most in ranges.SETTINGS}
    settings = [
        {"name": name, "unit": unit, "value": value, **limits.get(name, {})}
        for (name, unit), value in zip(settings_places(), checked.values, strict=True)
    ]
    return {
        "format": "lubetrip-port 1",
        "license": licence(),
        "version": version(),
        **made_for,
        "settings": settings,
        **described(),
    }
