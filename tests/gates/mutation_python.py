"""Mutants of `protect` by mutmut, against what is held of the unchanged logic (held.py).

A survivor has to stand in equivalent_python.toml with the reason why nothing
could tell it from the logic, named by its text. A mutant that ran into the time
limit, crashed or met no test is told as that and shuts the gate.
"""

import re
import shutil
import sys
import tempfile
from pathlib import Path

from tests.gates.holding import hold
from tests.gates.port import Verdict, run
from tests.gates.reasons import judged, reasons
from tests.support.toolchain import vector_set

ROOT = Path(__file__).parents[2]
EQUIVALENT = Path(__file__).with_name("equivalent_python.toml")
CONFIGURATION = """
[tool.mutmut]
source_paths = ["protect"]
pytest_add_cli_args_test_selection = ["tests"]
pytest_add_cli_args = ["-p", "no:cacheprovider"]
also_copy = ["tests"]
"""


def prepared(work: Path, protect: Path) -> None:
    """Lay out a project for mutmut: a copy of the logic, and what is held of the logic as installed as its tests."""
    shutil.copytree(protect, work / "protect", ignore=shutil.ignore_patterns("__pycache__"))
    hold(vector_set(), work / "tests")
    (work / "pyproject.toml").write_text(CONFIGURATION)


def mutmut(work: Path, *arguments: str) -> str:
    """Run mutmut in its project; return what it printed."""
    done = run([Path(sys.executable).with_name("mutmut"), *arguments], cwd=work)
    if done.returncode:
        raise SystemExit((done.stdout + done.stderr).decode()[-2000:])
    return done.stdout.decode()


def fates(work: Path) -> dict[str, str]:
    """Run all mutants; return name -> killed, survived, timeout, no tests, ... in mutmut's words."""
    mutmut(work, "run", "--max-children", "1")
    rows = re.findall(r"^\s*(protect\.\S+): (.*)$", mutmut(work, "results", "--all", "true"), re.MULTILINE)
    return dict(rows)


def change(work: Path, name: str) -> tuple[str, str, str]:
    """Return (function, line, changed line) of a mutant."""
    shown = mutmut(work, "show", name)
    gone, come = (re.findall(rf"^[{sign}](?![-+]{{2}}) *(.*)$", shown, re.MULTILINE) for sign in "-+")
    function = re.sub(r"^protect\.(\w+)\.x_(\w+)__mutmut_\d+$", r"\1.\2", name)
    return function, " ".join(gone), " ".join(come)


def judge(protect: Path = ROOT / "protect", equivalent: Path = EQUIVALENT) -> Verdict:
    """Judge what is held of the logic by the mutants that it lets live."""
    with tempfile.TemporaryDirectory() as folder:
        work = Path(folder)
        prepared(work, protect)
        ends = fates(work)
        alive = {change(work, name) for name, fate in ends.items() if fate == "survived"}
    kinds = sorted(set(ends.values()))
    lines = [f"{name}: {fate}" for name, fate in sorted(ends.items()) if fate not in {"killed", "survived"}]
    lines += judged(alive, reasons(equivalent))
    if not ends:
        lines.append("no mutants")
    counts = ", ".join(f"{list(ends.values()).count(kind)} {kind}" for kind in kinds)
    known = len(reasons(equivalent))
    return Verdict(
        not lines, (*lines, f"{len(ends)} mutants: {counts}; {known} listed as equivalent, each with its reason")
    )
