"""Sheets of a workbook (xlsx, xlsm, xlsb, xls, ods) as text files (needs the extra `workbook`).

A cell goes as its value and not as it is shown: dates as ISO 8601, numbers with every digit. So nothing of a country's
way of writing is left to be told.
"""

import csv
import datetime as dt
import zipfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

from replay.ground.extras import install
from replay.ground.refusal import refusal
from replay.measured.marks import looks_like_number

OLD = b"\xd0\xcf\x11\xe0"
LEAST_ROWS, LEAST_NUMBERS = 3, 2  # of a sheet that may hold readings


def is_workbook(path: Path, head: bytes) -> bool:
    """Say whether a file is a workbook: by what is in it, never by its name."""
    if head.startswith(OLD):
        return True
    if not head.startswith(b"PK\x03\x04"):
        return False
    try:
        with zipfile.ZipFile(path) as archive:
            names = set(archive.namelist())
    except (zipfile.BadZipFile, OSError):
        return False
    return bool(names & {"xl/workbook.xml", "xl/workbook.bin"}) or {"content.xml", "mimetype"} <= names


def write_sheets(path: Path, new: Callable[[str], Path]) -> list[tuple[str, Path]]:
    """Write each sheet with readings as text and return (sheet, file). Raises Refusal without the extra."""
    try:
        import python_calamine
    except ImportError:
        accepted = f"{install('workbook')}, or its sheet saved as CSV"
        raise refusal(path, "", "is a workbook, which needs a package that is not installed", accepted) from None
    try:
        book = python_calamine.CalamineWorkbook.from_path(path)
        sheets = [(name, book.get_sheet_by_name(name).to_python()) for name in book.sheet_names]
    except Exception as error:  # noqa: BLE001 - whatever the library meets in a damaged file
        raise refusal(path, "", f"not a readable workbook ({error})", "a whole workbook, or its sheet as CSV") from None
    filled = [(name, rows) for name, rows in sheets if _holds_readings(rows)]
    if not filled:
        listed = ", ".join(name for name, _ in sheets)
        raise refusal(path, "", f"no sheet of it holds readings ({listed})", "a sheet with a row of readings a line")
    found = []
    for name, rows in filled:
        file = new(path.name if len(filled) == 1 else f"{path.stem} {name}{path.suffix}")
        with file.open("w", encoding="utf-8", newline="") as out:
            csv.writer(out, lineterminator="\n").writerows([_cell(value) for value in row] for row in rows)
        found.append((name, file))
    return found


def _holds_readings(rows: list[list[Any]]) -> bool:
    """Say whether several rows hold several numbers, those in text included, and no status alone."""
    numbers = [
        sum(isinstance(v, int | float) or (isinstance(v, str) and looks_like_number(v)) for v in row) for row in rows
    ]
    return sum(count >= LEAST_NUMBERS for count in numbers) >= LEAST_ROWS


def _cell(value: Any) -> str:
    if isinstance(value, bool):
        return str(int(value))
    if isinstance(value, float):
        return f"{value:.15g}"
    if isinstance(value, dt.datetime):
        return (value + dt.timedelta(microseconds=500)).isoformat(" ", "milliseconds")
    if isinstance(value, dt.timedelta):
        return f"{value.total_seconds():.3f}"
    return " ".join(str(value).splitlines())
