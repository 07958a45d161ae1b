"""A machine under the protection, as the tests drive it.

The profile is a plausible medium-temperature rack machine. Its numbers are
restated here, and the tests count with them.
"""

from collections.abc import Set as AbstractSet
from typing import NamedTuple, Self

from protect import outputs, ranges, settings, signals, state
from protect.protection import step

ONE = 2048  # weight 1
STATES = ("STOPPED", "PRIMING", "LUBRICATED", "STARVED", "TRIPPED", "LOCKED_OUT")
CAUSES = ("none", "oil", "reload", "sensor", "resets")
MISSING = -1_000_000_000  # a pressure that was not read

PROFILE = {
    "cut_out": 60_000,
    "cut_in": 90_000,
    "floor": 20_000,
    "trip_delay": 120_000,
    "floor_weight": 4 * ONE,
    "vacuum_weight": 2 * ONE,
    "recovery": ONE,
    "stopped_recovery": ONE // 4,
    "vacuum": 50_000,
    "reload": 150_000,
    "reload_fraction": ONE // 2,
    "start_grace": 30_000,
    "restart_delay": 60_000,
    "trips_to_lockout": 3,
    "trip_memory": 3_600_000,
    "oil_least": 0,
    "oil_most": 2_000_000,
    "suction_least": 0,
    "suction_most": 1_500_000,
    "max_gap": 5_000,
    "stuck_after": 7_200_000,
    "fault_delay": 10_000,
    "rest_settle": 20_000,
    "rest_most": 20_100_000,  # off: most stories leave net oil pressure as it was when the machine stops
    "reset_hold": 1_000,
    "resets_most": 3,
}

# Net oil pressures of the profile, by what they mean.
HEALTHY = 200_000
HELD = 75_000  # between cut-out and cut-in
SHORT = 59_999  # weight 1, to the nearest 1/2048
MIDWAY = 40_000  # halfway from cut-out to floor: weight 2.5
BELOW_FLOOR = 0  # weight 4

# Suction pressures of the profile.
VACUUM = 40_000
SUCTION = 100_000
RELOADED = 200_000


def place(name: str) -> int:
    """Return the place of a named setting in the settings array."""
    return getattr(ranges, name.upper())


def admit(named: dict[str, int]) -> list[int]:
    """Return the settings array of these named settings, checked and with its derived places filled."""
    values = [0] * ranges.SETTINGS_SIZE
    for name, value in named.items():
        values[place(name)] = value
    assert settings.first_fault(values) == settings.ALL_RIGHT, named
    settings.derive(values)
    return values


class Memory(NamedTuple):
    """Everything the logic remembers, by name; flags in words."""

    state: str
    integral: int
    fraction: int
    grace_left: int
    restart_left: int
    memory_left: int
    trips: int
    fault_time: int
    flags: str
    cause: str
    unmoved: tuple[int, int, int]
    resets: int = 0
    cause_doubts: AbstractSet[str] = frozenset()


FLAG_WORDS = {1: "fresh", 2: "held", 4: "spell", 8: "vacuum", 16: "fault", 256: "pressed"}


def flag_words(flags: int) -> str:
    """Return the set flags as words, in the order of their bits."""
    return " ".join(word for bit, word in FLAG_WORDS.items() if flags & bit)


def doubt_names(word: int) -> set[str]:
    """Return the doubts in a word by name."""
    return {name for number, name in enumerate(signals.DOUBT_NAMES, start=16) if word >> number & 1}


