"""What a trace is drawn from: the site with its machine, oil, refrigerant, season and sensors, from stated ranges.

Only uniform draws are used, taken in a fixed order, so a seed means the same on every machine.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Any, TypeVar

import numpy as np

from replay.physics.arithmetic import exp, log
from replay.physics.behaviour import USUAL, Behaviour
from replay.physics.constants import ATMOSPHERE_PA
from replay.physics.gas import limiting_vacuum_pa
from replay.physics.machines import MACHINES, OILS, REFRIGERANTS, Machine, Oil, Refrigerant
from replay.physics.model import Start, equilibrium_fraction, liquid_opening, throttle_opening
from replay.physics.schedule import Schedule
from replay.physics.sensors import Sensor, SensorChain
from replay.physics.tables import TEMPERATURES_K
from replay.physics.viscosity import (
    ZERO_CELSIUS_K,
    diluted_viscosity_mm2_s,
    oil_viscosity_mm2_s,
    walther_constants,
)

T = TypeVar("T")

EVAPORATING_C = (-20.0, -2.0)
LEAST_SUCTION_PA = 150e3  # so that 0 psi gauge is throttling
MOST_DISCHARGE_PA = 1200e3  # so that every machine can pull a vacuum in which a dry pump stays dry
# Common practice, no source: in the cold the head floats down and the oil runs cooler.
SEASONS = (  # condensing temperature, oil temperature of a running machine, degrees C; all alike
    ((17.0, 25.0), (30.0, 46.0)),  # winter
    ((20.0, 30.0), (36.0, 54.0)),  # spring and autumn, twice as long
    ((20.0, 30.0), (36.0, 54.0)),
    ((27.0, 36.0), (46.0, 60.0)),  # summer
)
LOAD_RATIO = (1.5, 2.1)  # standing evaporator pressure over suction
HEATER_K = 20.0  # common practice: rise of a standing sump by its heater
SPEED_SHARE = (0.94, 1.0)  # of rated speed: slip
STILL = tuple(oil.name for oil in OILS.values() if not oil.foaming)
FOAMING = tuple(oil.name for oil in OILS.values() if oil.foaming)
ANY = STILL + FOAMING
UNLOADING = (0.34, 0.5, 0.67)  # thirds or halves

# --- a sound sensor chain; common practice, no source -----------------------------------------------------------
PERIODS_MS = (500, 1000)
OFFSET_PA = (-3e3, 3e3)
GAIN = (0.992, 1.008)
NOISE_PA = (250.0, 900.0)  # pulsation that no lag takes out, beside the noise of the loop
LAG_S = (0.05, 0.5)
RESOLUTIONS_PA = (100.0, 250.0, 500.0)  # chosen so that the last digit moves while the machine runs
OIL_RANGE_PA = (0.0, 1600e3)
SUCTION_RANGE_PA = (0.0, 1600e3)
CRANKCASE_SHARE = 0.25  # of the sites, those with a crankcase channel

# --- sensor errors, on every site, whatever befalls its machine; shares and sizes assumed ------------------------
SOUND_SHARE = 0.70  # of the sites: no error
SECOND_SHARE = 0.25  # of those with an error: one more, of another draw
SET_UP_WRONGLY_SHARE = 0.02  # of the sites, beside that: one gauge taken for absolute, or the other way round
OFF_PA = (3e3, 12e3)  # offset of one channel, either way: a zero that nobody has set for years
STEEP = (0.010, 0.025)  # gain off by so much, either way
NOISY_PA = (1e3, 4e3)
SLOW_S = (2.0, 6.0)  # long impulse lines, or damping turned up
DEAD_BAND_PA = (1e3, 3e3)
COARSE_PA = (2e3, 5e3)  # digits of an old controller
SPIKE_CHANCE, SPIKE_PA = (2e-4, 5e-3), (20e3, 200e3)  # of each reading: a drive's or a contactor's interference
LOST_CHANCE = (0.002, 0.02)  # of each reading


class Draw:
    """Draws of one trace. sites: what `draw_site` takes its installation from."""

    def __init__(self, generator: np.random.Generator, sites: "Sites | None" = None) -> None:
        """Take draws from this generator; sites None: invented ones."""
        self._generator = generator
        self.sites = sites or invented_site

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
    behaviour: Behaviour = USUAL
    unloading: tuple[float, ...] = UNLOADING  # shares of the cylinders that may be left loaded; none: no unloading
    speeds_rpm: tuple[float, float] | None = None  # of a drive that can turn it slower; None: half to rated speed
    source: str = ""  # where the machine's figures come from, told with each trace

    @property
    def ambient_c(self) -> float:
        """Temperature of the machine room, degrees C."""
        return self.oil_temperature_c - self.behaviour.running_rise_k

    def schedule(self, *, running: bool = True) -> Schedule:
        """Return the site's schedule before anything happens."""
        return Schedule(self.speed_rpm, self.suction_pa, self.discharge_pa, self.load_pa, self.ambient_c, running)

    @property
    def start(self) -> Start:
        """The sump of the running machine, in equilibrium."""
        return Start(oil_temperature_c=self.oil_temperature_c)

    def rested(self, temperature_c: float, share: float) -> Start:
        """Return a sump that has stood at a temperature and taken up this share of what it can hold there."""
        whole = equilibrium_fraction(self.oil, self.refrigerant, temperature_c, self.load_pa)
        return Start(temperature_c, share * whole)

    @property
    def limiting_vacuum_pa(self) -> float:
        """Suction pressure at which this machine stops pulling."""
        return limiting_vacuum_pa(self.discharge_pa, self.machine.clearance_ratio, self.refrigerant.isentropic_exponent)

    @property
    def dry_pump_limit_pa(self) -> float:
        """Crankcase pressure below which a dry pump of this machine cannot draw oil."""
        return self.machine.inlet_lift_pa / self.behaviour.dry_suction

    @property
    def oil_viscosity_pa_s(self) -> float:
        """Viscosity of the sump's oil, Pa s, with what the running machine's suction leaves dissolved in it."""
        fraction = equilibrium_fraction(self.oil, self.refrigerant, self.oil_temperature_c, self.suction_pa)
        walther = walther_constants(self.oil.viscosity_40_mm2_s, self.oil.viscosity_100_mm2_s)
        pure = oil_viscosity_mm2_s(*walther, self.oil_temperature_c + ZERO_CELSIUS_K)
        thinned = diluted_viscosity_mm2_s(pure, self.refrigerant.liquid_viscosity_mm2_s, fraction)
        return 1e-6 * self.oil.density_kg_m3 * thinned

    def throttle_opening(self, plan: Schedule, suction_pa: float) -> float:
        """Return what `model.throttle_opening` does, of this site."""
        return throttle_opening(self.machine, self.refrigerant, plan, suction_pa, self.behaviour)

    def liquid_opening(self, plan: Schedule, suction_pa: float) -> float:
        """Return what `model.liquid_opening` does, of this site."""
        return liquid_opening(self.machine, self.refrigerant, plan, suction_pa, self.behaviour)

    def with_oil_sensor(self, **changes: Any) -> "Site":
        """Return the site with its oil sensor changed."""
        return replace(self, chain=replace(self.chain, oil=replace(self.chain.oil, **changes)))


