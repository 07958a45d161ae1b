"""The commands `tune` and `tolerances`."""

from pathlib import Path
from typing import Any

import click

from replay.cli.group import main
from replay.cli.options import (
    DAYS,
    JSON,
    LIBRARY,
    PATH,
    PICTURE,
    SETTINGS,
    check_output,
    figures,
    give_report,
    keys,
    library_families,
)
from replay.cli.working import working
from replay.ground.files import check_free_folder
from replay.ground.refusal import nearest, refusal

NOT_JUDGED = 3  # exit status, as of a score without enough evidence
STATED = click.option(
    "--tolerances",
    type=PATH,
    metavar="FILE",
    help="TOML file with the tolerances of the sensors. Default: common ones.",
)
DRAWN = click.option(
    "--draws",
    type=click.IntRange(1, 100000),
    default=200,
    show_default=True,
    metavar="N",
    help="Installations to draw in the Monte Carlo.",
)
SEEDED = click.option(
    "--seed",
    type=click.IntRange(0),
    default=1,
    show_default=True,
    metavar="S",
    help="Seed of the draws, of a search and of a forecast.",
)


@main.command(short_help="Judge many candidate settings on LIBRARY and choose.")
@LIBRARY
@SETTINGS
@click.option(
    "--vary",
    multiple=True,
    required=True,
    metavar="KEY=VALUES",
    shell_complete=keys,
    help="trip_delay=30s..240s/43, trips_to_lockout=2,3,4 or cut_in=cut_out+3psi; once for each key.",
)
@click.option("--out", type=PATH, required=True, metavar="DIR", help="New folder for the results.")
@click.option(
    "--budget",
    type=click.IntRange(4, 1000000),
    metavar="N",
    help="Search with N candidates instead of judging the whole grid.",
)
@SEEDED
@click.option(
    "--fresh-seed",
    type=click.IntRange(0),
    metavar="S",
    help="Seed of the fresh library. Default: that of LIBRARY plus one.",
)
@click.option("--quick", is_flag=True, help="Skip the fresh library and the tolerances.")
@STATED
@DRAWN
@click.option(
    "--forecast",
    type=int,
    metavar="N",
    help="Of the candidates with the best verdict, choose the one whose year costs least, in up to N machine-years.",
)
@click.option(
    "--cost",
    "costs",
    multiple=True,
    metavar="FIGURE=COST",
    shell_complete=figures,
    help="Cost of one: nuisance_stops=1, lost_with=200, down_h=0.5, ...; what is not named costs nothing.",
)
@click.option(
    "--machine", type=PATH, metavar="FILE", help="Machine file to forecast. Default: the machines of the demo site."
)
@DAYS
@click.option(
    "--keep", type=PATH, metavar="DIR", help="Keep the machine-years in DIR; an interrupted run carries on there."
)
@working
def tune(library: Path, out: Path, *, costs: tuple[str, ...], **options: Any) -> None:
    """Judge many candidate settings on LIBRARY, each exactly, and choose one.

    Prints the Pareto set of missed-trip limit, nuisance limit and worst margin,
    chosen on one part of the library and reported on the other; then the chosen
    settings beside the old ones on both parts and on a fresh library; and how far
    sensors and settings may move. With --forecast, the candidates with the best
    verdict all run the same machine-years of ordinary duty, and the one whose year
    costs least is chosen; --cost says what a stop or a lost machine costs you.
    DIR receives settings files, a table of all candidates (Parquet), the report
    (JSON) and plots. Exit status 0; 2 bad input; 3 if the library has nothing to
    judge a rule on.
    """
    from replay.display.terminal import console
    from replay.display.tuning import tolerances_view, tuning_view
    from replay.report.tuning_folder import write_tuning
    from replay.tuning.run import tune_settings

    check_free_folder(out)
    found = tune_settings(library, costs=read_costs(costs) if costs else None, **options)
    write_tuning(out, found)
    console().print(tuning_view(found, str(out)))
    if found.moved is not None:
        console().print()
        console().print(tolerances_view(found.moved))
    if found.tuning.chosen.whole.unjudged:
        raise SystemExit(NOT_JUDGED)


def read_costs(given: tuple[str, ...]) -> dict[str, float]:
    """Read every --cost, FIGURE=COST. Raises Refusal."""
    costs: dict[str, float] = {}
    for text in given:
        figure, _, value = (part.strip() for part in text.partition("="))
        if figure in costs:
            raise refusal("tune", "--cost", "given twice", "each figure once", text)
        try:
            costs[figure] = float(value)
        except ValueError:
            raise refusal("tune", "--cost", "not FIGURE=COST", "nuisance_stops=1, lost_with=200, ...", text) from None
    return costs


@main.command(short_help="Show how far sensors and settings may move.")
@LIBRARY
@SETTINGS
@STATED
@DRAWN
@SEEDED
@click.option(
    "--family",
    "families",
    multiple=True,
    metavar="NAME",
    shell_complete=library_families,
    help="Also show this family by itself. May be repeated.",
)
@click.option("--plot", type=PICTURE, metavar="FILE", help="Tornado plot: FILE.png, .svg or .pdf.")
@JSON
@working
def tolerances(
    library: Path, families: tuple[str, ...], plot: Path | None, json_file: Path | None, **options: Any
) -> None:
    """Show how far sensors and settings may move before LIBRARY is judged wrongly.

    Each sensor's offset, gain and lag, the sample period and each setting are
    moved one at a time until the first missed and the first nuisance trip; then
    all sensors are drawn within their tolerances, many times. Exit status 0; 2 bad
    input; 3 if the library has no fault to miss, or no machine that a nuisance
    trip could stop.
    """
    from replay.display.tuning import tolerances_view
    from replay.library import read_library
    from replay.tuning.run import find_tolerances

    if plot is not None:
        from replay.drawing.plot import check_plot

        check_plot(plot)
    check_output(json_file)
    traces = read_library(library)
    known = sorted({entry.family for entry in traces.entries})
    for name in families:
        if name not in known:
            raise refusal("tolerances", "--family", "no such family in this library", nearest(name, known), name)
    moved = find_tolerances(traces, **options)
    if plot is not None:
        from replay.drawing.plot_tuning import save_tornado

        about = moved.robust.settings
        save_tornado(plot, moved, f"settings {Path(about.file).name}, digest {about.digest[:12]}")
    give_report(json_file, moved.as_json(), lambda: tolerances_view(moved, families))
    if moved.unjudged:
        raise SystemExit(NOT_JUDGED)
