"""A log of another machine, and logs of two, are known by what the machine file fixes; the machine's own are not refused.

Of twenty made machines (`python -m tests.campaigns strangers --machines 20 --first 7000`) none was refused its own runs.
"""

import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from replay.fitting.belonging import Trait, _beyond
from replay.fitting.runs import Run
from replay.machine import machine_from
from replay.physics.schedule import Channel
from tests.campaigns.strangers import refused, with_pressure
from tests.support.command import lubetrip
from tests.support.made_machines import BENCH, RUNS, THROTTLED, Made, made_machine, run_from

pytestmark = pytest.mark.slow("draws machines that follow runs")


@pytest.fixture(scope="module")
def made() -> Made:
    """Return a machine with an oil that stays still."""
    return made_machine(3, foaming=False)


@pytest.fixture(scope="module")
def runs(made: Made) -> list[Run]:
    """Return its runs."""
    return [run_from(made, name) for name in RUNS]


@pytest.mark.parametrize("seed", [6001, 6002, 6003, 6004])
def test_a_machine_knows_its_own_runs(seed: int) -> None:
    """Catches a fit that turns its own machine away, its relief setting stated 5 % too high."""
    made = made_machine(seed)
    runs = [run_from(made, name) for name in RUNS]

    assert refused(made.described, runs) == ""
    assert refused(with_pressure(made, 1.05), runs) == ""


@pytest.mark.parametrize("drawn", [[0.0, 50.0, 100.0], [-100.0, np.nan, 0.0]])
def test_a_figure_may_lie_a_little_beyond_what_is_drawn(drawn: list[float]) -> None:
    """Catches a bound without its margin, which sixty drawn machines do not reach the ends of, and one on one side only."""
    trait = Trait("figure", lambda *_: 0.0, 5.0, str)
    low, high = np.nanmin(drawn), np.nanmax(drawn)
    more = 5.0 + 0.08 * 100.0

    inside = [low - more, high + more, float("nan")]
    assert [_beyond(trait, read, np.array(drawn)) for read in inside] == [None] * 3
    beyond = [low - more - 0.1, high + more + 0.1]
    assert [_beyond(trait, read, np.array(drawn)) for read in beyond] == [(low, high)] * 2
    assert _beyond(trait, 1e9, np.array([np.nan])) is None


def test_another_machines_pressure_is_known(made: Made, runs: list[Run]) -> None:
    """Catches a log of a machine whose relief valve is set to something else, fitted all the same."""
    told = refused(with_pressure(made, 1.5), runs[:2])

    assert "net oil pressure at its highest" in told
    assert "within the ranges of machine.toml" in told
    assert "another machine's log" in told


def test_runs_of_two_machines_are_told_apart(runs: list[Run], made: Made) -> None:
    """Catches an ensemble between two machines, each of which the file could mean."""
    other = replace(runs[1], oil_pa=runs[1].oil_pa + 20e3)

    told = refused(made.described, [runs[0], other])

    assert f"{BENCH}, {THROTTLED}: these two are not one machine: net oil pressure at its highest is" in told


def test_another_speed_and_another_suction_are_known(made: Made, runs: list[Run]) -> None:
    """Catches a log at a speed, or of a cold room, that the file does not have."""
    assert "speed_rpm" in refused(made.described, [replace(runs[0], speed_rpm=0.75 * made.site.speed_rpm)])
    assert refused(made.described, [replace(runs[0], speed_rpm=made.site.speed_rpm)]) == ""
    colder = replace(runs[0], suction_pa=runs[0].suction_pa / 1.7, oil_pa=runs[0].oil_pa - runs[0].suction_pa * 0.41)
    assert "suction pressure" in refused(made.described, [colder])
    warmer = replace(runs[0], suction_pa=runs[0].suction_pa * 1.7, oil_pa=runs[0].oil_pa + runs[0].suction_pa * 0.7)
    assert "for half of the run" in refused(made.described, [warmer])


def test_a_vacuum_that_the_machine_cannot_pull_is_known(made: Made, runs: list[Run]) -> None:
    """Catches a log of a machine with less clearance, which pulls deeper than the file's ever could."""
    limit = made.described.middle().limiting_vacuum_pa
    assert runs[0].suction_pa.min() < 1.3 * limit
    assert refused(made.described, [runs[0]]) == ""

    deeper = np.where(runs[0].suction_pa < 1.5 * limit, 0.35 * limit, runs[0].suction_pa)
    told = refused(made.described, [replace(runs[0], suction_pa=deeper)])
    assert "at its lowest, where the machine file's clearance and condensing pull to" in told
    assert told.endswith("gauge for absolute, psi for kPa? the zero of the sensor?)")
    wide = machine_from("machine.toml", re.sub("clearance = .*", "clearance = [0.01, 0.05]", made.text))
    assert "at its lowest" not in refused(wide, [replace(runs[0], suction_pa=deeper)])


def test_what_a_standing_machine_shows_and_how_it_starts_are_known(made: Made) -> None:
    """Catches sensors that are not those of the file, and a pump that takes a minute where the file's takes seconds."""
    still = made_machine(3, foaming=False, still_running=True)
    case = still.cases[BENCH]
    plan = still.site.schedule(running=False).change(Channel.RUN, 120.0, 1.0)
    run = run_from(replace(still, cases={BENCH: replace(case, schedule=plan)}), BENCH)
    assert not run.running[0]
    assert refused(made.described, [run]) == ""

    stands = run.time_s < 120.0
    off = replace(run, oil_pa=run.oil_pa + np.where(stands, 60e3, 0.0))
    assert "net oil pressure at standstill" in refused(made.described, [off])
    late = replace(run, oil_pa=np.where(run.time_s < 200.0, run.suction_pa, run.oil_pa))
    assert "time from start to oil pressure" in refused(made.described, [late])


def test_a_stranger_leaves_nothing_behind(made: Made, tmp_path: Path) -> None:
    """Catches a refusal that comes after the output."""
    library = made.library(tmp_path / "library", (BENCH, THROTTLED))
    file = tmp_path / "machine.toml"
    file.write_text(with_pressure(made, 1.5).text, encoding="utf-8")

    done = lubetrip("fit", file, library, "--to", tmp_path / "fitted.toml")

    assert done.returncode == 2
    assert "another machine's log" in done.stderr
    assert sorted(path.name for path in tmp_path.iterdir()) == ["library", "machine.toml"]
