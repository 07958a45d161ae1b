"""Long tables of historians: a row for each reading, with its time, its tag and its value, and perhaps its quality.

They become wide: a row for each time at which any tag that the profile names was read, a column for each tag. What a
tag does not say at that time is no cell; it holds as the profile says, or for max_gap. The order of rows does not
matter, so that newest first and tag after tag are read alike.
"""

import tempfile
from collections.abc import Callable, Iterator
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from replay.ground.refusal import refusal
from replay.ground.zones import offset_or_zone
from replay.measured import columns
from replay.measured.block import Block
from replay.measured.clock import UNREADABLE
from replay.measured.dialect import Dialect, read_dialect
from replay.measured.marks import NUMBER
from replay.measured.parquet import Header, ParquetSource, header
from replay.measured.profile import Profile
from replay.measured.text_layout import clock_of
from replay.measured.text_lines import pieces, whole_lines
from replay.measured.zones import LocalTime, LocalTimeError

MOST_OTHER = 0.02  # share of readings of a tag that may be told otherwise at the same time (assumed)
MOST_BYTES = 500_000_000
TIME, QUALITY = "\0time", "\0quality of "  # names of columns that no tag has


class LongSource(ParquetSource):
    """A long table read by a profile, as a wide one."""

    def __init__(self, path: Path, profile: Profile, *, packed: bool, repair: bool) -> None:
        with tempfile.TemporaryDirectory() as folder:
            text = _as_text(path, Path(folder)) if packed else path
            _check_size(path, text.stat().st_size)
            dialect = read_dialect(text, profile.file, profile.names)
            rows = _Rows(path, text, profile, dialect, repair=repair)
        self.twice, self.left_out = rows.twice, rows.left_out
        wide = replace(profile, time=replace(profile.time, columns=(TIME,)), quality=None, machine_column=rows.machine)
        marked = rows.has_quality
        wide = replace(wide, channels={s: self._own(i, marked) for s, i in profile.channels.items()})
        wide = replace(wide, flags={s: self._own(i, marked) for s, i in profile.flags.items()})
        self._dialect, self._clock_of_rows = dialect, rows.clock
        super().__init__(path, wide, _header(rows.table))
        self.profile = replace(wide, time=replace(wide.time, columns=profile.time.columns))
        self.fingerprint = header(path).fingerprint if packed else dialect.fingerprint

    @staticmethod
    def _own(item: Any, marked: bool) -> Any:  # noqa: FBT001
        return replace(item, quality=f"{QUALITY}{item.column}" if marked and item.column is not None else None)

    def notes(self) -> list[str]:
        """Say how the file was read."""
        twice = [f"{self.twice} readings of a tag at a time that had one: the later in the file counts"]
        rows = f"long form: {self.header.file.metadata.num_rows} times at which any of its tags was read"
        return [*self._dialect.notes(), rows, f"time: {self.clock.note}", *(twice if self.twice else [])]

    def _clock(self) -> Any:
        return self._clock_of_rows

    def _time(self, column: Any) -> Any:
        return np.asarray(column.to_numpy(), dtype=np.int64)

    def _place(self, batch: Any, done: int) -> Callable[[int], str]:
        del done
        times = batch.column(TIME)
        return lambda row: f"time {times[row].as_py() / 1000:.3f} s"

    def blocks(self) -> Iterator[Block]:
        """Yield the rows in the order of time."""
        for number, block in enumerate(super().blocks()):
            if not number:
                block.left_out = self.left_out
            yield block


def _header(table: Any) -> Header:
    import pyarrow as pa
    import pyarrow.parquet as pq

    out = pa.BufferOutputStream()
    pq.write_table(table, out)
    return Header(pq.ParquetFile(pa.BufferReader(out.getvalue())), tuple(table.column_names), ("",) * table.num_columns)


def _check_size(path: Path, size: int) -> None:
    """Refuse a table that would not fit into memory: it is turned into a wide one there."""
    if size > MOST_BYTES:
        rule = f"in long form, and {size / 1e6:.0f} MB as text: it is put together in memory"
        accepted = f"parts of at most {MOST_BYTES / 1e6:.0f} MB, such as months: those of a machine join again in time"
        raise refusal(path, "", rule, accepted)


def _as_text(path: Path, folder: Path) -> Path:
    """Return a Parquet file as text."""
    import pyarrow.csv as pa_csv
    import pyarrow.parquet as pq

    text = folder / path.name
    pa_csv.write_csv(pq.read_table(path), text)
    return text


