"""Loggers' files: `import` brings them into a library, `triage` says which machine to open first."""

from pathlib import Path
from typing import Any

import click

from replay.cli.group import main
from replay.cli.options import CSV, HTML, JSON, PATH, PLACE, check_output, give_file, give_report, give_text
from replay.cli.working import Progress, working
from replay.ground.refusal import refusal


@main.command("import", short_help="Import loggers' FILEs into a library.")
@click.argument("files", metavar="FILE...", nargs=-1, required=True, type=PATH)
@click.option("--to", "library", type=PATH, metavar="LIBRARY", help="Library; created if it does not exist.")
@click.option(
    "--profile",
    "profile",
    type=PATH,
    metavar="FILE",
    help="Says what each column is. Default: the profile that the library keeps for this header.",
)
@click.option("--repair", is_flag=True, help="Leave out rows that are broken or out of order, and list them.")
@click.option(
    "--replace",
    is_flag=True,
    help="Replace what came from an earlier file of the same name; labels and notes are kept.",
)
@click.option("--guess", is_flag=True, help="Draft a profile for one FILE instead of importing it.")
@click.option("--out", type=PATH, metavar="FILE", help="Where to write the draft of --guess.")
@JSON
def import_files(
    files: tuple[Path, ...],
    library: Path | None,
    out: Path | None,
    json_file: Path | None,
    *,
    guess: bool,
    **options: Any,
) -> None:
    """Import measured traces from FILEs into a library.

    CSV in any dialect, workbooks, Parquet, Arrow, Feather, JSON lines, tagged lines, MDF 4; compressed files
    (gz, bz2, xz, zip) too.

    A profile says which column is which signal, its unit, and whether it is gauge or absolute; `--guess FILE`
    drafts one. Each file is imported whole or not at all. A gap longer than max_gap splits a trace; nothing is filled
    in. Exit status 0 all imported or already there, 2 a file was refused.
    """
    if guess:
        _guess(files, out)
        return
    if out is not None:
        raise refusal("import", "--out", "needs --guess", "--json FILE for the report of an import")
    if library is None:
        raise refusal("import", "--to", "no library to import into", "--to LIBRARY, or --guess to draft a profile")
    from replay.display.imported import view_all
    from replay.measured.importing import import_logs

    check_output(json_file)
    found = import_logs(files, library, **options, progress=Progress)
    for told in found.refused:
        click.echo(f"lubetrip: {told}", err=True)
    give_report(json_file, found.as_json(), lambda: view_all(found))
    if found.refused:
        raise SystemExit(2)


def _guess(files: tuple[Path, ...], out: Path | None) -> None:
    from replay.measured.guess import draft_profile

    if len(files) != 1:
        raise refusal("import", "--guess", f"{len(files)} files", "one FILE")
    check_output(out)
    give_text(out, draft_profile(files[0]))


@main.command()
@click.argument("paths", metavar="PATH...", nargs=-1, required=True, type=PLACE)
@click.option(
    "--settings",
    type=PATH,
    metavar="FILE",
    help="Settings file. Default: the one named by a library among the paths.",
)
@click.option(
    "--by-folder",
    is_flag=True,
    help="Take all logs in a folder as one machine. Default: each log is a machine of its own.",
)
@click.option(
    "--events",
    "most_events",
    type=click.IntRange(0),
    default=3,
    show_default=True,
    metavar="N",
    help="Events to show and draw for each machine, the gravest first.",
)
@JSON
@click.option("--csv", "csv_file", type=CSV, metavar="FILE|-", help="Also write the events as CSV.")
@click.option(
    "--html", type=HTML, metavar="FILE.html|-", help="Also write a page with trends and a plot of each event."
)
@click.option(
    "--before",
    type=PATH,
    multiple=True,
    metavar="PATH",
    help="Logs of the period before, to compare each machine with itself, by name.",
)
@working
def triage(
    paths: tuple[Path, ...],
    most_events: int,
    json_file: Path | None,
    csv_file: Path | None,
    html: Path | None,
    **options: Any,
) -> None:
    """Say which machine to open first, and why, from unlabelled logs.

    PATH is a trace file (CSV, Parquet), a folder of them, a library, or the URI
    of any of these in an object store (s3://BUCKET/FOLDER). Tells whether a
    machine ran starved, how often and how long, and whether it was loaded again
    before the oil film was back. Logs are taken as recorded: these settings did
    not protect the machines. A library names its machines and dates its traces,
    so files of one machine are joined in time. A machine whose logs leave any
    doubt is never called healthy. Exit status 2: a log could not be read; it is
    named, and the others are still ranked.
    """
    from replay.display.triage import triage_view
    from replay.triage.report import triage_logs

    check_output(json_file, csv_file, html)
    report = triage_logs(paths, **options)
    for told in report.refused:
        click.echo(f"lubetrip: {told}", err=True)
    if csv_file is not None:
        give_file(csv_file, report.as_csv())
    if html is not None:
        from replay.report.fleet import write_fleet

        write_fleet(html, report, most_events)
    if "-" not in (str(csv_file), str(html)):
        give_report(json_file, report.as_json(), lambda: triage_view(report, most_events))
    if report.refused:
        raise SystemExit(2)
