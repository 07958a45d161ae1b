"""Imported traces into a library: written beside it first, entered whole or not at all.

Short traces become CSV, to be looked at and edited; long ones Parquet. The moment of a trace's first row
stands in its entry, as start_utc with the zone that was declared: its own time starts at 0 s.
"""

import contextlib
import datetime as dt
import re
import shutil
import tempfile
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from replay.ground.files import settle, write_text
from replay.ground.refusal import or_refuse, refusal, visible
from replay.ground.toml_files import NotTomlError, parse_toml, read_toml
from replay.library.editing import BOM, entry_text, without_entries
from replay.library.library import FILE, check_inside
from replay.measured.assemble import LEAST_ROWS
from replay.measured.channels import Columns
from replay.measured.profile import Profile
from replay.trace.rows import COLUMNS, arrow_kpa

CSV_ROWS = 100000  # a trace with more rows is written as Parquet
GROUP_ROWS = 1 << 18
TRACES = "traces"
RESERVED = re.compile("con|prn|aux|nul|(com|lpt)[0-9]")  # names of devices to some systems, whatever stands behind
ENDINGS = (".csv", ".parquet")
NEVER_EMPTY = ("time_s", "running", "reset")
NEW_LIBRARY = "# Traces of recorded machines. Labels come from inspection or service records, never from the logic.\n"
EPOCH = dt.datetime.fromtimestamp(0, dt.UTC)
TEXTS = {"family": "recorded, unlabelled", "oil": "not stated"}


@dataclass(frozen=True)
class _Content:
    """A library.toml as it was read or written last, so that an import of many files reads it once.

    stamp: which file that is; takes_more: [[trace]] tables may follow at its end.
    """

    stamp: tuple[int, ...]
    text: str
    traces: list[dict[str, Any]]
    takes_more: bool = False


_KNOWN: dict[Path, _Content] = {}


def _stamp(path: Path) -> tuple[int, ...]:
    told = path.stat()
    return (told.st_ino, told.st_size, told.st_mtime_ns)


def _content(library: Path) -> _Content:
    """Return what stands in library.toml now. Raises Refusal for what is no TOML."""
    path = library / FILE
    if not path.exists():
        return _Content((), NEW_LIBRARY, [], takes_more=True)
    known, stamp = _KNOWN.get(path), _stamp(path)
    if known is None or known.stamp != stamp:
        traces = read_toml(path, "library").get("trace", [])
        rows = [item for item in traces if isinstance(item, dict)] if isinstance(traces, list) else []
        known = _KNOWN[path] = _Content(stamp, path.read_bytes().decode("utf-8"), rows)
    return known


def check_toml(library: Path) -> None:
    """Refuse a library.toml that is none."""
    _content(library)


def entries_with(library: Path, digest: str) -> list[str]:
    """Return the ids of a library's entries whose origin names a file with this SHA-256."""
    return [str(item.get("id")) for item in _content(library).traces if digest in str(item.get("origin"))]


def table(time_ms: NDArray[np.int64], columns: Columns) -> Any:
    """Return rows as an arrow table in the columns of a trace file."""
    import pyarrow as pa

    named: dict[str, Any] = {"time_s": pa.array(time_ms / 1000.0)}
    for name in COLUMNS[1:]:
        values = columns.get(re.sub("_(kpa|c|rpm)$", "", name))
        if values is not None and name.endswith("_kpa"):
            named[name] = arrow_kpa(values)
        elif values is not None:
            named[name] = pa.array(values, mask=np.isnan(values) if np.isnan(values.min()) else None)
    fields = [pa.field(name, values.type, nullable=name not in NEVER_EMPTY) for name, values in named.items()]
    return pa.table(named, schema=pa.schema(fields))


