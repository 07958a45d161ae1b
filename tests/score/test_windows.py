"""Several windows in a trace, the band of a deadline, and upsets: what a stop belongs to, and what is counted of it."""

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from replay.display.score import apart, summary
from replay.engine import Replay, Stop
from replay.engine.baselines import always, never
from replay.ground.refusal import Refusal
from replay.ground.statistics import proportion_upper
from replay.library import Entry, Label, MustTrip, read_library
from replay.library.library import Span, Upset
from replay.score import Verdict, judge, score
from replay.score.scoring import is_told, judgement, total
from replay.score.windows import AFTER_S, AGAIN_S, Felt, follow
from replay.settings import Acceptance, read_settings
from replay.trace import Trace
from tests.conftest import SETTINGS, entry, trace_csv
from tests.support.command import lubetrip

ACCEPTANCE = Acceptance(max_missed=0, max_nuisance_per_1000h=1e6, min_margin_s=0.0, confidence=0.95)
DAY = 20_000  # s
FIRST, SECOND = MustTrip(1000.0, 1100.0), MustTrip(9000.0, 9100.0)
BANDED = MustTrip(1000.0, 1100.0, likely_s=1130.0, latest_s=1200.0)
NEVER = float("inf")


def a_trace(seconds: int = DAY, standing: range = range(0)) -> Trace:
    """Return a trace of so many seconds that runs but where it stands."""
    time = np.arange(0, seconds + 1) * 1000
    nothing = np.zeros(len(time), np.int64)
    running = np.ones(len(time), np.uint8)
    running[list(standing)] = 0
    return Trace("t", 0.0, time, nothing, nothing, nothing, running, nothing.astype(np.uint8))


def an_entry(label: Label, upsets: tuple[Upset, ...] = ()) -> Entry:
    """Return an entry with this label."""
    return Entry("id", Path("t.csv"), "family", "m", "o", "recorded: x", label, "", upsets)


def verdict(label: Label, *stops: tuple[float, float], upsets: tuple[Upset, ...] = (), run_s: int = DAY) -> Verdict:
    """Judge a replay with these stops (s), each with the second at which the machine may run again."""
    felt = tuple(Stop(round(at * 1000), 1, None if until == NEVER else round(until * 1000)) for at, until in stops)
    return judge(an_entry(label, upsets), a_trace(), Replay((), felt, run_s * 1000, late=0, locked_out=False))


def course(*stops: tuple[float, float], windows: tuple[MustTrip, ...] = (FIRST, SECOND)) -> tuple[list[str], int, int]:
    """Return the outcomes of the windows, the nuisance trips and the repeats."""
    found = verdict(windows, *stops)
    return [window.outcome for window in found.windows], found.nuisance_trips, found.repeats


def with_told(told: tuple[Span, ...], *stops: tuple[float, float]) -> Verdict:
    """Judge two faults of which other traces tell these stretches."""
    felt = tuple(Stop(round(at * 1000), 1, round(until * 1000)) for at, until in stops)
    one = replace(an_entry((FIRST, SECOND)), told=told)
    return judge(one, a_trace(), Replay((), felt, DAY * 1000, late=0, locked_out=False))


# ------------------------------------------------------------------------------------------------------- windows


