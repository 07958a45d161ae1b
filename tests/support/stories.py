"""Long traces told in stretches, each of one kind, for what happens only where much is calm."""

from dataclasses import dataclass

import numpy as np
from hypothesis import strategies as st

from protect import settings as rules
from protect.ranges import NO_READING, ONE, SETTINGS, SETTINGS_SIZE
from replay.settings import Settings
from replay.trace import Trace

# Kinds of stretches: net oil pressure by name of its level, and what is wrong.
KINDS = (
    "healthy",
    "between",
    "low",
    "deep",
    "around cut-out",
    "around cut-in",
    "standing",
    "frozen",
    "oil frozen",
    "asleep",
    "not read",
    "now and then not read",
    "frozen and not read",
    "frozen, now and then not read",
    "asleep, now and then not read",
    "out of range",
    "late",
    "reset",
    "vacuum",
    "reload",
    "vacuum, then reload",
    "flickering",
)
LENGTHS = (1, 2, 5, 20, 63, 64, 65, 128, 200, 700)


@dataclass(frozen=True)
class Levels:
    """The levels (Pa) that the stretches of a story are told around."""

    cut_out: int = 60_000
    cut_in: int = 90_000
    floor: int = 30_000
    vacuum: int = 80_000
    reload: int = 110_000


def named_values(named: dict[str, int]) -> tuple[int, ...]:
    """Return the settings array of named settings, derived places included."""
    values = [named[row[0]] for row in SETTINGS] + [0] * (SETTINGS_SIZE - len(SETTINGS))
    assert rules.first_fault(values) == rules.ALL_RIGHT, named
    rules.derive(values)
    return tuple(values)


def as_settings(named: dict[str, int]) -> Settings:
    """Return named settings as a settings file would give them, without acceptance."""
    return Settings("drawn", named_values(named), 0.0, None)


