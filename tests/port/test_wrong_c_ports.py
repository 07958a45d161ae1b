"""The vectors find wrong ports in C: words that are too narrow, floats, roundings and more, each compiled and run.

Of the seal and the saved record `lubetrip conform` has to find them, as it is what a firmware team runs.
"""

import re
from collections.abc import Iterator
from pathlib import Path

import pytest

from protect import ranges, seal
from replay.port.conform import conform_port
from tests.gates.port import C_FOLDER, build_driver, planted, run, vector_input
from tests.support.toolchain import build_port, vector_set

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

PLAIN = "        sum += (word & HALF) + (word >> 16);\n"
WEIGHTED = "        sum += (weight * (word & HALF)) + ((weight + 1U) * (word >> 16));\n"
PUT, LOW_FIRST = "(word >> (8 * place))", "for (place = 3; place >= 0; place--) {\n        word ="
SEAL, SAVED = "lubetrip_seal.c", "lubetrip_saved.c"
HIGH_FIRST = LOW_FIRST.replace("place = 3; place >= 0; place--", "place = 0; place < 4; place++")
# file of the port, and what is changed in it, one place after the other
WRONG_MEMORY: dict[str, tuple[str, list[tuple[str, str]]]] = {
    "plain sum in 20 bits": (SEAL, [(PLAIN, f"{PLAIN}        sum &= 0xFFFFFU;\n")]),
    "plain sum in 16 bits": (SEAL, [(PLAIN, f"{PLAIN}        sum &= 0xFFFFU;\n")]),
    "weighted sum in 25 bits": (SEAL, [(WEIGHTED, f"{WEIGHTED}        sum &= 0x1FFFFFFU;\n")]),
    "weighted sum in 24 bits": (SEAL, [(WEIGHTED, f"{WEIGHTED}        sum &= 0xFFFFFFU;\n")]),
    "weighted sum with a remainder": (SEAL, [(WEIGHTED, f"{WEIGHTED}        sum %= 65521U;\n")]),
    "weighted sum in a float": (SEAL, [(WEIGHTED, f"{WEIGHTED}        sum = (uint32_t)(float)sum;\n")]),
    "weights in 5 bits": (SEAL, [("        weight += 2U;", "        weight = (weight + 2U) & 31U;")]),
    "high half first": (SEAL, [(WEIGHTED, WEIGHTED.replace("(word & HALF)", "(word >> 16)", 1))]),
    "record with the highest byte first": (SAVED, [(PUT, "(word >> (8 * (3 - place)))"), (LOW_FIRST, HIGH_FIRST)]),
    "record written with the highest byte first": (SAVED, [(PUT, "(word >> (8 * (3 - place)))")]),
    "record read with the highest byte first": (SAVED, [(LOW_FIRST, HIGH_FIRST)]),
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


@pytest.mark.parametrize("name", WRONG_MEMORY)
def test_a_wrong_seal_or_record_is_found_by_conform(name: str, tmp_path: Path) -> None:
    """Catches questions on seals and records in which sums too narrow, or the order of the bytes, have no effect."""
    file, changes = WRONG_MEMORY[name]
    origin = C_FOLDER
    for number, (good, bad) in enumerate(changes):
        folder = tmp_path / str(number)
        folder.mkdir()
        planted(folder, good, bad, origin, file=file)
        origin = folder

    port = build_port(tmp_path, origin / "lubetrip.c", flags=("-O1", "-w"))
    assert not conform_port(str(port), vectors=vector_set()).identical


def most_of_halves(least: int, most: int, low: int, high: int) -> int:
    """Return the most that the halves of a word within a range come to with these weights."""
    words = {least, most, -1 if least < 0 else 0, max(0, ((most + 1) >> 16 << 16) - 1)}
    return max(low * (w & seal.HALF) + high * (w >> 16 & seal.HALF) for w in words if least <= w <= most)


def test_seals_of_21_and_26_bits_hold_every_sum_there_is() -> None:
    """Catches settings that outgrow it: then seals summed in 21 and 26 bits would be wrong, and the questions had to tell."""
    admitted = [(least, most) for *_, least, most in ranges.SETTINGS]
    for place in (ranges.OIL_MOST, ranges.SUCTION_MOST):  # above cut-in, and above reload: never below 0
        admitted[place] = 0, admitted[place][1]
    steepest = (8 - 1) * ranges.ONE << 16  # over a span of 1 Pa
    admitted += [(0, steepest), (0, (100 << 23) // 1000), (0, 1_800_000)]
    assert len(admitted) == ranges.SETTINGS_SIZE
    plain = weighted = seal.BEGIN
    for place, (least, most) in enumerate(admitted):
        plain += most_of_halves(least, most, 1, 1)
        weighted += most_of_halves(least, most, 2 * place + 1, 2 * place + 2)

    assert 1 << 20 < plain < 1 << 21
    assert 1 << 25 < weighted < 1 << 26


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
