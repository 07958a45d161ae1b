"""The command `bench`: a page on which settings are tried."""

from pathlib import Path

import click

from replay.cli.group import main
from replay.cli.options import LIBRARY, PATH, SETTINGS
from replay.cli.working import Progress


@main.command(short_help="Write a page to try settings on, in a browser.")
@LIBRARY
@click.option("-o", "--out", type=PATH, required=True, metavar="FILE.html", help="Page to write.")
@SETTINGS
def bench(library: Path, out: Path, settings: Path | None) -> None:
    """Write a page on which the settings are moved over the traces of LIBRARY.

    One file for a browser, offline: plot, integral and verdict of a trace and the
    score of all follow at once, computed by the C port itself.
    """
    from replay.page.bench import write_bench

    made = write_bench(out, library, settings, progress=Progress)
    size = len(made.text.encode()) / 1e6
    click.echo(f"{out}: {made.traces} traces, {made.readings} readings, {size:.1f} MB; open it in a browser")
