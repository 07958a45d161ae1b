"""What a text file shows of itself: encoding, separator, marks, preamble, header, unit row, first row of readings."""

import csv
import hashlib
import itertools
import re
from collections import Counter
from dataclasses import dataclass, field
from pathlib import Path

from replay.ground.refusal import or_refuse, refusal
from replay.measured.clock import looks_like_time
from replay.measured.marks import Marks, find_marks, looks_like_number
from replay.measured.naming import CLOCK, read_name
from replay.measured.profile import FileForm
from replay.measured.profile_keys import SEPARATORS
from replay.measured.unit_text import kind_of, number_with_unit, without_factor

SAMPLE_BYTES = 65536
LONGEST_LINE = 65536  # characters; no logger's row comes near
TAIL = 80  # rows at the end of the sample that show what a row of readings looks like
LEAST_COLUMNS = 2
READINGS_ABOVE = 5  # rows with a time and numbers that are no preamble any more (assumed)
MOST_ABOVE = 40  # lines at the top in which a name may go over several (assumed)
_OPEN_NAME = re.compile(r'(?:^|[,;\t|])\s*"[^"]*$')
UNIT_FILLERS = {
    "",
    "-",
    "--",
    "1",
    "text",
    "time",
    "date",
    "bool",
    "0/1",
    "on/off",
    "string",
    "none",
    "n/a",
    "hh:mm:ss",
}
MARKS_OF = {b"\xef\xbb\xbf": "utf-8-sig", b"\xff\xfe": "utf-16", b"\xfe\xff": "utf-16"}
NAMES = {",": "comma", ";": "semicolon", "\t": "tab", "|": "bar"}


@dataclass(frozen=True)
class Dialect:
    """How a text file is written. Lines count from 1; header_line is 0 where there is none.

    passed_over: lines without any reading between header and readings; names, units: one for each column, units ""
    where there is no unit row; cell_units: units in the cells, behind the numbers; sample: rows of readings for a look.
    """

    encoding: str
    separator: str
    marks: Marks
    names: tuple[str, ...]
    units: tuple[str, ...]
    header_line: int
    data_line: int
    passed_over: tuple[int, ...]
    only_cr: bool
    cell_units: tuple[str, ...]
    sample: tuple[tuple[str, ...], ...] = field(repr=False)

    def unit(self, place: int) -> str:
        """Return the unit of a column: in the unit row, or behind the numbers of its cells, or ""."""
        return self.units[place] or self.cell_units[place]

    @property
    def fingerprint(self) -> str:
        """Return what marks files with this header: names and units, whatever the separator."""
        return fingerprint(self.names, self.units)

    def column(self, place: int) -> list[str]:
        """Return the sample's cells of one column."""
        return [row[place] for row in self.sample]

    def notes(self) -> list[str]:
        """Say what was found."""
        marks = f'decimal "{self.marks.decimal}"' + (
            f', thousands "{self.marks.thousands}"' if self.marks.thousands else ""
        )
        head = f"header in line {self.header_line}" if self.header_line else "no header"
        units = ", unit row" if any(self.units) else ""
        separator = NAMES[self.separator]
        found = [f"{self.encoding}, {separator}, {marks}, {head}{units}, readings from line {self.data_line}"]
        behind = ", ".join(dict.fromkeys(filter(None, self.cell_units)))
        found += [f"units stand in the cells: {behind}"] if behind else []
        if self.passed_over:
            lines = ", ".join(map(str, self.passed_over))
            found.append(f"passed over between header and readings: line {lines}")
        return found


def fingerprint(names: tuple[str, ...], units: tuple[str, ...]) -> str:
    """Return 16 hex digits that stand for a header and its units."""
    lines = "\n".join(f"{name}\t{unit}" for name, unit in zip(names, units, strict=True))
    return hashlib.sha256(lines.encode()).hexdigest()[:16]


