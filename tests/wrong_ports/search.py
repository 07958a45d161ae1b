"""Search for walks that find wrong programs: `python -m tests.wrong_ports.search [--minutes 10] [--seed 27]`.

A walk is settings and inputs from power-up on. One is kept up to the last step that found a mistake (`wrong`) which
no walk before it had found, or went through something new by `coverage`. At the end the walks are gone through once more, the
latest first, and what finds nothing beside the others is left out. The result is `walks.txt`, from which `vectors.build`
makes the vectors; it has to be made anew when the logic has changed.
"""

import random
import time
from collections.abc import Iterator, Sequence
from pathlib import Path

import click

from protect import outputs, ranges, settings, state
from protect.protection import step
from replay.port import adversary
from replay.port.coverage import Item, Watcher, reachable_ends, settings_items, wanted
from replay.port.vectors import MIDDLE, moved_settings
from replay.port.walks import WALKS, Walk, read_walks, write_walks
from tests.wrong_ports import tables
from tests.wrong_ports.wrong import ALL_BITS, Hunt

FOUND = ("finds ", "goes through ")  # how the purpose of a walk begins that was drawn
SET_TOGETHER = 0.33  # how often each group of settings goes to its ends
SAMPLES = 3000  # of depths on a ramp
LONGEST_WALK = 60
# Trip delay and integral (ms) at which a port that rounds or keeps a product coarsely tells another percentage.
PERCENTS = (
    *((1002, 501), (20487, 4712), (169499, 167804), (312891, 34418), (453929, 313211)),
    # quotients of double floats, taken in another order: by a hundredth of the delay, times 100 / delay, times 100 at last
    *((991370, 297411), (1609846, 804923), (344300, 99847), (908578, 454289)),
)
PATIENCE = 1500  # a mistake that changed a value so often and never showed is left alone
Words = list[int]


