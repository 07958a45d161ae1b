"""Slips in the host side (slips.py), each planted in a copy of the checkout, against the tests that state what it breaks.

`PLAN` says for each part of the host side which tests are to find its slips, those that are likeliest to first. What
survives has to stand in equivalent_host.toml with the reason, named by its text. All slips together take a day of one core;
without a limit a sample is drawn (`SAMPLE` slips of all files, by a seed), with `--every` all are planted.
"""

import compileall
import contextlib
import json
import os
import random
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from queue import SimpleQueue

from tests.gates.reasons import Change
from tests.gates.slips import Slip, slips

ROOT = Path(__file__).parents[2]
EQUIVALENT = Path(__file__).with_name("equivalent_host.toml")
COPIED = ("firmware_ref", "fixtures", "protect", "replay", "tests", "pyproject.toml", "README.md", "DEVELOPERS.md")
SAMPLE, SEED = 60, 1
TIMEOUT_S = 60.0  # beyond what the tests of a part take with nothing planted
FATES = ("killed", "timeout", "survived")

# Part of the host side -> its files in replay/, and the tests that state what they do.
PLAN: dict[str, tuple[tuple[str, ...], tuple[str, ...]]] = {
    "verdict": (
        ("score/scoring.py", "score/windows.py", "score/evidence.py", "score/mix.py", "score/explaining.py"),
        (
            "tests/judge/test_score_judged.py",
            "tests/score/test_score.py",
            "tests/score/test_windows.py",
            "tests/score/test_evidence.py",
        ),
    ),
    "statistics": (("ground/statistics.py",), ("tests/ground/test_statistics.py", "tests/score/test_evidence.py")),
    "comparison": (("score/comparison.py",), ("tests/score/test_comparison.py",)),
}


@dataclass(frozen=True)
class Planted:
    """A slip with its text, and how the tests of its part ended."""

    change: Change
    fate: str
    by: str


def copied(folder: Path, root: Path = ROOT) -> Path:
    """Lay out a copy of a checkout to plant slips in."""
    leave = shutil.ignore_patterns("__pycache__", "node_modules", "build", "*.egg-info")
    for name in COPIED:
        if (root / name).is_dir():
            shutil.copytree(root / name, folder / name, ignore=leave)
        else:
            shutil.copy(root / name, folder / name)
    compileall.compile_dir(folder, quiet=2)
    return folder


class Runner:
    """A copy of the checkout and the process whose forks run tests in it (forked.py)."""

    def __init__(self, folder: Path, root: Path = ROOT) -> None:
        self.folder = copied(folder, root)
        variables = {"PYTHONPATH": str(folder), "PYTHONDONTWRITEBYTECODE": "1", "NUMBA_DISABLE_JIT": "1"}
        cache = {"XDG_CACHE_HOME": str(folder / "cache")}
        self.process = subprocess.Popen(
            [sys.executable, str(Path(__file__).with_name("forked.py")), str(folder)],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
            env={**os.environ, **variables, **cache},
        )

    def ask(self, tests: Sequence[str], timeout: float) -> tuple[str, str]:
        """Run tests; return how that ended and by which test."""
        assert self.process.stdin is not None
        assert self.process.stdout is not None
        self.process.stdin.write(json.dumps({"tests": list(tests), "timeout": timeout}) + "\n")
        self.process.stdin.flush()
        answer = json.loads(self.process.stdout.readline())
        return answer["fate"], answer["by"]

    def plant(self, slip: Slip, tests: Sequence[str], timeout: float) -> Planted:
        """Plant a slip, run the tests, take it out again."""
        path = self.folder / slip.file
        source = path.read_text(encoding="utf-8")
        with self.changed(path, source, slip.text(source)):
            return Planted(slip.shown(source), *self.ask(tests, timeout))

    @contextlib.contextmanager
    def changed(self, path: Path, source: str, text: str) -> Iterator[None]:
        """Hold another text in a file; no byte code of either may be taken for the other."""
        for kept in (path.parent / "__pycache__").glob(f"{path.stem}.*.pyc"):
            kept.unlink()
        path.write_text(text, encoding="utf-8")
        try:
            yield
        finally:
            path.write_text(source, encoding="utf-8")

    def close(self) -> None:
        """End the process."""
        assert self.process.stdin is not None
        self.process.stdin.close()
        self.process.wait()


def drawn(parts: Sequence[str], sample: int | None, seed: int) -> list[tuple[str, Slip]]:
    """Return slips of these parts, a sample of them or all, each with its part."""
    every = [(part, slip) for part in parts for file in PLAN[part][0] for slip in slips(ROOT, f"replay/{file}")]
    if sample is None or sample >= len(every):
        return every
    return sorted(random.Random(seed).sample(every, sample))  # noqa: S311 - draws a test, no secret


def planted(wanted: Sequence[tuple[str, Slip]], jobs: int = 1, root: Path = ROOT) -> list[Planted]:
    """Plant every slip by itself. Raises SystemExit where the tests of a part fail with nothing planted."""
    with tempfile.TemporaryDirectory() as work:
        free: SimpleQueue[Runner] = SimpleQueue()
        runners = [Runner(Path(work) / str(number), root) for number in range(jobs)]
        try:
            for part in dict.fromkeys(part for part, _ in wanted):
                fate, by = runners[0].ask(PLAN[part][1], 1200.0)
                if fate != "survived":
                    raise SystemExit(f"the tests of {part} fail with nothing planted: {by}")
            for runner in runners:
                free.put(runner)

            def one(row: tuple[str, Slip]) -> Planted:
                runner = free.get()
                try:
                    return runner.plant(row[1], PLAN[row[0]][1], 300.0)
                finally:
                    free.put(runner)

            with ThreadPoolExecutor(jobs) as pool:
                return list(pool.map(one, wanted))
        finally:
            for runner in runners:
                runner.close()
