"""Make the table of refrigerants: `python -m replay.machine.tabulate [--check]` writes `refrigerants.json`.

From CoolProp's equations of state, mixtures by number included, so that a machine file needs no such library and gives
the same numbers on every machine. Above 15 K short of the critical temperature ln p is continued along 1/T: there is no
liquid there, and a dissolved gas is reckoned from what it would be. `--check` writes nothing and fails where the file
differs by more than the last digits.
"""

import argparse
import json
import math
import sys
from pathlib import Path
from typing import Any

from replay.physics.tabulate import GAS_PRESSURE_PA, GAS_TEMPERATURE_K, TEMPERATURES_K, differs

FILE = Path(__file__).with_name("refrigerants.json")
# Each with CoolProp's name; mixtures as pseudo-pure fluids where it has them.
NAMES = {
    **{name: name for name in ("R134a", "R143a", "R152a", "R404A", "R407C", "R507A", "R22", "R290", "R717", "R744")},
    "R448A": "R448A.mix",
}
SHORT_OF_CRITICAL_K = 15.0
PROPERTY_TEMPERATURE_K = 313.15
LATENT_TEMPERATURE_K = 283.15
# What CoolProp does not give: critical temperature of R448A (from memory, a maker's sheet), and the viscosity of its
# liquid: for mixtures by components the library's rule gives R407C 1.6 times what its own correlation does, so that of
# the correlation of R407C stands for R448A (assumed).
CRITICAL_K = {"R448A": 356.8}
VISCOSITY_OF = {"R448A": "R407C"}


def row_of(name: str) -> dict[str, Any]:
    """Return the figures of a refrigerant, arrays over TEMPERATURES_K."""
    from CoolProp import CoolProp  # an extra, and slow

    fluid, props = NAMES[name], CoolProp.PropsSI
    critical_k = CRITICAL_K.get(name) or props("Tcrit", fluid)
    warm_k = min(PROPERTY_TEMPERATURE_K, critical_k - 15.0)
    thin = NAMES[VISCOSITY_OF.get(name, name)]
    latent_k = min(LATENT_TEMPERATURE_K, critical_k - 30.0)
    lists: dict[str, list[float]] = {"log_dew": [], "log_bubble": [], "liquid_m3_mol": [], "log_fugacity": []}
    mass = props("M", fluid)
    state = CoolProp.AbstractState("HEOS", fluid)
    for kelvin in TEMPERATURES_K:
        if kelvin > critical_k - SHORT_OF_CRITICAL_K:
            for found in lists.values():
                found.append(_continued(found, kelvin))
            continue
        lists["log_bubble"].append(math.log(props("P", "T", kelvin, "Q", 0, fluid)))
        lists["log_dew"].append(math.log(props("P", "T", kelvin, "Q", 1, fluid)))
        lists["liquid_m3_mol"].append(mass / props("D", "T", kelvin, "Q", 0, fluid))
        lists["log_fugacity"].append(_log_fugacity(CoolProp, state, kelvin))
    return {
        "molar_mass_g_mol": 1000.0 * mass,
        "isentropic_exponent": props(
            "isentropic_expansion_coefficient", "T", GAS_TEMPERATURE_K, "P", GAS_PRESSURE_PA, fluid
        ),
        "liquid_density_kg_m3": props("D", "T", warm_k, "Q", 0, fluid),
        "liquid_viscosity_mm2_s": 1e6 * props("V", "T", warm_k, "Q", 0, thin) / props("D", "T", warm_k, "Q", 0, thin),
        "evaporation_heat_j_kg": props("H", "T", latent_k, "Q", 1, fluid) - props("H", "T", latent_k, "Q", 0, fluid),
        "critical_k": critical_k,
        **lists,
    }


def _log_fugacity(library: Any, state: Any, kelvin: float) -> float:
    """Return ln phi of the saturated gas as a whole."""
    state.update(library.QT_INPUTS, 1.0, kelvin)
    z = state.compressibility_factor()
    return float(state.alphar() + z - 1.0 - math.log(z))


def _continued(found: list[float], kelvin: float) -> float:
    """Return the value on the line through the last two over 1/T."""
    before, last = TEMPERATURES_K[len(found) - 2], TEMPERATURES_K[len(found) - 1]
    return found[-1] + (found[-1] - found[-2]) / (1.0 / last - 1.0 / before) * (1.0 / kelvin - 1.0 / last)


def table() -> dict[str, Any]:
    """Return the whole table, numbers of 7 digits."""
    return {name: {key: _rounded(value) for key, value in row_of(name).items()} for name in NAMES}


def _rounded(value: Any) -> Any:
    return [_rounded(one) for one in value] if isinstance(value, list) else float(f"{value:.7g}")


def main() -> int:
    """Write the table, or with --check compare it; returns the exit status."""
    parser = argparse.ArgumentParser(prog="python -m replay.machine.tabulate", description=__doc__)
    parser.add_argument("--check", action="store_true", help="compare with the file on disk, write nothing")
    check, made = parser.parse_args().check, table()
    if not check:
        rows = (f"{json.dumps(name)}: {json.dumps(row)}" for name, row in made.items())
        FILE.write_text("{\n" + ",\n".join(rows) + "\n}\n", encoding="utf-8")
    elif differs(json.loads(FILE.read_text(encoding="utf-8")), made):
        sys.stderr.write(f"{FILE.name} is stale: run python -m replay.machine.tabulate\n")
        return 1
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
