"""The C port: built by every compiler without a warning, small, and the same logic in every word."""

import re
import subprocess
import sys
from pathlib import Path

import pytest

from firmware_ref import generate
from protect import table
from tests.support.toolchain import (
    C_FOLDER,
    C_SOURCE,
    ROOT,
    WARNINGS,
    build_port,
    compiled,
    first_difference,
    need,
    vector_set,
)

PORT = ("lubetrip.c", "lubetrip_saved.c", "lubetrip_seal.c")

pytestmark = pytest.mark.slow("runs a compiler, an emulator, another Python or a browser for each case")

TARGETS = {
    "gcc": ("gcc",),
    "clang": ("clang",),
    "Cortex-M0": ("arm-none-eabi-gcc", "-mcpu=cortex-m0", "-mthumb"),
    "AVR": ("avr-gcc", "-mmcu=atmega328p"),
    "Cortex-M3": ("arm-none-eabi-gcc", "-mcpu=cortex-m3", "-mthumb"),
}


def without_comments(text: str) -> str:
    """Return C source without its comments."""
    return re.sub(r"/\*.*?\*/", "", text, flags=re.DOTALL)


def functions() -> dict[str, str]:
    """Return name -> body of the functions of the port, in the order of the source."""
    found = re.findall(r"^[\w ]+?\**(\w+)\([^;{]*\)\n\{\n(.*?)^\}", C_SOURCE.read_text(), re.DOTALL | re.MULTILINE)
    return {name: without_comments(body) for name, body in found}


@pytest.mark.parametrize(("path", "text"), generate.made().items(), ids=lambda value: getattr(value, "name", ""))
def test_the_generated_files_are_current(path: Path, text: str) -> None:
    """Catches a row, a range or a place changed in `protect` while a port stays behind, or a digest that does."""
    assert path.read_text() == text


def test_a_changed_row_changes_the_header(monkeypatch: pytest.MonkeyPatch) -> None:
    """Catches a generator that has the table copied into it."""
    before = generate.generated()
    monkeypatch.setattr(table, "TABLE", table.TABLE[::-1])

    assert generate.generated() != before


