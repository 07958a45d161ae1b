"""The lines of a text file: in pieces as UTF-8, with their numbers; which are rows, what is wrong with the others."""

import csv
import io
import os
import tempfile
import threading
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import partial
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from replay.ground.refusal import refusal
from replay.ground.wording import counted
from replay.measured.dialect import LONGEST_LINE, Dialect, is_unit_row

BLOCK_BYTES = 2 << 20  # small enough for caches, large enough that the work around a block does not count


@dataclass(frozen=True)
class Piece:
    """Whole lines of a file as UTF-8, and how to find the number of the first: it is seldom asked for."""

    data: bytes
    first_line: Callable[[], int]

    def place(self, row: int) -> str:
        """Return "line N" of a row, blank lines not counted as rows."""
        filled = (n for n, line in enumerate(self.data.split(b"\n")) if line.strip(b"\r"))
        found = next(number for count, number in enumerate(filled) if count == row)
        return f"line {self.first_line() + found}"


class _LineCount:
    """Counts lines before a place of a file, each of them once where the places come in order."""

    def __init__(self, path: Path) -> None:
        self.path, self.offset, self.line = path, 0, 1
        self.lock = threading.Lock()

    def before(self, offset: int) -> int:
        """Return the number of the line that begins at this byte."""
        with self.lock, self.path.open("rb") as stream:
            if offset < self.offset:
                self.offset, self.line = 0, 1
            stream.seek(self.offset)
            while self.offset < offset:
                chunk = stream.read(min(BLOCK_BYTES, offset - self.offset))
                self.line += chunk.count(b"\n")
                self.offset += len(chunk)
            return self.line


def pieces(path: Path, dialect: Dialect) -> Iterator[Piece]:
    """Yield the lines under the header in pieces of about BLOCK_BYTES."""
    plain = dialect.encoding in ("utf-8", "utf-8-sig", "ascii") and not dialect.only_cr
    for piece in _raw(path, dialect) if plain else _decoded(path, dialect):
        if len(piece.data) > BLOCK_BYTES + 4 * LONGEST_LINE:
            last = piece.first_line() + piece.data[:BLOCK_BYTES].count(b"\n")
            rule = f"longer than {LONGEST_LINE} characters"
            raise refusal(path, f"line {last}", rule, "a row of readings in each line")
        yield piece


def from_the_end(found: Iterator[Piece]) -> Iterator[Piece]:
    """Yield pieces in the reverse order: they wait on disk, so that a long file takes no more memory."""
    with tempfile.TemporaryFile() as waiting:
        places = []
        for piece in found:
            places.append((waiting.tell(), len(piece.data), piece.first_line))
            waiting.write(piece.data)
        for offset, size, first_line in reversed(places):
            waiting.seek(offset)
            yield Piece(waiting.read(size), first_line)


def _raw(path: Path, dialect: Dialect) -> Iterator[Piece]:
    lines = _LineCount(path)
    with path.open("rb") as stream:
        if dialect.encoding == "utf-8-sig":
            stream.read(3)
        for _ in range(dialect.data_line - 1):
            stream.readline()
        while True:
            offset = stream.tell()
            stream.seek(BLOCK_BYTES, os.SEEK_CUR)
            stream.readline(8 * LONGEST_LINE)
            end = stream.tell()
            stream.seek(offset)
            data = stream.read(end - offset)
            if not data:
                return
            yield Piece(data.rstrip(b"\x1a") if data.endswith(b"\x1a") else data, partial(lines.before, offset))


def _decoded(path: Path, dialect: Dialect) -> Iterator[Piece]:
    newline = None if dialect.only_cr else ""
    line = dialect.data_line
    with path.open(encoding=dialect.encoding, errors="replace", newline=newline) as stream:
        for _ in range(dialect.data_line - 1):
            stream.readline()
        while True:
            text = stream.read(BLOCK_BYTES)
            text += stream.readline(8 * LONGEST_LINE)
            if not text:
                return
            data = text.rstrip("\x1a").encode("utf-8", errors="replace")
            yield Piece(data, partial(int, line))
            line += data.count(b"\n")


def whole_lines(
    path: Path, dialect: Dialect, piece: Piece, *, repair: bool
) -> tuple[bytes, NDArray[np.int64], list[tuple[str, str]]]:
    """Return the lines that are rows, their numbers, and what was left out; refuse unless repairing."""
    rows, numbers, left_out = [], [], []
    lines = io.StringIO(piece.data.decode("utf-8", errors="replace"), newline=None)
    for number, line in enumerate(lines, start=piece.first_line()):
        text = line.rstrip("\n").lstrip("\ufeff")  # where a second file was put behind the first
        if not text.strip():
            continue
        why = _broken(text, dialect) or _another_header(path, number, text, dialect)
        if why is None:
            rows.append(text)
            numbers.append(number)
        elif repair:
            left_out.append((why, f"line {number}"))
        else:
            raise refusal(path, f"line {number}", why, "whole rows, or --repair to leave this one out", text)
    data = "\n".join([*rows, ""]).encode() if rows else b""
    return data, np.array(numbers, dtype=np.int64), left_out


def _another_header(path: Path, number: int, text: str, dialect: Dialect) -> str | None:
    """Refuse a header or a unit row among the rows that is not the file's own: the columns mean something else there.

    One that is the file's own unit row is told as a broken line.
    """
    if not dialect.header_line or text.lstrip(' "')[:1] in "0123456789+-.":
        return None
    cells = [cell.strip().strip('"') for cell in text.split(dialect.separator)]
    names = [name for name in dialect.names if name]
    if len(set(cells) & set(names)) > 1 or (cells[0] == dialect.names[0] != ""):
        changed = ", ".join(cell for cell in cells if cell not in names) or "their order"
        rule = f"another header: {changed} changed"
        raise refusal(path, f"line {number}", rule, "a file for each, cut in two here", text)
    if not is_unit_row(cells):
        return None
    if tuple(cells) == dialect.units:
        return "repeats the units"
    raise refusal(path, f"line {number}", "other units than above", "a file for each, cut in two here", text)


def _broken(text: str, dialect: Dialect) -> str | None:
    """Say what is wrong with a line as a row, or None."""
    if len(text) > LONGEST_LINE:
        return f"longer than {LONGEST_LINE} characters"
    if "\0" in text:
        return "holds NUL characters, as after a loss of power"
    separator, width = dialect.separator, len(dialect.names)
    cells = None
    if '"' in text:
        try:
            cells = next(csv.reader([text], delimiter=separator, strict=True))
        except csv.Error:
            return "a quotation mark is not closed"
    elif text.count(separator) + 1 != width or text.lstrip().startswith(dialect.names[0]):
        cells = text.split(separator)
    if cells is not None and len(cells) != width:
        return f"{counted(len(cells), 'cell')} under {counted(width, 'column')}"
    if cells is not None and dialect.header_line and [c.strip() for c in cells] == list(dialect.names):
        return "repeats the header"
    return None
