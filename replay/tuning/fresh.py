"""A library nobody has tuned on: the recipe of a synthesised one with another seed.

Labels come from the physics, so this is only to be had of a library that was
synthesised; a library of recordings has to be held out from.
"""

import tempfile
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from replay.engine.workers import one_by_one
from replay.ground.toml_files import read_toml
from replay.library import Library, read_library
from replay.library.library import FILE
from replay.score.once import counted_once
from replay.settings import Settings
from replay.synth import Recipe, synthesise
from replay.synth.libraries import recipe_from
from replay.tuning.judge import Figures, figures, judge_all


@dataclass(frozen=True)
class Fresh:
    """Figures of some settings on a fresh library."""

    seed: int
    traces: int
    figures: tuple[Figures, ...]


def recipe_of(library: Library) -> Recipe | None:
    """Return the recipe that a library was synthesised from, None where there is none.

    Raises Refusal for a table [recipe] that is none.
    """
    path = library.folder / FILE
    table = read_toml(path, "library").get("recipe")
    return None if table is None else recipe_from(path, table, "[recipe] ")


def on_fresh_library(recipe: Recipe, settings: Sequence[Settings], tick: Callable[[], object]) -> Fresh:
    """Synthesise a recipe in a folder that is thrown away, and judge settings there.

    tick is called after each trace that was judged. The traces are made and read by this machine's own disk,
    so with a cluster of several machines `each` has to be the local one.
    """
    with tempfile.TemporaryDirectory(prefix="lubetrip-fresh-") as folder:
        place = Path(folder) / "library"
        synthesise(place, replace(recipe, format="parquet"))
        library = counted_once(read_library(place)).library
        verdicts = judge_all(library.entries, settings, one_by_one, tick)
    found = tuple(figures(its, one.acceptance) for its, one in zip(verdicts, settings, strict=True))
    return Fresh(recipe.seed, len(library.entries), found)
