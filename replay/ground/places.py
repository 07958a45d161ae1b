"""Paths as users give them: of this machine, or the URI of a folder or file in an object store.

`s3://bucket/folder`, `gs://`, `abfs://` and whatever else fsspec knows become paths of universal-pathlib, which read
like those of pathlib and are passed around as such. They are read, never written. Who may read there, and at which
address the store answers, is told by the store's own environment variables and files: nothing of it stands in a URI,
and nothing of it travels to the workers of a cluster, which have their own.
"""

import atexit
import contextlib
import errno
import functools
import io
import shutil
import stat
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any, BinaryIO, cast

from replay.ground.extras import install
from replay.ground.refusal import Refusal, refusal

BLOCK = 1 << 22  # bytes of an object that are fetched at a time
STANDARD_INPUT = "-"
MOST_BYTES = 1 << 36  # of a file; no logger's comes near
NO_FILE = {
    stat.S_IFIFO: "a pipe, of which everything can be read only once",
    stat.S_IFCHR: "a device, which has no end",
    stat.S_IFBLK: "a disk, not a file on it",
    stat.S_IFSOCK: "a socket",
}


def place_of(given: Path | str) -> Path:
    """Return the path that is given, or that a URI names; of -, a file that holds what came from standard input.

    Raises Refusal for a store that is not known here.
    """
    if str(given) == STANDARD_INPUT:
        return _standard_input()
    if not isinstance(given, str) or "://" not in given:
        return Path(given) if isinstance(given, str) else given
    try:
        from upath import UPath
    except ModuleNotFoundError:
        raise refusal(given, "", "needs universal-pathlib", install("store")) from None
    try:
        found = UPath(given)
        found.fs  # noqa: B018 - loads what speaks to the store
    except (ImportError, ValueError) as error:
        accepted = "s3://, or another that fsspec knows and has the package for"
        raise refusal(given, "", f"this store cannot be read ({error})", accepted) from None
    return cast("Path", found)


@functools.cache
def _standard_input() -> Path:
    """Return a file with all of standard input, which is read once; it goes when the process ends."""
    folder = Path(tempfile.mkdtemp(prefix="lubetrip-"))
    atexit.register(shutil.rmtree, folder, ignore_errors=True)
    with (folder / "standard-input").open("wb") as stream:
        shutil.copyfileobj(sys.stdin.buffer, stream)
    return folder / "standard-input"


def is_remote(path: Path) -> bool:
    """Tell whether a path is one of an object store."""
    return not isinstance(path, Path)


def check_file(path: Path, most: int = MOST_BYTES) -> None:
    """Refuse what is there and no file, which would never end or wait for ever, and a file of more than `most` bytes.

    What is not there, and a folder, is told by whoever opens it.
    """
    if is_remote(path):
        return
    try:
        found = path.stat()
    except (OSError, ValueError):
        return
    if what := NO_FILE.get(stat.S_IFMT(found.st_mode)):
        raise refusal(path, "", f"is {what}", "a file on a disk: write it into one first")
    if found.st_size > most:
        rule = f"{found.st_size} bytes, more than one of its kind can hold"
        raise refusal(path, "", rule, f"at most {most} bytes")


def for_arrow(path: Path) -> Any:
    """Return what pyarrow reads a file from: its path or, where that is no UTF-8, the opened file."""
    try:
        str(path).encode()
    except UnicodeEncodeError:
        return path.open("rb")
    return path


def open_bytes(path: Path, *, ranges: bool = False) -> BinaryIO:
    """Open a file for reading; of an object, ranges says that its reader asks for just the ranges that it needs."""
    if not is_remote(path):
        return path.open("rb")
    how: dict[str, Any] = {"cache_type": "none"} if ranges else {"block_size": BLOCK}
    try:
        opened = path.open("rb", **how)
    except OSError:
        raise
    except Exception as error:  # noqa: BLE001 - each store has its own
        raise OSError(errno.EIO, _first_line(error), str(path)) from None
    return cast("BinaryIO", opened) if ranges else io.BufferedReader(opened)


def small_object(path: Path, most: int) -> bytes | None:
    """Return the whole of an object of a store by one request; None where it has so many bytes or more."""
    try:
        found: bytes = cast("Any", path).fs.cat_file(cast("Any", path).path, start=0, end=most)
    except OSError:
        raise
    except Exception as error:  # noqa: BLE001 - each store has its own
        raise OSError(errno.EIO, _first_line(error), str(path)) from None
    return found if len(found) < most else None


@contextlib.contextmanager
def reached(path: Path) -> Iterator[None]:
    """Refuse a store that does not answer, or not to us: each kind fails in its own ways."""
    try:
        yield
    except Refusal:
        raise
    except Exception as error:
        if not is_remote(path):
            raise
        accepted = "a store that answers, and leave to read there"
        raise refusal(str(path), "", f"this store cannot be read ({_first_line(error)})", accepted) from None


def _first_line(error: Exception) -> str:
    return (str(error).splitlines() or [type(error).__name__])[0]
