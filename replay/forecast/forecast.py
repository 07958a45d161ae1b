"""A forecast: so many machine-years under some settings, and beside others on the same machines with the same draws.

A machine-year hangs on the seed and its number alone, so neither the number of workers nor an interruption changes a
figure, and more years of a seed begin with the same ones.
"""

import functools
import hashlib
import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from replay.engine import engine_named
from replay.engine.workers import Progress, host_code, quiet, workers
from replay.forecast import keeping
from replay.forecast.rates import (
    CONFIDENCE,
    FIGURES,
    Rate,
    dominating,
    missed,
    paired,
    rate_of,
    weights_of,
    years_wanted,
)
from replay.forecast.year import DUTY, MachineYear, Wanted, Year, as_json, from_json
from replay.ground.refusal import refusal
from replay.library.given import GivenSettings, settings_of
from replay.machine import MachineFile, read_machine
from replay.physics.befalling import PER_YEAR
from replay.physics.days import DAYS, YEAR_H, Duty
from replay.physics.families import FAULTS
from replay.settings import Settings

SCHEMA = "lubetrip-forecast/1"
MOST_YEARS = 100_000


@dataclass(frozen=True)
class Forecast:
    """What machine-years say. years: under the settings; against: the same ones under other settings, or none."""

    wanted: Wanted
    settings: Settings
    years: tuple[Year, ...]
    other: Settings | None = None
    against: tuple[Year, ...] = ()
    kept: int = 0
    weights: Mapping[str, float] = field(default_factory=dict)
    machine: MachineFile | None = None

    @property
    def families(self) -> tuple[str, ...]:
        """Ordinary duty and every family that may befall a machine."""
        return tuple(self.weights)

    @property
    def groups(self) -> dict[str, tuple[str, ...]]:
        """Ordinary duty with the upsets that a machine comes through, and faults, by their families."""
        faults = tuple(family for family in self.families if family in FAULTS)
        return {DUTY: tuple(family for family in self.families if family not in faults), "faults": faults}

    @property
    def machine_years(self) -> float:
        """How many machine-years were simulated."""
        return sum(year.hours for year in self.years) / YEAR_H

    def rate(self, figure: str, families: Sequence[str] | None = None, years: Sequence[Year] | None = None) -> Rate:
        """Return a figure per machine-year, of some families or of all."""
        some = self.families if families is None else families
        return rate_of(self.years if years is None else years, some, figure, dict(self.weights))

    def befell(self, family: str) -> int:
        """Return how often a family was sampled."""
        return sum(year.tallies[family].befell for year in self.years if family in year.tallies)

    def dominates(self, figure: str) -> tuple[str, float] | None:
        """Return the family that brings most of a figure, and its share."""
        return dominating({family: self.rate(figure, (family,)) for family in self.families})

    def years_wanted(self, figure: str) -> float | None:
        """Return how many machine-years would bring a figure's interval to a fifth either way."""
        return years_wanted(self.years, self.families, figure, dict(self.weights))

    def missed(self, years: Sequence[Year] | None = None) -> dict[str, Any]:
        """Return how many sampled faults spoil a machine for certain, and how many of them did so nevertheless."""
        return missed(self.years if years is None else years, self.families)

    def difference(self, figure: str) -> dict[str, float | None]:
        """Return the mean difference of a figure per machine-year, these settings less the others."""
        return paired(self.years, self.against, figure, dict(self.weights))

    def as_json(self) -> dict[str, Any]:
        """Return the report in the form of its schema."""
        seen = [family for family in self.families if self.befell(family)]
        report = {
            "schema": SCHEMA,
            "settings": self.settings.as_json(),
            "logic": engine_named("compiled").as_json(),
            "recipe": recipe_of(self.wanted),
            "machine": self.machine and {"name": self.machine.name, "digest": self.machine.digest},
            "machine_years": round(self.machine_years, 6),
            "run_hours": round(sum(year.run_h for year in self.years), 6),
            "confidence": CONFIDENCE,
            "per_machine_year": {figure: self.rate(figure).as_json() for figure in FIGURES},
            "groups": {
                group: {figure: self.rate(figure, families).as_json() for figure in FIGURES}
                for group, families in self.groups.items()
            },
            "faults": self.missed(),
            "families": {
                family: {
                    "per_year": self.wanted.per_year.get(family),
                    "weight": round(self.weights[family], 6),
                    "sampled": self.befell(family),
                    **{figure: self.rate(figure, (family,)).as_json() for figure in FIGURES},
                }
                for family in seen
            },
        }
        if self.other is not None:
            report["against"] = {
                "settings": self.other.as_json(),
                "per_machine_year": {figure: self.rate(figure, years=self.against).as_json() for figure in FIGURES},
                "faults": self.missed(self.against),
                "differences": {figure: self.difference(figure) for figure in FIGURES},
            }
        return report


