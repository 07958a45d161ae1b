"""Where the project keeps what is computed once on a machine: machine code, the units of a library."""

import atexit
import functools
import os
import shutil
import tempfile
from pathlib import Path


@functools.cache
def project_cache() -> Path:
    """Return the project's cache folder, made where missing: XDG_CACHE_HOME or ~/.cache, under the project's name.

    Where that cannot be made or written (no home, another's folder, a full or read-only disk): a temporary folder
    that goes with the process.
    """
    try:
        folder = Path(os.environ.get("XDG_CACHE_HOME") or Path.home() / ".cache") / "lubetrip"
        folder.mkdir(parents=True, exist_ok=True)
        tempfile.TemporaryFile(dir=folder).close()
    except (OSError, RuntimeError):  # the latter: nobody's home is known
        folder = Path(tempfile.mkdtemp(prefix="lubetrip-"))
        atexit.register(shutil.rmtree, folder, ignore_errors=True)
    return folder
