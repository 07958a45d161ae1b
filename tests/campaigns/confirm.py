"""Confirmation campaign: settings that were chosen on one library, judged on fresh ones of seeds nobody chose by.

For each seed two libraries are synthesised, one of faults (as many traces as are asked for) and one of harmless
hours, and scored. A fault missed is told by its family and trace, so that it can be made again and looked at.
"""

import collections
import tempfile
from pathlib import Path

import click

from replay.library import read_library
from replay.physics.families import FAULTS, HARMLESS
from replay.score import Score, score_library
from replay.synth import recipe, synthesise
from tests.results import close, record_option

SETTINGS = Path(__file__).parents[2] / "fixtures" / "settings.toml"
LONGEST = 10  # missed traces of a family that are named


def confirm(
    folder: Path, settings: Path, families: str, count: int, seed: int, hours: float | None, jobs: int
) -> Score:
    """Return the score of settings on the library of a recipe, made in folder."""
    synthesise(folder, recipe(families, count, seed, hours, "parquet"), jobs=jobs)
    return score_library(read_library(folder), settings, jobs=jobs)


def missed_of(score: Score) -> dict[str, list[str]]:
    """Return the ids of the traces that were missed, by family."""
    missed: dict[str, list[str]] = collections.defaultdict(list)
    for verdict in score.verdicts:
        if verdict.outcome == "missed":
            missed[verdict.family].append(verdict.id)
    return dict(missed)


@click.command("confirm")
@click.option("--settings", type=click.Path(path_type=Path), default=SETTINGS, help="Those of the demo without it.")
@click.option("--seed", "seeds", type=int, multiple=True, required=True, help="Of the libraries; once for each.")
@click.option("--faults", type=click.IntRange(1), default=3000, show_default=True, help="Traces of faults.")
@click.option("--hours", type=click.FloatRange(0.25), default=1000.0, show_default=True, help="Harmless, in all.")
@click.option("--each", "each_h", type=click.FloatRange(0.25), default=2.5, show_default=True, help="Hours of a trace.")
@click.option("--jobs", type=click.IntRange(1), default=1, show_default=True)
@record_option
def command(
    settings: Path, seeds: tuple[int, ...], faults: int, hours: float, each_h: float, jobs: int, *, record: bool
) -> None:
    """Judge settings on fresh libraries of other seeds: missed faults by family, stops for nothing."""
    told = []
    for seed in seeds:
        with tempfile.TemporaryDirectory() as folder:
            parts = (
                (",".join(FAULTS), faults, None),
                (",".join(HARMLESS), max(round(hours / each_h), len(HARMLESS)), each_h),
            )
            scores = [
                confirm(Path(folder) / str(number), settings, *part[:2], seed, part[2], jobs)
                for number, part in enumerate(parts)
            ]
        for family, missed in sorted(missed_of(scores[0]).items()) + sorted(missed_of(scores[1]).items()):
            click.echo(f"seed {seed}, {family}: missed {len(missed)}: {', '.join(missed[:LONGEST])}")
        told.append(summary(seed, scores))
        click.echo(told[-1])
    close("; ".join(told), record=record)


def summary(seed: int, scores: list[Score]) -> str:
    """Return one line on the libraries of a seed."""
    undecided = sum(len(score.undecided) for score in scores)
    must = sum(score.totals.must_trip for score in scores)
    missed = sum(score.totals.missed for score in scores)
    stops = sum(score.totals.nuisance_trips for score in scores)
    hours = sum(score.totals.ride_through_run_hours for score in scores)
    return f"seed {seed}: {missed} missed of {must}, {stops} stops for nothing in {hours:.0f} h, {undecided} undecided"
