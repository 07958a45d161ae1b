"""Search for walks that find wrong programs: `python -m replay.port.search [--minutes 10] [--seed 27]`.

A walk is settings and inputs from power-up on. One is kept up to the last step that found a mistake (`wrong`) which
no walk before it had found, or went through something new by `coverage`. At the end the walks are gone through once more, the
latest first, and what finds nothing beside the others is left out. The result is `walks.txt`, from which `vectors.build`
makes the vectors; it has to be made anew when the logic has changed.
"""

import random
import time
from collections.abc import Sequence
from pathlib import Path

import click

from protect import outputs, ranges, settings, state
from replay.port import adversary
from replay.port.coverage import Item, Watcher, settings_items, wanted
from replay.port.vectors import MIDDLE
from replay.port.walks import WALKS, Walk, read_walks, write_walks
from replay.port.wrong import Hunt

PATIENCE = 400  # a mistake that changed a value so often and never showed is left alone
Words = list[int]


class Drawer:
    """Draws settings and inputs: those of `adversary`, and others that go to ends and powers of two."""

    def __init__(self, seed: int) -> None:
        self.random = random.Random(seed)  # noqa: S311
        self.rng = [self.random.randrange(1, 1 << 32)]

    def near_power(self, least: int, most: int) -> int:
        """Return a power of two, an end, or a neighbour of one, within a range."""
        draw = self.random
        value = draw.choice((least, most, 1 << draw.randrange(31), 3 << draw.randrange(29), draw.randint(least, most)))
        return max(least, min(most, value + draw.choice((-1, 0, 0, 0, 1))))

    def settings(self) -> Words:
        """Return admitted settings[SETTINGS_SIZE] with derived places."""
        draw = self.random
        values = [0] * ranges.SETTINGS_SIZE
        while True:
            adversary.draw_settings(self.rng, values)
            kind = draw.randrange(5)
            if kind == 0:
                return values
            for place, (_, unit, least, most) in enumerate(ranges.SETTINGS):
                if draw.random() < (0.2, 0.5, 0.8, 0.9)[kind - 1]:
                    values[place] = self.near_power(least, most)
                elif kind == 2 and unit == "ms":  # noqa: PLR2004
                    values[place] = least + draw.randrange(3000)
            if draw.random() < 0.3:
                values[ranges.FLOOR] = max(0, values[ranges.CUT_OUT] - (1 << draw.randrange(14)))
                values[ranges.CUT_IN] = values[ranges.CUT_OUT] + 1 + draw.randrange(3)
            if draw.random() < 0.4:
                values[ranges.OIL_LEAST] = values[ranges.SUCTION_LEAST] = draw.choice((-100000, -1, 0, 1))
                values[ranges.OIL_MOST] = values[ranges.SUCTION_MOST] = draw.choice((20000000, 16777217, 19999999))
            if draw.random() < 0.4:
                values[ranges.MAX_GAP] = draw.choice((300000, 262144, 131072, 65536))
            if draw.random() < 0.3:
                values[ranges.FAULT_DELAY] = 1800000
            for lower, higher, gap in settings.RELATIONS:
                if values[lower] + gap > values[higher]:
                    values[higher] = values[lower] + gap
            if settings.first_fault(values) == settings.ALL_RIGHT:
                settings.derive(values)
                return values

    def trips(self) -> Words:
        """Return settings under which a machine trips in every other step."""
        values = self.settings()
        while True:
            for place, value in (
                (ranges.TRIP_DELAY, self.near_power(1000, 3000)), (ranges.START_GRACE, 0), (ranges.RESTART_DELAY, 0),
                (ranges.MAX_GAP, 300000), (ranges.TRIP_MEMORY, self.random.choice((604800000, 1 << 29, 1 << 28, 1 << 27))),
                (ranges.FAULT_DELAY, 1800000), (ranges.TRIPS_TO_LOCKOUT, self.random.choice((100, 64, 33, 32, 17))),
                (ranges.STUCK_AFTER, 86400000), (ranges.STOPPED_RECOVERY, self.random.choice((0, 1, 16384))),
            ):  # fmt: skip
                values[place] = value
            if settings.first_fault(values) == settings.ALL_RIGHT:
                settings.derive(values)
                return values
            values = self.settings()

    def tripping(self, values: Words, tick: int, inputs: Words) -> None:
        """Fill the inputs of a machine that trips, stops and starts again."""
        draw = self.random
        least, most = values[ranges.SUCTION_LEAST], values[ranges.SUCTION_MOST]
        low, high = max(least, values[ranges.OIL_LEAST] - values[ranges.FLOOR]), min(most, values[ranges.OIL_MOST])
        suction = draw.randint(min(low, high), max(low, high))
        net = draw.choice((0, values[ranges.FLOOR] - 1))
        running = int(tick % 2 == 0)
        inputs[:] = [draw.choice((1000, 5000, 40000)) if running else 1, running, 0, suction + net, suction, suction]

    def inputs(self, memory: Words, values: Words, mood: Words, inputs: Words) -> None:
        """Fill the inputs of the next step."""
        draw = self.random
        adversary.draw_inputs(self.rng, memory, values, mood, inputs)
        if draw.random() < 0.25:
            self.aim(memory, values, inputs)
        if draw.random() < 0.15:
            self.read_widely(values, inputs)

    def aim(self, memory: Words, values: Words, inputs: Words) -> None:
        """Set an elapsed time that brings a word to a power of two, or is one, or the longest that is on time."""
        draw = self.random
        word = memory[draw.choice((1, 3, 4, 5, 7, 11, 13, 15))]
        power = 1 << draw.randrange(31)
        elapsed = draw.choice((word - power, power - word, power, values[ranges.MAX_GAP], ranges.ELAPSED_MOST, word % power))
        elapsed += draw.choice((0, 0, 0, 1, -1))
        if 0 <= elapsed <= ranges.INPUTS[0][3] and (elapsed <= values[ranges.MAX_GAP] or draw.random() < 0.4):
            inputs[ranges.ELAPSED] = elapsed

    def read_widely(self, values: Words, inputs: Words) -> None:
        """Set pressures at ends, powers of two, nothing, thresholds, or such that the net pressure is one."""
        draw = self.random
        suction = draw.choice((
            0, values[ranges.SUCTION_MOST], values[ranges.SUCTION_LEAST], values[ranges.VACUUM] - 1, values[ranges.VACUUM],
            values[ranges.RELOAD], values[ranges.RELOAD] - 1, self.near_power(-100000, 20000000), 16777216 + draw.randrange(4),
        ))  # fmt: skip
        crankcase = draw.choice((suction, suction, suction + draw.choice((-1, 1)), self.near_power(-100000, 20000000)))
        net = draw.choice((
            0, values[ranges.CUT_IN], values[ranges.CUT_OUT], values[ranges.CUT_OUT] - 1, values[ranges.FLOOR], values[ranges.FLOOR] - 1,
            draw.randint(values[ranges.FLOOR], values[ranges.CUT_OUT]), self.near_power(-2000000, 20000000),
        ))  # fmt: skip
        inputs[ranges.OIL_PRESSURE : ranges.CRANKCASE_PRESSURE + 1] = [crankcase + net, suction, crankcase]
        if draw.random() < 0.1:
            inputs[draw.randrange(3, 6)] = draw.choice((0, -1, ranges.NO_READING, 1, adversary.draw_any(self.rng)))


