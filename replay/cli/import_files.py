"""The command `import`: measured traces from loggers' files into a library."""

from pathlib import Path

import click

from replay.cli.group import main
from replay.cli.options import JSON, PATH, check_output, give_report, give_text
from replay.cli.working import Progress
from replay.ground.refusal import refusal


@main.command("import", short_help="Import loggers' FILEs into a library.")
@click.argument("files", metavar="FILE...", nargs=-1, required=True, type=PATH)
@click.option("--to", "library", type=PATH, metavar="LIBRARY", help="Library, made if need be.")
@click.option(
    "--profile",
    "profile",
    type=PATH,
    metavar="FILE",
    help="What the columns are; without it, the library's own profile for the file's header.",
)
@click.option("--repair", is_flag=True, help="Leave out rows that are broken or out of order, and name them.")
@click.option("--guess", is_flag=True, help="Draft a profile for one FILE instead of importing it.")
@click.option("--out", type=PATH, metavar="FILE", help="Where the draft of --guess goes.")
@JSON
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
    from rich.console import Group

    from replay.display.imported import view
    from replay.measured.importing import import_logs

    check_output(json_file)
    found = import_logs(files, library, profile, repair=repair, progress=Progress)
    for told in found.refused:
        click.echo(f"lubetrip: {told}", err=True)
    give_report(json_file, found.as_json(), lambda: Group(*(part for one in found.reports for part in (view(one), ""))))
    if found.refused:
        raise SystemExit(2)


def _guess(files: tuple[Path, ...], out: Path | None) -> None:
    from replay.measured.guess import draft_profile

    if len(files) != 1:
        raise refusal("import", "--guess", f"{len(files)} files", "one FILE")
    check_output(out)
    give_text(out, draft_profile(files[0]))
