"""What hypothesis draws: settings from the whole admitted range, and readings where the rules change."""

from collections.abc import Callable

from hypothesis import strategies as st

from protect import state
from tests.support.protection import MISSING, ONE

Named = dict[str, int]
Pick = Callable[[int, int], st.SearchStrategy[int]]


def ends(least: int, most: int) -> st.SearchStrategy[int]:
    """Draw one of the ends of a closed range."""
    return st.sampled_from([least, most])


def between(least: int, most: int) -> st.SearchStrategy[int]:
    """Draw from a closed range, and often one of its ends."""
    return st.one_of(ends(least, most), st.integers(least, most))


@st.composite
def admitted(draw: st.DrawFn, pick: Pick = st.integers) -> Named:
    """Draw settings from the whole admitted range; ranges and relations are restated here."""
    floor = draw(pick(0, 999_998))
    cut_out = draw(pick(max(1_000, floor + 1), 999_999))
    cut_in = draw(pick(cut_out + 1, 1_000_000))
    oil_most = draw(pick(cut_in + 1, 20_000_000))
    vacuum = draw(pick(0, 10_000_000))
    reload = draw(pick(vacuum, 20_000_000))
    suction_least = draw(pick(-100_000, min(vacuum, 19_999_999)))
    suction_most = draw(pick(max(reload, suction_least + 1), 20_000_000))
    max_gap = draw(pick(10, 300_000))
    restart_delay = draw(pick(0, 86_400_000))
    return {
        "cut_out": cut_out,
        "cut_in": cut_in,
        "floor": floor,
        "trip_delay": draw(pick(1_000, 1_800_000)),
        "floor_weight": draw(pick(ONE, 8 * ONE)),
        "vacuum_weight": draw(pick(205, 8 * ONE)),
        "recovery": draw(pick(0, 8 * ONE)),
        "stopped_recovery": draw(pick(0, 8 * ONE)),
        "vacuum": vacuum,
        "reload": reload,
        "reload_fraction": draw(pick(0, ONE)),
        "start_grace": draw(pick(0, 1_800_000)),
        "restart_delay": restart_delay,
        "trips_to_lockout": draw(pick(1, 100)),
        "trip_memory": draw(pick(1_000, 604_800_000)),
        "oil_least": draw(pick(-100_000, oil_most - 1)),
        "oil_most": oil_most,
        "suction_least": suction_least,
        "suction_most": suction_most,
        "max_gap": max_gap,
        "stuck_after": draw(pick(max(1_000, max_gap + 1), 86_400_000)),
        "fault_delay": draw(pick(100, 1_800_000)),
        "rest_settle": draw(pick(0, restart_delay)),
        "rest_most": draw(pick(1_000, 20_100_000)),
        "reset_hold": draw(pick(0, restart_delay)),
        "resets_most": draw(pick(1, 7)),
    }