class TraceFiles:
    """Writes the traces of one source file into a hidden folder of the library until they are entered."""

    def __init__(self, library: Path) -> None:
        self.library = library
        check_inside(library, library / TRACES)
        self.made = [folder for folder in (library, library / TRACES) if not folder.exists()]
        with or_refuse(library, "written", "a folder for a library"):
            (library / TRACES).mkdir(parents=True, exist_ok=True)
            self.folder = Path(tempfile.mkdtemp(dir=library / TRACES, prefix=".import-"))
        self.files: list[Path] = []
        self.waiting: list[Any] = []
        self.rows = 0
        self.writer: Any = None
        self.out: Any = None
        self.pool = ThreadPoolExecutor(1)
        self.work: Future[None] | None = None

    def write(self, time_ms: NDArray[np.int64], columns: Columns) -> None:
        """Take the next rows of the trace at hand; a thread of its own writes them."""
        self._join()
        self.work = self.pool.submit(self._write, time_ms, columns)

    def end(self) -> None:
        """End the trace at hand; one of fewer than two rows is dropped."""
        self._join()
        with or_refuse(self.folder, "written"):
            self._close()

    def discard(self) -> None:
        """Remove what was written and not entered, and folders that were made for it."""
        self.pool.shutdown(wait=True)
        if self.writer is not None:
            with contextlib.suppress(OSError):  # the disk is full: what could be written goes too
                self.writer.close()
                self.out.close()
        shutil.rmtree(self.folder, ignore_errors=True)
        for folder in reversed(self.made):
            if folder.is_dir() and not any(folder.iterdir()):
                folder.rmdir()

    def _join(self) -> None:
        if self.work is not None:
            with or_refuse(self.folder, "written"):
                self.work.result()
            self.work = None

    def _write(self, time_ms: NDArray[np.int64], columns: Columns) -> None:
        import pyarrow as pa

        self.waiting.append(table(time_ms, columns))
        self.rows += len(time_ms)
        held = sum(len(rows) for rows in self.waiting)
        if self.rows <= CSV_ROWS or held < GROUP_ROWS:
            return
        rows = pa.concat_tables(self.waiting)
        whole = held - held % GROUP_ROWS
        self._write_parquet(rows.slice(0, whole))
        self.waiting = [rows.slice(whole)]

    def _write_parquet(self, rows: Any) -> None:
        """Write rows: readings repeat, so they go through a dictionary; times do not.

        Nobody looks for rows by their values, so there are no statistics.
        """
        import pyarrow.parquet as pq

        if self.writer is None:
            repeating = [name for name in rows.column_names if name != "time_s"]
            how = {"compression": "snappy", "use_dictionary": repeating, "use_byte_stream_split": ["time_s"]}
            self.out = self._file(".parquet").open("wb")
            self.writer = pq.ParquetWriter(self.out, rows.schema, write_statistics=False, **how)
        self.writer.write_table(rows, row_group_size=GROUP_ROWS)

    def _file(self, ending: str) -> Path:
        """Return the path of the file at hand; names sort in the order of the parts."""
        return self.folder / (str(len(self.files)).zfill(6) + ending)

    def _close(self) -> None:
        import pyarrow as pa
        import pyarrow.csv as pa_csv

        if self.rows >= LEAST_ROWS:
            rows = pa.concat_tables(self.waiting)
            file = self._file(".csv" if self.rows <= CSV_ROWS else ".parquet")
            if self.rows <= CSV_ROWS:
                with file.open("wb") as out:
                    pa_csv.write_csv(rows, out, pa_csv.WriteOptions(quoting_style="none"))
            else:
                self._write_parquet(rows)
                self.writer.close()
                self.out.close()
            self.files.append(file)
        self.waiting, self.rows, self.writer = [], 0, None


