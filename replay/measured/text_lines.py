"""Which lines of a text file are rows, and what is wrong with the others."""

import csv
import io
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from replay.ground.refusal import refusal
from replay.measured.dialect import LONGEST_LINE, Dialect
from replay.measured.text_pieces import Piece


def whole_lines(
    path: Path, dialect: Dialect, piece: Piece, *, repair: bool
) -> tuple[bytes, NDArray[np.int64], list[tuple[str, str]]]:
    """Return the lines that are rows, their numbers, and what was left out; refuse unless repairing."""
    rows, numbers, left_out = [], [], []
    lines = io.StringIO(piece.data.decode("utf-8", errors="replace"), newline=None)
    for number, line in enumerate(lines, start=piece.first_line()):
        text = line.rstrip("\n")
        if not text.strip():
            continue
        why = _broken(text, dialect)
        if why is None:
            rows.append(text)
            numbers.append(number)
        elif repair:
            left_out.append((why, f"line {number}"))
        else:
            raise refusal(path, f"line {number}", why, "whole rows, or --repair to leave this one out", text)
    data = "\n".join([*rows, ""]).encode() if rows else b""
    return data, np.array(numbers, dtype=np.int64), left_out


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
        return f"{len(cells)} cell(s) under {width} columns"
    if cells is not None and dialect.header_line and [c.strip() for c in cells] == list(dialect.names):
        return "repeats the header"
    return None
