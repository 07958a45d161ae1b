"""Text files (CSV in its dialects) as blocks of rows.

A block of bytes is cut at a line's end and converted by the CSV reader of arrow (the fast way). Where that finds
anything unusual the block goes through text, line by line (the exact way), which says what is wrong and where.
"""

import contextlib
import csv
import io
from collections.abc import Callable, Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from replay.ground.refusal import Refusal, refusal
from replay.measured import clock as clocks
from replay.measured import columns
from replay.measured.block import Block
from replay.measured.cells import (
    BadCell,
    Giveup,
    fast_nulls,
    null_words,
    status_of_numbers,
    status_of_text,
    text_numbers,
    typed_numbers,
)
from replay.measured.dialect import LONGEST_LINE, Dialect, read_dialect
from replay.measured.marks import looks_like_number
from replay.measured.profile import Profile
from replay.measured.text_pieces import BLOCK_BYTES, Piece, pieces
from replay.measured.unit_text import TIME, Unit, unit_in_name

WORKERS = 2
NUMBER, STAMP, TEXT = "number", "stamp", "text"


class TextSource:
    """A text file read by a profile. Raises Refusal at once for what the header already shows to be wrong."""

    def __init__(self, path: Path, profile: Profile, *, repair: bool = False, block_bytes: int = BLOCK_BYTES) -> None:
        self.path, self.profile, self.repair, self.block_bytes = path, profile, repair, block_bytes
        self.dialect: Dialect = read_dialect(path, profile.file, profile.names)
        self.sentinels = profile.file.sentinels or ()
        names = list(self.dialect.names)
        if not profile.time.columns:
            raise refusal(profile.path, "[time] column", "missing key", "the name of the time column")
        self.time_places = [columns.find(path, profile, names, column) for column in profile.time.columns]
        self.places = {
            signal: columns.find(path, profile, names, item.column) for signal, item in profile.signals.items()
        }
        if self.dialect.marks.doubt:
            raise refusal(path, "numbers", self.dialect.marks.doubt, '[file] decimal = "." or "," in the profile')
        self.units = {signal: self._unit(signal, kind) for signal, kind in profile.kinds.items()}
        self.types = {place: self._type(place) for place in self.places.values()}
        for signal in self.units:
            self.types[self.places[signal]] = NUMBER
        measured = {self.places[signal] for signal in self.units}
        self.words = {self.places[signal] for signal in profile.flags} - measured - set(self.time_places)
        self.clock = self._clock()
        self.types |= dict.fromkeys(self.time_places, self._time_type())
        self.whole = frozenset(filter(self._is_whole, [*self.words, *self.time_places]))

    @property
    def fingerprint(self) -> str:
        """Return what marks files with this header."""
        return self.dialect.fingerprint

    def notes(self) -> list[str]:
        """Say how the file was read."""
        return [*self.dialect.notes(), f"time: {self.clock.note}"]

    def _unit(self, signal: str, kind: str) -> Unit:
        place = self.places[signal]
        item = self.profile.signals[signal]
        name, own = self.dialect.names[place], self.dialect.units[place]
        return columns.unit_of(self.path, self.profile, item, kind, name, own)

    def _type(self, place: int) -> str:
        nothing = null_words(self.sentinels)
        cells = [cell for cell in self.dialect.column(place) if cell.casefold() not in nothing]
        return NUMBER if cells and all(map(looks_like_number, cells)) else TEXT

    def _clock(self) -> clocks.Clock:
        marks = self.dialect.marks
        place = self.time_places[0]
        parts = [self.dialect.column(place) for place in self.time_places]
        cells = [" ".join(cell).strip() for cell in zip(*parts, strict=True)]
        told = [looks_like_number(cell) for cell in cells if cell]
        numbers = len(parts) == 1 and 2 * sum(told) > len(told)
        if numbers:
            cells = [cell.replace(marks.thousands, "") if marks.thousands else cell for cell in cells]
            cells = [cell.replace(marks.decimal, ".") for cell in cells]
        unit = self.dialect.units[place] or unit_in_name(self.dialect.names[place], TIME)
        return clocks.decide(self.path, self.profile.path, self.profile.time, cells, unit, numbers=numbers)

    def _time_type(self) -> str:
        if self.clock.number:
            return NUMBER
        return STAMP if self.clock.iso and len(self.time_places) == 1 else TEXT

    def _is_whole(self, place: int) -> bool:
        """Say whether a time or a status is written in whole numbers, as far as is seen: these read faster."""
        if self.types[place] != NUMBER or (place in self.time_places and not self.clock.counts_whole):
            return False
        return all(cell.isascii() and cell.isdigit() for cell in self.dialect.column(place))

    def blocks(self) -> Iterator[Block]:
        """Yield the rows of the file in order, in blocks that are converted by two threads."""
        with ThreadPoolExecutor(WORKERS) as pool:
            waiting: list[Future[Block]] = []
            for piece in pieces(self.path, self.dialect, self.block_bytes):
                waiting.append(pool.submit(self._sized, piece))
                if len(waiting) > 2 * WORKERS:
                    yield waiting.pop(0).result()
            while waiting:
                yield waiting.pop(0).result()

    def _sized(self, piece: Piece) -> Block:
        block = self._convert(piece)
        block.size = len(piece.data)
        return block

    def _convert(self, piece: Piece) -> Block:
        import pyarrow as pa

        data = piece.data
        if self.dialect.marks.thousands or b"\0" in data:
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
        types = {place: kinds[kind] for place, kind in self.types.items()} | dict.fromkeys(whole, pa.int64())
        table = self._table(piece.data, types, fast=True)
        parts = {int(name): table[name].chunks for name in table.column_names}
        cells = {place: chunks[0] if len(chunks) == 1 else pa.concat_arrays(chunks) for place, chunks in parts.items()}
        numbers = {
            place: typed_numbers(cells[place], self.sentinels) for place, kind in self.types.items() if kind == NUMBER
        }
        time_place = self.time_places[0]
        if self.clock.number:
            time_ms = self.clock.from_numbers(numbers[time_place])
        elif self.types[time_place] == STAMP:
            time_ms = self.clock.from_timestamps(cells[time_place])
        else:
            time_ms = self._text_time(cells)
        if (time_ms == clocks.UNREADABLE).any():
            raise Giveup
        return self._block(time_ms, numbers, cells, piece.place)

    def _exact(self, piece: Piece) -> Block:
        """Convert a block through text; raises Refusal for the first thing that is wrong in it."""
        import pyarrow as pa

        data, lines, left_out = self._whole_lines(piece)
        table = self._table(data, dict.fromkeys(self.types, pa.string()), fast=False)
        cells = {int(name): table[name].combine_chunks() for name in table.column_names}
        empty = self._blank(cells)
        if empty.any():
            cells = {column: texts.filter(pa.array(~empty)) for column, texts in cells.items()}
            lines = lines[~empty]

        def place(row: int) -> str:
            return f"line {lines[row]}"

        numbers = {}
        for column, kind in self.types.items():
            if kind == NUMBER and column not in self.words:
                try:
                    numbers[column] = text_numbers(cells[column], self.dialect.marks, self.sentinels)
                except BadCell as bad:
                    raise self._refused(bad, column, place) from None
        time_ms = self.clock.from_numbers(numbers[self.time_places[0]]) if self.clock.number else self._text_time(cells)
        block = self._block(time_ms, numbers, cells, place)
        block.left_out, block.blank = left_out, int(empty.sum())
        block.time_text = lambda row: " ".join(str(cells[column][row]) for column in self.time_places)
        return block

    def _table(self, data: bytes, types: dict[int, Any], *, fast: bool) -> Any:
        import pyarrow as pa
        import pyarrow.csv as pa_csv

        if not data:
            return pa.table({str(place): pa.array([], kind) for place, kind in types.items()})
        names = [str(place) for place in range(len(self.dialect.names))]
        return pa_csv.read_csv(
            pa.BufferReader(data),
            read_options=pa_csv.ReadOptions(column_names=names, use_threads=False, block_size=max(1 << 20, len(data))),
            parse_options=pa_csv.ParseOptions(delimiter=self.dialect.separator),
            convert_options=pa_csv.ConvertOptions(
                column_types={str(place): kind for place, kind in types.items()},
                include_columns=[str(place) for place in sorted(types)],
                null_values=fast_nulls(self.sentinels) if fast else [],
                strings_can_be_null=False,
                quoted_strings_can_be_null=True,
                decimal_point=self.dialect.marks.decimal,
                timestamp_parsers=[pa_csv.ISO8601],
            ),
        )

    def _text_time(self, cells: dict[int, Any]) -> NDArray[np.int64]:
        import pyarrow.compute as pc

        parts = [pc.utf8_trim_whitespace(cells[place]) for place in self.time_places]
        return self.clock.from_text(parts[0] if len(parts) == 1 else pc.binary_join_element_wise(*parts, " "))

    def _blank(self, cells: dict[int, Any]) -> NDArray[np.bool_]:
        """Say which rows hold nothing in any column that is wanted."""
        import pyarrow.compute as pc

        empty = [np.asarray(pc.equal(pc.utf8_trim_whitespace(column), "")) for column in cells.values()]
        return np.asarray(np.logical_and.reduce(empty), dtype=bool)

    def _block(
        self, time_ms: NDArray[np.int64], numbers: dict[int, Any], cells: dict[int, Any], place: Callable[[int], str]
    ) -> Block:
        values = {signal: numbers[self.places[signal]] for signal in self.profile.channels}
        status = {}
        for signal, flag in self.profile.flags.items():
            where = self.places[signal]
            try:
                if where in numbers:
                    unit = self.units.get(signal)
                    scaled = numbers[where] * unit.scale if unit else numbers[where]
                    status[signal] = status_of_numbers(scaled, flag, self.sentinels)
                else:
                    status[signal] = status_of_text(cells[where], flag, self.sentinels)
            except BadCell as bad:
                raise self._refused(bad, where, place) from None
        return Block(time_ms, values, status, place)

    def _refused(self, bad: BadCell, column: int, place: Callable[[int], str]) -> Refusal:
        name = self.dialect.names[column] or f"column {column + 1}"
        return refusal(self.path, f"{place(bad.row)}, {name}", bad.rule, bad.accepted, bad.value)

    def _whole_lines(self, piece: Piece) -> tuple[bytes, NDArray[np.int64], list[tuple[str, str]]]:
        """Return the lines that are rows, their numbers, and what was left out; refuse unless repairing."""
        rows, numbers, left_out = [], [], []
        lines = io.StringIO(piece.data.decode("utf-8", errors="replace"), newline=None)
        for number, line in enumerate(lines, start=piece.first_line()):
            text = line.rstrip("\n")
            if not text.strip():
                continue
            why = self._broken(text)
            if why is None:
                rows.append(text)
                numbers.append(number)
            elif self.repair:
                left_out.append((why, f"line {number}"))
            else:
                accepted = "whole rows, or --repair to leave this one out"
                raise refusal(self.path, f"line {number}", why, accepted, text)
        data = "\n".join([*rows, ""]).encode() if rows else b""
        return data, np.array(numbers, dtype=np.int64), left_out

    def _broken(self, text: str) -> str | None:
        """Say what is wrong with a line as a row, or None."""
        if len(text) > LONGEST_LINE:
            return f"longer than {LONGEST_LINE} characters"
        if "\0" in text:
            return "holds NUL characters, as after a loss of power"
        separator, width = self.dialect.separator, len(self.dialect.names)
        cells = None
        if '"' in text:
            try:
                cells = next(csv.reader([text], delimiter=separator, strict=True))
            except csv.Error:
                return "a quotation mark is not closed"
        elif text.count(separator) + 1 != width or text.lstrip().startswith(self.dialect.names[0]):
            cells = text.split(separator)
        if cells is not None and len(cells) != width:
            return f"{len(cells)} cell(s) under {width} columns"
        if cells is not None and self.dialect.header_line and [c.strip() for c in cells] == list(self.dialect.names):
            return "repeats the header"
        return None
