"""What was found in a machine bounds how long its bearings last."""

from dataclasses import replace

import numpy as np
import pytest

from replay.fitting import inspections
from replay.fitting.inspections import bearings_of
from replay.ground.refusal import Refusal
from replay.machine import machine_from
from replay.machine.found import Inspection
from tests.support.made_machines import made_machine

TEXT = made_machine(3, foaming=False).text


def rows(**changes: str) -> str:
    """Return a file with an inspection."""
    keys = {"what": '"bench"', "ran_dry": '"4 min"', "reloaded": "false", "found": '"sound"'} | changes
    return TEXT + "\n[[inspection]]\n" + "".join(f"{key} = {value}\n" for key, value in keys.items() if value)


def test_an_inspection_is_read_with_its_units() -> None:
    """Catches minutes taken for seconds."""
    assert machine_from("m", rows()).inspections == (Inspection("bench", 240.0, reloaded=False, found="sound"),)


@pytest.mark.parametrize(
    ("key", "value"),
    [
        ("what", ""),
        ("what", "3"),
        ("ran_dry", '"4"'),
        ("ran_dry", '"0 s"'),
        ("ran_dry", '"5 h"'),
        ("ran_dry", "240"),
        ("reloaded", '"no"'),
        ("found", '"fine"'),
        ("fonud", '"sound"'),
    ],
)
def test_a_wrong_row_is_named(key: str, value: str) -> None:
    """Catches an inspection that counts for something else than what was seen."""
    with pytest.raises(Refusal, match=rf"\[\[inspection\]\].*{key}"):
        machine_from("m.toml", rows(**{key: value}))


def test_without_inspections_the_assumed_range_stands_and_that_is_said() -> None:
    """Catches bearings that a fit makes up."""
    found = bearings_of(machine_from("m", TEXT).middle(), (), 3, 1, "m")

    assert found.members == ({}, {}, {})
    assert found.told == "no inspections: the assumed range of the bearings applies"


@pytest.mark.slow("runs some hundred dry bearings")
def test_sound_bounds_the_film_from_below_and_failed_from_above(monkeypatch: pytest.MonkeyPatch) -> None:
    """Catches a bound on the wrong side, and one row that outdoes another."""
    monkeypatch.setattr(inspections, "DRAWS", 24)
    site = machine_from("m", TEXT).middle()
    lasted = Inspection("a", 1500.0, reloaded=False, found="sound")
    gone = Inspection("b", 600.0, reloaded=False, found="failed")

    def loss(*seen: Inspection) -> float:
        found = bearings_of(site, seen, 40, 1, "m").members
        return float(np.median([one["behaviour.lost_share"] for one in found]))

    sooner, later = replace(lasted, dry_s=500.0), replace(gone, dry_s=1500.0)
    assert loss(lasted) < loss(sooner) < loss(sooner, later) < loss(later) < loss(gone)
    with pytest.raises(Refusal, match="no bearing within the assumed ranges would be found like this"):
        loss(replace(lasted, dry_s=2400.0), replace(gone, dry_s=500.0))
