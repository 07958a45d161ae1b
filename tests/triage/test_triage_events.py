"""What triage finds in a log: known answers by hand, a plain count beside it, and any size of blocks."""

import dataclasses
import fcntl
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from protect import ranges
from replay.engine import compiled, replay_trace
from replay.library import read_library
from replay.settings import Settings, read_settings
from replay.trace import Trace, read_trace
from replay.triage.events import AT_START, DOUBT, STARVED, VACUUM, Event, Gravest
from tests.conftest import SETTINGS
from tests.support.triage_logs import NO_READING, found, made, outcome, with_values

pytestmark = pytest.mark.slow("compiles what only it runs")

FIXTURES = Path(__file__).parents[2] / "fixtures"


@pytest.fixture(scope="module")
def site(tmp_path_factory: pytest.TempPathFactory) -> Settings:
    """Return the settings that the tests share: cut-out 60, cut-in 80, floor 30 kPa, trip delay 60 s, grace 10 s."""
    path = tmp_path_factory.mktemp("site") / "settings.toml"
    path.write_text(SETTINGS, encoding="utf-8")
    return read_settings(path)


def only(trace: Trace, settings: Settings, kind: str = STARVED) -> Event:
    """Return the one event of a kind that a log holds."""
    (event,) = [event for event in found(trace, settings).gravest.all() if event.kind == kind]
    return event


def test_a_starved_spell_that_was_loaded_again(site: Settings) -> None:
    """Catches a spell cut off where the settings would have stopped it, and any of its measures taken wrong.

    By hand: short of oil in the rows 101 to 170, that is 100 s to 170 s. Below the floor in vacuum the weight is
    2 x 1.5, so 60 s are full 20 s later. Suction is back above 100 kPa in the rows 161 to 170.
    """
    trace = made(600, lambda s: 10 if 100 < s <= 170 else 120, lambda s: 300 if s <= 100 else 50 if s <= 160 else 110)
    spell, vacuum = only(trace, site), only(trace, site, VACUUM)
    findings = found(trace, site)

    assert (spell.start_ms, spell.end_ms, spell.low_ms) == (100_000, 170_000, 70_000)
    assert (spell.net_least_pa, spell.suction_least_pa, spell.integral_percent) == (10_000, 50_000, 100)
    assert (spell.vacuum_ms, spell.full_at_ms, spell.stop_at_ms, spell.ran_on_ms) == (60_000, 120_000, 120_000, 50_000)
    assert (spell.reload_at_ms, spell.reload_ms, spell.reload_suction_pa) == (161_000, 40_000, 110_001)
    assert (vacuum.start_ms, vacuum.end_ms, vacuum.low_ms, vacuum.vacuum_ms) == (100_000, 160_000, 60_000, 60_000)
    assert (findings.run_ms, findings.seen_ms, findings.starved_ms, findings.vacuum_ms) == (
        600_000,
        600_000,
        70_000,
        60_000,
    )
    assert (findings.past_stop, findings.reloads, findings.ran_on_ms) == (1, 1, 50_000)
    assert (dict(findings.stops), findings.lockouts) == ({"oil": 1}, 0)


def test_a_spell_lasts_until_cut_in_and_counts_only_below_cut_out(site: Settings) -> None:
    """Catches a spell that ends at cut-out, and an integral of a plain timer.

    20 s at 45 kPa, half way down to the floor, weigh 1.5: 30 s, half the trip delay. 70 kPa holds, 120 kPa ends.
    """
    spell = only(made(300, lambda s: 45 if 100 < s <= 120 else 70 if 120 < s <= 150 else 120), site)

    assert (spell.start_ms, spell.end_ms, spell.low_ms, spell.integral_percent) == (100_000, 150_000, 20_000, 50)
    assert (spell.stop_at_ms, spell.ran_on_ms, spell.reload_at_ms, spell.vacuum_ms) == (None, 0, None, 0)


def test_a_start_without_oil_pressure(site: Settings) -> None:
    """Catches a start counted from the log's first row, and start grace counted as starved.

    It starts at 30 s and stops at 70 s; 10 s of grace, then 30 s at weight 2: full in the last row.
    """
    trace = made(200, lambda s: 5 if s <= 100 else 120, running=lambda s: int(30 < s <= 70 or s > 100))
    spell = only(trace, site, AT_START)

    assert (spell.start_ms, spell.end_ms, spell.low_ms, spell.full_at_ms) == (30_000, 70_000, 30_000, 70_000)
    assert (spell.ran_on_ms, spell.ends_with_log) == (0, False)
    assert found(trace, site).starts == 2


