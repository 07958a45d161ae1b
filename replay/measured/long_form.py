"""Long tables of historians: a row for each reading, with its time, its tag and its value, and perhaps its quality.

They become wide: a row for each time at which any tag that the profile names was read, a column for each tag. What a
tag does not say at that time is no cell; it holds as the profile says, or for max_gap. The order of rows does not
matter, so that newest first and tag after tag are read alike. One day after the other is put together (`long_days`),
into a file of its own, so that a table may be larger than memory.
"""

import tempfile
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
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
from replay.measured.long_days import Days
from replay.measured.marks import NUMBER
from replay.measured.naming import unit_column
from replay.measured.parquet import Header, ParquetSource, header
from replay.measured.profile import Profile
from replay.measured.text_layout import clock_of
from replay.measured.text_lines import pieces, whole_lines
from replay.measured.unit_text import kind_of
from replay.measured.zones import LocalTime, LocalTimeError

MOST_OTHER = 0.02  # share of readings of a tag that may be told otherwise at the same time (assumed)
TIME, QUALITY = "\0time", "\0quality of "  # names of columns that no tag has


class LongSource(ParquetSource):
    """A long table read by a profile, as a wide one."""

    def __init__(self, path: Path, profile: Profile, *, packed: bool, repair: bool) -> None:
        self.folder = tempfile.TemporaryDirectory(prefix="lubetrip-")  # goes with this source
        folder = Path(self.folder.name)
        text = _as_text(path, folder) if packed else path
        dialect = read_dialect(text, profile.file, profile.names)
        rows = _Rows(path, text, profile, dialect, folder, repair=repair)
        self.twice, self.left_out = rows.twice, rows.left_out
        wide = replace(profile, time=replace(profile.time, columns=(TIME,)), quality=None, machine_column=rows.machine)
        marked = rows.has_quality
        wide = replace(wide, channels={s: self._own(i, marked) for s, i in profile.channels.items()})
        wide = replace(wide, flags={s: self._own(i, marked) for s, i in profile.flags.items()})
        self._dialect, self._clock_of_rows = dialect, rows.clock
        super().__init__(path, wide, _header(rows.wide, rows.units))
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


def _header(wide: Path, units: dict[str, str]) -> Header:
    import pyarrow.parquet as pq

    file = pq.ParquetFile(wide)
    names = tuple(file.schema_arrow.names)
    return Header(file, names, tuple(units.get(name, "") for name in names))


def _as_text(path: Path, folder: Path) -> Path:
    """Return a Parquet file as text."""
    import pyarrow.csv as pa_csv
    import pyarrow.parquet as pq

    text, file = folder / path.name, pq.ParquetFile(path)
    with pa_csv.CSVWriter(text, file.schema_arrow) as writer:
        for batch in file.iter_batches():
            writer.write_batch(batch)
    return text


