"""The report as a file: one page of HTML with everything in it."""

from collections.abc import Callable
from pathlib import Path

from replay.drawing.strips import strip
from replay.engine import engine_for
from replay.ground.files import write_text
from replay.library import Library
from replay.report.contents import contents
from replay.report.templates import page
from replay.score import Score
from replay.score.scoring import judged, score_of
from replay.settings import Settings
from replay.trace import read_trace


def write_report(
    path: Path,
    library: Library,
    settings: Settings,
    tick: Callable[[], object] = lambda: None,
    tuning: Path | None = None,
) -> Score:
    """Score a library and write its report, whole or not at all; return the score. Raises Refusal.

    tuning: the folder of a tuning run to take in.
    """
    if tuning is not None:
        from replay.report.tuning_view import read_tuning

        read_tuning(tuning)
    engine = engine_for(entry.path for entry in library.entries)
    rows, strips = [], []
    for entry in library.entries:
        trace = read_trace(entry.path)
        replay = engine.replay(trace, settings)
        rows.append(judged(entry, trace, settings, replay))
        strips.append(strip(trace, settings, replay))
        tick()
    result = score_of(library, settings, engine, rows)
    write_text(path, page(contents(result, library, strips, tuning)))
    return result
