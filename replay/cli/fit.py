"""The command `fit`."""

from pathlib import Path
from typing import Any

import click

from replay.cli.group import main
from replay.cli.options import JSON, LIBRARY, PATH, SETTINGS, check_output, give_report, ids
from replay.cli.working import working


@main.command(short_help="Fit a MACHINE file to measured runs of a LIBRARY.")
@click.argument("machine", metavar="MACHINE", type=PATH)
@LIBRARY
@click.argument("ids", metavar="[ID]...", nargs=-1, shell_complete=ids)
@click.option("--to", type=PATH, required=True, metavar="FILE", help="Where to write the fitted machine file.")
@click.option(
    "--hold-out",
    multiple=True,
    metavar="ID",
    shell_complete=ids,
    help="Predict this run instead of fitting to it. May be repeated.",
)
@SETTINGS
@click.option(
    "--members",
    type=click.IntRange(8, 200),
    default=32,
    show_default=True,
    metavar="N",
    help="Machines in the ensemble.",
)
@click.option("--plot", type=PATH, metavar="FILE", help="Draw runs, members and residuals: FILE.png, .svg or .pdf.")
@JSON
@working
def fit(machine: Path, library: Path, plot: Path | None, json_file: Path | None, **options: Any) -> None:
    """Fit a MACHINE file to measured runs (ID..., or all) of a LIBRARY, such as a bench test with suction shut.

    The model follows the logged suction pressure, so the valve need not have been logged. The result is not one
    machine but an ensemble of machines that could have made these runs. What the runs do not settle is listed, and so
    is what the model cannot reproduce. FILE is MACHINE with the result added; `synth --machine FILE` labels its traces
    over the whole ensemble. An interrupted fit carries on where it stopped.
    """
    from replay.display.fit import fit_view
    from replay.drawing.plot import check_plot
    from replay.fitting import fit_machine

    check_output(json_file, plot)
    if plot is not None:
        check_plot(plot)
    found = fit_machine(machine, library, **options)
    if plot is not None:
        from replay.drawing.plot_fit import save_fit

        save_fit(plot, found)
    give_report(json_file, found.as_json(), lambda: fit_view(found, options["to"]))
