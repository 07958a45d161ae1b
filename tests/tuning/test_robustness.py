"""Robustness: disturbed traces against closed forms, brackets that hold on both sides, and the Monte Carlo."""

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import binomtest, kstest

from protect import ranges
from protect.ranges import NO_READING
from protect.settings import derive
from replay.drawing.plot_tuning import draw_tornado
from replay.engine import replay_trace
from replay.engine.workers import one_by_one
from replay.ground.refusal import Refusal
from replay.library import Library, read_library
from replay.score import judge
from replay.settings import Settings, read_settings
from replay.trace import Trace, read_trace
from replay.tuning.disturb import SensorError, disturbed, thinned
from replay.tuning.levers import GAIN, LAG, OFFSET, PERIOD, SETTING, Lever, amount_text, levers
from replay.tuning.robustness import EVENTS, Bracket, Robustness, _scanned, robustness
from replay.tuning.run import Moved
from replay.tuning.tolerance import USUAL_TOLERANCES, MonteCarlo, Tolerances, installation, monte_carlo, read_tolerances
from tests.support.command import lubetrip
from tests.support.tuning import write_library

pytestmark = pytest.mark.slow("simulates, scores or draws many traces")


def trace_of(oil: list[int], times_ms: list[int] | None = None, crankcase: list[int] | None = None) -> Trace:
    """Return a trace of a running machine at 300 kPa suction with these oil readings (Pa)."""
    count = len(oil)
    times = np.arange(count) * 1000 if times_ms is None else np.array(times_ms)
    suction = np.full(count, 300_000)
    own = suction if crankcase is None else np.array(crankcase)
    flags = np.ones(count, np.uint8)
    return Trace("t", 0.0, times.astype(np.int64), np.array(oil, np.int64), suction, own, flags, 0 * flags)


# ---- disturbed traces -------------------------------------------------------------------------------------------


@pytest.mark.outside(
    computation="first-order lag of a sensor",
    source="none: closed form, as in any book on control",
    status="none",
    agreement="0.5 Pa, the rounding to whole Pa",
)
@pytest.mark.parametrize("lag_s", [0.5, 3.0, 20.0])
@pytest.mark.parametrize("step_ms", [100, 1000, 1700])
def test_a_lag_answers_a_step_as_a_first_order_lag_does(lag_s: float, step_ms: int) -> None:
    """Catches a lag whose time constant depends on the sample period, and one that lags twice.

    Closed form of a first-order lag after a step from p0 to p1: p1 + (p0 - p1) exp(-t / lag), in any book on control.
    """
    times = [step_ms * row for row in range(60)]
    before, after, at = 420_000, 305_000, 10
    trace = trace_of([before] * at + [after] * 50, times)
    read = disturbed(trace, {"oil_pressure": SensorError(lag_s=lag_s)}).oil_pa
    since_s = np.arange(1, 51) * step_ms / 1000  # a reading holds for the time since the one before

    assert read[:at].tolist() == [before] * at
    assert np.abs(read[at:] - (after + (before - after) * np.exp(-since_s / lag_s))).max() <= 0.5 + 1e-6


def test_a_lag_goes_on_over_readings_that_never_came() -> None:
    """Catches a lag that takes 'no reading' for a pressure, or that stands still while nothing is read."""
    trace = trace_of([400_000, 400_000, NO_READING, NO_READING, 300_000])
    read = disturbed(trace, {"oil_pressure": SensorError(lag_s=5.0)}).oil_pa.tolist()

    assert read[:4] == [400_000, 400_000, NO_READING, NO_READING]
    assert read[4] == round(300_000 + 100_000 * np.exp(-3 / 5))


@given(
    st.lists(st.integers(0, 2_000_000), min_size=2, max_size=20),
    st.integers(-300_000, 300_000),
    st.floats(-0.3, 0.3),
)
def test_offset_and_gain_are_in_whole_pascals_and_within_what_a_sensor_can_say(
    oil: list[int], offset: int, gain: float
) -> None:
    """Catches an offset on the wrong channel, a gain about the wrong zero, a reading below any sensor's least."""
    trace = trace_of(oil)
    other = disturbed(trace, {"oil_pressure": SensorError(offset_pa=offset, gain=gain)})
    for before, after in zip(oil, other.oil_pa.tolist(), strict=True):
        exact = before * (1 + gain) + offset
        assert after == NO_READING if exact < -100_001 else after == NO_READING or abs(after - exact) <= 0.5 + 1e-6

    assert other.suction_pa.tolist() == trace.suction_pa.tolist()
    assert disturbed(trace, {}).oil_pa.tolist() == oil


