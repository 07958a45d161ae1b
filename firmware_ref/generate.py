"""Write what follows from the reference: `python -m firmware_ref.generate`.

Names, places, bits, ranges and the cause-and-effect table of the C port come out of
`protect` in its own order, so an addition there needs no change here; digest and layout,
by which exported settings are held against the logic they were made for, stand in files
of their own, since every comment in `protect` changes the digest. The Structured Text
is `protect` itself in that language. With --check
nothing is written; exit status 1 says that a checked-in file is not current.
"""

import sys
from collections.abc import Iterable
from pathlib import Path

from firmware_ref.digest import layout, logic_digest
from firmware_ref.names import between, places
from firmware_ref.release import licence, version
from firmware_ref.st_text import structured_text
from protect import conditions, outputs, ranges, settings, signals, state, table

TARGET = Path(__file__).parent / "c" / "lubetrip_generated.h"
LOGIC_HEADER = TARGET.with_name("lubetrip_logic.h")
BOARD_LOGIC = Path(__file__).parent / "micropython" / "logic.py"
STRUCTURED_TEXT = Path(__file__).parent / "st" / "lubetrip.st"

HEAD = """\
/* Written by `python -m firmware_ref.generate` from the reference in protect/.
   Do not edit: change the reference and run the generator again. */
#ifndef LUBETRIP_GENERATED_H
#define LUBETRIP_GENERATED_H

#include <stdint.h>
"""

LOGIC_HEAD = """\
/* SPDX-License-Identifier: {licence}
   Written by `python -m firmware_ref.generate`: the logic of this port, for tables of settings
   that were exported for it, and for the display or the service port. */
#ifndef LUBETRIP_LOGIC_H
#define LUBETRIP_LOGIC_H

/* Which places the settings have, and in which units. */
#define LUBETRIP_LAYOUT 0x{layout}U

/* SHA-256 of the reference, its first 64 bits for the preprocessor. */
#define LUBETRIP_LOGIC 0x{start}U
#define LUBETRIP_LOGIC_DIGEST "{digest}"

#define LUBETRIP_VERSION "{version}"

#endif
"""

BOARD_HEAD = '''\
"""Written by `python -m firmware_ref.generate`: the logic on this board, and settings held against it."""

LAYOUT = "{layout}"  # which places the settings have, and in which units
DIGEST = "{digest}"  # SHA-256 of the reference


def refuse_others(layout: str, digest: str) -> None:
    """Raise ValueError for settings that were exported for another layout or another logic."""
    if layout != LAYOUT:
        raise ValueError("settings exported for another layout of the settings: export them again")
    if digest != DIGEST:
        raise ValueError("settings exported for another logic: export them again")
'''

# One row of the table: 8 bytes, so an index is a shift on a small core.
ROW_TYPE = """\
/* A row applies when the machine is in `state` and (conditions & mask) == value. */
typedef struct {
    uint16_t mask;
    uint16_t value;
    uint8_t state;
    uint8_t next_state;
    uint8_t effect;
} lubetrip_row;
"""


def _enum(title: str, prefix: str, values: dict[str, int]) -> str:
    rows = ",\n".join(f"    {prefix}{name} = {value}" for name, value in values.items())
    return f"/* {title} */\nenum {{\n{rows}\n}};\n"


def _bits(title: str, prefix: str, bits: dict[str, int]) -> str:
    rows = "".join(f"#define {prefix}{name} {value}U\n" for name, value in bits.items())
    return f"/* {title} */\n{rows}"


def _constants() -> str:
    found = [
        ("LT_ONE", ranges.ONE, "weight 1 in fixed point"),
        ("LT_NO_READING", ranges.NO_READING, "a pressure that was not read, Pa"),
        ("LT_ELAPSED_MOST", ranges.ELAPSED_MOST, "longest elapsed time that says anything more, ms"),
        ("LT_REST_OFF", ranges.REST_OFF, "a rest_most that finds nothing: no standstill zero, Pa"),
        ("LT_ELAPSED_ADMITTED", ranges.INPUTS[ranges.ELAPSED][3], "largest admitted elapsed time, ms"),
    ]
    rows = "".join(f"#define {name} INT32_C({value}) /* {why} */\n" for name, value, why in found)
    for name, value in (
        ("LT_WEIGHT_BITS", ranges.WEIGHT_BITS),
        ("LT_SLOPE_BITS", settings.SLOPE_BITS),
        ("LT_PERCENT_BITS", settings.PERCENT_BITS),
        ("LT_MOST_MOVES", table.MOST_MOVES),
        ("LT_RESETS_SHIFT", state.RESETS_SHIFT),
        ("LT_CAUSE_CODE", state.CAUSE_CODE),
    ):
        rows += f"#define {name} {value}\n"
    return rows


def _initialiser(name: str, rows: Iterable[str]) -> str:
    body = ", \\\n".join(f"    {row}" for row in rows)
    return f"#define {name} \\\n{{ \\\n{body} \\\n}}\n"


