"""What a trace is drawn from: the site with its machine, oil, refrigerant and sensors, from stated ranges.

Only uniform draws are used, taken in a fixed order, so a seed means the same on every machine.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Any, TypeVar

import numpy as np

from replay.physics.arithmetic import exp, log
from replay.physics.constants import DRY_SUCTION, RUNNING_RISE_K
from replay.physics.gas import limiting_vacuum_pa
from replay.physics.machines import MACHINES, OILS, REFRIGERANTS, Machine, Oil, Refrigerant
from replay.physics.model import Start
from replay.physics.schedule import Schedule
from replay.physics.sensors import Sensor, SensorChain
from replay.physics.tables import LOG_SATURATION, TEMPERATURES_K
from replay.physics.viscosity import ZERO_CELSIUS_K

T = TypeVar("T")

EVAPORATING_C = (-20.0, -2.0)
LEAST_SUCTION_PA = 150e3  # so that 0 psi gauge is throttling
CONDENSING_C = (20.0, 34.0)
MOST_DISCHARGE_PA = 1200e3  # so that every machine can pull a vacuum in which a dry pump stays dry
LOAD_RATIO = (1.5, 2.1)  # standing evaporator pressure over suction
OIL_TEMPERATURE_C = (38.0, 58.0)
SPEED_SHARE = (0.94, 1.0)  # of rated speed: slip
STILL = tuple(oil.name for oil in OILS.values() if not oil.foaming)
FOAMING = tuple(oil.name for oil in OILS.values() if oil.foaming)
ANY = STILL + FOAMING
PERIODS_MS = (500, 1000)
OFFSET_PA = (-3e3, 3e3)
GAIN = (0.992, 1.008)
NOISE_PA = (150.0, 900.0)
NOISE_LEAST = 0.5  # shares of the resolution: pulsation of a running machine moves the last digit
LAG_S = (0.05, 0.5)
RESOLUTIONS_PA = (100.0, 250.0, 500.0, 1000.0)
OIL_RANGE_PA = (0.0, 1600e3)
SUCTION_RANGE_PA = (0.0, 1600e3)
CRANKCASE_SHARE = 0.25  # of the sites, those with a crankcase channel


class Draw:
    """Draws of one trace."""

    def __init__(self, generator: np.random.Generator) -> None:
        """Take draws from this generator."""
        self._generator = generator

    def between(self, low: float, high: float) -> float:
        """Draw evenly from low .. high."""
        return low + (high - low) * float(self._generator.random())

    def log_between(self, low: float, high: float) -> float:
        """Draw evenly in the logarithm from low .. high, both above 0."""
        return exp(self.between(log(low), log(high)))

    def one_of(self, choices: Sequence[T]) -> T:
        """Draw one of the choices, all alike."""
        return choices[min(int(self._generator.random() * len(choices)), len(choices) - 1)]

    def happens(self, chance: float) -> bool:
        """Draw whether something of this chance happens."""
        return float(self._generator.random()) < chance

    def moments(self, first_s: float, gap_s: tuple[float, float], until_s: float) -> Iterator[float]:
        """Draw moments from first_s on, gap_s apart, before until_s; at least the first."""
        moment = first_s
        yield moment
        while True:
            moment += self.between(*gap_s)
            if moment >= until_s:
                return
            yield moment


@dataclass(frozen=True)
class Site:
    """A drawn installation."""

    machine: Machine
    oil: Oil
    refrigerant: Refrigerant
    speed_rpm: float
    suction_pa: float
    discharge_pa: float
    load_pa: float
    oil_temperature_c: float
    chain: SensorChain

    def schedule(self, *, running: bool = True) -> Schedule:
        """Return the site's schedule before anything happens."""
        return Schedule(
            self.speed_rpm,
            self.suction_pa,
            self.discharge_pa,
            self.load_pa,
            self.oil_temperature_c - (RUNNING_RISE_K if running else 0.0),
            running,
        )

    @property
    def start(self) -> Start:
        """The sump in equilibrium at the site's oil temperature."""
        return Start(oil_temperature_c=self.oil_temperature_c)

    @property
    def limiting_vacuum_pa(self) -> float:
        """Suction pressure at which this machine stops pulling."""
        return limiting_vacuum_pa(self.discharge_pa, self.machine.clearance_ratio, self.refrigerant.isentropic_exponent)

    @property
    def dry_pump_limit_pa(self) -> float:
        """Crankcase pressure below which a dry pump of this machine cannot draw oil."""
        return self.machine.inlet_lift_pa / DRY_SUCTION

    def with_oil_sensor(self, **changes: Any) -> "Site":
        """Return the site with its oil sensor changed."""
        return replace(self, chain=replace(self.chain, oil=replace(self.chain.oil, **changes)))

    def with_both_sensors(self, **changes: Any) -> "Site":
        """Return the site with its oil and suction sensors changed alike."""
        oil, suction = replace(self.chain.oil, **changes), replace(self.chain.suction, **changes)
        return replace(self, chain=replace(self.chain, oil=oil, suction=suction))


