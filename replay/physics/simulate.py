"""Traces of one machine: whole or in pieces of bounded size, and a plant that obeys a run permission by the sample.

Every figure of a trace follows from its arguments: the random numbers come from the seed and the trace's own key,
never from a worker or an order of execution, and the arithmetic is the same on every machine (`arithmetic`).
"""

from collections.abc import Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from replay.physics import layout as at
from replay.physics.behaviour import USUAL, Behaviour
from replay.physics.kernel import compiled_advance, compiled_record
from replay.physics.machines import Machine, Oil, Refrigerant
from replay.physics.model import STEP_S, Start, first_state, parameters, solubility_table
from replay.physics.schedule import Schedule
from replay.physics.sensors import (
    CHANNELS,
    NO_READING,
    SENSOR_STATES,
    Draws,
    Sensor,
    SensorChain,
    compiled_read_trace,
    draw_pieces,
)
from replay.physics.viscosity import ZERO_CELSIUS_K

PIECE = 1 << 15  # samples of a trace held at a time: nine hours at one a second, some 15 MB

Certainty = Literal["none", "possible", "certain"]


@dataclass(frozen=True)
class Case:
    """One trace to be simulated; key separates traces of one seed.

    upsets: (from, to) in s of what a rule could take for a fault and the machine is meant to come through.
    """

    machine: Machine
    oil: Oil
    refrigerant: Refrigerant
    schedule: Schedule
    duration_s: float
    start: Start = field(default_factory=Start)
    chain: SensorChain = field(default_factory=SensorChain)
    seed: int = 0
    key: tuple[int, ...] = (0,)
    step_s: float = STEP_S
    upsets: tuple[tuple[float, float], ...] = ()
    behaviour: Behaviour = USUAL
    source: str = ""  # where the machine's figures come from

    @property
    def parameters(self) -> NDArray[np.float64]:
        """The kernel's parameters of this case; see `model.parameters`."""
        return parameters(self.machine, self.oil, self.refrigerant, self.schedule, self.step_s, self.behaviour)


@dataclass(frozen=True)
class Spell:
    """A starved spell that spoilt bearings: when it began, and when it spoilt each column (`bearing`), None: not."""

    starved_s: float | None  # None: the bearings were spoilt without want of oil pressure
    times_s: tuple[float | None, float | None, float | None]

    @property
    def certainty(self) -> Certainty:
        """How sure the damage is: all three columns, or some."""
        return "possible" if None in self.times_s else "certain"


@dataclass(frozen=True)
class Damage:
    """What the bearings suffered: the spells that spoilt some, each judged as if it were the first.

    least_reserve, most_heat: of the pessimistic journals (oil left, and heat of which 1 spoils) in all other spells.
    untold: spells beyond the last that could be kept. unfinished: the last of `spells` still goes on.
    """

    spells: tuple[Spell, ...] = ()
    least_reserve: float = 1.0
    most_heat: float = 0.0
    untold: int = 0
    unfinished: bool = False

    @property
    def certainty(self) -> Certainty:
        """'certain': a spell spoilt all three columns; 'possible': one or two of them at most; 'none': none."""
        if any(spell.certainty == "certain" for spell in self.spells):
            return "certain"
        return "possible" if self.spells else "none"

    @property
    def times_s(self) -> tuple[float | None, float | None, float | None]:
        """When the first spell that spoilt anything spoilt each column."""
        return self.spells[0].times_s if self.spells else (None, None, None)

    @property
    def damage_s(self) -> float | None:
        """First moment (s) at which the machine may be spoilt."""
        return min((time for time in self.times_s if time is not None), default=None)


