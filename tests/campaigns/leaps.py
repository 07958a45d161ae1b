"""Sweep campaign: drawn traces that stand on the very limits of the sweep's leaps, each candidate against its plain replay.

Long stretches are calm, which is what is leapt over, and every level lies on a limit or 1 beside it: net oil pressure at
cut-out, cut-in, floor and the standstill zero, suction at vacuum and reload, ticks of max_gap and 1 ms more, channels that
stand still for just stuck_after, restart delays, graces, presses and single spoilt readings at the edges of blocks.
"""

from dataclasses import dataclass, replace

import click
import numpy as np

from protect.ranges import NO_READING, ONE
from replay.engine import compiled
from replay.settings import Settings
from replay.sweep import arrange, prepare, sweep
from replay.trace import Trace
from tests.results import close, record_option
from tests.support.protection import PROFILE
from tests.support.stories import as_settings

LEAST, MOST = -20_000, 1_650_000  # Pa, range of every sensor
CUT_OUT, CUT_IN, FLOOR, VACUUM, RELOAD = 60_000, 90_000, 30_000, 80_000, 110_000
LENGTHS = (1, 2, 30, 62, 63, 64, 65, 66, 128, 200, 300)
RUNNING_NETS = (150_000, 150_000, CUT_IN, CUT_IN - 1, CUT_OUT, CUT_OUT - 1, FLOOR, FLOOR - 1, 10_000)
SUCTIONS = (300_000, 300_000, 300_000, VACUUM, VACUUM - 1, RELOAD, RELOAD - 1)
DELAYS = (1_000, 4_000, 30_000, 64_000, 150_000, 1_800_000)


@dataclass(frozen=True)
class Case:
    """One drawn trace with candidates."""

    trace: Trace
    candidates: tuple[Settings, ...]


