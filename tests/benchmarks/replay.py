"""Replay of the demo library beside reading it and beside the plainest timer one would write: python -m tests.benchmarks replay."""

import time
from collections.abc import Callable
from pathlib import Path

from protect.ranges import CUT_OUT
from replay.engine import replay_trace
from replay.library import read_library
from replay.settings import read_settings
from replay.trace import Trace, read_trace

FIXTURES = Path(__file__).parent.parent.parent / "fixtures"


def best(work: Callable[[], object], times: int = 5) -> float:
    """Return the shortest of some runs, in seconds."""
    spent = []
    for _ in range(times):
        begin = time.perf_counter()
        work()
        spent.append(time.perf_counter() - begin)
    return min(spent)


def plain_timer(trace: Trace, cut_out: int, delay_ms: int) -> int | None:
    """Trip when net oil pressure stays below cut-out for a delay: no weights, no recovery, no sensor checks."""
    low_ms = 0
    before = 0
    columns = (trace.time_ms, trace.oil_pa, trace.crankcase_pa, trace.running)
    for now, oil, crankcase, running in zip(*(column.tolist() for column in columns), strict=True):
        if running and oil - crankcase < cut_out:
            low_ms += now - before
            if low_ms >= delay_ms:
                return int(now)
        else:
            low_ms = 0
        before = now
    return None


def main() -> None:
    """Print rows a second and the ratios."""
    entries = read_library(FIXTURES).entries
    settings = read_settings(FIXTURES / "settings.toml")
    traces = [read_trace(entry.path) for entry in entries]
    rows = sum(len(trace) for trace in traces)
    reading = best(lambda: [read_trace(entry.path) for entry in entries])
    timing = best(lambda: [plain_timer(trace, settings.values[CUT_OUT], 1 << 60) for trace in traces])
    replaying = best(lambda: [replay_trace(trace, settings) for trace in traces])
    print(f"{rows} rows in {len(traces)} traces, best of 5")
    for name, seconds in (("read", reading), ("plain timer", timing), ("portable engine", replaying)):
        print(f"{name:16} {seconds:7.3f} s {rows / seconds / 1e6:8.3f} M rows/s {seconds / timing:7.1f} x plain timer")
