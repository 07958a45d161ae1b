"""The command `report`: a scored library as one page. Attached by `cli`."""

from pathlib import Path
from typing import Any

import click

from replay.cli.options import LIBRARY, SETTINGS, chosen_settings
from replay.cli.progress import Progress
from replay.cli.refusing import refusing
from replay.ground.files import check_writable


@click.command(short_help="Score LIBRARY and write the report as one HTML file.")
@LIBRARY
@click.option("-o", "--out", type=click.Path(path_type=Path), required=True, metavar="FILE", help="FILE.html.")
@SETTINGS
@click.option(
    "--tuning",
    type=click.Path(path_type=Path),
    metavar="DIR",
    help="Take in the plots and findings that `lubetrip tune` wrote into DIR.",
)
@refusing
def report(library_folder: Path, out: Path, settings_file: Path | None, tuning: Path | None) -> None:
    """Score LIBRARY and write the report as one HTML file that needs no network.

    Verdict first, then the evidence, the worst traces, settings and logic. Exit
    status 0 written, whatever the verdict; 2 bad input. `score` tells the verdict by its own.
    """
    from replay.library import read_library
    from replay.report.write import write_report

    check_writable(out)
    library = read_library(library_folder)
    settings = chosen_settings(settings_file, library, library_folder)
    with Progress(len(library.entries), "replaying") as progress:
        result = write_report(out, library, settings, progress.advance, tuning)
    click.echo(f"{out}: acceptance {result.verdict}")


COMMANDS: tuple[Any, ...] = (report,)
