"""Reload campaign: does a reload guard win, and what does a light vacuum cost, in closed loop on the synthesised machines.

Suction pressure comes back onto bearings that were starved in a vacuum. Three things are shown.

*What time there is.* From suction pressure at 0 psi gauge until the first, the likely and the most lasting bearing is
spoilt, the machine unprotected; and of which machines something is left when somebody who knows takes the permission
so many seconds after it and never gives it back.

*What a guard wins.* The same machines obey the protection, for each weight of a vacuum and each guard: lost (all
columns of bearings), doubtful (some), stops by the guard. Beside them those that are locked out at the first trip of
any kind, since what a stop has saved a restart may lose.

*What it costs.* Machines whose suction is shut and opened again in time, or which foam and come through: stopped, locked out.
"""

import functools
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path

import click

from protect import ranges, settings
from protect.state import CAUSE_CODE, RELOAD_CAUSE
from replay.engine.workers import workers
from replay.physics import layout
from replay.physics.families import case_of
from replay.physics.simulate import Case, Certainty, Plant, draws_of
from replay.settings import Settings, read_settings
from tests.results import close, record_option
from tests.support.plain_loop import obey

DEMO = Path(__file__).parents[2] / "fixtures" / "settings.toml"
FAULTS = ("reload-before-film", "reload-by-degrees")
HARMLESS = (
    "suction-reopened-in-time",
    "service-valve-shut-briefly",
    "expansion-valve-hunts",
    "foaming-oil-recovers",
    "suction-throttled-for-a-while",
)
WEIGHTS = (1.0, 0.5, 0.25, 0.1)
DELAYS_S = (0.0, 1.0, 2.0, 5.0)
GAUGE_ZERO_PA = 101_325
VACUUM_PA = 84_400
NEVER_S = 1e9
# Guards: the settings that make them. Without one, reload stands at the end of the sensor's range.
NONE = "none"
GUARDS: dict[str, dict[str, int]] = {
    NONE: {},
    "a quarter, 0 psig": {"reload_fraction": ranges.ONE // 4, "vacuum": VACUUM_PA, "reload": GAUGE_ZERO_PA},
    "a half, 0 psig": {"reload_fraction": ranges.ONE // 2, "vacuum": VACUUM_PA, "reload": GAUGE_ZERO_PA},
    "a quarter, rising past 60 kPa": {"reload_fraction": ranges.ONE // 4, "vacuum": 60_000, "reload": 60_000},
    "none, first trip locks out": {"trips_to_lockout": 1},
}


def variant(base: Settings, weight: float, guard: str) -> Settings:
    """Return settings with another weight of a vacuum and another guard."""
    named = base.named | {"vacuum_weight": round(weight * ranges.ONE), "reload": base.named["suction_most"]}
    values = [*(named | GUARDS[guard]).values(), *[0] * (ranges.SETTINGS_SIZE - ranges.SETTING_COUNT)]
    assert settings.first_fault(values) == settings.ALL_RIGHT, (weight, guard)
    settings.derive(values)
    return replace(base, values=tuple(values))


@dataclass(frozen=True)
class Time:
    """A reload without a protection.

    vacuum_s: s in vacuum before it; spoilt_s: s from 0 psig until each column is spoilt, None: not; taken: what the
    bearings come to when the permission is taken so many s after it (`DELAYS_S`).
    """

    vacuum_s: float
    spoilt_s: tuple[float | None, ...]
    taken: tuple[Certainty, ...]


def live(case: Case, delay_s: float | None) -> tuple[Plant, float, float]:
    """Run a machine whose permission goes that many s after suction is back; return it, s of the vacuum, s of the reload."""
    plant, vacuum_s, back_s = Plant(case), NEVER_S, NEVER_S
    for draws in draws_of(case):
        for time_ms in draws.time_ms.tolist():
            now_s = time_ms / 1000.0
            taken = delay_s is not None and now_s >= back_s + delay_s
            row = plant.advance(now_s, permission=not taken)
            suction = row[layout.R_SUCTION_PA]
            if vacuum_s == NEVER_S and row[layout.R_RUNNING] and suction < VACUUM_PA:
                vacuum_s = now_s
            if vacuum_s < now_s and back_s == NEVER_S and suction >= GAUGE_ZERO_PA:
                back_s = now_s
    return plant, vacuum_s, back_s


def time_left(seed: int, which: tuple[str, int]) -> Time | None:
    """Return what time a machine has; None where suction does not come back."""
    case = case_of(*which, seed)
    plant, vacuum_s, back_s = live(case, None)
    if back_s == NEVER_S:
        return None
    times = plant.damage.times_s if plant.damage.spells else (None, None, None)
    spoilt = tuple(None if time_s is None else round(time_s - back_s, 1) for time_s in times)
    return Time(back_s - vacuum_s, spoilt, tuple(live(case, delay)[0].damage.certainty for delay in DELAYS_S))


@dataclass(frozen=True)
class Fate:
    """A machine that obeys: what its bearings came to, stops, those of them by the guard, whether it was locked out."""

    damage: Certainty
    stops: int
    guarded: int
    locked_out: bool


def fate(base: Settings, seed: int, which: tuple[str, int]) -> list[Fate]:
    """Return what becomes of a machine with each weight and guard, in their order."""
    found = []
    for weight, guard in tried():
        logic, plant, _, _ = obey(case_of(*which, seed), variant(base, weight, guard))
        guarded = sum(stop.cause & CAUSE_CODE == RELOAD_CAUSE for stop in logic.stops)
        found.append(Fate(plant.damage.certainty, len(logic.stops), guarded, logic.locked_out))
    return found


def tried() -> Iterator[tuple[float, str]]:
    """Yield each weight with each guard."""
    for weight in WEIGHTS:
        for guard in GUARDS:
            yield weight, guard


def told_times(times: list[Time]) -> Iterator[str]:
    """Yield what time there is, a line a column of bearings and a line a delay."""
    yield f"suction back at 0 psi gauge: {len(times)} machines, unprotected"
    for column, name in enumerate(("first", "likely", "most lasting")):
        found = sorted(time.spoilt_s[column] for time in times if time.spoilt_s[column] is not None)
        before = sum(left < 0 for left in found)
        middle = f", half of them within {found[len(found) // 2]:.1f} s of it" if found else ""
        yield f"  {name} bearing spoilt: {len(found)}, {before} of them before{middle}"
    for number, delay_s in enumerate(DELAYS_S):
        counts = Counter(time.taken[number] for time in times)
        yield f"  stopped for good {delay_s:.0f} s after: {counts['none']} whole, {counts['possible']} doubtful"


def told_fates(faults: list[list[Fate]], harmless: list[list[Fate]]) -> Iterator[str]:
    """Yield a line for each weight and guard."""
    yield "weight  guard                            lost  doubtful  by guard | harmless: stopped  locked out"
    for number, (weight, guard) in enumerate(tried()):
        ran, came = [row[number] for row in faults], [row[number] for row in harmless]
        damage = Counter(item.damage for item in ran)
        guarded, stopped = sum(item.guarded > 0 for item in ran), sum(item.stops > 0 for item in came)
        locked = sum(item.locked_out for item in came)
        yield (
            f"{weight:6.2f}  {guard:31s}  {damage['certain']:4d}  {damage['possible']:8d}  {guarded:8d} |"
            f"           {stopped:7d}  {locked:10d}"
        )


def saved_by(faults: list[list[Fate]], guard: str, weight: float) -> int:
    """Return how many more machines come through whole with a guard than with none, at one weight."""
    places = list(tried())
    whole = [sum(row[places.index((weight, which))].damage == "none" for row in faults) for which in (guard, NONE)]
    return whole[0] - whole[1]


@click.command("reload")
@click.option("--machines", type=click.IntRange(1), default=20, show_default=True, help="Of each family of reloads.")
@click.option("--harmless", type=click.IntRange(1), default=10, show_default=True, help="Of each harmless family.")
@click.option("--seed", type=int, default=777, show_default=True)
@click.option("--jobs", type=click.IntRange(1), default=1, show_default=True)
@record_option
def reload(machines: int, harmless: int, seed: int, jobs: int, *, record: bool) -> None:
    """Show what time a reload leaves, what a reload guard wins and costs, and what a light vacuum does."""
    base = read_settings(DEMO)
    broken = [(family, index) for family in FAULTS for index in range(machines)]
    sound = [(family, index) for family in HARMLESS for index in range(harmless)]
    with workers(jobs, None) as each:
        times = [time for time in each(functools.partial(time_left, seed), broken, lambda _=1: None) if time]
        rows = list(each(functools.partial(fate, base, seed), [*broken, *sound], lambda _=1: None))
    faults, came = rows[: len(broken)], rows[len(broken) :]
    for line in (*told_times(times), *told_fates(faults, came)):
        click.echo(line)
    guards = [guard for guard, changes in GUARDS.items() if "reload" in changes]
    most = max((saved_by(faults, guard, weight), guard, weight) for guard in guards for weight in WEIGHTS)
    at_one = sum(row[0].damage == "none" for row in faults)
    best = f"at most {most[0]} more saved by a guard ({most[1]}, weight {most[2]:g})"
    close(f"reload: {at_one} of {len(faults)} whole at weight 1 without a guard; {best}", record=record)