def _ranges() -> str:
    rows = [
        f"{{INT32_C({least}), INT32_C({most})}} /* {name}, {unit} */" for name, unit, least, most in ranges.SETTINGS
    ]
    text = "/* Least and most admitted value of each setting, in the order of the places. */\n"
    return text + _initialiser("LUBETRIP_SETTING_RANGES", rows)


def _relations() -> str:
    setting = [row[0].upper() for row in ranges.SETTINGS]
    rows = [f"{{LT_SET_{setting[low]}, LT_SET_{setting[high]}, {gap}}}" for low, high, gap in settings.RELATIONS]
    text = f"/* settings[lower] + gap <= settings[higher] */\n#define LUBETRIP_RELATION_COUNT {len(rows)}\n"
    return text + _initialiser("LUBETRIP_RELATIONS", rows)


def _table() -> str:
    bits = between(conditions, "RUNNING", "NAMES")
    states = {value: name for name, value in between(state, "STOPPED", "NO_CAUSE").items()}
    effects = {value: name for name, value in between(table, "NONE", "TABLE").items()}

    def spelled(value: int) -> str:
        return " | ".join(f"LT_BIT_{name}" for name, bit in bits.items() if value & bit) or "0U"

    rows = [
        f"{{{spelled(mask)}, {spelled(value)}, LT_{states[now]}, LT_{states[then]}, LT_EFFECT_{effects[effect]}}}"
        for now, mask, value, then, effect in table.TABLE
    ]
    text = f"{ROW_TYPE}\n#define LUBETRIP_ROW_COUNT {len(rows)}\n"
    return text + _initialiser("LUBETRIP_TABLE", rows)


def generated() -> str:
    """Return the text of the generated header."""
    settings_places = {
        **{row[0].upper(): place for place, row in enumerate(ranges.SETTINGS)},
        "COUNT": ranges.SETTING_COUNT,
        **places(ranges, "SLOPE", "SETTINGS_SIZE"),
    }
    doubts = {**between(signals, "OIL_MISSING", "DOUBTS"), "ANY": signals.DOUBTS}
    states = "States; everything from LT_TRIPPED on has no run permission."
    parts = [
        HEAD,
        _constants(),
        _enum("Places of the settings; from LT_SET_SLOPE on they are derived.", "LT_SET_", settings_places),
        _enum("Places of the inputs.", "LT_IN_", places(ranges, "ELAPSED", "INPUTS_SIZE")),
        _enum("Places of the state.", "LT_ST_", places(state, "STATE", "STATE_SIZE")),
        _enum("Places of the outputs.", "LT_OUT_", places(outputs, "RUN_PERMISSION", "OUTPUTS_SIZE")),
        _enum(states, "LT_", between(state, "STOPPED", "NO_CAUSE")),
        _enum(
            "Reason codes of a stop: the bits under LT_CAUSE_CODE; above them the doubts of a sensor stop.",
            "LT_",
            between(state, "NO_CAUSE", "CAUSE_CODE"),
        ),
        _enum("Effects of a row of the table.", "LT_EFFECT_", between(table, "NONE", "TABLE")),
        _bits("Bits of the state's flags.", "LT_FLAG_", between(state, "FRESH", "RESETS_SHIFT")),
        _bits("Condition bits.", "LT_BIT_", between(conditions, "RUNNING", "NAMES")),
        _bits("Doubts, above the condition bits: which channel and why.", "LT_DOUBT_", doubts),
        _ranges(),
        _relations(),
        _table(),
        "#endif\n",
    ]
    return "\n".join(parts)


def logic_header() -> str:
    """Return the text of the header that names logic and layout."""
    digest = logic_digest()
    return LOGIC_HEAD.format(licence=licence(), layout=layout(), start=digest[:16], digest=digest, version=version())


def board_logic() -> str:
    """Return the text of the module that names them on a MicroPython board."""
    return BOARD_HEAD.format(layout=layout(), digest=logic_digest())


def made() -> dict[Path, str]:
    """Return every file that is written, with its text."""
    headers = {TARGET: generated(), LOGIC_HEADER: logic_header()}
    return headers | {BOARD_LOGIC: board_logic(), STRUCTURED_TEXT: structured_text()}


def is_current(path: Path, text: str) -> bool:
    """Tell whether a file holds this text."""
    return path.exists() and path.read_text(encoding="utf-8") == text


def main(arguments: list[str]) -> int:
    """Write the files, or with --check compare them; return the exit status."""
    if arguments not in ([], ["--check"]):
        print("usage: python -m firmware_ref.generate [--check]", file=sys.stderr)
        return 2
    stale = [path for path, text in made().items() if not is_current(path, text)]
    if not arguments:
        for path in stale:
            path.write_text(made()[path], encoding="utf-8")
    for path, text in made().items():
        current = "current" if path not in stale else "NOT current, run python -m firmware_ref.generate"
        print(f"{path.name}: {current if arguments else f'{len(text.splitlines())} lines'}")
    return 1 if arguments and stale else 0


if __name__ == "__main__":
    raise SystemExit(main(sys.argv[1:]))