def test_a_suction_sensor_is_the_crankcase_sensor_where_there_is_no_other() -> None:
    """Catches a suction error that leaves net oil pressure alone where one sensor serves both, and the reverse."""
    error = {"suction_pressure": SensorError(offset_pa=7000)}
    one, two = trace_of([400_000] * 2), trace_of([400_000] * 2, crankcase=[310_000] * 2)

    assert disturbed(one, error).crankcase_pa.tolist() == [307_000] * 2
    assert disturbed(two, error).crankcase_pa.tolist() == [310_000] * 2
    assert disturbed(one, {"crankcase_pressure": SensorError(offset_pa=9000)}).crankcase_pa.tolist() == [300_000] * 2
    assert disturbed(two, {"crankcase_pressure": SensorError(offset_pa=9000)}).crankcase_pa.tolist() == [319_000] * 2


@given(st.lists(st.integers(1, 5000), min_size=2, max_size=40), st.integers(1, 8000))
def test_a_longer_period_drops_ticks_and_invents_none(steps: list[int], period: int) -> None:
    """Catches a reading that is interpolated, ticks closer than the period, and a tick dropped without need."""
    times = np.cumsum([0, *steps])
    trace = trace_of(list(range(len(times))), times.tolist())
    kept = thinned(trace, period)

    assert kept.time_ms[0] == 0
    assert (np.diff(kept.time_ms) >= period).all()
    assert kept.time_ms.tolist() == times[kept.oil_pa].tolist()
    for first, second in zip(kept.oil_pa[:-1], kept.oil_pa[1:], strict=True):
        assert times[second - 1] - times[first] < period or second - 1 == first


# ---- brackets ---------------------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a small library."""
    return write_library(tmp_path_factory.mktemp("robust") / "library")


@pytest.fixture(scope="module")
def moved(folder: Path) -> Robustness:
    """Return how far everything may move on the library."""
    settings = read_settings(folder / "settings.toml")
    return robustness(read_library(folder).entries, settings, levers(settings), one_by_one, lambda: None)


def by_hand(lever: Lever, amount: float, trace: Trace, settings: Settings) -> tuple[Trace, Settings]:
    """Move a lever: restated here, without the functions that are tested (a lag is held to its closed form above)."""
    move = lever.sign * amount
    if lever.kind == SETTING:
        values = list(settings.values)
        values[[row[0] for row in ranges.SETTINGS].index(lever.subject)] += round(move)
        derive(values)
        return trace, replace(settings, values=tuple(values))
    if lever.kind == PERIOD:
        return thinned(trace, round(amount)), settings
    if lever.kind == LAG:
        return disturbed(trace, {lever.subject: SensorError(lag_s=move)}), settings
    shift = {OFFSET: lambda pa: pa + move, GAIN: lambda pa: pa * (1 + move)}[lever.kind]
    if lever.subject == "oil_pressure":
        return replace(trace, oil_pa=np.rint(shift(trace.oil_pa)).astype(np.int64)), settings
    suction = np.rint(shift(trace.suction_pa)).astype(np.int64)
    return replace(trace, suction_pa=suction, crankcase_pa=suction), settings


def events(library: Library, lever: Lever, amount: float, settings: Settings, event: str) -> int:
    """Count the traces with an event when a lever is moved, by the interpreted logic."""
    count = 0
    for entry in library.entries:
        trace, other = by_hand(lever, amount, read_trace(entry.path), settings)
        count += judge(entry, trace, replay_trace(trace, other)).outcome in EVENTS[event]
    return count


