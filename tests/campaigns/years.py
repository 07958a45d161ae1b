"""Years campaign: a million machine-hours of ordinary duty of the demo site, with faults at their frequencies.

What `lubetrip forecast` says, over so many years that rare things show: nuisance trips per machine-year with their
limits, and of the faults that would have spoilt a machine those that did so under the protection. Machines are drawn for
each year anew. `--jobs 2` takes about half an hour on two cores; with `--keep` an interrupted run carries on where it
stopped. `--picture` keeps what the picture of a year in the README is drawn from (`python -m tests.pictures`).
"""

import json
import math
import time
from pathlib import Path

import click

from replay.display.forecast import forecast_view
from replay.display.terminal import console
from replay.forecast import forecast_years
from replay.physics.days import YEAR_H
from tests.results import close, record_option

DEMO = Path(__file__).parents[2] / "fixtures" / "settings.toml"
YEAR = Path(__file__).parents[1] / "year.json"
PICTURED = ("schema", "recipe", "machine_years", "confidence", "per_machine_year", "groups", "faults")


@click.command()
@click.option("--hours", type=float, default=1e6, show_default=True, help="Machine-hours, in whole machine-years.")
@click.option("--days", type=int, default=365, show_default=True, help="Of each year; fewer to try.")
@click.option("--seed", type=int, default=22, show_default=True, help="Of the machines and their years.")
@click.option("--settings", type=click.Path(path_type=Path), default=DEMO, help="Settings file; the demo's without it.")
@click.option("--keep", type=click.Path(path_type=Path), help="Keep what went wrong there, and go on where it stopped.")
@click.option("--jobs", type=int, default=1, show_default=True, help="Processes.")
@click.option("--picture", is_flag=True, help="Keep the figures in tests/year.json, for the picture of a year.")
@record_option
def years(
    hours: float, days: int, seed: int, settings: Path, keep: Path | None, jobs: int, *, picture: bool, record: bool
) -> None:
    """Run machine-hours of ordinary duty and tell what stops and what is missed."""
    begun, before = time.monotonic(), 0 if keep is None else len([*keep.glob(".forecast/year-*.json")])
    told = forecast_years(settings, math.ceil(hours / (24.0 * days)), seed, keep=keep, days=days, jobs=jobs)
    took_s = time.monotonic() - begun
    console().print(forecast_view(told))
    duty, faults = (told.rate("nuisance_stops", families) for families in told.groups.values())
    missed = told.missed()
    simulated = told.machine_years * YEAR_H
    line = (
        f"{simulated:.0f} machine-hours, {before} of {len(told.years)} machine-years kept from before, the others in "
        f"{took_s:.0f} s with {jobs} jobs: nuisance trips per machine-year "
        f"{duty.per_year:.3f} ({duty.lower:.3f} to {duty.upper:.3f}) in ordinary duty and upsets, "
        f"{faults.per_year:.4f} (at most {faults.upper:.4f}) in faults; of {missed['sampled']} faults that spoil a machine "
        f"{missed['missed']} missed ({missed['lower']:.4f} to {missed['upper']:.4f})"
    )
    if picture:
        report = told.as_json()
        kept = {**{key: report[key] for key in PICTURED}, "settings": told.settings.digest}
        YEAR.write_text(json.dumps(kept, indent=1) + "\n", encoding="utf-8")
    close(line, record=record)