# Boundaries, which the page's own judge goes through too: stops, outcomes of the windows, nuisance trips, repeats.
COURSES: list[tuple[list[tuple[float, float]], list[str], int, int]] = [
    ([], ["missed", "missed"], 0, 0),
    ([(1050, 1350), (9050, 9350)], ["hit", "hit"], 0, 0),
    ([(1050, 1350)], ["hit", "missed"], 0, 0),  # one stop is no proof of two faults found
    ([(9050, 9350)], ["missed", "hit"], 0, 0),
    ([(500, 800), (9050, 9350)], ["early", "hit"], 1, 0),
    ([(500, 800), (600, 900), (9050, 9350)], ["early", "hit"], 2, 0),  # each stop for nothing counts
    ([(500, 800), (1050, 1350), (9050, 9350)], ["early", "hit"], 1, 0),  # early stays early
    ([(1050, 1350), (5000, 5300), (9050, 9350)], ["hit", "early"], 1, 0),  # between, long after the restart
    ([(1050, 1350), (1400, 1700), (9050, 9350)], ["hit", "hit"], 0, 1),  # met the same fault again
    ([(1050, 1350), (1400, 1700), (1750, 2050), (9050, 9350)], ["hit", "hit"], 0, 2),
    ([(1050, 1350), (1350 + AGAIN_S + 1, 3000), (9050, 9350)], ["hit", "early"], 1, 0),  # it had come through
    ([(1050, 1350), (1350 + AGAIN_S, 3000), (9050, 9350)], ["hit", "hit"], 0, 1),
    ([(500, 800), (900, 1200), (9050, 9350)], ["early", "hit"], 2, 0),  # a nuisance trip makes no repeats
    ([(1500, 1800), (9050, 9350)], ["missed", "hit"], 0, 0),  # late is late, and no nuisance before the next
    ([(1500, 1800), (1900, 2200), (9050, 9350)], ["missed", "hit"], 0, 1),
    ([(1100 + AGAIN_S, 1800), (9050, 9350)], ["missed", "hit"], 0, 0),
    ([(1101 + AGAIN_S, 1800), (9050, 9350)], ["missed", "early"], 1, 0),  # that is no answer to the first
    ([(500, 1200), (1300, 1600), (9050, 9350)], ["early", "hit"], 1, 1),  # stood over it, started into it
    ([(1050, NEVER)], ["hit", "stood"], 0, 0),  # locked out by the first
    ([(1050, 9101)], ["hit", "stood"], 0, 0),
    ([(1050, 9100)], ["hit", "missed"], 0, 0),  # it might run within the window, and was not stopped
    ([(500, NEVER)], ["early", "stood"], 1, 0),
    ([(1050, 1350), (5000, NEVER)], ["hit", "early"], 1, 0),  # whoever stands for nothing has found nothing
    ([(1050, NEVER), (9200, NEVER)], ["hit", "stood"], 0, 0),
    ([(9050, 9350), (15000, 15300)], ["missed", "hit"], 0, 0),  # behind the last window nothing is judged
]


# The same beside a harmless recording that tells 400 to 600 s: a stop there is its nuisance alone.
BESIDE: list[tuple[list[tuple[float, float]], list[str], int, int]] = [
    ([(400, 450), (1050, 1350)], ["hit", "missed"], 0, 0),
    ([(600, 650), (1050, 1350)], ["hit", "missed"], 0, 0),
    ([(399.999, 450), (1050, 1350)], ["early", "missed"], 1, 0),
    ([(600.001, 650), (1050, 1350)], ["early", "missed"], 1, 0),
    ([(500, 550)], ["missed", "missed"], 0, 0),
    ([(500, NEVER)], ["stood", "stood"], 0, 0),  # it stood there all the same
    ([(500, 550), (580, 650), (700, 750), (1050, 1350)], ["early", "missed"], 1, 0),  # none of them is a repeat
    ([(1050, 1350), (1400, 1450), (9050, 9350)], ["hit", "hit"], 0, 1),
]


@pytest.mark.parametrize(("stops", "outcomes", "nuisance", "repeats"), BESIDE)
def test_a_stop_that_a_harmless_recording_tells_is_left_to_it(
    stops: list[tuple[float, float]], outcomes: list[str], nuisance: int, repeats: int
) -> None:
    """Catches a stop that counts twice or makes a window early, and bounds of the stretch that lie otherwise."""
    found = follow((FIRST, SECOND), [Felt(at, until) for at, until in stops], ((400.0, 600.0),))
    assert ([window.outcome for window in found.windows], found.nuisance, found.repeats) == (
        outcomes,
        nuisance,
        repeats,
    )


