"""A given file as the files with readings that are in it: unpacked, sheet by sheet, or turned into a table.

    .gz .bz2 .xz        what is packed, under its name without that ending
    .zip                each file in it
    workbooks           each sheet with readings, as text (`workbooks`)
    Arrow, Feather, JSON lines, tagged lines     a Parquet file (`tables`)
    all else            the file itself

Recognised by the first bytes, never by the name. What is unpacked lies in a folder that is removed at the end.
"""

import bz2
import contextlib
import gzip
import lzma
import tempfile
import zipfile
import zlib
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import IO, Any

from replay.ground.places import MOST_BYTES, check_file
from replay.ground.refusal import Refusal, or_refuse, refusal
from replay.measured.tables import is_table, write_parquet
from replay.measured.workbooks import is_workbook, write_sheets

CHUNK = 1 << 20
PACKED: dict[bytes, tuple[str, Callable[[Path], Any]]] = {
    b"\x1f\x8b": (".gz", gzip.open),
    b"BZh": (".bz2", bz2.open),
    b"\xfd7zXZ": (".xz", lzma.open),
}
_PACKING = (lzma.LZMAError, zlib.error, zipfile.BadZipFile)
DAMAGED = (OSError, EOFError, RuntimeError, NotImplementedError, ValueError, *_PACKING)


@dataclass(frozen=True)
class Given:
    """A file with readings: where it lies, how to call it, and the name of the folder in which it was given."""

    path: Path
    called: str
    folder: str

    @contextlib.contextmanager
    def by_name(self) -> Iterator[None]:
        """Let what is refused in it be called as the user knows it."""
        try:
            yield
        except Refusal as error:
            if str(self.path) == self.called:
                raise
            raise Refusal(str(error).replace(str(self.path), self.called)) from None


@contextlib.contextmanager
def opened(path: Path) -> Iterator[list[Given]]:
    """Give the files with readings that are in a file. Raises Refusal for one that cannot be opened."""
    head = first_bytes(path)
    with tempfile.TemporaryDirectory(prefix="lubetrip-") as folder:
        yield _inside(Given(path, str(path), path.resolve().parent.name), head, Path(folder))


def first_bytes(path: Path) -> bytes:
    """Return the beginning of a file. Raises Refusal for a folder, and for what is not there."""
    if path.is_dir():
        raise refusal(path, "", "is a folder", "files with readings")
    check_file(path, MOST_BYTES)
    with or_refuse(path, "read", "a file with readings"):
        if not path.exists():
            raise refusal(path, "", "no such file", "a file with readings")
        with path.open("rb") as stream:
            return stream.read(512)


def _inside(given: Given, head: bytes, folder: Path) -> list[Given]:
    """Return a file itself or what is in it, unpacked once and again where it was packed twice."""
    path = given.path
    for mark, (ending, read) in PACKED.items():
        if head.startswith(mark):
            target = _new(folder, path.name.removesuffix(ending) if path.name.endswith(ending) else path.stem)
            with given.by_name(), _whole(path), read(path) as stream:
                _copy(path, stream, target)
            return _inside(Given(target, given.called, given.folder), first_bytes(target), folder)
    if is_workbook(path, head):
        with given.by_name():
            sheets = write_sheets(path, lambda name: _new(folder, name))
        several = len(sheets) > 1
        return [Given(f, f"{given.called} > {sheet}" if several else given.called, given.folder) for sheet, f in sheets]
    if head.startswith((b"PK\x03\x04", b"PK\x05\x06")):
        return _members(given, folder)
    if is_table(path, head):
        target = _new(folder, path.name)
        with given.by_name():
            write_parquet(path, head, target)
        return [Given(target, given.called, given.folder)]
    return [given]


def _members(given: Given, folder: Path) -> list[Given]:
    """Return the files of an archive."""
    found: list[Given] = []
    with given.by_name(), _whole(given.path), zipfile.ZipFile(given.path) as archive:
        for member in archive.infolist():
            name = Path(member.filename)
            if member.is_dir() or name.name.startswith(".") or "__MACOSX" in name.parts:
                continue
            if member.flag_bits & 1:
                raise refusal(given.path, member.filename, "is locked by a password", "the archive without password")
            target = _new(folder, name.name)
            with archive.open(member) as stream:
                _copy(given.path, stream, target)
            inner = Given(target, f"{given.called} > {member.filename}", name.parent.name or given.folder)
            found += _inside(inner, first_bytes(target), folder)
    if not found:
        raise refusal(given.called, "", "an archive without files", "files with readings in it")
    return found


@contextlib.contextmanager
def _whole(path: Path) -> Iterator[None]:
    """Refuse a packed file that is damaged."""
    try:
        yield
    except DAMAGED as error:
        raise refusal(path, "", f"cannot be unpacked ({error})", "a whole file; pack or copy it again") from None


def _copy(path: Path, stream: IO[bytes], target: Path) -> None:
    written = 0
    with target.open("wb") as out:
        while chunk := stream.read(CHUNK):
            written += len(chunk)
            if written > MOST_BYTES:
                raise refusal(path, "", f"unpacks to more than {MOST_BYTES >> 30} GB", "a logger's file")
            out.write(chunk)


def _new(folder: Path, name: str) -> Path:
    """Return a path for a file of this name in a folder of its own."""
    return Path(tempfile.mkdtemp(dir=folder)) / (Path(name).name or "file")
