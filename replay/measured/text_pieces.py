"""A text file as pieces of whole lines in UTF-8, and the number of each line."""

import os
import threading
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import partial
from pathlib import Path

from replay.ground.refusal import refusal
from replay.measured.dialect import LONGEST_LINE, Dialect

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


def pieces(path: Path, dialect: Dialect, block_bytes: int) -> Iterator[Piece]:
    """Yield the lines under the header in pieces of about block_bytes."""
    plain = dialect.encoding in ("utf-8", "utf-8-sig", "ascii") and not dialect.only_cr
    for piece in _raw(path, dialect, block_bytes) if plain else _decoded(path, dialect, block_bytes):
        if len(piece.data) > block_bytes + 4 * LONGEST_LINE:
            last = piece.first_line() + piece.data[:block_bytes].count(b"\n")
            rule = f"longer than {LONGEST_LINE} characters"
            raise refusal(path, f"line {last}", rule, "a row of readings in each line")
        yield piece


def _raw(path: Path, dialect: Dialect, block_bytes: int) -> Iterator[Piece]:
    lines = _LineCount(path)
    with path.open("rb") as stream:
        if dialect.encoding == "utf-8-sig":
            stream.read(3)
        for _ in range(dialect.data_line - 1):
            stream.readline()
        while True:
            offset = stream.tell()
            stream.seek(block_bytes, os.SEEK_CUR)
            stream.readline(8 * LONGEST_LINE)
            end = stream.tell()
            stream.seek(offset)
            data = stream.read(end - offset)
            if not data:
                return
            yield Piece(data.rstrip(b"\x1a") if data.endswith(b"\x1a") else data, partial(lines.before, offset))


def _decoded(path: Path, dialect: Dialect, block_bytes: int) -> Iterator[Piece]:
    newline = None if dialect.only_cr else ""
    line = dialect.data_line
    with path.open(encoding=dialect.encoding, errors="replace", newline=newline) as stream:
        for _ in range(dialect.data_line - 1):
            stream.readline()
        while True:
            text = stream.read(block_bytes)
            text += stream.readline(8 * LONGEST_LINE)
            if not text:
                return
            data = text.rstrip("\x1a").encode("utf-8", errors="replace")
            yield Piece(data, partial(int, line))
            line += data.count(b"\n")