class _Rows:
    """The rows of a long table, as a wide table in memory."""

    def __init__(self, path: Path, text: Path, profile: Profile, dialect: Dialect, *, repair: bool) -> None:
        import pyarrow as pa

        self.path, self.profile, self.dialect, self.twice, self.repair = path, profile, dialect, 0, repair
        self.left_out: list[tuple[str, str]] = []
        names = list(dialect.names)
        find = partial(columns.find, path, profile, names)
        long = profile.long or ("", "")
        times = tuple(find(column) for column in profile.time.columns)
        wanted = {"tag": find(long[0]), "value": find(long[1])}
        self.has_quality = profile.quality is not None
        if profile.quality is not None:
            wanted["quality"] = find(profile.quality)
        if profile.machine_column is not None:
            wanted["machine"] = find(profile.machine_column)
        self.machine = None if profile.machine_column is None else "\0machine"
        if dialect.marks.doubt:
            raise refusal(path, "numbers", dialect.marks.doubt, '[file] decimal = "." or "," in the profile')
        self.clock = clock_of(path, profile, dialect, times)
        self.zone = profile.time.zone if self.clock.local else None
        read = list(self._read(text, times, wanted))
        parts = {key: np.concatenate([part[key] for part in read]) for key in (*wanted, "ms")}
        tags = sorted({str(column) for column in profile.columns.values()})
        self._check(tags, set(np.unique(parts["tag"]).tolist()))
        machines = np.unique(parts["machine"]).tolist() if self.machine else [""]
        tables = [self._wide(parts, tags, machine) for machine in machines]
        self.table = pa.concat_tables(tables)
        if self.zone:
            self.clock = replace(self.clock, offset=True, form="date")

    def _read(self, text: Path, times: tuple[int, ...], wanted: dict[str, int]) -> Iterator[dict[str, NDArray[Any]]]:
        import pyarrow as pa
        import pyarrow.compute as pc
        import pyarrow.csv as pa_csv

        width = len(self.dialect.names)
        names = [str(place) for place in range(width)]
        for piece in pieces(text, self.dialect):
            data, lines, left_out = whole_lines(self.path, self.dialect, piece, repair=self.repair)
            self.left_out += left_out
            if not data:
                continue
            table = pa_csv.read_csv(
                pa.BufferReader(data),
                pa_csv.ReadOptions(column_names=names, block_size=len(data) + 1),
                pa_csv.ParseOptions(delimiter=self.dialect.separator),
                pa_csv.ConvertOptions(column_types=dict.fromkeys(names, pa.string()), null_values=[]),
            )
            cells = {key: pc.utf8_trim_whitespace(table[str(place)]).combine_chunks() for key, place in wanted.items()}
            stamps = [pc.utf8_trim_whitespace(table[str(place)]).combine_chunks() for place in times]
            time = stamps[0] if len(stamps) == 1 else pc.binary_join_element_wise(*stamps, " ")
            ms = self._ms(time)
            found = {key: np.asarray(column.to_pylist(), dtype=np.str_) for key, column in cells.items()} | {"ms": ms}
            wrong = (ms == UNREADABLE) & (found["tag"] != "")
            for row in np.flatnonzero(wrong).tolist():
                if not self.repair:
                    rule, would = (
                        f"no time ({self.clock.note})",
                        "a time in every row, or --repair to leave such rows out",
                    )
                    raise refusal(self.path, f"line {lines[row]}, time", rule, would, str(time[row]))
                self.left_out.append(("no time", f"line {lines[row]}"))
            yield {key: column[ms != UNREADABLE] for key, column in found.items()}

    def _ms(self, time: Any) -> NDArray[np.int64]:
        if not self.clock.number:
            return self.clock.from_text(time)
        plain = [self.dialect.marks.plain(cell) for cell in time.to_pylist()]
        return self.clock.from_numbers(np.array([float(c) if NUMBER.fullmatch(c) else np.nan for c in plain]))

    def _check(self, tags: list[str], there: set[str]) -> None:
        for tag in tags:
            if tag not in there:
                listed = ", ".join(sorted(there)[:40])
                raise refusal(
                    self.path, "tags", f"no tag '{tag}', which {self.profile.path.name} names", f"one of {listed}"
                )

    def _wide(self, parts: dict[str, NDArray[Any]], tags: list[str], machine: str) -> Any:
        """Return the readings of one machine as a wide table."""
        import pyarrow as pa

        own = {}
        for tag in tags:
            rows = np.flatnonzero((parts["tag"] == tag) & ((parts["machine"] == machine) if self.machine else True))
            own[tag] = self._in_order(parts, rows)
        ticks = np.unique(np.concatenate([ms for ms, _ in own.values()]))
        made: dict[str, Any] = {TIME: pa.array(ticks)}
        for tag, (ms, rows) in own.items():
            place = np.searchsorted(ticks, ms)
            values: list[str | None] = [None] * len(ticks)
            marks: list[str | None] = [None] * len(ticks)
            for at, row in zip(place.tolist(), rows.tolist(), strict=True):
                cell = self.dialect.marks.plain(str(parts["value"][row]))
                values[at] = cell or "nan"  # a reading of nothing ends what held
                if self.has_quality:
                    marks[at] = str(parts["quality"][row]) or "not marked"
            made[tag] = pa.array(values, pa.string())
            if self.has_quality:
                made[f"{QUALITY}{tag}"] = pa.array(marks, pa.string())
        if self.machine:
            made[self.machine] = pa.array([machine] * len(ticks), pa.string())
        return pa.table(made)

    def _in_order(
        self, parts: dict[str, NDArray[Any]], rows: NDArray[np.int64]
    ) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
        """Return the times (UTC where a zone is stated) and rows of one tag, each time once, ascending."""
        ms = parts["ms"][rows]
        if len(ms) > 1 and ms[0] > ms[-1]:
            ms, rows = ms[::-1], rows[::-1]
        if self.zone:
            try:
                ms = LocalTime(offset_or_zone(self.zone), self.profile.time.repeated_hour).to_utc(ms)
            except LocalTimeError as error:
                raise refusal(self.path, "time", error.rule, error.accepted) from None
        order = np.lexsort((rows, ms))
        ms, rows = ms[order], rows[order]
        last = np.append(ms[1:] != ms[:-1], True) if len(ms) else np.zeros(0, dtype=bool)
        self.twice += int((~last).sum())
        values = parts["value"][rows]
        other = np.flatnonzero(~last[:-1] & (values[1:] != values[:-1])) if len(ms) else np.zeros(0, dtype=np.int64)
        if len(other) > MOST_OTHER * len(ms) and not self.repair:
            tag, value = str(parts["tag"][rows[other[0]]]), str(values[other[0]])
            rule = f"{len(other)} of its {len(ms)} readings are followed by another one of the same time"
            accepted = "[trace] machine_column, where the file holds several machines; [time] zone, where the clock"
            accepted += " was put back; or --repair to take the later"
            raise refusal(self.path, f"tag {tag}", rule, accepted, value)
        return ms[last], rows[last]