def test_a_machine_that_started_well_is_not_a_bad_start(site: Settings) -> None:
    """Catches every later spell of a run booked on its start."""
    trace = made(600, lambda s: 10 if 300 < s <= 330 else 120, running=lambda s: int(s > 29))
    assert [event.kind for event in found(trace, site).gravest.all()] == [STARVED]


def test_a_net_oil_pressure_at_rest_is_a_doubt(site: Settings) -> None:
    """Catches a sensor that reads oil where nothing turns, in a log that shows it for an hour, and nobody is told.

    It stops at 100 s, is at rest 30 s later, and starts again at 200 s.
    """
    trace = made(300, lambda s: 120, running=lambda s: int(not 100 < s <= 200))
    event = only(trace, site, DOUBT)

    assert (event.start_ms, event.end_ms, event.doubt_ms) == (130_000, 200_000, 70_000)
    assert event.doubts == ("oil and crankcase differ at standstill",)
    assert found(trace, site).doubted_ms == 0  # of running


def test_vacuum_running_lasts_until_the_reload_level(site: Settings) -> None:
    """Catches a block for every ripple about the vacuum level: 90 kPa is above vacuum, and not yet reload."""
    trace = made(300, lambda s: 120, lambda s: 90 if 120 < s <= 130 else 50 if 100 < s <= 140 else 300)
    (event,) = found(trace, site).gravest.all()

    assert (event.kind, event.start_ms, event.end_ms, event.vacuum_ms) == (VACUUM, 100_000, 140_000, 30_000)
    assert (event.low_ms, event.net_least_pa, event.suction_least_pa) == (0, 120_000, 50_000)


def test_a_full_integral_waits_for_the_end_of_the_start_grace(site: Settings) -> None:
    """Catches a stop told within the grace of a restart.

    Full at 130 s, off from 150 s to 170 s, which drains nothing here and gives back 10 s of grace: until 180 s.
    """
    trace = made(300, lambda s: 10 if 100 < s <= 185 else 120, running=lambda s: int(not 150 < s <= 170))
    events = found(trace, with_values(site, STOPPED_RECOVERY=0)).gravest.all()

    assert sorted((event.start_ms, event.full_at_ms) for event in events) == [(100_000, 130_000), (170_000, 180_000)]


def test_a_log_that_begins_or_ends_starved(site: Settings) -> None:
    """Catches a spell that is lost at the end of its log, and one called a start that nobody saw."""
    spell = only(made(100, lambda s: 20), site)

    assert (spell.start_ms, spell.end_ms, spell.low_ms, spell.ends_with_log) == (0, 100_000, 90_000, True)
    assert spell.kind == STARVED


@pytest.mark.parametrize(
    "trace",
    [
        made(3600, lambda s: 120),
        made(900, lambda s: 0 if s <= 38 else 120, running=lambda s: int(s > 30)),
        made(900, lambda s: 65 if 100 < s <= 500 else 120),
        made(900, lambda s: 0, running=lambda s: 0),
        made(900, lambda s: 0 if s > 600 else 120, lambda s: 20 if s > 600 else 300, running=lambda s: int(s <= 600)),
    ],
    ids=["steady", "builds up within the grace", "holds above cut-out", "stands", "pumped down and stopped"],
)
def test_a_healthy_log_shows_nothing(trace: Trace, site: Settings) -> None:
    """Catches a finding made of a normal start, a weak pump that suffices, or a machine that stands."""
    findings = found(trace, site)

    assert (findings.gravest.all(), dict(findings.events), dict(findings.stops)) == ((), {}, {})
    assert findings.starved_ms == findings.past_stop == findings.reloads == findings.doubted_ms == 0


def damaged(change) -> Trace:
    """Return a healthy log with its arrays changed."""
    trace = made(900, lambda s: 120)
    trace = dataclasses.replace(trace, crankcase_pa=trace.suction_pa.copy())
    change(trace)
    return trace


