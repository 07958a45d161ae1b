"""The command `demo`: the demo library to try everything on. Attached by `cli`."""

from pathlib import Path
from typing import Any

import click

from replay.cli.refusing import refusing


@click.command()
@click.argument("folder", metavar="OUT", type=click.Path(path_type=Path))
@refusing
def demo(folder: Path) -> None:
    """Write the demo library into OUT, to try the commands on.

    Its site, machines, traces and settings are invented: take no value of them over.
    """
    from replay.library.demo import write_demo

    write_demo(folder)
    click.echo(f"{folder}: the demo library; `lubetrip score {folder}` judges its settings")


COMMANDS: tuple[Any, ...] = (demo,)
