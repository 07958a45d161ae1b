"""One trace: readings of a machine over time, as integer arrays.

File form: CSV with a header row, or the same columns in Parquet, or in a data
frame or Arrow table (`Trace.from_arrow`).

    time_s                    seconds, increasing; steps may vary
    oil_pressure_kpa          oil pump discharge, absolute
    suction_pressure_kpa      compressor suction, absolute
    running                   0 or 1
    crankcase_pressure_kpa    optional; the suction pressure where there is none
    reset                     optional, 0 or 1
    oil_temperature_c, speed_rpm    optional, checked and not used by the logic
    longest_hold_s            optional: pressures were written on change, and again after this long at the latest

An empty pressure cell is no reading. An empty `running` cell keeps the row
before: run feedback is a contact, not a measurement. An empty `reset` is off.
"""

import collections
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, fields
from pathlib import Path
from typing import Any, Self

import numpy as np
from numpy.typing import NDArray

from replay.ground.places import place_of
from replay.ground.refusal import as_text, refusal
from replay.trace.files import first_time_told, place_in, read_blocks, read_columns, rows_about
from replay.trace.rows import LEAST_ROWS, Rows, arrow_kpa, as_floats, check_header, too_few

LONG = 2_000_000  # rows from which a trace is left in its file
ROWS = 1 << 18  # of such a trace that are held at a time
PANDAS_INDEX = "__index_level_"  # what pandas calls an index without a name when it hands a frame over


@dataclass(frozen=True, eq=False, repr=False)
class Trace:
    """Readings at n moments.

    start_s: the file's own time of the first row; time_ms: int64[n], ms since
    then, increasing; oil_pa, suction_pa, crankcase_pa: int64[n], absolute Pa or
    NO_READING; running, reset: uint8[n], 0 or 1; hold_ms: for how long readings may stand
    still since they were written on change, 0 where they were not.
    """

    name: str
    start_s: float
    time_ms: NDArray[np.int64]
    oil_pa: NDArray[np.int64]
    suction_pa: NDArray[np.int64]
    crankcase_pa: NDArray[np.int64]
    running: NDArray[np.uint8]
    reset: NDArray[np.uint8]
    hold_ms: int = 0

    def __len__(self) -> int:
        return len(self.time_ms)

    def __eq__(self, other: object) -> bool:
        if not isinstance(other, Trace):
            return NotImplemented
        return all(np.array_equal(getattr(self, f.name), getattr(other, f.name)) for f in fields(self))

    __hash__ = None  # type: ignore[assignment]

    def __repr__(self) -> str:
        return f"Trace({self.name!r}: {len(self)} rows, {self.seconds(0):.12g} s to {self.end_s:.12g} s)"

    def seconds(self, time_ms: int) -> float:
        """Return a time of this trace (ms since its start) in the file's own seconds."""
        return round(self.start_s + time_ms / 1000, 3)

    @property
    def end_s(self) -> float:
        """Return the time of the last row in the file's own seconds."""
        return self.seconds(int(self.time_ms[-1]))

    def pieces(self) -> "Iterator[Trace]":
        """Yield the whole trace: one that is left in its file comes piece by piece."""
        yield self

    @classmethod
    def from_arrow(cls, table: Any, name: str = "trace") -> Self:
        """Take a trace from an Arrow table or stream, or from a data frame.

        Anything with the Arrow PyCapsule interface will do: pyarrow, polars,
        pandas from 2.2. The columns are those of a trace file: `time_s` in
        seconds (time stamps are refused), absolute pressures in kPa. An index
        of pandas without a name is left out. Raises Refusal, naming `name` and
        the row, where `read_trace` would.
        """
        import pyarrow as pa

        if not hasattr(table, "__arrow_c_stream__") and not hasattr(table, "__arrow_c_array__"):
            accepted = "a pyarrow table, a polars data frame, or one of pandas 2.2 or newer"
            raise refusal(name, "", f"a {type(table).__name__} is no table of Arrow", accepted)
        try:
            taken = pa.table(table)
        except pa.ArrowException as error:
            raise refusal(name, "", f"this table cannot be taken over ({str(error).splitlines()[0]})") from None
        named = [place for place, column in enumerate(taken.column_names) if not column.startswith(PANDAS_INDEX)]
        taken = taken.select(named)
        check_header(name, "columns", taken.column_names)
        if len(taken) < LEAST_ROWS:
            raise too_few(name, len(taken))
        rows = Rows(name, lambda row: f"row {row + 1}")
        arrays = rows.take(as_floats(name, taken))
        return cls(name, rows.start_s, **arrays)

    from_dataframe = from_arrow

    def to_arrow(self) -> Any:
        """Return a pyarrow Table with the columns of a trace file, which reads back as this very trace.

        The crankcase pressure and the reset stand there where they say something.
        """
        import pyarrow as pa

        columns = {
            "time_s": self.start_s + self.time_ms / 1000,
            "oil_pressure_kpa": arrow_kpa(self.oil_pa),
            "suction_pressure_kpa": arrow_kpa(self.suction_pa),
            "running": self.running,
        }
        if not np.array_equal(self.crankcase_pa, self.suction_pa):
            columns["crankcase_pressure_kpa"] = arrow_kpa(self.crankcase_pa)
        if self.reset.any():
            columns["reset"] = self.reset
        if self.hold_ms:
            columns["longest_hold_s"] = np.full(len(self), self.hold_ms / 1000)
        return pa.table(columns)


