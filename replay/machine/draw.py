"""A site drawn from a machine file: what is stated as it stands, what is left out from its assumed range.

Every figure takes one number of the trace's own, in the order of the table of keys, whether it needs it or not: to
state one more leaves all others of a seed as they were.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import fields, replace
from functools import lru_cache
from typing import Any

from replay.machine.keys import FIGURES, Range
from replay.machine.oils import CHI, CLASS, DENSITY, MOLAR_MASS, OF_FOAMING, OF_STILL, usual_kind
from replay.machine.refrigerants import Gas, gases
from replay.machine.solubility import Point, Solution, fitted, of_chi, table_of
from replay.physics import OILS, REFRIGERANTS, Machine, Oil, Sensor, SensorChain
from replay.physics.arithmetic import LN10, log, power
from replay.physics.behaviour import ORDERED, USUAL, Behaviour
from replay.physics.drawing import (
    CRANKCASE_SHARE,
    PERIODS_MS,
    SET_UP_WRONGLY_SHARE,
    SOUND_SHARE,
    UNLOADING,
    Draw,
    Site,
    with_errors,
)
from replay.physics.viscosity import ZERO_CELSIUS_K, oil_viscosity_mm2_s, walther_constants

GRAVITY_M_S2 = 9.80665
SPREAD = 0.1  # assumed: values of the behaviour that are left out lie within this share of the usual ones
VARIED = 0.9  # a range of speeds whose lower end lies below this share of its upper one is a drive's
BETWEEN_PER_CHI = 0.8  # ln p moves by so much of a move of chi, in the middle of the table
HALF = 0.5
LEAST_RISE = 1.05  # of the standing evaporator over what the open suction valve takes


class Fixed(Draw):
    """Draws that are all alike: at this share of every range, and nothing by chance."""

    def __init__(self, share: float) -> None:
        """Take this share, 0 to 1, of every range."""
        self.share = share

    def between(self, low: float, high: float) -> float:
        """Return the share of the way from low to high."""
        return low + (high - low) * self.share

    def one_of(self, choices: Sequence[Any]) -> Any:
        """Return the choice at the share."""
        return choices[min(int(self.share * len(choices)), len(choices) - 1)]

    def happens(self, chance: float) -> bool:
        """Return whether it is likelier than not."""
        return chance > HALF


class Figures:
    """The figures of one trace: stated, or of what they are drawn from where they are left out."""

    def __init__(self, stated: Mapping[str, Any], draw: Draw) -> None:
        """Take one number for each figure there is."""
        self.stated = stated
        self.shares = {path: draw.between(0.0, 1.0) for path in FIGURES}

    def __contains__(self, path: str) -> bool:
        """Tell whether a key is stated."""
        return path in self.stated

    def of(self, path: str, basis: float = 1.0, instead: Range | None = None) -> float:
        """Return a figure; basis: what its range is times, instead: the range where it is left out."""
        low, high = self.range_of(path, basis, instead)
        return low + (high - low) * self.shares[path]

    def range_of(self, path: str, basis: float = 1.0, instead: Range | None = None) -> Range:
        """Return what a figure lies in."""
        if path in self.stated:
            low, high = self.stated[path]
            return float(low), float(high)
        if instead is None:
            drawn = FIGURES[path].drawn
            if drawn is None:
                raise KeyError(path)
            instead = (drawn.low, drawn.high)
        return instead[0] * basis, instead[1] * basis


def site_of(stated: Mapping[str, Any], draw: Draw, oils: Sequence[str], source: str) -> Site:
    """Draw a site; stated: figures and words of a machine file by path; oils: names of invented ones it may be like."""
    figures = Figures(stated, draw)
    gas = gases()[stated["refrigerant.name"]]
    machine = _machine(figures)
    oil = _oil(figures, gas, draw, oils)
    behaviour = behaviour_of(figures, gas)
    machine = replace(machine, inlet_lift_pa=machine.inlet_lift_pa * oil.density_kg_m3 * GRAVITY_M_S2)
    condensing_c = figures.of("site.condensing")
    suction = gas.evaporating_pa(figures.of("site.evaporating") + ZERO_CELSIUS_K)
    discharge = gas.condensing_pa(condensing_c + ZERO_CELSIUS_K)
    load = min(suction * figures.of("site.standing_ratio"), 0.95 * discharge)
    load = max(load, LEAST_RISE * (1.0 + behaviour.valve_drop) * suction)
    speeds = figures.range_of("compressor.speed", machine.rated_speed_rpm)
    refrigerant = REFRIGERANTS.get(gas.name, gas.refrigerant)
    return Site(
        machine,
        oil,
        refrigerant,
        figures.of("compressor.speed", machine.rated_speed_rpm),
        suction,
        discharge,
        load,
        _oil_temperature_c(figures, behaviour, condensing_c),
        _chain(figures, draw, discharge + behaviour.healthy_net_pa),
        behaviour,
        stated.get("compressor.unloading", UNLOADING),
        speeds if speeds[0] < VARIED * speeds[1] else None,
        source,
    )


def displacement_range(stated: Mapping[str, Any]) -> Range:
    """Return the displacement at rated speed, m3/s, as stated or by bore, stroke, cylinders and speed."""
    if "compressor.displacement" in stated:
        low, high = stated["compressor.displacement"]
        return low, high
    bores, strokes, speeds = (stated[f"compressor.{key}"] for key in ("bore", "stroke", "rated_speed"))
    low, high = (
        math.pi / 4.0 * bores[i] * bores[i] * strokes[i] * stated["compressor.cylinders"] * speeds[i] / 60.0
        for i in (0, 1)
    )
    return low, high


def _machine(figures: Figures) -> Machine:
    """Return the machine; its inlet lift is a height in m still."""
    stated = figures.stated
    low, high = displacement_range(stated)
    displacement = low + (high - low) * figures.shares["compressor.displacement"]
    length = power(displacement, 1.0 / 3.0)
    outlet = _outlet_m(figures, length)
    radius = figures.of("compressor.journal_radius", length)
    if "compressor.journal_length" in figures:
        long = figures.of("compressor.journal_length")
    else:  # L/D is one of those whose films are tabulated
        long = radius * (1.0 if figures.shares["compressor.journal_length"] < HALF else 2.0)
    if "compressor.bore" in figures:
        bore = figures.of("compressor.bore")
        area = math.pi / 4.0 * bore * bore * figures.of("compressor.pistons_per_pin")
    else:
        area = (0.20 + 0.06 * figures.shares["compressor.pistons_per_pin"]) * displacement
    sweep = figures.of("compressor.oil_pump_sweep", displacement)
    return Machine(
        stated["name"],
        figures.of("compressor.rated_speed"),
        displacement,
        figures.of("compressor.clearance"),
        area,
        figures.of("compressor.crankcase_volume", displacement),
        figures.of("compressor.evaporator_volume", displacement),
        figures.of("compressor.oil_charge", displacement),
        sweep,
        figures.of("compressor.inlet_pocket", sweep),
        figures.of("compressor.inlet_lift", length),
        figures.of("compressor.drilling_inlet", outlet),
        outlet,
        radius,
        long,
        figures.of("compressor.journal_clearance", radius),
    )


def _outlet_m(figures: Figures, length: float) -> float:
    if "compressor.stroke" in figures:
        return figures.of("compressor.drilling_outlet", 0.5 * figures.of("compressor.stroke"))
    return figures.of("compressor.drilling_outlet", length, (0.095, 0.145))


def _oil_temperature_c(figures: Figures, behaviour: Behaviour, condensing_c: float) -> float:
    if "site.oil_temperature" in figures:
        return figures.of("site.oil_temperature")
    ambient = figures.of("site.ambient")
    if "site.ambient" not in figures:
        ambient += condensing_c
    return min(ambient + behaviour.running_rise_k, 95.0)


def behaviour_of(figures: Figures, gas: Gas) -> Behaviour:
    """Return what the machine does: stated, the refrigerant's, and the rest within a share of the usual."""
    _, spread = figures.range_of("behaviour.spread", 1.0, (SPREAD, SPREAD))
    values: dict[str, Any] = {}
    for field in fields(Behaviour):
        path = f"behaviour.{field.name}"
        usual = getattr(USUAL, field.name)
        each = usual if isinstance(usual, tuple) else (usual,)
        middle = each[len(each) // 3]  # of three columns the likely one, of two kinds the crankpin
        if field.name == "healthy_net_pa":
            value = figures.of("compressor.healthy_net_pressure")
        elif path in figures:
            value = figures.of(path)
        else:
            if field.name == "evaporation_heat_j_kg":
                middle = gas.evaporation_heat_j_kg
            value = middle * (1.0 + spread * (2.0 * figures.shares[path] - 1.0)) if _varies(field.name) else middle
        moved = tuple(one * value / middle for one in each)
        values[field.name] = moved if isinstance(usual, tuple) else value
    if not {"behaviour.slug_from_cover", "behaviour.pocket_limit"} <= set(figures.stated):  # else as stated: no slugs
        values["slug_from_cover"] = min(values["slug_from_cover"], 0.97 * values["pocket_limit"])
    for lower, upper in ORDERED:  # drawn apart they may cross; `limits` refuses those that are stated so
        values[lower] = min(values[lower], 0.95 * values[upper])
    return Behaviour(**values)


def _varies(name: str) -> bool:
    """Tell whether a value differs from machine to machine: what ends a spell is a convention of the label."""
    return name not in ("onset_share", "spell_over_reserve", "spell_over_heat", "least_oil", "gas_temperature_k")


def viscosities(figures: Figures) -> tuple[float, float]:
    """Return the viscosity at 40 and 100 C, mm2/s."""
    if "oil.viscosity_points" in figures:
        (t1, v1), (t2, v2) = figures.stated["oil.viscosity_points"]
        a, b = _walther(t1 + ZERO_CELSIUS_K, v1, t2 + ZERO_CELSIUS_K, v2)
        return oil_viscosity_mm2_s(a, b, 313.15), oil_viscosity_mm2_s(a, b, 373.15)
    at_40 = figures.of("oil.viscosity_40", figures.of("oil.grade"))
    return at_40, max(figures.of("oil.viscosity_100", power(at_40, 0.633)), 2.05)


def _walther(t1: float, v1: float, t2: float, v2: float) -> tuple[float, float]:
    """Return `walther_constants` from any two temperatures in K."""
    if (t1, t2) == (313.15, 373.15):
        return walther_constants(v1, v2)
    w1, w2 = (log(log(v + 0.7) / LN10) / LN10 for v in (v1, v2))
    slope = (w1 - w2) / ((log(t2) - log(t1)) / LN10)
    return w1 + slope * log(t1) / LN10, slope


def _oil(figures: Figures, gas: Gas, draw: Draw, oils: Sequence[str]) -> Oil:
    stated = figures.stated
    may = sorted({OILS[name].foaming for name in oils}, reverse=True)
    if "oil.behaviour" in stated:
        may = [foaming for foaming in may if foaming == (stated["oil.behaviour"] == "foaming")]
    if not may:
        raise ValueError(f"{stated['name']} has an oil that is {stated['oil.behaviour']}, not the one asked for")
    foaming = draw.one_of(may)
    kind = stated.get("oil.kind", usual_kind(gas.name))
    at_40, at_100 = viscosities(figures)
    density = figures.of("oil.density", DENSITY[kind])

    def its(key: str) -> float:
        return figures.of(f"oil.{key}", 1.0, (OF_FOAMING if foaming else OF_STILL).get(key))

    pair = stated.get("solubility.pair", "")
    return Oil(
        f"{kind} {round(at_40)}, {'foaming' if foaming else 'still'}",
        pair,
        at_40,
        at_100,
        density,
        its("foam_share"),
        its("foam_life"),
        its("release_time"),
        its("absorption_time"),
        its("held_volumes"),
        its("boil_time"),
        its("touching_void"),
        its("gathering"),
        () if pair else _kept_table(gas, solution_of(figures, gas, kind, density)),
    )


@lru_cache(64)
def _kept_table(gas: Gas, solution: Solution) -> tuple[tuple[float, ...], ...]:
    return table_of(gas, solution)


def solution_of(figures: Figures, gas: Gas, kind: str, density_kg_m3: float) -> Solution:
    """Return oil and refrigerant by points of the file's own, or by the general law."""
    molar = figures.of("solubility.oil_molar_mass", 1.0, MOLAR_MASS[kind])
    if "solubility.points" in figures:
        solution, off = points_fitted(figures.stated, gas, molar, density_kg_m3)
        way = (2.0 * figures.shares["solubility.interaction"] - 1.0) * off / BETWEEN_PER_CHI
        return solution._replace(w0_k=solution.w0_k + way * 313.15)
    chi = figures.of("solubility.interaction", 1.0, CHI.get((kind, CLASS[gas.name])))
    return of_chi(molar, density_kg_m3, chi)


def points_fitted(
    stated: Mapping[str, Any], gas: Gas, oil_g_mol: float, density_kg_m3: float
) -> tuple[Solution, float]:
    """Return the solution by the file's own points and how far it is off them."""
    points = [Point(celsius + ZERO_CELSIUS_K, pa, w) for celsius, pa, w in stated["solubility.points"]]
    return fitted(gas, oil_g_mol, density_kg_m3, points)


def solubility_told(stated: Mapping[str, Any]) -> str:
    """Return what the solubility of a machine file rests on, and how sure it is."""
    gas = gases()[stated["refrigerant.name"]]
    kind = stated.get("oil.kind", usual_kind(gas.name))
    if "solubility.pair" in stated:
        return f"the published pair {gas.name} and {stated['solubility.pair']}"
    if "solubility.points" in stated:
        figures = Figures(stated, Fixed(HALF))
        molar = figures.of("solubility.oil_molar_mass", 1.0, MOLAR_MASS[kind])
        _, off = points_fitted(stated, gas, molar, figures.of("oil.density", DENSITY[kind]))
        return f"{len(stated['solubility.points'])} points of its own, {100.0 * off:.1f} % off a fitted law (rms)"
    low, high = stated.get("solubility.interaction") or CHI[kind, CLASS[gas.name]]
    return f"a general law, {gas.name} in {kind} oil with chi {low:g} to {high:g} at 40 C"


def _chain(figures: Figures, draw: Draw, highest_pa: float) -> SensorChain:
    stated = figures.stated

    def sensor(name: str) -> Sensor:
        usual = stated.get("sensors.oil_range", (0.0, _round_up(1.25 * highest_pa)))
        low, high = stated.get(f"sensors.{name}_range", usual)
        share = {key: draw.between(0.0, 1.0) for key in ("lag", "offset", "noise", "resolution", "gain")}

        def its(key: str) -> float:
            least, most = figures.range_of(f"sensors.{key}")
            return least + (most - least) * share[key]

        return Sensor(
            range_low_pa=low,
            range_high_pa=high,
            lag_s=its("lag"),
            gain=0.992 + 0.016 * share["gain"],
            offset_pa=its("offset"),
            noise_pa=its("noise"),
            resolution_pa=its("resolution"),
        )

    oil, suction, third = sensor("oil"), sensor("suction"), sensor("suction")
    there = draw.happens(CRANKCASE_SHARE)
    period_ms = draw.one_of(PERIODS_MS)
    if "sensors.period" in figures:
        period_ms = max(round(1000.0 * figures.of("sensors.period")), 1)
    chain = SensorChain(
        oil,
        suction,
        third if stated.get("sensors.crankcase", there) else None,
        period_ms,
        int(0.05 * period_ms) if draw.happens(0.5) else 0,
    )
    errors = figures.of("sensors.errors")
    return with_errors(draw, chain, 1.0 - errors, SET_UP_WRONGLY_SHARE * errors / (1.0 - SOUND_SHARE))


def _round_up(pascals: float) -> float:
    """Return the next whole 100 kPa."""
    return 100e3 * math.ceil(pascals / 100e3)
