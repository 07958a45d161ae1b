"""Make the tables that the simulation reads: `python -m replay.physics.tabulate [--check]`.

Writes `tables.json`: saturation, solubility and liquid properties, from CoolProp, and the Reynolds equation solved.
The simulation itself then needs neither CoolProp nor a sparse solver, and reads the same numbers on every machine.
`--check` writes nothing and fails if the file on disk differs from a fresh one by more than the last digits.
"""

import argparse
import json
import math
import sys
from typing import Any

import numpy as np

from replay.physics import journal, solubility
from replay.physics.tables import FILE, TABLES

TEMPERATURES_K = tuple(233.15 + 10.0 * i for i in range(15))
FRACTIONS = tuple(0.025 * i for i in range(19))
TRACE_FRACTION = 1e-6  # stands for the limit of no refrigerant, where ln(p/w) stays finite
PROPERTY_TEMPERATURE_K = 313.15
GAS_TEMPERATURE_K = 283.15
GAS_PRESSURE_PA = 150e3


def liquid_properties(name: str) -> tuple[float, float, float, float]:
    """Return (molar mass g/mol, isentropic exponent, liquid density kg/m3, liquid viscosity mm2/s) from CoolProp.

    The liquid is saturated at 40 C; the exponent is the gas's real one, cp/cv corrected, at 10 C and 150 kPa.
    """
    from CoolProp.CoolProp import PropsSI  # an extra, and slow

    density = PropsSI("D", "T", PROPERTY_TEMPERATURE_K, "Q", 0, name)
    viscosity = 1e6 * PropsSI("V", "T", PROPERTY_TEMPERATURE_K, "Q", 0, name) / density
    exponent = PropsSI("isentropic_expansion_coefficient", "T", GAS_TEMPERATURE_K, "P", GAS_PRESSURE_PA, name)
    return 1000.0 * PropsSI("M", name), exponent, density, viscosity


def log_saturation(name: str) -> list[float]:
    """Return ln(p_sat/Pa) of the refrigerant over TEMPERATURES_K, or the critical pressure's above Tc."""
    from CoolProp.CoolProp import PropsSI

    critical_k = PropsSI("Tcrit", name)
    return [
        math.log(PropsSI("P", "T", t, "Q", 1, name) if t < critical_k else PropsSI("Pcrit", name))
        for t in TEMPERATURES_K
    ]


def log_pressure_per_fraction(refrigerant: str, ester: str) -> list[list[float]]:
    """Return ln((p/w)/Pa), one row a temperature of TEMPERATURES_K, one column a mass fraction of FRACTIONS.

    Above 10 K short of the critical temperature the row of the last temperature is continued along 1/T.
    """
    gas = solubility.PureRefrigerant(refrigerant)
    constants = solubility.PUBLISHED[refrigerant, ester]
    oil_g_mol = solubility.ESTER_MOLAR_MASS_G_MOL[ester]
    rows: list[list[float]] = []
    for t in TEMPERATURES_K:
        if t > gas.critical_temperature_k - 10.0:
            rows.append([_continued(rows, t, column) for column in range(len(FRACTIONS))])
            continue
        row = []
        for fraction in FRACTIONS:
            w = max(fraction, TRACE_FRACTION)
            x1 = solubility.mole_fraction(w, gas.molar_mass_g_mol, oil_g_mol)
            row.append(math.log(solubility.equilibrium_pressure_pa(gas, constants, t, x1) / w))
        rows.append(row)
    return rows


def _continued(rows: list[list[float]], temperature_k: float, column: int) -> float:
    """Return the value on the line through the last two rows over 1/T."""
    before, last = TEMPERATURES_K[len(rows) - 2], TEMPERATURES_K[len(rows) - 1]
    slope = (rows[-1][column] - rows[-2][column]) / (1.0 / last - 1.0 / before)
    return rows[-1][column] + slope * (1.0 / temperature_k - 1.0 / last)


def tables() -> dict[str, Any]:
    """Return the tables by name, numbers of 7 digits, properties of 6."""
    names = sorted({refrigerant for refrigerant, _ in solubility.PUBLISHED})
    made: dict[str, Any] = {"temperatures_k": TEMPERATURES_K, "fractions": FRACTIONS}
    made |= {f"properties of {name}": [float(f"{value:.6g}") for value in liquid_properties(name)] for name in names}
    made |= {f"log saturation of {name}": log_saturation(name) for name in names}
    for refrigerant, ester in sorted(solubility.PUBLISHED):
        made[f"log pressure per fraction of {refrigerant} in {ester}"] = log_pressure_per_fraction(refrigerant, ester)
    for ratio in journal.LENGTH_TO_DIAMETER:
        films = [journal.solve_film(eps, ratio) for eps in journal.ECCENTRICITIES]
        made[f"sommerfeld number at L/D {ratio}"] = [film.sommerfeld for film in films]
        made[f"side flow at L/D {ratio}"] = [film.side_flow for film in films]
    return {name: _rounded(table) for name, table in made.items()}


def _rounded(table: Any) -> Any:
    return float(f"{table:.7g}") if isinstance(table, float) else [_rounded(part) for part in table]


def text_of(made: dict[str, Any]) -> str:
    """Return tables as they stand in the file, one a line."""
    return "{\n" + ",\n".join(f"{json.dumps(name)}: {json.dumps(table)}" for name, table in made.items()) + "\n}\n"


def differs(old: Any, new: Any) -> bool:
    """Tell whether two tables, or all tables by name, differ by more than the seventh digit of a number."""
    if isinstance(new, dict):
        return list(old) != list(new) or any(differs(old[name], new[name]) for name in new)
    return np.shape(old) != np.shape(new) or not np.allclose(old, new, rtol=2e-6, atol=0.0)


def main() -> int:
    """Write the tables, or with --check compare them; returns the exit status."""
    parser = argparse.ArgumentParser(prog="python -m replay.physics.tabulate", description=__doc__)
    parser.add_argument("--check", action="store_true", help="compare with the file on disk, write nothing")
    check, made = parser.parse_args().check, tables()
    if not check:
        FILE.write_text(text_of(made), encoding="utf-8")
    elif differs(TABLES, made):
        sys.stderr.write(f"{FILE.name} is stale: run python -m replay.physics.tabulate\n")
        return 1
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
