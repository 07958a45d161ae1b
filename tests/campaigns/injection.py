"""Fault injection: what a broken sensor, clock, input or memory does to the decisions.

One machine loses its oil for good; it obeys the protection, so it is stopped,
starts again, is stopped again and is locked out; later somebody presses the
reset. A second one never lacks oil. Each injection is laid over the inputs from
the first tick of a state on, and what matters is measured in the true world: the
seconds the machine runs short of oil, and whether the healthy one is stopped.
An injection that leaves every input as it was is an error of the campaign.
"""

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, field

import click

from protect import outputs, ranges, state
from protect.protection import step
from replay.port.conform import STEP_NAMES
from tests.protection import MISSING, PROFILE, STATES, admit

TICK_MS = 500
START_S, LOSS_S, RESET_S, END_S = 10, 180, 900, 1200
REST_S = (600, 660)  # the plant needs no cold; only the healthy machine is still there to be stopped by it
SUCTION_PA, HEALTHY_PA, LOST_PA, RIPPLE_PA = 150_000, 200_000, 3_000, 500
ATMOSPHERE_PA = 101_325
SETTINGS = admit(PROFILE | {"stuck_after": 60_000, "suction_least": -20_000, "oil_least": -20_000})

Inputs = list[int]
# What an injection does with the inputs of tick n since it began: the ticks that the logic gets instead.
Change = Callable[[int, Inputs, dict[str, int]], list[Inputs]]

ELAPSED, RUNNING, RESET = ranges.ELAPSED, ranges.RUNNING, ranges.RESET
OIL, SUCTION, CRANKCASE = ranges.OIL_PRESSURE, ranges.SUCTION_PRESSURE, ranges.CRANKCASE_PRESSURE
# With no crankcase sensor, suction pressure stands for both.
CHANNELS = {"oil": (OIL,), "suction": (SUCTION,), "crankcase": (CRANKCASE,), "suction for both": (SUCTION, CRANKCASE)}


@dataclass
class World:
    """The machine as it is. `loses_oil`: from LOSS_S on nothing reaches the bearings."""

    loses_oil: bool
    ran_ms: int = 0
    short_ms: int = 0

    def net(self, seconds: float) -> int:
        """Return the true net oil pressure of a running machine: built up in 5 s, then there, then lost."""
        if self.loses_oil and seconds >= LOSS_S:
            return LOST_PA
        return min(HEALTHY_PA, 40 * self.ran_ms)

    def inputs(self, tick: int, *, permitted: bool) -> Inputs:
        """Return what sound sensors say in this tick, and count the time short of oil."""
        seconds = tick * TICK_MS / 1000
        resting = not self.loses_oil and REST_S[0] <= seconds < REST_S[1]
        running = int(permitted and seconds >= START_S and not resting)
        self.ran_ms = self.ran_ms + TICK_MS if running else 0
        net = self.net(seconds) if running else 0
        if running and net < SETTINGS[ranges.CUT_OUT]:
            self.short_ms += TICK_MS
        ripple = RIPPLE_PA * (tick % 3 - 1)
        pressures = (SUCTION_PA + net + ripple, SUCTION_PA + ripple, SUCTION_PA + ripple)
        return [TICK_MS, running, int(RESET_S <= seconds < RESET_S + 2), *pressures]


@dataclass(frozen=True)
class Outcome:
    """What came of a run: s short of oil, stops felt, permission of every tick, first tick of each state."""

    short_s: float
    stops: int
    permissions: tuple[int, ...]
    first: dict[int, int]


@dataclass
class Injection:
    """Something that goes wrong with the inputs, or with one word of the state at one moment."""

    name: str
    change: Change | None = None
    flip: tuple[int, int] | None = None
    memory: dict[str, int] = field(default_factory=dict)


def run(injection: Injection | None = None, since: int = 0, *, loses_oil: bool = True) -> Outcome:
    """Let the machine live through its day. Raises AssertionError for an injection that changes nothing."""
    world, memory, results = World(loses_oil), [0] * state.STATE_SIZE, [0] * outputs.OUTPUTS_SIZE
    state.power_up(memory, SETTINGS)
    results[outputs.RUN_PERMISSION] = 1
    permissions, first, stops, changed = [], {}, 0, injection is None
    for tick in range(END_S * 1000 // TICK_MS):
        true = world.inputs(tick, permitted=bool(results[outputs.RUN_PERMISSION]))
        given = [true]
        if injection is not None and tick >= since:
            if injection.change is not None:
                given = injection.change(tick - since, list(true), injection.memory)
                changed = changed or given != [true]
            elif injection.flip is not None and tick == since:
                word, bit = injection.flip
                memory[word] = signed(memory[word] ^ (1 << bit))
                changed = True
        before = results[outputs.RUN_PERMISSION]
        for inputs in given:
            step(memory, SETTINGS, inputs, results)
        stops += before > results[outputs.RUN_PERMISSION]
        permissions.append(results[outputs.RUN_PERMISSION])
        first.setdefault(memory[state.STATE], tick)
    assert changed, f"{injection} changed nothing"
    return Outcome(world.short_ms / 1000, stops, tuple(permissions), first)


def signed(word: int) -> int:
    """Return the 32-bit pattern of a word as the signed integer of a port."""
    return (word + (1 << 31)) % (1 << 32) - (1 << 31)


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
    "run feedback lost": on((RUNNING,), lambda _, __: 0),
    "run feedback held": on((RUNNING,), lambda _, __: 1),
    "run feedback flickers": on((RUNNING,), lambda tick, running: running if tick % 4 else 0),
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


def flips(words: Iterable[int] = range(state.STATE_SIZE), bits: Iterable[int] = range(32)) -> dict[int, dict[str, int]]:
    """Flip bits of the live state at the first tick of every state; count what comes of it by word."""
    sound = run()
    counts: dict[int, dict[str, int]] = {}
    for word in words:
        counts[word] = dict.fromkeys(VERDICTS, 0)
        for since in sound.first.values():
            for bit in bits:
                counts[word][verdict(sound, run(Injection("flip", flip=(word, bit)), since))] += 1
    return counts


VERDICTS = ("same decisions", "less run short of oil", "more", "never stopped again")


def verdict(sound: Outcome, found: Outcome) -> str:
    """Compare a run with the sound one."""
    if found.permissions == sound.permissions:
        return "same decisions"
    if found.short_s <= sound.short_s:
        return "less run short of oil"
    return "never stopped again" if found.short_s > (END_S - LOSS_S) / 2 else "more"


@click.command()
def command() -> None:
    """Print the matrix of injections, and what flipped bits of the live state do."""
    sound, rows = matrix()
    kinds = sorted(sound.first)
    print(f"s run short of oil, by the state in which it begins; with sound inputs {sound.short_s:.1f}")
    print(f"{'':28} {'channel':17}" + "".join(f"{STATES[kind][:10]:>11}" for kind in kinds) + "  healthy one")
    for row in rows:
        cells = "".join(f"{row.short_s[kind]:11.1f}" for kind in kinds)
        print(f"{row.name:28} {row.channel:17}{cells}  {'stopped' if row.stops_healthy else 'runs'}")
    print(f"\na bit of the live state flipped: {len(kinds)} moments x 32 bits of each word")
    print(f"{'':16}" + "".join(f"{name:>23}" for name in VERDICTS))
    for word, counts in flips().items():
        print(f"{STEP_NAMES[word]:16}" + "".join(f"{counts[name]:23}" for name in VERDICTS))


if __name__ == "__main__":
    command()