@pytest.mark.parametrize(("stops", "outcomes", "nuisance", "repeats"), COURSES)
def test_each_window_is_judged_by_itself(
    stops: list[tuple[float, float]], outcomes: list[str], nuisance: int, repeats: int
) -> None:
    """Catches a first stop that answers for all windows, a locked-out machine that misses, a restart that is a crime."""
    assert course(*stops) == (outcomes, nuisance, repeats)


SECONDS = st.integers(0, 400).map(float)


@st.composite
def stories(draw: st.DrawFn, begin: int, end: int) -> list[Felt]:
    """Draw stops within begin .. end, each with the second at which the machine may run again, none within another."""
    edges = sorted(draw(st.sets(st.integers(begin, end), max_size=8)))
    pairs = list(zip(edges[::2], edges[1::2], strict=False))
    return [Felt(float(at), float(until)) for at, until in pairs]


@given(stories(0, 400), SECONDS, st.integers(0, 100))
def test_of_one_window_the_first_stop_decides(stops: list[Felt], earliest: float, length: int) -> None:
    """Catches a rule for several windows that changes what one window always meant."""
    window = MustTrip(earliest, earliest + length)
    (found,) = follow([window], stops).windows
    first = stops[0].at_s if stops else NEVER
    wanted = "early" if first < earliest else "hit" if first <= window.deadline_s else "missed"

    assert (found.outcome, found.stop_s) == (wanted, None if first == NEVER else first)
    assert follow([window], stops).nuisance == sum(stop.at_s < earliest for stop in stops)


@given(st.lists(stories(0, 400), min_size=2, max_size=4), st.integers(0, 300), st.integers(0, 100))
def test_windows_far_apart_are_as_many_traces_of_one(parts: list[list[Felt]], earliest: int, length: int) -> None:
    """Catches a window whose verdict hangs on what became of one that was over long before."""
    far = 10_000
    windows = [MustTrip(far * n + earliest, far * n + earliest + length) for n in range(len(parts))]
    shifted = [
        Felt(stop.at_s + far * n, stop.until_s + far * n)
        for n, part in enumerate(parts)
        for stop in _up_to_the_first(part, windows[0])
    ]
    together = follow(windows, shifted)

    alone = [follow([windows[0]], part).windows[0] for part in parts]
    assert [found.outcome for found in together.windows] == [found.outcome for found in alone]
    assert [found.margin_s for found in together.windows] == [found.margin_s for found in alone]
    assert together.nuisance == sum(follow([windows[0]], part).nuisance for part in parts)


def _up_to_the_first(part: list[Felt], window: MustTrip) -> list[Felt]:
    """Return the stops before a window and the first from there on: what one window is judged by."""
    before = [stop for stop in part if stop.at_s < window.earliest_s]
    return part[: len(before) + 1]


def test_each_window_counts_once_in_totals_and_limits() -> None:
    """Catches two faults of a trace counted as one, and one that the machine stood over counted as a trial."""
    both = verdict((FIRST, SECOND), (1050, 1350), (9090, 9390))
    half = verdict((FIRST, SECOND), (1050, NEVER))
    lost = verdict((FIRST, SECOND), (1050, 1350))
    totals = total([both, half, lost])
    claims = judgement([both, half, lost], ACCEPTANCE).claims

    assert (totals.must_trip, totals.hit, totals.missed, totals.early, totals.stood) == (6, 4, 1, 0, 1)
    assert (totals.worst_margin_s, totals.median_margin_s) == (10.0, 50.0)
    assert (claims[0].events, claims[0].of, claims[0].upper) == (1, 5, proportion_upper(1, 5, 0.95))
    assert [found.outcome for found in (both, half, lost)] == ["hit", "hit", "missed"]


