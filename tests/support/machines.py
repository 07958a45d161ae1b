"""Machine files for tests: two machines of sizes that no number of the model was chosen on, and files made of changes."""

from typing import Any

import tomlkit

from replay.machine import MachineFile, machine_from

# A booster of 15 kW or so, and a large industrial one; both invented, published dimensions of neither.
SMALL: dict[str, dict[str, Any]] = {
    "compressor": {"displacement": "18 m3/h", "rated_speed": "1750 rpm"},
    "refrigerant": {"name": "R134a"},
    "site": {"evaporating": ["-12 C", "-5 C"], "condensing": ["28 C", "38 C"]},
}
LARGE: dict[str, dict[str, Any]] = {
    "compressor": {
        "bore": "110 mm",
        "stroke": "85 mm",
        "cylinders": 6,
        "rated_speed": "1170 rpm",
        "clearance": 0.035,
        "healthy_net_pressure": "25 psi",
    },
    "refrigerant": {"name": "R404A"},
    "site": {"evaporating": ["-25 C", "-15 C"], "condensing": ["25 C", "38 C"]},
}


def text_of(base: dict[str, dict[str, Any]], **changed: Any) -> str:
    """Return a machine file: a base with keys set, named section__key; None takes one out."""
    table: dict[str, Any] = {section: dict(its) for section, its in base.items()}
    for path, value in changed.items():
        section, _, key = path.partition("__")
        its = table.setdefault(section, {})
        if value is None:
            its.pop(key, None)
        else:
            its[key] = value
    return tomlkit.dumps({"name": "made", **table})


def machine(base: dict[str, dict[str, Any]], **changed: Any) -> MachineFile:
    """Return a machine file read. Raises Refusal."""
    return machine_from("machine.toml", text_of(base, **changed))
