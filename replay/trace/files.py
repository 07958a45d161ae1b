"""The files a trace is read from: CSV or, by its ending, Parquet; whole, or in blocks of bounded size."""

import contextlib
import csv
import io
import itertools
import math
import os
from collections.abc import Iterable, Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from functools import partial
from pathlib import Path
from typing import Any

from replay.ground.places import check_file, for_arrow, is_remote, open_bytes, small_object
from replay.ground.refusal import Refusal, or_refuse, refusal
from replay.ground.wording import counted
from replay.trace.rows import COLUMNS, Columns, as_floats, check_header

CSV_BLOCK = 1 << 22  # bytes
DECODERS = 2  # threads
# A Parquet file may unpack to far more than it holds: beyond both of these it is no trace.
UNPACKED_MOST = 1 << 28  # bytes of whole columns
UNPACKED_RATIO = 500  # times the size of the file
LONGEST_LINE = 1 << 16  # bytes; what is longer is no row of a trace
CSV_ROW, PARQUET_ROW = 28, 7  # bytes of a usual row
SMALL_OBJECT = 1 << 20  # bytes: less is fetched as a whole, since each request to a store takes its time
KEPT_OBJECTS = 1 << 26  # bytes of such objects from the look at their first time until their rows are read
PARQUET_BUFFER = 1 << 20  # bytes of a column read ahead, however large its row group


def is_parquet(path: Path) -> bool:
    """Tell what a file is taken for."""
    return path.suffix.lower() == ".parquet"


def read_columns(path: Path) -> Columns:
    """Return the whole columns of a trace file. Raises Refusal."""
    if is_parquet(path):
        with _parquet(path) as file:
            check_unpacked(path, file.metadata)
            return as_floats(path, told(path, file.read))
    return as_floats(path, _csv_table(path, _csv_header(path)))


def read_blocks(path: Path, rows: int) -> Iterator[Columns]:
    """Yield the columns of a trace file in blocks of at most so many rows. Raises Refusal."""
    import pyarrow as pa

    for batch in _parquet_batches(path, rows) if is_parquet(path) else _csv_batches(path):
        for begin in range(0, batch.num_rows, rows):
            yield as_floats(path, pa.Table.from_batches([batch.slice(begin, rows)]))


def count_rows(path: Path, most: int) -> int:
    """Return the data rows of a trace file, without a look at their cells; of CSV at most one more than `most`.

    Raises Refusal.
    """
    if is_parquet(path):
        with _parquet(path) as file:
            return int(file.metadata.num_rows)
    with or_refuse(path, "read"), open_bytes(path) as stream:
        lines = (line for line in iter(partial(stream.readline, LONGEST_LINE), b"") if line.strip())
        return max(0, sum(1 for _ in itertools.islice(lines, most + 2)) - 1)


def rows_about(path: Path) -> int:
    """Return the rows of a trace: told by a Parquet file, estimated for CSV and objects of a store from their size."""
    if not is_parquet(path) or is_remote(path):
        return int(path.stat().st_size) // (PARQUET_ROW if is_parquet(path) else CSV_ROW)
    import pyarrow as pa
    import pyarrow.parquet as pa_parquet

    try:
        return int(pa_parquet.ParquetFile(for_arrow(path)).metadata.num_rows)
    except (pa.ArrowException, OSError):
        return 0  # reading it tells why


def last_time_s(path: Path) -> float:
    """Return the time of the last row, from the end of the file alone; NaN where there is none to be read there.

    What is at fault is told when the rows are read. Raises Refusal for a file that cannot be read.
    """
    if is_parquet(path):
        return _last_time_of_parquet(path)
    place = _csv_header(path).index("time_s")
    with or_refuse(path, "read"), open_bytes(path) as stream:
        stream.seek(max(0, stream.seek(0, os.SEEK_END) - LONGEST_LINE))
        lines = stream.read().decode("utf-8", "replace").split("\n")
    cells = next(csv.reader([next((line for line in reversed(lines) if line.strip()), "")]))
    with contextlib.suppress(ValueError, IndexError):
        return float(cells[place])
    return math.nan


def first_time_told(path: Path) -> float | None:
    """Return the time of the first row where a Parquet file tells it without its rows, as most do. Raises Refusal."""
    if not is_parquet(path):
        return None
    if is_remote(path) and sum(map(len, _KEPT.values())) < KEPT_OBJECTS:
        small = told(path, lambda: small_object(path, SMALL_OBJECT))
        if small is not None:
            _KEPT[path] = small
    with _parquet(path, keep=True) as file:
        place = file.schema_arrow.names.index("time_s")
        if file.metadata.num_row_groups == 0:
            return None
        told_of = file.metadata.row_group(0).column(place).statistics
    known = told_of is not None and told_of.has_min_max and isinstance(told_of.min, (int, float))
    return float(told_of.min) if known else None


