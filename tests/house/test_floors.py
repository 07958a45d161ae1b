"""The house has floors: a room imports only rooms that stand below it, late imports included, and no files in a circle."""

import ast
import functools
import graphlib
from collections import defaultdict
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
# Each floor, from the ground up. A package is a room; so is each file that stands at the root of `replay`.
FLOORS = (
    {"protect", "replay.ground"},
    {"firmware_ref", "replay.physics", "replay.settings", "replay.trace"},
    {"replay.engine", "replay.library", "replay.machine"},
    {"replay.sweep", "replay.synth"},
    {
        "replay.fitting",
        "replay.forecast",
        "replay.measured",
        "replay.port",
        "replay.score",
        "replay.triage",
    },
    {"replay.tuning"},
    {"replay.display", "replay.drawing"},
    {"replay.page", "replay.report"},
    {"replay.cli", "replay.notebook", "replay.pytest_plugin"},
    {"replay.__init__", "replay.__main__"},  # the roof: gives out names of every room; `python -m replay`
)
FLOOR = {room: number for number, rooms in enumerate(FLOORS) for room in rooms}


def files() -> dict[str, Path]:
    """Return every module of the house by its dotted name, those that a board runs flat left out."""
    paths = [path for folder in ("protect", "firmware_ref", "replay") for path in (ROOT / folder).rglob("*.py")]
    named = {".".join(path.relative_to(ROOT).with_suffix("").parts): path for path in paths}
    return {name: path for name, path in named.items() if "node_modules" not in name}


def imports(path: Path, known: set[str]) -> set[str]:
    """Return the modules of the house that a file imports anywhere, by their names in `files`."""
    found = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.ImportFrom):
            found |= {f"{node.module}.{alias.name}" for alias in node.names}
        elif isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
    return {module for name in found if (module := module_of(name, known))}


def module_of(name: str, known: set[str]) -> str | None:
    """Return the module that an imported name comes from: itself, the package it names, or what it is a part of."""
    for candidate in (name, f"{name}.__init__", name.rpartition(".")[0], f"{name.rpartition('.')[0]}.__init__"):
        if candidate in known:
            return candidate
    return None


def room(module: str) -> str:
    """Return the room of a module."""
    parts = module.split(".")
    return parts[0] if parts[0] != "replay" else ".".join(parts[:2])


HOUSE = files()


@functools.cache
def arrows() -> dict[str, set[str]]:
    """Return what each module imports of the house; when a test asks, for it takes seconds to read."""
    return {name: imports(path, set(HOUSE)) for name, path in HOUSE.items()}


def test_every_room_has_a_floor() -> None:
    """Catches a module left loose at the root of `replay`, and a room that nobody placed."""
    loose = {path.name for path in (ROOT / "replay").iterdir() if path.is_file()}

    assert {room(name) for name in HOUSE} == set(FLOOR)
    assert loose == {"__init__.py", "__main__.py", "notebook.py", "pytest_plugin.py", "py.typed"}


@pytest.mark.parametrize("of", sorted(FLOOR))
def test_a_room_imports_only_what_stands_below(of: str) -> None:
    """Catches an import up a floor or across one, hidden in a function or not."""
    found = [(name, other) for name, others in arrows().items() if room(name) == of for other in others]

    assert not [(name, other) for name, other in found if room(other) != of and FLOOR[room(other)] >= FLOOR[of]]


def test_firmware_imports_the_logic_alone() -> None:
    """Catches a tool of the firmware folder that needs the host side."""
    reached = {room(other) for name in HOUSE if room(name) == "firmware_ref" for other in arrows()[name]}

    assert reached <= {"firmware_ref", "protect"}


def test_no_files_stand_in_a_circle() -> None:
    """Catches two modules that need each other, which only a late import can hide."""
    graph: dict[str, set[str]] = defaultdict(set)
    for name, others in arrows().items():
        graph[name] |= others - {name}

    tuple(graphlib.TopologicalSorter(graph).static_order())


def test_nothing_imports_the_command_line() -> None:
    """Catches logic that settled in a command."""
    assert not [
        name
        for name, others in arrows().items()
        if room(name) not in ("replay.cli", "replay.__main__")
        for o in others
        if room(o) == "replay.cli"
    ]


def test_the_sweep_has_one_door() -> None:
    """Catches another room that reaches into the insides of the sweep."""
    outside = {other for name, others in arrows().items() if room(name) != "replay.sweep" for other in others}

    assert {other for other in outside if room(other) == "replay.sweep"} == {"replay.sweep.__init__"}
