"""The quick tests on the lowest packages that pyproject.toml admits, in an environment of its own.

uv resolves and installs them, and fetches a Python that is not there. A bound that is too low fails here, and nowhere else.
"""

import os
import re
import subprocess
import sys
import tempfile
from pathlib import Path

from tests.gates.port import Verdict

ROOT = Path(__file__).parents[2]

NEEDED = "uv"
LOWEST = ("--resolution", "lowest-direct")
QUICK = ("-q", "-m", "not slow", "-p", "no:cacheprovider", "--tb=line")


def judge(
    python: str = "3.11", how: tuple[str, ...] = LOWEST, project: Path = ROOT, tests: tuple[str, ...] = QUICK
) -> Verdict:
    """Install a project with its test tools, the lowest of each or the newest, and run its tests."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        if said := _install(folder, python, how, project):
            return Verdict(good=False, lines=(f"cannot be installed on Python {python}: {said}",))
        environment = {**os.environ, "PYTHONPATH": str(project), "XDG_CACHE_HOME": str(folder / "cache")}
        environment["PATH"] = f"{folder / 'venv' / 'bin'}{os.pathsep}{os.environ['PATH']}"
        command = [folder / "venv" / "bin" / "python", "-m", "pytest", *tests]
        done = subprocess.run(command, cwd=project, env=environment, capture_output=True, text=True, check=False)
    lines = [line for line in done.stdout.splitlines() if line.startswith(("FAILED", "ERROR"))]
    counted = re.search(r"\d+ (?:passed|failed).*", done.stdout.strip().splitlines()[-1] if done.stdout.strip() else "")
    which = "lowest" if how == LOWEST else "newest"
    lines.append(f"Python {python}, {which} packages: {counted[0] if counted else done.stderr.strip()[-300:]}")
    return Verdict(good=done.returncode == 0, lines=tuple(lines))


def _install(folder: Path, python: str, how: tuple[str, ...], project: Path) -> str | None:
    """Install into an environment in a folder; return what is wrong where that fails."""
    uv = [sys.executable, "-m", NEEDED]
    into = (
        "--python",
        str(folder / "venv"),
    )  # named: started as a module, uv goes to the environment it stands in itself
    for command in (
        [*uv, "venv", "-q", "--python", python, folder / "venv"],
        [*uv, "pip", "install", "-q", *into, *how, "--editable", f"{project}[test]"],
    ):
        done = subprocess.run(command, cwd=folder, capture_output=True, text=True, check=False)
        if done.returncode:
            return done.stderr.strip()[-2000:]
    return None
