"""One trace: readings of a machine over time, as integer arrays.

File form: CSV with a header row, or the same columns in Parquet.

    time_s                    seconds, increasing; steps may vary
    oil_pressure_kpa          oil pump discharge, absolute
    suction_pressure_kpa      compressor suction, absolute
    running                   0 or 1
    crankcase_pressure_kpa    optional; the suction pressure where there is none
    reset                     optional, 0 or 1
    oil_temperature_c, speed_rpm    optional, checked and not used by the logic

An empty pressure cell is no reading. An empty `running` cell keeps the row
before: run feedback is a contact, not a measurement. An empty `reset` is off.
"""

import csv
import math
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from protect.ranges import INPUTS, NO_READING, OIL_PRESSURE, SUCTION_PRESSURE
from replay.errors import Refusal, refusal

REQUIRED = ("time_s", "oil_pressure_kpa", "suction_pressure_kpa", "running")
OPTIONAL = ("crankcase_pressure_kpa", "reset", "oil_temperature_c", "speed_rpm")
COLUMNS = REQUIRED + OPTIONAL
FLAGS = ("running", "reset")
LEAST_ROWS = 2
LAST_TIME_S = 1e11  # some 3000 years; beyond it milliseconds lose their meaning


@dataclass(frozen=True)
class Trace:
    """Readings at n moments.

    start_s: the file's own time of the first row; time_ms: int64[n], ms since
    then, increasing; oil_pa, suction_pa, crankcase_pa: int64[n], absolute Pa or
    NO_READING; running, reset: uint8[n], 0 or 1.
    """

    name: str
    start_s: float
    time_ms: NDArray[np.int64]
    oil_pa: NDArray[np.int64]
    suction_pa: NDArray[np.int64]
    crankcase_pa: NDArray[np.int64]
    running: NDArray[np.uint8]
    reset: NDArray[np.uint8]

    def __len__(self) -> int:
        return len(self.time_ms)

    def seconds(self, time_ms: int) -> float:
        """Return a time of this trace (ms since its start) in the file's own seconds."""
        return round(self.start_s + time_ms / 1000, 3)


def read_trace(path: Path) -> Trace:
    """Read a trace from CSV or, by its ending, Parquet. Raises Refusal with the line at fault."""
    columns = _read_parquet(path) if path.suffix.lower() == ".parquet" else _read_csv(path)
    rows = _Rows(path)
    time = columns["time_s"]
    if len(time) < LEAST_ROWS:
        raise refusal(path, "", f"{len(time)} data row(s)", "at least two rows under the header")
    rows.check(columns)
    start_s = float(time[0])
    time_ms = np.rint((time - start_s) * 1000.0).astype(np.int64)
    rows.refuse_where(np.concatenate(([False], np.diff(time_ms) <= 0)), "time_s", time, _INCREASING)
    suction = _pascals(columns["suction_pressure_kpa"], SUCTION_PRESSURE)
    crankcase = suction
    if "crankcase_pressure_kpa" in columns:
        crankcase = _pascals(columns["crankcase_pressure_kpa"], SUCTION_PRESSURE)
    reset = columns.get("reset", np.zeros(len(time)))
    return Trace(
        name=path.stem,
        start_s=start_s,
        time_ms=time_ms,
        oil_pa=_pascals(columns["oil_pressure_kpa"], OIL_PRESSURE),
        suction_pa=suction,
        crankcase_pa=crankcase,
        running=_kept(columns["running"]).astype(np.uint8),
        reset=np.nan_to_num(reset, nan=0.0).astype(np.uint8),
    )


_INCREASING = ("time does not increase by at least 1 ms", "a time later than the row before")


def _pascals(kpa: NDArray[np.float64], place: int) -> NDArray[np.int64]:
    """Return kPa as whole Pa; NaN (no reading) and what no sensor can say becomes NO_READING."""
    _, _, least, most = INPUTS[place]
    pascals = np.rint(kpa * 1000.0)
    with np.errstate(invalid="ignore"):
        real = (pascals >= least) & (pascals <= most)
    return np.where(real, pascals, NO_READING).astype(np.int64)


def _kept(flags: NDArray[np.float64]) -> NDArray[np.float64]:
    """Fill each empty cell with the last value before it."""
    known = np.where(np.isnan(flags), 0, np.arange(len(flags)))
    return flags[np.maximum.accumulate(known)]


