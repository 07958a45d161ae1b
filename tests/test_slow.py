"""What is run while working (`-m "not slow"`), and what is run before a change is done (everything)."""

import tomllib
from pathlib import Path

import pytest

from tests.slow import REASONS, SLOW

TESTS = Path(__file__).parent
ROOT = TESTS.parent
# Where each module of the logic is tested first of all.
LOGIC = {
    "conditions": "test_table.py",
    "integral": "test_integral.py",
    "outputs": "test_outputs.py",
    "protection": "test_sequence.py",
    "ranges": "test_ranges.py",
    "saved": "test_saved.py",
    "seal": "test_seal.py",
    "settings": "test_settings.py",
    "signals": "test_signals.py",
    "state": "test_sequence.py",
    "table": "test_table.py",
    "timers": "test_sequence.py",
}


@pytest.mark.parametrize("name", SLOW)
def test_what_is_left_out_exists(name: str) -> None:
    """Catches a row for a test that was renamed, which then runs, or runs no longer, without anybody's wish."""
    file, _, function = name.partition("::")
    assert (TESTS / file).is_file()
    assert not function or f"def {function}(" in (TESTS / file).read_text(encoding="utf-8")
    assert not function or file not in SLOW
    assert sum(name in names for names in REASONS.values()) == 1


def test_every_module_of_the_logic_is_tested_while_working() -> None:
    """Catches a part of the logic that only the whole run looks at."""
    assert set(LOGIC) == {path.stem for path in (ROOT / "protect").glob("[!_]*.py")}
    for file in LOGIC.values():
        assert (TESTS / file).is_file()
        assert file not in SLOW


def test_the_whole_run_leaves_nothing_out(request: pytest.FixtureRequest) -> None:
    """Catches a selection that became the default, and a misspelt mark that selects nothing."""
    options = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["tool"]["pytest"]["ini_options"]
    words = options["addopts"].split()

    assert {"--strict-markers"} <= set(words)
    assert not {"-m", "-k", "--deselect", "--ignore"} & set(words)
    assert [mark.split(":")[0] for mark in options["markers"]] == ["slow"]
    assert request.node.get_closest_marker("slow") is None
