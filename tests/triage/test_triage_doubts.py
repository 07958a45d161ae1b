"""What keeps a machine from being called healthy though it was never short of oil: zero, trend, starts, lost hours."""

import dataclasses
from pathlib import Path

import numpy as np
import pytest

from replay.settings import Settings, read_settings
from replay.triage import kernel
from replay.triage.clock import Clock
from replay.triage.days import Days
from replay.triage.findings import Findings
from replay.triage.ranking import ADVICE, rank, reasons
from replay.triage.report import triage
from replay.triage.trends import trend
from tests.support.triage_logs import NO_READING, found, made, outcome, with_values

DAY_S = 86_400


@pytest.fixture
def site(settings_file: Path) -> Settings:
    """Return the settings that the tests share: cut-out 60, cut-in 80 kPa, grace 10 s; rows up to 5 min apart."""
    return with_values(read_settings(settings_file), MAX_GAP=300_000)


def told(findings: Findings) -> tuple[str, str]:
    """Return the advice and why."""
    return ADVICE[rank(findings)], "; ".join(reasons(findings))


def rests(s: int) -> bool:
    """Say whether a machine that stands five minutes in every hour does so."""
    return s % 3600 < 300


def test_a_healthy_machine_is_called_so(site: Settings) -> None:
    """Catches a doubt about everything, which says no more than none."""
    findings = found(made(DAY_S, lambda s: 2 if rests(s) else 140, running=lambda s: not rests(s), step=20), site)

    assert told(findings) == ("not starved", "")
    whole = findings.days.total()
    assert (whole.net_pa, whole.rest_pa) == (140_000, 2_000)
    assert (findings.starts, whole[kernel.DAY_BUILT], whole[kernel.DAY_NEVER]) == (24, 24, 0)


def test_a_log_without_any_standstill_is_not_healthy(site: Settings) -> None:
    """Catches a machine called healthy by a sensor whose zero nobody can see."""
    advice, why = told(found(made(DAY_S, lambda s: 140, step=20), site))

    assert advice == "cannot tell"
    assert why == "no standstill of over a minute with readings in 24.0 h: zero of the oil pressure not checked"


def test_a_standstill_without_readings_checks_no_zero(site: Settings) -> None:
    """Catches a logger that is switched off with the machine, taken for a zero of nothing."""
    log = made(DAY_S, lambda s: 0 if rests(s) else 140, running=lambda s: not rests(s), step=20)
    log.oil_pa[log.running == 0] = NO_READING

    assert told(found(log, site))[0] == "cannot tell"


@pytest.mark.parametrize(("zero", "rule"), [(60, "lower"), (-25, "higher")])
def test_an_oil_sensor_that_is_off_at_standstill(zero: int, rule: str, site: Settings) -> None:
    """Catches 60 kPa at standstill without a word, and a sign taken the wrong way."""
    log = made(DAY_S, lambda s: zero if rests(s) else 180 + zero, running=lambda s: not rests(s), step=20)
    advice, why = told(found(log, site))

    assert advice == "check the sensors"
    assert why.endswith(
        f"net oil pressure reads {zero}.0 kPa at standstill, where it should read zero: true oil pressure is that much {rule}"
    )


def test_a_machine_that_only_its_zero_lifts_above_cut_out(site: Settings) -> None:
    """Catches 95 kPa of which 60 are the sensor's: 35 kPa is short of oil, whatever it reads."""
    log = made(DAY_S, lambda s: 60 if rests(s) else 95, running=lambda s: not rests(s), step=20)
    advice, why = told(found(log, site))

    assert advice == "watch"
    assert "less its standstill zero of 60.0 kPa it ran at 35.0 kPa on day 1, cut-out is 60.0 kPa; net" in why


def test_pressure_that_still_drains_is_no_zero(site: Settings) -> None:
    """Catches the pressure of the first minute after a stop taken for a zero."""
    log = made(DAY_S, lambda s: 140 if not rests(s) or s % 3600 < 40 else 0, running=lambda s: not rests(s), step=20)

    assert found(log, site).days.total().rest_pa == 0


