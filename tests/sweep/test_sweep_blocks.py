"""What the sweep engine leaps by: summaries of blocks, and what the table says of states at rest."""

from itertools import pairwise
from types import SimpleNamespace

import numpy as np
import pytest

from protect import conditions, ranges, state, table
from replay.engine import portable
from replay.engine.obeying import PERMITTED
from replay.sweep import blocks, lane, prepare
from replay.sweep import table_facts as facts
from replay.trace import Trace
from tests.support.protection import PROFILE
from tests.support.stories import as_settings, told

pytestmark = pytest.mark.slow("compiles what only it runs")

CONDITIONS = 1 << len(conditions.NAMES)
PLACES = (state.OIL_SEEN, state.SUCTION_SEEN, state.CRANKCASE_SEEN)
UNKNOWING = PROFILE | {"stuck_after": 86_400_000, "oil_least": -100_000, "suction_least": -100_000}


def settled(place: int, bits: int) -> tuple[int, int]:
    """Return the state that the table settles in, and the trips it counted."""
    memory = [0] * state.STATE_SIZE
    memory[state.STATE] = place
    table.settle(memory, [0] * ranges.SETTINGS_SIZE, bits)
    return memory[state.STATE], memory[state.TRIPS]


def stays(place: int, known: int, bits: int) -> bool:
    """Try every set of conditions that agrees with what is known."""
    agreeing = (other for other in range(CONDITIONS) if other & known == bits & known)
    return all(settled(place, other) == (place, 0) for other in agreeing)


def test_running_states_are_led_where_settling_leads() -> None:
    """Catches a move that another condition would have turned elsewhere: all conditions that may hold are tried."""
    moves = facts.tables().moves.reshape(facts.STATES, -1)
    for place in range(facts.STATES):
        for number, class_bits in enumerate(facts.CLASSES):
            known, bits = facts.FAST_KNOWN, conditions.RUNNING | conditions.SENSOR_OK | class_bits
            agreeing = (other for other in range(CONDITIONS) if other & known == bits & known)
            ends = {settled(place, other) for other in agreeing}
            if moves[place, number] != facts.STEP:
                assert ends == {(moves[place, number], 0)}
    assert moves[state.LUBRICATED].tolist() == [state.STARVED, state.LUBRICATED, state.LUBRICATED]
    assert moves[state.STARVED].tolist() == [state.STARVED, state.STARVED, state.LUBRICATED]
    assert moves[state.PRIMING].tolist() == [state.STARVED, state.PRIMING, state.LUBRICATED]


def test_states_stay_over_a_long_tick_where_no_row_applies() -> None:
    """Catches a state that is left and is leapt over all the same: a restart that is due, a reset, health at last."""
    tables = facts.tables()
    for place, known in facts.LONG_KNOWN.items():
        running = conditions.RUNNING if state.STOPPED < place < state.TRIPPED else 0
        assert bool(tables.stays[place]) == stays(place, known, running | conditions.SENSOR_OK)
    assert tables.stays.tolist() == [1, 0, 1, 0, 1, 1]
    assert tables.final == stays(state.LOCKED_OUT, conditions.RESET_PRESS, 0) == 1


def test_a_new_row_is_seen(monkeypatch: pytest.MonkeyPatch) -> None:
    """Catches states at rest that are written down here instead of being read from the table."""
    row = (state.LUBRICATED, conditions.IN_GRACE, conditions.IN_GRACE, state.PRIMING, table.NONE)
    monkeypatch.setattr(table, "TABLE", (*table.TABLE, row))

    assert not facts.tables().stays[state.LUBRICATED]


def ages(trace: Trace) -> np.ndarray:
    """Return the ages of oil, suction and crankcase pressure at every tick as the logic counts them, int64[n, 3]."""
    machine, rows = portable.Machine(as_settings(UNKNOWING)), []
    for row in portable.columns_of(trace).T.tolist():
        machine.carry[PERMITTED] = 1
        machine.tick(*row)
        rows.append([machine.memory[place + 1] for place in PLACES])
    return np.array(rows)


@pytest.mark.parametrize("own_crankcase", [False, True])
@pytest.mark.parametrize("jitter", [False, True])
def test_a_summary_says_what_lies_in_its_block(own_crankcase: bool, jitter: bool) -> None:
    """Catches an extreme that is overlooked, and an age that is not the one of the logic."""
    story = [
        ("healthy", 90),
        ("frozen", 70),
        ("oil frozen", 200),
        ("standing", 100),
        ("healthy", 9),
        ("frozen", 30),
        ("asleep", 150),
        ("frozen", 40),
        ("flickering", 99),
        ("frozen, now and then not read", 150),
        ("frozen and not read", 90),
        ("asleep, now and then not read", 90),
        ("frozen", 90),
    ]
    trace = told(story, 5, own_crankcase=own_crankcase, jitter=jitter)
    summaries = prepare(trace).summaries
    true_ages = ages(trace)
    elapsed = portable.elapsed_ms(trace)
    edges = [*range(0, len(trace), blocks.BLOCK), len(trace)]
    assert len(summaries) == len(edges) - 1
    for summary, (begin, end) in zip(summaries, pairwise(edges), strict=True):
        part = slice(max(begin - 1, 0), end)  # and the tick before
        oil, suction, crankcase = trace.oil_pa[part], trace.suction_pa[part], trace.crankcase_pa[part]
        assert summary[blocks.LEAST : blocks.MOST].tolist() == [c.min() for c in (oil, suction, crankcase)]
        assert summary[blocks.MOST : blocks.LAST_MOVE].tolist() == [c.max() for c in (oil, suction, crankcase)]
        assert summary[blocks.NET_LEAST] == (oil - crankcase).min()
        assert summary[blocks.LONGEST] == elapsed[begin:end].max()
        assert summary[blocks.RUNNING] == trace.running[part].sum()
        assert summary[blocks.STANDING] == (1 - trace.running[part]).sum()
        assert summary[blocks.RESETS] == trace.reset[part].sum()
        for channel, column in enumerate((trace.oil_pa, trace.suction_pa, trace.crankcase_pa)):
            moves = np.flatnonzero(np.diff(column[:end])) + 1
            assert summary[blocks.LAST_MOVE + channel] == moves[-1]
        greatest = true_ages[part].max()
        assert greatest <= summary[blocks.AGE_MOST] <= (2.8 if jitter else 1) * max(greatest, 1)


