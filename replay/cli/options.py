"""Options that several commands share, and what they do with them."""

import json
import os
import sys
from collections.abc import Callable, Sequence
from contextlib import suppress
from pathlib import Path
from typing import Any

import click

PATH = click.Path(path_type=Path)


def ids(context: click.Context, _param: click.Parameter, begun: str) -> list[str]:
    """Return the ids of the library given before that begin so, for completion."""
    return [entry.id for entry in _entries(context) if entry.id.startswith(begun)]


def _entries(context: click.Context) -> Sequence[Any]:
    """Return the entries of the library given before, none where it cannot be read."""
    from replay.ground.refusal import Refusal
    from replay.library import read_library

    # Behind an option that waits for its value click has not yet given the arguments their names.
    names = [context.params.get(name) for name in ("library", "folder", "trace")]
    for given in filter(None, [*context.args, *names]):  # of a machine file and a library, the library
        with suppress(Refusal):
            return read_library(given).entries
    return ()


def library_families(context: click.Context, _param: click.Parameter, begun: str) -> list[str]:
    """Return the families of the library given before that begin so, for completion."""
    return sorted({entry.family for entry in _entries(context) if entry.family.startswith(begun)})


def families(_context: click.Context, _param: click.Parameter, begun: str) -> list[str]:
    """Return the families of synthesised traces that begin so, for completion; several are parted by commas."""
    from replay.physics.families import FAMILIES

    before, comma, last = begun.rpartition(",")
    return [f"{before}{comma}{name}" for name in FAMILIES if name.startswith(last)]


def keys(_context: click.Context, _param: click.Parameter, begun: str) -> list[str]:
    """Return the keys of a settings file that can be varied and begin so, for completion."""
    from replay.tuning.vary import VARIED

    return [f"{key}=" for key in VARIED if key.startswith(begun)]


def figures(_context: click.Context, _param: click.Parameter, begun: str) -> list[str]:
    """Return the figures of a year that begin so, for completion."""
    from replay.forecast.rates import FIGURES

    return [f"{figure}=" for figure in FIGURES if figure.startswith(begun)]


class PlaceType(click.Path):
    """A path of this machine, or the URI of an object store."""

    def coerce_path_result(self, value: Any) -> Any:
        """Return a path, or a URI as it is: whoever reads there refuses it."""
        return value if "://" in value else Path(value)


class OutputType(click.Path):
    """A file to write, of the kind that its name says; - is standard output where that may be."""

    def __init__(self, *suffixes: str, dash: bool = False) -> None:
        super().__init__(path_type=Path, allow_dash=dash)
        self.suffixes, self.dash = suffixes, dash

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Any:
        """Return the path. A device or a pipe has whatever name it has."""
        from replay.ground.refusal import refusal

        path = Path(os.fsdecode(super().convert(value, param, ctx)))
        name = "output" if param is None else param.opts[0]
        if str(path) == "-" and not self.dash:
            raise refusal(path, name, "cannot go to standard output", "a name that ends in " + self.suffixes[0])
        if str(path) != "-" and path.suffix.lower() not in self.suffixes and (path.is_file() or not path.exists()):
            raise refusal(
                path, name, "wrong ending for this kind of file", "a name that ends in " + ", ".join(self.suffixes)
            )
        return path


PLACE = PlaceType()
LIBRARY = click.argument("library", metavar="[LIBRARY]", type=PLACE, default=".")
TRACE = click.argument("trace", metavar="TRACE", type=PLACE)
ID = click.argument("identity", metavar="[ID]", required=False, shell_complete=ids)
HTML = OutputType(".html", ".htm", dash=True)
PICTURE = OutputType(".png", ".svg", ".pdf")
XML, CSV = OutputType(".xml", dash=True), OutputType(".csv", dash=True)
# What stands beside the logs of a folder and is read by nobody: what a command may write over there.
REPORTS = (".html", ".htm", ".json", ".xml", ".png", ".svg", ".pdf", ".txt", ".zip")
SETTINGS = click.option(
    "--settings",
    type=PATH,
    metavar="FILE|-",
    help="Settings file, or - for standard input. Default: the one named in library.toml.",
)
DAYS = click.option(
    "--days",
    type=click.IntRange(1, 365),
    default=365,
    show_default=True,
    metavar="D",
    help="Days to run of each year; fewer for a quick try.",
)
JSON = click.option(
    "--json",
    "json_file",
    type=OutputType(".json", dash=True),
    metavar="FILE|-",
    help="Also write the report as JSON to FILE; with -, print only the JSON.",
)


def check_output(*paths: Path | None) -> None:
    """Refuse report files that cannot be written before any work is done; - is standard output."""
    from replay.ground.files import check_writable

    for path in paths:
        if path is not None and str(path) != "-":
            check_writable(path)


def check_inputs_stay(context: click.Context) -> None:
    """Refuse an output file that the same command reads: by itself, or as part of a folder that it reads."""
    from replay.ground.refusal import refusal

    given = [(param.type, context.params.get(param.name or "")) for param in context.command.params]
    read = [
        place
        for kind, value in given
        if isinstance(kind, click.Path) and not isinstance(kind, OutputType)
        for place in (value if isinstance(value, tuple) else (value,))
        if isinstance(place, Path) and place.exists()
    ]
    for kind, out in given:
        if not isinstance(kind, OutputType) or not isinstance(out, Path) or not out.is_file():
            continue
        for place in read:
            inside = place.is_dir() and out.resolve().is_relative_to(place.resolve())
            if out.resolve() == place.resolve() or (inside and out.suffix.lower() not in REPORTS):
                raise refusal(out, "", f"is an input of this command ({place})", "another name")


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


def give_file(out: Path, text: str) -> None:
    """Write a text into a file, or to standard output where that is -."""
    from replay.ground.files import write_text

    if str(out) == "-":
        sys.stdout.write(text)
    else:
        write_text(out, text)


def tell_written(out: Path, text: str) -> None:
    """Say what was written, beside a page that goes to standard output itself."""
    click.echo(text, err=str(out) == "-")


def give_text(out: Path | None, text: str) -> None:
    """Write a text into a file and name it, or show the text."""
    from replay.ground.files import write_text

    if out is None or str(out) == "-":
        click.echo(text, nl=False)
    else:
        write_text(out, text)
        click.echo(str(out))
