"""The vectors find wrong ports in C: words that are too narrow, floats, roundings and more, each compiled and run."""

import re
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.gates.port import C_FOLDER, build_driver, planted, run, vector_input

pytestmark = pytest.mark.slow("compiles a wrong port for each place")

WORD = re.compile(r"\bint32_t (\w+)(?=[ ,;)])")
# Words for which 16 bits are enough, as often as they stand there, and why.
ENOUGH = {
    "fixed": "of which the lowest 11 bits are taken",
    "loss": "a recovery weight, 16384 at most",
    "running": "a truth value, in two functions",
    "whole": "a percentage",
}
WRONG = {
    "product of the ramp in a float": (
        "((depth * settings[LT_SET_SLOPE]) + (INT32_C(1) << (LT_SLOPE_BITS - 1)))",
        "((int32_t)((float)depth * (float)settings[LT_SET_SLOPE]) + (INT32_C(1) << (LT_SLOPE_BITS - 1)))",
    ),
    "ramp rounded down": ("(INT32_C(1) << (LT_SLOPE_BITS - 1))", "0"),
    "ramp with its half rounded down": (
        "(INT32_C(1) << (LT_SLOPE_BITS - 1))",
        "((INT32_C(1) << (LT_SLOPE_BITS - 1)) - 1)",
    ),
    "vacuum weight with its half rounded down": ("(LT_ONE >> 1)", "((LT_ONE >> 1) - 1)"),
    "vacuum weight in 16 bits": (
        "(gain * settings[LT_SET_VACUUM_WEIGHT])",
        "(gain * (int16_t)(settings[LT_SET_VACUUM_WEIGHT] << 2) / 4)",
    ),
    "depth in 16 bits": ("int32_t depth = ", "uint16_t depth = (uint16_t)"),
    "integral in 16 bits": (
        "    int32_t whole = state[LT_ST_INTEGRAL];",
        "    int32_t whole = (uint16_t)state[LT_ST_INTEGRAL];",
    ),
    "fraction of the integral in a float": (
        "        fraction += fraction_part(gain) * elapsed;",
        "        fraction = (int32_t)((float)fraction + ((float)fraction_part(gain) * (float)elapsed));",
    ),
    "trip memory in 29 bits": ("state[place] -= elapsed;", "state[place] = (state[place] & 0x1FFFFFFF) - elapsed;"),
    "trips in 5 bits": ("state[LT_ST_TRIPS] += 1;", "state[LT_ST_TRIPS] = (state[LT_ST_TRIPS] + 1) & 31;"),
    "trips in 6 bits": ("state[LT_ST_TRIPS] += 1;", "state[LT_ST_TRIPS] = (state[LT_ST_TRIPS] + 1) & 63;"),
    "resets in 2 bits": (
        "state[LT_ST_FLAGS] += (int32_t)LT_FLAG_ONE_RESET;",
        "state[LT_ST_FLAGS] = (state[LT_ST_FLAGS] + (int32_t)LT_FLAG_ONE_RESET) & ~128;",
    ),
    "stuck age wraps at 26 bits": ("unmoved += elapsed;", "unmoved = (unmoved + elapsed) & 0x3FFFFFF;"),
    "stuck age held at 24 bits": (
        "unmoved += elapsed;",
        "unmoved += elapsed;\n            if (unmoved > 0xFFFFFF) {\n                unmoved = 0xFFFFFF;\n            }",
    ),
    "no reading taken as a move": (
        "    if (reading != LT_NO_READING) {\n        int32_t unmoved = 0;",
        "    if (elapsed >= 0) {\n        int32_t unmoved = 0;",
    ),
    "the stuck check begins anew after a missing reading": (
        "        state[seen + 1] = unmoved;\n    }\n    return part;",
        "        state[seen + 1] = unmoved;\n    } else {\n        state[seen + 1] = 0;\n    }\n    return part;",
    ),
    "a missing reading ages": (
        "        state[seen + 1] = unmoved;\n    }\n    return part;",
        "        state[seen + 1] = unmoved;\n    } else if ((running != 0) && (elapsed <= (stuck_after - state[seen + 1]))) {\n"
        "        state[seen + 1] += elapsed;\n    } else {\n    }\n    return part;",
    ),
    "rest_settle of 0 taken as off": (
        "    if (left < 0) {\n        left = 0;",
        "    if ((left < 0) || (settings[LT_SET_REST_SETTLE] == 0)) {\n        left = (settings[LT_SET_REST_SETTLE] == 0) ? 86400000 : 0;",
    ),
    "a reading of 0 taken for none": (
        "    int32_t stuck_after = settings[LT_SET_STUCK_AFTER];\n    int32_t rest_most",
        "    int32_t stuck_after = settings[LT_SET_STUCK_AFTER] + (inputs[LT_IN_OIL_PRESSURE] == 0);\n    int32_t rest_most",
    ),
    "readings wrap in 30 bits": (
        "        state[seen] = reading;",
        "        state[seen] = (int32_t)((uint32_t)reading & 0x3FFFFFFFU);",
    ),
    "readings wrap in 31 bits": (
        "        state[seen] = reading;",
        "        state[seen] = (int32_t)((((uint32_t)reading + 0x40000000U) & 0x7FFFFFFFU)) - 0x40000000;",
    ),
    "readings held in 31 bits": (
        "        state[seen] = reading;",
        "        state[seen] = (reading > 0x3FFFFFFF) ? 0x3FFFFFFF : ((reading < -0x40000000) ? -0x40000000 : reading);",
    ),
    "ranges looked at in 30 bits": (
        "    return (least <= reading) && (reading <= most);",
        "    reading = (int32_t)(((uint32_t)reading + 0x20000000U) & 0x3FFFFFFFU) - 0x20000000;\n"
        "    return (least <= reading) && (reading <= most);",
    ),
    "ranges looked at in 31 bits": (
        "    return (least <= reading) && (reading <= most);",
        "    reading = (int32_t)(((uint32_t)reading + 0x40000000U) & 0x7FFFFFFFU) - 0x40000000;\n"
        "    return (least <= reading) && (reading <= most);",
    ),
    "percent as floats": (
        "(state[LT_ST_INTEGRAL] * settings[LT_SET_PERCENT_SCALE]) >> LT_PERCENT_BITS",
        "(int32_t)((float)state[LT_ST_INTEGRAL] * 100.0F / (float)settings[LT_SET_TRIP_DELAY])",
    ),
    "one move too few": ("moves < LT_MOST_MOVES", "moves < (LT_MOST_MOVES - 1)"),
    "late from max_gap on": ("elapsed > LT_ELAPSED_MOST", "elapsed >= LT_ELAPSED_MOST - 1"),
}