def lose(trace: Trace) -> None:
    """Lose the oil pressure for 5 s."""
    trace.oil_pa[201:206] = NO_READING


def overrange(trace: Trace) -> None:
    """Let the suction sensor, which stands in for the crankcase, read too much for 3 s."""
    trace.suction_pa[201:204] = 1_700_000
    trace.crankcase_pa[201:204] = 1_700_000


def gap(trace: Trace) -> None:
    """Leave out 20 s between the rows of 299 s and 300 s."""
    trace.time_ms[300:] += 20_000


def freeze(trace: Trace) -> None:
    """Let the crankcase sensor read what it read in row 100 ever after."""
    trace.crankcase_pa[100:] = 300_000


DOUBTS = [
    (lose, 200_000, 205_000, 5_000, ("oil missing",)),
    (overrange, 200_000, 203_000, 3_000, ("suction out of range", "crankcase out of range")),
    (gap, 299_000, 320_000, 21_000, ("late tick",)),
    (freeze, 699_000, 900_000, 201_000, ("crankcase stuck",)),
]


@pytest.mark.parametrize(
    ("change", "start", "end", "doubted", "words"), DOUBTS, ids=[row[0].__name__ for row in DOUBTS]
)
def test_sensor_doubts(change, start: int, end: int, doubted: int, words: tuple, site: Settings) -> None:
    """Catches a doubt told as starved, or told of the wrong channel or for the wrong reason.

    The frozen sensor last moved in row 100, which stands for the time from 99 s on; 10 minutes later it is in doubt.
    """
    findings = found(damaged(change), site)
    (event,) = findings.gravest.all()

    assert (event.kind, event.start_ms, event.end_ms, event.doubt_ms, event.doubts) == (
        DOUBT,
        start,
        end,
        doubted,
        words,
    )
    assert findings.doubted_ms == doubted
    assert findings.starved_ms == 0


def test_a_loose_contact_is_one_doubt_and_a_standing_machine_none(site: Settings) -> None:
    """Catches a block for every flicker, and a doubt about a machine that does not run."""

    def flicker(trace: Trace) -> None:
        trace.oil_pa[200:230:3] = NO_READING
        trace.oil_pa[400:] = NO_READING
        trace.running[400:] = 0

    (event,) = found(damaged(flicker), site).gravest.all()
    assert (event.start_ms, event.end_ms, event.doubt_ms) == (199_000, 227_000, 10_000)


def test_a_doubt_within_a_spell_neither_ends_it_nor_counts_as_short_of_oil(site: Settings) -> None:
    """Catches a starved machine whose spell is cut in two, or made longer, by a lost reading.

    The integral takes 10 s x 2, 9 s in doubt x 1, then 15.5 s x 2 until it is full, in the row of 135 s.
    """
    trace = made(300, lambda s: 20 if 100 < s <= 140 else 120)
    trace.oil_pa[111:120] = NO_READING
    spell = only(trace, site)

    assert (spell.start_ms, spell.end_ms, spell.low_ms, spell.net_least_pa) == (100_000, 140_000, 31_000, 20_000)
    assert spell.full_at_ms == 135_000


def test_a_sensor_that_dies_is_no_starved_machine(site: Settings) -> None:
    """Catches a machine opened for a broken wire: its reading falls for 4 s, then there is none for a quarter of an hour."""
    trace = made(1200, lambda s: 20 if s > 100 else 120)
    trace.oil_pa[105:1000] = NO_READING
    findings = found(trace, site)
    dying, doubt, after = sorted(findings.gravest.all(), key=lambda event: event.start_ms)

    assert (dying.start_ms, dying.end_ms, dying.stop_at_ms) == (100_000, 104_000, None)
    assert (doubt.kind, doubt.start_ms, doubt.doubt_ms) == (DOUBT, 104_000, 895_000)
    assert after.start_ms >= 999_000
    assert findings.starved_ms == dying.low_ms + after.low_ms


NET = st.sampled_from([0, 20_000, 29_999, 30_000, 45_000, 59_999, 60_000, 79_999, 80_000, 120_000])
SUCTION = st.sampled_from([20_000, 79_999, 80_000, 99_999, 100_000, 300_000])
STRETCHES = st.lists(st.tuples(st.integers(1, 30), NET, SUCTION, st.integers(0, 6).map(bool)), min_size=1, max_size=12)


