"""The command `compare`: two scores side by side."""

from pathlib import Path
from typing import Any

import click

from replay.cli.group import main
from replay.cli.options import JSON, PATH, check_output, give_report
from replay.cli.working import working


@main.command(short_help="Compare two scores, A and B.")
@click.argument("first", metavar="A", type=PATH)
@click.argument("second", metavar="B", type=PATH)
@click.option("--library", type=PATH, metavar="LIBRARY", help="To score settings files on.")
@JSON
@working
def compare(first: Path, second: Path, json_file: Path | None, **options: Any) -> None:
    """Compare two scores A and B: JSON reports of `score`, or settings files and --library.

    Exit status 1 when B is worse: it misses a trace that A does not miss, has
    more nuisance trips in all, or a worse verdict on its acceptance. 0
    otherwise, 2 bad input.
    """
    from replay.display.comparison import comparison_view
    from replay.score.comparison import compare_scores

    check_output(json_file)
    result = compare_scores(first, second, **options)
    give_report(json_file, result.as_json(), lambda: comparison_view(result, str(first), str(second)))
    if result.worse:
        raise SystemExit(1)
