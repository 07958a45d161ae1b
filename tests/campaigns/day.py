"""The day of one machine under its controller, on which something may go wrong: what the injections are laid over.

One machine loses its oil for good; it obeys the protection, so it is stopped,
starts again, is stopped again and is locked out; later somebody presses the
reset. A second one never lacks oil. What matters is measured in the true world: the
seconds the machine runs short of oil, and whether the healthy one is stopped.
"""

import copy
from dataclasses import dataclass, field
from typing import NamedTuple, Self

from protect import outputs, ranges, seal, state
from protect.protection import step
from tests.support.protection import PROFILE, admit

TICK_MS = 500
START_S, LOSS_S, RESET_S, END_S = 40, 180, 900, 1200
RESET_TICK, END_TICK = (seconds * 1000 // TICK_MS for seconds in (RESET_S, END_S))
REST_S = (600, 660)  # the plant needs no cold, so whatever still runs stands for once
SUCTION_PA, HEALTHY_PA, LOST_PA, RIPPLE_PA = 150_000, 200_000, 3_000, 500
SETTINGS = admit(PROFILE | {"stuck_after": 60_000, "suction_least": -20_000, "oil_least": -20_000, "rest_most": 30_000})

Inputs = list[int]


class Flip(NamedTuple):
    """A bit of one word of the controller's memory: `array` is state, settings or seals."""

    array: str
    word: int
    bit: int


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
        resting = REST_S[0] <= seconds < REST_S[1]
        running = int(permitted and seconds >= START_S and not resting)
        self.ran_ms = self.ran_ms + TICK_MS if running else 0
        net = self.net(seconds) if running else 0
        if running and net < SETTINGS[ranges.CUT_OUT]:
            self.short_ms += TICK_MS
        ripple = RIPPLE_PA * (tick % 3 - 1)
        pressures = (SUCTION_PA + net + ripple, SUCTION_PA + ripple, SUCTION_PA + ripple)
        return [TICK_MS, running, int(RESET_S <= seconds < RESET_S + 2), *pressures]


class Controller:
    """What the controller holds in RAM, and its pass: the bare step, or the sealed one."""

    def __init__(self, *, sealed: bool) -> None:
        self.sealed = sealed
        self.memory, self.settings, self.seals = [0] * state.STATE_SIZE, list(SETTINGS), [0] * seal.SEALS_SIZE
        self.arrays = {"state": self.memory, "settings": self.settings, "seals": self.seals}
        self.results = [0] * outputs.OUTPUTS_SIZE
        self.results[outputs.RUN_PERMISSION] = 1
        state.power_up(self.memory, SETTINGS)
        seal.seal_settings(self.settings, self.seals)
        seal.seal_state(self.memory, self.seals)

    def step(self, inputs: Inputs) -> None:
        """Take a step."""
        if self.sealed:
            seal.sealed_step(self.memory, self.settings, inputs, self.results, self.seals)
        else:
            step(self.memory, self.settings, inputs, self.results)

    def flip(self, flip: Flip) -> None:
        """Flip a bit."""
        words = self.arrays[flip.array]
        words[flip.word] = signed(words[flip.word] ^ (1 << flip.bit))

    def content(self) -> tuple[int, ...]:
        """Return all words."""
        return (*(word for words in self.arrays.values() for word in words), *self.results)

    @property
    def settings_broken(self) -> bool:
        """Whether the settings are no longer what their seal says."""
        return not seal.holds(self.settings, ranges.SETTINGS_SIZE, self.seals, seal.SETTINGS_AT)

    @property
    def permitted(self) -> int:
        """Run permission as the machine gets it."""
        return self.results[outputs.RUN_PERMISSION]


@dataclass(frozen=True)
class Outcome:
    """What came of a day: s short of oil, stops felt, permission of every tick, first tick of each state."""

    short_s: float
    stops: int
    permissions: tuple[int, ...]
    first: dict[int, int]


@dataclass
class Day:
    """A day as far as it has been lived."""

    world: World
    controller: Controller
    permissions: list[int] = field(default_factory=list)
    stops: int = 0
    first: dict[int, int] = field(default_factory=dict)

    @classmethod
    def begin(cls, *, loses_oil: bool = True, sealed: bool = False) -> Self:
        """Return a day of which nothing has been lived."""
        return cls(World(loses_oil), Controller(sealed=sealed))

    @property
    def tick(self) -> int:
        """Number of the next tick."""
        return len(self.permissions)

    def inputs(self) -> Inputs:
        """Return what sound sensors say in the next tick; call it once a tick."""
        return self.world.inputs(self.tick, permitted=bool(self.controller.permitted))

    def live(self, given: list[Inputs]) -> None:
        """Live through a tick in which the controller gets these inputs, one step for each."""
        before = self.controller.permitted
        for inputs in given:
            self.controller.step(inputs)
        permitted = self.controller.permitted
        self.stops += before > permitted
        self.first.setdefault(self.controller.memory[state.STATE], self.tick)
        self.permissions.append(permitted)

    def until(self, tick: int) -> Self:
        """Live on with sound inputs until a tick is the next."""
        while self.tick < tick:
            self.live([self.inputs()])
        return self

    def outcome(self) -> Outcome:
        """Return what came of it."""
        return Outcome(self.world.short_ms / 1000, self.stops, tuple(self.permissions), self.first)

    def copy(self) -> Self:
        """Return a day that goes on by itself from here."""
        return copy.deepcopy(self)


def signed(word: int) -> int:
    """Return the 32-bit pattern of a word as the signed integer of a port."""
    return (word + (1 << 31)) % (1 << 32) - (1 << 31)
