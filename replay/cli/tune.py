"""The commands `tune` and `tolerances`, and the options that say who works. Attached by `cli`."""

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from replay.cli.options import JSON, LIBRARY, SETTINGS, check_output, chosen_settings, give_report, settings_path
from replay.cli.progress import Progress
from replay.cli.refusing import refusing
from replay.cli.working import working
from replay.ground.files import check_free_folder, write_folder
from replay.ground.refusal import refusal

if TYPE_CHECKING:
    from replay.engine.workers import Each
    from replay.library import Library
    from replay.settings import Settings
    from replay.tuning.robustness import Robustness
    from replay.tuning.tolerance import MonteCarlo, Tolerances
    from replay.tuning.tune import Tuning

DRAWS = 200
STATED = click.option(
    "--tolerances",
    "tolerance_file",
    type=click.Path(path_type=Path),
    metavar="FILE",
    help="Tolerances of the sensors, a TOML file; usual ones without it.",
)
DRAWN = click.option(
    "--draws", type=click.IntRange(1, 100000), default=DRAWS, show_default=True, metavar="N", help="Of the Monte Carlo."
)
SEEDED = click.option(
    "--seed", type=click.IntRange(0), default=1, show_default=True, metavar="S", help="Of draws, and of a search."
)


@click.command(short_help="Judge many candidate settings over LIBRARY, exactly.")
@LIBRARY
@SETTINGS
@click.option(
    "--vary",
    "varied",
    multiple=True,
    required=True,
    metavar="KEY=VALUES",
    help="trip_delay=30s..240s/43, trips_to_lockout=2,3,4 or cut_in=cut_out+3psi; once for each key.",
)
@click.option(
    "--out", type=click.Path(path_type=Path), required=True, metavar="DIR", help="New folder for the results."
)
@click.option(
    "--budget", type=click.IntRange(4, 1000000), metavar="N", help="Search: judge N candidates, not the grid."
)
@SEEDED
@click.option(
    "--fresh-seed",
    type=click.IntRange(0),
    metavar="S",
    help="Of the fresh library; without it, one after the library's.",
)
@click.option("--quick", is_flag=True, help="No fresh library, and nothing moved.")
@STATED
@DRAWN
@working
@refusing
def tune(
    library_folder: Path,
    settings_file: Path | None,
    varied: tuple[str, ...],
    out: Path,
    budget: int | None,
    seed: int,
    fresh_seed: int | None,
    tolerance_file: Path | None,
    draws: int,
    address: str | None,
    local: int | None,
    *,
    quick: bool,
) -> None:
    """Judge many candidate settings over LIBRARY, exactly, and choose.

    Prints the Pareto set of missed-trip limit, nuisance limit and worst margin,
    chosen on one part of the library and reported on the other, then the chosen
    settings beside the base on all parts and on a fresh library, and how far
    sensors and settings may move. Into DIR go settings files, a table of all
    candidates (Parquet), the report (JSON) and plots.
    """
    from replay.engine.workers import workers
    from replay.library import read_library
    from replay.tuning.vary import read_space

    check_free_folder(out)
    library = read_library(library_folder)
    base = settings_path(settings_file, library, library_folder)
    space = read_space(base, varied, open_ranges=budget is not None)
    stated = _stated(tolerance_file)
    with workers(address, local) as each:
        result = _tuned(library, space, each, budget, seed, None if quick else _fresh_seed(library, fresh_seed))
        moved = None if quick else _moved(library, _chosen(result), stated, seed, draws, each)
    _write(out, result, moved)
    _show(result, moved, out)


