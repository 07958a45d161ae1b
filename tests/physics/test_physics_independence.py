"""Labels are worth something only if the physics knows nothing of the logic that is judged by them."""

import ast
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

import replay.physics
from replay.physics import MACHINES, OILS, REFRIGERANTS, Case, Schedule, layout
from replay.physics.behaviour import TABLE, USUAL

pytestmark = pytest.mark.slow("starts workers or commands as processes of their own")

PACKAGE = Path(replay.physics.__file__).parent
MODULES = sorted(PACKAGE.rglob("*.py"))
ALLOWED = {"numpy", "numba", "scipy", "CoolProp"}
GROUND = {
    "replay.ground",
    "replay.ground.cache",
    "replay.ground.compiling",
    "replay.ground.machine_code",
}  # how code is compiled
RUNNING = """
import sys
from replay.physics import *
plan = Schedule(1450.0).change(Channel.SUCTION_VALVE, 5.0, 0.0)
simulate(Case(MACHINES["granite"], OILS["still-68"], REFRIGERANTS["R134a"], plan, 20.0))
print(*sorted(name for name in sys.modules if name.split(".")[0] in ("protect", "CoolProp", "click", "rich")
      or name.startswith("replay.") and not name.startswith("replay.physics")))
"""


def imports(path: Path) -> set[str]:
    """Every module a file imports, anywhere in it, also inside functions."""
    found = set()
    for node in ast.walk(ast.parse(path.read_text())):
        if isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path.name} imports relatively"
            found.add(node.module or "")
    return found


@pytest.mark.parametrize("path", MODULES, ids=lambda path: path.name)
def test_physics_imports_only_itself_and_the_numeric_libraries(path):
    """Catches a label that leans on the protection logic, or a command line inside the physics."""
    for name in imports(path):
        top = name.split(".")[0]

        own = name.startswith("replay.physics") or name in GROUND
        assert top in sys.stdlib_module_names or own or top in ALLOWED, name


def test_a_simulation_loads_neither_the_logic_nor_coolprop():
    """In a fresh interpreter; catches an import that hides behind a string or another module."""
    done = subprocess.run([sys.executable, "-c", RUNNING], capture_output=True, text=True, check=True)

    assert set(done.stdout.split()) <= GROUND


def test_modules_stay_readable():
    """At most 400 lines each, generated tables too; catches a module that holds more than one idea."""
    assert {path.name: n for path in MODULES if (n := len(path.read_text().splitlines())) > 400} == {}


def test_every_value_of_the_behaviour_is_used_within_its_range_and_explained():
    """Catches a value that is fitted or moved and changes nothing, and one without a range that holds it."""
    model = (PACKAGE / "model.py").read_text()
    kernel = "".join(
        (PACKAGE / name).read_text() for name in ("bearing.py", "gas.py", "kernel.py", "pump.py", "sump.py")
    )
    first = model[model.index("def first_state") :]

    assert layout.BEHAVIOUR.keys() <= TABLE.keys()
    assert len(TABLE) > 50
    for name, told in TABLE.items():
        read = [text for text in (kernel, first) if f"at.B_{name.upper()}" in text]
        assert bool(read) == (name in layout.BEHAVIOUR), name
        assert read or f"behaviour.{name}" in model, name
        value = np.atleast_1d(getattr(USUAL, name))
        assert told.low <= value[len(value) // 3] <= told.high, name
        assert told.text, name


def test_the_kernel_reads_each_value_of_the_behaviour_at_its_own_place():
    """Every value made another in turn; catches two places that lie on one another, and one that is not filled."""
    case = Case(MACHINES["granite"], OILS["still-68"], REFRIGERANTS["R134a"], Schedule(1450.0), 20.0)
    for name, place in layout.BEHAVIOUR.items():
        value = np.multiply(getattr(USUAL, name), 1.03125)
        other = replace(case, behaviour=replace(USUAL, **{name: float(value) if value.ndim == 0 else tuple(value)}))
        moved = set(np.flatnonzero(other.parameters != case.parameters)) - set(range(layout.B_FIRST))

        assert moved == set(range(place, place + value.size)), name


def test_every_constant_is_used_and_says_where_it_comes_from():
    """Catches a number that stands in the list but not in the model, or one of unknown origin."""
    text = (PACKAGE / "constants.py").read_text()
    rest = "".join(path.read_text() for path in MODULES if path.name != "constants.py")
    names = [node.targets[0].id for node in ast.parse(text).body if isinstance(node, ast.Assign)]

    assert len(names) > 5
    for name in names:
        line = next(line for line in text.splitlines() if line.startswith(name + " "))

        assert name in rest, name
        assert "#" in line, name
