"""The command `triage`. Attached by `cli`."""

from pathlib import Path
from typing import Any

import click

from replay.cli.options import JSON, check_output, give_report
from replay.cli.refusing import refusing
from replay.cli.working import working
from replay.ground.files import write_text


@click.command()
@click.argument("paths", metavar="PATH...", nargs=-1, required=True, type=click.Path(path_type=Path))
@click.option(
    "--settings",
    type=click.Path(path_type=Path),
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
@click.option("--csv", "csv_file", type=click.Path(path_type=Path), metavar="FILE", help="Write the events as CSV too.")
@working
@refusing
def triage(
    paths: tuple[Path, ...],
    settings: Path | None,
    most_events: int,
    json_file: Path | None,
    csv_file: Path | None,
    work: dict[str, Any],
    *,
    by_folder: bool,
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

    check_output(json_file)
    check_output(csv_file)
    report = triage_logs(paths, settings, by_folder=by_folder, **work)
    if csv_file is not None:
        write_text(csv_file, report.as_csv())
    give_report(json_file, report.as_json(), lambda: triage_view(report, most_events))


COMMANDS: tuple[Any, ...] = (triage,)