def test_a_window_behind_the_end_of_its_trace_is_refused_whichever_it_is() -> None:
    """Catches a second window of another trace that is counted as missed."""
    with pytest.raises(Refusal, match="after the trace has ended"):
        verdict((FIRST, MustTrip(DAY + 1.0, DAY + 9.0)))
    with pytest.raises(Refusal, match=r"upsets in the library.*after the trace has ended"):
        verdict("ride_through", upsets=((DAY + 1.0, DAY + 9.0),))


def test_plain_logics_beside_are_judged_by_window_too(settings_file: Path) -> None:
    """Catches a logic that never stops with one miss for two faults, and one that stopped for good with a second hit."""
    settings, two = read_settings(settings_file), an_entry((FIRST, SECOND))

    def outcomes(replay: Replay) -> tuple[str, ...]:
        return judge(two, a_trace(), replay).outcomes

    assert outcomes(never(a_trace(), settings)) == ("missed", "missed")
    assert outcomes(always(a_trace(), settings)) == ("early", "stood")


# ------------------------------------------------------------------------------------------------ band of a deadline


# Stop, outcome, how late.
BAND: list[tuple[float | None, str, str | None]] = [
    (1100.0, "hit", None),
    (1100.1, "missed", "likely"),
    (1130.0, "missed", "likely"),
    (1130.1, "missed", "latest"),
    (1200.0, "missed", "latest"),
    (1200.1, "missed", "too late"),
    (None, "missed", "no stop"),
    (999.0, "early", None),
]


@pytest.mark.parametrize(("stop_s", "outcome", "late"), BAND)
def test_the_careful_figure_decides_and_the_band_says_how_late(
    stop_s: float | None, outcome: str, late: str | None
) -> None:
    """Catches a verdict that goes by the likely figure, and a miss that is told as more or less than it is."""
    found = verdict((BANDED,), *([] if stop_s is None else [(stop_s, stop_s + 300)]))
    (window,) = found.windows

    assert (found.outcome, window.late) == (outcome, late)
    assert window.likely_margin_s == (None if stop_s is None else pytest.approx(1130.0 - stop_s))
    assert found.margin_s == (None if stop_s is None else pytest.approx(1100.0 - stop_s))
    assert total([found]).late == {kind: int(kind == late) for kind in ("likely", "latest", "too late", "no stop")}


def test_without_a_band_nothing_is_in_time_by_it() -> None:
    """Catches a deadline nobody knows more of that is softened."""
    (window,) = verdict((FIRST,), (1100.1, NEVER)).windows
    assert (window.late, window.likely_margin_s, total([verdict((FIRST,))]).worst_likely_margin_s) == (
        "too late",
        None,
        None,
    )
    (half,) = verdict((MustTrip(1000.0, 1100.0, latest_s=1200.0),), (1150.0, NEVER)).windows
    assert half.late == "latest"


def test_the_band_keeps_the_stops_of_its_fault() -> None:
    """Catches a stop within the band of a fault that was found, told as a nuisance before the next."""
    long = MustTrip(1000.0, 1100.0, latest_s=5000.0)
    assert course((1050, 1051), (4000, 4300), (9050, 9350), windows=(long, SECOND)) == (["hit", "hit"], 0, 1)
    assert course((1050, 1051), (5001, 5300), (9050, 9350), windows=(long, SECOND)) == (["hit", "early"], 1, 0)


# ------------------------------------------------------------------------------------------------------------ upsets

TWO = ((1000.0, 1100.0), (1300.0, 1350.0))


