"""What follows from a machine file, what it rests on, and where a settings file contradicts it."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np

from protect.ranges import REST_OFF
from replay.ground.units import atmosphere_pa
from replay.machine.file import MachineFile
from replay.machine.keys import ROWS
from replay.physics import layout as at
from replay.physics.crankshaft import floor_pressure_pa
from replay.physics.drawing import Draw, Site
from replay.physics.model import equilibrium_fraction, parameters
from replay.physics.simulate import random_of_trace
from replay.settings import Settings

SCHEMA = "lubetrip-machine/1"
ATMOSPHERES_PA = 1000.0  # by which two sites may differ, some 80 m: a fifth of an inch of mercury (assumed)
FITTED = "fitted"  # of a key that the runs of a fit have told something of
DRAWS, SEED = 60, 1
SHARE = "share"
ABSOLUTE = "Pa abs"  # unit of an absolute pressure; those in "Pa" are differences
LOW, HIGH = 5.0, 95.0  # percentiles of what is drawn


@dataclass(frozen=True)
class Derived:
    """A figure that follows from the file: 5, 50 and 95 % of what its draws come to, in SI units."""

    name: str
    unit: str
    low: float
    middle: float
    high: float
    text: str


@dataclass(frozen=True)
class Checked:
    """A machine file looked through.

    contradictions: with the settings, in words. status: measured, published, fitted or assumed by key.
    """

    machine: MachineFile
    settings: Settings | None
    derived: tuple[Derived, ...]
    contradictions: tuple[str, ...]
    left_out: dict[str, str]

    @property
    def status(self) -> dict[str, str]:
        """What stands behind each key that is used."""
        found = {row.path: self.machine.status(row.path) for row in ROWS}
        members = self.machine.members
        told = set(members[0]) - set(self.machine.fitted.get("not_told", ())) if members else set()
        return {path: FITTED if path in told else its for path, its in found.items() if its}

    def as_json(self) -> dict[str, Any]:
        """Return the report in the form of its schema."""
        return {
            "schema": SCHEMA,
            "machine": {"file": self.machine.file, "name": self.machine.name, "digest": self.machine.digest},
            "settings": None if self.settings is None else self.settings.as_json(),
            "derived": [vars(one) for one in self.derived],
            "status": self.status,
            "left_out": self.left_out,
            "contradictions": list(self.contradictions),
        }


def check_machine(machine: MachineFile, settings: Settings | None = None) -> Checked:
    """Return what follows from a machine file, and where settings contradict it."""
    sites = [machine.site(Draw(random_of_trace(SEED, (i,)))) for i in range(DRAWS)]
    derived = {name: _derived(name, sites) for name in FIGURES}
    return Checked(
        machine,
        settings,
        tuple(derived.values()),
        () if settings is None else (*_of_altitude(settings, machine), *_contradictions(settings, sites, derived)),
        machine.left_out(),
    )


def _floor(site: Site) -> float:
    machine = site.machine
    return floor_pressure_pa(
        machine.drilling_inlet_m, machine.drilling_outlet_m, site.oil.density_kg_m3, site.speed_rpm
    )


def _kernel(site: Site) -> Any:
    return parameters(site.machine, site.oil, site.refrigerant, site.schedule(), behaviour=site.behaviour)


def _load(site: Site) -> float:
    """Return the specific load of the crankpin at the design point, Pa."""
    machine = site.machine
    area = 2.0 * machine.journal_radius_m * machine.journal_length_m
    return float(machine.piston_area_per_pin_m2 * _kernel(site)[at.P_RATED_MEP] / area)


def _safety(site: Site) -> float:
    """Return the Sommerfeld number in running over the one at which a pessimistic pin touches."""
    p = _kernel(site)
    speed = site.speed_rpm / site.machine.rated_speed_rpm
    return float(p[at.P_SOMMERFELD_SCALE] * site.oil_viscosity_pa_s * speed / p[at.P_LEAST_SOMMERFELD])


def _pull_down(site: Site) -> float:
    p = _kernel(site)
    return float(p[at.P_CRANKCASE_CAPACITY] * site.suction_pa / p[at.P_DESIGN_FLOW])


def _evaporator(site: Site) -> float:
    p = _kernel(site)
    return float(p[at.P_EVAPORATOR_CAPACITY] * site.suction_pa / p[at.P_DESIGN_FLOW])


def _dissolved(site: Site) -> float:
    return equilibrium_fraction(site.oil, site.refrigerant, site.oil_temperature_c, site.suction_pa)


def _rested(site: Site) -> float:
    return site.rested(site.ambient_c, 1.0).dissolved_fraction or 0.0


FIGURES: dict[str, tuple[str, Callable[[Site], float], str]] = {
    "floor pressure": ("Pa", _floor, "net oil pressure that the crank drilling needs before oil reaches the pins"),
    "healthy net pressure": ("Pa", lambda site: site.behaviour.healthy_net_pa, "held by the relief valve"),
    "suction pressure": (ABSOLUTE, lambda site: site.suction_pa, "running"),
    "discharge pressure": (ABSOLUTE, lambda site: site.discharge_pa, "running"),
    "limiting vacuum": (ABSOLUTE, lambda site: site.limiting_vacuum_pa, "suction at which it moves no more gas"),
    "dry pump limit": (ABSOLUTE, lambda site: site.dry_pump_limit_pa, "suction below which a dry pump stays dry"),
    "rated load": ("Pa", _load, "on the projected area of the crankpin at the design point"),
    "film in hand": ("", _safety, "Sommerfeld number over the one at which a pessimistic pin touches"),
    "oil viscosity": ("Pa s", lambda site: site.oil_viscosity_pa_s, "in running, with what is dissolved in it"),
    "refrigerant in running oil": (SHARE, _dissolved, "by mass, at rest with suction"),
    "refrigerant after a cold night": (SHARE, _rested, "by mass, sump as cold as the room"),
    "crankcase pull-down": ("s", _pull_down, "time constant with the suction valve shut"),
    "evaporator pull-down": ("s", _evaporator, "time constant with the liquid valve shut"),
    "gas release": ("s", lambda site: site.oil.release_time_s, "through the stirred surface, to 1/e"),
    "sump warming": ("s", lambda site: site.behaviour.warming_time_s, "time constant of the oil's temperature"),
    "oil passage": ("s", lambda site: site.behaviour.passage_time_s[1], "dry passages to a likely journal fill"),
}


def _derived(name: str, sites: list[Site]) -> Derived:
    unit, of, text = FIGURES[name]
    low, middle, high = np.percentile([of(site) for site in sites], (LOW, 50.0, HIGH))
    return Derived(name, unit, float(low), float(middle), float(high), text)


def _contradictions(settings: Settings, sites: list[Site], derived: dict[str, Derived]) -> list[str]:
    """Return, in words, what in the settings cannot be meant for this machine."""
    of, found, net, gauge = settings.named, [], settings.units.net, _gauge(settings)
    floor, healthy = derived["floor pressure"], derived["healthy net pressure"]
    vacuum, suction = derived["limiting vacuum"], derived["suction pressure"]
    if of["cut_out"] <= floor.high:
        found.append(
            f"cut_out {net(of['cut_out'])} is not above the floor pressure of up to {net(floor.high)}: "
            "pins may run without oil and nothing is counted"
        )
    if of["floor"] < floor.middle:
        found.append(
            f"floor {net(of['floor'])} lies below the floor pressure of {net(floor.middle)}: "
            "what it needs to reach the pins is counted as if it did"
        )
    if of["cut_in"] >= healthy.low:
        found.append(
            f"cut_in {net(of['cut_in'])} is not below a healthy net pressure of {net(healthy.low)}: "
            "a sound machine may never count as healthy"
        )
    if of["vacuum"] <= vacuum.low:
        found.append(
            f"vacuum {gauge(of['vacuum'])} lies below what the machine can pull ({gauge(vacuum.low)}): it never counts"
        )
    if of["reload"] >= suction.low:
        found.append(
            f"reload {gauge(of['reload'])} is not below a running suction of {gauge(suction.low)}: "
            "a machine at work may never count as reloaded"
        )
    return found + _of_sensors(of, sites, gauge)


def _of_altitude(settings: Settings, machine: MachineFile) -> list[str]:
    """Return, in words, that the settings count gauges from another atmosphere than is stated of the machine."""
    if machine.status("site.altitude") in ("", "assumed"):
        return []
    atmospheres = [atmosphere_pa(above) for above in (settings.altitude_m, machine.altitude_m)]
    if abs(atmospheres[0] - atmospheres[1]) <= ATMOSPHERES_PA:
        return []
    off = settings.units.net(abs(atmospheres[0] - atmospheres[1]))
    return [
        f"altitude {settings.altitude_m:g} m, where the machine stands at {machine.altitude_m:.0f} m: "
        f"vacuum and reload are off by {off} on its gauges"
    ]


def _gauge(settings: Settings) -> Callable[[float], str]:
    """Return what shows an absolute pressure (Pa) as a gauge of the settings' site does."""
    return lambda pascals: settings.units.suction(pascals, settings.altitude_m)


