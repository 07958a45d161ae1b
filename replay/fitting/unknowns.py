"""What a fit may move: each unknown with its range, and a machine from values of them.

An unknown is searched as z, a deviate of unit spread: z = 0 is the value in the middle of what its description says,
and the normal distribution's share of z is its place between that and the ends of the range, evenly or evenly in the
logarithm. So every range is bounded, and what runs tell of an unknown is how much narrower than 1 the spread of its z
has become.

A figure that the machine file states is known, a range that it states is its range. Of what it leaves out the ranges
here are wider than those that traces are drawn from, since a fit is there to find out; those of behaviour are the
ones of `replay.physics.behaviour`, the others are assumed.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from replay.fitting.runs import Run
from replay.machine.draw import GRAVITY_M_S2
from replay.machine.keys import Range
from replay.physics.behaviour import TABLE
from replay.physics.drawing import Site
from replay.physics.machines import FOAMING_FROM

Vector = NDArray[np.float64]

WIDE = 3.0  # from this ratio of its ends on, a range is even in the logarithm
MOST_Z = 3.5
# What the pressures hang on of the behaviour; bearings, and oil that is lost for good, leave no trace in them.
OF_BEHAVIOUR = (
    "blow_by_share", "vent_drop", "evaporation_heat_j_kg", "casing_heat", "standing_share", "coarsening_volumes",
    "coarse_memory_s", "pocket_limit", "bubble_rise_s", "relief_span", "leakage_share", "pin_share", "slip_share",
    "screen_drop_pa", "inlet_share", "capillary_pa", "evolution_time_s", "nucleation_time_s", "slug_from_cover",
    "slug_to_cover", "gas_carried", "seal_share", "dry_intake", "wet_suction", "dry_suction", "drying_time_s",
    "wetting_time_s", "wetting_void", "pressure_lag_s", "foam_lag_s", "acceleration_time_s", "coast_time_s",
)  # fmt: skip
# Of an oil, by whether it foams.
OF_OIL: dict[bool, dict[str, Range]] = {
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
OF_MACHINE = {"inlet_pocket_m3": (0.5, 2.0), "inlet_lift_pa": (0.6, 1.6)}  # times what its file has in the middle
# Of the sensors: offsets in Pa, gains, lags in s: the ends and the middle.
OF_SENSORS = {
    "oil_offset_pa": (-12e3, 0.0, 12e3), "suction_offset_pa": (-12e3, 0.0, 12e3), "oil_gain": (0.985, 1.0, 1.015),
    "suction_gain": (0.985, 1.0, 1.015), "oil_lag_s": (0.05, 0.25, 6.0), "suction_lag_s": (0.05, 0.25, 6.0),
}  # fmt: skip
OIL_C = 8.0  # of a run: the sump's temperature about what the machine file or the log says, either way
LOGGED_OIL_C = 2.0
SHARE_RUNNING = (0.9, 1.0, 1.1)  # refrigerant dissolved at the run's beginning, share of equilibrium
SHARE_STANDING = (0.4, 0.8, 1.1)
# Keys of a machine file that are called otherwise in the model.
KEYS = {
    "machine inlet_pocket_m3": "compressor.inlet_pocket",
    "machine inlet_lift_pa": "compressor.inlet_lift",
    "behaviour healthy_net_pa": "compressor.healthy_net_pressure",
}


@dataclass(frozen=True)
class Unknown:
    """One unknown: part is "oil", "machine", "behaviour", "sensors" or "run N"; its range in SI units."""

    part: str
    name: str
    low: float
    middle: float
    high: float

    @property
    def key(self) -> str:
        """Its name with its part."""
        return f"{self.part} {self.name}"

    @property
    def path(self) -> str:
        """Its key of a machine file, "" for one that is a run's or a sensor's."""
        if self.part not in ("oil", "machine", "behaviour"):
            return ""
        return KEYS.get(self.key) or f"{self.part}.{self.name.removesuffix('_s') if self.part == 'oil' else self.name}"

    def value(self, share: float) -> float:
        """Return the value at a share (0..1) of what may be: at a half, the middle."""
        low, high = (self.low, self.middle) if share < 0.5 else (self.middle, self.high)  # noqa: PLR2004 - a half
        between = 2.0 * share if share < 0.5 else 2.0 * share - 1.0  # noqa: PLR2004
        if self.low > 0.0 and self.high / self.low >= WIDE:
            return float(low * (high / low) ** between)
        return float(low + (high - low) * between)


class RunStart(NamedTuple):
    """The sump at a run's beginning: degrees C, refrigerant dissolved as a share of equilibrium."""

    oil_c: float
    share: float


