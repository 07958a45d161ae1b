"""The command `machine sensitivity`."""

from pathlib import Path
from typing import Any

import click

from replay.cli.machine import machine
from replay.cli.options import JSON, PATH, check_output, give_report
from replay.cli.working import working


@machine.command("sensitivity")
@click.argument("file", metavar="FILE", type=PATH)
@click.option(
    "--cases",
    type=click.IntRange(1, 100000),
    default=46,
    show_default=True,
    metavar="N",
    help="Cases to draw, families in turn.",
)
@click.option(
    "--seed", type=click.IntRange(0), default=20261130, show_default=True, metavar="S", help="Same seed, same cases."
)
@click.option("--plot", type=PATH, metavar="FILE", help="Plot: FILE.png, .svg or .pdf.")
@JSON
@working
def machine_sensitivity(file: Path, plot: Path | None, json_file: Path | None, **options: Any) -> None:
    """Move each assumed value of a machine FILE 30 % down and up: how many labels change, and what to measure next."""
    from replay.display.sensitivity import sensitivity_view
    from replay.drawing.plot import check_plot
    from replay.fitting import find_sensitivity

    check_output(json_file, plot)
    if plot is not None:
        check_plot(plot)
    found = find_sensitivity(file, **options)
    if plot is not None:
        from replay.drawing.plot_sensitivity import save_sensitivity

        save_sensitivity(plot, found)
    give_report(json_file, found.as_json(), lambda: sensitivity_view(found))