class Search:
    """Walks, and what they have found and gone through so far."""

    def __init__(self, seed: int) -> None:
        self.hunt, self.watcher = Hunt(patience=PATIENCE), Watcher()
        self.drawer = Drawer(seed)
        self.wanted: set[Item] = wanted()
        self.walks: list[Walk] = []
        self.steps = 0
        self.news = "an end of a setting"  # what was last new

    def take(self, values: Words, memory: Words, inputs: Words, results: Words) -> int:
        """Take a step; return how much is new in it."""
        known, shadow, shown = set(self.watcher.found), list(memory), list(results)
        self.watcher.step(shadow, values, inputs, shown)
        self.steps += 1
        mistakes, items = self.hunt.step(memory, values, inputs, results), self.watcher.found - known
        if items:
            self.news = "goes through " + ": ".join(min(items))
        if mistakes:
            self.news = "finds " + self.hunt.latest
        return mistakes + len(items)

    def replay(self, walk: Walk) -> Walk | None:
        """Take the steps of a walk; return it up to the last that was new, or nothing."""
        values = [*walk.settings, *[0] * (ranges.SETTINGS_SIZE - ranges.SETTING_COUNT)]
        if settings.first_fault(values) != settings.ALL_RIGHT:
            return None
        settings.derive(values)
        known = len(self.watcher.found)
        self.watcher.found |= settings_items(values)
        memory, results = [0] * state.STATE_SIZE, [0] * outputs.OUTPUTS_SIZE
        state.power_up(memory, values)
        newest = int(len(self.watcher.found) > known)
        self.hunt.begin_walk()
        for number, inputs in enumerate(walk.inputs, start=1):
            if self.take(values, memory, list(inputs), results):
                newest = number
        return Walk(self.news, walk.settings, walk.inputs[:newest]) if newest else None

    def draw(self, length: int) -> int:
        """Draw a walk and keep it as far as it is new; return how much was new in it."""
        tripping = self.drawer.random.random() < 0.03
        values = self.drawer.trips() if tripping else self.drawer.settings()
        mood, inputs = [0] * adversary.MOOD_SIZE, [0] * ranges.INPUTS_SIZE
        adversary.draw_mood(self.drawer.rng, mood)
        memory, results = [0] * state.STATE_SIZE, [0] * outputs.OUTPUTS_SIZE
        state.power_up(memory, values)
        known = len(self.watcher.found)
        self.watcher.found |= settings_items(values)
        new = len(self.watcher.found) - known
        taken, newest = [], 0
        self.hunt.begin_walk()
        for tick in range(220 if tripping else length):
            if tripping and (tick < 205 or self.drawer.random.random() < 0.5):
                self.drawer.tripping(values, tick, inputs)
            else:
                self.drawer.inputs(memory, values, mood, inputs)
            taken.append(tuple(inputs))
            found = self.take(values, memory, inputs, results)
            if found:
                new, newest = new + found, len(taken)
        if new:
            self.walks.append(Walk(self.news, tuple(values[: ranges.SETTING_COUNT]), tuple(taken[: max(newest, 1)])))
        return new