def test_both_ends_of_every_bracket_hold_when_scored_again(folder: Path, moved: Robustness) -> None:
    """Catches an end that was never tried, ends that are swapped, and a lever that moves something else."""
    library = read_library(folder)
    at_rest = {event: events(library, moved.levers[0], 0.0, moved.settings, event) for event in EVENTS}

    assert {moved.levers[number].kind for number, _ in moved.found} == {OFFSET, GAIN, LAG, PERIOD, SETTING}
    for (number, event), bracket in moved.found.items():
        lever = moved.levers[number]
        if lever.kind == SETTING and lever.subject in ("oil_most", "suction_most", "suction_least", "oil_least"):
            continue  # the same mechanism as the other settings; left out to be quick
        assert bracket.good < bracket.bad
        assert events(library, lever, bracket.good, moved.settings, event) <= at_rest[event], (lever.name, event)
        assert events(library, lever, bracket.bad, moved.settings, event) > 0, (lever.name, event)


def bracket_of(
    moved: Robustness, subject: str, sign: int, event: str, family: str = "", kind: str = SETTING
) -> Bracket:
    """Return one bracket, in all or of a family."""
    found = moved.families[family] if family else moved.found
    (number,) = [n for n, one in enumerate(moved.levers) if (one.kind, one.subject, one.sign) == (kind, subject, sign)]
    return found[number, event]


def test_brackets_hold_the_values_of_a_calculation_by_hand(moved: Robustness) -> None:
    """Catches amounts in other units, a family's bracket that is that of all, a deadline counted from elsewhere.

    A reading applies to the time since the one before, so what begins at 60 s counts from 59 s on. Below the floor
    the weight is 2. dry-1 has 46 s: a trip delay up to 92 s is full by then, 32 s more than 60 s. dip-2 lasts 24 s
    and fills 48 s, 12 s less than 60 s. To fill 60 s in 46 s takes a weight of 60/46, which the ramp from 2 at the
    floor (30 kPa) to 1 at cut-out (60 kPa) has at 50.87 kPa; dry-1 has 5 kPa.
    """
    late = bracket_of(moved, "trip_delay", 1, "missed", "dry")
    soon = bracket_of(moved, "trip_delay", -1, "nuisance", "dip")
    low = bracket_of(moved, "oil_pressure", 1, "missed", "dry", OFFSET)

    assert late.good <= 32_000 < late.bad < 33_000
    assert 11_000 < soon.good < 12_000 <= soon.bad
    assert low.good <= 45_870 <= low.bad < 47_000


def test_a_bracket_of_all_is_the_nearest_of_the_families(moved: Robustness) -> None:
    """Catches a family that is left out of the whole, and a whole that is better than its parts."""
    for place, bracket in moved.found.items():
        parts = [family[place] for family in moved.families.values() if place in family]
        assert bracket.good == min(part.good for part in parts)
        assert bracket.bad == min(part.bad for part in parts)


def test_the_tornado_plot_names_every_amount_at_which_something_goes_wrong(moved: Robustness) -> None:
    """Catches a bar that stands for another lever or way, a bracket that is not drawn, a lever without a row."""
    figure = draw_tornado(whole(moved, USUAL_TOLERANCES), "title")
    rows = {label.get_text() for axes in figure.axes for label in axes.get_yticklabels()}
    ends = sorted(text.get_text().rstrip("~") for axes in figure.axes for text in axes.texts)
    expected = sorted(amount_text(moved.levers[number], bracket.bad) for (number, _), bracket in moved.found.items())
    left = [text for axes in figure.axes for text in axes.texts if text.xy[0] < 0]

    assert ends == expected
    assert {"oil pressure", "suction pressure", "sample period", "trip delay"} <= rows
    assert len(left) == sum(moved.levers[number].sign < 0 for number, _ in moved.found)


def whole(moved: Robustness, tolerances: Tolerances) -> Moved:
    """Return brackets beside stated tolerances."""
    return Moved(moved, MonteCarlo(tolerances, 1, 0, {}, {}, 0), "")