class Drawer:
    """Draws settings and inputs: those of `adversary`, and others that go to ends and powers of two."""

    def __init__(self, seed: int) -> None:
        self.random = random.Random(seed)  # noqa: S311
        self.rng = [self.random.randrange(1, 1 << 32)]
        self.wide = 0.15  # how often pressures are drawn widely

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
                elif kind == 2 and unit == "ms":
                    values[place] = least + draw.randrange(3000)
            self.go_to_ends(values)
            for lower, higher, gap in settings.RELATIONS:
                values[higher] = max(values[higher], values[lower] + gap)
            if settings.first_fault(values) == settings.ALL_RIGHT:
                settings.derive(values)
                return values

    def go_to_ends(self, values: Words) -> None:
        """Now and then set what belongs together to ends: a narrow ramp, wide sensors, long times, none at all."""
        draw = self.random
        narrow, sensors = values[ranges.CUT_OUT] - (1 << draw.randrange(14)), draw.choice((-100000, -1, 0, 1))
        widest = draw.choice((20000000, 16777217, 19999999))
        together: tuple[dict[int, int], ...] = (
            {ranges.FLOOR: max(0, narrow), ranges.CUT_IN: values[ranges.CUT_OUT] + 1 + draw.randrange(3)},
            {
                ranges.OIL_LEAST: sensors,
                ranges.SUCTION_LEAST: sensors,
                ranges.OIL_MOST: widest,
                ranges.SUCTION_MOST: widest,
            },
            {ranges.MAX_GAP: draw.choice((300000, 262144, 131072, 65536))},
            {ranges.FAULT_DELAY: 1800000},
            {ranges.START_GRACE: 0},
            {ranges.REST_SETTLE: 0, ranges.RESET_HOLD: 0},
            {ranges.TRIP_DELAY: 1800000},
        )
        for changes in together:
            if draw.random() < SET_TOGETHER:
                for place, value in changes.items():
                    values[place] = value

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
        if draw.random() < 0.1:
            self.to_a_percent(memory, values, inputs)
        if draw.random() < self.wide:
            self.read_widely(values, inputs)
            if draw.random() < self.wide:
                inputs[ranges.RUN_FEEDBACK], inputs[ranges.ELAPSED] = (
                    1,
                    draw.choice((1, 2, 17, values[ranges.MAX_GAP] >> draw.randrange(12))),
                )

    def at_a_rounding(self, values: Words) -> int:
        """Return a net oil pressure (Pa) on the ramp whose weight is all but the next one up or down."""
        most = values[ranges.CUT_OUT] - values[ranges.FLOOR]
        depths = range(1, most + 1)
        if most > SAMPLES:
            depths = [self.random.randint(1, most) for _ in range(SAMPLES)]  # type: ignore[assignment]
        half, rest = 1 << (settings.SLOPE_BITS - 1), (1 << settings.SLOPE_BITS) - 1
        off = self.random.choice((0, rest))  # just past an edge, or just before it
        return values[ranges.CUT_OUT] - min(
            depths, key=lambda depth: abs(((depth * values[ranges.SLOPE] + half) & rest) - off)
        )

    def at_a_rounding_in_vacuum(self, values: Words) -> int:
        """Return a net oil pressure (Pa) below cut-out at which the product with the vacuum weight is next to an edge, or on it."""
        most, off = values[ranges.CUT_OUT] - values[ranges.FLOOR], self.random.choice((0, ranges.ONE - 1))
        half, ramp = ranges.ONE >> 1, 1 << (settings.SLOPE_BITS - 1)

        def distance(depth: int) -> int:
            gain = ranges.ONE + ((depth * values[ranges.SLOPE] + ramp) >> settings.SLOPE_BITS)
            return abs(((gain * values[ranges.VACUUM_WEIGHT] + half) & (ranges.ONE - 1)) - off)

        depths = [self.random.randint(1, most) for _ in range(SAMPLES // 3)]
        return values[ranges.CUT_OUT] - min(depths, key=distance)

    def to_a_percent(self, memory: Words, values: Words, inputs: Words) -> None:
        """Fill the inputs of a step in doubt that leads the integral to a whole percentage, or to one ms before it."""
        percent = self.random.randint(1, 100)
        wanted = -(-percent * values[ranges.TRIP_DELAY] // 100) - self.random.choice((0, 1, 1))
        elapsed = wanted - memory[state.INTEGRAL]
        if 0 < elapsed <= values[ranges.MAX_GAP] and memory[state.GRACE_LEFT] == 0:
            inputs[ranges.ELAPSED], inputs[ranges.RUN_FEEDBACK], inputs[ranges.OIL_PRESSURE] = (
                elapsed,
                1,
                ranges.NO_READING,
            )

    def aim(self, memory: Words, values: Words, inputs: Words) -> None:
        """Set an elapsed time that brings a word to a power of two, or is one, or the longest that is on time."""
        draw = self.random
        word = memory[draw.choice((1, 3, 4, 5, 7, 11, 13, 15))]
        power = 1 << draw.randrange(31)
        elapsed = draw.choice(
            (word - power, power - word, power, values[ranges.MAX_GAP], ranges.ELAPSED_MOST, word % power)
        )
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
            values[ranges.REST_MOST] + draw.choice((-1, 0, 1)), draw.choice((-1, 0, 1)) - values[ranges.REST_MOST],
        ))  # fmt: skip
        if draw.random() < 0.3:
            net = self.at_a_rounding(values)
        if draw.random() < 0.1:
            net, suction = self.at_a_rounding_in_vacuum(values), values[ranges.VACUUM] - 1
            crankcase = max(suction, values[ranges.SUCTION_LEAST])
        inputs[ranges.OIL_PRESSURE : ranges.CRANKCASE_PRESSURE + 1] = [crankcase + net, suction, crankcase]
        if draw.random() < 0.1:
            inputs[draw.randrange(3, 6)] = draw.choice((0, -1, ranges.NO_READING, 1, adversary.draw_any(self.rng) // 2))


def stories() -> Iterator[Walk]:
    """Yield walks that chance does not find: the longest times there are, and as many resets as can be counted."""
    gap, rest = ranges.SETTINGS[ranges.MAX_GAP][3], (0, 0, 100000, 100000, 100000)
    day = ranges.SETTINGS[ranges.RESTART_DELAY][3]
    short = {
        "trips_to_lockout": 1,
        "start_grace": 0,
        "trip_delay": 1000,
        "restart_delay": 1000,
        "reset_hold": 1000,
        "rest_settle": 1000,
    }
    long = {
        **short,
        "max_gap": gap,
        "stuck_after": day,
        "restart_delay": day,
        "fault_delay": 1800000,
        "trip_memory": 604800000,
    }
    # Short of oil until the lockout, then the press, its hold, and the way back to a start.
    cycle = ((1000, 1, 0), (1000, 0, 0), (1000, 0, 1), (1000, 0, 1), (1000, 0, 0))
    told = [(*words, 100000 + beat, 100000, 100000) for _ in range(8) for beat, words in enumerate(cycle)]
    yield _story("as many resets as can be counted", {**short, "resets_most": 7}, told)
    stopped = [(gap, 1, 0, 100000, 100000, 100000), (gap, 1, 0, 100001, 100001, 100001)]
    held = [(gap, 0, 1, 100000 + n % 2, 100000 + n % 2, 100000 + n % 2) for n in range(day // gap + 2)]
    yield _story("a press held for a day", {**long, "reset_hold": day}, [*stopped, *held])
    settling = [(gap, *rest[:2], 160000 + n % 2, 100000 + n % 2, 100000 + n % 2) for n in range(day // gap + 3)]
    yield _story("standstill settles for a day", {**long, "rest_settle": day}, settling)
    yield from _to_the_ms(long, gap)
    yield _percents(long, gap)
    yield from _at_once(long, gap)
    yield from _on_the_edge(short, long, gap)
    for oil, suction, crankcase in ((1, 0, 0), (0, 1, 0), (0, 0, 1), (1, 1, 1)):
        late = [(ranges.ELAPSED_MOST, 1, 0)] * (day // ranges.ELAPSED_MOST) + [(gap, 1, 0)] * 8
        late += [(gap, 0, 0)] * 2 + [(gap, 1, 0)] * 2
        moved = [
            (*words, 190000 + n * (1 - oil), 100000 + n * (1 - suction), 100000 + n * (1 - crankcase))
            for n, words in enumerate(late)
        ]
        moved.append((gap, 0, 0, 1, 2, 3))
        yield _story("a channel stuck for a day", {**long, "oil_least": -100000, "suction_least": -100000}, moved)


def _to_the_ms(long: dict[str, int], gap: int) -> Iterator[Walk]:
    """Yield walks to the very ms of a long press, a long settling and a long rest of a reading, where floats have no more digits."""
    odd = {**long, "restart_delay": 86399999}
    stopped = [
        (gap, 1, 0, 100000, 100000, 100000),
        (gap, 1, 0, 100001, 100001, 100001),
        (0, 0, 1, 100000, 100000, 100000),
    ]
    for whole in ((1 << 24) + 1, (1 << 24) + 3):
        beats = [gap] * ((whole - 1) // gap) + [(whole - 1) % gap, 1, 1]
        level = [(beat, 100000 + n % 2) for n, beat in enumerate(beats)]
        press = [(beat, 0, 1, pressure, pressure, pressure) for beat, pressure in level]
        yield _story("a long press to the ms", {**odd, "reset_hold": whole}, [*stopped, *press])
        settling = [(beat, 0, 0, 60000 + pressure, pressure, pressure) for beat, pressure in [(0, 99999), *level]]
        yield _story("a long settling to the ms", {**odd, "rest_settle": whole}, settling)
        late = [ranges.ELAPSED_MOST] * (whole // ranges.ELAPSED_MOST)
        late += [gap] * (whole % ranges.ELAPSED_MOST // gap)
        late += [whole - sum(late) - 1, 1, 1]
        still = [(beat, 1, 0, 190000, 100000, 100000) for beat in [0, 0, *late]]
        yield _story(
            "a long rest of readings to the ms",
            {**long, "stuck_after": whole},
            [*still, (1, 0, 0, 190000, 100000, 100000)],
        )


def _at_once(long: dict[str, int], gap: int) -> Iterator[Walk]:
    """Yield walks that no mistake of the catalogue wants, and that a port with a clock or an order of its own fails."""
    # Doubt drains to nothing in the seen part of a step, and begins anew in its doubted part: the fault has ended.
    told = [(1000, 1, 0, ranges.NO_READING, 100000 + n, 100000 + n) for n in range(6)]
    told += [(1000, 1, 0, 190000, 100006 + n, 100006 + n) for n in range(4)]
    told += [(1900, 1, 0, 190000, 100010, 100010), (1000, 1, 0, 190001, 100011, 100011)]
    yield _story("a fault ends in a step with new doubt", {"stuck_after": 5500, "start_grace": 0}, told)
    # Healthy oil pressure drains a debt of a vacuum to a fraction of a ms, which stays while it is neither low nor healthy.
    even = {**long, "floor_weight": ranges.ONE, "vacuum_weight": ranges.ONE, "recovery": 1024}
    told = [(0, 0, 0, 80000, 80000, 80000), (100, 1, 0, 80001, 80001, 80001), (199, 1, 0, 180000, 80002, 80002)]
    told += [(5, 1, 0, 150000, 80003, 80003), (1, 1, 0, 180001, 80003, 80003), (1, 1, 0, 180002, 80004, 80004)]
    yield _story("a debt drained to a fraction", even, told)
    # A clock that adds up the elapsed times passes 2^31 and 2^32 ms, and everything that runs down goes on.
    longest = ranges.INPUTS[ranges.ELAPSED][3]
    beats = [(1000, 1), (1000, 1), (gap, 1), (gap, 0), (1000, 0), (1000, 1), (1000, 1), (1000, 0)]
    told = [
        (beat, running, 0, 100000 + n, 100000 + n, 100000 + n)
        for n, (beat, running) in enumerate([*beats, *[(longest, 0)] * 3, *beats, *[(longest, 1)] * 2, *beats])
    ]
    slow = {**long, "trip_delay": 500000, "restart_delay": 301500, "start_grace": 2500, "trips_to_lockout": 5}
    yield _story("a clock past 2^31 and 2^32 ms", slow, told)
    ends = {"oil_least": -100000, "suction_least": -100000, "oil_most": 20000000, "suction_most": 20000000}
    told = [(0, 0, 0, 0, 0, 0), (1, 0, 0, 20000000, -100000, -100000), (1, 0, 0, 19999999, -100000, -100000)]
    yield _story("a zero all but off", {**ends, "rest_most": ranges.REST_OFF - 1, "rest_settle": 0}, told)


def _on_the_edge(short: dict[str, int], long: dict[str, int], gap: int) -> Iterator[Walk]:
    """Yield walks in which two things meet in one step, or a time that runs down passes a power of two."""
    # A full integral that nothing drains, oil at the next start, and suction pressure that comes back.
    told = [
        (0, 0, 0, 100000, 100000, 100000),
        (3000, 1, 0, 100000, 100001, 100000),
        (1000, 1, 0, 100000, 100000, 100000),
        (3000, 0, 0, 100001, 100001, 100001),
        (1000, 1, 0, 80000, 80000, 80000),
        (500, 1, 0, 170000, 80001, 80000),
        (500, 1, 0, 220000, 130000, 130000),
    ]
    undrained = {"recovery": 0, "stopped_recovery": 0, "trip_delay": 1000}
    undrained |= {"restart_delay": 0, "rest_settle": 0, "reset_hold": 0}
    yield _story("a reload on a full integral with oil pressure there", undrained, told)
    power = 1 << 20
    drained = [gap] * ((1800000 - power) // gap) + [(1800000 - power) % gap, 1000]
    told = [(0, 0, 0, 100000, 100000, 100000), (ranges.ELAPSED_MOST, 0, 0, 100000, 100000, 100000)]
    told += [(beat, 0, 0, 100001 + n, 100001 + n, 100001 + n) for n, beat in enumerate(drained)]
    yield _story("doubt drains past a power of two", long, told)
    short_of_oil = [0] + [gap] * (power // gap) + [power % gap]
    told = [(beat, 1, 0, 80000 + n, 80000 + n, 80000 + n) for n, beat in enumerate(short_of_oil)]
    told += [(0, 1, 0, 180000, 80000, 80000), (1000, 1, 0, 230000, 130000, 130000)]
    even = {**long, "trip_delay": 1800000, "floor_weight": ranges.ONE, "vacuum_weight": ranges.ONE}
    yield _story("healthy oil pressure on a debt of a power of two", even, told)
    cycle = ((1000, 1, 0), (1000, 0, 0), (1000, 0, 1), (1000, 0, 1), (1000, 0, 0))
    for most, told_most in ((3, "three"), (5, "five")):
        told = [(*words, 100000 + beat, 100000, 100000) for _ in range(most + 2) for beat, words in enumerate(cycle)]
        yield _story(f"{told_most} resets, and one that is refused", {**short, "resets_most": most}, told)
    yield from _weights(long, gap)
    yield from _lost(short)
    yield _all_flags(short, cycle)
    # It stops short of oil after a vacuum, in a step that still has oil pressure.
    told = [(0, 0, 0, 100000, 100000, 100000), *[(100, 1, 0, 80000 + n, 80000, 80000) for n in range(4)]]
    told += [(100, 0, 0, 200000, 80000, 80000), (100, 0, 0, 200001, 80001, 80001), (100, 1, 0, 200000, 80000, 80000)]
    yield _story("a stop with oil pressure there after a vacuum", {**short, "trip_delay": 1000}, told)
    yield _far_out(short)
    yield from _odd_numbers(long)
    alike = ranges.NO_READING & ((1 << 24) - 1)  # a reading whose lowest bits are those of none
    told = [(1000, 1, 0, alike, 100000, 100000), (1000, 1, 0, alike, alike, alike)]
    yield _story("a reading like none", {"oil_most": 20000000, "suction_most": 20000000}, told)
    # The trip memory ends in the very step in which the press has been held for long enough.
    told = [(*words, 100000 + beat, 100000, 100000) for _ in range(8) for beat, words in enumerate(cycle)]
    ending = [(1000, 1, 0), *[(3000, 0, 0)] * 19, (1000, 0, 1), (2000, 0, 1), (1000, 0, 0)]
    told += [(*words, 100000 + n % 2, 100000 + n % 2, 100000 + n % 2) for n, words in enumerate(ending)]
    yield _story("a reset as the resets are forgotten", {**short, "resets_most": 7}, told)
    # The trip memory ends in the seen part of a step, and its doubted part declares a fault.
    told = [(*words, 100000 + beat, 100000, 100000) for _ in range(2) for beat, words in enumerate(cycle)]
    told += [(3000, 0, 0, 100000 + n % 2, 100000 + n % 2, 100000 + n % 2) for n in range(18)]
    told += [(1000, 1, 0, 200000 + n, 100000, 100000) for n in range(4)]
    told += [(3000, 0, 0, 130000, 100001, 100001), (1000, 0, 0, 130001, 100000, 100000)]
    yield _story("a fault as the trip memory ends", {**short, "fault_delay": 100}, told)


def _all_flags(short: dict[str, int], cycle: tuple[tuple[int, int, int], ...]) -> Walk:
    """Return a walk in which all flags are on but the press: the reset was held before the lockout, and stays so."""
    told = [(*words, 100000 + beat, 100000, 100000) for _ in range(8) for beat, words in enumerate(cycle)]
    told += [(1000, 0, 0, 100000 + n % 2, 100000 + n % 2, 100000 + n % 2) for n in range(3)]
    told += [(500, 1, 1, 80000 + n, 80000, 80000) for n in range(4)]  # short of oil in a vacuum, to the lockout
    told += [(500, 1, 1, ranges.NO_READING, 80000 + n, 80000 + n) for n in range(4)]
    told += [(1000, 0, 1, ranges.NO_READING, 80000 + n, 80000 + n) for n in range(3)]
    return _story("a reset held from before the lockout", {**short, "resets_most": 7, "fault_delay": 1500}, told)


def _odd_numbers(long: dict[str, int]) -> Iterator[Walk]:
    """Yield walks that were worked out for mistakes which chance does not find, each named by what it tells."""
    gap, still = ranges.SETTINGS[ranges.MAX_GAP][3], (100000, 100000, 100000)
    slow = {**long, "trip_delay": 1800000, "stopped_recovery": 0}
    vacuum = [(0, 0, 0, *still), (1, 1, 0, 70000, 70000, 70000), (3, 1, 0, 70001, 70001, 70001)]
    odd = {**slow, "floor_weight": 2049, "vacuum_weight": 1023}  # their product is one short of a half
    yield _story("a product one short of its half", odd, vacuum)
    low = [(0, 0, 0, *still), (204801, 1, 0, 100001, 100001, 100001), (1, 1, 0, *still)]
    yield _story("a fraction just short of a whole beyond 24 bits", {**slow, "floor_weight": 4095}, low)
    steep = {**slow, "floor": 61994, "floor_weight": 8197}  # six pascals below cut-out
    ramp = [(0, 0, 0, *still), *[(1, 1, 0, 161999 - n, 100000, 100000) for n in range(6)]]
    yield _story("a slope beyond 24 bits", steep, ramp)
    wide = {**long, "oil_most": 20000000, "suction_most": 20000000, "suction_least": -100000, "oil_least": -100000}
    for most in ((1 << 24) + 1, (1 << 24) + 3):
        for oil, crankcase in ((most, 0), (0, most)):
            rest = [(0, 0, 0, *still)]
            rest += [(1, 0, 0, oil + by, crankcase, crankcase) for by in (0, 1, -1, 2, -2)]
            yield _story("a zero beyond 24 bits", {**wide, "rest_most": most, "rest_settle": 0}, rest)
    for who, other in ((0, 1), (0, 2), (1, 2)):
        for by in (1, 900):
            told = []
            for n, beat in enumerate((0, by, 30000 - by - 100, 1100 + by, 50)):
                words = [190000 + n, 100000 + n, 100000 + n]
                words[who], words[other] = 180000, 99000 if n < 2 else 101000
                told.append((beat, 1, 0, *words))
            yield _story("two channels stuck in one step", {**long, "stuck_after": 30000, "max_gap": 29999}, told)
    yield _story(
        "a clock that reads what no pressure does",
        {"fault_delay": 60000},
        [(0, 0, 0, *still), (ranges.NO_READING, 1, 0, 100001, 100001, 100001)],
    )
    beats = [0, *[ranges.ELAPSED_MOST] * 9, (1 << 24) - 9 * ranges.ELAPSED_MOST]
    told = [(beat, 1, 0, 190000, 100000 + n, 100000 + n) for n, beat in enumerate(beats)]
    told += [(5, 0, 0, 190000, 100000, 100000)]
    yield _story("one ms short of stuck at rest, beyond 24 bits", {**long, "stuck_after": (1 << 24) + 1}, told)
    for delay, integral in PERCENTS:
        beats = [0, *[gap] * (integral // gap), integral % gap]
        told = [(beat, 1, 0, ranges.NO_READING, 100000 + n, 100000 + n) for n, beat in enumerate(beats)]
        yield _story("a percentage that hangs on its rounding", {**long, "trip_delay": delay}, told)


def _far_out(short: dict[str, int]) -> Walk:
    """Return a walk with readings of more than 30 bits, up and down, that would be sound ones, or none, in fewer bits."""
    sound, gone, told = 100000, ranges.NO_READING, [(0, 0, 0, 100000, 100000, 100000)]
    far = [sign * (1 << bits) + low for bits in (29, 30) for sign in (-1, 1) for low in (-1, 0, 1, sound)]
    far += [3 << 29, -3 << 29, (1 << 31) - 1, -(1 << 31), 1 - (1 << 31), gone + (1 << 30), gone + (1 << 31)]
    for n, reading in enumerate(far):
        for place in range(3):
            words = [sound + n % 2, sound + n % 2, sound + n % 2]
            words[place] = reading
            told += [(100, 1, 0, *words), (100, 1, 0, *words)]
    return _story("readings of more than 30 bits", {**short, "fault_delay": 60000}, told)


def _lost(short: dict[str, int]) -> Iterator[Walk]:
    """Yield walks in which a frozen channel is missing now and then, running and at rest, and comes back as it was or not."""
    gone, beats = ranges.NO_READING, "rrgrgggr rgrr gg r sgs rm rgm"  # read, gone, standing still, moved
    for place in range(3):
        told = [(0, 0, 0, gone, gone, gone)]
        for second, beat in enumerate(beats.replace(" ", "")):
            words = [190000 + second % 2, 100000 + second % 2, 100000 + second % 2]
            words[place] = {"g": gone, "m": 180000 - second}.get(beat, (190000, 100000, 100000)[place])
            told.append((1000, int(beat != "s"), 0, *words))
        yield _story("a frozen channel that loses readings", {**short, "stuck_after": 8000, "fault_delay": 60000}, told)


def _weights(long: dict[str, int], gap: int) -> Iterator[Walk]:
    """Yield walks in which the products of weight and elapsed time are the largest, and the smallest."""
    slow = {**long, "trip_delay": 1800000, "vacuum_weight": ranges.ONE}
    low, healthy = (1, 0, 100000, 100000, 100000), (1, 0, 200000, 100000, 100000)
    told = [(0, *low), (gap, *low), (gap - 1, *low), (gap, *healthy), (gap, *healthy)]
    yield _story("the largest fractions", {**slow, "floor_weight": 4095, "recovery": 2047}, told)
    told = [(0, *low), (gap, 1, 0, 80000, 80000, 80000), (1000, 0, 0, 80000, 80000, 80000)]
    told = [(0, *low), (gap, 1, 0, 80000, 80000, 80000), (1000, 0, 0, 80000, 80000, 80000)]
    yield _story(
        "a product beyond 24 bits", {**slow, "floor_weight": 7 * ranges.ONE, "vacuum_weight": 8 * ranges.ONE}, told
    )
    told = [(0, *low), (1, *low), (1, *healthy), (0, *healthy), (0, 0, 0, 100000, 100000, 100000)]
    yield _story("a fraction alone is kept", {**slow, "floor_weight": ranges.ONE, "recovery": 1024}, told)


def _percents(long: dict[str, int], gap: int) -> Walk:
    """Return a walk in doubt to one ms before the percentages at which a quotient of floats is already the next one."""
    delay, at, beats = 1799999, 0, [0]
    for percent in range(85, 100):
        while at < percent * delay // 100:
            beats.append(min(gap, percent * delay // 100 - at))
            at += beats[-1]
    told = [(beat, 1, 0, ranges.NO_READING, 100000 + n, 100000 + n) for n, beat in enumerate(beats)]
    return _story("percentages to the ms", {**long, "trip_delay": delay}, told)


def ends() -> Iterator[Walk]:
    """Yield a short walk at each end of each setting, the others in the middle of what goes with it."""
    for place, both in enumerate(reachable_ends()):
        for value in both:
            values = moved_settings(place, value)[: ranges.SETTING_COUNT]
            told = [
                (0, 0, 0, 100000, 100000, 100000),
                (1000, 1, 0, 200000, 100000, 100000),
                (1000, 1, 1, 90000, 90000, 90000),
            ]
            yield Walk("", tuple(values), tuple(told))


def _story(purpose: str, changed: dict[str, int], inputs: list[tuple[int, ...]]) -> Walk:
    named = {**MIDDLE, **changed}
    return Walk(purpose, tuple(named[row[0]] for row in ranges.SETTINGS), tuple(inputs))


class Search:
    """Walks, and what they have found and gone through so far."""

    def __init__(self, seed: int) -> None:
        self.hunt, self.watcher = Hunt(patience=PATIENCE), Watcher()
        self.drawer = Drawer(seed)
        self.wanted: set[Item] = wanted()
        self.walks: list[Walk] = []
        self.steps = 0
        self.news = "goes through an end of a setting"  # what was last new

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
        newest = int(self.hunt.begin_walk(memory) > 0 or len(self.watcher.found) > known)
        for number, inputs in enumerate(walk.inputs, start=1):
            if self.take(values, memory, list(inputs), results):
                newest = number
        if walk.purpose and not walk.purpose.startswith(FOUND):
            return walk  # a story is kept whole: what it shows need not be in the catalogue
        return Walk(self.news, walk.settings, walk.inputs[:newest]) if newest else None

    def draw(self, length: int) -> int:
        """Draw a walk and keep it as far as it is new; return how much was new in it."""
        tripping = self.drawer.random.random() < 0.03
        values = self.drawer.trips() if tripping else self.drawer.settings()
        self.drawer.wide = self.drawer.random.choice((0.05, 0.15, 0.9))
        mood, inputs = [0] * adversary.MOOD_SIZE, [0] * ranges.INPUTS_SIZE
        adversary.draw_mood(self.drawer.rng, mood)
        memory, results = [0] * state.STATE_SIZE, [0] * outputs.OUTPUTS_SIZE
        state.power_up(memory, values)
        known = len(self.watcher.found)
        self.watcher.found |= settings_items(values)
        new = len(self.watcher.found) - known
        taken, newest = [], 0
        new += self.hunt.begin_walk(memory)
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


class Explorer:
    """Goes from places it has been to, (state, conditions) before the table is read, to others: far more steps, without mistakes."""

    def __init__(self, search: Search) -> None:
        self.search = search
        self.been: dict[tuple[int, int], tuple[Walk, tuple[int, ...]]] = {}  # the walk there, and the mood it was in
        found = search.hunt.found
        tables_left = [mistake for mistake in search.hunt.tables if mistake.number not in found]
        self.apart = {mistake.number: tables.told_apart(*mistake.change(0, 0, 0)) for mistake in tables_left}
        self.wanted = self._wanted()

    def _wanted(self) -> set[tuple[int, int]]:
        found = self.search.hunt.found
        return set().union(*(places for number, places in self.apart.items() if number not in found))

    def go(self, minutes: float) -> None:
        """Explore; a walk to a place that tells a wrong table from the right one is replayed with all mistakes, and kept."""
        end, draw = time.monotonic() + 60 * minutes, self.search.drawer
        while time.monotonic() < end and self.wanted:
            if self.been and draw.random.random() < 0.7:
                walk, mood = draw.random.choice(list(self.been.values()))
            else:
                drawn = [0] * adversary.MOOD_SIZE
                adversary.draw_mood(draw.rng, drawn)
                walk, mood = Walk("", tuple(draw.settings()[: ranges.SETTING_COUNT]), ()), tuple(drawn)
            self._from(walk, list(mood))

    def _from(self, walk: Walk, mood: Words) -> None:
        values = [*walk.settings, *[0] * (ranges.SETTINGS_SIZE - ranges.SETTING_COUNT)]
        settings.derive(values)
        memory, results, inputs = [0] * state.STATE_SIZE, [0] * outputs.OUTPUTS_SIZE, [0] * ranges.INPUTS_SIZE
        state.power_up(memory, values)
        for row in walk.inputs:
            inputs[:] = row
            step(memory, values, inputs, results)
        taken = list(walk.inputs)
        for _ in range(self.search.drawer.random.choice((1, 2, 4, 30))):
            if len(taken) > LONGEST_WALK:
                break
            self.search.drawer.inputs(memory, values, mood, inputs)
            now = memory[state.STATE]
            step(memory, values, inputs, results)
            taken.append(tuple(inputs))
            place = now, results[outputs.CONDITIONS] & ALL_BITS
            if place not in self.been or len(taken) < len(self.been[place][0].inputs):
                self.been[place] = Walk("", walk.settings, tuple(taken)), tuple(mood)
            if place in self.wanted:
                self.wanted.discard(place)
                kept = self.search.replay(Walk("", walk.settings, tuple(taken)))
                if kept:
                    self.search.walks.append(kept)
                    self.wanted &= self._wanted()


def thinned(walks: Sequence[Walk]) -> list[Walk]:
    """Return the walks that find all that these find, the latest taken first."""
    search = Search(1)
    return [kept for walk in reversed(walks) if (kept := search.replay(walk))]


@click.command()
@click.option(
    "--minutes", type=float, default=10.0, show_default=True, help="How long to look, then as long for wrong tables."
)
@click.option("--seed", type=int, default=27, show_default=True)
@click.option("--onward", is_flag=True, help="Go on from the walks that are there.")
@click.option("--out", type=click.Path(path_type=Path), default=WALKS, help="File to write.")
def command(minutes: float, seed: int, out: Path, *, onward: bool) -> None:
    """Search, print what is found, write the walks."""
    search, began = Search(seed), time.monotonic()
    earlier = read_walks(out, MIDDLE) if onward else ()
    search.walks = [kept for walk in (*stories(), *earlier) if (kept := search.replay(walk))]
    told = began
    while time.monotonic() - began < 60 * minutes:
        search.draw(search.drawer.random.choice((3, 10, 30, 60)))
        if time.monotonic() - told > 20:
            told = time.monotonic()
            left = len(search.hunt.pending())
            click.echo(
                f"{told - began:.0f} s: {len(search.walks)} walks of {sum(len(w.inputs) for w in search.walks)} steps kept of {search.steps}; {left} mistakes not found; {len(search.wanted - search.watcher.found)} items missing"
            )
            write_walks(out, search.walks)
    search.walks += [kept for walk in ends() if (kept := search.replay(walk))]
    explorer = Explorer(search)
    click.echo(
        f"{sum(not places for places in explorer.apart.values())} wrong tables lead the same way; {len(explorer.wanted)} places wanted"
    )
    explorer.go(minutes)
    click.echo(
        f"{len(explorer.been)} places, {len(explorer.wanted)} wanted and not found; {len(search.hunt.pending())} mistakes not found"
    )
    click.echo(f"missing: {sorted(search.wanted - search.watcher.found)}")
    kept = thinned(search.walks)
    write_walks(out, kept)
    click.echo(f"{len(kept)} walks of {sum(len(walk.inputs) for walk in kept)} steps")


if __name__ == "__main__":
    command()
