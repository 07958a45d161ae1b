"""The command `bench`: a page on which settings are tried. Attached by `cli`."""

from pathlib import Path
from typing import Any

import click

from replay.cli.options import LIBRARY, SETTINGS, chosen_settings
from replay.cli.refusing import refusing


@click.command(short_help="Write a page to try settings on, in a browser.")
@LIBRARY
@click.option("-o", "--out", type=click.Path(path_type=Path), required=True, metavar="FILE.html", help="Page to write.")
@SETTINGS
@refusing
def bench(library_folder: Path, out: Path, settings_file: Path | None) -> None:
    """Write a page on which the settings are moved over the traces of LIBRARY.

    One file for a browser, offline: plot, integral and verdict of a trace and the
    score of all follow at once, computed by the C port itself.
    """
    from replay.cli.progress import Progress
    from replay.ground.files import check_writable, write_text
    from replay.library import read_library
    from replay.page.bench import page

    check_writable(out)
    library = read_library(library_folder)
    settings = chosen_settings(settings_file, library, library_folder)
    with Progress(len(library.entries), "packing") as progress:
        made = page(library, settings, progress.advance)
    write_text(out, made.text)
    size = len(made.text.encode()) / 1e6
    click.echo(f"{out}: {made.traces} traces, {made.readings} readings, {size:.1f} MB; open it in a browser")


COMMANDS: tuple[Any, ...] = (bench,)