# Stops, upsets ridden through, stopped in and stood over, stops outside.
IN_UPSETS: list[tuple[list[tuple[float, float]], int, int, int, int]] = [
    ([], 2, 0, 0, 0),
    ([(1000.0, 1010.0)], 1, 1, 0, 0),
    ([(999.9, 1010.0)], 2, 0, 0, 1),  # before it began
    ([(1050.0, 1060.0), (1070.0, 1080.0), (1090.0, 1095.0)], 1, 1, 0, 0),  # several stops, one upset
    ([(1299.0, 1310.0)], 1, 1, 0, 0),  # what the first filled has not drained yet
    ([(1310.0, 1320.0)], 1, 1, 0, 0),  # the second's own, and not the first's too
    ([(1350.0 + AFTER_S, 2000.0)], 1, 1, 0, 0),
    ([(1350.1 + AFTER_S, 2000.0)], 2, 0, 0, 1),
    ([(1050.0, 1060.0), (1320.0, 1400.0), (9000.0, 9300.0)], 0, 2, 0, 1),
    ([(1050.0, NEVER)], 0, 1, 1, 0),  # locked out over the second: no trial
    ([(1050.0, 1350.0)], 1, 1, 0, 0),  # might run again within it
    ([(500.0, NEVER)], 0, 0, 2, 1),
]


@pytest.mark.parametrize(("stops", "rode", "stopped", "stood", "outside"), IN_UPSETS)
def test_what_a_stop_belongs_to(
    stops: list[tuple[float, float]], rode: int, stopped: int, stood: int, outside: int
) -> None:
    """Catches an upset counted twice, an earlier stop counted in it, and one that no running machine met."""
    met = verdict("ride_through", *stops, upsets=TWO).upsets
    assert met is not None
    assert (met.rode_through, met.stopped, met.stood, met.stops_outside) == (rode, stopped, stood, outside)


def test_the_limit_stands_on_the_upsets_that_were_met() -> None:
    """Catches a bound over traces, over stops or over upsets that the machine stood over; by hand 1 - 0.05^(1/n)."""
    quiet, hit = verdict("ride_through", upsets=TWO), verdict("ride_through", (1050.0, NEVER), upsets=TWO)
    claim = judgement([quiet] * 4, ACCEPTANCE).claims[3]
    assert (claim.events, claim.of, claim.upper) == (0, 8, pytest.approx(1 - 0.05 ** (1 / 8)))

    claim = judgement([quiet] * 4 + [hit], ACCEPTANCE).claims[3]
    assert (claim.events, claim.of, claim.point) == (1, 9, 1 / 9)
    assert claim.upper == proportion_upper(1, 9, 0.95)


def test_upsets_of_traces_that_do_not_ride_through_count_for_nothing() -> None:
    """Catches a denominator filled with traces that nobody can call, or that had to be stopped."""
    others = [verdict("undecided", upsets=TWO), verdict((SECOND,), (9050.0, NEVER), upsets=TWO)]
    assert [found.upsets for found in others] == [None, None]
    totals = total([*others, verdict("ride_through")])
    assert (totals.upsets, totals.upsets_stopped, totals.hours_outside_upsets) == (0, None, None)
    assert judgement(others, ACCEPTANCE).claims[3].point is None


def test_traces_without_a_mark_are_hours_without_upset_once_some_are_marked() -> None:
    """Catches a stop of an ordinary hour, or the hour itself, that is in neither of the two figures."""
    totals = total([verdict("ride_through", upsets=TWO), verdict("ride_through", (50.0, 60.0), run_s=3600)])
    within = (1300 - 1000) + (50 + AFTER_S)
    assert (totals.nuisance_trips, totals.stops_outside_upsets, totals.upsets_stopped) == (1, 1, 0)
    assert totals.hours_outside_upsets == pytest.approx((DAY - within + 3600) / 3600, abs=1e-6)


@st.composite
def marked(draw: st.DrawFn) -> tuple[tuple[Upset, ...], list[tuple[int, int]], range]:
    """Draw upsets, stops and a standstill of a trace."""
    edges = sorted(draw(st.sets(st.integers(0, 2000), min_size=2, max_size=8)))
    upsets = tuple((float(a), float(b)) for a, b in zip(edges[::2], edges[1::2], strict=False))
    turns = sorted(draw(st.sets(st.integers(0, 2400), max_size=6)))
    begin = draw(st.integers(0, 2400))
    return upsets, list(zip(turns[::2], turns[1::2], strict=False)), range(begin, min(2400, begin + 300))


