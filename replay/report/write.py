"""The report as a file: one page of HTML with everything in it."""

import functools
from pathlib import Path
from xml.etree import ElementTree as ET

from replay.drawing.strips import strip
from replay.engine import Engine, engine_for
from replay.engine.workers import Progress, quiet, workers
from replay.ground.files import check_writable, write_text
from replay.library import Entry, library_of, settings_of
from replay.library.given import GivenLibrary, GivenSettings
from replay.report.contents import changes, contents
from replay.report.templates import page
from replay.score import Score
from replay.score.comparison import compare_scores
from replay.score.once import counted_once
from replay.score.scoring import Judged, judged, score_of
from replay.settings import Settings
from replay.trace import read_trace


def write_report(
    path: Path | str,
    library: GivenLibrary,
    settings: GivenSettings = None,
    *,
    tuning: Path | str | None = None,
    against: Score | Path | str | None = None,
    title: str | None = None,
    author: str | None = None,
    date: str | None = None,
    jobs: int = 1,
    cluster: str | None = None,
    progress: Progress = quiet,
) -> Score:
    """Score a library and write its report as one HTML file, whole or not at all; return the score.

    tuning: the folder of a tuning run to take in. against: another score of the library, as a `Score`, a JSON report or
    a settings file: what changed since stands first. title, author, date: stand over the page as given; without them
    the page is the same on any day. jobs, cluster: as in `score_library`. Raises Refusal.
    """
    path = Path(path)
    check_writable(path)
    library = library_of(library)
    checked = settings_of(settings, library, library.folder)
    if tuning is not None:
        from replay.report.tuning_view import read_tuning

        tuning = Path(tuning)
        read_tuning(tuning)
    engine = engine_for(entry.path for entry in library.entries)
    with workers(jobs, cluster) as each, progress(len(library.entries), "replaying") as stage:
        once = counted_once(library, each)
        rows = each(functools.partial(_judged_and_drawn, checked, engine), once.library.entries, stage.advance)
    result = score_of(once, checked, engine, [row for row, _ in rows])
    shown = contents(result, library, [drawn for _, drawn in rows], tuning)
    if against is not None:
        compared = compare_scores(against, result, library, jobs=jobs, cluster=cluster, progress=progress)
        shown["changes"] = changes(compared, "the other score" if isinstance(against, Score) else Path(against).name)
    shown |= {"title": title or shown["title"], "by": ", ".join(filter(None, (author, date)))}
    write_text(path, page(shown))
    return result


def _judged_and_drawn(settings: Settings, engine: Engine, entry: Entry) -> tuple[Judged, ET.Element]:
    trace = read_trace(entry.path)
    replay = engine.replay(trace, settings)
    return judged(entry, trace, settings, replay), strip(trace, settings, replay)
