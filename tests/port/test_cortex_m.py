"""The C port on emulated Cortex-M cores: the same answers in every bit, and instructions counted honestly."""

import dataclasses
import re
import statistics
import subprocess
from pathlib import Path

import pytest

from replay.port import cortex_m
from tests.support.toolchain import C_SOURCE, need, vector_set

pytestmark = pytest.mark.slow("runs a compiler, an emulator, another Python or a browser for each case")

CORES = ("cortex-m0", "cortex-m3")


@pytest.fixture(autouse=True)
def tools() -> None:
    """Skip, by name, what cannot run here."""
    need("arm-none-eabi-gcc")
    need("qemu-system-arm")


@pytest.mark.parametrize(
    ("core", "sealed", "most"), [("cortex-m0", False, 2000), ("cortex-m3", False, 2000), ("cortex-m0", True, 4000)]
)
def test_answers_every_vector_in_every_bit(core: str, sealed: bool, most: int, tmp_path: Path) -> None:
    """Catches a port that is right on a 64-bit host only; steps have to stay within so many instructions."""
    counts: list[int] = []
    for part in cortex_m.parts(vector_set()):
        run = cortex_m.run_image(core, cortex_m.build_image(core, part, tmp_path, sealed=sealed), part)
        assert (run.said, run.first_difference, run.identical) == ("identical", None, True)
        counts += run.instructions

    assert len(counts) == vector_set().steps
    assert 50 < statistics.median(counts) <= max(counts) < most


@pytest.mark.parametrize("core", CORES)
def test_a_planted_fault_is_told_by_the_core_and_by_the_host(core: str, tmp_path: Path) -> None:
    """Catches an image that says identical whatever it computes."""
    planted = tmp_path / "lubetrip.c"
    good = "whole = 100"
    assert C_SOURCE.read_text().count(good) == 1
    planted.write_text(C_SOURCE.read_text().replace(good, "whole = 99"))
    part = cortex_m.parts(vector_set())[0]
    run = cortex_m.run_image(core, cortex_m.build_image(core, part, tmp_path, planted), part)

    assert (run.said, run.identical) == ("different", False)
    assert run.first_difference is not None


def test_a_wrong_expectation_is_told_too(tmp_path: Path) -> None:
    """Catches a host that takes the core's word for it: here the image and the host hold different vectors."""
    whole = cortex_m.parts(vector_set())[-1]
    image = cortex_m.build_image("cortex-m0", whole, tmp_path)
    last = whole.differences[-1]
    other = dataclasses.replace(last, elapsed=last.elapsed - 1)
    run = cortex_m.run_image(
        "cortex-m0", image, dataclasses.replace(whole, differences=(*whole.differences[:-1], other))
    )

    assert (run.said, run.identical) == ("identical", False)


@pytest.mark.outside(
    computation="instructions of a step",
    source="the emulator's own log of each instruction",
    status="consulted",
    agreement="equal",
)
def test_counts_the_instructions_that_an_execution_log_shows(tmp_path: Path) -> None:
    """Catches a timer that does not tick by instructions: the emulator's own log of every one is counted instead."""
    few = dataclasses.replace(vector_set(), cases=vector_set().cases[:2], checks=())
    image = cortex_m.build_image("cortex-m0", few, tmp_path)
    counted = sum(cortex_m.run_image("cortex-m0", image, few).instructions)
    listing = subprocess.run([need("arm-none-eabi-nm"), "-S", image], capture_output=True, text=True, check=True).stdout
    of_the_step = ("lubetrip_step", "accumulate", "stuck_part")  # the others are put in line by the compiler
    parts = [row.split() for row in listing.splitlines() if row.split()[-1] in of_the_step]
    inside = [range(int(start, 16), int(start, 16) + int(size, 16)) for start, size, *_ in parts]
    log = ("-singlestep", "-d", "exec,nochain", "-D", "/dev/stderr")
    quiet = ("-nographic", "-monitor", "none", "-serial", "none", "-semihosting-config", "enable=on,target=native")
    logged = subprocess.run(
        ["qemu-system-arm", "-M", "microbit", *quiet, *log, "-kernel", image],
        cwd=tmp_path,
        stdin=subprocess.DEVNULL,
        capture_output=True,
        text=True,
        check=True,
        timeout=60,
    ).stderr
    places = [int(found, 16) for found in re.findall(r"\[[0-9a-f]+/([0-9a-f]+)/", logged)]

    assert len(inside) == len(of_the_step)
    assert counted == sum(any(place in part for part in inside) for place in places)


def test_a_timer_that_does_not_count_evenly_is_refused() -> None:
    """Catches figures from an emulator run without instruction counting."""
    assert cortex_m.instructions((10, 10 + 1000 * 4, 10 + 3000 * 4, 10 + 4 * 99)) == [100]
    with pytest.raises(ValueError, match="cannot be calibrated"):
        cortex_m.instructions((10, 900, 1000, 500))


def test_the_command_prints_median_and_worst(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Catches a command that prints no figures, figures of one core only, or a sealed step that costs nothing."""
    few = dataclasses.replace(vector_set(), cases=vector_set().cases[:5], checks=())
    monkeypatch.setattr(cortex_m, "build", lambda: few)
    assert cortex_m.main() == 0
    printed = capsys.readouterr().out
    counts = re.findall(r"steps identical; instructions per step: median (\d+), worst \d+", printed)

    assert (len(counts), printed.count("sealed steps")) == (4, 2)
    assert int(counts[0]) + 500 < int(counts[1])


def test_the_command_names_a_missing_tool(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    """Catches a traceback where the emulator is not installed."""
    monkeypatch.setattr(cortex_m, "EMULATOR", "no-such-emulator")

    assert cortex_m.main() == 2
    assert capsys.readouterr().err == "no-such-emulator is not installed; tests/tools.sh installs it\n"
