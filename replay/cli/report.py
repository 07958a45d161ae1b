"""The command `report`: a scored library as one page."""

from pathlib import Path
from typing import Any

import click

from replay.cli.group import main
from replay.cli.options import LIBRARY, PATH, SETTINGS
from replay.cli.working import working


@main.command(short_help="Score LIBRARY and write the report as one HTML file.")
@LIBRARY
@click.option("-o", "--out", type=PATH, required=True, metavar="FILE", help="FILE.html.")
@SETTINGS
@click.option(
    "--tuning", type=PATH, metavar="DIR", help="Take in the plots and findings that `lubetrip tune` wrote into DIR."
)
@working
def report(library: Path, out: Path, **options: Any) -> None:
    """Score LIBRARY and write the report as one HTML file that needs no network.

    Verdict first, then the evidence, the worst traces, settings and logic. Exit
    status 0 written, whatever the verdict; 2 bad input. `score` tells the verdict by its own.
    """
    from replay.report.write import write_report

    result = write_report(out, library, **options)
    click.echo(f"{out}: acceptance {result.verdict}")