@dataclass(frozen=True)
class Result:
    """A simulated trace, or a stretch of one, at its sample instants; every array is of one length n.

    rows: float64[n, RECORDS] with the columns named in `layout`. Readings are absolute Pa, int64[n].
    """

    time_ms: NDArray[np.int64]
    rows: NDArray[np.float64]
    oil_pa: NDArray[np.int64]  # sensor readings; NO_READING where none came
    suction_pa: NDArray[np.int64]
    crankcase_pa: NDArray[np.int64] | None
    damage: Damage

    @property
    def true_oil_pa(self) -> NDArray[np.float64]:
        """Pump discharge pressure, absolute, Pa."""
        return self.rows[:, at.R_OIL_PA]

    @property
    def true_suction_pa(self) -> NDArray[np.float64]:
        """Suction pressure, absolute, Pa."""
        return self.rows[:, at.R_SUCTION_PA]

    @property
    def true_crankcase_pa(self) -> NDArray[np.float64]:
        """Crankcase pressure, absolute, Pa."""
        return self.rows[:, at.R_CRANKCASE_PA]

    @property
    def net_oil_pa(self) -> NDArray[np.float64]:
        """True net oil pressure, Pa: pump discharge less crankcase."""
        return self.true_oil_pa - self.true_crankcase_pa

    @property
    def floor_pa(self) -> NDArray[np.float64]:
        """Floor pressure at the speed and density of the moment, Pa."""
        return self.rows[:, at.R_FLOOR_PA]

    @property
    def running(self) -> NDArray[np.uint8]:
        """Run command in force, 0 or 1."""
        return self.rows[:, at.R_RUNNING].astype(np.uint8)

    @property
    def film_reserve(self) -> NDArray[np.float64]:
        """Reserve of the likely journal, 0..1."""
        return self.rows[:, at.R_RESERVE]

    @property
    def void(self) -> NDArray[np.float64]:
        """Gas share of the sump's volume, 0..1."""
        return self.rows[:, at.R_VOID]

    @property
    def pocket(self) -> NDArray[np.float64]:
        """Gas pocket at the pump inlet, shares of the one that covers it."""
        return self.rows[:, at.R_POCKET]

    @property
    def primed(self) -> NDArray[np.float64]:
        """Filling of the pump, 0..1."""
        return self.rows[:, at.R_PRIMED]

    @property
    def oil_level(self) -> NDArray[np.float64]:
        """Liquid in the sump, shares of the oil charge's volume."""
        return self.rows[:, at.R_LEVEL]

    @property
    def oil_temperature_c(self) -> NDArray[np.float64]:
        """Sump temperature, degrees C."""
        return self.rows[:, at.R_TEMPERATURE_K] - ZERO_CELSIUS_K

    @property
    def dissolved_fraction(self) -> NDArray[np.float64]:
        """Refrigerant in the oil, mass fraction."""
        return self.rows[:, at.R_FRACTION]

    @property
    def speed_rpm(self) -> NDArray[np.float64]:
        """Speed of the crankshaft, 1/min."""
        return self.rows[:, at.R_SPEED_RPM]

    @property
    def damage_s(self) -> float | None:
        """See `Damage.damage_s`."""
        return self.damage.damage_s

    @property
    def damage_certainty(self) -> Certainty:
        """See `Damage.certainty`."""
        return self.damage.certainty


def random_of_trace(seed: int, key: tuple[int, ...]) -> np.random.Generator:
    """Return the generator that belongs to one trace of a seed, whoever simulates it."""
    return np.random.Generator(np.random.PCG64(np.random.SeedSequence(seed, spawn_key=key)))


def damage_of(state: NDArray[np.float64]) -> Damage:
    """Read what the bearings suffered from a kernel state, float64[STATES]; a spell that goes on counts so far."""

    def told(position: int) -> float | None:
        return None if state[position] == at.NEVER else float(state[position])

    count = int(state[at.S_SPELLS])
    kept = min(count, at.MOST_SPELLS)
    places = range(at.S_RECORD, at.S_RECORD + kept * at.SPELL, at.SPELL)
    spells = tuple(Spell(told(place), (told(place + 1), told(place + 2), told(place + 3))) for place in places)
    reserve, heat = float(state[at.S_LEAST_RESERVE]), float(state[at.S_MOST_HEAT])
    if state[at.S_ONSET_S] != at.NEVER and state[at.S_SPOILING] == 0.0:
        reserve = min(reserve, float(state[at.S_SPELL_RESERVE]))
        heat = max(heat, float(state[at.S_SPELL_HEAT]))
    unfinished = bool(state[at.S_SPOILING] != 0.0)
    return Damage(spells, reserve, heat, count - kept, unfinished)


