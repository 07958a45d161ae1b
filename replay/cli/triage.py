"""The command `triage`. Attached by `cli`."""

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from replay.cli.options import JSON, check_output, give_report
from replay.cli.progress import Progress
from replay.cli.refusing import refusing
from replay.cli.working import working
from replay.ground.refusal import refusal

if TYPE_CHECKING:
    from replay.settings import Settings


@click.command()
@click.argument("paths", metavar="PATH...", nargs=-1, required=True, type=click.Path(path_type=Path))
@click.option(
    "--settings",
    "settings_file",
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
    settings_file: Path | None,
    most_events: int,
    json_file: Path | None,
    csv_file: Path | None,
    address: str | None,
    local: int | None,
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
    from replay.engine.workers import workers
    from replay.ground.files import write_text
    from replay.triage.logs import find_logs, rows_about
    from replay.triage.report import triage as reported
    from replay.triage.run import examine_all

    check_output(json_file)
    check_output(csv_file)
    found = find_logs(paths, by_folder=by_folder)
    settings = _settings(settings_file, found.settings)
    rows = sum(rows_about(file) for files in found.machines.values() for file in files)
    with workers(address, local) as each, Progress(rows, "reading logs") as progress:
        report = reported(examine_all(found.machines, settings, progress.advance, each=each), settings)
    if csv_file is not None:
        write_text(csv_file, report.as_csv())
    from replay.display.terminal import console
    from replay.display.triage import triage_view

    give_report(json_file, report.as_json(), lambda: console().print(triage_view(report, most_events)))


def _settings(given: Path | None, named: tuple[Path, ...]) -> "Settings":
    """Return the settings named on the command line, or by the one library among the paths that names some."""
    from replay.settings import read_settings

    if given is not None:
        return read_settings(given)
    if len(named) != 1:
        rule = "no settings" if not named else f"{len(named)} libraries name settings of their own"
        raise refusal("triage", "", rule, "--settings FILE, or one library with settings = FILE")
    return read_settings(named[0])


COMMANDS: tuple[Any, ...] = (triage,)
