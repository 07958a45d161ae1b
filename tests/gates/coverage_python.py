"""Branch coverage of `protect` by what is held of it (held.py): every line, every branch."""

import json
import os
import sys
import tempfile
from pathlib import Path

from replay.port.vectors import Vectors
from tests.gates.holding import hold
from tests.gates.port import Verdict, run
from tests.support.toolchain import vector_set

ROOT = Path(__file__).parents[2]


def judge(vectors: Vectors | None = None) -> Verdict:
    """Judge these vectors by what of `protect` they run through."""
    with tempfile.TemporaryDirectory() as folder:
        work = Path(folder)
        held = hold(vectors or vector_set(), work)
        data = {**os.environ, "COVERAGE_FILE": str(work / "coverage")}
        cover = [sys.executable, "-m", "coverage"]
        options = ["-n", "0", "-q", "-p", "no:cacheprovider", f"--rootdir={ROOT}", "--import-mode=importlib"]
        done = run([*cover, "run", "--branch", "--source=protect", "-m", "pytest", *options, held], cwd=ROOT, env=data)
        if done.returncode:
            return Verdict(good=False, lines=tuple(done.stdout.decode().splitlines()[-3:]))
        run([*cover, "json", "-q", "-o", work / "found.json"], cwd=ROOT, env=data)
        found = json.loads((work / "found.json").read_text())
    lines = [
        f"{name}: lines {part['missing_lines']}, branches {part['missing_branches']} are not run"
        for name, part in sorted(found["files"].items())
        if part["missing_lines"] or part["missing_branches"]
    ]
    total = found["totals"]
    branches = f"branches {total['covered_branches']} of {total['num_branches']}"
    told = f"lines {total['covered_lines']} of {total['num_statements']}, {branches}"
    return Verdict(not lines and total["num_branches"] > 0, (*lines, told))