class _Rows:
    """The rows of a long table, as a wide table in a Parquet file."""

    def __init__(
        self, path: Path, text: Path, profile: Profile, dialect: Dialect, folder: Path, *, repair: bool
    ) -> None:
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
        beside = unit_column(names, set(wanted.values()))
        if beside is not None:
            wanted["unit"] = beside
        self.beside: dict[str, set[str]] = {}  # units that stand beside the readings of each tag
        if dialect.marks.doubt:
            raise refusal(path, "numbers", dialect.marks.doubt, '[file] decimal = "." or "," in the profile')
        self.clock = clock_of(path, profile, dialect, times)
        self.zone = profile.time.zone if self.clock.local else None
        self.tags = sorted({str(column) for column in profile.columns.values()})
        self.there: set[str] = set()
        self.machines: set[str] = set()
        days = Days(folder)
        for table in self._read(text, times, wanted):
            days.add(table)
        self._check()
        self.units = self._one_unit_each()
        self.wide = folder / "wide"
        self._write(days)
        if self.zone:
            self.clock = replace(self.clock, offset=True, form="date")

    def _read(self, text: Path, times: tuple[int, ...], wanted: dict[str, int]) -> Iterator[Any]:
        """Yield the readings of the wanted tags, as tables of text beside their ms."""
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
            named = np.asarray(pc.not_equal(cells["tag"], ""))
            wrong = (ms == UNREADABLE) & named
            for row in np.flatnonzero(wrong).tolist():
                if not self.repair:
                    rule, would = (
                        f"no time ({self.clock.note})",
                        "a time in every row, or --repair to leave such rows out",
                    )
                    raise refusal(self.path, f"line {lines[row]}, time", rule, would, str(time[row]))
                self.left_out.append(("no time", f"line {lines[row]}"))
            self.there |= set(pc.unique(cells["tag"]).to_pylist())
            self.machines |= set(pc.unique(cells["machine"]).to_pylist()) if self.machine else {""}
            own = (ms != UNREADABLE) & np.asarray(pc.is_in(cells["tag"], value_set=pa.array(self.tags)))
            if "unit" in cells:
                for pair in (
                    pa.table([cells["tag"], cells.pop("unit")], ["tag", "unit"])
                    .group_by(["tag", "unit"])
                    .aggregate([])
                    .to_pylist()
                ):
                    self.beside.setdefault(pair["tag"], set()).add(pair["unit"])
            coded = {key: column.dictionary_encode() for key, column in cells.items()}
            yield pa.table(coded | {"ms": ms}).filter(pa.array(own)).unify_dictionaries()

    def _ms(self, time: Any) -> NDArray[np.int64]:
        if not self.clock.number:
            return self.clock.from_text(time)
        plain = [self.dialect.marks.plain(cell) for cell in time.to_pylist()]
        return self.clock.from_numbers(np.array([float(c) if NUMBER.fullmatch(c) else np.nan for c in plain]))

    def _one_unit_each(self) -> dict[str, str]:
        """Return the unit that stands beside the readings of each tag. Raises Refusal where that changes."""
        found: dict[str, str] = {}
        for tag in self.tags:
            some = sorted(unit for unit in self.beside.get(tag, ()) if kind_of(unit) is not None)
            if len(some) > 1:
                rule = f"its readings are in {' and '.join(some)}"
                accepted = "the file cut where the unit changes, with a profile for each part"
                raise refusal(self.path, f"tag {tag}", rule, accepted)
            found |= {tag: some[0]} if some else {}
        return found

    def _check(self) -> None:
        for tag in self.tags:
            if tag not in self.there:
                listed = ", ".join(sorted(self.there)[:40])
                raise refusal(
                    self.path, "tags", f"no tag '{tag}', which {self.profile.path.name} names", f"one of {listed}"
                )

    def _write(self, days: Days) -> None:
        """Write the wide table: machine after machine, day after day."""
        import pyarrow as pa
        import pyarrow.parquet as pq

        kinds = {TIME: pa.int64()}
        for tag in self.tags:
            kinds |= {tag: pa.string()} | ({f"{QUALITY}{tag}": pa.string()} if self.has_quality else {})
        kinds |= {self.machine: pa.string()} if self.machine else {}
        with pq.ParquetWriter(self.wide, pa.schema(kinds)) as out:
            for machine in sorted(self.machines):
                own = {tag: _Tag(tag, self._clock_of_tag()) for tag in self.tags}
                for day in days:
                    out.write_table(self._of_a_day(day, own, machine).cast(pa.schema(kinds)))
                for known in own.values():
                    self.twice += known.twice
                    self._check_other(known)

    def _clock_of_tag(self) -> LocalTime | None:
        return LocalTime(offset_or_zone(self.zone), self.profile.time.repeated_hour) if self.zone else None

    def _of_a_day(self, day: Any, own: dict[str, "_Tag"], machine: str) -> Any:
        """Return the readings of one machine on one day as a wide table."""
        import pyarrow as pa
        import pyarrow.compute as pc

        if self.machine:
            day = day.filter(pc.equal(day["machine"], machine))
        texts = {key: _Texts(day[key]) for key in ("value", *(["quality"] if self.has_quality else []))}
        texts["value"].words = [self.dialect.marks.plain(word) or "nan" for word in texts["value"].words]
        all_ms, tags = day["ms"].to_numpy(), _Texts(day["tag"])
        found = {name: self._in_order(tag, all_ms, tags.rows_of(name), texts["value"]) for name, tag in own.items()}
        ticks = np.unique(np.concatenate([ms for ms, _ in found.values()]))
        made: dict[str, Any] = {TIME: pa.array(ticks)}
        for name, (ms, rows) in found.items():
            place = np.searchsorted(ticks, ms)
            made[name] = texts["value"].at(rows, place, len(ticks))  # a reading of nothing ends what held: "nan"
            if self.has_quality:
                marks = texts["quality"]
                marks.words = [word or "not marked" for word in marks.words]
                made[f"{QUALITY}{name}"] = marks.at(rows, place, len(ticks))
        if self.machine:
            made[self.machine] = pa.array([machine] * len(ticks), pa.string())
        return pa.table(made)

    def _in_order(
        self, tag: "_Tag", all_ms: NDArray[np.int64], rows: NDArray[np.int64], texts: "_Texts"
    ) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
        """Return the times (UTC where a zone is stated) and rows of one tag, each time once, ascending."""
        ms = all_ms[rows]
        if len(ms) > 1 and ms[0] > ms[-1]:
            ms, rows = ms[::-1], rows[::-1]
        if tag.clock is not None:
            try:
                ms = tag.clock.to_utc(ms)
            except LocalTimeError as error:
                raise refusal(self.path, "time", error.rule, error.accepted) from None
        order = np.lexsort((rows, ms))
        ms, rows = ms[order], rows[order]
        last = np.append(ms[1:] != ms[:-1], True) if len(ms) else np.zeros(0, dtype=bool)
        tag.readings += len(ms)
        tag.twice += int((~last).sum())
        codes = texts.codes[rows]
        other = np.flatnonzero(~last[:-1] & (codes[1:] != codes[:-1])) if len(ms) else np.zeros(0, dtype=np.int64)
        tag.other += len(other)
        if len(other) and not tag.shown:
            tag.shown = texts.words[codes[other[0]]]
        return ms[last], rows[last]

    def _check_other(self, tag: "_Tag") -> None:
        """Refuse a tag that reads two values at a time, as where several machines or both sides of a clock are one."""
        if tag.other > MOST_OTHER * tag.readings and not self.repair:
            rule = f"{tag.other} of its {tag.readings} readings are followed by another one of the same time"
            accepted = "[trace] machine_column, where the file holds several machines; [time] zone, where the clock"
            accepted += " was put back; or --repair to take the later"
            raise refusal(self.path, f"tag {tag.name}", rule, accepted, tag.shown)