def weeks(net_kpa: tuple[float, float], zero_kpa: tuple[float, float], days: int = 30):
    """Return a log of so many days with net oil pressure and zero on a line from first to last, scattered by the day."""
    rng = np.random.default_rng(1)
    scatter = rng.normal(0, 3, days + 1)

    def line(ends: tuple[float, float], s: int) -> float:
        return ends[0] + (ends[1] - ends[0]) * s / (days * DAY_S)

    return made(
        days * DAY_S,
        lambda s: line(zero_kpa, s) if rests(s) else line(net_kpa, s) + scatter[s // DAY_S],
        running=lambda s: not rests(s),
        step=120,
    )


@pytest.mark.slow("writes and reads long logs")
def test_net_oil_pressure_that_falls_over_weeks(site: Settings) -> None:
    """Catches 140 to 53 kPa in 30 days, day by day above or near cut-out, called not starved."""
    findings = found(weeks((140, 62), (0, 0)), with_values(site, CUT_OUT=50_000))
    advice, why = told(findings)

    assert findings.starved_ms == 0
    assert advice == "watch"
    assert why.startswith("net oil pressure of running fell from 140.0 kPa to 62.3 kPa in 29 days, day 1 to day 30")


@pytest.mark.slow("writes and reads long logs")
@pytest.mark.parametrize("ends", [(140, 140), (140, 128), (110, 140)])
def test_net_oil_pressure_that_hardly_falls(ends: tuple[float, float], site: Settings) -> None:
    """Catches a doubt made of scatter, of a few percent, or of a pressure that rises."""
    assert told(found(weeks(ends, (0, 0)), site)) == ("not starved", "")


def test_one_bad_day_is_no_trend() -> None:
    """Catches a mean or a least-squares line that one day turns. A plain line is met as it is."""
    level = [(day, 140.0 + day % 3) for day in range(30)]
    one = trend([*level[:-1], (29, 20.0)])
    plain = trend([(day, 140.0 - 2 * day) for day in range(3, 13)])

    assert one is not None
    assert not one.sure
    assert plain is not None
    assert (plain.first_day, plain.last_day, plain.first, plain.last, plain.sure) == (3, 12, 134.0, 116.0, True)
    assert trend(level[:4]) is None


@pytest.mark.outside(
    computation="trend of a figure of each day",
    source="Theil 1950 and Sen 1968 in scipy's theilslopes; the slope recomputed here over all pairs",
    status="not consulted, recomputed",
    agreement="1e-6 of the change",
)
def test_a_trend_is_the_median_of_the_slopes_of_all_pairs() -> None:
    """Catches another line: the median is taken here over the pairs themselves."""
    rng = np.random.default_rng(7)
    points = [(day, float(figure)) for day, figure in enumerate(rng.normal(140, 5, 25) - 1.5 * np.arange(25))]
    slopes = [(y - x) / (b - a) for at, (a, x) in enumerate(points) for b, y in points[at + 1 :]]
    went = trend(points)

    assert went is not None
    assert went.change == pytest.approx(24 * np.median(slopes))


@pytest.mark.parametrize(
    ("days", "went"),
    [
        (3, "moved between 2.9 kPa and 18.0 kPa in 4 days"),
        (30, "moved from 0.3 kPa to 18.3 kPa in 30 days, day 1 to day 31"),
    ],
)
def test_a_zero_that_drifts(days: int, went: str, site: Settings) -> None:
    """Catches a sensor on its way: 18 kPa are no alarm, yet at the start there was nothing."""
    advice, why = told(found(weeks((140, 140), (0, 18), days), site))

    assert advice == "check the sensors"
    assert why == f"standstill zero of net oil pressure {went}"


def test_starts_that_never_get_oil(site: Settings) -> None:
    """Catches 1,440 starts a day within the start grace, none of which ever gets oil, called healthy."""
    quick = with_values(site, START_GRACE=60_000)
    log = made(DAY_S, lambda s: 3, running=lambda s: s % 60 >= 30, step=10)
    findings = found(log, quick)
    advice, why = told(findings)

    assert findings.starved_ms == 0
    assert advice == "open next"
    assert why.startswith("1440 of 1440 starts stopped before oil pressure came, 12.0 h of running; 60 starts an hour")


def test_some_starts_that_never_get_oil(site: Settings) -> None:
    """Catches every tenth start without oil that goes under in those with."""
    log = made(DAY_S, lambda s: 140 * (s % 6000 >= 600 and s % 600 >= 300), running=lambda s: s % 600 >= 300, step=20)
    quick = with_values(site, START_GRACE=1_800_000)
    advice, why = told(found(log, quick))

    assert advice == "watch"
    assert why.startswith("15 of 144 starts stopped before oil pressure came, 75.0 min of running")


def test_a_start_with_a_lost_reading_is_neither(site: Settings) -> None:
    """Catches a start told as without oil because nobody read the pressure."""
    log = made(DAY_S, lambda s: 0, running=lambda s: s % 600 >= 300, step=20)
    log.oil_pa[log.time_ms // 1000 % 600 == 400] = NO_READING
    whole = found(log, with_values(site, START_GRACE=1_800_000)).days.total()

    assert (whole[kernel.DAY_NEVER], whole[kernel.DAY_BUILT], whole[kernel.DAY_UNSEEN]) == (0, 0, 144)


def test_time_to_oil_pressure(site: Settings) -> None:
    """Catches a time counted from the row behind the start, and a mean told as the longest.

    Starts at 300 s of each hour, oil 20 s later; at the last of four 60 s later.
    """
    log = made(
        4 * 3600,
        lambda s: 140 if s % 3600 > (340 if s > 3 * 3600 else 300) else 0,
        running=lambda s: not rests(s),
        step=20,
    )
    whole = found(log, site).days.total()

    assert (whole.build_ms, whole[kernel.DAY_BUILD_MOST], whole[kernel.DAY_BUILT]) == (50_000, 80_000, 4)


@pytest.mark.slow("writes and reads long logs")
def test_a_running_status_that_chatters(site: Settings) -> None:
    """Catches 4,157 starts in 7.4 h without a word."""
    log = made(26_640, lambda s: 140 if s % 3600 > 300 else 0, running=lambda s: int(s % 6 >= 3 and not rests(s)))
    findings = found(log, site)
    advice, why = told(findings)

    assert findings.starts == np.count_nonzero(np.diff(log.running.astype(int)) == 1) == 4_040
    assert advice == "check the sensors"
    assert "546 starts an hour (4040 in all): does the running status chatter?" in why


def test_judged_on_a_part_of_its_hours(site: Settings) -> None:
    """Catches a verdict on the hours that are left, with no word on those in doubt."""
    log = made(DAY_S, lambda s: 0 if rests(s) else 140, running=lambda s: not rests(s), step=20)
    log.oil_pa[: len(log) * 39 // 100] = NO_READING
    findings = found(log, site)

    assert "judged on 61 % of its hours" in reasons(findings)
    assert rank(findings) < ADVICE.index("not starved")


def test_nobody_asked_is_not_healthy() -> None:
    """Catches findings whose doubts were never looked for."""
    assert ADVICE[rank(Findings("m", (), run_ms=1000))] == "cannot tell"


def test_an_idle_machine_is_not_doubted_for_its_running(site: Settings) -> None:
    """Catches a machine that stood told as one whose logs cannot tell."""
    assert told(found(made(DAY_S, lambda s: 0, running=lambda s: 0, step=20), site)) == ("did not run", "")


@pytest.mark.slow("writes and reads long logs")
@pytest.mark.parametrize("cuts", [[7], [100, 101, 1500], list(range(0, 4000, 13))])
def test_days_do_not_depend_on_the_blocks_of_a_long_log(cuts: list[int], site: Settings) -> None:
    """Catches a start, a standstill or a day that is forgotten between two blocks."""
    log = made(3 * DAY_S, lambda s: 0 if s % 3600 < 400 else 140, running=lambda s: not rests(s), step=60)

    assert outcome(found(log, site, cuts)) == outcome(found(log, site))


def test_days_are_those_of_the_zone() -> None:
    """Catches days cut at midnight of another zone: 23:30 UTC is half past midnight in Oslo."""
    clock = Clock(1_790_029_800.0, "Europe/Oslo")  # 2026-09-21 22:30 UTC
    days = Days()
    days.takes(clock)

    assert clock.stamp(0) == "2026-09-22T00:30:00+02:00"
    assert days.told((0 - clock.day_zero_ms()) // kernel.DAY_MS) == "2026-09-22"
    assert days.told((-1_800_001 - clock.day_zero_ms()) // kernel.DAY_MS) == "2026-09-21"


def test_a_machine_in_doubt_stands_above_the_healthy_ones(site: Settings) -> None:
    """Catches an order that knows nothing of doubts."""
    healthy = found(made(DAY_S, lambda s: 0 if rests(s) else 140, running=lambda s: not rests(s), step=20), site)
    blind = found(made(DAY_S, lambda s: 140, step=20), site)
    falling = found(weeks((140, 62), (0, 0)), with_values(site, CUT_OUT=50_000))
    names = {"a healthy": healthy, "b blind": blind, "c falling": falling}
    report = triage([dataclasses.replace(its, machine=name) for name, its in names.items()], site)

    assert [machine.machine for machine in report.machines] == ["c falling", "b blind", "a healthy"]