def draws_of(case: Case, most_samples: int = PIECE) -> Iterator[Draws]:
    """Yield the random numbers of a case in pieces of at most so many samples, which changes no number."""
    return draw_pieces(case.chain, case.duration_s, random_of_trace(case.seed, case.key), most_samples)


def simulate(case: Case) -> Result:
    """Simulate one trace with run permission given throughout. Raises ValueError for a machine that cannot run so."""
    (whole,) = simulate_pieces(case, int(case.duration_s * 1000.0) + 1)
    return whole


def simulate_pieces(case: Case, most_samples: int = PIECE) -> Iterator[Result]:
    """Yield a trace in pieces of at most so many samples, which changes no byte, in memory bounded by them.

    The damage of a piece is what the journals have suffered from the trace's beginning to the piece's end. Errors as
    in `simulate`.
    """
    p = case.parameters
    s = first_state(case.machine, case.oil, case.refrigerant, case.schedule, case.start, p)
    table, schedule, inputs = solubility_table(case.oil, case.refrigerant), case.schedule.arrays(), np.zeros(at.INPUTS)
    held = np.zeros((CHANNELS, SENSOR_STATES))
    for draws in draws_of(case, most_samples):
        time_s = draws.time_ms / 1000.0
        rows = np.zeros((time_s.size, at.RECORDS))
        compiled_record(s, p, table, *schedule, time_s, inputs, rows)
        yield _read(case.chain, held, draws, rows, damage_of(s))


def _read(
    chain: SensorChain, held: NDArray[np.float64], draws: Draws, rows: NDArray[np.float64], damage: Damage
) -> Result:
    """Send true pressures through the sensors, which carry what they held, and return the finished stretch."""

    def read(sensor: Sensor, column: int, channel: int) -> NDArray[np.int64]:
        readings = np.empty(rows.shape[0], dtype=np.int64)
        compiled_read_trace(
            sensor.parameters(),
            held[channel],
            np.ascontiguousarray(rows[:, column]),
            draws.time_ms / 1000.0,
            draws.gaussian[channel],
            draws.chance[channel],
            readings,
        )
        return readings

    crankcase = None if chain.crankcase is None else read(chain.crankcase, at.R_CRANKCASE_PA, 2)
    return Result(
        draws.time_ms, rows, read(chain.oil, at.R_OIL_PA, 0), read(chain.suction, at.R_SUCTION_PA, 1), crankcase, damage
    )


def simulate_many(cases: Sequence[Case], jobs: int = 1) -> list[Result]:
    """Simulate traces in their order on jobs threads (the kernel holds no lock); jobs changes no result."""
    if jobs <= 1:
        return [simulate(case) for case in cases]
    with ThreadPoolExecutor(jobs) as pool:
        return list(pool.map(simulate, cases))


class Plant:
    """A machine that obeys a run permission: `advance` brings it to its next sample instant.

    The sensors are not its affair: read them with `sensors.read_sensor` and the `draws_of` its case, so that a closed
    loop sees the very noise that the open loop of the same seed sees.
    """

    def __init__(self, case: Case) -> None:
        """Start the machine of a case at its first sample."""
        self.case = case
        self.parameters = case.parameters
        self.state = first_state(case.machine, case.oil, case.refrigerant, case.schedule, case.start, self.parameters)
        self._table = solubility_table(case.oil, case.refrigerant)
        self._schedule = case.schedule.arrays()
        self._inputs = np.zeros(at.INPUTS)

    def advance(self, until_s: float, *, permission: bool = True) -> NDArray[np.float64]:
        """Advance to until_s with or without run permission; returns the record of that instant (`layout` R_ names)."""
        row = np.zeros(at.RECORDS)
        compiled_advance(
            self.state,
            self.parameters,
            self._table,
            *self._schedule,
            1.0 if permission else 0.0,
            until_s,
            self._inputs,
            row,
        )
        return row

    @property
    def damage(self) -> Damage:
        """What the journals have suffered so far."""
        return damage_of(self.state)


__all__ = [
    "NO_READING",
    "Case",
    "Certainty",
    "Damage",
    "Plant",
    "Result",
    "Spell",
    "damage_of",
    "draws_of",
    "random_of_trace",
    "simulate",
    "simulate_many",
    "simulate_pieces",
]