class Machine:
    """One protected machine: settings, state, the inputs last given, the results last got."""

    def __init__(self, **changes: int) -> None:
        self.settings = admit(PROFILE | changes)
        self.state = [0] * state.STATE_SIZE
        self.inputs = [0] * ranges.INPUTS_SIZE
        self.results = [0] * outputs.OUTPUTS_SIZE
        state.power_up(self.state, self.settings)

    def tick(
        self,
        ms: int = 1_000,
        *,
        net: int = HEALTHY,
        running: int = 1,
        reset: int = 0,
        oil: int | None = None,
        suction: int = SUCTION,
        crankcase: int | None = None,
    ) -> Self:
        """Take one step. `net` sets the oil pressure above the crankcase unless `oil` is given."""
        if crankcase is None:
            crankcase = suction
        if oil is None:
            oil = crankcase + net
        self.inputs[:] = (ms, running, reset, oil, suction, crankcase)
        step(self.state, self.settings, self.inputs, self.results)
        return self

    def press(self) -> Self:
        """Press the reset of a standing machine for the reset hold, and let go."""
        self.tick(running=0).tick(running=0, reset=1)
        self.spend(self.settings[ranges.RESET_HOLD] or 1, running=0, reset=1)
        return self.tick(running=0)

    def spend(self, ms: int, *, by: int = 1_000, **inputs: int) -> Self:
        """Take steps of `by` ms over a stretch of time with the same inputs; the last one may be shorter."""
        while ms > 0:
            self.tick(min(ms, by), **inputs)
            ms -= by
        return self

    def start(self) -> Self:
        """Power up, then run healthy until the start grace is over."""
        self.tick(0)
        self.spend(self.settings[ranges.START_GRACE])
        assert (self.name, self.grace_left, self.integral) == ("LUBRICATED", 0, 0)
        return self

    def trip(self, **inputs: int) -> int:
        """Run short of oil below the floor until run permission goes; return the ms that took."""
        ms = 0
        while self.permitted:
            self.tick(100, **({"net": BELOW_FLOOR} | inputs))
            ms += 100
            assert ms < 1_000_000, "never tripped"
        return ms

    @property
    def name(self) -> str:
        """Name of the state."""
        return STATES[self.state[state.STATE]]

    @property
    def permitted(self) -> bool:
        """Run permission as the plant gets it."""
        return bool(self.results[outputs.RUN_PERMISSION])

    @property
    def alarm(self) -> bool:
        """Alarm as the plant gets it."""
        return bool(self.results[outputs.ALARM])

    @property
    def stop_cause(self) -> str:
        """Cause of the stop as the plant gets it."""
        return CAUSES[self.results[outputs.STOP_CAUSE] & 7]

    @property
    def doubts(self) -> set[str]:
        """What was wrong with the readings of the last step."""
        return doubt_names(self.results[outputs.CONDITIONS])

    @property
    def credible(self) -> bool:
        """Whether every reading of the last step was credible."""
        return bool(self.results[outputs.CREDIBLE])

    @property
    def integral(self) -> int:
        """Whole part of the time-delay integral, weight * ms."""
        return self.state[state.INTEGRAL]

    @property
    def grace_left(self) -> int:
        """Ms of start grace still to run."""
        return self.state[state.GRACE_LEFT]

    @property
    def memory(self) -> Memory:
        """The whole state by name."""
        return named_memory(self.state)


def named_memory(words: list[int]) -> Memory:
    """Return a state array as Memory."""
    return Memory(
        state=STATES[words[state.STATE]],
        integral=words[state.INTEGRAL],
        fraction=words[state.INTEGRAL_FRACTION],
        grace_left=words[state.GRACE_LEFT],
        restart_left=words[state.RESTART_LEFT],
        memory_left=words[state.MEMORY_LEFT],
        trips=words[state.TRIPS],
        fault_time=words[state.FAULT_TIME],
        flags=flag_words(words[state.FLAGS]),
        cause=CAUSES[words[state.CAUSE] & 7],
        unmoved=(words[state.OIL_SEEN + 1], words[state.SUCTION_SEEN + 1], words[state.CRANKCASE_SEEN + 1]),
        resets=words[state.FLAGS] >> 5 & 7,
        cause_doubts=doubt_names(words[state.CAUSE]),
    )