def _tuned(library: "Library", space: Any, each: "Each", budget: int | None, seed: int, fresh: int | None) -> "Tuning":
    from replay.tuning import tune as tuning
    from replay.tuning.judge import BATCH
    from replay.tuning.search import generation

    searched = budget is not None and budget < space.size
    batches = -(-budget // generation(budget)) if budget and searched else -(-space.size // BATCH)
    pieces = len(library.entries) * (1 + batches + (fresh is not None))
    with Progress(pieces, "judging") as progress:
        return tuning.tune(library, space, each, progress.advance, budget=budget, seed=seed, fresh_seed=fresh)


def _fresh_seed(library: "Library", given: int | None) -> int | None:
    from replay.tuning.fresh import recipe_of

    recipe = recipe_of(library)
    if recipe is None:
        if given is not None:
            accepted = "a library that lubetrip synth made"
            raise refusal("tune", "--fresh-seed", "this library was not synthesised", accepted, given)
        return None
    if given == recipe.seed:
        raise refusal("tune", "--fresh-seed", "the library's own seed", "another one", given)
    return recipe.seed + 1 if given is None else given


def _chosen(result: "Tuning") -> "Settings":
    candidate = result.chosen.candidate
    return candidate.settings if candidate else result.space.base


def _moved(
    library: "Library", settings: "Settings", stated: "Tolerances", seed: int, draws: int, each: "Each"
) -> "tuple[Robustness, MonteCarlo]":
    from replay.tuning.levers import levers
    from replay.tuning.robustness import robustness
    from replay.tuning.tolerance import monte_carlo

    with Progress(len(library.entries), "moving sensors and settings") as progress:
        robust = robustness(library.entries, settings, levers(settings), each, progress.advance)
    with Progress(len(library.entries), "drawing installations") as progress:
        drawn = monte_carlo(library.entries, settings, stated, seed, draws, each, progress.advance)
    return robust, drawn


def _stated(path: Path | None) -> "Tolerances":
    from replay.tuning.tolerance import USUAL_TOLERANCES, read_tolerances

    return USUAL_TOLERANCES if path is None else read_tolerances(path)


def _write(out: Path, result: "Tuning", moved: "tuple[Robustness, MonteCarlo] | None") -> None:
    from replay.drawing import plot_tuning
    from replay.tuning import results

    report = results.tuning_json(result)
    plots = {"pareto.png": plot_tuning.pareto_png(result)}
    if moved is not None:
        robust, drawn = moved
        report |= {"robustness": results.robustness_json(robust), "monte_carlo": results.monte_carlo_json(drawn)}
        plots["tornado.png"] = plot_tuning.tornado_png(robust, results.line_words(result.chosen))
    write_folder(out, results.result_files(result, report, plots))


def _show(result: "Tuning", moved: "tuple[Robustness, MonteCarlo] | None", out: Path) -> None:
    from replay.display.terminal import console
    from replay.display.tuning import tolerances_view, tuning_view

    console().print(tuning_view(result, str(out)))
    if moved is not None:
        console().print()
        console().print(tolerances_view(*moved))


@click.command(short_help="Show how far sensors and settings may move.")
@LIBRARY
@SETTINGS
@STATED
@DRAWN
@SEEDED
@click.option("--family", "families", multiple=True, metavar="NAME", help="Show this family alone too.")
@click.option("--plot", type=click.Path(path_type=Path), metavar="FILE", help="Tornado plot: FILE.png, .svg or .pdf.")
@JSON
@working
@refusing
def tolerances(
    library_folder: Path,
    settings_file: Path | None,
    tolerance_file: Path | None,
    draws: int,
    seed: int,
    families: tuple[str, ...],
    plot: Path | None,
    json_file: Path | None,
    address: str | None,
    local: int | None,
) -> None:
    """Show how far sensors and settings may move before LIBRARY is judged wrongly.

    Each sensor's offset, gain and lag, the sample period and each setting are
    moved by themselves until the first missed and the first nuisance trip; then
    all sensors are drawn within their tolerances, many times.
    """
    from replay.display.terminal import console
    from replay.display.tuning import tolerances_view
    from replay.drawing.plot import check_plot
    from replay.drawing.plot_tuning import save_tornado
    from replay.engine.workers import workers
    from replay.library import library_digest, read_library
    from replay.tuning.results import tolerances_json

    if plot is not None:
        check_plot(plot)
    check_output(json_file)
    library = read_library(library_folder)
    settings = chosen_settings(settings_file, library, library_folder)
    stated = _stated(tolerance_file)
    known = sorted({entry.family for entry in library.entries})
    for name in families:
        if name not in known:
            raise refusal("tolerances", "--family", "no such family in this library", ", ".join(known), name)
    with workers(address, local) as each:
        robust, drawn = _moved(library, settings, stated, seed, draws, each)
    if plot is not None:
        save_tornado(plot, robust, f"settings {Path(settings.file).name}, digest {settings.digest[:12]}")
    give_report(
        json_file,
        tolerances_json(robust, drawn, library_digest(library)),
        lambda: console().print(tolerances_view(robust, drawn, families)),
    )


COMMANDS: tuple[Any, ...] = (tune, tolerances)
