"""The command `demo`: the demo library to try everything on."""

from pathlib import Path

import click

from replay.cli.group import main
from replay.cli.options import PATH


@main.command()
@click.argument("folder", metavar="OUT", type=PATH)
def demo(folder: Path) -> None:
    """Write the demo library into OUT, to try the commands on.

    Its site, machines, traces and settings are invented: take no value of them over.
    """
    from replay.library.demo import write_demo

    write_demo(folder)
    click.echo(f"{folder}: the demo library; `lubetrip score {folder}` judges its settings")
