"""The machine obeys: what becomes of the bearings under the protection."""

import json
from dataclasses import replace
from pathlib import Path

import pytest

from replay.engine import replay_trace
from replay.physics.families import case_of
from replay.physics.simulate import simulate
from replay.settings import Settings, read_settings
from replay.synth import recipe, synthesise
from replay.synth.closed_loop import Course, course, summary
from replay.trace import read_trace
from tests.support.command import lubetrip
from tests.support.plain_loop import obey

pytestmark = pytest.mark.slow("simulates, scores or draws many traces")

FIXTURES = Path(__file__).parents[2] / "fixtures"


@pytest.fixture
def settings() -> Settings:
    """Return the settings of the demo site."""
    return read_settings(FIXTURES / "settings.toml")


def test_the_first_stop_is_that_of_the_open_loop(settings: Settings, tmp_path: Path) -> None:
    """Catches a loop whose sensors or ticks differ from what the library of the same seed holds."""
    families = ("pump-drive-broken", "suction-valve-shut", "oil-sensor-loop-fails", "foaming-oil-recovers")
    synthesise(tmp_path, recipe(",".join(families), 8, 3, None, "parquet"))
    for family in families:
        for index in (0, 1):
            open_loop = replay_trace(read_trace(tmp_path / "traces" / f"{family}-{index:05d}.parquet"), settings)
            logic, _, _, _ = obey(case_of(family, index, 3), settings)
            assert logic.stops[:1] == list(open_loop.stops[:1]), (family, index)


def test_a_protection_that_stops_in_time_keeps_the_bearings(settings: Settings) -> None:
    """Catches permission that never reaches the machine: without it the bearings are lost for certain."""
    done = course(recipe("pump-drive-broken", 1, 3), settings, ("pump-drive-broken", 0))

    assert (done.unprotected, done.protected, done.prevented) == ("certain", "none", True)
    assert done.stops >= 1
    assert 0.2 < done.least_reserve < 0.9


def test_a_protection_that_stops_too_late_prevents_nothing(settings: Settings) -> None:
    """Catches a report of damage prevented that does not come from the stop."""
    deaf = replace(settings, values=(*settings.values[:3], 1800000, *settings.values[4:]))
    done = course(recipe("pump-drive-broken", 2, 3), deaf, ("pump-drive-broken", 1))

    assert (done.unprotected, done.protected, done.prevented) == ("certain", "certain", False)
    assert done.least_reserve < 0.2


def test_a_machine_with_nothing_wrong_runs_as_without_protection(settings: Settings) -> None:
    """Catches a loop that disturbs a healthy machine, or run hours that leave out what ran."""
    case = case_of("defrost-swings", 2, 3)
    done = course(recipe("defrost-swings", 1, 3), settings, ("defrost-swings", 2))

    assert (done.stops, done.restarts, done.locked_out, done.protected) == (0, 0, False, "none")
    assert done.least_reserve == pytest.approx(float(simulate(case).film_reserve.min()), abs=1e-3)
    assert done.run_hours == pytest.approx(0.25, abs=0.01)


def test_a_restart_onto_the_same_fault_is_stopped_again_until_the_lockout(settings: Settings) -> None:
    """Catches a restart that is not counted, and a last trip without a lockout."""
    done = course(recipe("liquid-solenoid-stuck", 1, 3), settings, ("liquid-solenoid-stuck", 1))
    trips = settings.named["trips_to_lockout"]
    assert (done.stops, done.restarts, done.locked_out) == (trips, trips - 1, True)
    assert trips > 1


def test_the_summary_counts_by_what_became_of_the_machines() -> None:
    """Catches damage that was only possible counted as prevented, and a worst reserve taken from the last machine."""
    one = Course("a", "f", "certain", "none", 9.0, 3, 2, True, 0.4, 1.0)  # noqa: FBT003
    two = replace(one, id="b", unprotected="possible", locked_out=False, least_reserve=0.6)
    three = replace(one, id="c", protected="certain", locked_out=False, least_reserve=0.0)

    assert summary([three, one, two]) == {
        "machines": 3,
        "lost_unprotected": 2,
        "lost_protected": 1,
        "doubtful_protected": 0,
        "damage_prevented": 1,
        "stops": 9,
        "restarts": 6,
        "lockouts": 1,
        "least_reserve": 0.0,
        "run_hours": 3.0,
    }


def test_the_command_reports_what_became_of_the_machines(tmp_path: Path) -> None:
    """Catches a table and a JSON report that do not say the same."""
    call = ("synth", "--closed-loop", "--count", "2", "--seed", "3", "--families", "pump-drive-broken,normal-start")
    out = tmp_path / "report.json"
    done = lubetrip(*call, "--settings", FIXTURES / "settings.toml", "--json", out)
    report = json.loads(out.read_text())

    assert done.returncode == 0, done.stderr
    assert report["schema"] == "lubetrip-closed-loop/1"
    assert (report["totals"]["lost_unprotected"], report["totals"]["damage_prevented"]) == (1, 1)
    assert "certain damage without it: 1, of which prevented: 1" in done.stdout


@pytest.mark.parametrize(
    ("extra", "said"), [((), "no settings"), (("--settings", FIXTURES / "settings.toml", "out"), "writes no library")]
)
def test_a_loop_without_settings_or_with_a_folder_is_refused(extra: tuple[str, ...], said: str) -> None:
    """Catches machines run under settings nobody chose, and an OUT that is silently ignored."""
    done = lubetrip("synth", "--closed-loop", "--count", "1", "--seed", "3", *extra)

    assert (done.returncode, done.stdout) == (2, "")
    assert said in done.stderr