@dataclass(frozen=True)
class _Rows:
    """Checks over whole columns that name the first row at fault."""

    path: Path

    def place(self, row: int) -> str:
        if self.path.suffix.lower() == ".parquet":
            return f"row {row + 1}"
        return f"line {_line_of(self.path, row)}"

    def refuse_where(
        self, wrong: NDArray[np.bool_], column: str, values: NDArray[np.float64], rule: tuple[str, str]
    ) -> None:
        if wrong.any():
            row = int(np.argmax(wrong))
            value = None if math.isnan(values[row]) else float(values[row])
            raise refusal(self.path, f"{self.place(row)}, {column}", rule[0], rule[1], value)

    def check(self, columns: dict[str, NDArray[np.float64]]) -> None:
        for name, values in columns.items():
            self.refuse_where(np.isinf(values), name, values, ("not a finite number", "a number or an empty cell"))
        time = columns["time_s"]
        self.refuse_where(np.isnan(time), "time_s", time, ("no time", "seconds in every row"))
        far = np.abs(time) > LAST_TIME_S
        self.refuse_where(far, "time_s", time, ("not a time in seconds", f"-{LAST_TIME_S:g} to {LAST_TIME_S:g}"))
        for name in FLAGS:
            if name in columns:
                values = columns[name]
                wrong = ~(np.isnan(values) | (values == 0) | (values == 1))
                self.refuse_where(wrong, name, values, ("neither 0 nor 1", "0 or 1"))
        first = np.zeros(len(time), dtype=bool)
        first[0] = math.isnan(columns["running"][0])
        self.refuse_where(first, "running", columns["running"], ("the first row has no status", "0 or 1"))


def _read_csv(path: Path) -> dict[str, NDArray[np.float64]]:
    """Return the columns of a CSV trace as float64[n], NaN where a cell is empty."""
    import pyarrow as pa
    import pyarrow.csv as pa_csv

    try:
        with path.open(encoding="utf-8-sig", newline="") as stream:
            header = [name.strip() for name in next(csv.reader(stream), [])]
    except FileNotFoundError:
        raise refusal(path, "", "no such trace") from None
    except OSError as error:
        raise refusal(path, "", f"this trace cannot be read ({error.strerror})") from None
    except UnicodeDecodeError:
        raise refusal(path, "line 1", "not UTF-8 text", f"a header row of {', '.join(COLUMNS)}") from None
    except csv.Error as error:
        raise refusal(path, "line 1", str(error), f"a header row of {', '.join(COLUMNS)}") from None
    _check_header(path, "line 1", header)
    try:
        table = pa_csv.read_csv(
            path,
            read_options=pa_csv.ReadOptions(column_names=header, skip_rows=1),
            convert_options=pa_csv.ConvertOptions(
                column_types=dict.fromkeys(header, pa.float64()), null_values=[""], quoted_strings_can_be_null=True
            ),
        )
    except pa.ArrowInvalid as error:
        raise _first_bad_cell(path, header) or refusal(path, "", str(error)) from None
    return _as_floats(path, table)


def _read_parquet(path: Path) -> dict[str, NDArray[np.float64]]:
    """Return the columns of a Parquet trace as float64[n], NaN where a cell is null."""
    import pyarrow as pa
    import pyarrow.parquet as pa_parquet

    try:
        table = pa_parquet.read_table(path)
    except FileNotFoundError:
        raise refusal(path, "", "no such trace") from None
    except (pa.ArrowException, OSError) as error:
        raise refusal(path, "", f"not a readable Parquet file ({str(error).splitlines()[0]})") from None
    _check_header(path, "columns", table.column_names)
    return _as_floats(path, table)


def _as_floats(path: Path, table: Any) -> dict[str, NDArray[np.float64]]:
    import pyarrow as pa

    columns = {}
    for name in table.column_names:
        try:
            column = table[name].cast(pa.int8()) if pa.types.is_boolean(table[name].type) else table[name]
            numbers = column.cast(pa.float64()).to_numpy()
        except pa.ArrowException:
            kind = str(table[name].type)
            raise refusal(
                path, f"column {name}", f"holds {kind}, not numbers", "integers, floats or booleans"
            ) from None
        columns[name] = numbers
    return columns


def _check_header(path: Path, where: str, header: list[str]) -> None:
    known = ", ".join(COLUMNS)
    for name in header:
        if name not in COLUMNS:
            raise refusal(path, where, f"unknown column '{name[:60]}'", known)
        if header.count(name) > 1:
            raise refusal(path, where, f"column '{name}' stands twice", "each column once")
    for name in REQUIRED:
        if name not in header:
            raise refusal(path, where, f"no column '{name}'", known)


def _data_rows(path: Path) -> Iterator[tuple[int, list[str]]]:
    """Yield (line number, cells) of each data row of a CSV trace, blank lines left out."""
    with path.open(encoding="utf-8-sig", errors="replace", newline="") as stream:
        reader = csv.reader(stream)
        next(reader)
        for cells in reader:
            if cells:
                yield reader.line_num, cells


def _first_bad_cell(path: Path, header: list[str]) -> Refusal | None:
    """Find what made the fast reader give up: slow, and only used to say where."""
    for line, cells in _data_rows(path):
        if len(cells) != len(header):
            count = f"{len(cells)} cell(s) under {len(header)} column(s)"
            return refusal(path, f"line {line}", count, f"{len(header)} cells, empty where there is no reading")
        for name, cell in zip(header, cells, strict=True):
            try:
                float(cell or "nan")
            except ValueError:
                return refusal(path, f"line {line}, {name}", "not a number", "a number or an empty cell", cell)
    return None


def _line_of(path: Path, row: int) -> int:
    """Return the line number of a data row counted from 0."""
    return next(line for number, (line, _) in enumerate(_data_rows(path)) if number == row)