def _of_sensors(of: dict[str, int], sites: list[Site], gauge: Callable[[float], str]) -> list[str]:
    """Return what in the settings cannot be meant for the machine's sensors; those in error do not count."""
    found, sound = [], [site for site in sites if not site.chain.errors]
    standing = max(site.load_pa for site in sites)
    highest = max(
        standing, *(site.suction_pa + site.behaviour.healthy_net_pa for site in sites)
    )  # at rest both read it
    if of["oil_most"] < highest:
        found.append(f"oil_range ends at {gauge(of['oil_most'])}, oil pressure comes to {gauge(highest)}")
    if of["suction_most"] < standing:
        found.append(f"suction_range ends at {gauge(of['suction_most'])}, a standing machine has {gauge(standing)}")
    period_ms = max(site.chain.period_ms for site in sites)
    if of["max_gap"] < period_ms:
        found.append(f"max_gap {of['max_gap']} ms is shorter than a period of {period_ms} ms: every reading is late")
    still = [site.chain.oil for site in sound if site.chain.oil.stands_still]
    if still:
        one = still[0]
        found.append(
            f"stuck_after: digits of {one.resolution_pa:.0f} Pa hide a noise of {one.noise_pa:.0f} Pa: "
            "a sound reading may stand still and count as stuck"
        )
    if of["rest_most"] != REST_OFF and any(2.0 * abs(site.chain.oil.offset_pa) > of["rest_most"] for site in sound):
        found.append(f"rest_most {gauge(of['rest_most'])} is less than two sound sensors may be apart")
    return found
