"""The sweep engine: every candidate comes out as a replay of its own would, in every bit."""

import fcntl
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from protect import ranges
from protect.ranges import NO_READING
from replay.engine import compiled, portable
from replay.library import Entry, MustTrip, read_library
from replay.score import judge
from replay.settings import Settings, read_settings
from replay.sweep import arrange, long_ticks, prepare, sweep
from replay.trace import Trace, read_trace
from tests.engine.test_compiled import SEEDS, adversarial
from tests.support.protection import ONE, PROFILE
from tests.support.stories import as_settings, brisk_settings, stories, told
from tests.support.toolchain import ROOT

pytestmark = pytest.mark.slow("compiles what only it runs")

# Settings that fit the levels of the stories.
TOLD = PROFILE | {
    "cut_out": 60_000,
    "cut_in": 90_000,
    "floor": 30_000,
    "vacuum": 80_000,
    "reload": 110_000,
    "trip_delay": 150_000,
    "oil_least": -20_000,
    "suction_least": -20_000,
    "stuck_after": 45_000,
    "restart_delay": 300_000,
}
NO_REST = {"restart_delay": 0, "rest_settle": 0, "reset_hold": 0}
DELAYS = (1_000, 2_000, 10_000, 30_000, 150_000, 151_000, 400_000, 1_800_000)
ENDS = (-20_000, 450_000)  # of the range of every sensor in a spoilt trace
Story = list[tuple[str, int]]


@pytest.fixture(scope="module", autouse=True)
def _compiled_once() -> None:
    """Let one of several test processes compile and the others find the machine code."""
    compiled.cache_folder().mkdir(parents=True, exist_ok=True)
    with (compiled.cache_folder() / "lock-sweep").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        swept(told([("healthy", 10)], 1, own_crankcase=False, jitter=False), [as_settings(TOLD)])


def bare(replay: portable.Replay) -> portable.Replay:
    """Return a replay without its changes of state, which a sweep does not tell."""
    return portable.Replay((), replay.stops, replay.run_ms, replay.late, replay.locked_out)


def swept(trace: Trace, candidates: Sequence[Settings]) -> list[portable.Replay]:
    """Sweep all candidates at once."""
    return sweep(prepare(trace), arrange(candidates))


def replayed(trace: Trace, candidates: Sequence[Settings]) -> list[portable.Replay]:
    """Replay every candidate by itself, tick by tick."""
    return [bare(compiled.replay_trace(trace, candidate)) for candidate in candidates]


def by_delay(named: dict[str, int], delays: Sequence[int] = DELAYS) -> list[Settings]:
    """Return settings with several trip delays: a group."""
    return [as_settings(named | {"trip_delay": delay}) for delay in delays]


def plainly(story: Story, seed: int = 1) -> Trace:
    """Return the trace of a story with a reading a second and no crankcase channel."""
    return told(story, seed, own_crankcase=False, jitter=False)


@settings(max_examples=60, deadline=None)
@given(stories(), st.lists(brisk_settings(), min_size=1, max_size=3), st.lists(st.sampled_from(DELAYS), max_size=4))
def test_every_candidate_comes_out_as_if_replayed(trace: Trace, drawn: list[dict[str, int]], delays: list[int]) -> None:
    """Catches a leap over something that happens, wherever in a trace and whatever the settings."""
    candidates = [as_settings(named) for named in drawn] + by_delay(drawn[0], delays)

    assert swept(trace, candidates) == replayed(trace, candidates)