def saturation_pa(refrigerant: Refrigerant, temperature_c: float) -> float:
    """Return the saturation pressure (Pa) between the table's temperatures: ln p is straight over 1/T."""
    kelvin = temperature_c + ZERO_CELSIUS_K
    i = min(max(int((kelvin - TEMPERATURES_K[0]) / 10.0), 0), len(TEMPERATURES_K) - 2)
    low, high = TEMPERATURES_K[i], TEMPERATURES_K[i + 1]
    share = (1.0 / low - 1.0 / kelvin) / (1.0 / low - 1.0 / high)
    logs = refrigerant.log_saturation
    return exp(logs[i] + share * (logs[i + 1] - logs[i]))


Sites = Callable[[Draw, Sequence[str]], Site]  # draws an installation with one of the named oils


def draw_site(draw: Draw, oils: Sequence[str] = ANY) -> Site:
    """Draw an installation with one of the named oils, from where this trace takes its sites."""
    return draw.sites(draw, oils)


def invented_site(draw: Draw, oils: Sequence[str] = ANY) -> Site:
    """Draw an installation of the invented machines, from the ranges at the top of this module."""
    machine = MACHINES[draw.one_of(tuple(MACHINES))]
    oil = OILS[draw.one_of(oils)]
    refrigerant = REFRIGERANTS[draw.one_of(tuple(REFRIGERANTS))]
    condensing_c, oil_c = draw.one_of(SEASONS)
    suction = max(saturation_pa(refrigerant, draw.between(*EVAPORATING_C)), LEAST_SUCTION_PA)
    discharge = min(saturation_pa(refrigerant, draw.between(*condensing_c)), MOST_DISCHARGE_PA)
    load = min(suction * draw.between(*LOAD_RATIO), 0.9 * discharge)
    return Site(
        machine,
        oil,
        refrigerant,
        machine.rated_speed_rpm * draw.between(*SPEED_SHARE),
        suction,
        discharge,
        load,
        draw.between(*oil_c),
        draw_chain(draw),
    )