def test_the_tornado_plot_frames_each_stated_tolerance(moved: Robustness) -> None:
    """Catches a frame of another sensor or error, half as wide as stated, and one around what nobody stated."""
    stated = {"oil_pressure": SensorError(offset_pa=7000.0, lag_s=3.0)}
    figure = draw_tornado(whole(moved, stated), "title")
    frames = {axes.get_title("left"): [one for one in axes.patches if not one.get_fill()] for axes in figure.axes}
    found = {title: [one.get_bbox().intervalx.tolist() for one in some] for title, some in frames.items() if some}
    unit = moved.settings.units

    assert found[f"sensor offset, {unit.difference}"] == [pytest.approx([-7000 / unit.size_pa, 7000 / unit.size_pa])]
    assert found["sensor lag, s"] == [[0.0, 3.0]]
    assert set(found) == {f"sensor offset, {unit.difference}", "sensor lag, s"}


def test_the_tornado_plot_marks_bars_that_are_cut_and_explains_its_signs(moved: Robustness) -> None:
    """Catches a bar that ends at the edge as though the first missed trip came there, and a sign nobody explains."""
    figure = draw_tornado(whole(moved, {}), "title")
    marks = [line for axes in figure.axes for line in axes.lines if line.get_marker() in ("<", ">")]
    beyond = [
        number
        for (number, _), bracket in moved.found.items()
        if moved.levers[number].kind == SETTING
        and bracket.bad > abs(moved.levers[number].start or moved.levers[number].reach)
    ]
    words = [text.get_text() for text in figure.legends[0].get_texts()]

    assert len(marks) == len(beyond) > 0
    assert "bar cut: the text says how far" in words
    again = any(bracket.good_again for bracket in moved.found.values())
    assert ("~  a trace comes good again further on" in words) == again


def test_traces_that_are_wrong_to_begin_with_are_left_out_and_told(folder: Path) -> None:
    """Catches a first missed trip at no movement at all, which hides every other."""
    settings = read_settings(folder / "settings.toml")
    values = list(settings.values)
    values[ranges.TRIP_DELAY] = 40_000  # a dip of 24 s at weight 2 is too long
    derive(values)
    tight = replace(settings, values=tuple(values))
    found = robustness(read_library(folder).entries, tight, levers(tight), one_by_one, lambda: None)

    assert found.left_out.get("nuisance", 0) >= 1
    assert "dip" in found.families  # of the shorter dip


@pytest.mark.parametrize(
    ("bad", "expected"),
    [
        ("....", None),
        ("..xx", (2.0, 3.0, False)),
        ("xxxx", (0.0, 1.0, False)),
        ("..x.", (2.0, 3.0, True)),
        (".x.x", (1.0, 2.0, True)),
    ],
)
def test_the_first_bad_point_counts_and_a_return_is_told(bad: str, expected: tuple[float, float, bool] | None) -> None:
    """Catches a bracket around the last change instead of the first, and a course taken for monotone."""
    found = _scanned([(float(place), letter == "x") for place, letter in enumerate(bad, start=1)])

    assert (found and (found.good, found.bad, found.good_again)) == expected


def backwards(function, items, _):
    """Work in another order."""
    return [function(item) for item in items[::-1]][::-1]


def test_workers_do_not_change_what_is_found(folder: Path, moved: Robustness) -> None:
    """Catches brackets that depend on the order in which traces are done."""
    entries = read_library(folder).entries
    assert robustness(entries, moved.settings, moved.levers, backwards, lambda: None) == moved


# ---- Monte Carlo ------------------------------------------------------------------------------------------------

WIDE = {"oil_pressure": SensorError(offset_pa=60_000.0)}


@pytest.mark.outside(
    computation="Monte Carlo: interval of the share",
    source="scipy.stats.binomtest",
    status="consulted",
    agreement="1e-9",
)
def test_the_share_of_draws_and_its_interval_are_those_of_counting_by_hand(folder: Path) -> None:
    """Catches draws that are not those of the seed, an event counted once a trace, an interval of another method.

    Oracle for the interval: scipy.stats.binomtest, exact (Clopper-Pearson). Offsets of 45 kPa and more (see above) hide dry-1.
    """
    settings = read_settings(folder / "settings.toml")
    library = read_library(folder)
    entries = [entry for entry in library.entries if entry.id == "dry-1"]
    drawn = monte_carlo(entries, settings, WIDE, 11, 150, one_by_one, lambda: None)
    offsets = [installation(WIDE, 11, number)["oil_pressure"].offset_pa for number in range(150)]
    surely, perhaps = sum(pa > 46_500 for pa in offsets), sum(pa > 43_500 for pa in offsets)
    missed = drawn.shares["missed"]
    expected = binomtest(missed.events, 150).proportion_ci(0.95, "exact")
    upper = binomtest(missed.events, 150, alternative="less").proportion_ci(0.95, "exact").high

    assert 5 < surely <= missed.events <= perhaps
    assert missed.interval == pytest.approx((expected.low, expected.high), abs=1e-9)
    assert missed.upper == pytest.approx(upper, abs=1e-9)
    assert drawn.families == {"dry": {"missed": missed.events, "nuisance": 0}}


