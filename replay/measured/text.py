"""Text files (CSV in its dialects) as blocks of rows.

A block of bytes is cut at a line's end and converted by the CSV reader of arrow (the fast way). Where that finds
anything unusual the block goes through text, line by line (the exact way), which says what is wrong and where.
"""

import contextlib
from collections.abc import Callable, Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from replay.measured.block import Block
from replay.measured.cells import (
    Giveup,
    cells_of,
    fast_nulls,
    good_of,
    names_of,
    status_of_numbers,
    status_of_text,
    text_numbers,
    typed_numbers,
    without_unit,
    words_in,
)
from replay.measured.clock import UNREADABLE
from replay.measured.profile import Profile
from replay.measured.quality import only_good
from replay.measured.text_layout import NUMBER, STAMP, TEXT, layout_of
from replay.measured.text_lines import Piece, from_the_end, pieces, whole_lines

WORKERS = 2


class TextSource:
    """A text file read by a profile. Raises Refusal at once for what the header already shows to be wrong."""

    def __init__(self, path: Path, profile: Profile, *, repair: bool) -> None:
        self.path, self.profile, self.repair = path, profile, repair
        self.sentinels = profile.file.sentinels or ()
        self.layout = layout_of(path, profile)
        self.units, self.clock, self.whole = self.layout.units, self.layout.clock, self.layout.whole
        self.fingerprint = self.layout.dialect.fingerprint

    def notes(self) -> list[str]:
        """Say how the file was read."""
        newest = ["newest first: read from its end"] if self.layout.newest_first else []
        newest += [
            f"LOOK: {name} holds other times of the same rows: are all signals of the time that is used"
            for name in self.layout.other_times
        ]
        return [*self.layout.dialect.notes(), f"time: {self.clock.note}", *newest]

    def blocks(self) -> Iterator[Block]:
        """Yield the rows of the file in order, in blocks that are converted by two threads."""
        with ThreadPoolExecutor(WORKERS) as pool:
            waiting: list[Future[Block]] = []
            found = pieces(self.path, self.layout.dialect)
            for piece in from_the_end(found) if self.layout.newest_first else found:
                waiting.append(pool.submit(self._sized, piece))
                if len(waiting) > 2 * WORKERS:
                    yield waiting.pop(0).result()
            while waiting:
                yield waiting.pop(0).result()

    def words(self) -> dict[str, list[str]]:
        """Return all cells of the file that cannot be read, by the name of their column."""
        found: dict[str, dict[str, None]] = {}
        dialect, flags = self.layout.dialect, self.profile.flags
        for piece in pieces(self.path, dialect):
            data, _, _ = whole_lines(self.path, dialect, piece, repair=True)
            table = self._table(data, dict.fromkeys(self.layout.types, self._text()), fast=False)
            for signal, place in self.layout.places.items():
                flag = flags.get(signal)
                if flag is not None and (flag.kind or flag.mean_above is not None):
                    flag = None
                texts = without_unit(table[str(place)].combine_chunks(), dialect.cell_units[place])
                seen = found.setdefault(dialect.names[place] or f"column {place + 1}", {})
                seen |= dict.fromkeys(words_in(texts, dialect.marks, self.sentinels, flag))
        return {name: list(seen) for name, seen in found.items() if seen}

    @staticmethod
    def _text() -> Any:
        import pyarrow as pa

        return pa.string()

    def _sized(self, piece: Piece) -> Block:
        block = self._convert(piece)
        block.size = len(piece.data)
        return block.backwards() if self.layout.newest_first else block

    def _convert(self, piece: Piece) -> Block:
        import pyarrow as pa

        data = piece.data
        if (
            self.layout.dialect.marks.thousands
            or any(self.layout.dialect.cell_units)
            or self.profile.holds
            or b"\0" in data
        ):
            return self._exact(piece)
        if self.whole and b"x" not in data and b"X" not in data:  # "0x1F" is a whole number to the CSV reader only
            with contextlib.suppress(pa.ArrowInvalid, Giveup):
                return self._fast(piece, self.whole)
        with contextlib.suppress(pa.ArrowInvalid, Giveup):
            block = self._fast(piece, frozenset())
            self.whole = frozenset()  # the rest of the file will hardly be whole again
            return block
        return self._exact(piece)

    def _fast(self, piece: Piece, whole: frozenset[int]) -> Block:
        """Convert a block by the types of its columns; raises ArrowInvalid or Giveup for what that does not fit."""
        import pyarrow as pa

        kinds = {
            NUMBER: pa.float64(),
            TEXT: pa.string(),
            STAMP: pa.timestamp(self.clock.iso or "ns", "UTC" if self.clock.offset else None),
        }
        wanted = self.layout.types.items()
        types = {place: kinds[kind] for place, kind in wanted} | dict.fromkeys(whole, pa.int64())
        table = self._table(piece.data, types, fast=True)
        parts = {int(name): table[name].chunks for name in table.column_names}
        cells = {place: chunks[0] if len(chunks) == 1 else pa.concat_arrays(chunks) for place, chunks in parts.items()}
        numbers = {place: typed_numbers(cells[place], self.sentinels) for place, kind in wanted if kind == NUMBER}
        time_ms = self._time(numbers, cells)
        if (time_ms == UNREADABLE).any():
            raise Giveup
        return self._block(time_ms, numbers, cells, piece.place)

    def _exact(self, piece: Piece) -> Block:
        """Convert a block through text; raises Refusal for the first thing that is wrong in it."""
        import pyarrow as pa

        data, lines, left_out = whole_lines(self.path, self.layout.dialect, piece, repair=self.repair)
        table = self._table(data, dict.fromkeys(self.layout.types, pa.string()), fast=False)
        cells = {int(name): table[name].combine_chunks() for name in table.column_names}
        empty = self._blank(cells)
        if empty.any():
            cells = {column: texts.filter(pa.array(~empty)) for column, texts in cells.items()}
            lines = lines[~empty]

        def place(row: int) -> str:
            return f"line {lines[row]}"

        numbers = {}
        for column, kind in self.layout.types.items():
            if kind == NUMBER and column not in self.layout.words:
                with self._cells(column, place):
                    texts = without_unit(cells[column], self.layout.dialect.cell_units[column])
                    numbers[column] = text_numbers(texts, self.layout.dialect.marks, self.sentinels)
        time_ms = self._time(numbers, cells)
        block = self._block(time_ms, numbers, cells, place)
        block.left_out, block.blank = left_out, int(empty.sum())
        block.time_text = lambda row: " ".join(str(cells[column][row]) for column in self.layout.time_places)
        return block

    def _table(self, data: bytes, types: dict[int, Any], *, fast: bool) -> Any:
        import pyarrow as pa
        import pyarrow.csv as pa_csv

        if not data:
            return pa.table({str(place): pa.array([], kind) for place, kind in types.items()})
        names = [str(place) for place in range(len(self.layout.dialect.names))]
        return pa_csv.read_csv(
            pa.BufferReader(data),
            read_options=pa_csv.ReadOptions(column_names=names, use_threads=False, block_size=max(1 << 20, len(data))),
            parse_options=pa_csv.ParseOptions(delimiter=self.layout.dialect.separator),
            convert_options=pa_csv.ConvertOptions(
                column_types={str(place): kind for place, kind in types.items()},
                include_columns=[str(place) for place in sorted(types)],
                null_values=fast_nulls(self.sentinels) if fast else [],
                strings_can_be_null=False,
                quoted_strings_can_be_null=True,
                decimal_point=self.layout.dialect.marks.decimal,
                timestamp_parsers=[pa_csv.ISO8601],
            ),
        )

    def _time(self, numbers: dict[int, Any], cells: dict[int, Any]) -> NDArray[np.int64]:
        import pyarrow as pa
        import pyarrow.compute as pc

        times = [cells[place] for place in self.layout.time_places]
        if self.clock.number:
            return self.clock.from_numbers(numbers[self.layout.time_places[0]])
        if pa.types.is_timestamp(times[0].type):
            return self.clock.from_timestamps(times[0])
        parts = [pc.utf8_trim_whitespace(column) for column in times]
        return self.clock.from_text(parts[0] if len(parts) == 1 else pc.binary_join_element_wise(*parts, " "))

    def _blank(self, cells: dict[int, Any]) -> NDArray[np.bool_]:
        """Say which rows hold nothing in any column that is used."""
        import pyarrow.compute as pc

        empty = [np.asarray(pc.equal(pc.utf8_trim_whitespace(column), "")) for column in cells.values()]
        return np.asarray(np.logical_and.reduce(empty), dtype=bool)

    def _block(
        self, time_ms: NDArray[np.int64], numbers: dict[int, Any], cells: dict[int, Any], place: Callable[[int], str]
    ) -> Block:
        values = {signal: numbers[self.layout.places[signal]] for signal in self.profile.measured}
        status = {}
        for signal, flag in self.profile.flags.items():
            where = self.layout.places[signal]
            with self._cells(where, place):
                if where in numbers:
                    unit = self.units.get(signal)
                    status[signal] = status_of_numbers(numbers[where], flag, self.sentinels, unit)
                else:
                    status[signal] = status_of_text(cells[where], flag, self.sentinels)
        block = Block(time_ms, values, status, place)
        block.silent = {signal: self._silent(cells[self.layout.places[signal]]) for signal in self.profile.holds}
        if self.profile.flags["running"].mean_above is not None:
            shares = numbers[self.layout.places["running"]]
            block.partly = int(((shares > 0) & (shares < 1)).sum())
        if self.layout.machine is not None:
            block.machine = names_of(cells[self.layout.machine])
        marks = {signal: good_of(cells[where], self.profile.good) for signal, where in self.layout.qualities.items()}
        return only_good(block, marks)

    def _silent(self, cells: Any) -> NDArray[np.bool_]:
        """Say which cells say nothing at all, so that the reading before them holds."""
        import pyarrow.compute as pc

        return np.asarray(pc.equal(pc.utf8_trim_whitespace(cells), ""), dtype=bool)

    def _cells(self, column: int, place: Callable[[int], str]) -> contextlib.AbstractContextManager[None]:
        return cells_of(self.path, self.layout.dialect.names[column] or f"column {column + 1}", place)
