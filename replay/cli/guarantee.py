"""The command `guarantee`."""

from pathlib import Path

import click

from replay.cli.group import main
from replay.cli.options import JSON, PATH, check_output, give_report


@main.command(short_help="Print what the logic guarantees with these SETTINGS.")
@click.argument("settings_file", metavar="SETTINGS", type=PATH)
@JSON
def guarantee(settings_file: Path, json_file: Path | None) -> None:
    """Print what the logic guarantees with these very SETTINGS, with the method beside each line.

    Worst time to a stop for each depth of net oil pressure, the longest dip that
    is ridden through, pulsation, sensors, reload guard, restarts and lockout;
    and what is not guaranteed.
    """
    from replay.display.guarantee import guarantee_view
    from replay.settings import read_settings
    from replay.settings.guarantee import guarantee as guaranteed

    check_output(json_file)
    report = guaranteed(read_settings(settings_file))
    give_report(json_file, report.as_json(), lambda: guarantee_view(report))
