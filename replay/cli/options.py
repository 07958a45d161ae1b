"""Options that several commands share, and what they do with them."""

import json
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import click

LIBRARY = click.argument("library", metavar="LIBRARY", type=click.Path(path_type=Path))
SETTINGS = click.option(
    "--settings",
    type=click.Path(path_type=Path),
    metavar="FILE",
    help="Settings file; without it, the one named in library.toml.",
)
JSON = click.option(
    "--json",
    "json_file",
    type=click.Path(path_type=Path, allow_dash=True),
    metavar="FILE|-",
    help="Write the report as JSON to FILE too, or only JSON to standard output (-).",
)


def check_output(path: Path | None) -> None:
    """Refuse a report file that cannot be written before any work is done; - is standard output."""
    if path is not None and str(path) != "-":
        from replay.ground.files import check_writable

        check_writable(path)


def give_report(json_file: Path | None, content: dict[str, Any], view: Callable[[], Any]) -> None:
    """Give a report as JSON where asked for, and show its view."""
    from replay.display.terminal import console

    text = json.dumps(content, indent=1) + "\n"
    if json_file is not None and str(json_file) == "-":
        sys.stdout.write(text)
        return
    if json_file is not None:
        from replay.ground.files import write_text

        write_text(json_file, text)
    console().print(view())
