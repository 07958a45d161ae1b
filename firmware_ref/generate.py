"""Write the part of the C port that is data: `python -m firmware_ref.generate`.

Names, places, bits, ranges and the cause-and-effect table come out of `protect`
in its own order, so an addition there needs no change here. With --check
nothing is written; exit status 1 says that the checked-in file is not current.
"""

import sys
from collections.abc import Iterable
from pathlib import Path
from types import ModuleType

from protect import conditions, outputs, ranges, settings, signals, state, table

TARGET = Path(__file__).parent / "c" / "lubetrip_generated.h"

HEAD = """\
/* Written by `python -m firmware_ref.generate` from the reference in protect/.
   Do not edit: change the reference and run the generator again. */
#ifndef LUBETRIP_GENERATED_H
#define LUBETRIP_GENERATED_H

#include <stdint.h>
"""

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


def _between(module: ModuleType, first: str, end: str) -> dict[str, int]:
    """Return {name: value} of what a module defines from `first` up to and without `end`, in its own order."""
    names = list(vars(module))
    return {name: getattr(module, name) for name in names[names.index(first) : names.index(end)]}


def _places(module: ModuleType, first: str, size: str) -> dict[str, int]:
    return {**_between(module, first, size), "SIZE": getattr(module, size)}


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
    bits = _between(conditions, "RUNNING", "NAMES")
    states = {value: name for name, value in _between(state, "STOPPED", "NO_CAUSE").items()}
    effects = {value: name for name, value in _between(table, "NONE", "TABLE").items()}

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
        **_places(ranges, "SLOPE", "SETTINGS_SIZE"),
    }
    doubts = {**_between(signals, "OIL_MISSING", "DOUBTS"), "ANY": signals.DOUBTS}
    states = "States; everything from LT_TRIPPED on has no run permission."
    parts = [
        HEAD,
        _constants(),
        _enum("Places of the settings; from LT_SET_SLOPE on they are derived.", "LT_SET_", settings_places),
        _enum("Places of the inputs.", "LT_IN_", _places(ranges, "ELAPSED", "INPUTS_SIZE")),
        _enum("Places of the state.", "LT_ST_", _places(state, "STATE", "STATE_SIZE")),
        _enum("Places of the outputs.", "LT_OUT_", _places(outputs, "RUN_PERMISSION", "OUTPUTS_SIZE")),
        _enum(states, "LT_", _between(state, "STOPPED", "NO_CAUSE")),
        _enum(
            "Reason codes of a stop: the bits under LT_CAUSE_CODE; above them the doubts of a sensor stop.",
            "LT_",
            _between(state, "NO_CAUSE", "CAUSE_CODE"),
        ),
        _enum("Effects of a row of the table.", "LT_EFFECT_", _between(table, "NONE", "TABLE")),
        _bits("Bits of the state's flags.", "LT_FLAG_", _between(state, "FRESH", "RESETS_SHIFT")),
        _bits("Condition bits.", "LT_BIT_", _between(conditions, "RUNNING", "NAMES")),
        _bits("Doubts, above the condition bits: which channel and why.", "LT_DOUBT_", doubts),
        _ranges(),
        _relations(),
        _table(),
        "#endif\n",
    ]
    return "\n".join(parts)


def main(arguments: list[str]) -> int:
    """Write the header, or with --check compare it; return the exit status."""
    if arguments not in ([], ["--check"]):
        print("usage: python -m firmware_ref.generate [--check]", file=sys.stderr)
        return 2
    text = generated()
    if arguments:
        current = TARGET.exists() and TARGET.read_text(encoding="utf-8") == text
        print(f"{TARGET.name}: {'current' if current else 'NOT current, run python -m firmware_ref.generate'}")
        return 0 if current else 1
    TARGET.write_text(text, encoding="utf-8")
    print(f"{TARGET.name}: {len(text.splitlines())} lines")
    return 0


if __name__ == "__main__":
    raise SystemExit(main(sys.argv[1:]))
