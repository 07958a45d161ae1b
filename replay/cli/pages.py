"""Pages for a browser: `report`, a scored library, and `bench`, on which settings are tried."""

from pathlib import Path
from typing import Any

import click

from replay.cli.group import main
from replay.cli.options import HTML, LIBRARY, PATH, SETTINGS, tell_written
from replay.cli.working import Progress, working
from replay.ground.wording import counted


@main.command(short_help="Score LIBRARY and write the report as one HTML file.")
@LIBRARY
@click.option(
    "-o", "--out", type=HTML, required=True, metavar="FILE.html|-", help="Page to write, or - for standard output."
)
@SETTINGS
@click.option(
    "--tuning", type=PATH, metavar="DIR", help="Include the plots and findings that `lubetrip tune` wrote into DIR."
)
@click.option(
    "--against",
    type=PATH,
    metavar="FILE",
    help="Begin with what changed against another score: a JSON report of `score` on LIBRARY, or a settings file.",
)
@click.option("--title", metavar="TEXT", help="Title of the page. Default: the name of the library.")
@click.option("--author", metavar="TEXT", help="Author, shown below the title.")
@click.option(
    "--date",
    metavar="TEXT",
    help="Date, shown below the title. Default: none, so that the page is the same on any day.",
)
@working
def report(library: Path, out: Path, **options: Any) -> None:
    """Score LIBRARY and write the report as one HTML file that needs no network.

    Verdict first, then the evidence, the worst traces, settings and logic. Exit
    status 0 once the page is written, whatever the verdict; 2 bad input.
    """
    from replay.report.write import write_report

    result = write_report(out, library, **options)
    tell_written(out, f"{out}: acceptance {result.verdict}")


@main.command(short_help="Write a page to try settings on, in a browser.")
@LIBRARY
@click.option(
    "-o", "--out", type=HTML, required=True, metavar="FILE.html|-", help="Page to write, or - for standard output."
)
@SETTINGS
def bench(library: Path, out: Path, settings: Path | None) -> None:
    """Write a page on which to move settings and see what becomes of the traces of LIBRARY.

    One file for a browser, offline. The plot, integral and verdict of a trace and
    the score of all traces follow at once, computed by the C port itself.
    """
    from replay.page.bench import write_bench

    made = write_bench(out, library, settings, progress=Progress)
    size = len(made.text.encode("utf-8", "backslashreplace")) / 1e6
    tell_written(
        out, f"{out}: {counted(made.traces, 'trace')}, {made.readings} readings, {size:.1f} MB; open it in a browser"
    )
