"""Run the installed console command as a user does."""

import os
import subprocess
import sys
from pathlib import Path


def lubetrip(*arguments: str | Path, **environment: str) -> subprocess.CompletedProcess[str]:
    """Run `lubetrip` with these arguments and return what it did; no terminal, 80 columns."""
    command = Path(sys.executable).with_name("lubetrip")
    return subprocess.run(
        [command, *map(str, arguments)],
        capture_output=True,
        text=True,
        check=False,
        timeout=120,
        env={**os.environ, "COLUMNS": "80", **environment},
    )
