"""A look at a file nobody has described yet: its columns, their units and first cells."""

import re
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from replay.ground.refusal import refusal
from replay.ground.units import UnitError
from replay.measured.cells import NO_READING_WORDS, SUSPECTS
from replay.measured.dialect import read_dialect
from replay.measured.marks import Marks
from replay.measured.profile import FileForm
from replay.measured.sources import kind_of_file
from replay.measured.unit_text import read_unit, unit_in_name

_PLAIN = re.compile(r"[-+]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?")


@dataclass(frozen=True)
class Seen:
    """A column as far as it was looked at: place from 0, name, unit or "", first cells as text in plain decimals."""

    place: int
    name: str
    unit: str
    cells: list[str]

    @property
    def filled(self) -> list[str]:
        """Return the cells that say anything."""
        return [cell for cell in self.cells if cell.casefold() not in NO_READING_WORDS]

    @property
    def numbers(self) -> list[float]:
        """Return the cells that are numbers, what looks like a sentinel left out."""
        found = [float(cell) for cell in self.filled if _PLAIN.fullmatch(cell)]
        return [number for number in found if number not in SUSPECTS]

    def unit_of(self, kind: str) -> str:
        """Return the unit of this kind in unit row or name, or ""."""
        try:
            return self.unit if self.unit and read_unit(self.unit, kind) else unit_in_name(self.name, kind)
        except UnitError:
            return unit_in_name(self.name, kind)


@dataclass(frozen=True)
class Look:
    """A file as far as it was looked at."""

    path: Path
    fingerprint: str
    columns: list[Seen]
    notes: list[str]
    marks: Marks
    own_clocks: bool = False


def look_at(path: Path) -> Look:
    """Look at the beginning of a file. Raises Refusal for what is no table of readings."""
    kind = kind_of_file(path)
    if kind == "text":
        dialect = read_dialect(path, FileForm())
        cells = [list(map(dialect.marks.plain, dialect.column(place))) for place in range(len(dialect.names))]
        columns = _seen(dialect.names, dialect.units, cells)
        return Look(path, dialect.fingerprint, columns, dialect.notes(), dialect.marks)
    if kind == "parquet":
        from replay.measured.parquet import header
        from replay.trace.files import batches

        head = header(path)
        batch = next(batches(path, head.file, 2000), None)
        cells = [_cells(path, name, batch.column(i)) if batch else [] for i, name in enumerate(head.names)]
        return Look(path, head.fingerprint, _seen(head.names, head.units, cells), ["Parquet"], Marks())
    from replay.measured.mdf import first_samples

    fingerprint, found = first_samples(path)
    columns = [Seen(i, name, unit, [_cell(v) for v in cells]) for i, (name, unit, cells) in enumerate(found)]
    return Look(path, fingerprint, columns, ["MDF, each channel by its own clock"], Marks(), own_clocks=True)


def _seen(names: Iterable[str], units: Iterable[str], cells: Iterable[list[str]]) -> list[Seen]:
    return [Seen(place, *told) for place, told in enumerate(zip(names, units, cells, strict=True))]


def _cells(path: Path, name: str, column: Any) -> list[str]:
    try:
        return [_cell(value) for value in column.to_pylist()]
    except (ArithmeticError, LookupError, ValueError) as error:  # dates beyond the calendar, zones that nobody knows
        raise refusal(path, f"column {name}", f"holds what cannot be read ({error})", "times and numbers") from None


def _cell(value: Any) -> str:
    if value is None:
        return ""
    if isinstance(value, bool):
        return str(int(value))
    if isinstance(value, bytes):
        return value.decode("utf-8", "replace").strip("\0 ")
    return value.isoformat() if hasattr(value, "isoformat") else str(value)
