"""Columns of a trace -> integers that have passed every check, whole or block by block.

One set of checks for files and for tables in memory. What a row owes to the rows
before it (increasing time, a contact that keeps its state) is carried from block
to block, so the size of the blocks changes neither result nor message.
"""

import math
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from protect.ranges import INPUTS, NO_READING, OIL_PRESSURE, SUCTION_PRESSURE
from replay.ground.refusal import Refusal, refusal
from replay.ground.wording import counted

REQUIRED = ("time_s", "oil_pressure_kpa", "suction_pressure_kpa", "running")
OPTIONAL = ("crankcase_pressure_kpa", "reset", "oil_temperature_c", "speed_rpm", "longest_hold_s")
COLUMNS = REQUIRED + OPTIONAL
FLAGS = ("running", "reset")
LEAST_ROWS = 2
MOST_HOLD_S = 30 * 86400.0
LAST_TIME_S = 1e11  # some 3000 years; beyond it milliseconds lose their meaning

Source = Path | str
Columns = dict[str, NDArray[np.float64]]
_INCREASING = ("time does not increase by at least 1 ms", "a time later than the row before")


class Rows:
    """The rows of one source, taken in order; `place` names a row (counted from 0) in a message."""

    def __init__(self, source: Source, place: Callable[[int], str]) -> None:
        self.source, self.place = source, place
        self.count = 0
        self.start_s = 0.0
        self._last_ms = -1
        self._running = math.nan
        self._hold_s = 0.0

    def take(self, columns: Columns) -> dict[str, Any]:
        """Return the next rows as the arrays of a `Trace`. Raises Refusal with the first row at fault."""
        self._check(columns)
        time = columns["time_s"]
        if self.count == 0:
            self.start_s = float(time[0])
        time_ms = np.rint((time - self.start_s) * 1000.0).astype(np.int64)
        self._refuse_where(np.diff(time_ms, prepend=self._last_ms) <= 0, "time_s", time, _INCREASING)
        suction = _pascals(columns["suction_pressure_kpa"], SUCTION_PRESSURE)
        crankcase = suction
        if "crankcase_pressure_kpa" in columns:
            crankcase = _pascals(columns["crankcase_pressure_kpa"], SUCTION_PRESSURE)
        running = _kept(np.concatenate(([self._running], columns["running"])))[1:]
        self.count += len(time)
        self._last_ms = int(time_ms[-1])
        self._running = float(running[-1])
        return {
            "time_ms": time_ms,
            "oil_pa": _pascals(columns["oil_pressure_kpa"], OIL_PRESSURE),
            "suction_pa": suction,
            "crankcase_pa": crankcase,
            "running": running.astype(np.uint8),
            "reset": np.nan_to_num(columns.get("reset", np.zeros(len(time))), nan=0.0).astype(np.uint8),
            "hold_ms": round(1000 * self._hold_s),
        }

    def _check(self, columns: Columns) -> None:
        for name, values in columns.items():
            if not np.isfinite(values.sum()):  # so that what is whole is gone through once
                self._refuse_where(np.isinf(values), name, values, ("not a finite number", "a number or an empty cell"))
        time = columns["time_s"]
        self._refuse_where(np.isnan(time), "time_s", time, ("no time", "seconds in every row"))
        far = np.abs(time) > LAST_TIME_S
        self._refuse_where(far, "time_s", time, ("not a time in seconds", f"-{LAST_TIME_S:g} to {LAST_TIME_S:g}"))
        for name in FLAGS:
            if name in columns:
                values = columns[name]
                wrong = ~(np.isnan(values) | (values == 0) | (values == 1))
                self._refuse_where(wrong, name, values, ("neither 0 nor 1", "0 or 1"))
        hold = columns.get("longest_hold_s", np.zeros(1))
        self._hold_s = self._hold_s if self.count else float(hold[0])
        wrong = (hold != self._hold_s) | (hold < 0) | (hold > MOST_HOLD_S)
        self._refuse_where(
            wrong, "longest_hold_s", hold, ("not one hold throughout", "the same in every row, 0 s to 30 d")
        )
        first = np.zeros(len(time), dtype=bool)
        first[0] = self.count == 0 and math.isnan(columns["running"][0])
        self._refuse_where(first, "running", columns["running"], ("the first row has no status", "0 or 1"))

    def _refuse_where(
        self, wrong: NDArray[np.bool_], column: str, values: NDArray[np.float64], rule: tuple[str, str]
    ) -> None:
        if wrong.any():
            row = int(np.argmax(wrong))
            value = None if math.isnan(values[row]) else float(values[row])
            raise refusal(self.source, f"{self.place(self.count + row)}, {column}", rule[0], rule[1], value)


