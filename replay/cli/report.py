"""The command `report`: a scored library as one page. Attached by `cli`."""

from pathlib import Path
from typing import Any

import click

from replay.cli.options import LIBRARY, SETTINGS
from replay.cli.refusing import refusing
from replay.cli.working import working


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
@working
@refusing
def report(library: Path, out: Path, settings: Path | None, tuning: Path | None, work: dict[str, Any]) -> None:
    """Score LIBRARY and write the report as one HTML file that needs no network.

    Verdict first, then the evidence, the worst traces, settings and logic. Exit
    status 0 written, whatever the verdict; 2 bad input. `score` tells the verdict by its own.
    """
    from replay.report.write import write_report

    result = write_report(out, library, settings, tuning=tuning, **work)
    click.echo(f"{out}: acceptance {result.verdict}")


COMMANDS: tuple[Any, ...] = (report,)