def unknowns_of(site: Site, stated: Mapping[str, Any], runs: Sequence[Run]) -> tuple[Unknown, ...]:
    """Return what is unknown of a site and of runs on it; stated: figures of its file, as `MachineFile` has them."""
    foams = site.oil.foam_share > FOAMING_FROM
    usual: list[tuple[str, Any, dict[str, Range]]] = [
        ("oil", site.oil, OF_OIL[foams]),
        (
            "machine",
            site.machine,
            {name: _times(ends, getattr(site.machine, name)) for name, ends in OF_MACHINE.items()},
        ),
        ("behaviour", site.behaviour, {name: TABLE[name][:2] for name in ("healthy_net_pa", *OF_BEHAVIOUR)}),
    ]
    found = []
    for part, of, ranges in usual:
        for name, ends in ranges.items():
            one = Unknown(part, name, ends[0], getattr(of, name), ends[1])
            own = stated.get(one.path)
            low, high = ends if own is None else _times(own, _lift(site) if name == "inlet_lift_pa" else 1.0)
            found.append(replace(one, low=min(low, one.middle), high=max(high, one.middle)))
    found += [Unknown("sensors", name, *ends) for name, ends in OF_SENSORS.items()]
    for number, run in enumerate(runs, start=1):
        found += run_unknowns(site, run, f"run {number}")
    return tuple(one for one in found if one.low < one.high)


def run_unknowns(site: Site, run: Run, part: str) -> list[Unknown]:
    """Return what is unknown of a run's beginning."""
    middle, off = (site.oil_temperature_c, OIL_C) if run.oil_c is None else (run.oil_c, LOGGED_OIL_C)
    shares = SHARE_RUNNING if run.begins_running else SHARE_STANDING
    return [Unknown(part, "oil_c", middle - off, middle, middle + off), Unknown(part, "share", *shares)]


def _times(ends: Range, factor: float) -> Range:
    return ends[0] * factor, ends[1] * factor


def _lift(site: Site) -> float:
    """Return what makes Pa of a height of oil in m."""
    return site.oil.density_kg_m3 * GRAVITY_M_S2


def values_of(unknowns: Sequence[Unknown], z: Vector) -> dict[str, float]:
    """Return the values by `Unknown.key` of deviates z, float64[n]."""
    from scipy.special import ndtr

    return {one.key: one.value(float(share)) for one, share in zip(unknowns, ndtr(z), strict=True)}


def figures_of(site: Site, unknowns: Sequence[Unknown], z: Vector) -> dict[str, float]:
    """Return the values that a machine file can hold, by its keys and in the units that it is read into."""
    values = values_of(unknowns, z)
    found = {one.path: values[one.key] for one in unknowns if one.path}
    if "compressor.inlet_lift" in found:
        found["compressor.inlet_lift"] /= _lift(site)
    return found


def site_with(site: Site, values: Mapping[str, float]) -> Site:
    """Return a site with values (by `Unknown.key`) of its oil, machine, behaviour and sensors."""
    parts: dict[str, dict[str, Any]] = {}
    for key, value in values.items():
        part, _, name = key.rpartition(" ")
        parts.setdefault(part, {})[name] = value
    chain = site.chain
    for name in ("oil", "suction"):
        sensors = parts.get("sensors", {}).items()
        own = {key.removeprefix(f"{name}_"): value for key, value in sensors if key.startswith(f"{name}_")}
        fields: dict[str, Any] = {name: replace(getattr(chain, name), **own)}
        chain = replace(chain, **fields)
    return replace(
        site,
        oil=replace(site.oil, **parts.get("oil", {})),
        machine=replace(site.machine, **parts.get("machine", {})),
        behaviour=replace(site.behaviour, **parts.get("behaviour", {})),
        chain=chain,
    )


def start_of(values: Mapping[str, float], number: int) -> RunStart:
    """Return how a run (counted from 1) began, by values of `Unknown.key`."""
    return RunStart(values[f"run {number} oil_c"], values[f"run {number} share"])