def saturation_pa(refrigerant: Refrigerant, temperature_c: float) -> float:
    """Return the saturation pressure (Pa) between the table's temperatures: ln p is straight over 1/T."""
    kelvin = temperature_c + ZERO_CELSIUS_K
    i = min(max(int((kelvin - TEMPERATURES_K[0]) / 10.0), 0), len(TEMPERATURES_K) - 2)
    low, high = TEMPERATURES_K[i], TEMPERATURES_K[i + 1]
    share = (1.0 / low - 1.0 / kelvin) / (1.0 / low - 1.0 / high)
    logs = LOG_SATURATION[refrigerant.name]
    return exp(logs[i] + share * (logs[i + 1] - logs[i]))


def draw_site(draw: Draw, oils: Sequence[str] = ANY) -> Site:
    """Draw an installation with one of the named oils, from the ranges at the top of this module."""
    machine = MACHINES[draw.one_of(tuple(MACHINES))]
    oil = OILS[draw.one_of(oils)]
    refrigerant = REFRIGERANTS[draw.one_of(tuple(REFRIGERANTS))]
    suction = max(saturation_pa(refrigerant, draw.between(*EVAPORATING_C)), LEAST_SUCTION_PA)
    discharge = min(saturation_pa(refrigerant, draw.between(*CONDENSING_C)), MOST_DISCHARGE_PA)
    load = min(suction * draw.between(*LOAD_RATIO), 0.9 * discharge)
    return Site(
        machine,
        oil,
        refrigerant,
        machine.rated_speed_rpm * draw.between(*SPEED_SHARE),
        suction,
        discharge,
        load,
        draw.between(*OIL_TEMPERATURE_C),
        draw_chain(draw),
    )


def draw_chain(draw: Draw) -> SensorChain:
    """Draw a sound sensor chain."""
    oil = draw_sensor(draw, OIL_RANGE_PA)
    suction = draw_sensor(draw, SUCTION_RANGE_PA)
    crankcase = draw_sensor(draw, SUCTION_RANGE_PA) if draw.happens(CRANKCASE_SHARE) else None
    period_ms = draw.one_of(PERIODS_MS)
    return SensorChain(oil, suction, crankcase, period_ms, int(0.05 * period_ms) if draw.happens(0.5) else 0)


def draw_sensor(draw: Draw, range_pa: tuple[float, float]) -> Sensor:
    """Draw a sound sensor of a range. Common practice, no source: a running machine's reading never stands still."""
    lag, gain, offset = draw.between(*LAG_S), draw.between(*GAIN), draw.between(*OFFSET_PA)
    noise, resolution = draw.log_between(*NOISE_PA), draw.one_of(RESOLUTIONS_PA)
    return Sensor(
        range_low_pa=range_pa[0],
        range_high_pa=range_pa[1],
        lag_s=lag,
        gain=gain,
        offset_pa=offset,
        noise_pa=max(noise, NOISE_LEAST * resolution),
        resolution_pa=resolution,
    )
