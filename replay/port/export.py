"""Checked settings as a constant table for a target, with the digest of their values.

The table carries the derived places, so the target divides nothing, and reads
back into the very same settings.
"""

import re
from pathlib import Path

from protect import ranges, settings
from replay.ground.refusal import refusal
from replay.settings import Settings

FORMS = ("c", "micropython")
DERIVED = ("slope", "percent_scale", "reload_level")

C_HEAD = """\
/* Settings of the lubrication protection, exported from {file}.
   Checked by the host; do not edit: change the settings file and export again.
   digest {digest} */
#include "lubetrip.h"

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
SETTINGS = (
'''


def export_settings(checked: Settings, form: str) -> str:
    """Return checked settings as a constant table with their digest, source text; form: "c" or "micropython"."""
    file = re.sub(r"[^\w. -]", "_", Path(checked.file).name, flags=re.ASCII)
    names = [*((row[0], row[1]) for row in ranges.SETTINGS), *((name, "derived") for name in DERIVED)]
    rows = list(zip(names, checked.values, strict=True))
    if form == "c":
        # The place is written out, so a table for another version of the header does not compile.
        body = "".join(f"    [LT_SET_{n.upper()}] = INT32_C({value}), /* {unit} */\n" for (n, unit), value in rows)
        return C_HEAD.format(file=file, digest=checked.digest) + body + "};\n"
    body = "".join(f"    {value},  # {name}, {unit}\n" for (name, unit), value in rows)
    return PYTHON_HEAD.format(file=file, digest=checked.digest) + body + ")\n"


def read_exported(path: Path) -> tuple[tuple[int, ...], str]:
    """Read a table back: (settings[25], digest). Raises Refusal for one that is not whole and admitted."""
    try:
        text = path.read_text(encoding="ascii")
    except (OSError, UnicodeDecodeError):
        raise refusal(path, "", "this table cannot be read", "a file written by export") from None
    numbers = re.findall(r"INT32_C\((-?\d{1,10})\)", text) or re.findall(r"^    (-?\d{1,10}),", text, re.MULTILINE)
    digest = re.search(r'"([0-9a-f]{64})"', text)
    if len(numbers) != ranges.SETTINGS_SIZE or digest is None:
        raise refusal(path, "", f"{len(numbers)} values", f"{ranges.SETTINGS_SIZE} values and a digest")
    values = [int(number) for number in numbers]
    again = list(values)
    if settings.first_fault(again) != settings.ALL_RIGHT:
        raise refusal(path, "", "values outside what is admitted", "a table written by export")
    settings.derive(again)
    if again != values or Settings(str(path), tuple(values), 0.0, None).digest != digest[1]:  # type: ignore[arg-type]
        raise refusal(path, "", "the digest does not fit the values", "a table that was not edited")
    return tuple(values), digest[1]
