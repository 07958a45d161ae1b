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
@click.option("--to", "library", type=PATH, metavar="LIBRARY", help="Library; made if it does not exist.")
@click.option(
    "--profile",
    "profile",
    type=PATH,
    metavar="FILE",
    help="What the columns are; without it, the library's own profile for the file's header.",
)
@click.option("--repair", is_flag=True, help="Leave out rows that are broken or out of order, and name them.")
@click.option(
    "--replace",
    is_flag=True,
    help="Replace what came from an earlier file of the same name; labels and notes are kept.",
)
@click.option("--guess", is_flag=True, help="Draft a profile for one FILE instead of importing it.")
@click.option("--out", type=PATH, metavar="FILE", help="Where the draft of --guess goes.")
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

    CSV in any dialect, workbooks, Parquet, Arrow, Feather, JSON lines, line protocol, MDF 4; compressed as gz, bz2,
    xz or zip, too.

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
    help="Settings file; without it, the one that the library among the paths names.",
)
@click.option(
    "--by-folder", is_flag=True, help="All logs of one folder are one machine; without it, each log is one by itself."
)
@click.option(
    "--events",
    "most_events",
    type=click.IntRange(0),
    default=3,
    show_default=True,
    metavar="N",
    help="Events shown and drawn of each machine, the gravest first.",
)
@JSON
@click.option("--csv", "csv_file", type=CSV, metavar="FILE|-", help="Write the events as CSV too.")
@click.option("--html", type=HTML, metavar="FILE.html|-", help="Write a page with a plot of each event and trends too.")
@click.option(
    "--before",
    type=PATH,
    multiple=True,
    metavar="PATH",
    help="Logs of the period before: each machine is compared with itself, by name.",
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
    """Say from unlabelled logs which machine to open first, and why.

    PATH is a trace file (CSV, Parquet), a folder of them or a library, or the
    URI of one in an object store (s3://BUCKET/FOLDER). Says whether a machine
    ran starved, how often and how long, and whether it was loaded again before
    the oil film was back. Logs are taken as recorded: the machines were not
    under these settings. A library names its machines and says when each
    trace began: files of one machine are joined in time. A machine on which
    the logs leave doubt is never called healthy. Exit status 2: a log could
    not be read; it is named, and the others are ranked.
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