def thinned(walks: Sequence[Walk]) -> list[Walk]:
    """Return the walks that find all that these find, the latest taken first."""
    search = Search(1)
    return [kept for walk in reversed(walks) if (kept := search.replay(walk))]


@click.command()
@click.option("--minutes", type=float, default=10.0, show_default=True, help="How long to look.")
@click.option("--seed", type=int, default=27, show_default=True)
@click.option("--onward", is_flag=True, help="Go on from the walks that are there.")
@click.option("--out", type=click.Path(path_type=Path), default=WALKS, help="File to write.")
def command(minutes: float, seed: int, out: Path, *, onward: bool) -> None:
    """Search, print what is found, write the walks."""
    search, began = Search(seed), time.monotonic()
    if onward:
        search.walks = [kept for walk in read_walks(out, MIDDLE) if (kept := search.replay(walk))]
    told = began
    while time.monotonic() - began < 60 * minutes:
        search.draw(search.drawer.random.choice((3, 10, 30, 60)))
        if time.monotonic() - told > 20:
            told = time.monotonic()
            left = len(search.hunt.pending())
            click.echo(f"{told - began:.0f} s: {len(search.walks)} walks of {sum(len(w.inputs) for w in search.walks)} steps kept of {search.steps}; {left} mistakes not found; {len(search.wanted - search.watcher.found)} items missing")
            write_walks(out, search.walks)
    kept = thinned(search.walks)
    write_walks(out, kept)
    click.echo(f"{len(kept)} walks of {sum(len(walk.inputs) for walk in kept)} steps")


if __name__ == "__main__":
    command()
