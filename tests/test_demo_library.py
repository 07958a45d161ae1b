"""The demo library and its settings: made by its script, wide enough, and able to tell good settings from bad ones."""

import importlib.util
import json
import tomllib
from pathlib import Path

import numpy as np
import pytest

from replay.library import MustTrip, read_library
from replay.trace import read_trace
from tests.command import lubetrip

FIXTURES = Path(__file__).parent.parent / "fixtures"


def test_the_library_is_what_its_script_makes(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Catches a trace or a label changed by hand, for which the stated origin is then untrue."""
    spec = importlib.util.spec_from_file_location("scripted", FIXTURES / "scripted.py")
    assert spec is not None and spec.loader is not None
    scripted = importlib.util.module_from_spec(spec)
    monkeypatch.setitem(__import__("sys").modules, "scripted", scripted)
    spec.loader.exec_module(scripted)
    monkeypatch.setattr(scripted, "HERE", tmp_path)
    scripted.main()

    made = {path.relative_to(tmp_path): path.read_bytes() for path in tmp_path.rglob("*") if path.is_file()}
    kept = [FIXTURES / "library.toml", *(FIXTURES / "traces").iterdir()]
    assert made == {path.relative_to(FIXTURES): path.read_bytes() for path in kept}


def test_the_library_is_wide_enough() -> None:
    """Catches a library that shrinks to a few easy cases: families, both kinds of label, 1 to 10 Hz, both machines."""
    entries = read_library(FIXTURES).entries

    assert len(entries) >= 24
    assert len({entry.family for entry in entries}) >= 10
    assert len({entry.machine for entry in entries}) == 2
    assert sum(isinstance(entry.label, MustTrip) for entry in entries) >= 12
    assert sum(entry.label == "ride_through" for entry in entries) >= 12
    for entry in entries:
        steps = np.diff(read_trace(entry.path).time_ms)
        assert 100 <= steps.min() <= steps.max() <= 1000, entry.id


def test_demo_settings_meet_their_acceptance() -> None:
    """Catches a change of logic or fixtures by which the README's first command fails."""
    done = lubetrip("score", FIXTURES)
    assert (done.returncode, done.stderr) == (0, "")


@pytest.mark.parametrize(
    ("key", "value", "rule"),
    [
        ("trip_delay", "30 min", "max_missed"),  # too slow: loses machines
        ("trip_delay", "20 s", "max_nuisance_per_1000h"),  # too eager: stops plants
        ("trip_delay", "7 min", "min_margin"),  # in time, but with too little in hand
    ],
)
def test_bad_settings_do_not(key: str, value: str, rule: str, tmp_path: Path) -> None:
    """Catches a library on which any setting passes, so that its score means nothing."""
    text = (FIXTURES / "settings.toml").read_text(encoding="utf-8")
    old = next(item for section in tomllib.loads(text).values() for name, item in section.items() if name == key)
    (tmp_path / "settings.toml").write_text(text.replace(f'{key} = "{old}"', f'{key} = "{value}"'), encoding="utf-8")
    done = lubetrip("score", FIXTURES, "--settings", tmp_path / "settings.toml", "--json", "-")

    assert done.returncode == 1
    assert rule in [failure["rule"] for failure in json.loads(done.stdout)["acceptance"]["failures"]]
