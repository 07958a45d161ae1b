"""Fault injection: what a broken sensor, clock, input or memory does to the decisions.

Each injection is laid over the inputs of a day (`day`) from the first tick of a state on, and
its cost is measured in the true world. An injection that leaves every input as it
was is an error of the campaign. Flipped bits of the memory are tried in `flips`. And the synthesised machines whose oil
pressure sensor drifts upwards obey the protection, with the standstill zero and without: what it saves.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import click

from protect import ranges, state
from replay.settings import read_settings
from replay.synth import recipe, run_closed_loop
from replay.synth.closed_loop import summary
from tests.campaigns.day import END_TICK, TICK_MS, Day, Inputs, Outcome
from tests.campaigns.flips import print_flips
from tests.results import close, record_option
from tests.support.protection import MISSING, STATES

ATMOSPHERE_PA = 101_325
DEMO = Path(__file__).parents[2] / "fixtures" / "settings.toml"

# What an injection does with the inputs of tick n since it began: the ticks that the logic gets instead.
Change = Callable[[int, Inputs, dict[str, int]], list[Inputs]]

ELAPSED, RUN_FEEDBACK, RESET = ranges.ELAPSED, ranges.RUN_FEEDBACK, ranges.RESET
OIL, SUCTION, CRANKCASE = ranges.OIL_PRESSURE, ranges.SUCTION_PRESSURE, ranges.CRANKCASE_PRESSURE
# With no crankcase sensor, suction pressure stands for both.
CHANNELS = {"oil": (OIL,), "suction": (SUCTION,), "crankcase": (CRANKCASE,), "suction for both": (SUCTION, CRANKCASE)}


@dataclass
class Injection:
    """Something that goes wrong with the inputs; `memory` is that of a broken sensor."""

    name: str
    change: Change
    memory: dict[str, int] = field(default_factory=dict)


def run(injection: Injection | None = None, since: int = 0, *, loses_oil: bool = True) -> Outcome:
    """Let the machine live through its day. Raises AssertionError for an injection that changes nothing."""
    day, changed = Day.begin(loses_oil=loses_oil), injection is None
    for tick in range(END_TICK):
        true = day.inputs()
        given = [true]
        if injection is not None and tick >= since:
            given = injection.change(tick - since, list(true), injection.memory)
            changed = changed or given != [true]
        day.live(given)
    assert changed, f"{injection} changed nothing"
    return day.outcome()


def on(places: tuple[int, ...], value: Callable[[int, int], int]) -> Change:
    """Change some readings: value(tick, reading)."""

    def change(tick: int, inputs: Inputs, _: dict[str, int]) -> list[Inputs]:
        for place in places:
            inputs[place] = value(tick, inputs[place])
        return [inputs]

    return change


def frozen(places: tuple[int, ...]) -> Change:
    """Hold the readings of the first tick for ever."""

    def change(_: int, inputs: Inputs, memory: dict[str, int]) -> list[Inputs]:
        for place in places:
            inputs[place] = memory.setdefault(str(place), inputs[place])
        return [inputs]

    return change


def slow(places: tuple[int, ...]) -> Change:
    """Let the readings follow the truth with a time constant of 20 s."""

    def change(_: int, inputs: Inputs, memory: dict[str, int]) -> list[Inputs]:
        for place in places:
            held = memory.setdefault(str(place), inputs[place])
            memory[str(place)] = held + (inputs[place] - held) * TICK_MS // 20_000
            inputs[place] = memory[str(place)]
        return [inputs]

    return change


def swapped(one: int, two: int) -> Change:
    """Give each of two readings as the other."""

    def change(_: int, inputs: Inputs, __: dict[str, int]) -> list[Inputs]:
        inputs[one], inputs[two] = inputs[two], inputs[one]
        return [inputs]

    return change


def noisy(tick: int, reading: int) -> int:
    """Return a reading with 30 kPa of noise that repeats for no sensor."""
    return reading + (tick * 7919 + 13) % 60_001 - 30_000


def at_once(change: Callable[[Inputs], Inputs]) -> Change:
    """Change the inputs of the first tick only."""
    return lambda tick, inputs, _: [change(inputs)] if tick == 0 else [inputs]


def with_elapsed(elapsed: int) -> Callable[[Inputs], Inputs]:
    """Give another elapsed time."""
    return lambda inputs: [elapsed, *inputs[1:]]


def dropped(tick: int, inputs: Inputs, _: dict[str, int]) -> list[Inputs]:
    """Lose every second tick; the next one brings the time of both."""
    return [] if tick % 2 == 0 else [[2 * inputs[ELAPSED], *inputs[1:]]]


SENSORS: dict[str, Callable[[tuple[int, ...]], Change]] = {
    "no reading": lambda places: on(places, lambda _, __: MISSING),
    "at the upper end": lambda places: on(places, lambda _, __: 1_490_000),
    "at the lower end": lambda places: on(places, lambda _, __: -15_000),
    "frozen": frozen,
    "slow": slow,
    "noisy": lambda places: on(places, noisy),
    "reads 100 kPa high": lambda places: on(places, lambda _, reading: reading + 100_000),
    "reads 100 kPa low": lambda places: on(places, lambda _, reading: reading - 100_000),
    "gauge taken for absolute": lambda places: on(places, lambda _, reading: reading - ATMOSPHERE_PA),
    "comes and goes": lambda places: on(places, lambda tick, reading: MISSING if tick % 4 == 0 else reading),
}
OTHERS: dict[str, Change] = {
    "oil and suction swapped": swapped(OIL, SUCTION),
    "oil and crankcase swapped": swapped(OIL, CRANKCASE),
    "gauge taken for absolute, all": on((OIL, SUCTION, CRANKCASE), lambda _, reading: reading - ATMOSPHERE_PA),
    "clock at half speed": lambda _, inputs, __: [[inputs[0] // 2, *inputs[1:]]],
    "clock at double speed": lambda _, inputs, __: [[2 * inputs[0], *inputs[1:]]],
    "clock stands": lambda _, inputs, __: [[0, *inputs[1:]]],
    "clock jumps an hour": at_once(with_elapsed(3_600_000)),
    "clock jumps back": at_once(with_elapsed(-1)),
    "every tick late": lambda _, inputs, __: [[6_000, *inputs[1:]]],
    "every tick twice": lambda _, inputs, __: [inputs, inputs],
    "every second tick dropped": dropped,
    "run feedback lost": on((RUN_FEEDBACK,), lambda _, __: 0),
    "run feedback held": on((RUN_FEEDBACK,), lambda _, __: 1),
    "run feedback flickers": on((RUN_FEEDBACK,), lambda tick, running: running if tick % 4 else 0),
    "reset held": on((RESET,), lambda _, __: 1),
    "reset pressed for ever": on((RESET,), lambda tick, _: tick % 2),
}


def injections() -> Iterator[tuple[str, str, Callable[[], Injection]]]:
    """Yield what goes wrong, where, and how to make it anew (a sensor has a memory)."""
    for name, make in SENSORS.items():
        for channel, places in CHANNELS.items():
            yield name, channel, lambda n=name, m=make, p=places: Injection(n, m(p))
    for name, change in OTHERS.items():
        yield name, "", lambda n=name, c=change: Injection(n, c)


@dataclass(frozen=True)
class Row:
    """One injection: s short of oil by the state in which it began; whether it stops a healthy machine."""

    name: str
    channel: str
    short_s: dict[int, float]
    stops_healthy: bool


def matrix() -> tuple[Outcome, list[Row]]:
    """Run every injection from the first tick of every state on."""
    sound, healthy = run(), run(loses_oil=False)
    rows = []
    for name, channel, make in injections():
        short = {kind: run(make(), since).short_s for kind, since in sorted(sound.first.items())}
        stops = run(make(), healthy.first[state.LUBRICATED], loses_oil=False).stops
        rows.append(Row(name, channel, short, stops > 0))
    return sound, rows


def print_matrix() -> None:
    """Print the s run short of oil under each injection."""
    sound, rows = matrix()
    kinds = sorted(sound.first)
    print(f"s run short of oil, by the state in which it begins; with sound inputs {sound.short_s:.1f}")
    print(f"{'':30} {'channel':17}" + "".join(f"{STATES[kind][:10]:>11}" for kind in kinds) + "  healthy one")
    for row in rows:
        cells = "".join(f"{row.short_s[kind]:11.1f}" for kind in kinds)
        print(f"{row.name:30} {row.channel:17}{cells}  {'stopped' if row.stops_healthy else 'runs'}")


def drifting(count: int, seed: int, *, zero: bool) -> dict[str, Any]:
    """Return what became of machines with a drifting oil pressure sensor, in closed loop with the demo settings."""
    demo = read_settings(DEMO)
    values = list(demo.values)
    if not zero:
        values[ranges.REST_MOST] = ranges.REST_OFF
    wanted = recipe("oil-sensor-drifting", count, seed)
    return summary(run_closed_loop(wanted, replace(demo, values=tuple(values))).courses)


def print_drifting(count: int, seed: int) -> None:
    """Print what the standstill zero saves of these machines."""
    for zero, name in ((False, "without"), (True, "with")):
        found = drifting(count, seed, zero=zero)
        print(
            f"oil sensors that drift, {name} the standstill zero: {found['lost_protected']} of {found['machines']}"
            f" machines lost, {found['doubtful_protected']} in doubt, {found['stops']} stops"
        )


@click.command()
@click.option("--drifting", "machines", default=32, show_default=True, help="Machines whose oil sensor drifts.")
@click.option("--pairs", default=2_000, show_default=True, help="Drawn pairs of flipped bits.")
@click.option("--seed", default=1, show_default=True, help="Start of the random numbers.")
@record_option
def injection(machines: int, pairs: int, seed: int, *, record: bool) -> None:
    """Print what broken inputs and flipped bits do. Exit status 0 if a sealed step always stops or decides the same."""
    print_matrix()
    print_drifting(machines, seed)
    told, held = print_flips(pairs, seed)
    close(told, record=record)
    raise SystemExit(not held)
