"""What kind of file a source is, by its first bytes and never by its name."""

from collections.abc import Iterator
from pathlib import Path
from typing import Protocol

from replay.ground.refusal import or_refuse, refusal
from replay.measured.block import Block
from replay.measured.clock import Clock
from replay.measured.profile import FileForm, Profile
from replay.measured.unit_text import Unit

FOREIGN = {
    b"PK\x03\x04": "a workbook or archive: export its sheet as CSV",
    b"\x1f\x8b": "compressed: unpack it first",
    b"\xd0\xcf\x11\xe0": "an old workbook: export its sheet as CSV",
    b"%PDF": "a document",
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
    """Return "parquet", "mdf" or "text". Raises Refusal for what cannot be any."""
    if path.is_dir():
        raise refusal(path, "", "is a folder", "files with readings")
    with or_refuse(path, "read", "a file with readings"):
        if not path.exists():
            raise refusal(path, "", "no such file", "a file with readings")
        with path.open("rb") as stream:
            head = stream.read(8)
    for mark, what in FOREIGN.items():
        if head.startswith(mark):
            raise refusal(path, "", f"is {what}", "CSV text, Parquet or MDF 4")
    if head.startswith(b"PAR1"):
        return "parquet"
    return "mdf" if head in (b"MDF     ", b"UnFinMF ") else "text"


def open_source(path: Path, profile: Profile, *, repair: bool) -> Source:
    """Open a file by a profile. Raises Refusal at once for what its header already shows to be wrong."""
    kind = kind_of_file(path)
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