def first_difference(source: Path, work: Path) -> int:
    """Return whether a changed port passes the vectors: 0 where it does."""
    work.mkdir(exist_ok=True)
    program = build_driver(work, source, flags=("-O0", "-w"))
    return run([program], vector_input()).returncode


@pytest.mark.parametrize("name", WRONG)
def test_a_wrong_port_is_found(name: str, tmp_path: Path) -> None:
    """Catches vectors in which a wrong width, rounding, float or count has no effect."""
    good, bad = WRONG[name]

    assert first_difference(planted(tmp_path, good, bad), tmp_path / "built") != 0


def narrow_words() -> Iterator[tuple[str, str, str]]:
    """Yield (what, text, text with one word of 16 bits) for each local word and argument of the step."""
    text = (C_FOLDER / "lubetrip.c").read_text()
    step, end = text.index("/* ---- 1. signals"), text.index("/* ---- what lubetrip.h offers")
    for match in WORD.finditer(text, step, end):
        line = text.count("\n", 0, match.start()) + 1
        changed = f"{text[: match.start()]}int16_t {match[1]}{text[match.end() :]}"
        yield f"line {line}: {match[1]}", text, changed


def test_every_word_of_16_bits_is_found(tmp_path: Path) -> None:
    """Catches vectors in which a local or an argument of 16 bits passes: but for those that never hold more."""
    passed, tried = [], 0
    for what, _, changed in narrow_words():
        planted(tmp_path, "int32_t gain;", "int32_t gain;")
        (tmp_path / "lubetrip.c").write_text(changed)
        tried += 1
        if first_difference(tmp_path / "lubetrip.c", tmp_path / "built") == 0:
            passed.append(what.partition(": ")[2])

    assert tried > 30
    assert sorted(passed) == ["fixed", "loss", "running", "running", "whole"]
    assert set(passed) == set(ENOUGH)
