"""Where a machine file contradicts itself, or the model's equations do not hold: refused, with the reason."""

import math
from pathlib import Path
from typing import Any

from replay.ground.refusal import Refusal, refusal
from replay.machine.draw import Figures, Fixed, displacement_range, points_fitted, site_of, viscosities
from replay.machine.keys import ROUNDING, Range
from replay.machine.oils import CHI, CLASS, DENSITY, HYDROCARBON_OILS, MOLAR_MASS, usual_kind
from replay.machine.refrigerants import Gas, gases
from replay.machine.solubility import SPREAD_K, pressure_pa
from replay.machine.tabulate import SHORT_OF_CRITICAL_K
from replay.physics.behaviour import ORDERED
from replay.physics.crankshaft import floor_pressure_pa
from replay.physics.drawing import ANY
from replay.physics.gas import limiting_vacuum_pa, volumetric_efficiency
from replay.physics.journal import ADMITTED_RATIOS
from replay.physics.machines import FOAMING_FROM
from replay.physics.solubility import PUBLISHED
from replay.physics.viscosity import ZERO_CELSIUS_K

AGREE = 0.05  # displacement and what bore, stroke, cylinders and speed come to
LEAST_COMPRESSIBILITY = 0.80  # of the suction gas, which is reckoned as ideal
LEAST_RATIO = 1.3  # discharge over suction, absolute
LEAST_EFFICIENCY = 0.1  # volumetric, at the design point
MOST_FLOOR_SHARE = 0.8  # floor pressure over healthy net pressure
CLEARANCE_RATIOS = (3e-4, 4e-3)  # of a journal, radial clearance over radius
MOST_CONSTANT = 1e5  # of a fitted law, any of its constants
MOST_OFF = 0.25  # rms of the solubility points off the law, share of pressure
OF_GRADE = 0.1  # ISO 3448: viscosity at 40 C lies within this share of the grade (from memory)


def check(file: Path | str, table: dict[str, Any], stated: dict[str, Any]) -> None:
    """Raise Refusal, which names the key, at the first fault; table: the file as it stands, for what is shown."""

    def refuse(path: str, rule: str, accepted: str) -> Refusal:
        section, _, key = path.partition(".")
        return refusal(file, f"[{section}] {key}", rule, accepted, table.get(section, {}).get(key))

    for one in (_size, _crank, _oil, _oil_twice, _solubility, _site, _floor, _behaviour):
        if (fault := one(stated)) is not None:
            raise refuse(*fault)


Fault = tuple[str, str, str] | None  # key, rule, what would do


def _size(stated: dict[str, Any]) -> Fault:
    parts = [f"compressor.{key}" for key in ("bore", "stroke", "cylinders")]
    whole = all(part in stated for part in parts)
    if "compressor.displacement" not in stated:
        if not whole:
            missing = next(part for part in parts if part not in stated)
            return (
                "compressor.displacement" if not any(p in stated for p in parts) else missing,
                "no displacement, and not all of bore, stroke and cylinders",
                'displacement such as "90 m3/h", or all of bore, stroke and cylinders',
            )
    elif whole:
        low, high = stated["compressor.displacement"]
        rest = {key: value for key, value in stated.items() if key != "compressor.displacement"}
        least, most = displacement_range(rest)
        if not low <= most * (1.0 + AGREE) or not high >= least * (1.0 - AGREE):
            told = f'"{3600 * least:.4g} m3/h"' + (f' to "{3600 * most:.4g} m3/h"' if most > least else "")
            return (
                "compressor.displacement",
                "contradicts bore, stroke, cylinders and rated speed",
                f"{told}, or other dimensions",
            )
    if "compressor.speed" in stated and stated["compressor.speed"][1] > 1.3 * stated["compressor.rated_speed"][1]:
        return "compressor.speed", "far above the rated speed", "1.3 times rated_speed at most"
    return None


def _corners(stated: dict[str, Any]) -> list[Figures]:
    return [Figures(stated, Fixed(share)) for share in (0.0, 0.5, 1.0)]


def _crank(stated: dict[str, Any]) -> Fault:
    def ratios(upper: str, lower: str) -> Range | None:
        if f"compressor.{upper}" not in stated or f"compressor.{lower}" not in stated:
            return None
        (a, b), (c, d) = stated[f"compressor.{upper}"], stated[f"compressor.{lower}"]
        return a / max(d, 1e-9), b / max(c, 1e-9)

    inlet = ratios("drilling_inlet", "drilling_outlet")
    if inlet is not None and inlet[1] >= 1.0:
        return "compressor.drilling_inlet", "not inside the drilling's outlet", "a radius below drilling_outlet"
    long = ratios("journal_length", "journal_radius")
    least, most = ADMITTED_RATIOS
    if (
        long is not None
        and not least <= round(20.0 * long[0] / 2.0) / 20.0 <= round(20.0 * long[1] / 2.0) / 20.0 <= most
    ):
        return (
            "compressor.journal_length",
            f"L/D of {long[0] / 2.0:.2f} to {long[1] / 2.0:.2f}, for which no film is solved",
            f"{2.0 * least:g} to {2.0 * most:g} times journal_radius",
        )
    if "compressor.journal_length" in stated and long is None:
        return "compressor.journal_length", "a length without a radius", "journal_radius beside it"
    wide = ratios("journal_clearance", "journal_radius")
    if wide is not None and not CLEARANCE_RATIOS[0] <= wide[0] <= wide[1] <= CLEARANCE_RATIOS[1]:
        return (
            "compressor.journal_clearance",
            "radial clearance that no bearing of this radius has",
            f"{CLEARANCE_RATIOS[0]:g} to {CLEARANCE_RATIOS[1]:g} times journal_radius",
        )
    return None