@st.composite
def lively(draw: st.DrawFn) -> Named:
    """Draw settings with delays so short and sensors so wide that everything happens within a few ticks."""
    named = draw(admitted())
    max_gap = draw(st.integers(500, 5_000))
    restart_delay = draw(st.sampled_from([0, 1, 3_000]))
    return named | {
        "trip_delay": draw(st.integers(1_000, 20_000)),
        "reload": named["vacuum"] + draw(between(0, 100_000)),
        "reload_fraction": draw(st.sampled_from([0, ONE // 8, ONE // 2, ONE])),
        "start_grace": draw(st.sampled_from([0, 1, 2_000])),
        "restart_delay": restart_delay,
        "rest_settle": draw(between(0, restart_delay)),
        "rest_most": draw(st.sampled_from([1_000, named["cut_out"], 20_100_000])),
        "reset_hold": draw(between(0, restart_delay)),
        "resets_most": draw(st.integers(1, 3)),
        "trips_to_lockout": draw(st.integers(1, 3)),
        "trip_memory": draw(st.sampled_from([1_000, 20_000, 600_000])),
        "oil_least": -100_000,
        "oil_most": 20_000_000,
        "suction_least": -100_000,
        "suction_most": 20_000_000,
        "max_gap": max_gap,
        "stuck_after": draw(st.sampled_from([max(1_000, max_gap + 1), 10_000, 86_400_000])),
        "fault_delay": draw(st.sampled_from([100, 5_000, 60_000, 1_800_000])),
    }


def any_settings() -> st.SearchStrategy[Named]:
    """Draw lively settings or any admitted ones."""
    return st.one_of(lively(), admitted())


def around(*limits: int) -> st.SearchStrategy[int]:
    """Draw one of these limits, just below it, just above it, or something between the first and the last."""
    near = sorted({limit + step for limit in limits for step in (-1, 0, 1)})
    return st.one_of(st.sampled_from(near), st.integers(near[0], near[-1]))


@st.composite
def readings(draw: st.DrawFn, named: Named) -> tuple[int, int, int]:
    """Draw oil, suction and crankcase pressure around every limit; sometimes a channel is not read."""
    net = draw(around(0, named["floor"], named["cut_out"], named["cut_in"]))
    suction = draw(around(named["suction_least"], named["vacuum"], named["reload"], named["suction_most"]))
    crankcase = draw(st.one_of(st.just(suction), st.integers(suction - 1_000, suction + 1_000)))
    oil = crankcase + net
    lost = draw(st.sampled_from(["none"] * 45 + ["oil", "suction", "crankcase", "low", "high"]))
    return (
        {"oil": MISSING, "low": named["oil_least"] - 1, "high": named["oil_most"] + 1}.get(lost, oil),
        MISSING if lost == "suction" else suction,
        MISSING if lost == "crankcase" else crankcase,
    )


@st.composite
def memories(draw: st.DrawFn, named: Named, pressures: tuple[int, int, int]) -> list[int]:
    """Draw a state array such as a long history may leave behind; its last readings may be these pressures."""
    words = [0] * state.STATE_SIZE
    words[state.STATE] = draw(st.integers(0, 5))
    words[state.INTEGRAL] = draw(between(0, named["trip_delay"] - 1))
    words[state.INTEGRAL_FRACTION] = draw(between(0, ONE - 1))
    words[state.GRACE_LEFT] = draw(between(0, named["start_grace"]))
    words[state.RESTART_LEFT] = draw(between(0, named["restart_delay"]))
    words[state.TRIPS] = draw(st.integers(0, named["trips_to_lockout"] - 1))
    if words[state.TRIPS]:
        words[state.MEMORY_LEFT] = draw(between(1, named["trip_memory"]))
    words[state.FAULT_TIME] = draw(between(0, named["fault_delay"] - 1))
    words[state.FLAGS] = draw(st.sampled_from([0, state.IN_SPELL, state.IN_SPELL | state.VACUUM_SEEN]))
    words[state.FLAGS] |= draw(st.sampled_from([0, state.RESET_HELD]))
    if words[state.FLAGS] & state.RESET_HELD and words[state.STATE] == state.LOCKED_OUT:
        words[state.FLAGS] |= draw(st.sampled_from([0, state.RESET_PRESSED]))
    if words[state.MEMORY_LEFT]:
        words[state.FLAGS] |= draw(st.integers(0, named["resets_most"])) << 5

    full_or_declared = draw(st.integers(0, 9))
    if words[state.STATE] == state.STARVED:
        words[state.GRACE_LEFT] = 0
    elif full_or_declared == 0:
        words[state.INTEGRAL], words[state.INTEGRAL_FRACTION] = named["trip_delay"], 0
    if full_or_declared == 1 and words[state.STATE] >= state.TRIPPED:
        words[state.FAULT_TIME] = draw(between(1, named["fault_delay"]))
        words[state.FLAGS] |= state.FAULT_DECLARED
    for channel, reading in zip((state.OIL_SEEN, state.SUCTION_SEEN, state.CRANKCASE_SEEN), pressures, strict=True):
        words[channel] = draw(st.sampled_from([reading, MISSING]))
        words[channel + 1] = draw(between(0, named["stuck_after"])) if words[channel] != MISSING else 0
    return words