def test_check_tells_a_header_that_is_not_current(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Catches a --check that always says yes, and one that mends what it should only judge."""
    stale = tmp_path / "stale.h"
    stale.write_text("old\n")
    monkeypatch.setattr(generate, "TARGET", stale)

    assert generate.main(["--check"]) == 1
    assert stale.read_text() == "old\n"
    assert generate.main([]) == 0
    assert generate.main(["--check"]) == 0


@pytest.mark.outside(
    computation="C port: the language",
    source="C99 by gcc, clang and arm-none-eabi-gcc, `-std=c99 -pedantic -Werror`",
    status="consulted",
    agreement="no warning",
)
@pytest.mark.parametrize("target", TARGETS)
@pytest.mark.parametrize("level", ["-O0", "-Os", "-O2"])
@pytest.mark.parametrize("file", PORT)
def test_builds_without_a_warning(target: str, level: str, file: str, tmp_path: Path) -> None:
    """Catches a narrowing, a sign slip, an extension or a shift out of a small int that one of the compilers lets pass."""
    tool, *flags = TARGETS[target]
    said = compiled(tool, *WARNINGS, *flags, level, "-c", C_FOLDER / file, "-o", tmp_path / "port.o")

    assert (said.returncode, said.stderr) == (0, "")


@pytest.mark.parametrize("target", TARGETS)
def test_a_narrowing_fails_the_build(target: str, tmp_path: Path) -> None:
    """Catches a build whose warnings were turned off: with one conversion planted it has to fail."""
    planted = tmp_path / "lubetrip.c"
    good = "int32_t net = 0;"
    assert C_SOURCE.read_text().count(good) == 1
    planted.write_text(C_SOURCE.read_text().replace(good, "int16_t net = settings[0];"))
    tool, *flags = TARGETS[target]
    said = compiled(tool, *WARNINGS, *flags, f"-I{C_FOLDER}", "-c", planted, "-o", tmp_path / "lubetrip.o")

    assert said.returncode != 0
    assert "conversion" in said.stderr


@pytest.mark.parametrize("core", ["cortex-m0", "cortex-m3"])
@pytest.mark.parametrize("level", ["-Os", "-O2", "-O3"])
def test_calls_nothing_from_a_library_in_a_step(core: str, level: str, tmp_path: Path) -> None:
    """Catches a loop that a compiler turns into memset, and a division helper beside the derivation's."""
    built = tmp_path / "lubetrip.o"
    said = compiled("arm-none-eabi-gcc", "-std=c99", level, f"-mcpu={core}", "-mthumb", "-c", C_SOURCE, "-o", built)
    assert said.returncode == 0, said.stderr
    wanted = subprocess.run([need("arm-none-eabi-nm"), "-u", built], capture_output=True, text=True, check=True).stdout

    assert set(wanted.split()) - {"U"} <= {"__aeabi_uidiv"}


def test_divides_only_in_the_derivation() -> None:
    """Catches a division or a modulo in the step, which a Cortex-M0 has no instruction for."""
    dividing = {name for name, body in functions().items() if re.search(r"[/%]", body)}

    assert dividing == {"lubetrip_derive"}


def test_calls_only_what_stands_above() -> None:
    """Catches recursion: a function that calls nothing defined later, nor itself, cannot come back."""
    bodies = functions()
    assert "lubetrip_step" in bodies
    for number, body in enumerate(bodies.values()):
        later = set(list(bodies)[number:])
        assert not later & set(re.findall(r"\w+(?=\()", body))


def test_includes_only_stdint() -> None:
    """Catches a port that needs a C library, floating point or the heap."""
    text = "".join(
        without_comments((C_FOLDER / name).read_text()) for name in ("lubetrip.c", "lubetrip.h", "lubetrip_generated.h")
    )

    assert set(re.findall(r"#include <(.*?)>", text)) == {"stdint.h"}
    assert not re.search(r"\b(float|double|malloc|free|long)\b", text)


@pytest.mark.parametrize("tool", ["gcc", "clang"])
@pytest.mark.parametrize("level", ["-O0", "-O3"])
def test_decides_as_the_reference_in_every_word(tool: str, level: str, tmp_path: Path) -> None:
    """Catches any difference in state or outputs over the vectors, whatever the optimiser does."""
    port = build_port(tmp_path, tool=tool, flags=(level,))

    assert first_difference(port, vector_set()) is None


def test_has_no_undefined_behaviour_over_the_vectors(tmp_path: Path) -> None:
    """Catches a signed overflow, a shift of a negative value or a read past an array that happens to come out right."""
    flags = ("-O1", "-fsanitize=undefined,address", "-fno-sanitize-recover=all")

    assert first_difference(build_port(tmp_path, flags=flags), vector_set()) is None


# One-line changes that a porter might make: (file, line as it stands, as it is planted).
FAULTS = [
    ("lubetrip.c", "elapsed > LT_ELAPSED_MOST)", "elapsed > LT_ELAPSED_ADMITTED)"),
    ("lubetrip.c", "(elapsed < 0) || ", ""),
    ("lubetrip.c", "if (reading == state[seen]) {", "if (reading != state[seen]) {"),
    ("lubetrip.c", "int oil_stuck = state[LT_ST_OIL_SEEN + 1] == stuck_after;", "int oil_stuck = 0;"),
    ("lubetrip.c", "(running == 0) && (part >= 0)", "(running == 0) && (part > 0)"),
    ("lubetrip.c", "within(net, -rest_most, rest_most)", "within(net, -rest_most, rest_most - 1)"),
    ("lubetrip.c", "within(net, -rest_most, rest_most)", "(net <= rest_most)"),
    (
        "lubetrip.c",
        "    if (left < 0) {\n        left = 0;\n    }\n    return elapsed - left;",
        "    return elapsed - left;",
    ),
    (
        "lubetrip.c",
        "if (part > doubted) {\n                doubted = part;",
        "if (part < doubted) {\n                doubted = part;",
    ),
    (
        "lubetrip.c",
        "state[LT_ST_RESTART_LEFT] = settings[LT_SET_RESTART_DELAY];\n        }\n    }\n    return press;",
        "}\n    }\n    return press;",
    ),
    ("lubetrip.c", ">= settings[LT_SET_RESET_HOLD])", "> settings[LT_SET_RESET_HOLD])"),
    ("lubetrip.c", "if (state[LT_ST_STATE] == LT_LOCKED_OUT) {", "if (state[LT_ST_STATE] >= LT_TRIPPED) {"),
    ("lubetrip.c", "clear_flags(state, LT_FLAG_RESETS);", "clear_flags(state, 0U);"),
    (
        "lubetrip.c",
        "if (flags_of(state, LT_FLAG_RESETS) != LT_FLAG_RESETS) {",
        "if (flags_of(state, LT_FLAG_RESETS) != (2U * LT_FLAG_ONE_RESET)) {",
    ),
    ("lubetrip.c", "= (int32_t)((uint32_t)LT_SENSOR_CAUSE | (bits & LT_DOUBT_ANY))", "= LT_SENSOR_CAUSE"),
    ("lubetrip.c", "doubt = missing << 2;", "doubt = missing << 1;"),
    ("lubetrip.c", "((elapsed > settings[LT_SET_MAX_GAP]) ||", "((elapsed >= settings[LT_SET_MAX_GAP]) ||"),
    ("lubetrip.c", "- inputs[LT_IN_CRANKCASE_PRESSURE];", "- inputs[LT_IN_SUCTION_PRESSURE];"),
    ("lubetrip.c", "(INT32_C(1) << (LT_SLOPE_BITS - 1))", "0"),
    ("lubetrip.c", "+ (LT_ONE >> 1)) >> LT_WEIGHT_BITS", ") >> LT_WEIGHT_BITS"),
    ("lubetrip.c", "if (net < settings[LT_SET_FLOOR]) {", "if (net <= settings[LT_SET_FLOOR]) {"),
    ("lubetrip.c", "if (suction < settings[LT_SET_VACUUM]) {", "if (suction <= settings[LT_SET_VACUUM]) {"),
    ("lubetrip.c", "            fraction += LT_ONE;", "            fraction += LT_ONE - 1;"),
    ("lubetrip.c", "if (whole >= settings[LT_SET_TRIP_DELAY]) {", "if (whole > settings[LT_SET_TRIP_DELAY]) {"),
    ("lubetrip.c", "            counted = seen;", "            counted = 0;"),
    ("lubetrip.c", "if (!(running && (state[LT_ST_STATE] >= LT_TRIPPED))) {", "if (1) {"),
    ("lubetrip.c", "LT_ST_MEMORY_LEFT, outputs[LT_OUT_SEEN]", "LT_ST_MEMORY_LEFT, elapsed"),
    ("lubetrip.c", "            whole++;", "            whole += 0;"),
    (
        "lubetrip.c",
        "    if (doubt >= settings[LT_SET_FAULT_DELAY]) {",
        "    if (doubt > settings[LT_SET_FAULT_DELAY]) {",
    ),
    ("lubetrip.c", "LT_FLAG_FRESH | LT_FLAG_RESET_HELD", "LT_FLAG_FRESH"),
    ("lubetrip.c", "LT_FLAG_IN_SPELL | LT_FLAG_VACUUM_SEEN);", "LT_FLAG_IN_SPELL);"),
    (
        "lubetrip.c",
        "(state[LT_ST_INTEGRAL] >= settings[LT_SET_RELOAD_LEVEL])",
        "(state[LT_ST_INTEGRAL] > settings[LT_SET_RELOAD_LEVEL])",
    ),
    ("lubetrip.c", "&& (suction >= settings[LT_SET_RELOAD])", "&& (suction > settings[LT_SET_RELOAD])"),
    ("lubetrip.c", "if ((state[LT_ST_TRIPS] + 1) >= settings", "if (state[LT_ST_TRIPS] >= settings"),
    ("lubetrip.c", "again = (row->effect == (uint8_t)LT_EFFECT_NONE);", "again = 1;"),
    ("lubetrip.c", "(moves < LT_MOST_MOVES)", "(moves < LT_MOST_MOVES - 1)"),
    (
        "lubetrip.c",
        "    uint32_t elapsed = now - before;",
        "    uint32_t elapsed = (now > before) ? (now - before) : 0U;",
    ),
    (
        "lubetrip_generated.h",
        "{LT_BIT_RESET_PRESS, LT_BIT_RESET_PRESS, LT_LOCKED_OUT, LT_TRIPPED,",
        "{LT_BIT_RESET_PRESS, LT_BIT_RESET_PRESS, LT_LOCKED_OUT, LT_STOPPED,",
    ),
    (
        "lubetrip_generated.h",
        "LT_LUBRICATED, LT_LOCKED_OUT, LT_EFFECT_STOP_ON_RELOAD}",
        "LT_LUBRICATED, LT_TRIPPED, LT_EFFECT_STOP_ON_RELOAD}",
    ),
]


@pytest.mark.parametrize(("file", "good", "bad"), FAULTS, ids=[good.strip() for _, good, _ in FAULTS])
def test_the_vectors_alone_find_a_planted_fault(file: str, good: str, bad: str, tmp_path: Path) -> None:
    """Catches a vector set that a wrong port passes."""
    for name in ("lubetrip.c", "lubetrip.h", "lubetrip_generated.h"):
        text = (C_FOLDER / name).read_text()
        if name == file:
            assert text.count(good) == 1, "the fault has to be planted in one place"
            text = text.replace(good, bad)
        (tmp_path / name).write_text(text)
    port = build_port(tmp_path, tmp_path / "lubetrip.c", flags=("-O0", "-Wno-error"))

    assert first_difference(port, vector_set()) is not None


def test_twenty_faults_and_more_are_planted() -> None:
    """Catches a list of faults that shrinks."""
    assert len(set(FAULTS)) >= 20


def test_the_generator_runs_as_a_module() -> None:
    """Catches a command line of the generator that only works from a test."""
    done = subprocess.run(
        [sys.executable, "-m", "firmware_ref.generate", "--check"],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=False,
    )

    assert (done.returncode, done.stdout) == (0, "".join(f"{path.name}: current\n" for path in generate.made()))
