"""The command `triage`."""

from pathlib import Path
from typing import Any

import click

from replay.cli.group import main
from replay.cli.options import JSON, PATH, check_output, give_report
from replay.cli.working import working
from replay.ground.files import write_text


@main.command()
@click.argument("paths", metavar="PATH...", nargs=-1, required=True, type=PATH)
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
    help="Events shown of each machine, the gravest first.",
)
@JSON
@click.option("--csv", "csv_file", type=PATH, metavar="FILE", help="Write the events as CSV too.")
@working
def triage(
    paths: tuple[Path, ...], most_events: int, json_file: Path | None, csv_file: Path | None, **options: Any
) -> None:
    """Say from unlabelled logs which machine to open first, and why.

    PATH is a trace file (CSV, Parquet), a folder of them or a library. Was a
    machine run starved, how often, how long, and was it loaded again before
    the oil film was back? Logs are taken as they are: the machine of a log did
    not obey these settings. A library names its machines; files that go on
    where the one before ended are one log.
    """
    from replay.display.triage import triage_view
    from replay.triage.report import triage_logs

    check_output(json_file, csv_file)
    report = triage_logs(paths, **options)
    if csv_file is not None:
        write_text(csv_file, report.as_csv())
    give_report(json_file, report.as_json(), lambda: triage_view(report, most_events))
