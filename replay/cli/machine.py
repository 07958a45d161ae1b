"""The user's own machine: `machine new` writes a file that explains itself, `machine check` looks one through."""

from pathlib import Path

import click

from replay.cli.group import main
from replay.cli.options import JSON, PATH, check_output, give_report
from replay.ground.refusal import refusal


@main.group()
def machine() -> None:
    """Describe your own machine in a file."""


@machine.command("new")
@click.argument("file", metavar="FILE", type=PATH)
def machine_new(file: Path) -> None:
    """Write a machine FILE in which every key is explained.

    Fill in what you know and leave the rest out: what is left out is drawn from a stated range and listed as assumed.
    """
    from replay.ground.files import check_writable, write_text
    from replay.machine.template import machine_template

    if file.exists():
        raise refusal(file, "", "already exists", "the name of a new file")
    check_writable(file)
    write_text(file, machine_template())
    click.echo(f"{file}: written; `lubetrip machine check {file}` shows what follows from it")


@machine.command("check")
@click.argument("file", metavar="FILE", type=PATH)
@click.option("--settings", type=PATH, metavar="FILE", help="Settings to check against the machine.")
@JSON
def machine_check(file: Path, settings: Path | None, json_file: Path | None) -> None:
    """Print what follows from a machine FILE, what it rests on, and which settings contradict it.

    Exit status 0 no contradiction, 1 contradictions, 2 bad input.
    """
    from replay.display.machine import machine_view
    from replay.machine import read_machine
    from replay.machine.check import check_machine
    from replay.settings import read_settings

    check_output(json_file)
    checked = check_machine(read_machine(file), None if settings is None else read_settings(settings))
    give_report(json_file, checked.as_json(), lambda: machine_view(checked))
    if checked.contradictions:
        raise SystemExit(1)
