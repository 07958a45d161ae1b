"""The quick tests on each Python that pyproject.toml admits and CI does not run, with the newest packages of today."""

from pathlib import Path

from tests.gates import lowest
from tests.gates.port import Verdict

PYTHONS = ("3.12", "3.13")


def judge(
    project: Path = lowest.ROOT, pythons: tuple[str, ...] = PYTHONS, tests: tuple[str, ...] = lowest.QUICK
) -> Verdict:
    """Run the tests of a project on each Python."""
    found = [lowest.judge(python, (), project, tests) for python in pythons]
    return Verdict(all(verdict.good for verdict in found), tuple(line for verdict in found for line in verdict.lines))
