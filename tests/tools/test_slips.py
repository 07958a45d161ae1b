"""Slips as the gate `mutation-host` plants them: what is made of a source, and that the named ones still have their place."""

import ast
import itertools
import json
import subprocess
import sys
from pathlib import Path

import pytest

from tests.gates import forked, mutation_host
from tests.gates.reasons import reasons
from tests.gates.slips import of_python, of_script, slips

SOURCE = '''
LIMIT = 2.0

def late(times: list[int], most: int = 3) -> tuple[bool, int]:
    """Return whether any is late: docstrings and messages stay."""
    for time in sorted(times, reverse=True):
        if time <= most and not time == 7:
            raise ValueError(f"{time} > {most}")
    first, last = min(times), max(times)
    return any(time > most for time in times), last - first
'''


def changed(source: str, *, script: bool = False) -> set[tuple[str, str]]:
    """Return line and changed line of each slip."""
    made = (of_script if script else of_python)("f", source)
    return {slip.shown(source)[1:] for slip in made}


def test_each_kind_of_slip_is_made_and_texts_are_left_alone() -> None:
    """Catches a generator that never turns a bound, a side, an order, a sign, a unit, a default or an argument."""
    lines = {new for _, new in changed(SOURCE)}

    for wanted in (
        "LIMIT = 2000.0",
        "def late(times: list[int], most: int = 4) -> tuple[bool, int]:",
        "for time in sorted(times):",
        "for time in list(times, reverse=True):",
        "if time < most and not time == 7:",
        "if time <= most or not time == 7:",
        "if time <= most and time == 7:",
        "if time <= most and not time != 7:",
        "first, last = max(times), max(times)",
        "first, last = max(times), min(times)",
        "return any(time >= most for time in times), last - first",
        "return any(time > most for time in times), last + first",
        "return last - first, any(time > most for time in times)",
    ):
        assert wanted in lines, wanted
    assert not any("Return" in line or "raise" in line for line in lines)
    calls = {line for _, line in changed("a = max(b, c)\nd = less(b, c)\n")}
    assert "d = less(c, b)" in calls and "a = max(c, b)" not in calls
    assert all(ast.parse(slip.text(SOURCE)) for slip in of_python("f", SOURCE))


def test_scripts_are_changed_token_by_token() -> None:
    """Catches a page whose judge no slip reaches."""
    source = "function judge(a, b) {\n    // a < b\n    return a <= b && a !== 3 ? Math.min(a, b) : a + 1;\n}\n"
    lines = {new for _, new in changed(source, script=True)}

    assert {
        "return a < b && a !== 3 ? Math.min(a, b) : a + 1;",
        "return a <= b || a !== 3 ? Math.min(a, b) : a + 1;",
        "return a <= b && a === 3 ? Math.min(a, b) : a + 1;",
        "return a <= b && a !== 4 ? Math.min(a, b) : a + 1;",
        "return a <= b && a !== 3 ? Math.max(a, b) : a + 1;",
        "return a <= b && a !== 3 ? Math.min(a, b) : a - 1;",
    } <= lines
    assert not any(line.startswith("//") for line in lines)
    assert {slip.function for slip in of_script("f", source)} == {"judge"}


def test_every_part_of_the_plan_has_files_tests_and_slips() -> None:
    """Catches a part that was renamed away, so that nothing is planted in it or nothing looks."""
    for files, tests in mutation_host.PLAN.values():
        for file in files:
            assert slips(mutation_host.ROOT, f"replay/{file}"), file
        given = [test.removeprefix("--deselect=").split("::")[0] for test in tests if test != mutation_host.QUICK]
        assert all((mutation_host.ROOT / test).exists() for test in given), tests


def test_the_named_slips_have_their_place_and_the_listed_ones_too() -> None:
    """Catches a list that speaks of lines which are long gone, and so plants nothing."""
    assert len(mutation_host.named(tuple(mutation_host.PLAN))) > 50
    listed = sorted(reasons(mutation_host.EQUIVALENT))
    for file, some in itertools.groupby(listed, lambda change: change[0].split(":")[0]):
        source = (mutation_host.ROOT / file).read_text(encoding="utf-8")
        assert set(some) <= {slip.shown(source) for slip in slips(mutation_host.ROOT, file)}


@pytest.mark.slow("starts another test run")
def test_a_run_tells_what_failed_and_what_hangs(tmp_path: Path) -> None:
    """Catches a slip that counts as found because its run never began, and a hang that holds up all others."""
    for name, body in {
        "good": "import numba; assert numba.config.DISABLE_JIT",
        "bad": "assert False",
        "hangs": "import time; time.sleep(60)",
    }.items():
        (tmp_path / f"test_{name}.py").write_text(f"def test_{name}():\n    {body}\n")
    (tmp_path / "pytest.ini").write_text("[pytest]\n")
    (tmp_path / "conftest.py").write_text("from hypothesis import settings\nsettings.register_profile('gate')\n")
    asked = [
        {"tests": [f"test_{name}.py"], "timeout": 30 if name != "hangs" else 1, "interpreted": name == "good"}
        for name in ("good", "bad", "hangs")
    ]
    done = subprocess.run(
        [sys.executable, str(Path(forked.__file__)), str(tmp_path)],
        input="".join(json.dumps(line) + "\n" for line in asked),
        capture_output=True, text=True, check=True,
    )  # fmt: skip
    fates = [json.loads(line) for line in done.stdout.splitlines()]

    assert [fate["fate"] for fate in fates] == ["survived", "killed", "timeout"]
    assert fates[1]["by"].startswith("test_bad.py::test_bad")