@given(st.integers(0, 2**31), st.integers(0, 10_000))
def test_a_draw_belongs_to_its_seed_and_number_and_stays_within_the_tolerances(seed: int, number: int) -> None:
    """Catches an offset beyond what was stated, a negative lag, one stream of random numbers for everybody."""
    stated = {"oil_pressure": SensorError(8000.0, 0.01, 2.0), "suction_pressure": SensorError(0.0, 0.0, 0.0)}
    errors = installation(stated, seed, number)

    assert errors == installation(stated, seed, number)
    assert errors != installation(stated, seed, number + 1)
    assert abs(errors["oil_pressure"].offset_pa) <= 8000
    assert abs(errors["oil_pressure"].gain) <= 0.01
    assert 0 <= errors["oil_pressure"].lag_s <= 2
    assert errors["suction_pressure"] == errors["crankcase_pressure"] == SensorError()


@pytest.mark.outside(
    computation="Monte Carlo: draws",
    source="scipy.stats.kstest",
    status="consulted",
    agreement="p 0.19 and more",
)
def test_draws_are_even_between_minus_and_plus_the_tolerance() -> None:
    """Catches draws that crowd at the middle or the ends, or leave out one side; library: scipy.stats.kstest."""
    stated = {"oil_pressure": SensorError(1e6, 0.5, 600.0)}
    drawn = [installation(stated, 1, number)["oil_pressure"] for number in range(2000)]
    lines = {
        "offset": ([one.offset_pa for one in drawn], -1e6, 2e6),
        "gain": ([one.gain for one in drawn], -0.5, 1.0),
        "lag": ([one.lag_s for one in drawn], 0.0, 600.0),
    }

    for name, (values, least, span) in lines.items():
        assert kstest(values, "uniform", (least, span)).pvalue > 0.01, name


def test_each_sensor_has_a_draw_of_its_own() -> None:
    """Catches one draw for all sensors, or for offset, gain and lag of one, by which errors cancel that do not in a plant.

    Of 2,000 draws two independent columns correlate beyond 0.1 once in 130,000 (normal, 4.5 / sqrt(n)); the difference of
    two evenly drawn offsets of 8 kPa has the variance 2 * 8000^2 / 3.
    """
    stated = dict.fromkeys(("oil_pressure", "suction_pressure", "crankcase_pressure"), SensorError(8000.0, 0.01, 2.0))
    drawn = [installation(stated, 3, number) for number in range(2000)]
    columns = {
        (channel, name): np.array([getattr(one[channel], name) for one in drawn])
        for channel in stated
        for name in ("offset_pa", "gain", "lag_s")
    }
    apart = np.abs(np.corrcoef(list(columns.values())) - np.eye(9))
    off = columns["oil_pressure", "offset_pa"] - columns["crankcase_pressure", "offset_pa"]

    assert apart.max() < 0.1
    assert np.var(off) == pytest.approx(2 * 8000**2 / 3, rel=0.1)
    for (_, name), values in columns.items():
        most = {"offset_pa": 8000.0, "gain": 0.01, "lag_s": 2.0}[name]
        mean, spread = (most / 2, most / 12**0.5) if name == "lag_s" else (0.0, most / 3**0.5)
        assert abs(values.mean() - mean) < 4.5 * spread / 2000**0.5
        assert values.std() == pytest.approx(spread, rel=0.05)


