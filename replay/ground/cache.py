"""Where the project keeps what is computed once on a machine: machine code, the C port as built, units.

A cache may be missing, damaged, of another machine, full, or in nobody's reach, and no result and no command hangs on
it: what cannot be read is made anew, what cannot be kept is not. Each file ends with the digest of what is in it, since
a spoilt bit of machine code would end the process or, worse, would not.
"""

import atexit
import functools
import hashlib
import os
import platform
import secrets
import shutil
import tempfile
from pathlib import Path

NOWHERE = Path(os.devnull) / "lubetrip"  # nothing is found there, and nothing can be made there
DIGEST = 32  # bytes


@functools.cache
def project_cache() -> Path:
    """Return the project's cache folder, made where missing: XDG_CACHE_HOME or ~/.cache, under the project's name.

    Where that cannot be made or written (no home, another's folder, a full or read-only disk): a temporary folder
    that goes with the process, and without room for that one in which nothing can be kept.
    """
    try:
        folder = Path(os.environ.get("XDG_CACHE_HOME") or Path.home() / ".cache") / "lubetrip"
        folder.mkdir(parents=True, exist_ok=True)
        tempfile.TemporaryFile(dir=folder).close()
    except (OSError, RuntimeError):  # the latter: nobody's home is known
        try:
            folder = Path(tempfile.mkdtemp(prefix="lubetrip-"))
        except OSError:
            return NOWHERE
        atexit.register(shutil.rmtree, folder, ignore_errors=True)
    return folder


@functools.cache
def machine_key() -> str:
    """Return what machine code and pickles are good for: this kind of machine, Python, numpy and numba."""
    import importlib.metadata  # late: it takes longer than a short command has

    parts = [platform.system(), platform.machine(), platform.python_implementation(), platform.python_version()]
    return " ".join([*parts, *(importlib.metadata.version(name) for name in ("numpy", "numba"))])


def code_folder(*sources: str) -> Path:
    """Return where the machine code that comes of some sources, on this machine, is kept."""
    text = " ".join([machine_key(), *sources])
    return project_cache() / f"numba-{hashlib.sha256(text.encode()).hexdigest()[:16]}"


def read_kept(path: Path) -> bytes | None:
    """Return what was kept in a file; None where it is not there, not to be read, or not as it was written."""
    try:
        content = path.read_bytes()
    except OSError:
        return None
    data, digest = content[:-DIGEST], content[-DIGEST:]
    return data if hashlib.sha256(data).digest() == digest else None


def keep(path: Path, data: bytes) -> bool:
    """Keep something in a file, whole or not at all, and tell whether that could be done."""
    unfinished = path.with_name(f".{path.name}.{secrets.token_hex(4)}")
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        try:
            unfinished.write_bytes(data + hashlib.sha256(data).digest())
            unfinished.replace(path)
        finally:
            unfinished.unlink(missing_ok=True)
    except OSError:
        return False
    return True
