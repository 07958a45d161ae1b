"""The sweep engine beside the plain ways to judge a grid, on one library with one result: python -m tests.benchmarks tune.

CPU time of this process on one core, best of some runs where they are short: other load
on the machine hardly counts. A sample-candidate is one row of a trace under one candidate.
"""

import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from protect import ranges
from protect import settings as rules
from protect.ranges import NO_READING
from replay.physics.families import HARMLESS, generate
from replay.settings import Settings, read_settings
from replay.sweep import arrange, prepare, sweep
from replay.trace import Trace
from tests.benchmarks import _tune_peers as peers
from tests.support.toolchain import ROOT

SEED = 7
# Families of the realistic library: hours with few upsets, and faults as long as they take.
HOURLY = ("service-valve-shut-briefly", "pump-down-and-stop", "short-dropouts")
STEADY = HOURLY[1]  # every hour like the one before: no candidate is locked out and done
FAULTS = (("suction-valve-shut", 0), ("pump-drive-broken", 1), ("reload-before-film", 0))
PART = 600  # rows at each end of a trace that stand for the whole where a peer is too slow for it


@dataclass(frozen=True)
class Size:
    """How much is measured: hours of each harmless trace, the grid, rows of a worst case, and of the curves."""

    hours: float = 8.0
    delays: int = 43
    cut_outs: int = 17
    worst_rows: int = 4000
    curve_hours: tuple[float, ...] = (1.0, 2.0, 4.0, 8.0, 16.0)
    curve_delays: tuple[int, ...] = (1, 2, 5, 43, 430)
    long_rows: int = 2_000_000
    runs: int = 5


QUICK = Size(0.25, 3, 2, 200, (0.25,), (1, 3), 5000, 1)


def best(work: Callable[[], object], runs: int = 5) -> float:
    """Return the least CPU time of some runs, in seconds."""
    spent = []
    for _ in range(runs):
        begin = time.process_time()
        work()
        spent.append(time.process_time() - begin)
    return min(spent)


def synthesised(family: str, index: int, hours: float) -> Trace:
    """Return a trace as the physics makes it."""
    made = generate(family, index, SEED, hours if family in HARMLESS else None)

    def read(pascals: np.ndarray) -> np.ndarray:
        return np.where(pascals < -100_000, NO_READING, pascals)

    suction = read(made.suction_pa)
    crankcase = suction if made.crankcase_pa is None else read(made.crankcase_pa)
    reset = np.zeros(len(suction), np.uint8)
    return Trace(made.id, 0.0, made.time_ms, read(made.oil_pa), suction, crankcase, made.running, reset)


def base() -> Settings:
    """Return the settings of the demo site."""
    return read_settings(ROOT / "fixtures" / "settings.toml")


def varied(**named: int) -> Settings:
    """Return the settings of the demo site with some values (in units of `protect`) changed."""
    values = list(base().values)
    for name, value in named.items():
        values[getattr(ranges, name.upper())] = value
    if rules.first_fault(values) != rules.ALL_RIGHT:
        raise ValueError(named)
    rules.derive(values)
    return replace(base(), values=tuple(values))


def grid(delays: int, cut_outs: int) -> list[Settings]:
    """Return trip delays of 30 to 240 s by cut-outs of 5 to 10 psi, cut-in 2 psi above."""
    return [
        varied(trip_delay=round(delay), cut_out=round(6894.757 * psi), cut_in=round(6894.757 * (psi + 2.0)))
        for delay in np.linspace(30_000, 240_000, delays)
        for psi in np.linspace(5.0, 10.0, cut_outs)
    ]


def realistic(hours: float) -> list[Trace]:
    """Return harmless hours with a few upsets and some faults."""
    return [synthesised(name, 0, hours) for name in HOURLY] + [synthesised(name, i, hours) for name, i in FAULTS]


def unhealthy(traces: Sequence[Trace], settings: Settings) -> float:
    """Return the share of running time with net oil pressure below cut-in, or without a reading."""
    cut_in = settings.values[ranges.CUT_IN]
    low = sum(int(((t.oil_pa - t.crankcase_pa < cut_in) & (t.running == 1)).sum()) for t in traces)
    return low / sum(int(t.running.sum()) for t in traces)


def starved(rows: int, kind: str) -> Trace:
    """Return a trace that is never at rest: starved throughout, pulsing, or read only now and then."""
    rng = np.random.default_rng(SEED)
    suction = rng.integers(150_000, 153_000, rows)
    net = rng.integers(15_000, 29_000, rows)
    if kind == "pulsing":
        net = np.where(np.arange(rows) % 7 < 5, rng.integers(31_000, 33_000, rows), rng.integers(80_000, 99_000, rows))
    oil = suction + net
    if kind == "half unread":
        oil[rng.random(rows) < 0.5] = NO_READING
    flags = np.ones(rows, np.uint8), np.zeros(rows, np.uint8)
    return Trace(kind, 0.0, np.arange(rows) * 1000, oil, suction, suction, *flags)


def ours(traces: Sequence[Trace], candidates: Sequence[Settings]) -> list[list[peers.Outcome]]:
    """Sweep from nothing: traces are prepared and candidates arranged within."""
    arranged = arrange(candidates)
    return [[peers.outcome(replay) for replay in sweep(prepare(trace), arranged)] for trace in traces]