def _last_time_of_parquet(path: Path) -> float:
    import pyarrow as pa

    last = math.nan
    with _parquet(path) as file:
        group = range(file.metadata.num_row_groups)[-1:]
        for batch in batches(path, file, PARQUET_BUFFER, ["time_s"], group):
            times = as_floats(path, pa.Table.from_batches([batch]))["time_s"]
            last = float(times[-1]) if len(times) else last
    return last


def place_in(path: Path, row: int) -> str:
    """Return what a message calls a data row counted from 0: the line of a CSV file, the row of a Parquet file."""
    if is_parquet(path):
        return f"row {row + 1}"
    return f"line {next(line for number, (line, _) in enumerate(_data_rows(path)) if number == row)}"


_KEPT: dict[Path, bytes] = {}


def _given(path: Path, *, ranges: bool = False, keep: bool = False) -> Any:
    """Return what pyarrow reads a file from: its path, or an opened object of a store; keep: it will be read again."""
    if path in _KEPT:
        return io.BytesIO(_KEPT[path] if keep else _KEPT.pop(path))
    return open_bytes(path, ranges=ranges) if is_remote(path) else for_arrow(path)


def _csv_header(path: Path) -> list[str]:
    check_file(path)
    try:
        with io.TextIOWrapper(open_bytes(path), encoding="utf-8-sig", newline="") as stream:
            header = [name.strip() for name in next(csv.reader(_lines(path, stream)), [])]
    except FileNotFoundError:
        raise refusal(path, "", "no such trace", "a trace file (CSV, Parquet), by its path") from None
    except OSError as error:
        raise refusal(path, "", f"this trace cannot be read ({error.strerror})") from None
    except UnicodeDecodeError:
        raise refusal(path, "line 1", "not UTF-8 text", f"a header row of {', '.join(COLUMNS)}") from None
    except csv.Error as error:
        raise refusal(path, "line 1", str(error), f"a header row of {', '.join(COLUMNS)}") from None
    check_header(path, "line 1", header)
    return header


def _csv_options(header: list[str]) -> dict[str, Any]:
    import pyarrow as pa
    import pyarrow.csv as pa_csv

    return {
        "read_options": pa_csv.ReadOptions(column_names=header, skip_rows=1, block_size=CSV_BLOCK),
        "convert_options": pa_csv.ConvertOptions(
            column_types=dict.fromkeys(header, pa.float64()), null_values=[""], quoted_strings_can_be_null=True
        ),
    }


def _csv_table(path: Path, header: list[str]) -> Any:
    """Return all rows of a CSV file."""
    import pyarrow as pa
    import pyarrow.csv as pa_csv

    try:
        return pa_csv.read_csv(_given(path), **_csv_options(header))
    except pa.ArrowInvalid as error:
        raise _first_bad_cell(path, header) or refusal(path, "", str(error)) from None


def _csv_batches(path: Path) -> Iterator[Any]:
    """Yield the rows of a CSV file: a small one as a whole, of others blocks that are decoded by two threads."""
    import pyarrow as pa

    header = _csv_header(path)
    if not is_remote(path) and path.stat().st_size < CSV_BLOCK:  # threads of its own would take longer than it does
        yield from _csv_table(path, header).to_batches()
        return
    if next(_data_rows(path), None) is None:
        return
    read, whole = _ChunkReader(header), _whole_lines(path)
    next(whole)
    try:
        with ThreadPoolExecutor(DECODERS) as pool:
            waiting: list[Future[Any]] = []
            for chunk in whole:
                waiting.append(pool.submit(read, chunk))
                if len(waiting) > 2 * DECODERS:
                    yield from waiting.pop(0).result()
            for one in waiting:
                yield from one.result()
    except pa.ArrowInvalid as error:
        raise _first_bad_cell(path, header) or refusal(path, "", str(error)) from None


def _whole_lines(path: Path) -> Iterator[bytes]:
    """Yield the first line of a file, then its others in chunks of about CSV_BLOCK."""
    with open_bytes(path) as stream:
        first = stream.readline(LONGEST_LINE)
        if b"\r" in first.rstrip(b"\r\n"):  # lines end as on old machines
            stream.seek(0)
            first, _, rest = stream.read().partition(b"\r")
            yield from (first, rest)
            return
        yield first
        while chunk := stream.read(CSV_BLOCK):
            yield chunk + stream.readline(CSV_BLOCK)