def drawn(seed: int, number: int) -> Case:
    """Return the case of a number: it belongs to seed and number alone."""
    rng = np.random.default_rng((seed, number))
    pick = lambda *values: values[rng.integers(len(values))]  # noqa: E731
    tick = pick(500, 1_000)
    restart = tick * pick(0, 1, 5, 63, 64, 65, 128)
    named = PROFILE | {
        "cut_out": CUT_OUT, "cut_in": CUT_IN, "floor": FLOOR, "vacuum": VACUUM, "reload": RELOAD,
        "oil_least": LEAST, "suction_least": LEAST, "oil_most": MOST, "suction_most": MOST,
        "max_gap": pick(tick, tick + 1, 2 * tick), "stuck_after": tick * pick(5, 63, 64, 65, 128, 10_000),
        "fault_delay": pick(100, tick, 8_000, 60_000), "restart_delay": restart,
        "rest_settle": min(restart, tick * pick(0, 1, 5)), "rest_most": pick(1_000, 20_000, 20_100_000),
        "reset_hold": min(restart, tick * pick(0, 2)), "resets_most": pick(1, 7),
        "start_grace": tick * pick(0, 1, 64, 65, 400), "trips_to_lockout": pick(1, 2, 3, 100),
        "trip_memory": tick * pick(10, 64, 500, 100_000), "recovery": pick(0, 5, ONE, 4 * ONE),
        "stopped_recovery": pick(0, 1, ONE // 10, ONE), "floor_weight": pick(ONE, 3 * ONE + 77),
        "vacuum_weight": pick(ONE, ONE // 4, 2 * ONE + 5), "reload_fraction": pick(0, ONE // 8, ONE // 2, ONE),
    }  # fmt: skip
    delays = sorted({DELAYS[place] for place in rng.integers(0, len(DELAYS), 3)})
    candidates = [as_settings(named | {"trip_delay": delay}) for delay in delays]
    candidates.append(as_settings(named | {"trip_delay": delays[0], "cut_in": CUT_IN + int(pick(-1, 1))}))
    return Case(_trace(rng, tick, named["max_gap"], named["rest_most"]), tuple(candidates))


def _trace(rng: np.random.Generator, tick: int, max_gap: int, rest_most: int) -> Trace:
    pick = lambda *values: values[rng.integers(len(values))]  # noqa: E731
    own_crankcase = bool(rng.integers(2))
    parts = [_stretch(rng, 70, 150_000, 300_000, running=1, still=False)]
    for _ in range(rng.integers(2, 7)):
        running, length = int(rng.random() < 0.65), int(pick(*LENGTHS))
        zero = rest_most if rest_most < LEAST + MOST else 0
        net = pick(*RUNNING_NETS) if running else pick(0, 0, 0, zero, zero + 1, -zero, -zero - 1, 40_000)
        other = pick(*RUNNING_NETS) if running and rng.random() < 0.4 else net
        part = _stretch(rng, length, net, pick(*SUCTIONS), running=running, still=rng.random() < 0.15)
        part[2] += np.where(rng.random(length) < pick(0.05, 0.5), other - net, 0)
        spoilt = int(pick(0, 1, 2)) if rng.random() < 0.3 else 9
        if spoilt < 3:
            at = int(pick(0, length - 1, rng.integers(length)))
            part[2 + spoilt][at] = pick(NO_READING, MOST, MOST + 1, LEAST, LEAST - 1)
        if rng.random() < 0.3:
            part[0][int(pick(0, length - 1))] = pick(max_gap - tick, max_gap - tick + 1, 5_000, 4_000_000)
        if rng.random() < 0.25:
            part[5][int(rng.integers(length)) :] = 1
        if rng.random() < 0.1:
            part[1][int(rng.integers(length))] ^= 1
        parts.append(part)
    late, running_rows, oil, suction, crankcase, reset = (
        np.concatenate(columns) for columns in zip(*parts, strict=True)
    )
    time = np.cumsum(late + tick)
    if not own_crankcase:
        gone = NO_READING in (oil.min(), suction.min())
        oil, crankcase = np.where(oil == NO_READING, oil, oil - crankcase + suction), suction
        oil = np.where((suction == NO_READING) & gone, 400_000, oil)
    flags = running_rows.astype(np.uint8), reset.astype(np.uint8)
    return Trace("drawn", 0.0, time - time[0], oil, suction, crankcase, *flags)


def _stretch(
    rng: np.random.Generator, length: int, net: int, suction: int, *, running: int, still: bool
) -> list[np.ndarray]:
    """Return late, running, oil, suction, crankcase and reset: pressures on their levels, moving by a few Pa beyond or not at all."""
    ripple = np.zeros(length, np.int64) if still else np.arange(length) % 2 * int(rng.integers(1, 6))
    crankcase = np.full(length, 300_000, np.int64) + ripple
    up = 1 if net >= 0 else -1
    oil = crankcase + net + up * ripple[::-1] * int(rng.integers(0, 2))
    columns = np.full(length, suction, np.int64) + ripple, crankcase
    zeros = np.zeros(length, np.int64)
    return [zeros.copy(), np.full(length, running, np.int64), oil, *columns, zeros.copy()]


def differs(case: Case) -> bool:
    """Say whether a candidate of the sweep comes out otherwise than its plain replay."""
    found = sweep(prepare(case.trace), arrange(case.candidates))
    plain = [compiled.replay_trace(case.trace, candidate) for candidate in case.candidates]
    return found != [replace(one, changes=()) for one in plain]


@click.command("leaps")
@click.option("--cases", default=100_000, show_default=True, help="Traces to draw.")
@click.option("--seed", default=1, show_default=True)
@record_option
def leaps(cases: int, seed: int, *, record: bool) -> None:
    """Hold the sweep against the plain replay on traces drawn onto the limits of its leaps."""
    bad = [number for number in range(cases) if differs(drawn(seed, number))]
    for number in bad[:10]:
        print(f"differs: seed {seed}, case {number}")
    close(f"{cases} drawn cases of 3 or 4 candidates, {len(bad)} differ", record=record)
    raise SystemExit(bool(bad))