@st.composite
def logs(draw: st.DrawFn, *, lost: int = 3, steps_ms: tuple[int, ...] = (250, 1000, 1000, 3000, 3001)) -> Trace:
    """Draw a log of stretches at the levels of the settings, a few rows without a reading."""
    steps, net, suction, running = [], [], [], []
    for rows, net_pa, suction_pa, runs in draw(STRETCHES):
        steps += [draw(st.sampled_from(steps_ms))] * rows
        net += [net_pa] * rows
        suction += [suction_pa + row % 2 for row in range(rows)]
        running += [runs] * rows
    suction_pa = np.array([*suction, 0][: len(steps)], np.int64)
    oil = suction_pa + np.array(net, np.int64)
    for place in draw(st.lists(st.integers(0, len(steps) - 1), max_size=lost)):
        oil[place] = NO_READING
    flags = np.array(running, np.uint8)
    return Trace("drawn", 0.0, np.cumsum(steps), oil, suction_pa, suction_pa, flags, flags * 0)


@settings(max_examples=60)
@given(logs())
def test_spells_and_vacuum_hold_just_the_time_that_a_plain_count_gives(site: Settings, trace: Trace) -> None:
    """Catches time that falls between two spells or is counted in both: numpy counts it without any state.

    Without start grace, with sensors that never look stuck or faulty: all credible running time below cut-out is starved.
    """
    quick = with_values(site, START_GRACE=0, STUCK_AFTER=86_400_000, FAULT_DELAY=1_800_000, REST_MOST=ranges.REST_OFF)
    elapsed = np.diff(trace.time_ms, prepend=trace.time_ms[0])
    counts = (trace.running == 1) & (trace.oil_pa != NO_READING) & (elapsed <= 3000)
    low, vacuum = trace.oil_pa - trace.crankcase_pa < 60_000, trace.suction_pa < 80_000
    findings = found(trace, quick)
    events = findings.gravest.all()

    assert sum(event.low_ms for event in events if event.starved) == elapsed[counts & low].sum() == findings.starved_ms
    vacuum_ms = sum(event.vacuum_ms for event in events if event.kind == VACUUM)
    assert vacuum_ms == elapsed[counts & vacuum].sum() == findings.vacuum_ms
    assert findings.seen_ms == elapsed[counts].sum()
    assert findings.doubted_ms == sum(event.doubt_ms for event in events)
    assert all(event.start_ms <= event.end_ms for event in events)


@settings(max_examples=80)
@given(logs(lost=0, steps_ms=(250, 1000, 3000)), st.sampled_from([0, 2_000, 10_000]), st.sampled_from([0, 1024, 2048]))
def test_the_first_stop_of_an_obeyed_logic_is_where_an_event_says(
    site: Settings, trace: Trace, grace: int, fraction: int
) -> None:
    """Catches an event that says a stop where the whole logic, table and all, makes none, or the other way round.

    Until its first stop a machine that obeys sees just what the log holds. Sensors are credible throughout.
    """
    level = fraction * site.values[ranges.TRIP_DELAY] // 2048
    quick = with_values(
        site, START_GRACE=grace, RELOAD_FRACTION=fraction, RELOAD_LEVEL=level, REST_MOST=ranges.REST_OFF
    )
    stops = replay_trace(trace, quick).stops
    told = [event.stop_at_ms for event in found(trace, quick).gravest.all() if event.stop_at_ms is not None]

    assert min(told, default=None) == (stops[0].time_ms if stops else None)


@settings(max_examples=40)
@given(logs(), st.lists(st.integers(1, 360), max_size=8))
def test_the_size_of_the_blocks_changes_nothing(site: Settings, trace: Trace, cuts: list[int]) -> None:
    """Catches a spell, a timer or an elapsed time that is forgotten between two blocks of a long log."""
    assert outcome(found(trace, site, cuts)) == outcome(found(trace, site))