@st.composite
def labelled(draw: st.DrawFn, trace: Trace) -> Entry:
    """Draw a label of some windows, with bands or without, or upsets, anywhere in a trace."""
    end = int(trace.seconds(int(trace.time_ms[-1])))
    edges = sorted(draw(st.sets(st.integers(0, end), min_size=4, max_size=16)))
    seconds = [float(edge) for edge in edges]
    if draw(st.booleans()):
        upsets = tuple(zip(seconds[::2], seconds[1::2], strict=False))
        return Entry("a", Path("a.csv"), "f", "m", "o", "recorded: x", "ride_through", "", upsets)
    windows = tuple(
        MustTrip(a, b, c, d) if draw(st.booleans()) else MustTrip(a, b)
        for a, b, c, d in zip(*(seconds[n::4] for n in range(4)), strict=False)
    )
    return Entry("a", Path("a.csv"), "f", "m", "o", "recorded: x", windows, "")


@settings(max_examples=60, deadline=None)
@given(st.data(), stories(), brisk_settings(), st.lists(st.sampled_from(DELAYS), max_size=4))
def test_every_candidate_is_judged_as_its_replay_is(
    data: st.DataObject, trace: Trace, drawn: dict[str, int], delays: list[int]
) -> None:
    """Catches a sweep that does not know when a machine may run again, which windows and upsets behind it hang on."""
    entry, candidates = data.draw(labelled(trace)), [as_settings(drawn), *by_delay(drawn, delays)]
    found = [judge(entry, trace, replay) for replay in swept(trace, candidates)]

    assert found == [judge(entry, trace, portable.replay_trace(trace, candidate)) for candidate in candidates]


@st.composite
def spoilt(draw: st.DrawFn) -> Trace:
    """Draw a trace in which one channel at a time is frozen, not read, or at the very end of its range for a while."""
    kinds = st.sampled_from(["healthy", "between", "deep", "standing", "standing", "vacuum, then reload"])
    story = draw(st.lists(st.tuples(kinds, st.sampled_from([63, 64, 65, 150])), min_size=2, max_size=6))
    trace = told([("healthy", 70), *story], draw(st.integers(0, 99)), own_crankcase=True, jitter=draw(st.booleans()))
    columns = {name: getattr(trace, name).copy() for name in ("oil_pa", "suction_pa", "crankcase_pa")}
    edges = np.cumsum([70, *(length for _, length in story)]).tolist()
    readings = st.sampled_from([None, None, None, NO_READING, *(edge + by for edge in ENDS for by in (-1, 0))])
    for name in draw(st.lists(st.sampled_from(list(columns)), min_size=1, max_size=3)):
        begin = draw(st.sampled_from(edges)) - draw(st.integers(1, 60))
        part = columns[name][begin : begin + draw(st.sampled_from([2, 20, 64, 120, 200]))]
        reading = draw(readings)
        part[:] = part[0] if reading is None else reading + np.arange(len(part)) % 2
    return replace(trace, **columns)


@settings(max_examples=150, derandomize=True)
@given(spoilt(), st.sampled_from([6_000, 45_000]), st.sampled_from([100, 8_000, 60_000]))
def test_a_channel_that_is_spoilt_by_itself(trace: Trace, stuck_after: int, fault_delay: int) -> None:
    """Catches one channel that a leap forgets, an age of stuck_after not taken for stuck, a long tick past its blocks."""
    least, most = ENDS
    named = {"oil_least": least, "suction_least": least, "oil_most": most, "suction_most": most}
    candidates = by_delay(
        TOLD | named | {"stuck_after": stuck_after, "fault_delay": fault_delay}, (2_000, 30_000, 400_000)
    )

    assert swept(trace, candidates) == replayed(trace, candidates)


@pytest.mark.parametrize("seed", SEEDS)
def test_traces_drawn_against_the_state_they_meet(seed: int) -> None:
    """Catches a limit that is off by one: readings at every threshold, ticks at the very end of every timer."""
    trace, drawn = adversarial(seed, 1000)
    named = {row[0]: value for row, value in zip(ranges.SETTINGS, drawn.values, strict=False)}
    candidates = [drawn, *by_delay(named, sorted({1_000, named["trip_delay"], 1_800_000}))]

    assert swept(trace, candidates) == replayed(trace, candidates)