@given(marked())
def test_hours_without_upset_are_counted_second_by_second(drawn: tuple) -> None:
    """Catches time counted twice where two upsets are close, and time of a machine that stood: against a plain loop."""
    upsets, stops, standing = drawn
    trace = a_trace(2400, standing)
    ran = inside = 0
    for second in range(1, 2401):
        stood = any(at < second <= until for at, until in stops)
        if trace.running[second] and not stood:
            ran += 1
            inside += any(begin < second <= end + AFTER_S for begin, end in upsets)
    felt = tuple(Stop(at * 1000, 1, until * 1000) for at, until in stops)
    found = judge(an_entry("ride_through", upsets), trace, Replay((), felt, ran * 1000, late=0, locked_out=False))

    assert found.upsets is not None
    assert found.upsets.hours_outside == pytest.approx((ran - inside) / 3600, abs=1e-6)


def quiet_library(folder: Path, upsets: str, rule: str = "") -> Path:
    """Return the small library with its quiet hour marked, and rules of evidence."""
    path = folder / "library.toml"
    path.write_text(path.read_text() + upsets)
    lenient = "confidence = 0.95\nmax_missed_probability = 0.9999\nmin_margin_coverage = 0.0001\n"
    text = SETTINGS.replace("max_nuisance_per_1000h = 0.0", "max_nuisance_per_1000h = 1000000")
    (folder / "settings.toml").write_text(text + (lenient + rule if rule else ""))
    return folder


def test_a_library_without_marks_says_so_and_shows_no_zero(library: Path) -> None:
    """Catches silence about upsets that reads as a clean record."""
    shown = lubetrip("score", quiet_library(library, "")).stdout
    report = json.loads(lubetrip("score", library, "--json", "-").stdout)

    assert "none marked in this library" in shown
    assert "no upset is marked" in shown
    assert (report["totals"]["upsets_stopped"], report["evidence"]["outside_upsets"]) == (None, None)
    assert report["evidence"]["claims"][3]["point"] is None


@pytest.mark.parametrize(
    ("upsets", "allowed", "status", "said"),
    [
        ("", "0.1", 3, "max_nuisance_probability: at most 100 % shown, 10 % wanted; needs 29 upsets more"),
        ("upsets = [[600, 700], [2000, 2100]]\n", "0.1", 3, "needs 27 upsets more, without a stop"),
        ("upsets = [[600, 700], [2000, 2100]]\n", "0.8", 0, "0 of 2 had a nuisance trip; 0 stops in 0.78 run hours"),
    ],
)
def test_a_probability_in_an_upset_may_be_asked_for(
    upsets: str, allowed: str, status: int, said: str, library: Path
) -> None:
    """Catches a rule that nothing has tried and that passes all the same."""
    done = lubetrip("score", quiet_library(library, upsets, f"max_nuisance_probability = {allowed}\n"))
    assert done.returncode == status
    assert said in " ".join(done.stdout.split())