def kind_under(trace: Trace, **named: int) -> int:
    """Return the bits that all blocks of a trace have in common under sensor settings."""
    summaries = prepare(trace).summaries
    kinds, low = np.zeros(len(summaries), np.uint8), np.zeros(len(summaries), np.int64)
    blocks.classify(summaries, np.array(as_settings(UNKNOWING | named).values), kinds, low, np.zeros(1, np.int64))
    return int(np.bitwise_and.reduce(kinds))


def test_the_limits_of_a_block_are_those_of_the_logic() -> None:
    """Catches a limit that is off by one: a reading at the end of its range is plausible, an age of stuck_after is stuck."""
    trace = told([("healthy", 200), ("oil frozen", 50), ("healthy", 200)], 3, own_crankcase=True, jitter=False)
    suction = np.concatenate((trace.suction_pa, trace.crankcase_pa))
    just = {
        "oil_least": int(trace.oil_pa.min()),
        "oil_most": int(trace.oil_pa.max()),
        "suction_least": int(suction.min()),
        "suction_most": int(suction.max()),
        "max_gap": 1_000,
        "stuck_after": int(ages(trace).max()) + 1,
        "vacuum": int(suction.max()),
        "reload": int(suction.max()),
    }
    sound = blocks.INTACT | blocks.MOVING | blocks.RUNS | blocks.NO_RESET
    tighter = {"oil_least": 1, "oil_most": -1, "suction_least": 1, "suction_most": -1, "max_gap": -1, "stuck_after": -1}

    assert kind_under(trace, **just) == sound
    for name, by in tighter.items():
        named = just | {"vacuum": just["suction_most"] - 1, "reload": just["suction_most"] - 1, name: just[name] + by}
        assert kind_under(trace, **named) == sound & ~(blocks.MOVING if name == "stuck_after" else blocks.INTACT), name


def test_short_runs_of_equal_readings_do_not_make_a_block_look_stuck() -> None:
    """Catches a bound on the ages so wide that blocks with coarse readings are stepped through."""
    trace = told([("healthy", 6400)], 2, own_crankcase=False, jitter=False)
    coarse = np.round(trace.oil_pa / 20_000).astype(np.int64) * 20_000
    plain = Trace("coarse", 0.0, trace.time_ms, coarse, coarse, coarse, trace.running, trace.reset)

    assert prepare(plain).summaries[1:, blocks.AGE_MOST].max() == ages(plain)[64:].max()


def test_moves_and_ages_behind_a_leap_are_those_of_every_tick_on_its_own() -> None:
    """Catches a move that is overlooked where a leap begins or ends: readings that move once exactly there."""
    steps = (np.arange(400) % 3 == 0) | np.isin(np.arange(400) % blocks.BLOCK, (0, 1, blocks.BLOCK - 1))
    oil = 300_000 + np.cumsum(steps.astype(np.int64))
    suction = 200_000 + np.arange(400) // 130  # moves seldom, and within blocks
    trace = Trace(
        "steps", 0.0, np.arange(400) * 1000, oil, suction, suction, np.ones(400, np.uint8), np.zeros(400, np.uint8)
    )
    prepared, true_ages = prepare(trace), ages(trace)
    view = SimpleNamespace(columns=prepared.columns, ticks=400, summaries=prepared.summaries)
    for channel, column in ((blocks.OIL, oil), (blocks.SUCTION, suction)):
        for to in range(1, 401):
            moves = [tick for tick in range(1, to) if column[tick] != column[tick - 1]]
            found = blocks.last_move(prepared.columns.readings[channel], 400, prepared.summaries, channel, to)
            assert found == (moves[-1] if moves else 0), (channel, to)
    for tick in range(1, 399):
        for to in (tick + 1, tick + 2, min(tick + 70, 400)):
            before, memory = [0] * state.STATE_SIZE, [0] * state.STATE_SIZE
            last = (oil[tick - 1], suction[tick - 1], suction[tick - 1])
            for place, reading, age in zip(PLACES, last, true_ages[tick - 1].tolist(), strict=True):
                before[place : place + 2] = int(reading), age
            lane.put_ages(view, memory, before, tick, to, 1)
            assert [memory[place + 1] for place in PLACES] == true_ages[to - 1].tolist(), (tick, to)
