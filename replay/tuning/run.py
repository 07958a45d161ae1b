"""All of `tune` and of `tolerances` as one function each: what a notebook calls, and the command line."""

import contextlib
import functools
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from replay.engine.workers import Each, Progress, quiet, workers
from replay.forecast.forecast import check_years, wanted_of
from replay.ground.refusal import refusal
from replay.library import Library, library_digest, library_of, settings_of, settings_path
from replay.library.given import GivenLibrary, GivenSettings
from replay.machine import MachineFile, read_machine
from replay.physics.days import DAYS
from replay.score.judge_digest import judge_digest
from replay.score.once import counted_once
from replay.settings import Settings
from replay.sweep import account
from replay.synth import Recipe
from replay.tuning.fresh import recipe_of
from replay.tuning.judge import BATCH
from replay.tuning.levers import levers
from replay.tuning.race import Asked, Race, checked_costs, run_race
from replay.tuning.results import moved_json, tuning_json
from replay.tuning.robustness import MISSED, NUISANCE, Robustness, robustness
from replay.tuning.search import generation
from replay.tuning.tolerance import USUAL_TOLERANCES, MonteCarlo, Tolerances, monte_carlo, read_tolerances
from replay.tuning.tune import Tuning, tune
from replay.tuning.vary import Space, read_space

UNJUDGED = {
    MISSED: "no fault is found as recorded: nothing that could be missed",
    NUISANCE: "no trace rides through as recorded, and no fault comes behind the beginning of one: nothing to stop",
}


@dataclass(frozen=True)
class Moved:
    """How far sensors and settings may move: each by itself, and all sensors at once within their tolerances."""

    robust: Robustness
    drawn: MonteCarlo
    library_digest: str

    @property
    def unjudged(self) -> dict[str, str]:
        """Return the events that can come in no trace, and what is missing to judge them."""
        return {event: UNJUDGED[event] for event, families in self.robust.judged.items() if not families}

    def as_json(self) -> dict[str, Any]:
        """Return the report in the form of its schema."""
        return {
            "schema": "lubetrip-tolerances/1",
            "settings": self.robust.settings.as_json(),
            "logic": account(),
            "judge": {"digest": judge_digest()},
            "library": {"digest": self.library_digest},
            **moved_json(self.robust, self.drawn),
        }


@dataclass(frozen=True)
class Tuned:
    """A tuning run, and how far sensors and the chosen settings may move (None where nothing was moved)."""

    tuning: Tuning
    moved: Moved | None

    @property
    def chosen(self) -> Settings:
        """Return the settings that the rule chooses."""
        return self.tuning.chosen.candidate.settings

    def as_json(self) -> dict[str, Any]:
        """Return the report in the form of its schema."""
        moved = moved_json(self.moved.robust, self.moved.drawn) if self.moved else {}
        return tuning_json(self.tuning) | moved


def tune_settings(
    library: GivenLibrary,
    vary: Sequence[str],
    settings: Path | str | None = None,
    *,
    budget: int | None = None,
    seed: int = 1,
    fresh_seed: int | None = None,
    quick: bool = False,
    tolerances: Tolerances | Path | str | None = None,
    draws: int = 200,
    forecast: int | None = None,
    costs: Mapping[str, float] | None = None,
    machine: MachineFile | Path | str | None = None,
    days: int = DAYS,
    keep: Path | str | None = None,
    jobs: int = 1,
    cluster: str | None = None,
    progress: Progress = quiet,
) -> Tuned:
    """Judge many candidate settings over a library, exactly, and choose.

    vary: texts such as "trip_delay=30s..240s/43", one for each key; settings: the file they vary, without it the one
    that the library names. budget: judge so many candidates found by a search, not the whole grid; seed: of search,
    draws and forecast. The chosen settings are judged on a fresh library too, where the library was synthesised
    (fresh_seed; one after the library's without it), and sensors and settings are moved (`find_tolerances`); quick
    leaves both out. forecast: choose, among the candidates with the best verdict, what a year costs least under, in so
    many machine-years at most; costs: of figures of a year by their names, such as {"nuisance_stops": 1.0, "lost_with":
    200.0}; machine, days, keep: as in `forecast_years`, keep with a folder for each candidate. jobs, cluster: as in
    `score_library`. The result is a `Tuned`: `chosen`, `tuning`, `moved`, `as_json()`; `write_tuning` writes its
    folder. Raises Refusal.
    """
    library = library_of(library)
    if all(entry.label == "undecided" for entry in library.entries):
        rule = "no trace is decided: nothing to choose settings by"
        raise refusal(library.folder, "", rule, "labels that people give (lubetrip label), or a synthesised library")
    space = read_space(settings_path(settings, library, library.folder), vary, open_ranges=budget is not None)
    stated = _stated(tolerances)
    fresh = None if quick else _fresh_recipe(library, fresh_seed)
    asked = _asked(forecast, costs, machine, days, keep, seed)
    with workers(jobs, cluster) as each:
        with contextlib.ExitStack() as shown:
            pieces = _pieces(library, space, budget) + len(library.entries) * (fresh is not None)
            stage = shown.enter_context(progress(pieces, "judging"))
            race = None if asked is None else functools.partial(_race, asked, shown.close, each, progress)
            tuning = tune(library, space, each, stage.advance, budget=budget, seed=seed, fresh=fresh, race=race)
        found = Tuned(tuning, None)
        return found if quick else Tuned(tuning, _moved(library, found.chosen, stated, seed, draws, each, progress))


