"""The command `import`: measured traces from loggers' files into a library. Attached by `cli`."""

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from replay.cli.options import JSON, check_output, give_report
from replay.cli.refusing import refusing
from replay.ground.refusal import Refusal, refusal

if TYPE_CHECKING:
    from replay.measured.report import Report


@click.command("import", short_help="Import loggers' FILEs into a library.")
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
@JSON
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
    check_output(json_file)
    reports, refused = _import(files, library, profile, repair=repair)
    content = {"imports": [report.as_json() for report in reports], "refused": refused}
    give_report(json_file, content, lambda: _show(reports))
    if refused:
        raise SystemExit(2)


def _import(
    files: tuple[Path, ...], library: Path, profile: Path | None, *, repair: bool
) -> tuple[list["Report"], list[str]]:
    """Import one file after the other; one that is refused does not keep the others out."""
    from replay.cli.progress import Progress
    from replay.measured.importing import import_file
    from replay.measured.profile import read_profile

    if profile is not None:
        read_profile(profile)  # what is wrong with it is said once, not for each file
    reports, refused, done = [], [], 0
    sizes = [file.stat().st_size if file.is_file() else 0 for file in files]
    with Progress(sum(sizes), "importing") as progress:
        for file, size in zip(files, sizes, strict=True):
            try:
                reports.append(import_file(file, library, profile, repair=repair, advance=progress.advance))
            except Refusal as error:
                print(f"lubetrip: {error}", file=sys.stderr)  # noqa: T201 - how a command speaks
                refused.append(str(error))
            done += size
            progress.advance(done - progress.done)  # one refused or known is done with as well
    return reports, refused


def _show(reports: list["Report"]) -> None:
    from replay.display.imported import view
    from replay.display.terminal import console

    for report in reports:
        console().print(view(report))
        click.echo()


def _guess(files: tuple[Path, ...], out: Path | None) -> None:
    from replay.ground.files import check_writable, write_text
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