CASES: dict[str, tuple[Story, dict[str, int]]] = {
    "healthy throughout": ([("healthy", 3000)], {}),
    "frozen while healthy": ([("healthy", 500), ("frozen", 500), ("healthy", 500)], {}),
    "frozen for just less than stuck": ([("healthy", 128), ("frozen", 44), ("healthy", 200)], {"fault_delay": 100}),
    "frozen for just stuck": ([("healthy", 128), ("frozen", 46), ("healthy", 200)], {"fault_delay": 100}),
    "frozen over a standstill": (
        [("healthy", 99), ("frozen", 40), ("asleep", 300), ("frozen", 4), ("healthy", 99)],
        {},
    ),
    "frozen over a standstill, stuck": ([("healthy", 99), ("frozen", 40), ("asleep", 300), ("frozen", 20)], {}),
    "stuck into a standstill": ([("healthy", 99), ("frozen", 46), ("asleep", 300), ("healthy", 99)], {}),
    "a spell ends a block, then frozen": ([("healthy", 127), ("deep", 1), ("frozen", 300)], {"stuck_after": 6_000}),
    "one channel frozen": ([("healthy", 500), ("oil frozen", 500), ("healthy", 500)], {}),
    "late while healthy": ([("healthy", 640), ("late", 1), ("healthy", 640)], {"fault_delay": 100}),
    "late where nothing counts as stuck": (
        [("healthy", 640), ("late", 1), ("healthy", 640)],
        {"fault_delay": 100, "stuck_after": 86_400_000},
    ),
    "late by an hour in a spell": ([("healthy", 64), ("low", 30), ("late", 1), ("healthy", 640)], {}),
    "not read for long": ([("healthy", 640), ("not read", 64), ("healthy", 640)], {}),
    "not read at all": ([("not read", 1500)], {}),
    "now and then not read": ([("now and then not read", 3000)], {}),
    "frozen, now and then not read": ([("healthy", 200), ("frozen, now and then not read", 500), ("healthy", 200)], {}),
    "frozen, now and then not read, over a standstill": (
        [
            ("healthy", 200),
            ("frozen, now and then not read", 30),
            ("asleep, now and then not read", 200),
            ("frozen, now and then not read", 40),
            ("healthy", 200),
        ],
        {"fault_delay": 100},
    ),
    "frozen before a loss and after": (
        [("healthy", 100), ("frozen", 40), ("frozen and not read", 20), ("frozen", 200), ("healthy", 64)],
        {"fault_delay": 60_000},
    ),
    "between from the start": ([("between", 700), ("low", 200)], {}),
    "long grace": ([("standing", 100), ("deep", 700), ("healthy", 200), ("deep", 300)], {"start_grace": 600_000}),
    "grace that grows back": ([("deep", 20), ("standing", 7), ("deep", 300)], {"start_grace": 20_000}),
    "flickering": ([("healthy", 300), ("flickering", 700), ("deep", 300)], {}),
    "stops at a standstill": ([("healthy", 64), ("standing", 64), ("not read", 64), ("standing", 640)], {}),
    "memory runs out in a leap": ([("deep", 100), ("healthy", 9000), ("deep", 100)] * 2, {"trip_memory": 7_200_000}),
    "memory does not quite run out": ([("deep", 90), ("healthy", 3000)] * 2, {"trip_memory": 3_300_000}),
    "drains all through a leap": ([("low", 100), ("healthy", 1000), ("low", 100)], {"recovery": 17}),
    "drains now and then": ([("low", 100), ("around cut-in", 1000), ("low", 200)], {"recovery": 17}),
    "never drains": ([("low", 100), ("healthy", 500), ("between", 500), ("deep", 500)], {"recovery": 0}),
    "full and never drains": ([("deep", 100), ("healthy", 900)] * 4, {"recovery": 0, "stopped_recovery": 0}),
    "trips again and again": ([("deep", 3000)], NO_REST | {"trips_to_lockout": 100}),
    "locked out for good": ([("deep", 3000), ("healthy", 3000)], {}),
    "locked out and reset": ([("deep", 2000), ("reset", 640), ("healthy", 640), ("deep", 500)], {}),
    "reset that is held": ([("deep", 500), ("reset", 65), ("deep", 200)], {"trips_to_lockout": 1}),
    "reload": ([("healthy", 70), ("vacuum, then reload", 200), ("healthy", 900)] * 3, {"trip_delay": 1_800_000}),
    "reload at once": ([("healthy", 70), ("vacuum, then reload", 200)], {"reload_fraction": 0}),
    "long pulses": ([("around cut-out", 3000)], {"recovery": ONE // 2}),
    "a leap of nine hours": ([("deep", 70), ("healthy", 32_400), ("deep", 70)], {"trip_memory": 32_500_000}),
}


@pytest.mark.parametrize("own_crankcase", [False, True])
@pytest.mark.parametrize("name", CASES)
def test_what_may_lie_in_the_way_of_a_leap(name: str, own_crankcase: bool) -> None:
    """Catches each way in which a stretch that looks calm is not, one after the other."""
    story, named = CASES[name]
    for jitter in (False, True):
        trace = told(story, 7, own_crankcase=own_crankcase, jitter=jitter)
        candidates = by_delay(TOLD | named)

        assert swept(trace, candidates) == replayed(trace, candidates)


def test_the_cases_make_all_that_a_sweep_tells_of() -> None:
    """Catches cases so tame that a wrong engine would pass them."""
    outcomes = {
        name: swept(told(story, 7, own_crankcase=False, jitter=False), by_delay(TOLD | named))
        for name, (story, named) in CASES.items()
    }
    replays = [replay for found in outcomes.values() for replay in found]

    assert {stop.cause & 7 for replay in replays for stop in replay.stops} == {1, 2, 3}
    assert {replay.locked_out for replay in replays} == {True, False}
    assert any(replay.late for replay in replays)
    assert len({replay.stops for replay in outcomes["reload"]}) > 3
    assert not outcomes["frozen for just less than stuck"][-1].stops
    assert outcomes["frozen for just stuck"][-1].stops


@pytest.mark.parametrize("offset", [*range(4), 31, *range(60, 68), *range(124, 130)])
def test_every_place_of_a_spell_within_a_block(offset: int) -> None:
    """Catches a tick at the edge of a block that is taken twice, or by nobody."""
    trace = plainly([("healthy", 130 + offset), ("deep", 40), ("healthy", 200), ("deep", 64), ("healthy", 500)], offset)
    candidates = by_delay(TOLD, range(20_000, 200_000, 9_000))

    assert swept(trace, candidates) == replayed(trace, candidates)


def test_a_trace_may_end_anywhere_in_a_block() -> None:
    """Catches a last block that is taken for a whole one."""
    for ticks in (2, 63, 64, 65, 127, 128, 129, 4096, 4097):
        trace = plainly([("healthy", ticks)], ticks)
        assert swept(trace, by_delay(TOLD)) == replayed(trace, by_delay(TOLD))


def demo_grid() -> list[Settings]:
    """Return some three hundred candidates around the settings of the demo site."""
    base = read_settings(ROOT / "fixtures" / "settings.toml")
    named = {row[0]: value for row, value in zip(ranges.SETTINGS, base.values, strict=False)}
    return [
        as_settings(
            named
            | {"cut_out": cut_out, "cut_in": cut_out + 14_000}
            | {"trip_delay": delay, "floor_weight": weight, "recovery": recovery}
        )
        for delay in (40_000, 60_000, 90_000, 120_000, 150_000, 180_000, 240_000)
        for cut_out in (36_000, 48_263, 55_000, 62_000, 70_000)
        for weight in (ONE, 3 * ONE, 8 * ONE)
        for recovery in (0, ONE, 4 * ONE)
    ]


def test_the_demo_library_under_a_grid() -> None:
    """Catches a difference on traces as users have them: every trace with its own share of a grid."""
    grid = demo_grid()
    assert len(grid) > 300
    for number, entry in enumerate(read_library(ROOT / "fixtures").entries):
        trace, candidates = read_trace(entry.path), grid[number % 79 :: 79]

        assert swept(trace, candidates) == replayed(trace, candidates)


def test_candidates_come_back_in_their_order() -> None:
    """Catches outcomes that are handed to the wrong candidate after sorting, or a double that is lost."""
    trace = plainly([("healthy", 100), ("deep", 200), ("healthy", 100), ("frozen", 200)])
    mixed = by_delay(TOLD) + by_delay(TOLD | {"cut_out": 50_000}) + by_delay(TOLD | {"stuck_after": 86_400_000})
    rng = np.random.default_rng(3)
    candidates = [mixed[place] for place in rng.integers(0, len(mixed), 60)]

    assert len(set(swept(trace, candidates))) > 5
    assert swept(trace, candidates) == replayed(trace, candidates)
    assert swept(trace, []) == []


def test_prepared_and_arranged_give_the_same() -> None:
    """Catches a batch that leaves something behind in what it shares with the next."""
    trace, candidates = plainly([("healthy", 700), ("deep", 300), ("healthy", 700)]), by_delay(TOLD)
    prepared, arranged = prepare(trace), arrange(candidates)
    first = sweep(prepared, arranged)

    assert sweep(prepared, arranged) == first == replayed(trace, candidates)


def test_columns_of_any_make() -> None:
    """Catches an engine that needs its columns in one piece or may not have them read-only."""
    trace = plainly([("healthy", 300), ("deep", 200)])
    spread = np.repeat(np.stack([trace.time_ms, trace.oil_pa, trace.suction_pa]), 2, axis=1)[:, ::2]
    odd = Trace("odd", 0.0, *spread, spread[2], trace.running.copy(), trace.reset)
    odd.running.setflags(write=False)

    assert swept(odd, by_delay(TOLD)) == replayed(trace, by_delay(TOLD))


def test_stops_by_the_hundred() -> None:
    """Catches stops that are lost when their list grows: some hundred a candidate."""
    trace = plainly([("deep", 3000)])
    named = TOLD | NO_REST | {"trips_to_lockout": 100, "start_grace": 0, "trip_memory": 1_000}
    candidates = by_delay(named, (1_000, 2_000, 3_000))
    replays = swept(trace, candidates)

    assert len(replays[0].stops) > 256
    assert replays == replayed(trace, candidates)


def steps_taken(trace: Trace, candidates: Sequence[Settings], monkeypatch: pytest.MonkeyPatch) -> int:
    """Return how many steps the interpreted source of the engine takes."""
    count = 0
    step = long_ticks.step

    def counting(*arguments: object) -> None:
        nonlocal count
        count += 1
        step(*arguments)

    monkeypatch.setattr(long_ticks, "step", counting)
    monkeypatch.setattr(compiled, "native", lambda function, *_: function)
    assert swept(trace, candidates) == replayed(trace, candidates)
    return count


def test_healthy_hours_take_a_few_steps(monkeypatch: pytest.MonkeyPatch) -> None:
    """Catches an engine that is exact because it steps through everything."""
    trace = plainly([("healthy", 5_000), ("standing", 2_000), ("healthy", 5_000)])

    assert steps_taken(trace, by_delay(TOLD), monkeypatch) < 95


def test_a_spell_that_ends_by_itself_is_walked_once_for_all_trip_delays(monkeypatch: pytest.MonkeyPatch) -> None:
    """Catches candidates that branch off without need."""
    trace = plainly([("healthy", 600), ("deep", 20), ("healthy", 600)])
    alone = steps_taken(trace, by_delay(TOLD, [200_000]), monkeypatch)
    monkeypatch.undo()

    assert steps_taken(trace, by_delay(TOLD, range(200_000, 1_800_000, 100_000)), monkeypatch) == alone
