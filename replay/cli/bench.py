"""The command `bench`: a page on which settings are tried. Attached by `cli`."""

from pathlib import Path
from typing import Any

import click

from replay.cli.options import LIBRARY, SETTINGS
from replay.cli.progress import Progress
from replay.cli.refusing import refusing


@click.command(short_help="Write a page to try settings on, in a browser.")
@LIBRARY
@click.option("-o", "--out", type=click.Path(path_type=Path), required=True, metavar="FILE.html", help="Page to write.")
@SETTINGS
@refusing
def bench(library: Path, out: Path, settings: Path | None) -> None:
    """Write a page on which the settings are moved over the traces of LIBRARY.

    One file for a browser, offline: plot, integral and verdict of a trace and the
    score of all follow at once, computed by the C port itself.
    """
    from replay.page.bench import write_bench

    made = write_bench(out, library, settings, progress=Progress)
    size = len(made.text.encode()) / 1e6
    click.echo(f"{out}: {made.traces} traces, {made.readings} readings, {size:.1f} MB; open it in a browser")


COMMANDS: tuple[Any, ...] = (bench,)
