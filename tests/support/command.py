"""Run the command as a user does: as a function of this process, which takes no time to start, or as installed."""

import os
import signal
import subprocess
import sys
import warnings
from pathlib import Path

from click.testing import CliRunner

from replay.cli import main
from replay.cli.group import UNFORESEEN

USUAL = {"COLUMNS": "80"}
TRACEBACK = {"LUBETRIP_TRACEBACK": "1"}
SILENT = (DeprecationWarning, PendingDeprecationWarning, ImportWarning, ResourceWarning)  # by default of Python


def lubetrip(*arguments: str | Path, **environment: str) -> subprocess.CompletedProcess[str]:
    """Run `lubetrip` with these arguments in this process and return what it did; no terminal, 80 columns.

    What nobody foresaw is a failure here, with its traceback. Warnings stand on standard error, as Python would show them.
    """
    before = signal.getsignal(signal.SIGTERM)
    try:
        with warnings.catch_warnings(record=True) as told:
            warnings.resetwarnings()
            for category in SILENT:
                warnings.simplefilter("ignore", category)
            given = USUAL | TRACEBACK | environment
            done = CliRunner().invoke(
                main, [*map(str, arguments)], prog_name="lubetrip", env=given, catch_exceptions=False
            )
    finally:
        signal.signal(signal.SIGTERM, before)
    assert done.exit_code != UNFORESEEN or not given["LUBETRIP_TRACEBACK"], done.stderr
    errors = done.stderr + "".join(f"{warning.category.__name__}: {warning.message}\n" for warning in told)
    return subprocess.CompletedProcess([*arguments], done.exit_code, done.stdout, errors)


def installed(*arguments: str | Path, **environment: str) -> subprocess.CompletedProcess[str]:
    """Run the console command in a process of its own, as it is installed, in the same surroundings."""
    command = Path(sys.executable).with_name("lubetrip")
    return subprocess.run(
        [command, *map(str, arguments)],
        capture_output=True,
        text=True,
        check=False,
        timeout=120,
        env={**os.environ, **USUAL, **environment},
    )
