"""The command `guarantee`. Attached by `cli`."""

import json
import sys
from pathlib import Path
from typing import Any

import click

from replay.errors import refusing
from replay.files import check_writable, write_text


@click.command()
@click.argument("settings_file", metavar="SETTINGS", type=click.Path(path_type=Path))
@click.option(
    "--json",
    "json_file",
    type=click.Path(path_type=Path, allow_dash=True),
    metavar="FILE|-",
    help="Write the report as JSON to FILE too, or only JSON to standard output (-).",
)
@refusing
def guarantee(settings_file: Path, json_file: Path | None) -> None:
    """Print what the logic guarantees with these very SETTINGS, with the method beside each line.

    Worst time to a stop for each depth of net oil pressure, the longest dip that
    is ridden through, pulsation, sensors, reload guard, restarts and lockout;
    and what is not guaranteed.
    """
    from replay.display import console
    from replay.display_guarantee import guarantee_view
    from replay.guarantee import guarantee as guaranteed
    from replay.settings import read_settings

    only_json = str(json_file) == "-"
    if json_file is not None and not only_json:
        check_writable(json_file)
    report = guaranteed(read_settings(settings_file))
    text = json.dumps(report.as_json(), indent=1) + "\n"
    if only_json:
        sys.stdout.write(text)
        return
    if json_file is not None:
        write_text(json_file, text)
    console().print(guarantee_view(report))


COMMANDS: tuple[Any, ...] = (guarantee,)
