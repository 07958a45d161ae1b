"""The report as a file: one page of HTML with everything in it."""

from collections.abc import Callable
from pathlib import Path

from replay.engines import fitting, logic_as_json, replayer
from replay.files import write_text
from replay.library import Library
from replay.report.contents import contents
from replay.report.strips import Strips
from replay.report.templates import page
from replay.score import Score, score
from replay.settings import Settings


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
    engine = fitting(library)
    strips = Strips(replayer(engine))
    result = score(library, settings, tick, strips.run, logic_as_json(engine))
    write_text(path, page(contents(result, library, strips, replayer(engine), tuning)))
    return result