def read_dialect(path: Path, stated: FileForm, names: frozenset[str] = frozenset()) -> Dialect:
    """Look at the beginning of a text file. Raises Refusal for what is no table of text; marks may stay in doubt.

    names: columns that a profile uses; the row that holds them all is the header.
    """
    raw, whole = _sample(path)
    encoding = stated.encoding or _encoding(path, raw)
    lines, only_cr = _lines(path, raw, encoding, whole=whole)
    separator = stated.separator or _separator(path, lines)
    rows = [_cells(line, separator) for line in lines]
    first = _first_reading(path, rows, separator)
    width = len(rows[first])
    header, unit_row = _header(path, rows[:first], width, stated.header_line, names)
    _check_above(path, rows[:first], width)
    top = max([-1 if header is None else header, -1 if unit_row is None else unit_row])
    first = next((place for place in range(top + 1, first) if _told(rows[place], width)), first)
    sample = tuple(tuple(row) for row in rows[first:] if len(row) == width)
    names_row = rows[header] if header is not None else []
    if header and not (names and names <= set(names_row)):
        names_row = _under_their_groups(rows[header - 1], names_row)
    names_row = _over_its_columns(path, (header or 0) + 1, names_row, sample, width, separator)
    cell_units = _units_of_cells(sample, width)
    if any(cell_units):
        sample = tuple(tuple(map(_without_unit, row, cell_units)) for row in sample)
    numbers = filter(looks_like_number, (cell for row in sample for cell in row))
    return Dialect(
        encoding=encoding,
        separator=separator,
        marks=find_marks(numbers, separator, stated.decimal, stated.thousands),
        names=_padded(names_row, width),
        units=_padded(rows[unit_row] if unit_row is not None else [], width),
        header_line=0 if header is None else header + 1,
        data_line=first + 1,
        passed_over=tuple(place + 1 for place in range(top + 1, first) if header is not None and any(rows[place])),
        only_cr=only_cr,
        cell_units=cell_units,
        sample=sample,
    )


def _sample(path: Path) -> tuple[bytes, bool]:
    """Return the beginning of a file, and whether that is all of it."""
    with or_refuse(path, "read", "a file with readings"), path.open("rb") as stream:
        raw = stream.read(SAMPLE_BYTES + 1)
    if not raw.strip(b"\0 \r\n\t\xef\xbb\xbf\xff\xfe"):
        raise refusal(path, "", "empty" if not raw else "holds no text", "a file with readings")
    return raw[:SAMPLE_BYTES], len(raw) <= SAMPLE_BYTES


def _encoding(path: Path, raw: bytes) -> str:
    """Return the encoding: by its mark, by the zeros of UTF-16, else UTF-8 where it is, else that of old Windows."""
    for mark, name in MARKS_OF.items():
        if raw.startswith(mark):
            return name
    even, odd = raw[0:1000:2].count(0), raw[1:1000:2].count(0)
    half = len(raw[:1000]) // 4
    if max(even, odd) > half and min(even, odd) == 0:
        return "utf-16-le" if odd > even else "utf-16-be"
    text = raw.replace(b"\0", b"")
    control = sum(text.count(bytes([code])) for code in range(32) if code not in (9, 10, 13, 12, 26))
    if control > len(raw) / 100 or len(text) < len(raw) / 2:
        raise refusal(path, "", "not text", "CSV text, Parquet or MDF 4")
    try:
        raw[: raw.rfind(b"\n") + 1 or len(raw)].decode("utf-8")
    except UnicodeDecodeError:
        return "cp1252" if not set(raw) & {0x81, 0x8D, 0x8F, 0x90, 0x9D} else "latin-1"
    return "utf-8"


def _lines(path: Path, raw: bytes, encoding: str, *, whole: bool) -> tuple[list[str], bool]:
    """Return the whole lines of the sample, and whether they end in CR alone, as on old machines."""
    text = raw.decode(encoding, errors="replace")
    only_cr = "\n" not in text and "\r" in text
    lines = re.split(r"\r\n|\n|\r", text)
    if not whole:
        lines.pop()
    lines = _whole_names(lines)
    if not lines:
        raise refusal(path, "line 1", f"longer than {LONGEST_LINE} characters", "a row of readings in each line")
    return lines, only_cr


def _whole_names(lines: list[str]) -> list[str]:
    """Return lines with a quoted name that goes over several of them in the first of these, the others empty.

    Only above the readings, where names stand.
    """
    joined = list(lines)
    for place, line in enumerate(lines[:MOST_ABOVE]):
        if joined[place] and line.count('"') % 2 and _OPEN_NAME.search(line):
            for behind in range(place + 1, min(place + MOST_ABOVE, len(lines))):
                joined[place], joined[behind] = f"{joined[place]} {lines[behind]}", ""
                if joined[place].count('"') % 2 == 0:
                    break
            else:
                return lines
    return joined


def _cells(line: str, separator: str) -> list[str]:
    if line and '"' not in line:
        return [cell.strip() for cell in line.split(separator)]
    try:
        return [cell.strip() for cell in next(csv.reader([line], delimiter=separator), [])]
    except csv.Error:
        return []


