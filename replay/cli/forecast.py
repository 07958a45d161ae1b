"""The command `forecast`: machine-years in ordinary duty."""

from pathlib import Path

import click

from replay.cli.group import main
from replay.cli.options import DAYS, JSON, PATH, check_output, give_report
from replay.cli.working import Progress, working


@main.command(short_help="What settings cost and save in a year.")
@click.option(
    "--machine",
    type=PATH,
    metavar="FILE",
    help="Machine file, with its [duty] and [faults]. Default: the machines of the demo site.",
)
@click.option("--settings", type=PATH, required=True, metavar="FILE", help="Settings file.")
@click.option(
    "--against",
    type=PATH,
    metavar="FILE",
    help="Other settings to run on the same machines and draws; shows the difference.",
)
@click.option("--years", type=int, required=True, metavar="N", help="Machine-years to run.")
@DAYS
@click.option("--seed", type=int, required=True, metavar="K", help="Same seed, same years, however many.")
@click.option(
    "--keep",
    type=PATH,
    metavar="DIR",
    help="Keep what went wrong as a library in DIR; an interrupted forecast carries on there when run again.",
)
@JSON
@working
def forecast(
    *,
    machine: Path | None,
    settings: Path,
    against: Path | None,
    years: int,
    days: int,
    seed: int,
    keep: Path | None,
    json_file: Path | None,
    jobs: int,
    cluster: str | None,
    progress: type[Progress],
) -> None:
    """Run machine-years of ordinary duty under these settings, with faults as often as they occur.

    Prints, per machine-year and with limits: nuisance trips, justified stops,
    lockouts, hours down, and machines lost with and without the protection. A stop
    is a nuisance if the machine, left to run on unprotected, takes no harm.
    Without --machine the machines are those of the demo site, drawn afresh for
    each year. Duty and fault rates that the file does not state are assumed.
    """
    from replay.display.forecast import forecast_view
    from replay.forecast import forecast_years

    check_output(json_file)
    told = forecast_years(
        settings,
        years,
        seed,
        machine=machine,
        against=against,
        keep=keep,
        days=days,
        jobs=jobs,
        cluster=cluster,
        progress=progress,
    )
    give_report(json_file, told.as_json(), lambda: forecast_view(told))
