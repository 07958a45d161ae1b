"""Options that several commands share, and what they do with them."""

import json
import sys
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from replay.ground.refusal import refusal

if TYPE_CHECKING:
    from replay.library import Library
    from replay.settings import Settings

LIBRARY = click.argument("library_folder", metavar="LIBRARY", type=click.Path(path_type=Path))
SETTINGS = click.option(
    "--settings",
    "settings_file",
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


def settings_path(given: Path | None, library: "Library | None", subject: Path) -> Path:
    """Return the settings file named on the command line or by the library. Raises Refusal where there is none."""
    path = given or (library.settings if library else None)
    if path is None:
        raise refusal(subject, "", "no settings", "--settings FILE, or settings = FILE in its library.toml")
    return path


def chosen_settings(given: Path | None, library: "Library | None", subject: Path) -> "Settings":
    """Return the settings named on the command line or by the library. Raises Refusal."""
    from replay.settings import read_settings

    return read_settings(settings_path(given, library, subject))


def check_output(path: Path | None) -> None:
    """Refuse a report file that cannot be written before any work is done; - is standard output."""
    if path is not None and str(path) != "-":
        from replay.ground.files import check_writable

        check_writable(path)


def give_report(json_file: Path | None, content: dict[str, Any], show: Callable[[], None]) -> None:
    """Show the report, as JSON where asked for."""
    text = json.dumps(content, indent=1) + "\n"
    if json_file is not None and str(json_file) == "-":
        sys.stdout.write(text)
        return
    if json_file is not None:
        from replay.ground.files import write_text

        write_text(json_file, text)
    show()
