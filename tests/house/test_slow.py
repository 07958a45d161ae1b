"""What is run while working (`-m "not slow"`), and what is run before a change is done (everything)."""

import re
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
LOGIC = ROOT / "tests" / "protect"
WHOLE = "\npytestmark = pytest.mark.slow("
# Where each module of the logic is tested first of all.
FIRST = {
    "conditions": "test_table.py",
    "integral": "test_integral.py",
    "outputs": "test_outputs.py",
    "protection": "test_sequence.py",
    "ranges": "test_ranges.py",
    "saved": "test_saved.py",
    "seal": "test_seal.py",
    "settings": "../settings/test_settings.py",
    "signals": "test_signals.py",
    "state": "test_sequence.py",
    "table": "test_table.py",
    "timers": "test_sequence.py",
}


def test_every_slow_test_says_why() -> None:
    """Catches a test that is left out while working for no reason that anybody could weigh."""
    reasons = [
        reason
        for path in (ROOT / "tests").rglob("test_*.py")
        for reason in re.findall(
            r"^(?:pytestmark = |@)pytest\.mark\.slow(.*)", path.read_text(encoding="utf-8"), re.MULTILINE
        )
    ]

    assert len(reasons) > 40
    assert all(re.fullmatch(r'\("[^"]{6,}"\)', reason) for reason in reasons), reasons


def test_every_module_of_the_logic_is_tested_while_working() -> None:
    """Catches a part of the logic that only the whole run looks at."""
    assert set(FIRST) == {path.stem for path in (ROOT / "protect").glob("[!_]*.py")}
    for file in FIRST.values():
        assert WHOLE not in (LOGIC / file).read_text(encoding="utf-8")


def test_the_whole_run_leaves_nothing_out(request: pytest.FixtureRequest) -> None:
    """Catches a selection that became the default, and a misspelt mark that selects nothing."""
    options = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["tool"]["pytest"]["ini_options"]
    words = options["addopts"].split()

    assert {"--strict-markers"} <= set(words)
    assert not {"-m", "-k", "--deselect", "--ignore"} & set(words)
    assert "slow(why)" in [mark.split(":")[0] for mark in options["markers"]]
    assert request.node.get_closest_marker("slow") is None


@pytest.mark.slow("starts another test run")
@pytest.mark.parametrize(("selection", "status"), [("not slow", 1), ("", 0)])
def test_no_test_waits_for_machine_code_while_working(selection: str, status: int, tmp_path: Path) -> None:
    """Catches a quick test that compiles, which takes half a minute wherever nothing is kept on disk yet."""
    test = tmp_path / "test_compiling.py"
    test.write_text("import numba\n\ndef test_it():\n    assert numba.njit(lambda: 1)() == 1\n")
    command = [sys.executable, "-m", "pytest", "-p", "tests.conftest", "-c", "/dev/null", "-m", selection, str(test)]
    done = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=False)

    assert done.returncode == status, done.stdout
    assert ("is compiled in a test that is not marked slow" in done.stdout) == bool(status)