def recipe_of(wanted: Wanted) -> dict[str, Any]:
    """Return what a forecast follows from beside its settings, as JSON takes it."""
    duty = {key: list(value) if isinstance(value, tuple) else value for key, value in vars(wanted.duty).items()}
    return {"seed": wanted.seed, "days": wanted.days, "duty": duty, "per_year": dict(wanted.per_year)}


def forecast_years(
    settings: GivenSettings,
    years: int,
    seed: int,
    *,
    machine: MachineFile | Path | str | None = None,
    against: GivenSettings = None,
    keep: Path | str | None = None,
    duty: Duty | None = None,
    per_year: Mapping[str, float] | None = None,
    days: int = DAYS,
    jobs: int = 1,
    cluster: str | None = None,
    progress: Progress = quiet,
) -> Forecast:
    """Run so many machine-years under the settings, and tell what a year costs.

    machine: a machine file, or as `read_machine` returns it, with its duty and rates; without one, machines of the demo
    site, drawn for each year anew; against: other settings, for the same machines with the same draws; keep: a folder
    for traces of what went wrong (under the first settings), in which an interrupted forecast is taken up; duty,
    per_year: what machines do and what befalls them how often, in place of the machine's own; days: of each year,
    fewer for a trial; jobs, cluster: as in `score_library`, which change no figure. Raises Refusal.
    """
    check_years("--years", years)
    if seed < 0:
        raise refusal("forecast", "--seed", "not a seed", "0 or more", seed)
    checked = settings_of(settings, None, "forecast")
    other = None if against is None else settings_of(against, None, "forecast")
    described = read_machine(machine) if isinstance(machine, Path | str) else machine
    wanted = wanted_of(seed, described, days, duty, per_year)
    folder = None if keep is None else Path(keep)
    if folder is not None:
        begin_keeping(folder, wanted, described, checked)
    differ = other is not None and other.values != checked.values
    total = years * (2 if differ else 1)
    with workers(jobs, cluster) as each, progress(total, "running") as stage:
        first = functools.partial(one_year, wanted, checked, None if folder is None else folder.absolute())
        found = each(first, range(years), stage.advance)
        second = functools.partial(one_year, wanted, other or checked, None)
        beside = each(second, range(years), stage.advance) if differ else found if other is not None else []
    kept = 0
    if folder is not None:
        kept = keeping.close(folder, checked, (entry for _, entries in found for entry in entries))
    return Forecast(
        wanted,
        checked,
        tuple(year for year, _ in found),
        other,
        tuple(year for year, _ in beside),
        kept,
        weights_of(wanted.per_year),
        described,
    )


def check_years(option: str, years: int) -> None:
    """Refuse what is no number of machine-years."""
    if not 1 <= years <= MOST_YEARS:
        raise refusal("forecast", option, "not a number of machine-years", f"1 to {MOST_YEARS}", years)


def wanted_of(
    seed: int,
    machine: MachineFile | None,
    days: int,
    duty: Duty | None = None,
    per_year: Mapping[str, float] | None = None,
) -> Wanted:
    """Return what a forecast of a machine follows from, None: of machines of the demo site; others as given."""
    if machine is None:
        return Wanted(seed, duty or Duty(), PER_YEAR if per_year is None else per_year, days=days)
    rates = machine.per_year if per_year is None else per_year
    return Wanted(seed, duty or machine.duty, rates, machine.site, days)


def begin_keeping(folder: Path, wanted: Wanted, machine: MachineFile | None, settings: Settings) -> None:
    """Make a folder ours, for years of these settings. Raises Refusal where it holds anything else."""
    code = hashlib.sha256(json.dumps(host_code()).encode()).hexdigest()
    drawn = "demo site" if machine is None else machine.digest
    keeping.begin(folder, {**recipe_of(wanted), "machine": drawn, "settings": list(settings.values), "code": code})


def one_year(wanted: Wanted, settings: Settings, folder: Path | None, number: int) -> tuple[Year, list[dict[str, Any]]]:
    """Run a machine-year, or take it from where a run before has kept it; return it with the entries of its traces."""
    if folder is not None and (kept := keeping.done(folder, number)) is not None:
        return from_json(kept["year"]), kept["entries"]
    entries: list[dict[str, Any]] = []
    machine_year = MachineYear(wanted, settings, number)
    if folder is not None:
        machine_year.watch = keeping.keeper(folder, wanted.seed, entries)
    year = machine_year.run()
    if folder is not None:
        keeping.finish(folder, number, {"year": as_json(year), "entries": entries})
    return year, entries
