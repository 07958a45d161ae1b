"""What the families of traces come out as: `python -m tests.physics_families [--traces N] [--seed S] [--family NAME]`.

A row a family: labels of N traces, how many of them net oil pressure takes below 9 psi after the start grace and for
how long at the longest, the window of those that must trip, and the least film reserve of those that come through.
True pressures, not readings.
"""

import argparse
from dataclasses import dataclass

import numpy as np

from replay.physics import Result, simulate
from replay.physics import layout as at
from replay.physics.families import FAMILIES, HARMLESS, case_of, trace_of

PSI = 6894.757
NINE_PA = 9.0 * PSI
GRACE_S = 20.0  # of running, before oil pressure counts
KINDS = ("must_trip", "ride_through", "undecided")


@dataclass(frozen=True)
class Row:
    """What one trace came out as; times in s."""

    kind: str
    below_s: float  # longest unbroken stretch of running with net oil pressure below 9 psi, the grace left out
    total_s: float  # all of them
    window_s: float  # from earliest stop to deadline, of the first window
    reserve: float  # least film reserve of the pessimistic journal
    still_s: float  # longest stretch of running in which a reading did not move


def longest_s(times_s: np.ndarray, there: np.ndarray) -> float:
    """Return the longest unbroken stretch (s) of samples in which something was there."""
    edges = np.flatnonzero(np.diff(np.concatenate(([0], there.astype(np.int8), [0]))))
    begins, ends = edges[::2], edges[1::2] - 1
    return float((times_s[ends] - times_s[begins]).max()) if begins.size else 0.0


def graced(result: Result) -> np.ndarray:
    """Return at which samples the machine has run for longer than the grace."""
    times_s = result.time_ms / 1000.0
    running = result.running > 0
    since = np.where(running, -np.inf, times_s)
    return running & (times_s - np.maximum.accumulate(since) > GRACE_S)


def row(family: str, index: int, seed: int, hours: float | None = None) -> Row:
    """Simulate one trace and tell what it came out as."""
    case = case_of(family, index, seed, hours)
    result = simulate(case)
    label = trace_of(family, index, case, result).label
    kind = next(iter(label))
    first = label["must_trip"] if kind == "must_trip" else {"earliest_s": 0.0, "deadline_s": 0.0}
    first = first[0] if isinstance(first, list) else first
    times_s = result.time_ms / 1000.0
    step_s = float(np.median(np.diff(times_s)))
    low = (result.net_oil_pa < NINE_PA) & graced(result)
    readings = [result.oil_pa, result.suction_pa]
    still = max(longest_s(times_s[1:], (np.diff(its) == 0) & (result.running[1:] > 0)) for its in readings)
    return Row(
        kind,
        longest_s(times_s, low),
        float(low.sum()) * step_s,
        first["deadline_s"] - first["earliest_s"],
        float(result.rows[:, at.R_RESERVE_LOW].min()),
        still,
    )


def table(families: tuple[str, ...], traces: int, seed: int) -> list[str]:
    """Return the table's lines, and under it what the harmless families come to together."""
    lines = [f"{'family':32} {'must':>4} {'ride':>4} {'open':>4}  {'<9 psi':>6} {'longest':>8}  window s       reserve"]
    harmless: list[Row] = []
    for family in families:
        rows = [row(family, index, seed) for index in range(traces)]
        harmless += rows if family in HARMLESS else []
        counts = [sum(its.kind == kind for its in rows) for kind in KINDS]
        windows = sorted(its.window_s for its in rows if its.kind == "must_trip")
        kept = [its.reserve for its in rows if its.kind == "ride_through"]
        lines.append(
            f"{family:32} {counts[0]:4d} {counts[1]:4d} {counts[2]:4d}  {sum(its.below_s > 0 for its in rows):6d} "
            f"{max(its.below_s for its in rows):6.0f} s  "
            + (f"{windows[0]:5.0f}..{windows[-1]:5.0f}  " if windows else f"{'-':>12}  ")
            + (f"{min(kept):.2f}" if kept else "-")
        )
    if harmless:
        low = [its for its in harmless if its.below_s > 0.0]
        lines.append(
            f"harmless traces below 9 psi after the grace: {len(low)} of {len(harmless)}, "
            f"of these 10 s and more: {sum(its.below_s >= 10.0 for its in low)}, "
            f"60 s and more: {sum(its.below_s >= 60.0 for its in low)}"
        )
        still = sorted(its.still_s for its in harmless)
        lines.append(
            f"a reading of a running harmless machine stands still: median {still[len(still) // 2]:.0f} s, "
            f"longest {still[-1]:.0f} s, over 45 s in {sum(its > 45.0 for its in still)} of {len(still)}"
        )
    return lines


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--traces", type=int, default=20)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--family", action="append")
    given = parser.parse_args()
    print("\n".join(table(tuple(given.family or FAMILIES), given.traces, given.seed)))


if __name__ == "__main__":
    main()