def _oil(stated: dict[str, Any]) -> Fault:
    for figures in _corners(stated):
        at_40, at_100 = viscosities(figures)
        if not at_40 > 1.3 * at_100:
            keys = ("viscosity_100", "viscosity_40", "viscosity_points", "grade")
            path = next(key for key in keys if f"oil.{key}" in stated)
            return (
                f"oil.{path}",
                "viscosity hardly falls from 40 to 100 C",
                "1.3 times more at 40 C than at 100 C, or more",
            )
    return None


def _oil_twice(stated: dict[str, Any]) -> Fault:
    """Find two figures of the oil of which only one can be true."""
    if "oil.grade" in stated and {"oil.viscosity_40", "oil.viscosity_points"} & stated.keys():
        path = "viscosity_points" if "oil.viscosity_points" in stated else "viscosity_40"
        found = [viscosities(figures)[0] for figures in _corners(stated)]
        low, high = stated["oil.grade"]
        least, most = (1.0 - OF_GRADE) * low, (1.0 + OF_GRADE) * high
        if max(found) < least * (1.0 - ROUNDING) or min(found) > most * (1.0 + ROUNDING):
            return (
                f"oil.{path}",
                f"{found[1]:.3g} mm2/s at 40 C is not of grade {high:g}",
                f"{least:.4g} to {most:.4g} mm2/s, or the viscosity without a grade",
            )
    if "oil.foam_share" in stated:
        low, high = stated["oil.foam_share"]
        wanted = "foaming" if low > FOAMING_FROM else "still" if high <= FOAMING_FROM else "either"
        if stated.get("oil.behaviour") != wanted:
            return (
                "oil.foam_share",
                f"an oil that keeps more than {FOAMING_FROM:g} of its gas is foaming, any other still",
                f'behaviour = "{wanted}" beside it'
                if wanted != "either"
                else f"a share on one side of {FOAMING_FROM:g}",
            )
    return None


def _solubility(stated: dict[str, Any]) -> Fault:
    gas = gases()[stated["refrigerant.name"]]
    kind = stated.get("oil.kind", usual_kind(gas.name))
    if gas.name == "R717" and kind == "ester":
        return "oil.kind", "ammonia takes ester oil apart", "mineral, PAO or alkylbenzene with points, or PAG"
    given = [path for path in ("solubility.pair", "solubility.points") if path in stated]
    if len(given) > 1:
        return "solubility.points", "a pair and points of your own", "one of them"
    if given and "solubility.interaction" in stated:
        told = given[0].partition(".")[2]
        return "solubility.interaction", f"is not used beside {told}", f"{told} or interaction, one of them"
    if "solubility.pair" in stated and (gas.name, stated["solubility.pair"]) not in PUBLISHED:
        return (
            "solubility.pair",
            f"no published pair with {gas.name}",
            "a pair with R134a, R143a or R152a; else points of your own, or neither: the general law",
        )
    if "solubility.pair" in stated and kind != "ester":
        return "solubility.pair", f"an ester's pair for an oil that is {kind}", "points of your own, or neither"
    return _points(stated, gas, kind) if "solubility.points" in stated else _law(stated, gas, kind)


def _law(stated: dict[str, Any], gas: Gas, kind: str) -> Fault:
    if "solubility.pair" in stated:
        return None
    if (kind, CLASS[gas.name]) not in CHI and "solubility.interaction" not in stated:
        why = (
            "ammonia hardly dissolves in it, and no general law holds"
            if kind in HYDROCARBON_OILS
            else "no law is known"
        )
        return (
            "oil.kind",
            f"{gas.name} in {kind} oil: {why}",
            "points of your own in [solubility], or an oil of kind PAG",
        )
    return None