class _ChunkReader:
    """Turns lines into batches; time and status as whole numbers, which are the sooner read, as long as they are."""

    def __init__(self, header: list[str]) -> None:
        self.header, self.whole = header, True

    def __call__(self, chunk: bytes) -> list[Any]:
        import pyarrow as pa

        if self.whole and b"x" not in chunk and b"X" not in chunk:  # 0x1F is a whole number and no number
            try:
                return self._read(chunk, {"time_s": pa.int64(), "running": pa.int8()})
            except pa.ArrowInvalid:
                self.whole = False
        return self._read(chunk, {})

    def _read(self, chunk: bytes, whole: dict[str, Any]) -> list[Any]:
        import pyarrow as pa
        import pyarrow.csv as pa_csv

        options = _csv_options(self.header)
        options["read_options"] = pa_csv.ReadOptions(
            column_names=self.header, use_threads=False, block_size=len(chunk) + 1
        )
        options["convert_options"].column_types = dict.fromkeys(self.header, pa.float64()) | whole
        batches: list[Any] = pa_csv.read_csv(pa.BufferReader(chunk), **options).to_batches()
        return batches


def _parquet(path: Path, *, keep: bool = False) -> Any:
    import pyarrow.parquet as pa_parquet

    check_file(path)
    # Of an object what a row group needs is fetched at once: each request takes its time.
    how = {"pre_buffer": True} if is_remote(path) else {"buffer_size": PARQUET_BUFFER, "pre_buffer": False}
    file = told(path, lambda: pa_parquet.ParquetFile(_given(path, ranges=True, keep=keep), **how))
    check_header(path, "columns", told(path, lambda: file.schema_arrow.names))
    return file


def check_unpacked(path: Path, metadata: Any) -> None:
    """Refuse a small file that would fill the memory."""
    unpacked = metadata.num_rows * metadata.num_columns * 8
    if unpacked > UNPACKED_MOST and unpacked > UNPACKED_RATIO * path.stat().st_size:
        rule = f"{metadata.num_rows} rows in {path.stat().st_size} bytes: no readings of a machine pack so small"
        raise refusal(path, "", rule, f"at least 1 byte for {UNPACKED_RATIO} of its columns")


def _parquet_batches(path: Path, rows: int) -> Iterator[Any]:
    with _parquet(path) as file:
        yield from batches(path, file, rows)


def batches(
    path: Path, file: Any, rows: int, names: list[str] | None = None, groups: Iterable[int] | None = None
) -> Iterator[Any]:
    """Yield the rows of an opened Parquet file, or of some of its row groups. Raises Refusal where it is damaged."""
    read = file.iter_batches(rows, row_groups=groups, columns=names)
    while (batch := told(path, lambda: next(read, None))) is not None:
        yield batch


def told(path: Path, read: Any) -> Any:
    """Return what `read` returns of a Parquet file. Raises Refusal where it cannot."""
    import pyarrow as pa

    try:
        return read()
    except FileNotFoundError:
        raise refusal(path, "", "no such trace", "a trace file (CSV, Parquet), by its path") from None
    except (pa.ArrowException, OSError, UnicodeDecodeError) as error:
        why = (str(error).splitlines() or [type(error).__name__])[0]
        raise refusal(path, "", f"not a readable Parquet file ({why})") from None


def _data_rows(path: Path) -> Iterator[tuple[int, list[str]]]:
    """Yield (line number, cells) of each data row of a CSV trace, blank lines left out."""
    with io.TextIOWrapper(open_bytes(path), encoding="utf-8-sig", errors="replace", newline="") as stream:
        reader = csv.reader(_lines(path, stream))
        next(reader)
        try:
            for cells in reader:
                if cells:
                    yield reader.line_num, cells
        except csv.Error as error:
            raise refusal(path, f"line {reader.line_num}", str(error), "a row of readings") from None


def _lines(path: Path, stream: io.TextIOWrapper) -> Iterator[str]:
    """Yield the lines of a CSV trace. Raises Refusal for one without an end, of which no memory could hold more."""
    for number in itertools.count(1):
        line = stream.readline(LONGEST_LINE)
        if len(line) == LONGEST_LINE and not line.endswith("\n"):
            raise refusal(path, f"line {number}", f"longer than {LONGEST_LINE} characters", "a row of readings")
        if not line:
            return
        yield line


def _first_bad_cell(path: Path, header: list[str]) -> Refusal | None:
    """Find what made the fast reader give up: slow, and only used to say where."""
    for line, cells in _data_rows(path):
        if len(cells) != len(header):
            count = f"{counted(len(cells), 'cell')} under {counted(len(header), 'column')}"
            return refusal(path, f"line {line}", count, f"{len(header)} cells, empty where there is no reading")
        for name, cell in zip(header, cells, strict=True):
            try:
                float(cell or "nan")
            except ValueError:
                return refusal(path, f"line {line}, {name}", "not a number", "a number or an empty cell", cell)
    return None
