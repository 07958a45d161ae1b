"""The command `compare`: two scores side by side. Attached by `cli`."""

from pathlib import Path
from typing import Any

import click

from replay.cli.options import JSON, check_output, give_report
from replay.cli.progress import Progress
from replay.cli.refusing import refusing
from replay.ground.refusal import refusal


@click.command(short_help="Compare two scores, A and B.")
@click.argument("first", metavar="A", type=click.Path(path_type=Path))
@click.argument("second", metavar="B", type=click.Path(path_type=Path))
@click.option(
    "--library",
    "folder",
    type=click.Path(path_type=Path),
    metavar="LIBRARY",
    help="Library to score settings files on.",
)
@JSON
@refusing
def compare(first: Path, second: Path, folder: Path | None, json_file: Path | None) -> None:
    """Compare two scores A and B: JSON reports of `score`, or settings files and --library.

    Exit status 1 when B is worse: it misses a trace that A does not miss, has
    more nuisance trips in all, or a worse verdict on its acceptance. 0
    otherwise, 2 bad input.
    """
    from replay.display.comparison import comparison_view
    from replay.display.terminal import console
    from replay.score import comparison

    check_output(json_file)
    reports = [_score_report(path, folder) for path in (first, second)]
    result = comparison.compare(reports[0], reports[1], (str(first), str(second)))
    view = comparison_view(result, str(first), str(second))
    give_report(json_file, result.as_json(), lambda: console().print(view))
    if result.worse:
        raise SystemExit(1)


def _score_report(path: Path, folder: Path | None) -> dict[str, Any]:
    """Return a score report that was written before, or that of a settings file on the library."""
    from replay.score.comparison import read_report

    if path.suffix.lower() != ".toml":
        return read_report(path)
    from replay.library import read_library
    from replay.score import score as score_library
    from replay.settings import read_settings

    if folder is None:
        raise refusal(path, "", "settings without a library to score them on", "--library LIBRARY, or two JSON reports")
    library, settings = read_library(folder), read_settings(path)
    with Progress(len(library.entries), "replaying") as progress:
        return score_library(library, settings, progress.advance).as_json()


COMMANDS: tuple[Any, ...] = (compare,)