def _separator(path: Path, lines: list[str]) -> str:
    """Return the separator under which the last rows are alike and their cells most like readings."""
    stated = re.fullmatch(r"\"?sep=(.)\"?", lines[0].strip("\ufeff"))
    if stated and stated[1] in SEPARATORS:
        return stated[1]
    tail = [line for line in lines if line.strip()][-TAIL:]
    best, choice = (0.0, 0), ""
    for separator in SEPARATORS if tail else ():
        rows = [_cells(line, separator) for line in tail]
        width, count = Counter(map(len, rows)).most_common(1)[0]
        if width < LEAST_COLUMNS:
            continue
        cells = [cell for row in rows if len(row) == width for cell in row]
        alike = sum(_kind(cell) != "word" for cell in cells) / len(cells) * count / len(rows)
        if (round(alike, 3), width) > best:
            best, choice = (round(alike, 3), width), separator
    if not choice:
        accepted = 'columns parted by ",", ";", tab or "|", or [file] separator in the profile'
        raise refusal(path, "", "no table of columns is seen in it", accepted)
    return choice


def _kind(cell: str) -> str:
    if not cell:
        return "empty"
    if looks_like_number(cell) or number_with_unit(cell):
        return "number"
    return "time" if looks_like_time(cell) else "word"


def _units_of_cells(sample: tuple[tuple[str, ...], ...], width: int) -> tuple[str, ...]:
    """Return for each column the unit that stands behind most of its numbers, "" where there is none."""
    found = []
    for place in range(width):
        units = Counter(split[1] for row in sample if (split := number_with_unit(row[place])) is not None)
        plain = sum(looks_like_number(row[place]) for row in sample)
        unit, count = units.most_common(1)[0] if units else ("", 0)
        found.append(unit if count > plain else "")
    return tuple(found)


def _without_unit(cell: str, unit: str) -> str:
    return cell.removesuffix(unit).strip() if unit else cell


def _first_reading(path: Path, rows: list[list[str]], separator: str) -> int:
    """Return the place of the first row that looks like the rows at the end of the sample."""
    tail = [row for row in rows if any(row)][-TAIL:]
    width = Counter(map(len, tail)).most_common(1)[0][0] if tail else 0
    kinds = [Counter(_kind(row[i]) for row in tail if len(row) == width and row[i]) for i in range(width)]
    usual = [counts.most_common(1)[0][0] if counts else "empty" for counts in kinds]
    for mixed, counts in enumerate(kinds):  # a header among few rows must not outvote the readings
        if usual[mixed] == "word" and counts["number"] + counts["time"]:
            usual[mixed] = "number" if counts["number"] >= counts["time"] else "time"
    measured = [i for i, kind in enumerate(usual) if kind in ("number", "time")]
    for place, row in enumerate(rows):
        if len(row) == width and measured:
            alike = sum(_kind(row[i]) == usual[i] for i in measured)
            if 2 * alike >= len(measured) and not is_unit_row(row):
                return place
    accepted = f'rows of readings parted by "{separator}" under a header'
    raise refusal(path, "", "no row of readings is found", accepted)


def _header(
    path: Path, above: list[list[str]], width: int, stated: int | None, names: frozenset[str]
) -> tuple[int | None, int | None]:
    """Return the places of the row of names and of the unit row, None where there is none."""
    if stated is not None:
        if stated > len(above):
            raise refusal(
                path, "[file] header_line", f"readings begin in line {len(above) + 1}", "a line above", stated
            )
        header = stated - 1 if stated else None
    else:
        near = [place for place, row in enumerate(above) if _fits(row, width)]
        naming = [place for place, row in enumerate(above) if names and names <= set(row)]
        titles = naming or [place for place in near if not is_unit_row(above[place])]
        header = titles[-1] if titles else None
    units = [p for p, row in enumerate(above) if (header is None or p > header) and is_unit_row(row)]
    if not units and header and len(above[header - 1]) == len(above[header]) and is_unit_row(above[header - 1]):
        units = [header - 1]
    return header, units[0] if units else None


