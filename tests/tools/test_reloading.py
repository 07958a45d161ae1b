"""The reload campaign: what it counts is what the machines lived through, and a guard that won would be seen to win."""

import pytest
from click.testing import CliRunner

from protect import conditions, ranges
from replay.settings import read_settings
from tests.campaigns import reloading
from tests.campaigns.reloading import DEMO, GUARDS, NONE, Fate, fate, saved_by, time_left, tried, variant

pytestmark = pytest.mark.slow("compiles what only it runs")

SEED = 777
FAST = ("reload-before-film", 4)  # dry after 160 s in a vacuum, and spoilt 3 s after suction is back


def of(fates: list[Fate], weight: float, guard: str) -> Fate:
    """Return the fate with one weight and guard."""
    return fates[list(tried()).index((weight, guard))]


def test_a_guard_stops_the_reload_and_the_restart_is_what_the_lockout_prevents(monkeypatch: pytest.MonkeyPatch) -> None:
    """Catches a campaign in which no guard acts, or in which none could win: here one does, at the lightest vacuum."""
    guard = "a quarter, rising past 60 kPa"
    monkeypatch.setattr(reloading, "WEIGHTS", (0.1,))
    monkeypatch.setattr(reloading, "GUARDS", {NONE: {}, guard: GUARDS[guard]})
    fates = fate(read_settings(DEMO), SEED, FAST)

    assert of(fates, 0.1, NONE).damage == "certain"
    assert (of(fates, 0.1, guard).damage, of(fates, 0.1, guard).guarded) == ("none", 1)
    assert saved_by([fates], guard, 0.1) == 1

    monkeypatch.setattr(conditions, "reload_guard", lambda *_: False)
    assert saved_by([fate(read_settings(DEMO), SEED, FAST)], guard, 0.1) == 0


def test_a_vacuum_that_weighs_whole_needs_no_guard(monkeypatch: pytest.MonkeyPatch) -> None:
    """Catches demo settings with which the same machine is lost at its reload."""
    monkeypatch.setattr(reloading, "WEIGHTS", (1.0,))
    monkeypatch.setattr(reloading, "GUARDS", {NONE: {}})
    (alone,) = fate(read_settings(DEMO), SEED, FAST)

    assert (alone.damage, alone.guarded, alone.stops > 0) == ("none", 0, True)


def test_the_time_left_is_seconds_and_a_late_stop_saves_nothing() -> None:
    """Catches a time from another moment, and permission that is not taken."""
    time = time_left(SEED, FAST)

    assert time is not None
    assert 0 < min(left for left in time.spoilt_s if left is not None) < 10
    assert (time.taken[0], time.taken[-1]) == ("none", "certain")


def test_without_a_guard_the_reload_lies_beyond_what_can_be_read() -> None:
    """Catches a comparison of a guard with a guard."""
    base = read_settings(DEMO)
    values = variant(base, 0.5, NONE).values

    assert values[ranges.RELOAD] == base.values[ranges.SUCTION_MOST]
    assert values[ranges.VACUUM_WEIGHT] == ranges.ONE // 2


def test_the_command_prints_each_weight_with_each_guard() -> None:
    """Catches a column that is lost, and a closing line that says another thing than the table."""
    done = CliRunner().invoke(reloading.reload, ["--machines", "1", "--harmless", "1"])

    assert done.exit_code == 0
    assert len([line for line in done.output.splitlines() if line.lstrip()[:1] in "01" and "|" not in line[:7]]) >= 20
    assert "2 of 2 whole at weight 1 without a guard" in done.output