def enter(library: Path, parts: list[tuple[TraceFiles, list[dict[str, Any]]]], without: frozenset[str]) -> None:
    """Put files in their places and their entries into library.toml, all or none; `without`: ids that they replace."""
    with or_refuse(library, "written"), contextlib.ExitStack() as undo:
        for files, entries in parts:
            for file, entry in zip(files.files, entries, strict=True):
                target = library / entry["file"]
                settle(file)
                file.rename(target)
                undo.callback(target.unlink, missing_ok=True)
        settle(library / TRACES)
        _append(library, [entry for _, entries in parts for entry in entries], without)
        undo.pop_all()


def new_ids(library: Path, source: str, digest: str, files: list[Path], given: set[str]) -> list[str]:
    """Return an id for each trace of a source that is free in the library, numbered where there are several.

    given: ids that others of the same import have got.
    """
    taken = {str(item.get("id")) for item in _content(library).traces} | given
    stem = re.sub(r"[^a-z0-9]+", "-", source.casefold()).strip("-") or "trace"
    if RESERVED.fullmatch(stem):
        stem = f"trace-{stem}"
    width = max(2, len(str(len(files))))
    for name in (stem, f"{stem}-{digest[:8]}", f"{stem}-{digest}"):
        ids = [name if len(files) == 1 else f"{name}-{number:0{width}d}" for number in range(1, len(files) + 1)]
        there = (library / TRACES / f"{name}{ending}" for name in ids for ending in ENDINGS)
        if not taken & set(ids) and not any(file.exists() for file in there):
            return ids
    raise refusal(library, "", f"a trace '{stem}' and one '{ids[0]}' already exist", "a source file of another name")


def start_text(start_ms: int, *, anchored: bool, utc: bool, zone: str | None) -> str:
    """Return when a trace starts, for its origin: UTC, a clock of no stated zone, or the logger's elapsed time."""
    if not anchored:
        return f"starts at {start_ms / 1000:.3f} s of the logger's time"
    moment = EPOCH + dt.timedelta(milliseconds=start_ms)
    text = moment.strftime("%Y-%m-%dT%H:%M:%S.") + f"{moment.microsecond // 1000:03d}"
    return f"starts {text}Z, zone {zone or 'UTC'}" if utc else f"starts {text} of a clock whose zone is not stated"


def entry(
    profile: Profile, source: Path, identity: str, file: Path, origin: str, start_ms: int | None
) -> dict[str, Any]:
    """Return the entry of one trace for library.toml; start_ms: its first row in UTC, None where nobody knows it."""
    texts = TEXTS | {"machine": visible(source.stem)} | profile.texts
    stated = profile.texts.get("origin", "recorded:").rstrip("; ")
    made: dict[str, Any] = {"id": identity, "file": f"{TRACES}/{identity}{file.suffix}"}
    made |= {key: texts[key] for key in ("family", "machine", "oil")}
    made["origin"] = f"{stated}{'' if stated.endswith(':') else ';'} {origin}"
    made["source"] = visible(source.name)
    if start_ms is not None:
        made |= {"start_utc": EPOCH + dt.timedelta(milliseconds=start_ms), "zone": profile.time.zone or "UTC"}
    made["undecided"] = True
    return made | ({"note": texts["note"]} if "note" in texts else {})


def _append(library: Path, entries: list[dict[str, Any]], without: frozenset[str]) -> None:
    """Add [[trace]] tables at the end of library.toml; what stands there stays as it is, byte for byte."""
    path, known = library / FILE, _content(library)
    before, traces = known.text, known.traces
    if without:
        before = without_entries(path, before, without)
        traces = [item for item in traces if item.get("id") not in without]
    added = "\n".join(map(entry_text, entries))
    text = before.rstrip("\r\n") + "\n\n" + added
    try:
        parse_toml(added if known.takes_more else text.removeprefix(BOM))
    except NotTomlError as error:
        rule = f"traces cannot be added at its end ({error})"
        raise refusal(path, "", rule, "traces as [[trace]] tables") from None
    write_text(path, text)
    _KNOWN[path] = _Content(_stamp(path), text, [*traces, *entries], takes_more=True)
