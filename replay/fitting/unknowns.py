"""What a fit may move: each unknown with its range, and a machine from values of them.

An unknown is searched as z, a deviate of unit spread: the normal distribution's share of z is its place in the range,
evenly or evenly in the logarithm. So every range is bounded, nothing known beyond it is a z of spread 1 about nought, and
what runs tell of an unknown is how much narrower its z has become.

Ranges of behaviour are those of `replay.physics.behaviour`. Those of oils, pump and sensors here are assumed.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from replay.fitting.runs import Run
from replay.physics.behaviour import TABLE
from replay.physics.drawing import Site
from replay.physics.machines import FOAMING_FROM

Vector = NDArray[np.float64]

WIDE = 3.0  # from this ratio of its ends on, a range is even in the logarithm
MOST_Z = 3.5
# What the pressures hang on of the behaviour; bearings, and oil that is lost for good, leave no trace in them.
OF_BEHAVIOUR = (
    "blow_by_share", "vent_drop", "evaporation_heat_j_kg", "casing_heat", "standing_share", "coarsening_volumes",
    "coarse_memory_s", "bubble_rise_s", "healthy_net_pa", "relief_span", "leakage_share", "pin_share", "slip_share",
    "screen_drop_pa", "inlet_share", "capillary_pa", "evolution_time_s", "nucleation_time_s", "slug_from_cover",
    "slug_to_cover", "gas_carried", "seal_share", "dry_intake", "wet_suction", "dry_suction", "drying_time_s",
    "wetting_time_s", "wetting_void", "pressure_lag_s", "foam_lag_s", "acceleration_time_s", "coast_time_s",
)  # fmt: skip
# Of an oil, by whether it foams; assumed.
OF_OIL = {
    False: {
        "foam_share": (0.004, 0.06), "foam_life_s": (0.1, 1.0), "release_time_s": (120.0, 900.0),
        "absorption_time_s": (300.0, 2000.0), "held_volumes": (1.5, 5.5), "boil_time_s": (1.5, 12.0),
        "touching_void": (0.40, 0.65), "gathering": (0.2, 0.9),
    },
    True: {
        "foam_share": (0.4, 0.95), "foam_life_s": (150.0, 1800.0), "release_time_s": (120.0, 900.0),
        "absorption_time_s": (250.0, 1500.0), "held_volumes": (0.0, 0.6), "boil_time_s": (4.0, 30.0),
        "touching_void": (0.60, 0.82), "gathering": (0.1, 0.6),
    },
}  # fmt: skip
# Of the machine, times what its description says; assumed.
OF_MACHINE = {"inlet_pocket_m3": (0.5, 2.0), "inlet_lift_pa": (0.6, 1.6), "pump_sweep_m3_s": (0.85, 1.18)}
# Of the sensors: offsets in Pa, gains, lags in s; assumed.
OF_SENSORS = {
    "oil_offset_pa": (-12e3, 12e3), "suction_offset_pa": (-12e3, 12e3), "oil_gain": (0.985, 1.015),
    "suction_gain": (0.985, 1.015), "oil_lag_s": (0.05, 5.0), "suction_lag_s": (0.05, 2.0),
}  # fmt: skip
OIL_C = 8.0  # of a run, assumed: the sump's temperature about what its description or the log says, either way
LOGGED_OIL_C = 2.0
SHARE_RUNNING = (0.9, 1.1)  # assumed: refrigerant dissolved at the run's beginning, share of equilibrium
SHARE_STANDING = (0.4, 1.1)


@dataclass(frozen=True)
class Unknown:
    """One unknown: part is "oil", "machine", "behaviour", "sensors" or "run N"; the ends of its range in SI units."""

    part: str
    name: str
    low: float
    high: float

    @property
    def key(self) -> str:
        """Its name with its part."""
        return f"{self.part} {self.name}"

    @property
    def logarithmic(self) -> bool:
        """Whether its range is even in the logarithm."""
        return self.low > 0.0 and self.high / self.low >= WIDE

    def value(self, share: float) -> float:
        """Return the value at a share (0..1) of the range."""
        if self.logarithmic:
            return float(self.low * (self.high / self.low) ** share)
        return float(self.low + (self.high - self.low) * share)


class RunStart(NamedTuple):
    """The sump at a run's beginning: degrees C, refrigerant dissolved as a share of equilibrium."""

    oil_c: float
    share: float


@dataclass(frozen=True)
class Candidate:
    """One machine that may have made the runs: its site, and how each run began."""

    site: Site
    starts: tuple[RunStart, ...]


def unknowns_of(site: Site, runs: Sequence[Run], known: Mapping[str, tuple[float, float]] | None = None) -> list[Unknown]:
    """Return what is unknown of a site and of runs on it.

    known: ranges by `Unknown.key` that take the place of those here; one of no width makes it known.
    """
    foams = site.oil.foam_share > FOAMING_FROM
    found = [Unknown("oil", name, *ends) for name, ends in OF_OIL[foams].items()]
    found += [
        Unknown("machine", name, low * getattr(site.machine, name), high * getattr(site.machine, name))
        for name, (low, high) in OF_MACHINE.items()
    ]
    found += [Unknown("behaviour", name, TABLE[name].low, TABLE[name].high) for name in OF_BEHAVIOUR]
    found += [Unknown("sensors", name, *ends) for name, ends in OF_SENSORS.items()]
    for number, run in enumerate(runs, start=1):
        found += run_unknowns(site, run, f"run {number}")
    ranged = (replace(one, low=ends[0], high=ends[1]) if (ends := (known or {}).get(one.key)) else one for one in found)
    return [one for one in ranged if one.low < one.high]


def run_unknowns(site: Site, run: Run, part: str) -> list[Unknown]:
    """Return what is unknown of a run's beginning."""
    middle, off = (site.oil_temperature_c, OIL_C) if run.oil_c is None else (run.oil_c, LOGGED_OIL_C)
    shares = SHARE_RUNNING if run.begins_running else SHARE_STANDING
    return [Unknown(part, "oil_c", middle - off, middle + off), Unknown(part, "share", *shares)]


def values_of(unknowns: Sequence[Unknown], z: Vector) -> dict[str, float]:
    """Return the values by `Unknown.key` of deviates z, float64[n]."""
    from scipy.special import ndtr

    return {one.key: one.value(float(share)) for one, share in zip(unknowns, ndtr(z), strict=True)}


def candidate(site: Site, count: int, values: Mapping[str, float]) -> Candidate:
    """Return the site with values of its unknowns (by `Unknown.key`), and the starts of so many runs.

    Raises ValueError for a behaviour that contradicts itself.
    """
    parts: dict[str, dict[str, float]] = {}
    for key, value in values.items():
        part, _, name = key.rpartition(" ")
        parts.setdefault(part, {})[name] = value
    starts = tuple(RunStart(**parts[f"run {number}"]) for number in range(1, count + 1))
    return Candidate(changed(site, parts), starts)


def changed(site: Site, parts: Mapping[str, Mapping[str, float]]) -> Site:
    """Return a site with other values of its oil, machine, behaviour and sensors."""
    sensors, chain = parts.get("sensors", {}), site.chain
    for name in ("oil", "suction"):
        own = {key.removeprefix(f"{name}_"): value for key, value in sensors.items() if key.startswith(f"{name}_")}
        chain = replace(chain, **{name: replace(getattr(chain, name), **own)})
    return replace(
        site,
        oil=replace(site.oil, **parts.get("oil", {})),
        machine=replace(site.machine, **parts.get("machine", {})),
        behaviour=replace(site.behaviour, **parts.get("behaviour", {})),
        chain=chain,
    )