def find_tolerances(
    library: GivenLibrary,
    settings: GivenSettings = None,
    *,
    tolerances: Tolerances | Path | str | None = None,
    draws: int = 200,
    seed: int = 1,
    jobs: int = 1,
    cluster: str | None = None,
    progress: Progress = quiet,
) -> Moved:
    """Say how far each sensor, the sample period and each setting may move before a library is judged wrongly.

    tolerances: of the sensors, or a file that states them, usual ones without it; draws: installations drawn within
    them. jobs, cluster: as in `score_library`. The result is a `Moved`: `robust`, `drawn`, `as_json()`. Raises Refusal.
    """
    library = library_of(library)
    checked = settings_of(settings, library, library.folder)
    stated = _stated(tolerances)
    with workers(jobs, cluster) as each:
        return _moved(library, checked, stated, seed, draws, each, progress)


def _race(
    asked: Asked, before: Callable[[], None], each: Each, progress: Progress, candidates: Mapping[int, Settings]
) -> Race:
    """Let candidates run, once the bar of what came before has ended: one bar at a time."""
    before()
    return run_race(candidates, asked, each, progress)


def _asked(
    years: int | None,
    costs: Mapping[str, float] | None,
    machine: MachineFile | Path | str | None,
    days: int,
    keep: Path | str | None,
    seed: int,
) -> Asked | None:
    """Return what a forecast is asked for, None of none. Raises Refusal for a part of it without the rest."""
    if years is None:
        for name, given in (("--cost", costs), ("--machine", machine), ("--keep", keep)):
            if given is not None:
                raise refusal("tune", name, "is of a forecast, and none is asked for", "with --forecast N, or without")
        return None
    check_years("--forecast", years)
    described = read_machine(machine) if isinstance(machine, Path | str) else machine
    folder = None if keep is None else Path(keep)
    return Asked(wanted_of(seed, described, days), described, checked_costs(costs or {}), years, folder)


def _pieces(library: Library, space: Space, budget: int | None) -> int:
    """Return how often a trace is taken up: once for the base settings, and once for each batch of candidates."""
    searched = budget is not None and budget < space.size
    batches = -(-budget // generation(budget)) if budget and searched else -(-space.size // BATCH)
    return len(library.entries) * (1 + batches)


def _fresh_recipe(library: Library, given: int | None) -> Recipe | None:
    recipe = recipe_of(library)
    if recipe is None:
        if given is not None:
            accepted = "a library that lubetrip synth made"
            raise refusal("tune", "--fresh-seed", "this library was not synthesised", accepted, given)
        return None
    if given == recipe.seed:
        raise refusal("tune", "--fresh-seed", "the library's own seed", "another one", given)
    return replace(recipe, seed=recipe.seed + 1 if given is None else given)


def _stated(given: Tolerances | Path | str | None) -> Tolerances:
    if given is None:
        return USUAL_TOLERANCES
    return read_tolerances(Path(given)) if isinstance(given, Path | str) else given


def _moved(
    library: Library, settings: Settings, stated: Tolerances, seed: int, draws: int, each: Each, progress: Progress
) -> Moved:
    entries = counted_once(library, each).library.entries
    with progress(len(entries), "moving sensors and settings") as stage:
        robust = robustness(entries, settings, levers(settings), each, stage.advance)
    with progress(len(entries), "drawing installations") as stage:
        drawn = monte_carlo(entries, settings, stated, seed, draws, each, stage.advance)
    return Moved(robust, drawn, library_digest(library))
