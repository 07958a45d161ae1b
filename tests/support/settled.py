"""What came through once on the very same sources is not worked out again: proofs, and hunts that take minutes.

    @pytest.mark.settled("protect", "tests/proof", packages=("z3-solver",))

names all that the outcome hangs on, beside the test's own file and what tests share: files and folders from the root, and packages
by their version. If that, Python and the test are those of a run that passed on this machine, the test passes; pytest says
how many did. With CI set, as `.ci/run` sets it, and without pytest's own cache, all are run.
"""

import functools
import hashlib
import os
import sys
from collections.abc import Generator
from importlib.metadata import version
from pathlib import Path
from typing import Any

import pytest

ROOT = Path(__file__).parents[2]
ALWAYS = ("tests/support", "tests/conftest.py")
SUFFIXES = (".py", ".c", ".h", ".json", ".toml", ".txt")
SETTLED = ("settled", True)


@functools.cache
def digest_of(*places: str) -> str:
    """Return the SHA-256 over the sources in these places, names included."""
    found: set[Path] = set()
    for place in places:
        path = ROOT / place
        assert path.exists(), f"settled: no {place}"
        found |= {path} if path.is_file() else {one for one in path.rglob("*") if one.suffix in SUFFIXES}
    digest = hashlib.sha256()
    for path in sorted(found):
        digest.update(f"{path.relative_to(ROOT)}\n".encode() + hashlib.sha256(path.read_bytes()).digest())
    return digest.hexdigest()


def key_of(item: pytest.Item) -> Path | None:
    """Return the file that is there if the test came through on all this; None where it has to run."""
    mark, cache = item.get_closest_marker("settled"), getattr(item.config, "cache", None)
    if mark is None or cache is None or os.environ.get("CI"):
        return None
    own = item.path.relative_to(ROOT).as_posix()
    versions = [f"{name} {version(name)}" for name in mark.kwargs.get("packages", ())]
    text = "\n".join([item.nodeid, sys.version, *versions, digest_of(*sorted({*mark.args, *ALWAYS, own}))])
    return Path(cache.mkdir("settled")) / hashlib.sha256(text.encode()).hexdigest()


@pytest.hookimpl(tryfirst=True)
def pytest_pyfunc_call(pyfuncitem: pytest.Function) -> bool | None:
    """Pass what is settled, without running it."""
    key = key_of(pyfuncitem)
    if key is None or not key.exists():
        return None
    pyfuncitem.user_properties.append(SETTLED)
    return True


@pytest.hookimpl(wrapper=True)
def pytest_runtest_makereport(item: pytest.Item, call: pytest.CallInfo[None]) -> Generator[None, Any, Any]:
    """Keep that a test came through."""
    report = yield
    if call.when == "call" and report.passed and (key := key_of(item)) is not None:
        key.touch()
    return report


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter) -> None:
    """Say how many were not run again."""
    passed = terminalreporter.getreports("passed")
    count = sum(SETTLED in map(tuple, report.user_properties) for report in passed if report.when == "call")
    if count:
        terminalreporter.write_line(
            f"{count} of them came through on these very sources before, and were not run again (CI=1 runs all)"
        )
