"""What kind of file a source is, by its first bytes and never by its name."""

from collections.abc import Iterator
from pathlib import Path
from typing import Protocol

from replay.ground.refusal import refusal
from replay.measured.block import Block
from replay.measured.clock import Clock
from replay.measured.opened import first_bytes
from replay.measured.profile import FileForm, Profile
from replay.measured.unit_text import Unit

AS_CSV = "its table saved as CSV"
FOREIGN = {
    b"%PDF": ("a document", "the readings themselves: the logger's own export as CSV"),
    b"SQLite format 3": ("a database", "the table of readings exported as CSV"),
    b"\x00\x01\x00\x00Standard": ("a database", "the table of readings exported as CSV"),
    b"\x89HDF": ("an HDF file", "its readings written as Parquet or CSV"),
    b"MATLAB": ("a file of a calculation program", "its readings written as Parquet or CSV"),
    b"TDSm": ("a file of a measuring program", "its channels exported as CSV or MDF 4"),
    b"Obj\x01": ("an Avro file", "its readings written as Parquet or CSV"),
    b"ORC": ("an ORC file", "its readings written as Parquet or CSV"),
    b"7z\xbc\xaf": ("an archive of a kind that is not read", "the files in it, or a zip of them"),
    b"Rar!": ("an archive of a kind that is not read", "the files in it, or a zip of them"),
    b"\x28\xb5\x2f\xfd": ("packed in a way that is not read", "the file unpacked, or packed as .gz"),
    b"\x89PNG": ("a picture", "the readings themselves as CSV"),
    b"\xff\xd8\xff": ("a picture", "the readings themselves as CSV"),
    b"{\\rtf": ("a document", "the readings themselves as CSV"),
    b"<?xml": ("XML, of which every program has its own", AS_CSV),
    b"<!DOCTYPE": ("a web page", AS_CSV),
    b"<html": ("a web page", AS_CSV),
    b"[": ("one JSON value", "JSON lines (an object a line) or CSV"),
}


class Source(Protocol):
    """A file that gives its rows in blocks."""

    path: Path
    profile: Profile
    units: dict[str, Unit]
    clock: Clock
    fingerprint: str  # what marks files with this header

    def notes(self) -> list[str]:
        """Say how the file was read."""

    def blocks(self) -> Iterator[Block]:
        """Yield the rows of the file in order."""


def kind_of_file(path: Path) -> str:
    """Return "parquet", "mdf" or "text". Raises Refusal for what cannot be any, with what to do instead."""
    head = first_bytes(path)
    text = head.removeprefix(b"\xef\xbb\xbf").lstrip()
    for mark, (what, accepted) in FOREIGN.items():
        if text.startswith(mark) and (mark != b"[" or text[1:].lstrip()[:1] in (b"{", b"[")):
            raise refusal(path, "", f"is {what}", accepted)
    if head.startswith(b"PAR1"):
        return "parquet"
    if not head.startswith((b"MDF     ", b"UnFinMF ")):
        return "text"
    if head[8:9] == b"4":
        return "mdf"
    version = head[8:16].split(b"\0")[0].decode("ascii", "replace").strip()
    raise refusal(path, "", f"is MDF {version}, which is not read", "the same recording saved as MDF 4, or as CSV")


def open_source(path: Path, profile: Profile, *, repair: bool) -> Source:
    """Open a file by a profile. Raises Refusal at once for what its header already shows to be wrong."""
    kind = kind_of_file(path)
    if profile.long is not None and kind != "mdf":
        from replay.measured.long_form import LongSource

        return LongSource(path, profile, packed=kind == "parquet", repair=repair)
    if kind == "parquet":
        from replay.measured.parquet import ParquetSource

        return ParquetSource(path, profile)
    if kind == "mdf":
        from replay.measured.mdf import MdfSource

        return MdfSource(path, profile)
    from replay.measured.text import TextSource

    return TextSource(path, profile, repair=repair)


def fingerprint_of(path: Path, profile: Profile | None) -> str:
    """Return the fingerprint of a file's header, found as a profile says."""
    kind = kind_of_file(path)
    if kind == "parquet":
        from replay.measured.parquet import header

        return header(path).fingerprint
    if kind == "mdf":
        from replay.measured.mdf import fingerprint

        return fingerprint(path)
    from replay.measured.dialect import read_dialect

    stated = (FileForm(), frozenset[str]()) if profile is None else (profile.file, profile.names)
    return read_dialect(path, *stated).fingerprint
