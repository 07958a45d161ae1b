"""The tables that the simulation reads; `python -m replay.physics.tabulate` makes them, and nobody edits them.

TEMPERATURES_K and FRACTIONS are the grid; PROPERTIES of a refrigerant: molar mass in g/mol, isentropic exponent,
density in kg/m3 and kinematic viscosity in mm2/s of the liquid; LOG_SATURATION: ln(p_sat/Pa) over the temperatures;
LOG_PRESSURE_PER_FRACTION of refrigerant and ester: ln((p/w)/Pa), a row a temperature, a column a fraction; SOMMERFELD
and SIDE_FLOW (Q_s/(r c N L)) by length to diameter, at the eccentricities of `journal`.
"""

import json
from pathlib import Path
from typing import Any

FILE = Path(__file__).with_name("tables.json")
TABLES: dict[str, Any] = json.loads(FILE.read_text(encoding="utf-8"))


def _named(head: str) -> dict[str, Any]:
    return {name.removeprefix(head): table for name, table in TABLES.items() if name.startswith(head)}


TEMPERATURES_K: list[float] = TABLES["temperatures_k"]
FRACTIONS: list[float] = TABLES["fractions"]
PROPERTIES: dict[str, list[float]] = _named("properties of ")
LOG_SATURATION: dict[str, list[float]] = _named("log saturation of ")
LOG_PRESSURE_PER_FRACTION: dict[tuple[str, str], list[list[float]]] = {
    (pair.partition(" in ")[0], pair.partition(" in ")[2]): table
    for pair, table in _named("log pressure per fraction of ").items()
}
SOMMERFELD: dict[float, list[float]] = {
    float(ratio): numbers for ratio, numbers in _named("sommerfeld number at L/D ").items()
}
SIDE_FLOW: dict[float, list[float]] = {float(ratio): flows for ratio, flows in _named("side flow at L/D ").items()}
