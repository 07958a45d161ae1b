"""Files and folders that never stand half-written under their name."""

import os
import secrets
import shutil
import tempfile
from collections.abc import Callable
from pathlib import Path
from typing import BinaryIO

from replay.ground.refusal import or_refuse, refusal


def check_writable(path: Path) -> None:
    """Refuse an output file that cannot be written, before any work is done for it."""
    if path.is_dir() or not path.parent.is_dir() or not os.access(path.parent, os.W_OK):
        raise refusal(path, "", "cannot be written", "a file in a folder that exists")


def check_free_folder(folder: Path) -> None:
    """Refuse a folder that nothing can be written into as a whole, before any work is done for it."""
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise refusal(folder, "", "not an empty folder", "a new or empty folder")
    if not folder.absolute().parent.is_dir() or not os.access(folder.absolute().parent, os.W_OK):
        raise refusal(folder, "", "cannot be written", "a new folder in one that exists")


def write_folder(folder: Path, files: dict[str, bytes]) -> None:
    """Write a folder (file names, some in a folder of their own) beside its place and put it there at once.

    Raises Refusal.
    """
    with or_refuse(folder, "written", "a new or empty folder"):
        unfinished = Path(tempfile.mkdtemp(dir=folder.absolute().parent, prefix=f".{folder.absolute().name}."))
        try:
            for name, content in files.items():
                (unfinished / name).parent.mkdir(exist_ok=True)
                (unfinished / name).write_bytes(content)
            unfinished.chmod(0o755)
            unfinished.replace(folder)
        finally:
            shutil.rmtree(unfinished, ignore_errors=True)


def write_whole(path: Path, fill: Callable[[BinaryIO], object]) -> None:
    """Let `fill` write into a file beside `path`, then put it in its place at once.

    Raises Refusal when that fails; what stood under the name before then still stands there.
    """
    with or_refuse(path, "written"):
        unfinished = path.parent / f".{path.name}.{secrets.token_hex(4)}"
        try:
            with unfinished.open("xb") as stream:
                fill(stream)
            unfinished.replace(path)
        finally:
            unfinished.unlink(missing_ok=True)


def write_text(path: Path, text: str) -> None:
    """Write a text file in UTF-8, whole or not at all."""
    write_whole(path, lambda stream: stream.write(text.encode()))
