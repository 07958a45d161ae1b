"""Scores: `score` finds one, `compare` sets two side by side, `record check` recomputes one that was kept."""

from pathlib import Path
from typing import Any

import click

from replay.cli.group import main
from replay.cli.options import CSV, JSON, LIBRARY, PATH, SETTINGS, XML, check_output, give_file, give_report
from replay.cli.working import working
from replay.ground.files import check_free_folder
from replay.ground.refusal import visible


@main.command()
@LIBRARY
@SETTINGS
@JSON
@click.option(
    "--engine",
    type=click.Choice(["portable", "compiled", "c"]),
    help="What runs the logic: interpreted Python, the same compiled, or the C port. Default: the fastest.",
)
@click.option("--junit", "junit_file", type=XML, metavar="FILE|-", help="Also write JUnit XML, one case per trace.")
@click.option("--strict", is_flag=True, help="In JUnit XML, also fail traces that went wrong within the acceptance.")
@click.option(
    "--csv", "csv_file", type=CSV, metavar="FILE|-", help="Also write the outcomes as CSV, one line per trace."
)
@click.option(
    "--plots", "plots_folder", type=PATH, metavar="DIR", help="Draw each missed, early and nuisance trace into DIR."
)
@click.option("--record", "record_folder", type=PATH, metavar="DIR", help="Write an evidence record into DIR.")
@click.option("-q", "--quiet", is_flag=True, help="Print only the verdict.")
@click.option("-v", "--verbose", is_flag=True, help="Print every trace, not only those that went wrong.")
@working
def score(
    library: Path,
    json_file: Path | None,
    junit_file: Path | None,
    csv_file: Path | None,
    plots_folder: Path | None,
    record_folder: Path | None,
    *,
    strict: bool,
    quiet: bool,
    verbose: bool,
    **options: Any,
) -> None:
    """Score all traces of LIBRARY, a folder with library.toml. Default: this folder.

    Prints a table by family and the verdict against [acceptance] of the
    settings: exit status 0 met, 1 not met, 2 bad input, 3 not enough evidence.
    """
    from replay.display.score import score_csv, score_view, verdict_line
    from replay.library import read_library
    from replay.score import score_library

    check_output(json_file, junit_file, csv_file)
    if record_folder is not None:
        check_free_folder(record_folder)
    traces = read_library(library)
    result = score_library(traces, **options)
    plots = {}
    if plots_folder is not None:
        from replay.drawing.plot import save_plots

        plots = save_plots(plots_folder, traces, result.settings, [verdict.id for verdict in result.wrong])
    if junit_file is not None:
        from replay.report.junit import junit

        give_file(junit_file, junit(result, traces, plots, strict=strict))
    if csv_file is not None:
        give_file(csv_file, score_csv(result))
    if record_folder is not None:
        from replay.report.record import write_record

        write_record(record_folder, traces, result)
    if not any(str(file) == "-" for file in (junit_file, csv_file)):
        give_report(
            json_file, result.as_json(), lambda: verdict_line(result) if quiet else score_view(result, whole=verbose)
        )
    if not result.met:
        raise SystemExit(1 if result.failures else 3)


@main.command(short_help="Compare two scores, A and B.")
@click.argument("first", metavar="A", type=PATH)
@click.argument("second", metavar="B", type=PATH)
@click.option("--library", type=PATH, metavar="LIBRARY", help="Library on which to score settings files.")
@JSON
@working
def compare(first: Path, second: Path, json_file: Path | None, **options: Any) -> None:
    """Compare two scores A and B: JSON reports of `score`, or settings files and --library.

    Exit status 1 when B is worse: it misses a fault that A does not miss, has
    more nuisance trips in all, or a worse verdict on its acceptance. 0
    otherwise; 2 bad input.
    """
    from replay.display.comparison import comparison_view
    from replay.score.comparison import compare_scores

    check_output(json_file)
    result = compare_scores(first, second, **options)
    give_report(json_file, result.as_json(), lambda: comparison_view(result, str(first), str(second)))
    if result.worse:
        raise SystemExit(1)


@main.group()
def record() -> None:
    """Work with evidence records, which `score --record DIR` writes."""


@record.command("check")
@click.argument("folder", metavar="DIR", type=PATH)
@click.option(
    "--library", "library_folder", type=PATH, metavar="LIBRARY", help="Where its traces are now, if they have moved."
)
def record_check(folder: Path, library_folder: Path | None) -> None:
    """Recompute the record in DIR and say whether it still holds, byte for byte.

    Exit status 0 it holds, 1 it does not, 2 bad input.
    """
    from replay.report.record import check_record

    found = check_record(folder, library_folder)
    for note in found.notes:
        click.echo(f"{folder}: {visible(note)}")
    for fault in found.broken:
        click.echo(f"{folder}: {fault}")
    click.echo(f"{folder}: " + ("the record holds, byte for byte" if found.holds else "the record does NOT hold"))
    if not found.holds:
        raise SystemExit(1)