def draw_chain(draw: Draw) -> SensorChain:
    """Draw a sensor chain: a sound one, and in the stated share of sites what is wrong with it."""
    oil = draw_sensor(draw, OIL_RANGE_PA)
    suction = draw_sensor(draw, SUCTION_RANGE_PA)
    crankcase = draw_sensor(draw, SUCTION_RANGE_PA) if draw.happens(CRANKCASE_SHARE) else None
    period_ms = draw.one_of(PERIODS_MS)
    chain = SensorChain(oil, suction, crankcase, period_ms, int(0.05 * period_ms) if draw.happens(0.5) else 0)
    return with_errors(draw, chain, SOUND_SHARE, SET_UP_WRONGLY_SHARE)


def with_errors(draw: Draw, chain: SensorChain, sound_share: float, set_up_wrongly_share: float) -> SensorChain:
    """Return a sound chain with what is drawn to be wrong with it, of so many chains as the shares say."""
    if not draw.happens(sound_share):
        chain = _with_error(draw, chain)
        if draw.happens(SECOND_SHARE):
            chain = _with_error(draw, chain)
    if draw.happens(set_up_wrongly_share):
        chain = _set_up_wrongly(draw, chain)
    return chain


def draw_sensor(draw: Draw, range_pa: tuple[float, float]) -> Sensor:
    """Draw a sound sensor of a range."""
    return Sensor(
        range_low_pa=range_pa[0],
        range_high_pa=range_pa[1],
        lag_s=draw.between(*LAG_S),
        gain=draw.between(*GAIN),
        offset_pa=draw.between(*OFFSET_PA),
        noise_pa=draw.log_between(*NOISE_PA),
        resolution_pa=draw.one_of(RESOLUTIONS_PA),
    )


def _either_way(draw: Draw, size: tuple[float, float]) -> float:
    return draw.between(*size) * (1.0 if draw.happens(0.5) else -1.0)


# What may be wrong with a channel, each with the draws that it takes.
ERRORS: dict[str, Callable[[Draw], dict[str, float]]] = {
    "offset": lambda draw: {"offset_pa": _either_way(draw, OFF_PA)},
    "gain": lambda draw: {"gain": 1.0 + _either_way(draw, STEEP)},
    "noise": lambda draw: {"noise_pa": draw.between(*NOISY_PA)},
    "lag": lambda draw: {"lag_s": draw.between(*SLOW_S)},
    "dead band": lambda draw: {"dead_band_pa": draw.between(*DEAD_BAND_PA)},
    "coarse digits": lambda draw: {"resolution_pa": draw.between(*COARSE_PA)},
    "interference": lambda draw: {
        "spike_chance": draw.log_between(*SPIKE_CHANCE),
        "spike_pa": draw.log_between(*SPIKE_PA),
    },
    "lost readings": lambda draw: {"lost_chance": draw.between(*LOST_CHANCE)},
}


def _with_error(draw: Draw, chain: SensorChain) -> SensorChain:
    """Return the chain with an error of its oil sensor, its suction sensor or both, which alike is drawn."""
    kind = draw.one_of(tuple(ERRORS))
    where = draw.one_of(("oil", "suction", "both"))
    changes: dict[str, Any] = {"errors": (*chain.errors, f"{where} {kind}")}
    for name in ("oil", "suction"):
        if where in (name, "both"):
            changes[name] = replace(getattr(chain, name), **ERRORS[kind](draw))
    return replace(chain, **changes)


def _set_up_wrongly(draw: Draw, chain: SensorChain) -> SensorChain:
    """Return the chain with the pressure of one channel off by an atmosphere."""
    name = draw.one_of(("oil", "suction"))
    higher = draw.happens(0.5)
    told = f"{name} {'absolute taken for gauge' if higher else 'gauge taken for absolute'} pressure"
    sensor = replace(getattr(chain, name), offset_pa=ATMOSPHERE_PA if higher else -ATMOSPHERE_PA)
    changes: dict[str, Any] = {name: sensor, "errors": (*chain.errors, told)}
    return replace(chain, **changes)
