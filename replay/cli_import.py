"""The command `import`: measured traces from loggers' files into a library. Attached by `cli`."""

import json
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from replay.errors import Refusal, refusal, refusing

if TYPE_CHECKING:
    from replay.measured.report import Report


@click.command("import")
@click.argument("files", metavar="FILE...", nargs=-1, required=True, type=click.Path(path_type=Path))
@click.option("--to", "library", type=click.Path(path_type=Path), metavar="LIBRARY", help="Library, made if need be.")
@click.option(
    "--profile",
    "profile",
    type=click.Path(path_type=Path),
    metavar="FILE",
    help="What the columns are; without it, the library's own profile for the file's header.",
)
@click.option("--repair", is_flag=True, help="Leave out rows that are broken or out of order, and name them.")
@click.option("--guess", is_flag=True, help="Draft a profile for one FILE instead of importing it.")
@click.option("--out", type=click.Path(path_type=Path), metavar="FILE", help="Where the draft of --guess goes.")
@click.option(
    "--json",
    "json_file",
    type=click.Path(path_type=Path, allow_dash=True),
    metavar="FILE|-",
    help="Write the reports as JSON to FILE too, or only JSON to standard output (-).",
)
@refusing
def import_files(
    files: tuple[Path, ...],
    library: Path | None,
    profile: Path | None,
    out: Path | None,
    json_file: Path | None,
    *,
    repair: bool,
    guess: bool,
) -> None:
    """Import measured traces from FILEs (CSV in any dialect, Parquet, MDF 4) into a library.

    A profile says which column is which signal, its unit, and whether it is gauge or absolute; `--guess FILE`
    drafts one. Each file goes in whole or not at all. A gap longer than max_gap splits a trace; nothing is filled.
    Exit status 0 all imported or there already, 2 a file was refused.
    """
    if guess:
        _guess(files, out)
        return
    if out is not None:
        raise refusal("import", "--out", "goes with --guess", "--json FILE for the report of an import")
    if library is None:
        raise refusal("import", "--to", "no library to import into", "--to LIBRARY, or --guess to draft a profile")
    from replay.files import check_writable

    if json_file is not None and str(json_file) != "-":
        check_writable(json_file)
    reports, refused = _import(files, library, profile, repair=repair)
    _show(reports, refused, json_file)
    if refused:
        raise SystemExit(2)


def _import(
    files: tuple[Path, ...], library: Path, profile: Path | None, *, repair: bool
) -> tuple[list["Report"], list[str]]:
    """Import one file after the other; one that is refused does not keep the others out."""
    from replay.measured.importing import import_file

    reports, refused = [], []
    for file in files:
        try:
            reports.append(import_file(file, library, profile, repair=repair))
        except Refusal as error:
            print(f"lubetrip: {error}", file=sys.stderr)  # noqa: T201 - how a command speaks
            refused.append(str(error))
    return reports, refused


def _show(reports: list["Report"], refused: list[str], json_file: Path | None) -> None:
    content: dict[str, Any] = {"imports": [report.as_json() for report in reports], "refused": refused}
    text = json.dumps(content, indent=1) + "\n"
    if json_file is not None and str(json_file) == "-":
        sys.stdout.write(text)
        return
    if json_file is not None:
        from replay.files import write_text

        write_text(json_file, text)
    from replay.display import console
    from replay.measured.report import view

    for report in reports:
        console().print(view(report))
        click.echo()


def _guess(files: tuple[Path, ...], out: Path | None) -> None:
    from replay.files import check_writable, write_text
    from replay.measured.guess import draft

    if len(files) != 1:
        raise refusal("import", "--guess", f"{len(files)} files", "one FILE")
    if out is not None:
        check_writable(out)
    text = draft(files[0])
    if out is None:
        click.echo(text, nl=False)
    else:
        write_text(out, text)
        click.echo(str(out))


COMMANDS: tuple[Any, ...] = (import_files,)
