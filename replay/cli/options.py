"""Options that several commands share, and what they do with them."""

import json
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import click

PATH = click.Path(path_type=Path)


class PlaceType(click.Path):
    """A path of this machine, or the URI of an object store."""

    def coerce_path_result(self, value: Any) -> Any:
        """Return a path, or a URI as it is: whoever reads there refuses it."""
        return value if "://" in value else Path(value)


PLACE = PlaceType()
LIBRARY = click.argument("library", metavar="LIBRARY", type=PLACE)
SETTINGS = click.option(
    "--settings", type=PATH, metavar="FILE", help="Settings file; without it, the one named in library.toml."
)
JSON = click.option(
    "--json",
    "json_file",
    type=click.Path(path_type=Path, allow_dash=True),
    metavar="FILE|-",
    help="Write the report as JSON to FILE too, or only JSON to standard output (-).",
)


def check_output(*paths: Path | None) -> None:
    """Refuse report files that cannot be written before any work is done; - is standard output."""
    from replay.ground.files import check_writable

    for path in paths:
        if path is not None and str(path) != "-":
            check_writable(path)


def give_report(json_file: Path | None, content: dict[str, Any], view: Callable[[], Any]) -> None:
    """Give a report as JSON where asked for, and show its view."""
    from replay.display.terminal import console
    from replay.ground.files import write_text

    text = json.dumps(content, indent=1) + "\n"
    if json_file is not None and str(json_file) == "-":
        sys.stdout.write(text)
        return
    if json_file is not None:
        write_text(json_file, text)
    console().print(view())


def give_text(out: Path | None, text: str) -> None:
    """Write a text into a file and name it, or show the text."""
    from replay.ground.files import write_text

    if out is None:
        click.echo(text, nl=False)
    else:
        write_text(out, text)
        click.echo(str(out))
