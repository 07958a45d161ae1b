"""A look at a file nobody has described yet: its columns, their units and first cells."""

import re
from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from replay.ground.refusal import HIDDEN, refusal
from replay.ground.units import UnitError
from replay.measured.cells import NO_READING_WORDS, SUSPECTS
from replay.measured.dialect import Dialect, read_dialect
from replay.measured.marks import Marks
from replay.measured.profile import FileForm
from replay.measured.sources import kind_of_file
from replay.measured.text_lines import pieces
from replay.measured.unit_text import differing, factor_in, read_unit, unit_in_name, without_factor

FAR = 50000  # rows, about, that are looked at of a long file
_PLAIN = re.compile(r"[-+]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?")


@dataclass(frozen=True)
class Seen:
    """A column as far as it was looked at: place from 0, name, unit or "", cells as text in plain decimals.

    cells: those of the first rows, one after the other; far: those of rows from all over the file.
    """

    place: int
    name: str
    unit: str
    cells: list[str]
    far: list[str] = field(default_factory=list)

    @property
    def filled(self) -> list[str]:
        """Return the cells that say anything."""
        return [cell for cell in self.far or self.cells if cell.casefold() not in NO_READING_WORDS]

    @property
    def numbers(self) -> list[float]:
        """Return the cells that are numbers, what looks like a sentinel left out."""
        found = [float(cell) for cell in self.filled if _PLAIN.fullmatch(cell)]
        return [number for number in found if number not in SUSPECTS]

    @property
    def told(self) -> list[float]:
        """Return the cells that are numbers, whatever they are."""
        return [float(cell) for cell in self.filled if _PLAIN.fullmatch(cell)]

    @property
    def shares(self) -> bool:
        """Say whether the cells are numbers from 0 to 1 with fractions between, as means of a status are."""
        return (
            bool(self.told)
            and len(self.told) == len(self.filled)
            and all(0 <= n <= 1 for n in self.told)
            and any(0 < n < 1 for n in self.told)
        )

    @property
    def factor(self) -> str:
        """Return what name or unit row say that the numbers are multiplied by, such as "x10", or ""."""
        return factor_in(self.name) or factor_in(self.unit)

    def unit_of(self, kind: str) -> str:
        """Return the unit of this kind in unit row or name, or ""."""
        own = without_factor(self.unit)
        try:
            return own if own and read_unit(own, kind) else unit_in_name(self.name, kind)
        except UnitError:
            return unit_in_name(self.name, kind)

    def contrary_unit(self, kind: str) -> str:
        """Return the unit of this kind in the name, where unit row or cells say another one; else ""."""
        own, in_name = self.unit_of(kind), unit_in_name(self.name, kind)
        differ = bool(in_name) and own != in_name and differing(read_unit(own, kind), read_unit(in_name, kind))
        return in_name if differ else ""


@dataclass(frozen=True)
class Look:
    """A file as far as it was looked at."""

    path: Path
    fingerprint: str
    columns: list[Seen]
    notes: list[str]
    marks: Marks
    own_clocks: bool = False
    long: bool = False
    extent: str = "Only the header and the first rows were looked at."


def look_at(path: Path) -> Look:
    """Look at the beginning of a file. Raises Refusal for what is no table of readings."""
    kind = kind_of_file(path)
    if kind == "text":
        dialect = read_dialect(path, FileForm())
        if dialect.marks.doubt:  # to see what is a number at all; the doubt itself is asked
            dialect = replace(dialect, marks=replace(dialect.marks, decimal=","))
        units = tuple(dialect.unit(place) for place in range(len(dialect.names)))
        cells = [list(map(dialect.marks.plain, dialect.column(place))) for place in range(len(dialect.names))]
        columns = [
            replace(c, far=far) for c, far in zip(_seen(dialect.names, units, cells), _far(path, dialect), strict=True)
        ]
        return Look(
            path,
            dialect.fingerprint,
            columns,
            dialect.notes(),
            dialect.marks,
            extent="Rows from all over the file were looked at.",
        )
    if kind == "parquet":
        from replay.measured.parquet import header
        from replay.trace.files import batches

        head = header(path)
        batch = next(batches(path, head.file, 2000), None)
        cells = [_cells(path, name, batch.column(i)) if batch else [] for i, name in enumerate(head.names)]
        return Look(path, head.fingerprint, _seen(head.names, head.units, cells), ["table of typed columns"], Marks())
    from replay.measured.mdf import first_samples

    fingerprint, found = first_samples(path)
    columns = [Seen(i, name, unit, [_cell(v) for v in cells]) for i, (name, unit, cells) in enumerate(found)]
    return Look(path, fingerprint, columns, ["MDF, each channel by its own clock"], Marks(), own_clocks=True)


def _seen(names: Iterable[str], units: Iterable[str], cells: Iterable[list[str]]) -> list[Seen]:
    return [Seen(place, *told) for place, told in enumerate(zip(names, units, cells, strict=True))]


def _far(path: Path, dialect: Dialect) -> list[list[str]]:
    """Return the cells of each column in rows from all over a text file, all rows where there are no more than FAR."""
    import pyarrow as pa
    import pyarrow.csv as pa_csv

    width = len(dialect.names)
    every = 1 + path.stat().st_size // (FAR * max(1, sum(map(len, dialect.sample[0])) + width))
    found: list[list[str]] = [[] for _ in range(width)]
    for piece in pieces(path, dialect):
        data = piece.data.replace(b"\0", b"")
        if not data.strip():
            continue
        table = pa_csv.read_csv(
            pa.BufferReader(data),
            pa_csv.ReadOptions(column_names=[str(place) for place in range(width)], block_size=len(data) + 1),
            pa_csv.ParseOptions(delimiter=dialect.separator, invalid_row_handler=lambda _: "skip"),
            pa_csv.ConvertOptions(column_types={str(place): pa.string() for place in range(width)}, null_values=[]),
        )
        for place, cells in enumerate(found):
            column = table.column(place).to_pylist()[::every]
            unit = dialect.cell_units[place]
            cells += [dialect.marks.plain(cell.strip().removesuffix(unit).strip()) for cell in column]
    return found


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


def column_key(look: Look, column: Seen) -> str:
    """Return how a profile names a column: by its name, or by its number where that does not do."""
    alone = sum(other.name == column.name for other in look.columns if other is not column) == 0
    sayable = column.name and not HIDDEN.search(column.name)
    return quoted(column.name) if sayable and alone else str(column.place + 1)


def quoted(text: str) -> str:
    """Return a text as it stands in a TOML file."""
    import tomlkit

    return tomlkit.item(text).as_string()