def test_a_day_of_two_faults_and_an_upset_is_told_in_every_form(library: Path) -> None:
    """Catches a form of the report that knows of one window alone: terminal, JSON, JUnit, page."""
    healthy, dry = 120.0, 5.0
    net = lambda s: dry if 100 <= s < 200 or 3000 <= s < 3100 else healthy  # noqa: E731
    (library / "day.csv").write_text(trace_csv(3600, net))
    windows = [{"earliest_s": 100, "deadline_s": 150}, {"earliest_s": 3000, "deadline_s": 3010, "likely_s": 3030}]
    told = ", ".join(f"{{ {', '.join(f'{key} = {value}' for key, value in window.items())} }}" for window in windows)
    text = (library / "library.toml").read_text() + "upsets = [[600, 700]]\n"
    (library / "library.toml").write_text(text + entry("day", f"must_trip = [{told}]", "day"))
    (library / "settings.toml").write_text(SETTINGS)
    out, page = library / "j.xml", library / "r.html"
    done = lubetrip("score", library, "--junit", out, "--json", library / "s.json")
    report = json.loads((library / "s.json").read_text())
    lubetrip("report", library, "-o", page)
    day = next(row for row in report["traces"] if row["id"] == "day")
    late = "late by the cautious figure, in time by the likely one"

    assert [window["outcome"] for window in day["windows"]] == ["hit", "missed"]
    assert (day["outcome"], day["deadline_s"], day["margin_s"]) == ("missed", 3010.0, day["windows"][1]["margin_s"])
    assert (report["totals"]["must_trip"], report["totals"]["missed"], report["totals"]["late"]["likely"]) == (3, 1, 1)
    assert report["evidence"]["outside_upsets"]["of"] == pytest.approx((3600 - 100 - AFTER_S) / 3600, abs=1e-6)
    for text in (done.stdout, out.read_text(), page.read_text()):
        assert late in " ".join(text.split())
    assert "1 with a stop" not in out.read_text()
    assert "0 with a stop, 1 ridden through, 0 stood over" in out.read_text()
    assert "must trip from 100 s to 150 s, then from 3000 s to 3010 s (likely 3030 s)" in page.read_text()

    again = score(read_library(library), read_settings(library / "settings.toml"))
    assert ("missed trips", "1 of 3 faults") in summary(again)
    assert f"1 of the 1 missed: {late}." in apart(again)
    assert again.outside is not None
    assert replace(again, totals=replace(again.totals, stops_outside_upsets=None)).outside is None


def test_a_nuisance_before_a_fault_that_counts_elsewhere_counts_there() -> None:
    """Catches a stop before the second fault counted in both traces that tell of it, and one that counts nowhere."""
    stops = (1050.0, 1060.0), (5000.0, 5010.0), (9050.0, 9060.0)

    assert with_told(((8990.0, 9200.0),), *stops).nuisance_trips == 0
    assert with_told((), *stops).nuisance_trips == 1
    assert with_told(((1000.0, 1100.0),), *stops).nuisance_trips == 1


def test_a_window_of_which_a_part_is_told_counts_elsewhere() -> None:
    """Catches a fault counted twice where the other recording ends before the deadline, or begins after the fault."""
    for part in ((990.0, 1050.0), (1050.0, 1060.0), (1099.0, 2000.0)):
        assert [window.earliest_s for window in with_told((part,)).windows] == [9000.0]
    assert len(with_told(((1100.5, 8999.5),)).windows) == 2


@pytest.mark.parametrize(("short_s", "whole"), [(0.0, True), (0.0005, True), (0.002, False)])
def test_a_trace_is_told_as_a_whole_to_the_ms(short_s: float, whole: bool) -> None:
    """Catches a trace judged twice since a product of floats is a hair less than the time of its last row."""
    one = replace(an_entry("ride_through"), told=((short_s, DAY - short_s),))

    assert is_told(one, a_trace()) is whole


def test_a_window_is_told_with_the_band_that_its_label_states() -> None:
    """Catches the likely end of a band told as its latest, and figures of the window before."""
    course = follow((BANDED, SECOND), [Felt(1120.0, 1500.0, "oil"), Felt(9050.0, 9500.0, "reload")])
    told = [
        {key: getattr(found, key) for key in vars(window)}
        for window, found in zip((BANDED, SECOND), course.windows, strict=True)
    ]

    assert told == [vars(BANDED), vars(SECOND)]
    assert [(f.outcome, f.stop_s, f.margin_s, f.likely_margin_s, f.late, f.cause) for f in course.windows] == [
        ("missed", 1120.0, -20.0, 10.0, "likely", "oil"), ("hit", 9050.0, 50.0, None, None, "reload"),
    ]  # fmt: skip
