"""Confirmation campaign: settings that were chosen on one library, judged on fresh ones of seeds nobody chose by.

For each seed two libraries are synthesised, one of faults (as many traces as are asked for) and one of harmless
hours, and scored. A fault missed is told by its trace and what is wrong with its sensors, so that it can be made again and
looked at.
"""

import tempfile
from pathlib import Path

import click

from replay.library import read_library
from replay.physics.families import FAULTS, HARMLESS
from replay.score import Score, score_library
from replay.synth import recipe, synthesise
from tests.results import close, record_option

SETTINGS = Path(__file__).parents[2] / "fixtures" / "settings.toml"
UNTRUE = (
    "taken for",
    "oil-sensor-drifting",
)  # in what is told of a trace: readings that no rule of pressures sees through


def confirm(
    folder: Path, settings: Path, families: str, count: int, seed: int, hours: float | None, jobs: int
) -> Score:
    """Return the score of settings on the library of a recipe, made in folder."""
    synthesise(folder, recipe(families, count, seed, hours, "parquet"), jobs=jobs)
    return score_library(read_library(folder), settings, jobs=jobs)


def missed_of(folder: Path, score: Score) -> list[str]:
    """Return what is told of each fault that was missed: its id and what is wrong with its sensors."""
    origins = {entry.id: entry.origin for entry in read_library(folder).entries}
    return [
        "; ".join((verdict.id, *origins[verdict.id].split("; ")[1:]))
        for verdict in score.verdicts
        if verdict.outcome == "missed"
    ]


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
            parts = {
                Path(folder) / "faults": (",".join(FAULTS), faults, None),
                Path(folder) / "harmless": (",".join(HARMLESS), max(round(hours / each_h), len(HARMLESS)), each_h),
            }
            scores = [
                confirm(place, settings, families, count, seed, length_h, jobs)
                for place, (families, count, length_h) in parts.items()
            ]
            missed = [line for place, score in zip(parts, scores, strict=True) for line in missed_of(place, score)]
        for line in missed:
            click.echo(f"seed {seed}, missed: {line}")
        told.append(summary(seed, scores, missed))
        click.echo(told[-1])
    close("; ".join(told), record=record)


def summary(seed: int, scores: list[Score], missed: list[str]) -> str:
    """Return one line on the libraries of a seed."""
    untrue = sum(any(word in line for word in UNTRUE) for line in missed)
    must = sum(score.totals.must_trip for score in scores)
    stops = sum(score.totals.nuisance_trips for score in scores)
    hours = sum(score.totals.ride_through_run_hours for score in scores)
    upsets = sum(score.totals.upsets for score in scores)
    stopped = sum(score.totals.upsets_stopped or 0 for score in scores)
    undecided = sum(len(score.undecided) for score in scores)
    return (
        f"seed {seed}: {len(missed)} missed of {must} faults ({untrue} by a sensor that drifts or was set up wrongly), "
        f"{stops} stops for nothing in {hours:.0f} h, in {stopped} of {upsets} upsets, {undecided} traces undecided"
    )