@dataclass
class _Tag:
    """What is known of a tag over the days: its clock, its readings, those told twice at a time, and otherwise."""

    name: str
    clock: LocalTime | None
    readings: int = 0
    twice: int = 0
    other: int = 0
    shown: str = ""


class _Texts:
    """A column of text as its words and the place of each row's among them."""

    def __init__(self, column: Any) -> None:
        import pyarrow as pa

        coded = column.combine_chunks() if isinstance(column, pa.ChunkedArray) else column
        coded = coded.chunk(0) if isinstance(coded, pa.ChunkedArray) else coded
        self.words = coded.dictionary.to_pylist()
        self.codes = coded.indices.to_numpy(zero_copy_only=False)

    def rows_of(self, word: str) -> NDArray[np.int64]:
        """Return the rows that hold a word."""
        code = self.words.index(word) if word in self.words else -1
        return np.flatnonzero(self.codes == code)

    def at(self, rows: NDArray[np.int64], place: NDArray[np.int64], length: int) -> Any:
        """Return an arrow column of so many cells with the words of these rows at these places, null elsewhere."""
        import pyarrow as pa

        codes = np.full(length, -1, np.int64)
        codes[place] = self.codes[rows]
        return pa.DictionaryArray.from_arrays(pa.array(codes, mask=codes < 0), pa.array(self.words, pa.string())).cast(
            pa.string()
        )
