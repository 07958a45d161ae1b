"""Parquet files of a logger's columns, in batches of rows."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np

from replay.ground.places import for_arrow
from replay.ground.refusal import refusal
from replay.measured import clock as clocks
from replay.measured import columns, dialect
from replay.measured.block import Block
from replay.measured.cells import (
    BadCell,
    cells_of,
    good_of,
    names_of,
    status_of_numbers,
    status_of_text,
    text_numbers,
    without_sentinels,
)
from replay.measured.marks import Marks
from replay.measured.profile import Flag, Profile
from replay.measured.profile_keys import DATE, ELAPSED
from replay.measured.quality import only_good
from replay.measured.text_layout import falls
from replay.measured.unit_text import TIME, unit_in_name
from replay.trace.files import batches, check_unpacked, told

BATCH = 262144


@dataclass(frozen=True)
class Header:
    """Names and units (of the fields' metadata, or "") of a Parquet file, and the opened file."""

    file: Any
    names: tuple[str, ...]
    units: tuple[str, ...]

    @property
    def fingerprint(self) -> str:
        """Return what marks files with these columns."""
        return dialect.fingerprint(self.names, self.units)


def header(path: Path) -> Header:
    """Open a Parquet file. Raises Refusal for one that is damaged, or that unpacks to what no logger writes."""
    import pyarrow.parquet as pq

    file = told(path, lambda: pq.ParquetFile(for_arrow(path)))
    check_unpacked(path, file.metadata)
    fields, names = told(path, lambda: (list(file.schema_arrow), tuple(file.schema_arrow.names)))
    units = tuple((field.metadata or {}).get(b"unit", b"").decode("utf-8", "replace") for field in fields)
    return Header(file, names, units)


class ParquetSource:
    """A Parquet file read by a profile."""

    def __init__(self, path: Path, profile: Profile, opened: Header | None = None) -> None:
        self.path, self.profile = path, profile
        self.header = opened or header(path)
        self.fingerprint = self.header.fingerprint
        self.sentinels = profile.file.sentinels or ()
        names = list(self.header.names)
        if len(profile.time.columns) != 1:
            raise refusal(profile.path, "[time] column", "a Parquet file has one time column", "its name")
        self.time_place = columns.find(path, profile, names, profile.time.columns[0])
        self.places, own = columns.places(path, profile, names), self.header.units
        self.units = columns.units(path, profile, lambda of: (names[self.places[of]], own[self.places[of]]))
        self.qualities = {of: columns.find(path, profile, names, item) for of, item in profile.qualities.items()}
        named = profile.machine_column
        self.machine = None if named is None else columns.find(path, profile, names, named)
        self.clock = self._clock()
        self.newest_first = self._newest_first()

    def notes(self) -> list[str]:
        """Say how the file was read."""
        newest = ["newest first: read from its end"] if self.newest_first else []
        return [
            f"table of typed columns, {self.header.file.metadata.num_rows} rows",
            f"time: {self.clock.note}",
            *newest,
        ]

    def _clock(self) -> clocks.Clock:
        import pyarrow as pa

        kind = self.header.file.schema_arrow.types[self.time_place]
        name = self.header.names[self.time_place]
        if pa.types.is_timestamp(kind):
            zone = f"in {kind.tz}" if kind.tz else "without a zone"
            return clocks.Clock(DATE, offset=kind.tz is not None, note=f"timestamps {zone}")
        if pa.types.is_duration(kind):
            return clocks.Clock(ELAPSED, number=True, factor=1.0, note="elapsed")
        first = next(batches(self.path, self.header.file, 1000, [name]), None)
        cells = [value for value in (first.column(0).to_pylist() if first is not None else []) if value is not None]
        form = self.profile.time
        if pa.types.is_integer(kind) or pa.types.is_floating(kind) or pa.types.is_decimal(kind):
            unit = form.unit or self.header.units[self.time_place] or unit_in_name(name, TIME)
            return clocks.number_clock(self.path, self.profile.path, form, [float(value) for value in cells], unit)
        if _is_text(kind):
            return clocks.decide(self.path, self.profile.path, form, cells, "", numbers=False)
        raise refusal(self.path, f"column {name}", f"holds {kind}, not times", "timestamps, numbers or text")

    def blocks(self) -> Iterator[Block]:
        """Yield the rows of the file in the order of time: of one that has the newest first, a row group at a time."""
        wanted = {self.time_place, *self.places.values(), *self.qualities.values()}
        wanted |= set() if self.machine is None else {self.machine}
        names = [self.header.names[place] for place in sorted(wanted)]
        if self.newest_first:
            yield from self._backwards(names)
            return
        done = 0
        for batch in batches(self.path, self.header.file, BATCH, names):
            if len(batch):
                yield self._block(batch, done)
            done += len(batch)

    def _backwards(self, names: list[str]) -> Iterator[Block]:
        """Yield the rows of the file from its end."""
        done = self.header.file.metadata.num_rows
        for group in reversed(range(self.header.file.metadata.num_row_groups)):
            for batch in reversed(list(batches(self.path, self.header.file, BATCH, names, [group]))):
                done -= len(batch)
                if len(batch):
                    yield self._block(batch, done).backwards()

    def _newest_first(self) -> bool:
        """Say whether the first rows stand in falling time."""
        first = next(batches(self.path, self.header.file, 1000, [self.header.names[self.time_place]]), None)
        return first is not None and falls(self._time(first.column(0)))

    def _block(self, batch: Any, done: int) -> Block:
        import pyarrow as pa

        def read(signal: str, how: Any) -> Any:
            column = batch.column(self.header.names[self.places[signal]])
            return self._guarded(signal, self._place(batch, done), how, column)

        block = Block(
            time_ms=self._time(batch.column(self.header.names[self.time_place])),
            values={signal: read(signal, self._numbers) for signal in self.profile.measured},
            status={signal: read(signal, partial(self._status, flag)) for signal, flag in self.profile.flags.items()},
            place=self._place(batch, done),
            size=len(batch) * self.path.stat().st_size // self.header.file.metadata.num_rows,
        )
        block.silent = {of: _nulls(self._column(batch, self.places[of])) for of in self.profile.holds}
        if self.profile.flags["running"].mean_above is not None:
            shares = read("running", self._numbers)
            block.partly = int(((shares > 0) & (shares < 1)).sum())
        if self.machine is not None:
            block.machine = names_of(self._column(batch, self.machine).cast(pa.string()))
        marks = {of: _marks(self._column(batch, place), self.profile.good) for of, place in self.qualities.items()}
        return only_good(block, marks)

    def _column(self, batch: Any, place: int) -> Any:
        return batch.column(self.header.names[place])

    def _place(self, batch: Any, done: int) -> Callable[[int], str]:
        """Return how to name a row of a batch."""
        del batch
        return lambda row: f"row {done + row + 1}"

    def _guarded(self, signal: str, place: Callable[[int], str], read: Any, column: Any) -> Any:
        import pyarrow as pa

        name = self.header.names[self.places[signal]]
        try:
            with cells_of(self.path, name, place):
                return read(column)
        except pa.ArrowException:
            raise refusal(self.path, f"column {name}", f"holds {column.type}, not numbers", "numbers") from None

    def _time(self, column: Any) -> Any:
        import pyarrow as pa

        if pa.types.is_timestamp(column.type):
            return self.clock.from_timestamps(column)
        if pa.types.is_duration(column.type):
            column = column.cast(pa.duration("ns")).cast(pa.int64())
            return self.clock.from_numbers(column.cast(pa.float64()).to_numpy(zero_copy_only=False) / 1e6)
        if self.clock.number:
            return self.clock.from_numbers(column.cast(pa.float64(), safe=False).to_numpy(zero_copy_only=False))
        return self.clock.from_text(column.cast(pa.string()).fill_null(""))

    def _numbers(self, column: Any) -> Any:
        import pyarrow as pa

        if _is_text(column.type):
            return text_numbers(column.cast(pa.string()).fill_null(""), Marks(), self.sentinels)
        if pa.types.is_boolean(column.type):
            column = column.cast(pa.int8())
        numbers = np.asarray(column.cast(pa.float64(), safe=False).to_numpy(zero_copy_only=False))
        if np.isinf(numbers).any():
            row = int(np.argmax(np.isinf(numbers)))
            raise BadCell(row, str(numbers[row]), "not a finite number", "a number or null")
        return without_sentinels(numbers, self.sentinels)

    def _status(self, flag: Flag, column: Any) -> Any:
        import pyarrow as pa

        if pa.types.is_dictionary(column.type):
            column = column.dictionary_decode()
        if _is_text(column.type) and not flag.kind and flag.mean_above is None:
            return status_of_text(column.cast(pa.string()).fill_null(""), flag, self.sentinels)
        return status_of_numbers(self._numbers(column), flag, self.sentinels, self.units.get(flag.signal))


def _nulls(column: Any) -> Any:
    return np.asarray(column.is_null().to_numpy(zero_copy_only=False), dtype=bool)


def _marks(column: Any, good: tuple[str, ...]) -> Any:
    import pyarrow as pa

    return good_of(column.cast(pa.string()), good)


def _is_text(kind: Any) -> bool:
    import pyarrow as pa

    return bool(pa.types.is_string(kind) or pa.types.is_large_string(kind))