@pytest.fixture(scope="module")
def compiled_once(site: Settings) -> None:
    """Let one of several test processes compile and the others find the machine code."""
    compiled.cache_folder().mkdir(parents=True, exist_ok=True)
    with (compiled.cache_folder() / "lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        found(made(10, lambda s: 120), site, fast=True)


@settings(max_examples=25)
@given(logs(), st.lists(st.integers(1, 360), max_size=3))
@pytest.mark.usefixtures("compiled_once")
def test_compiled_it_is_the_same(site: Settings, trace: Trace, cuts: list[int]) -> None:
    """Catches machine code, or a call that returns early because its events are full, with another result."""
    whole = found(trace, site, cuts, fast=True)

    assert outcome(whole) == outcome(found(trace, site))
    assert whole.engine == "compiled"


def test_more_events_than_one_call_holds(site: Settings, monkeypatch: pytest.MonkeyPatch) -> None:
    """Catches events that are lost, or told twice, where the kernel returns because there is no more room.

    Every 40 s the machine stops short of oil and in vacuum, every second time with a lost reading just before.
    """
    trace = made(2000, lambda s: 10, lambda s: 50 if s % 40 > 10 else 300, running=lambda s: int(s % 40 < 20))
    trace.oil_pa[18::80] = NO_READING
    whole = outcome(found(trace, site))
    monkeypatch.setattr("replay.triage.run.ROOM", 3)

    assert outcome(found(trace, site)) == whole
    assert whole["events"] == {STARVED: 1, AT_START: 50 - 1, VACUUM: 50, DOUBT: 25}


def test_of_very_many_events_the_gravest_are_kept(site: Settings, monkeypatch: pytest.MonkeyPatch) -> None:
    """Catches a log that fills the memory with blocks, and the one grave spell that goes under in them."""
    monkeypatch.setattr(Gravest, "MOST", 10)
    trace = made(4000, lambda s: 10 if s % 20 < 3 or 2000 < s < 2060 else 120)
    findings = found(trace, site)
    kept = findings.gravest.all()

    assert len(kept) == 10
    assert kept[0].start_ms == 1_999_000
    assert kept[0].ran_on_ms > 0
    assert findings.events[STARVED] == 10 + findings.gravest.left_out > 150


def test_the_gravest_event_stands_first(site: Settings) -> None:
    """Catches a long harmless block above the short one that cost the bearing."""

    def net(s: int) -> float:
        return 45 if 300 < s <= 310 else 10 if 900 < s <= 1000 or 1500 < s <= 1540 else 120

    trace = made(2000, net, lambda s: 50 if 100 < s <= 125 or 1500 < s <= 1535 else 300)
    trace.oil_pa[601:606] = NO_READING
    told = [(event.kind, event.start_ms // 1000) for event in found(trace, site).gravest.all()]

    spells = [(STARVED, 1500), (STARVED, 900), (STARVED, 300)]
    assert told == [*spells, (DOUBT, 600), (VACUUM, 1500), (VACUUM, 100)]


def test_starved_machines_of_the_physics_are_found_where_they_were_starved() -> None:
    """Catches a triage that only knows traces made for it: labels come from the bearings of the physics.

    A suction valve left shut is one spell from about the label's earliest time to the end, in vacuum, full;
    a reload before the film is just that.
    """
    settings = read_settings(FIXTURES / "settings.toml")
    entries = {entry.id: entry for entry in read_library(FIXTURES).entries}
    for number in (1, 2):
        entry = entries[f"suction-valve-shut-0000{number}"]
        (spell,) = [event for event in found(read_trace(entry.path), settings).gravest.all() if event.starved]
        (window,) = entry.windows
        assert abs(spell.start_ms / 1000 - window.earliest_s) < 60
        assert window.earliest_s < spell.stop_at_ms / 1000 < window.deadline_s
        assert spell.vacuum_ms > 0.9 * spell.low_ms
    assert found(read_trace(entries["reload-before-film-00000"].path), settings).reloads == 1
    assert not found(read_trace(entries["normal-start-00000"].path), settings).gravest.all()


def test_a_lowest_net_oil_pressure_of_nothing_is_the_machines_lowest(site: Settings) -> None:
    """Catches a lowest of exactly 0 Pa that is taken for none, and gives way to the 50 kPa of a later spell."""
    trace = made(400, lambda s: 0.0 if 100 < s <= 120 else 50.0 if 200 < s <= 220 else 120.0)
    findings = found(trace, site)
    spells = sorted(event.net_least_pa for event in findings.gravest.all() if event.kind == STARVED)

    assert spells == [0, 50_000]
    assert findings.net_least_pa == 0