def _over_its_columns(
    path: Path, line: int, row: list[str], sample: tuple[tuple[str, ...], ...], width: int, separator: str
) -> list[str]:
    """Return the row of names so that each stands over its own column, where it has one less or more than the rows.

    The times say where it begins: a column of row numbers in front is often without a name. Raises Refusal where
    nothing tells.
    """
    more = len(row) - width
    if not row or abs(more) != 1 or not (any(row[width:]) if more > 0 else any(cells[-1] for cells in sample)):
        return row
    clocks = {place for place, name in enumerate(row) if read_name(name).says(CLOCK)}
    times = {place for place in range(width) if all(_kind(cells[place]) == "time" for cells in sample)}
    shifted = {place - more for place in clocks} & times
    if shifted and not clocks & times:
        return row[1:] if more > 0 else ["", *row]
    if separator == "," and more < 0 and _may_be_split(sample):
        rule = f"{len(row)} names over {width} columns: decimal commas that part columns, or a column without a name?"
        raise refusal(path, f"line {line}", rule, "numbers in quotes, another separator, or a name for each column")
    if not times and more < 0 and _count_on([cells[0] for cells in sample]):
        rule = f"{len(row)} names over {width} columns, and the first column counts rows or seconds: which has no name?"
        raise refusal(path, f"line {line}", rule, "a name for each, or [file] header_line = 0 and columns by number")
    return row


def _under_their_groups(above: list[str], row: list[str]) -> list[str]:
    """Return names of which some stand several times with the name of their group, from the row above, before them.

    A group that is named over its first column goes on to the next, as where a spreadsheet has joined its cells.
    """
    told = [name for name in row if name]
    groups: list[str] = []
    for cell in above:
        groups.append(cell or (groups[-1] if groups else ""))
    named = [cell for cell in above if cell]
    if len(set(told)) == len(told) or len(above) != len(row) or is_unit_row(above):
        return row
    if any(_kind(cell) != "word" for cell in named):
        return row
    joined = [" ".join(filter(None, pair)) for pair in zip(groups, row, strict=True)]
    filled = [name for name, own in zip(joined, row, strict=True) if own]
    return joined if len(set(filled)) == len(filled) else row


def _may_be_split(sample: tuple[tuple[str, ...], ...]) -> bool:
    """Say whether two columns side by side may be the halves of one number, or of a time and its fraction."""
    halves = [
        all(_kind(cell) in ("number", "time") and "." not in cell for cell in cells)
        for cells in zip(*sample, strict=True)
    ]
    whole = [all(cell.isdigit() for cell in cells) for cells in zip(*sample, strict=True)]
    return any(before and after for before, after in zip(halves, whole[1:], strict=False))


def _count_on(cells: list[str]) -> bool:
    """Say whether cells are whole numbers that rise by one a row."""
    return (
        len(cells) > 1
        and all(map(str.isdigit, cells))
        and {int(b) - int(a) for a, b in itertools.pairwise(cells)} == {1}
    )


def _check_above(path: Path, above: list[list[str]], width: int) -> None:
    """Refuse rows of readings above the header that fits the rest: the columns change within the file."""
    filled = [(number, row) for number, row in enumerate(above, start=1) if any(row)]
    for wide, some in itertools.groupby(filled, lambda told: len(told[1])):
        rows = [(number, row) for number, row in some if _kind_of_readings(row)]
        if len(rows) >= READINGS_ABOVE and wide != width:
            rule = f"{len(rows)} rows of readings in {wide} columns, the rest of the file is in {width}"
            raise refusal(path, f"lines {rows[0][0]} to {rows[-1][0]}", rule, "a file for each header, cut in two here")


def _kind_of_readings(row: list[str]) -> bool:
    """Say whether a row holds a time and numbers, as readings do."""
    kinds = Counter(map(_kind, row))
    return kinds["time"] > 0 and kinds["number"] > 0 and kinds["word"] <= 1


def _told(row: list[str], width: int) -> bool:
    """Say whether a row under the header tells a number or a time, so that it must not be passed over."""
    return len(row) == width and any(_kind(cell) in ("number", "time") for cell in row)


def _fits(row: list[str], width: int) -> bool:
    """Say whether a row can be the header of readings of this width: as wide, and named more than by half."""
    named = sum(bool(cell) for cell in row)
    return abs(len(row) - width) <= 1 and 2 * named > width


def is_unit_row(row: list[str]) -> bool:
    """Say whether a row holds units: at least one of a pressure or the like, and nothing that is none."""
    told = [cell for cell in row if cell.casefold() not in UNIT_FILLERS]
    units = [cell for cell in told if not looks_like_number(cell) and kind_of(without_factor(cell)) is not None]
    return bool(units) and 2 * len(units) > len(told)


def _padded(row: list[str], width: int) -> tuple[str, ...]:
    cells = [cell.strip("\ufeff").strip() for cell in row[:width]]
    return tuple(cells + [""] * (width - len(cells)))