def test_the_monte_carlo_is_the_same_whoever_works_and_begins_with_the_shorter_one(folder: Path) -> None:
    """Catches a draw that depends on how many others were asked for, or on who does it."""
    entries, settings = read_library(folder).entries, read_settings(folder / "settings.toml")
    run = lambda draws, each: monte_carlo(entries, settings, WIDE, 2, draws, each, lambda: None)  # noqa: E731
    whole = run(40, one_by_one)

    assert whole == run(40, backwards)
    assert 0 < run(20, one_by_one).shares["missed"].events <= whole.shares["missed"].events


@pytest.mark.parametrize(
    ("text", "rule"),
    [
        ("", "states no tolerance"),
        ("[oil]\noffset = '1 kPa'", r"\[oil\]: unknown section; accepted: \[oil_pressure\]"),
        ("oil_pressure = 3", "must be a table"),
        ("[oil_pressure]\nnoise = '1 kPa'", "unknown key"),
        ("[oil_pressure]\noffset = 1000", "a unit is missing"),
        ("[oil_pressure]\noffset = '-1 kPa'", "outside what is admitted"),
        ("[oil_pressure]\noffset = '5 s'", "not a unit of this kind"),
        ("[oil_pressure]\ngain = 2", "not a share"),
        ("[oil_pressure]\ngain = true", "a plain number"),
        ("[oil_pressure]\nlag = '2 h'", "outside what is admitted"),
        ("[oil_pressure]\nlag = '2 kPa'", "not a unit of this kind"),
        ("[oil_pressure", "not valid TOML"),
    ],
)
def test_a_tolerance_file_that_states_nothing_usable_is_refused(text: str, rule: str, tmp_path: Path) -> None:
    """Catches a misspelt sensor that is drawn without any error, and a tolerance in the wrong unit."""
    path = tmp_path / "tolerances.toml"
    path.write_text(text)
    with pytest.raises(Refusal, match=rule):
        read_tolerances(path)


def test_what_a_tolerance_file_states_is_what_is_drawn(tmp_path: Path) -> None:
    """Catches a unit that is lost on the way."""
    path = tmp_path / "tolerances.toml"
    path.write_text('[oil_pressure]\noffset = "1 psi"\ngain = 0.01\n[suction_pressure]\nlag = "500 ms"\n')

    assert read_tolerances(path) == {
        "oil_pressure": SensorError(6895.0, 0.01, 0.0),
        "suction_pressure": SensorError(0.0, 0.0, 0.5),
    }


# ---- the command ------------------------------------------------------------------------------------------------


def test_the_command_prints_writes_and_draws_the_same_twice(folder: Path, tmp_path: Path) -> None:
    """Catches a report and a table that disagree, a plot with a date in it, 'none' without how far was tried."""
    common = ("tolerances", folder, "--draws", "20")
    done = lubetrip(*common, "--family", "dip", "--plot", tmp_path / "a.svg", "--json", tmp_path / "a.json")
    again = lubetrip(*common, "--plot", tmp_path / "b.svg", "--json", "-")
    report = json.loads((tmp_path / "a.json").read_text())
    (delay,) = [one for one in report["robustness"]["levers"] if (one["subject"], one["way"]) == ("trip_delay", "up")]

    assert (done.returncode, done.stderr, again.returncode) == (0, "", 0)
    assert again.stdout == (tmp_path / "a.json").read_text()
    assert (tmp_path / "a.svg").read_bytes() == (tmp_path / "b.svg").read_bytes()
    assert delay["missed"]["good"] <= 32_000 < delay["missed"]["bad"]
    assert delay["families"]["dry"] == {"missed": delay["missed"], "nuisance": delay["nuisance"]}
    assert report["monte_carlo"]["draws"] == 20
    for word in ("none to", "none within range", "first missed at", ", dip", "20 installations", "certified"):
        assert word in done.stdout, word
    assert max(len(line) for line in done.stdout.splitlines()) <= 80


def test_a_family_that_is_not_there_is_refused(folder: Path) -> None:
    """Catches an empty table for a name that was misspelt."""
    done = lubetrip("tolerances", folder, "--family", "dips")

    assert done.returncode == 2
    assert "dip, dry, sag, weak" in done.stderr
