"""Reports and plots beside the scoring and replay that they rest on: python -m tests.benchmarks report."""

import tempfile
import time
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np

from replay.drawing.picture import trail_of
from replay.drawing.plot import save_plot
from replay.engine import engine_for
from replay.library import Library, read_library
from replay.report.write import write_report
from replay.score import score
from replay.settings import read_settings
from replay.trace import Trace

FIXTURES = Path(__file__).parent.parent.parent / "fixtures"
WEEK_S = 7 * 86400


def spent(work: Callable[[], object]) -> float:
    """Return processor seconds of this process: others may be busy beside it."""
    begin = time.process_time()
    work()
    return time.process_time() - begin


def many(library: Library, count: int) -> Library:
    """Return a library of so many traces: those of another, again and again."""
    entries = (library.entries * (count // len(library.entries) + 1))[:count]
    numbered = tuple(replace(entry, id=f"{number:05d}-{entry.id}") for number, entry in enumerate(entries))
    return replace(library, entries=numbered)


def week() -> Trace:
    """Return a week at 1 Hz of a machine that is short of oil now and then."""
    dice = np.random.default_rng(1)
    second = np.arange(WEEK_S)
    suction = dice.integers(200_000, 201_000, WEEK_S)
    oil = suction + np.where(second % 20_000 < 30, 5_000, 120_000)
    running, reset = np.ones(WEEK_S, np.uint8), np.zeros(WEEK_S, np.uint8)
    return Trace("week", 0.0, second * 1000, oil, suction, suction, running, reset)


def main() -> None:
    """Print processor seconds, sizes and ratios."""
    library, settings = read_library(FIXTURES), read_settings(FIXTURES / "settings.toml")
    with tempfile.TemporaryDirectory() as folder:
        page, plot = Path(folder) / "report.html", Path(folder) / "week.png"
        write_report(page, library, settings)  # imports and machine code are there from here on
        for count in (len(library.entries), 1000):
            part = many(library, count)
            scoring = spent(
                lambda part=part: score(part, settings, engine=engine_for(entry.path for entry in part.entries))
            )
            reporting = spent(lambda part=part: write_report(page, part, settings))
            size = page.stat().st_size / 1e6
            print(f"{count:5} traces: score {scoring:6.2f} s, report {reporting:6.2f} s", end="")
            print(f" ({reporting / scoring:.2f} x), {size:.2f} MB")
        trace = week()
        replaying = spent(lambda: trail_of(trace, settings))
        drawing = spent(lambda: save_plot(plot, trace, settings))
        print(f"{WEEK_S} rows: replay {replaying:.2f} s, show {drawing:.2f} s ({drawing / replaying:.2f} x)")