def _points(stated: dict[str, Any], gas: Gas, kind: str) -> Fault:
    low, high = stated.get("solubility.oil_molar_mass", MOLAR_MASS[kind])
    for celsius, pascals, share in stated["solubility.points"]:
        saturated = math.exp(gas.at(gas.log_bubble, celsius + ZERO_CELSIUS_K))
        if pascals >= saturated:
            return (
                "solubility.points",
                f"{share:g} at {celsius:g} C and {pascals / 1e3:.4g} kPa, where {gas.name} itself condenses",
                f"pressures below {saturated / 1e3:.4g} kPa at that temperature",
            )
    solution, off = points_fitted(stated, gas, 0.5 * (low + high), DENSITY[kind])
    if off > MOST_OFF or not all(abs(one) < MOST_CONSTANT for one in solution):
        return (
            "solubility.points",
            f"points that no such law meets: {100 * off:.0f} % off (rms of pressure)",
            "absolute pressures and shares of refrigerant by mass, in equilibrium",
        )
    kelvins = [celsius + ZERO_CELSIUS_K for celsius, _, _ in stated["solubility.points"]]
    for _, _, share in stated["solubility.points"] if max(kelvins) - min(kelvins) >= SPREAD_K else ():
        cold, warm = (pressure_pa(gas, solution, kelvin, share) for kelvin in (min(kelvins), max(kelvins)))
        if cold >= warm:
            return (
                "solubility.points",
                f"by them {share:g} of refrigerant presses less the warmer it is",
                "pressures that rise with temperature at the same share: are temperatures or pressures mixed up?",
            )
    return None


def _site(stated: dict[str, Any]) -> Fault:
    gas = gases()[stated["refrigerant.name"]]
    (cold, warm), (low, high) = stated["site.evaporating"], stated["site.condensing"]
    most = gas.critical_k - SHORT_OF_CRITICAL_K - ZERO_CELSIUS_K
    if high > most:
        beyond = "a transcritical cycle has none" if high > gas.critical_k - ZERO_CELSIUS_K else "equations end there"
        return (
            "site.condensing",
            f"within {SHORT_OF_CRITICAL_K:g} K of the critical temperature of {gas.name} or beyond: {beyond}",
            f'"{math.floor(most)} C" at most',
        )
    suction, discharge = gas.evaporating_pa(warm + ZERO_CELSIUS_K), gas.condensing_pa(low + ZERO_CELSIUS_K)
    if discharge < LEAST_RATIO * suction:
        return (
            "site.condensing",
            f"{discharge / 1e3:.0f} kPa over a suction of {suction / 1e3:.0f} kPa: nothing to compress",
            f"{LEAST_RATIO:g} times the suction pressure or more at the ends of both ranges",
        )
    z = gas.compressibility(suction)
    if z < LEAST_COMPRESSIBILITY:
        return (
            "site.evaporating",
            f"{gas.name} at {suction / 1e3:.0f} kPa is no ideal gas (Z {z:.2f}), as the equations have it",
            f"colder evaporation: Z of {LEAST_COMPRESSIBILITY:g} or more",
        )
    clearance = Figures(stated, Fixed(1.0)).of("compressor.clearance")
    ratio = gas.condensing_pa(high + ZERO_CELSIUS_K) / gas.evaporating_pa(cold + ZERO_CELSIUS_K)
    efficiency = volumetric_efficiency(clearance, ratio ** (1.0 / gas.isentropic_exponent))
    if efficiency < LEAST_EFFICIENCY:
        limit = limiting_vacuum_pa(gas.condensing_pa(high + ZERO_CELSIUS_K), clearance, gas.isentropic_exponent)
        return (
            "site.evaporating",
            f"at the coldest this machine hardly moves gas: it pulls no lower than {limit / 1e3:.0f} kPa",
            "a higher evaporating or lower condensing temperature, or a smaller clearance",
        )
    return None


def _floor(stated: dict[str, Any]) -> Fault:
    high, low = (site_of(stated, Fixed(share), ANY, "") for share in (1.0, 0.0))
    machine = high.machine
    speed = max(high.speed_rpm, machine.rated_speed_rpm, *(high.speeds_rpm or ()))
    floor = floor_pressure_pa(
        min(machine.drilling_inlet_m, low.machine.drilling_inlet_m),
        machine.drilling_outlet_m,
        max(high.oil.density_kg_m3, 950.0),
        speed,
    )
    healthy = low.behaviour.healthy_net_pa
    if floor > MOST_FLOOR_SHARE * healthy:
        path = "drilling_outlet" if "compressor.drilling_outlet" in stated else "healthy_net_pressure"
        return (
            f"compressor.{path}",
            f"a floor pressure of up to {floor / 1e3:.0f} kPa at {speed:.0f} rpm, the healthy {healthy / 1e3:.0f} kPa",
            "a smaller drilling_outlet or a higher healthy_net_pressure, so that the floor lies well below it",
        )
    return None


def _behaviour(stated: dict[str, Any]) -> Fault:
    for lower, upper in ORDERED:
        low, high = stated.get(f"behaviour.{lower}"), stated.get(f"behaviour.{upper}")
        if low is not None and high is not None and low[1] >= high[0]:
            return f"behaviour.{lower}", f"not below {upper}", f"less than {high[0]:g}, or a larger {upper}"
    return None
