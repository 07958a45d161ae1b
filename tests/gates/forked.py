"""Test runs as forks of one process that has imported what all tests import, which takes most of a short run's time.

`python forked.py FOLDER` reads a line of JSON for each run, {"tests": [...], "timeout": seconds, "interpreted": whether
numba is to leave Python as it is}, and answers with one: {"fate": killed, survived or timeout, "by": the first test that
failed}. Nothing of the project is imported before the fork: each run has the sources as they stand in the folder then.
"""

import contextlib
import importlib
import json
import os
import signal
import sys
import tempfile
import time
from pathlib import Path

COMMON = (
    "pytest", "hypothesis", "hypothesis.extra.numpy", "numpy", "scipy.special", "scipy.stats", "pyarrow.csv", "pyarrow.parquet",
    "click.testing", "rich.console", "rich.table", "pint", "tomlkit", "filelock", "jinja2", "pandas", "numba", "matplotlib.figure",
)  # fmt: skip
OPTIONS = (
    "-x",
    "-q",
    "-n",
    "0",
    "-p",
    "no:cacheprovider",
    "--no-header",
    "--tb=no",
    "-rf",
    "--hypothesis-profile=gate",
)


def one_run(folder: str, tests: list[str], said: int, *, interpreted: bool) -> None:
    """Be the fork: run the tests and end."""
    os.setsid()
    os.dup2(said, 1)
    os.dup2(said, 2)
    os.chdir(folder)
    sys.path[0] = folder
    sys.dont_write_bytecode = True
    os.environ["NUMBA_DISABLE_JIT"] = str(int(interpreted))
    importlib.import_module("numba").config.reload_config()
    status = 70
    with contextlib.suppress(BaseException):
        status = int(importlib.import_module("pytest").main([*OPTIONS, *tests]))
    sys.stdout.flush()
    os._exit(status)


def fate_of(folder: str, tests: list[str], timeout: float, *, interpreted: bool) -> dict[str, str]:
    """Run tests in a fork and say how that ended."""
    with tempfile.TemporaryFile("w+") as said:
        child = os.fork()
        if child == 0:
            one_run(folder, tests, said.fileno(), interpreted=interpreted)
        end, done, status = time.monotonic() + timeout, 0, 0
        while not done and time.monotonic() < end:
            done, status = os.waitpid(child, os.WNOHANG)
            time.sleep(0.02)
        with contextlib.suppress(ProcessLookupError, PermissionError):
            os.killpg(child, signal.SIGKILL)
        if not done:
            os.waitpid(child, 0)
            return {"fate": "timeout", "by": ""}
        said.seek(0)
        lines = said.read().splitlines()
    by = next((line.split(" ")[1] for line in lines if line.startswith(("FAILED", "ERROR"))), "")
    if os.waitstatus_to_exitcode(status) == 0:
        return {"fate": "survived", "by": ""}
    return {"fate": "killed", "by": by or (lines[-1] if lines else "")}


def main() -> None:
    """Import what is common, then answer until standard input ends."""
    folder = str(Path(sys.argv[1]).resolve())
    for name in COMMON:
        with contextlib.suppress(ImportError):
            importlib.import_module(name)
    for line in sys.stdin:
        asked = json.loads(line)
        ended = fate_of(folder, asked["tests"], asked["timeout"], interpreted=asked["interpreted"])
        print(json.dumps(ended), flush=True)


if __name__ == "__main__":
    main()