@st.composite
def brisk_settings(draw: st.DrawFn) -> dict[str, int]:
    """Draw settings around the levels of a story, whose timers end within it."""
    levels = Levels()
    pick = st.sampled_from
    return {
        "cut_out": levels.cut_out + draw(pick([0, -5_000, 5_000])),
        "cut_in": levels.cut_in + draw(pick([0, -5_000, 5_000])),
        "floor": levels.floor + draw(pick([0, -30_000, 5_000])),
        "trip_delay": draw(pick([1_000, 5_000, 30_000, 150_000, 1_800_000])),
        "floor_weight": draw(pick([ONE, 3 * ONE, 3 * ONE + 77])),
        "vacuum_weight": draw(pick([ONE, 2 * ONE + 5, ONE // 4, 205])),
        "recovery": draw(pick([0, 5, ONE, 4 * ONE])),
        "stopped_recovery": draw(pick([0, 1, ONE // 10, ONE])),
        "vacuum": levels.vacuum,
        "reload": levels.reload,
        "reload_fraction": draw(pick([0, ONE // 8, ONE // 2, ONE])),
        "start_grace": draw(pick([0, 700, 20_000, 400_000])),
        "restart_delay": (restart_delay := draw(pick([0, 1, 5_000, 64_000, 300_000]))),
        "rest_settle": min(restart_delay, draw(pick([0, 3_000, 40_000]))),
        "rest_most": draw(pick([1_000, 20_000, 20_100_000])),
        "reset_hold": min(restart_delay, draw(pick([0, 2_000]))),
        "resets_most": draw(pick([1, 7])),
        "trips_to_lockout": draw(pick([1, 2, 3, 100])),
        "trip_memory": draw(pick([1_000, 60_000, 86_400_000])),
        "oil_least": -20_000,
        "oil_most": draw(pick([1_650_000, 400_000])),
        "suction_least": -20_000,
        "suction_most": 1_650_000,
        "max_gap": draw(pick([1_500, 3_000])),
        "stuck_after": draw(pick([4_000, 45_000, 86_400_000])),
        "fault_delay": draw(pick([100, 8_000, 60_000])),
    }


def _net(kind: str, length: int, rng: np.random.Generator) -> np.ndarray:
    """Return net oil pressure over a stretch, int64[length]."""
    levels = Levels()
    middle, spread = {
        "between": (75_000, 9_000),
        "low": (45_000, 9_000),
        "deep": (10_000, 15_000),
        "vacuum": (10_000, 15_000),
        "reload": (10_000, 15_000),
        "vacuum, then reload": (10_000, 15_000),
        "around cut-out": (levels.cut_out, 12_000),
        "around cut-in": (levels.cut_in, 12_000),
        "standing": (0, 300),
    }.get(kind, (150_000, 20_000))
    return rng.integers(middle - spread, middle + spread + 1, length)


def _suction(kind: str, length: int, rng: np.random.Generator) -> np.ndarray:
    """Return suction pressure over a stretch, int64[length]."""
    low, high = {"vacuum": (40_000, 79_000), "reload": (105_000, 130_000)}.get(kind, (239_000, 261_000))
    if kind == "vacuum, then reload":
        part = min(20, length // 2)
        return np.append(_suction("vacuum", part, rng), _suction("reload", length - part, rng))
    return rng.integers(low, high, length)


def _disturb(kind: str, part: list[np.ndarray], rng: np.random.Generator) -> None:
    """Change the columns of a stretch, in place, where its kind is a disturbance."""
    elapsed, oil, _, _, running, reset = part
    length = len(oil)
    if kind.endswith("now and then not read"):
        oil[:: rng.integers(2, 40)] = NO_READING
    elif kind.endswith("not read"):
        oil[:] = NO_READING
    elif kind == "out of range":
        oil[:] = 1_700_000 + rng.integers(0, 99, length)
    elif kind == "late":
        elapsed[0] = rng.integers(1_501, 4_000_000)
    elif kind == "reset":
        reset[rng.integers(0, length) :] = 1
    elif kind == "flickering":
        running[:] = rng.integers(0, 2, length)


def told(stretches: list[tuple[str, int]], seed: int, *, own_crankcase: bool, jitter: bool) -> Trace:
    """Return the trace of a story: (kind, ticks) one after another, noise from the seed."""
    rng = np.random.default_rng(seed)
    parts, last = [], (390_000, 240_000, 240_000)
    for kind, length in stretches:
        suction = _suction(kind, length, rng)
        crankcase = suction + rng.integers(-500, 500, length) if own_crankcase else suction.copy()
        oil = crankcase + _net(kind, length, rng)
        elapsed = rng.integers(500, 1_400, length) if jitter else np.full(length, 1_000)
        running = np.full(length, int(not kind.startswith(("standing", "asleep"))))
        reset = np.zeros(length, np.int64)
        part = [elapsed, oil, suction, crankcase, running, reset]
        for column, reading in zip(part[1:4], last, strict=True):
            if kind.startswith(("frozen", "asleep")) or (kind == "oil frozen" and column is oil):
                column[:] = reading  # from the last reading before on
        under_way = oil[-1]
        _disturb(kind, part, rng)
        last = (oil[-1] if oil[-1] != NO_READING else under_way, suction[-1], crankcase[-1])
        parts.append(np.stack(part))
    elapsed, oil, suction, crankcase, running, reset = np.concatenate(parts, axis=1)
    time = np.cumsum(elapsed) - elapsed[0]
    if not own_crankcase:
        crankcase = suction
    return Trace("told", 0.0, time, oil, suction, crankcase, running.astype(np.uint8), reset.astype(np.uint8))


@st.composite
def stories(draw: st.DrawFn) -> Trace:
    """Draw a trace of some thousand rows; each story knows a few kinds of stretches only, health among them."""
    known = draw(st.lists(st.sampled_from(KINDS), min_size=1, max_size=4, unique=True))
    kind = st.sampled_from(["healthy", *known])
    stretches = draw(st.lists(st.tuples(kind, st.sampled_from(LENGTHS)), min_size=2, max_size=25))
    return told(
        [("healthy", 3), *stretches],
        draw(st.integers(0, 2**32 - 1)),
        own_crankcase=draw(st.booleans()),
        jitter=draw(st.booleans()),
    )
