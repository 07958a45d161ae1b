"""Files and folders that never stand half-written under their name. Whatever is written for a user is written here.

A file is filled beside its place, brought to the disk, and put there at once: a kill or a power cut leaves the old one
or the new one. Of what stands there already its permissions and, as far as allowed, its owner stay. A link is followed:
its target is written, the link stays. Into a device or a pipe is written as it comes, since nothing may take its
place; a disk, a socket and a file that is protected against writing are refused. The name - is standard output.
"""

import contextlib
import os
import secrets
import shutil
import stat
import sys
import tempfile
from collections.abc import Callable
from pathlib import Path
from typing import BinaryIO

from replay.ground.refusal import or_refuse, refusal

WRITABLE = "a file in a folder that exists"
STANDARD_OUTPUT = Path("-")


def check_writable(path: Path) -> None:
    """Refuse an output file that cannot be written, before any work is done for it."""
    if path == STANDARD_OUTPUT:
        return
    there = _kind(path)
    if there is not None:
        _check_kind(path, there)
        if not os.access(path, os.W_OK):
            raise refusal(path, "", "is protected against writing", "another name, or make the file writable")
    if there is None or stat.S_ISREG(there):
        _check_folder(path, _followed(path).parent, WRITABLE)


def check_free_folder(folder: Path) -> None:
    """Refuse a folder that nothing can be written into as a whole, before any work is done for it."""
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise refusal(folder, "", "not an empty folder", "a new or empty folder")
    _check_folder(folder, _followed(folder).absolute().parent, "a new folder in one that exists")


def _check_folder(path: Path, folder: Path, wanted: str) -> None:
    """Refuse a path whose folder is not there, or is protected against writing."""
    if not folder.is_dir():
        raise refusal(path, "", f"cannot be written: there is no folder {folder}", wanted)
    if not os.access(folder, os.W_OK):
        raise refusal(
            path, "", f"cannot be written: {folder} is protected against writing", f"{wanted} and may be written"
        )


def write_folder(folder: Path, files: dict[str, bytes]) -> None:
    """Write a folder (file names, some in a folder of their own) beside its place and put it there at once.

    Raises Refusal.
    """
    with or_refuse(folder, "written", "a new or empty folder"):
        place = _followed(folder).absolute()
        unfinished = Path(tempfile.mkdtemp(dir=place.parent, prefix=f".{place.name}."))
        try:
            for name, content in files.items():
                (unfinished / name).parent.mkdir(exist_ok=True)
                (unfinished / name).write_bytes(content)
                settle(unfinished / name)
            unfinished.chmod(stat.S_IMODE(place.stat().st_mode) if place.exists() else 0o755)
            unfinished.replace(place)
            settle(place.parent)
        finally:
            shutil.rmtree(unfinished, ignore_errors=True)


def write_whole(path: Path, fill: Callable[[BinaryIO], object]) -> None:
    """Let `fill` write into a file beside `path`, then put it in its place at once.

    Raises Refusal when that fails; what stood under the name before then still stands there.
    """
    if path == STANDARD_OUTPUT:
        try:
            with _opened(path) as stream:
                fill(stream)
        except BrokenPipeError:
            raise BrokenPipeError from None  # without its number: the command tells how it ends then
        return
    with or_refuse(path, "written"):
        check_writable(path)
        there = _kind(path)
        if there is not None and (not stat.S_ISREG(there) or _is_output(path)):
            with _opened(path) as stream:
                fill(stream)
            return
        target = _followed(path)
        unfinished = target.parent / f".{target.name[:200]}.{secrets.token_hex(4)}"
        try:
            with unfinished.open("xb") as stream:
                fill(stream)
                stream.flush()
                os.fsync(stream.fileno())
            if there is not None:
                _take_after(target, unfinished)
            unfinished.replace(target)
            settle(target.parent)
        finally:
            unfinished.unlink(missing_ok=True)


def write_text(path: Path, text: str) -> None:
    """Write a text file in UTF-8, whole or not at all. Half a character (of a file name) is written out."""
    write_whole(path, lambda stream: stream.write(text.encode("utf-8", "backslashreplace")))


def settle(path: Path) -> None:
    """Bring a written file, or the names in a folder, to the disk; where a system knows no such thing, do nothing."""
    if os.name == "nt":
        return  # folders cannot be opened there, nor files that are open to be read alone be flushed
    handle = os.open(path, os.O_RDONLY)
    try:
        os.fsync(handle)
    except OSError:
        if not path.is_dir():  # some file systems know no such thing for a folder
            raise
    finally:
        os.close(handle)


def _followed(path: Path) -> Path:
    """Return what a chain of links ends at, there or not; of a circle, the path itself."""
    with contextlib.suppress(OSError, RuntimeError):
        return Path(os.path.realpath(path)) if path.is_symlink() else path
    return path


def _kind(path: Path) -> int | None:
    """Return the mode of what stands at a path, None where nothing does."""
    with contextlib.suppress(FileNotFoundError, NotADirectoryError):
        return path.stat().st_mode
    return None


def _check_kind(path: Path, mode: int) -> None:
    """Refuse what a report is not written over."""
    for wrong, is_it in (("a folder", stat.S_ISDIR), ("a disk", stat.S_ISBLK), ("a socket", stat.S_ISSOCK)):
        if is_it(mode):
            raise refusal(path, "", f"cannot be written: it is {wrong}", WRITABLE)


def _is_output(path: Path) -> bool:
    """Tell whether a path is the file that standard output goes into: in another's place the rest would be lost."""
    with contextlib.suppress(OSError, ValueError):
        return os.path.samestat(path.stat(), os.fstat(1))
    return False


def _opened(path: Path) -> BinaryIO:
    """Open a device or a pipe, or go on with standard output."""
    if path == STANDARD_OUTPUT or _is_output(path):
        sys.stdout.flush()
        return os.fdopen(os.dup(1), "wb")
    return path.open("wb")


def _take_after(old: Path, new: Path) -> None:
    """Give a file the permissions of another and, as far as allowed, its owner."""
    was = old.stat()
    if hasattr(os, "chown"):
        with contextlib.suppress(OSError):
            os.chown(new, was.st_uid, was.st_gid)
    new.chmod(stat.S_IMODE(was.st_mode))