def read_trace(path: Path | str) -> Trace:
    """Read a trace from CSV or, by its ending, Parquet. Raises Refusal with the line at fault."""
    path = place_of(path)
    columns = read_columns(path)
    if len(columns["time_s"]) < LEAST_ROWS:
        raise too_few(path, len(columns["time_s"]))
    rows = Rows(path, lambda row: place_in(path, row))
    arrays = rows.take(columns)
    return Trace(as_text(path.stem), rows.start_s, **arrays)


class LongTrace:
    """A trace of any length that is left in its file: whoever wants its rows takes piece after piece of them.

    start_s, hold_ms and seconds as in `Trace`. What is at fault in the file is told when its piece comes up.
    """

    def __init__(self, path: Path) -> None:
        first = next(read_pieces(path, LEAST_ROWS))
        self.path, self.name, self.start_s, self.hold_ms = path, first.name, first.start_s, first.hold_ms
        self._rows, self._end_ms = 0, 0

    def __len__(self) -> int:
        self._know_the_end()
        return self._rows

    def __repr__(self) -> str:
        return f"LongTrace({str(self.path)!r}, from {self.seconds(0):.12g} s)"

    def seconds(self, time_ms: int) -> float:
        """Return a time of this trace (ms since its start) in the file's own seconds."""
        return round(self.start_s + time_ms / 1000, 3)

    @property
    def end_s(self) -> float:
        """Return the time of the last row in the file's own seconds."""
        self._know_the_end()
        return self.seconds(self._end_ms)

    def pieces(self) -> Iterator[Trace]:
        """Yield its rows in their order, at most ROWS at a time. Raises Refusal with the line at fault.

        The next piece is read while one is worked on.
        """
        rows = 0
        for piece in _ahead(read_pieces(self.path, ROWS)):
            rows += len(piece)
            yield piece
        self._rows, self._end_ms = rows, int(piece.time_ms[-1])

    def _know_the_end(self) -> None:
        """Read the file to its end, unless that was done before."""
        if not self._rows:
            collections.deque(self.pieces(), maxlen=0)


def _ahead(pieces: Iterator[Trace]) -> Iterator[Trace]:
    """Yield pieces, each read by a thread while the one before is worked on."""
    with ThreadPoolExecutor(1) as pool:
        waiting = pool.submit(next, pieces, None)
        while (piece := waiting.result()) is not None:
            waiting = pool.submit(next, pieces, None)
            yield piece


AnyTrace = Trace | LongTrace


def open_trace(path: Path | str) -> AnyTrace:
    """Return a trace from CSV or Parquet: read, or left in its file where it is long. Raises Refusal."""
    path = place_of(path)
    return LongTrace(path) if path.is_file() and rows_about(path) >= LONG else read_trace(path)


def first_time_s(path: Path) -> float:
    """Return the time of the first row of a trace file, in its own seconds. Raises Refusal."""
    told = first_time_told(path)
    return next(read_pieces(path, LEAST_ROWS)).start_s if told is None else told


def read_pieces(path: Path, most_rows: int) -> Iterator[Trace]:
    """Yield a trace in pieces of at most so many rows, in bounded memory; all count from the start of the first.

    The checks are those of `read_trace`; what is at fault is told when its piece comes up.
    """
    rows = Rows(path, lambda row: place_in(path, row))
    for columns in read_blocks(path, most_rows):
        arrays = rows.take(columns)
        yield Trace(as_text(path.stem), rows.start_s, **arrays)
    if rows.count < LEAST_ROWS:
        raise too_few(path, rows.count)