def too_few(source: Source, rows: int) -> Refusal:
    """Return what is said of a trace that shows no time."""
    return refusal(source, "", f"{counted(rows, 'data row')}", "at least two rows under the header")


def check_header(source: Source, where: str, header: list[str]) -> None:
    """Refuse a column that is unknown, missing or stands twice."""
    known = ", ".join(COLUMNS)
    for name in header:
        if name not in COLUMNS:
            raise refusal(source, where, f"unknown column '{name[:60]}'", known)
        if header.count(name) > 1:
            raise refusal(source, where, f"column '{name}' appears twice", "each column once")
    for name in REQUIRED:
        if name not in header:
            raise refusal(source, where, f"no column '{name}'", known)


def as_floats(source: Source, table: Any) -> Columns:
    """Return the columns of a pyarrow Table as float64[n], NaN where a cell is null. Raises Refusal for other types."""
    import pyarrow as pa

    kinds = pa.types
    columns = {}
    for name in table.column_names:
        column, kind = table[name], table[name].type
        if kinds.is_boolean(kind):
            column = column.cast(pa.int8())
        elif not (kinds.is_integer(kind) or kinds.is_floating(kind) or kinds.is_decimal(kind) or kinds.is_null(kind)):
            accepted = "integers, floats or booleans"
            if kinds.is_temporal(kind):
                accepted = "seconds as numbers; `lubetrip import` reads time stamps"
            raise refusal(source, f"column {name}", f"holds {kind}, not numbers", accepted)
        columns[name] = _floats(column.cast(pa.float64(), safe=False).combine_chunks())
    return columns


def _floats(array: Any) -> NDArray[np.float64]:
    """Return a pyarrow float64 Array as float64[n], NaN where it is null.

    Read from its buffers: `to_numpy` loads all of pandas where that is installed, a third of a short command's time.
    """
    valid, data = array.buffers()
    begin, end = array.offset, array.offset + len(array)
    values = np.frombuffer(data, np.float64, end)[begin:]
    if valid is None or not array.null_count:
        return values
    given = np.unpackbits(np.frombuffer(valid, np.uint8), count=end, bitorder="little")[begin:]
    return np.where(given, values, math.nan)


def _pascals(kpa: NDArray[np.float64], place: int) -> NDArray[np.int64]:
    """Return kPa as whole Pa; NaN (no reading) and what no sensor can say becomes NO_READING."""
    _, _, least, most = INPUTS[place]
    with np.errstate(invalid="ignore", over="ignore"):
        pascals = kpa * 1000.0
        np.rint(pascals, out=pascals)
        if len(pascals) and pascals.min() >= least and pascals.max() <= most:  # false where there is a NaN
            return pascals.astype(np.int64)
        real = (pascals >= least) & (pascals <= most)
    return np.where(real, pascals, NO_READING).astype(np.int64)


def arrow_kpa(pascals: NDArray[Any]) -> Any:
    """Return Pa as an Arrow array of kPa, null where there is no reading: NO_READING, or what lies below it."""
    import pyarrow as pa

    gone = pascals <= NO_READING
    return pa.array(pascals / 1000, mask=gone if gone.any() else None)


def _kept(flags: NDArray[np.float64]) -> NDArray[np.float64]:
    """Fill each empty cell with the last value before it."""
    empty = np.isnan(flags)
    if not empty[1:].any():
        return flags
    known = np.where(empty, 0, np.arange(len(flags)))
    return flags[np.maximum.accumulate(known)]
