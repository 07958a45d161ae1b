"""One seeded defect for each gate, planted in a copy: each has to shut its gate."""

import dataclasses
import shutil
from collections.abc import Callable
from pathlib import Path

from replay.port.vectors import Vectors
from tests.gates import (
    coverage_c,
    coverage_python,
    int16,
    lowest,
    mutation_c,
    mutation_host,
    mutation_python,
    newest,
    sanitizers,
    static_analysis,
    wp,
    wrong_ports,
)
from tests.gates.port import C_FOLDER, Verdict, driver_input, planted
from tests.support.toolchain import vector_set

Gate = Callable[[Path], Verdict]


def without_reload_stops(vectors: Vectors) -> Vectors:
    """Return a vector set in which no case goes on beyond a reload stop."""
    reload_cause = 2
    cases = [c for c in vectors.cases if all(tick.state[9] != reload_cause for tick in c.ticks)]
    return dataclasses.replace(vectors, cases=tuple(cases))


def analysis(folder: Path) -> Verdict:
    """Leave out the last `else` of a chain, which is against MISRA C:2012 rule 15.7 and nothing else."""
    shutil.copytree(C_FOLDER, folder, dirs_exist_ok=True)
    planted(folder, "    } else {\n        /* an elapsed time as it was given */\n    }\n", "    }\n")
    return static_analysis.judge(folder)


def coverage_of_c(folder: Path) -> Verdict:
    """Leave out the vectors that go through a reload stop."""
    del folder
    return coverage_c.judge(words=driver_input(without_reload_stops(vector_set())))


def coverage_of_protect(folder: Path) -> Verdict:
    """Leave out the same ones."""
    del folder
    return coverage_python.judge(without_reload_stops(vector_set()))


def narrow_int(folder: Path) -> Verdict:
    """Plant a form of the saved record that is shifted out of an int of 16 bits, and is right where int has 32."""
    shutil.copytree(C_FOLDER, folder, dirs_exist_ok=True)
    saved = folder / "lubetrip_saved.c"
    text, good = saved.read_text(), "#define FORM UINT32_C(2)\n"
    if text.count(good) != 1:
        raise SystemExit("the seeded defect does not fit in one place")
    saved.write_text(text.replace(good, "#define FORM 2U\n"))
    return int16.judge(folder)


def mutation_of_c(folder: Path) -> Verdict:
    """Plant a comparison that no vector can decide, and that no list excuses."""
    good = "        if (unmoved > stuck_after) {\n"
    source = planted(folder, good, f"        if (unmoved < 0) {{\n            unmoved = 0;\n        }}\n{good}")
    return mutation_c.judge(source.parent, functions=("stuck_part",))


def mutation_of_host(folder: Path) -> Verdict:
    """Let tests that do not look at a comparison find traces that are paired by their place."""
    del folder
    blind = {"comparison": (mutation_host.PLAN["comparison"][0], ("tests/score/test_score.py",))}
    return mutation_host.judge(("comparison",), sample=0, plan=blind)


def mutation_of_protect(folder: Path) -> Verdict:
    """Plant the same in the reference."""
    protect = folder / "protect"
    shutil.copytree(mutation_python.ROOT / "protect", protect)
    signals = protect / "signals.py"
    good = "    state[seen] = reading\n"
    text = signals.read_text()
    if text.count(good) != 1:
        raise SystemExit("the seeded defect does not fit in one place")
    signals.write_text(text.replace(good, f"    if unmoved < 0:\n        unmoved = 0\n{good}"))
    return mutation_python.judge(protect)


def proof_of_c(folder: Path) -> Verdict:
    """Plant an integral that is not held at the trip delay."""
    good = "            whole = settings[LT_SET_TRIP_DELAY];\n            fraction = 0;\n"
    source = planted(folder, good, "            fraction = 0;\n")
    return wp.judge(source.parent, functions=("accumulate",))


def of_wrong_ports(folder: Path) -> Verdict:
    """Leave out the vectors that go through a reload stop."""
    del folder
    return wrong_ports.judge(without_reload_stops(vector_set()))


def _checkout(folder: Path) -> Path:
    """Return a copy of the project without what was made in it."""
    made = shutil.ignore_patterns(".git", ".venv", "node_modules", "build", "__pycache__", "*.egg-info", ".*_cache")
    return Path(shutil.copytree(lowest.ROOT, folder / "project", ignore=made))


def lower_bound(folder: Path) -> Verdict:
    """Plant a bound below the first scipy whose bootstrap takes the generator that is given to it."""
    project = _checkout(folder)
    bounds = project / "pyproject.toml"
    bounds.write_text(bounds.read_text().replace('"scipy>=1.15"', '"scipy>=1.14"'))
    return lowest.judge(project=project, tests=("-q", "-n", "0", "tests/score/test_comparison.py"))


def gone_module(folder: Path) -> Verdict:
    """Plant an import that Python 3.12 no longer has."""
    project = _checkout(folder)
    test = project / "tests" / "ground" / "test_planted.py"
    test.write_text("def test_gone():\n    import imp\n")
    return newest.judge(project, ("3.12",), ("-q", "-n", "0", str(test)))


def sanitized(folder: Path) -> Verdict:
    """Plant a look at one row past the table, from which every word still comes out right."""
    source = planted(folder, "(number < LUBETRIP_ROW_COUNT)", "(number <= LUBETRIP_ROW_COUNT)")
    return sanitizers.judge(source, steps=0)


SEEDED: dict[str, Gate] = {
    "analysis": analysis,
    "coverage-c": coverage_of_c,
    "coverage-protect": coverage_of_protect,
    "int16": narrow_int,
    "lowest": lower_bound,
    "mutation-c": mutation_of_c,
    "mutation-host": mutation_of_host,
    "mutation-protect": mutation_of_protect,
    "newest": gone_module,
    "proof-c": proof_of_c,
    "sanitizers": sanitized,
    "wrong-ports": of_wrong_ports,
}
