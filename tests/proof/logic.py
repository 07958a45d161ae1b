"""The logic under proof: its modules, and any settings, any state and any inputs that it may meet."""

import functools
import importlib
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from types import FunctionType, ModuleType
from typing import Any

import z3

from tests.proof import symbolic, ways
from tests.proof.merging import merged
from tests.proof.symbolic import Bits, Integer, Truth, assume, every, implies

PARTS = ("signals", "integral", "timers", "conditions", "table", "outputs")
FLAG_COUNT = 9
Words = list[Any]


class Logic:
    """The modules of one package that holds the protection: `protect`, or a copy with a planted defect."""

    ranges: ModuleType
    settings: ModuleType
    state: ModuleType
    signals: ModuleType
    integral: ModuleType
    timers: ModuleType
    conditions: ModuleType
    table: ModuleType
    outputs: ModuleType
    protection: ModuleType
    seal: ModuleType

    def __init__(self, package: str = "protect") -> None:
        for name in ("ranges", "settings", "state", *PARTS, "protection", "seal"):
            setattr(self, name, importlib.import_module(f"{package}.{name}"))

    @contextmanager
    def with_merged_parts(self, *, bounded: bool = False, **lemmas: Callable[..., Any]) -> Iterator[None]:
        """Let all functions of a step take their ways at once; a lemma stands in for the function of its name."""
        before = []
        for part in PARTS:
            module = getattr(self, part)
            for name, function in vars(module).items():
                if isinstance(function, FunctionType) and function.__module__ == module.__name__:
                    before.append((module, name, function))
        try:
            for module, name, function in before:
                unmerged = lemmas.get(name)
                setattr(module, name, unmerged or merged(function, bounded=bounded))
            yield
        finally:
            for module, name, function in before:
                setattr(module, name, function)

    def any_settings(self) -> Words:
        """Return any settings that `first_fault` finds right; the derived places are still empty."""
        assume(self.admitted)
        return self.named_settings()

    def named_settings(self) -> Words:
        """Return settings by their names, of which nothing is known."""
        ranges = self.ranges
        return [Integer.named(row[0]) for row in ranges.SETTINGS] + [0] * (ranges.SETTINGS_SIZE - ranges.SETTING_COUNT)

    @functools.cached_property
    def admitted(self) -> Truth:
        """What settings are that `first_fault` finds right: its ways are walked once, whatever else is assumed."""
        with ways.inside(ways.World()):
            outcomes = ways.paths(lambda: self.settings.first_fault(self.named_settings()))
        right = [o.condition for o in outcomes if isinstance(o.result, int) and o.result == self.settings.ALL_RIGHT]
        assert right
        return Truth(z3.Or(right))

    def derived_settings(self) -> Words:
        """Return any admitted settings with their derived places, as `derive` works them out."""
        values = self.any_settings()
        self.settings.derive(values)
        return values

    def bounded_settings(self) -> Words:
        """Return any admitted settings with derived places of which only the bounds are known (lemma `derived`)."""
        values = self.any_settings()
        for place, name in ((self.ranges.SLOPE, "slope"), (self.ranges.PERCENT_SCALE, "percent_scale")):
            values[place] = Integer.named(name)
        values[self.ranges.RELOAD_LEVEL] = Integer.named("reload_level")
        assume(self.derived_bounds(values))
        return values

    def derived_bounds(self, values: Words) -> Truth:
        """Say what the parts of a step may rely on of the derived settings."""
        ranges = self.ranges
        level = values[ranges.RELOAD_LEVEL]
        return every([level >= 0, level <= values[ranges.TRIP_DELAY]])

    def any_inputs(self, name: str = "input") -> Words:
        """Return any inputs of the declared ranges, any broken clock, and pressures that may be missing."""
        ranges = self.ranges
        words = []
        for label, unit, least, most in ranges.INPUTS:
            word = Integer.named(f"{name}.{label}")
            within = every([word >= least, word <= most])
            if unit == "Pa":
                within = within | (word == ranges.NO_READING)
            if unit == "ms":
                within = every([word > -ways.LIMIT, word <= most])
            assume(within)
            words.append(word)
        return words

    def any_state(self, values: Words, name: str = "state") -> Words:
        """Return any state within the invariant."""
        words: Words = [Integer.named(f"{name}.{place}") for place in range(self.state.STATE_SIZE)]
        words[self.state.FLAGS] = Bits.named(f"{name}.flags", FLAG_COUNT)
        known = self.state.CAUSE_CODE | self.signals.DOUBTS
        words[self.state.CAUSE] = Bits.named(f"{name}.cause", symbolic.BITS) & known
        assume(self.invariant(words, values))
        return words

    def no_results(self) -> Words:
        """Return an outputs array before a step."""
        return [0] * self.outputs.OUTPUTS_SIZE

    def step(self, words: Words, values: Words, inputs: Words) -> tuple[Words, Words]:
        """Take one step; return the state after it and the outputs."""
        after, results = list(words), self.no_results()
        self.protection.step(after, values, inputs, results)
        return after, results

    def invariant(self, words: Words, values: Words) -> Truth:
        """Say what holds of every state between two steps."""
        return every(condition for _, condition in self.invariants(words, values))

    def invariants(self, words: Words, values: Words) -> list[tuple[str, "Truth | bool"]]:
        """Return what holds of every state between two steps, by name."""
        s, r = self.state, self.ranges
        flags = symbolic.as_bits(words[s.FLAGS])
        cause = symbolic.as_bits(words[s.CAUSE])
        doubts = cause & self.signals.DOUBTS != 0
        on_sensor = (cause & s.CAUSE_CODE) == s.SENSOR_CAUSE
        locked = at(words[s.STATE], s.LOCKED_OUT)
        declared = flags & s.FAULT_DECLARED != 0
        told = [
            ("there are six states", within(words[s.STATE], 0, s.LOCKED_OUT)),
            ("integral within 0 .. trip delay", within(words[s.INTEGRAL], 0, values[r.TRIP_DELAY])),
            ("fraction within 0 .. 2047", within(words[s.INTEGRAL_FRACTION], 0, r.ONE - 1)),
            (
                "a full integral has no fraction",
                implies(at(words[s.INTEGRAL], values[r.TRIP_DELAY]), at(words[s.INTEGRAL_FRACTION], 0)),
            ),
            ("grace within its setting", within(words[s.GRACE_LEFT], 0, values[r.START_GRACE])),
            ("restart delay within its setting", within(words[s.RESTART_LEFT], 0, values[r.RESTART_DELAY])),
            ("trip memory within its setting", within(words[s.MEMORY_LEFT], 0, values[r.TRIP_MEMORY])),
            ("trips within the lockout", within(words[s.TRIPS], 0, values[r.TRIPS_TO_LOCKOUT])),
            ("the last trip locks out", Truth(locked.term) | (words[s.TRIPS] + 0 < values[r.TRIPS_TO_LOCKOUT])),
            ("without memory no trips", implies(at(words[s.MEMORY_LEFT], 0), at(words[s.TRIPS], 0))),
            ("doubt within the fault delay", within(words[s.FAULT_TIME], 0, values[r.FAULT_DELAY])),
            ("a declared fault has doubt left", implies(declared, ~at(words[s.FAULT_TIME], 0))),
            (
                "a declared fault has stopped the machine",
                implies(declared, within(words[s.STATE], s.TRIPPED, s.LOCKED_OUT)),
            ),
            ("full doubt is a declared fault", implies(at(words[s.FAULT_TIME], values[r.FAULT_DELAY]), declared)),
            ("there are nine flags", flags & ~((1 << FLAG_COUNT) - 1) == 0),
            ("resets within what is set", (flags & s.RESETS) <= values[r.RESETS_MOST] * s.ONE_RESET),
            ("without memory no resets", implies(at(words[s.MEMORY_LEFT], 0), flags & s.RESETS == 0)),
            ("a press is one of a lockout", implies(flags & s.RESET_PRESSED != 0, locked)),
            ("a press is held", implies(flags & s.RESET_PRESSED != 0, flags & s.RESET_HELD != 0)),
            ("five causes", (cause & s.CAUSE_CODE) <= s.RESETS_CAUSE),
            ("a cause holds nothing but its code and doubts", cause & ~(s.CAUSE_CODE | self.signals.DOUBTS) == 0),
            ("a stop on a sensor names a doubt", implies(on_sensor, doubts)),
            ("no other stop names one", implies(doubts, on_sensor)),
            ("no lockout is on a sensor", implies(locked, ~on_sensor)),
            (
                "a starved machine with a full integral has been stopped",
                ~(at(words[s.STATE], s.STARVED) & at(words[s.INTEGRAL], values[r.TRIP_DELAY])),
            ),
        ]
        for channel in (s.OIL_SEEN, s.SUCTION_SEEN, s.CRANKCASE_SEEN):
            told.append(
                (
                    f"channel {channel} no longer unmoved than stuck",
                    within(words[channel + 1], 0, values[r.STUCK_AFTER]),
                )
            )
            told.append((f"channel {channel} holds a reading", self.a_reading(words[channel])))
            never_read = at(words[channel], r.NO_READING)
            told.append((f"channel {channel} has no age unread", implies(never_read, at(words[channel + 1], 0))))
        return told

    def a_reading(self, word: Any) -> Truth:
        """Say whether a word is a pressure of the declared range, or none."""
        _, _, least, most = self.ranges.INPUTS[self.ranges.OIL_PRESSURE]
        return within(word, least, most) | at(word, self.ranges.NO_READING)

    def total(self, words: Words) -> Integer:
        """Return the integral with its fraction, in 1/2048 ms."""
        return words[self.state.INTEGRAL] * self.ranges.ONE + words[self.state.INTEGRAL_FRACTION]


def within(value: Any, least: Any, most: Any) -> Truth:
    """Say whether least <= value <= most."""
    term = symbolic.term_of(value)
    return Truth(z3.And(term >= symbolic.term_of(least), term <= symbolic.term_of(most)))


def at(value: Any, wanted: Any) -> Truth:
    """Say whether two integers are the same."""
    return Truth(symbolic.term_of(value) == symbolic.term_of(wanted))
