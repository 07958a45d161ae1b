"""The commands on evidence records."""

from pathlib import Path

import click

from replay.cli.group import main
from replay.cli.options import PATH
from replay.ground.refusal import visible


@main.group()
def record() -> None:
    """Work with evidence records, which `score --record DIR` writes."""


@record.command("check")
@click.argument("folder", metavar="DIR", type=PATH)
@click.option("--library", "library_folder", type=PATH, metavar="LIBRARY", help="Where its traces are now.")
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
