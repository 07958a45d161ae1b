"""Every name of `protect` that a port needs, with what it stands for: read from the reference in its own order."""

from types import ModuleType
from typing import Any

from protect import conditions, outputs, ranges, settings, signals, state, table


def between(module: ModuleType, first: str, end: str) -> dict[str, int]:
    """Return {name: value} of what a module defines from `first` up to and without `end`, in its own order."""
    names = list(vars(module))
    return {name: getattr(module, name) for name in names[names.index(first) : names.index(end)]}


def places(module: ModuleType, first: str, size: str) -> dict[str, int]:
    """Return the places of an array by name, and its SIZE."""
    return {**between(module, first, size), "SIZE": getattr(module, size)}


def _spelled(value: int, bits: dict[str, int]) -> list[str]:
    return [name for name, bit in bits.items() if value & bit]


def described() -> dict[str, Any]:
    """Return names, ranges, relations and rows of the table as JSON takes them, for a port in any language."""
    bits = between(conditions, "RUNNING", "NAMES")
    states = between(state, "STOPPED", "NO_CAUSE")
    effects = between(table, "NONE", "TABLE")
    named_states, named_effects = ({value: name for name, value in of.items()} for of in (states, effects))
    keys = ("name", "unit", "least", "most")
    return {
        "constants": {
            **{
                name: getattr(ranges, name) for name in ("ONE", "WEIGHT_BITS", "NO_READING", "ELAPSED_MOST", "REST_OFF")
            },
            "SLOPE_BITS": settings.SLOPE_BITS,
            "PERCENT_BITS": settings.PERCENT_BITS,
            "ALL_RIGHT": settings.ALL_RIGHT,
            "MOST_MOVES": table.MOST_MOVES,
            "RESETS_SHIFT": state.RESETS_SHIFT,
            "CAUSE_CODE": state.CAUSE_CODE,
        },
        "inputs": [dict(zip(keys, row, strict=True)) for row in ranges.INPUTS],
        "state_places": places(state, "STATE", "STATE_SIZE"),
        "output_places": places(outputs, "RUN_PERMISSION", "OUTPUTS_SIZE"),
        "states": states,
        "causes": between(state, "NO_CAUSE", "CAUSE_CODE"),
        "flags": between(state, "FRESH", "RESETS_SHIFT"),
        "conditions": bits,
        "doubts": between(signals, "OIL_MISSING", "DOUBTS"),
        "effects": effects,
        "relations": [
            {"lower": ranges.SETTINGS[low][0], "higher": ranges.SETTINGS[high][0], "gap": gap}
            for low, high, gap in settings.RELATIONS
        ],
        "table": [
            {
                "state": named_states[now],
                "mask": _spelled(mask, bits),
                "value": _spelled(value, bits),
                "next_state": named_states[then],
                "effect": named_effects[effect],
            }
            for now, mask, value, then, effect in table.TABLE
        ],
    }
