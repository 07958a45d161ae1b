"""The bench page: 100 traces of 30 minutes at 1 Hz replayed in headless Chromium, beside the same by the host's engines: python -m tests.benchmarks page."""

import tempfile
import time
from collections.abc import Callable
from pathlib import Path

from replay.engine import c_port, compiled, portable
from replay.library import read_library
from replay.page.bench import page
from replay.settings import read_settings
from replay.trace import Trace, read_trace
from tests.conftest import entry
from tests.support.bench_page import FIXTURES, driven

TRACES, ROWS = 100, 1801


def library_of_half_hours(folder: Path) -> None:
    """Write 100 traces of 30 min at 1 Hz, their pressures those of the demo library, begun again where it ends."""
    tables = []
    places = read_library(FIXTURES).entries
    for number in range(TRACES):
        lines = places[number % len(places)].path.read_text(encoding="utf-8").splitlines()
        rows = [line.split(",")[1:] for line in lines[1:]]
        text = "\n".join(",".join([str(second), *rows[second % len(rows)]]) for second in range(ROWS))
        (folder / f"t{number}.csv").write_text(f"{lines[0]}\n{text}\n", encoding="utf-8")
        tables.append(entry(f"t{number}", "ride_through = true"))
    (folder / "library.toml").write_text("".join(tables), encoding="utf-8")


def best(work: Callable[[], object], times: int = 5) -> float:
    """Return the shortest of some runs, in ms."""
    spent = []
    for _ in range(times):
        begin = time.perf_counter()
        work()
        spent.append(1000 * (time.perf_counter() - begin))
    return min(spent)


def main() -> None:
    """Print size, loading and replay of the page, and the ratios."""
    settings = read_settings(FIXTURES / "settings.toml")
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        library_of_half_hours(folder)
        library = read_library(folder)
        made = page(library, settings)
        out = folder / "bench.html"
        out.write_text(made.text, encoding="utf-8")
        traces = [read_trace(place.path) for place in library.entries]
        told = driven(out, folder, ("measure", 20))
    csv = sum(len(trace) for trace in traces)
    print(f"{made.traces} traces, {csv} readings, page of {len(made.text.encode()) / 1e6:.2f} MB")
    page_ms = told["shortestMs"]

    def replayed(run: Callable[[Trace], object]) -> float:
        return best(lambda: [run(trace) for trace in traces])

    c_port.build()
    rows = {
        "page, C port as WebAssembly, replayed and judged": page_ms,
        "host, C port by ctypes (--engine c)": replayed(lambda trace: c_port.replay_trace(trace, settings)),
        "host, compiled reference": replayed(lambda trace: compiled.replay_trace(trace, settings)),
        "host, interpreted reference": best(lambda: [portable.replay_trace(t, settings) for t in traces], 1),
    }
    for what, spent in rows.items():
        print(f"{what:50} {spent:9.1f} ms {spent / page_ms:8.2f} x the page")