def side_by_side(title: str, traces: Sequence[Trace], candidates: Sequence[Settings], size: Size) -> None:
    """Print ns per sample-candidate of all ways over the same library and grid, results compared."""
    values = np.array([candidate.values for candidate in candidates], np.int64)
    rows = sum(len(trace) for trace in traces)
    print(f"\n{title}: {len(traces)} trace(s), {rows} rows, {len(candidates)} candidates")
    arranged = arrange(candidates)
    expected = ours(traces, candidates)
    sweeping = (
        best(lambda: [sweep(prepare(trace), arranged) for trace in traces], size.runs) / rows / len(candidates) * 1e9
    )
    few = values[:: max(1, len(values) // 2)][:2]
    parts = [_first(trace, PART) for trace in traces]
    part_rows = sum(len(part) for part in parts)
    begin = time.process_time()
    found = [peers.interpreted(part, few) for part in parts]
    spent = (time.process_time() - begin) / part_rows / len(few) * 1e9
    same = found == ours(parts, [replace(candidates[0], values=tuple(row)) for row in few.tolist()])
    _line(
        "interpreted reference", spent, sweeping, f"{'same' if same else 'DIFFERENT'} (first {PART} rows, 2 candidates)"
    )
    assert same
    for name, peer in (
        ("numpy over candidates", peers.numpy_peer),
        ("compiled loop", peers.compiled_peer()),
        ("C loop, gcc -O3", peers.c_peer()),
    ):
        peer(_first(traces[0], 2), values[:1])
        begin = time.process_time()
        found = [peer(trace, values) for trace in traces]
        spent = (time.process_time() - begin) / rows / len(candidates) * 1e9
        _line(name, spent, sweeping, "same" if found == expected else "DIFFERENT")
        assert found == expected
    _line("sweep", sweeping, sweeping, "")


def _line(name: str, spent: float, sweeping: float, said: str) -> None:
    print(f"  {name:24} {spent:10.3f} ns per sample-candidate {spent / sweeping:9.1f} x sweep  {said}")


def _first(trace: Trace, rows: int) -> Trace:
    """Return the first rows of a trace."""
    return replace(trace, **{name: getattr(trace, name)[:rows] for name in _COLUMNS})


_COLUMNS = ("time_ms", "oil_pa", "suction_pa", "crankcase_pa", "running", "reset")


def tiled(trace: Trace, rows: int) -> Trace:
    """Return a trace again and again, up to so many rows."""
    times = -(-rows // len(trace))
    columns = {name: np.tile(getattr(trace, name), times)[:rows] for name in _COLUMNS[1:]}
    if trace.crankcase_pa is trace.suction_pa:
        columns["crankcase_pa"] = columns["suction_pa"]
    return replace(trace, time_ms=np.arange(rows, dtype=np.int64) * 1000, **columns)


def single(trace: Trace, size: Size) -> None:
    """Print a single replay, preparation included, beside reading the columns once."""
    candidate = arrange([base()])
    columns = {id(getattr(trace, name)): getattr(trace, name) for name in _COLUMNS}.values()
    sweep(prepare(trace), candidate)
    reading = best(lambda: [column.sum() for column in columns], 4 * size.runs) / len(trace) * 1e9
    replaying = best(lambda: sweep(prepare(trace), candidate), 4 * size.runs) / len(trace) * 1e9
    prepared = prepare(trace)
    again = best(lambda: sweep(prepared, candidate), 4 * size.runs) / len(trace) * 1e9
    megabytes = sum(column.nbytes for column in columns) / 1e6
    print(
        f"  {len(trace):8} rows, {megabytes:6.1f} MB: numpy sum of each column {reading:.2f} ns a row, "
        f"one candidate {replaying:.2f} ({replaying / reading:.2f} x), prepared trace {again:.2f}"
    )


def curves(size: Size) -> None:
    """Print the cost over hours and over candidates."""
    settings = grid(size.delays, size.cut_outs)
    candidates = arrange(settings)
    print(f"\ncost over hours, {len(settings)} candidates, prepared within")
    longest = synthesised(STEADY, 0, size.curve_hours[-1])
    for hours in size.curve_hours:
        trace = _first(longest, int(len(longest) * hours / size.curve_hours[-1]))
        spent = best(lambda trace=trace: sweep(prepare(trace), candidates), size.runs)
        print(f"  {hours:6.2f} h {spent * 1e3:9.3f} ms {spent / hours * 1e3:9.3f} ms per hour")
    prepared = prepare(synthesised(HOURLY[0], 0, size.hours))
    print(f"\ncost over candidates, {len(prepared.columns.time)} rows, prepared trace")
    for delays in size.curve_delays:
        settings = grid(delays, size.cut_outs)
        candidates = arrange(settings)
        spent = best(lambda candidates=candidates: sweep(prepared, candidates), size.runs)
        print(f"  {len(settings):6} candidates {spent * 1e3:9.3f} ms {spent / len(settings) * 1e6:9.3f} us each")


def run(size: Size) -> None:
    """Measure and print everything."""
    candidates = grid(size.delays, size.cut_outs)
    traces = realistic(size.hours)
    share = 100 * unhealthy(traces, base())
    side_by_side(f"realistic library, {share:.1f} % of running time not healthy", traces, candidates, size)
    few = candidates[:: max(1, len(candidates) // 100)]
    for kind in ("starved throughout", "pulsing", "half unread"):
        side_by_side(f"worst case, {kind}", [starved(size.worst_rows, kind)], few, size)
    never = [
        varied(trip_delay=1_800_000, floor_weight=ranges.ONE, cut_out=30_000 + k, floor=10_000) for k in range(100)
    ]
    side_by_side("worst case, starved and never full", [starved(min(size.worst_rows, 1700), "starved")], never, size)
    print("\na single candidate")
    steady = synthesised("unloader-steps", 0, size.hours)
    single(steady, size)
    single(tiled(steady, size.long_rows), size)
    curves(size)


def main() -> None:
    """Print all figures."""
    run(Size())
