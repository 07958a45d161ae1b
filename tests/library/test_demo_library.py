"""The demo library and its settings: made from its recipe, wide enough, and able to tell good settings from bad ones."""

import json
import tomllib
from pathlib import Path

import numpy as np
import pytest

from replay.library import read_library
from replay.physics.families import FAMILIES
from replay.synth import synthesise
from replay.synth.libraries import recipe_from
from replay.trace import read_trace
from tests.campaigns import confirm
from tests.support.command import lubetrip

pytestmark = pytest.mark.slow("simulates, scores or draws many traces")

FIXTURES = Path(__file__).parents[2] / "fixtures"
SETTINGS = (FIXTURES / "settings.toml").read_text(encoding="utf-8")


def contents(folder: Path) -> dict[Path, bytes]:
    """Return every file below a folder with what is in it, words about it left out."""
    files = [path for path in folder.rglob("*") if path.is_file() and path.name != "README.md"]
    return {path.relative_to(folder): path.read_bytes() for path in files}


def test_the_library_is_what_its_recipe_makes(tmp_path: Path) -> None:
    """Catches a trace or a label changed by hand, and physics that give other bytes here than where it was made."""
    told = tomllib.loads((FIXTURES / "library.toml").read_text(encoding="utf-8"))["recipe"]
    (tmp_path / "settings.toml").write_text(SETTINGS, encoding="utf-8")
    synthesise(tmp_path, recipe_from(FIXTURES / "library.toml", told, "[recipe] "), jobs=2)

    assert contents(tmp_path) == contents(FIXTURES)


def test_the_library_is_wide_enough() -> None:
    """Catches a library that shrinks to a few easy cases, or outgrows a repository."""
    entries = read_library(FIXTURES).entries

    assert len(entries) >= 96
    assert {entry.family for entry in entries} == set(FAMILIES)
    assert len({entry.machine for entry in entries}) == 4
    assert sum(bool(entry.windows) for entry in entries) >= 40
    assert sum(entry.label == "ride_through" for entry in entries) >= 40
    assert sum(path.stat().st_size for path in FIXTURES.rglob("*") if path.is_file()) < 20e6
    for entry in entries[::9]:
        assert 400 <= np.median(np.diff(read_trace(entry.path).time_ms)) <= 1100, entry.id


def test_demo_settings_meet_their_acceptance() -> None:
    """Catches a change of logic or fixtures by which the README's first command fails."""
    done = lubetrip("score", FIXTURES)
    assert (done.returncode, done.stderr) == (0, "")


def test_demo_settings_meet_it_on_traces_they_were_not_chosen_on(tmp_path: Path) -> None:
    """Nothing is missed but by sensors that tell untruths; catches settings fitted to the traces beside them."""
    fresh = confirm.confirm(tmp_path, FIXTURES / "settings.toml", "all", 165, 7, None, jobs=2)
    missed = confirm.missed_of(tmp_path, fresh)

    assert [told for told in missed if not any(word in told for word in confirm.UNTRUE)] == []
    assert {failure.rule for failure in fresh.failures} <= {"max_missed"}
    assert fresh.lacking == ()


@pytest.mark.parametrize(
    ("key", "value", "rule"),
    [
        ("trip_delay", "30 min", "max_missed"),  # too slow: loses machines
        ("trip_delay", "2 s", "max_nuisance_per_1000h"),  # too eager: stops plants
        ("trip_delay", "150 s", "min_margin"),  # in time, but with too little in hand
        ("stuck_after", "10 min", "max_missed"),  # a frozen sensor hides a dead pump
    ],
)
def test_bad_settings_do_not(key: str, value: str, rule: str, tmp_path: Path) -> None:
    """Catches a library on which any setting passes, so that its score means nothing."""
    old = next(item for section in tomllib.loads(SETTINGS).values() for name, item in section.items() if name == key)
    changed = SETTINGS.replace(f'{key} = "{old}"', f'{key} = "{value}"')
    assert changed != SETTINGS
    (tmp_path / "settings.toml").write_text(changed, encoding="utf-8")
    done = lubetrip("score", FIXTURES, "--settings", tmp_path / "settings.toml", "--json", "-")

    assert done.returncode == 1
    assert rule in [failure["rule"] for failure in json.loads(done.stdout)["acceptance"]["failures"]]
