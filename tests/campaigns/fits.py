"""Fit campaign: a fit on two runs of a made machine predicts what the demo settings do on a third.

Each machine is made anew (`tests.support.made_machines`): dimensions, oil, behaviour, sensors and their errors are drawn,
the description says what a maker's sheet would. Fitted are a bench test with the suction valve shut for a while and a
throttled run; predicted from its suction alone is a third, with the liquid valve stuck. What is made is not looked at by
the fit: the runs go through files. A trip that neither happens nor is predicted counts as told, and is counted apart.
"""

import functools
import statistics
import tempfile
from dataclasses import dataclass
from pathlib import Path

import click

from replay.engine.workers import workers
from replay.fitting import fit_machine
from replay.fitting.holdout import Figure
from replay.ground.refusal import Refusal
from replay.settings import read_settings
from tests.results import close, record_option
from tests.support.made_machines import RUNS, made_machine

DEMO = Path(__file__).parents[2] / "fixtures" / "settings.toml"
WITHIN_S, WITHIN = 5.0, 0.05


@dataclass(frozen=True)
class Told:
    """What a fit told of a machine's third run: trip times in s, None where there is none; refused: why it was.

    below: of each level, whether the interval holds the time below it; none where neither is ever below.
    """

    seed: int
    oil: str
    read_s: float | None = None
    median_s: float | None = None
    low_s: float | None = None
    high_s: float | None = None
    net_error_pa: float = 0.0
    members: int = 0
    simulations: int = 0
    below: tuple[bool, ...] = ()
    refused: str = ""

    @property
    def error_s(self) -> float | None:
        """How far the median is off, s; endless where one of the two never comes, None where neither does."""
        if self.read_s is None and self.median_s is None:
            return None
        if self.read_s is None or self.median_s is None:
            return float("inf")
        return self.median_s - self.read_s

    @property
    def near(self) -> bool:
        """Whether the median is as near as it is to be."""
        error = self.error_s
        return error is None or abs(error) <= max(WITHIN_S, WITHIN * (self.read_s or 0.0))

    @property
    def covered(self) -> bool:
        """Whether the interval holds what happened."""
        return _holds(Figure("trip", self.read_s, self.median_s, self.low_s, self.high_s))


def told_of(members: int, seed: int) -> Told:
    """Make a machine, fit it, and predict its third run."""
    made = made_machine(seed)
    with tempfile.TemporaryDirectory() as temporary:
        folder = Path(temporary)
        (folder / "machine.toml").write_text(made.text, encoding="utf-8")
        library = made.library(folder / "library")
        try:
            found = fit_machine(
                folder / "machine.toml",
                library,
                RUNS[:2],
                hold_out=RUNS[2:],
                settings=read_settings(DEMO),
                members=members,
            )
        except Refusal as error:
            return Told(seed, made.site.oil.name, refused=str(error))
    (third,) = found.held_out
    assert third.trip_s is not None
    its = third.trip_s
    times = (its.read, its.median, its.low, its.high)
    below = tuple(_holds(one) for one in third.below_s if one.read or one.median)
    return Told(seed, made.site.oil.name, *times, third.net_error_pa, len(found.members), found.simulations, below)


def _holds(figure: Figure) -> bool:
    """Return whether a figure's interval holds what was read; what does not happen lies beyond every time."""
    never = float("inf")
    read, low, high = (never if one is None else one for one in (figure.read, figure.low, figure.high))
    return low <= read <= high


def summary(told: list[Told]) -> str:
    """Return what some machines come to, in a line."""
    fitted = [one for one in told if not one.refused]
    errors = [abs(one.error_s) for one in fitted if one.error_s is not None]
    trips = [one for one in fitted if one.error_s is not None]
    below = [held for one in fitted for held in one.below]
    return (
        f"{len(told)} made machines, {len(told) - len(fitted)} refused; a trip happens or is predicted in {len(trips)}: "
        f"median error {statistics.median(errors) if errors else 0.0:.1f} s, within 5 s or 5 % in "
        f"{sum(one.near for one in trips)}, interval holds it in {sum(one.covered for one in trips)}; "
        f"neither happens nor is predicted in {len(fitted) - len(trips)}; of {len(below)} times below a level the "
        f"interval holds {sum(below)}"
    )


def line(one: Told) -> str:
    """Return one machine in a line."""
    if one.refused:
        return f"{one.seed:6d}  {one.oil}: {one.refused}"
    read, middle, low, high = (
        "never" if time is None else f"{time:.1f} s" for time in (one.read_s, one.median_s, one.low_s, one.high_s)
    )
    marks = ["far"] * (not one.near) + ["not covered"] * (not one.covered)
    marks += [f"{one.below.count(False)} times below a level not covered"] * (False in one.below)
    return (
        f"{one.seed:6d}  {one.oil}: trips {read}, told {middle} ({low} to {high}), net {one.net_error_pa / 1e3:.1f} kPa, "
        f"{one.members} members, {one.simulations} simulations{'  ' * bool(marks)}{', '.join(marks)}"
    )


@click.command()
@click.option("--machines", "count", default=20, show_default=True, help="To make and fit.")
@click.option("--first", default=1000, show_default=True, help="Seed of the first.")
@click.option("--members", default=32, show_default=True, help="Of each ensemble.")
@click.option("--jobs", default=1, show_default=True, help="Machines at a time.")
@record_option
def fits(count: int, first: int, members: int, jobs: int, record: bool) -> None:
    """Fit made machines to two runs each, and predict what the demo settings do on a third."""
    told: list[Told] = []
    with workers(jobs) as each:
        for begin in range(first, first + count, jobs):
            found = each(functools.partial(told_of, members), range(begin, min(begin + jobs, first + count)))
            for one in found:
                click.echo(line(one))
            told += found
    close(summary(told), record=record)
