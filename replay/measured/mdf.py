"""ASAM MDF 4 files (needs the extra `mdf`): channel by channel, each with its own clock, in spans of records."""

import contextlib
import gc
import logging
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np

from replay.ground.extras import install
from replay.ground.refusal import Refusal, refusal
from replay.measured import columns, dialect
from replay.measured.block import UNKNOWN, Block
from replay.measured.cells import cells_of, status_of_numbers, status_of_text, without_sentinels
from replay.measured.clock import Clock
from replay.measured.mdf_blocks import check_group
from replay.measured.profile import Channel, Flag, Profile
from replay.measured.profile_keys import EPOCH
from replay.measured.ticks import Chunk, onto
from replay.trace.rows import LAST_TIME_S

SPAN = 131072  # records that are held of a channel at a time


def open_mdf(path: Path) -> Any:
    """Open a file. Raises Refusal without the extra, and for a file that is damaged."""
    try:
        import asammdf
    except ImportError:
        raise refusal(path, "", "MDF needs a package that is not installed", install("mdf")) from None
    logging.getLogger("asammdf").setLevel(logging.CRITICAL)  # what it meets in a damaged file is told once, here
    hook = sys.unraisablehook
    sys.unraisablehook = lambda _: None  # the library's own clean-up stumbles over files it could not open
    try:
        return asammdf.MDF(path)
    except Exception as error:  # noqa: BLE001 - whatever the library meets in a damaged file
        refused = _unreadable(path, error)
    finally:
        gc.collect()
        sys.unraisablehook = hook
    raise refused


def _unreadable(path: Path, error: Exception) -> Refusal:
    text = str(error).splitlines()[0] if str(error) else type(error).__name__
    return refusal(path, "", f"not a readable MDF file ({text})", "a whole MDF 4 file")


@contextlib.contextmanager
def _readable(path: Path) -> Iterator[None]:
    """Refuse a damaged file where the library stumbles over it."""
    try:
        yield
    except Refusal:
        raise
    except Exception as error:  # noqa: BLE001 - whatever the library meets in a damaged file
        raise _unreadable(path, error) from None


def channels_of(mdf: Any) -> list[tuple[int, int, str]]:
    """Return (group, index, name) of every channel that is not the clock of its group."""
    return [
        (group, index, channel.name)
        for group, content in enumerate(mdf.groups)
        for index, channel in enumerate(content.channels)
        if index != mdf.masters_db.get(group)
    ]


def fingerprint(path: Path) -> str:
    """Return what marks files with these channels and units."""
    with _readable(path), open_mdf(path) as mdf:
        return _fingerprint(mdf)


def _fingerprint(mdf: Any) -> str:
    named = sorted((name, _unit(mdf, group, index)) for group, index, name in channels_of(mdf))
    return dialect.fingerprint(tuple(name for name, _ in named), tuple(unit for _, unit in named))


def _unit(mdf: Any, group: int, index: int) -> str:
    return str(mdf.get_channel_unit(group=group, index=index) or "").strip()


class MdfSource:
    """An MDF file read by a profile."""

    def __init__(self, path: Path, profile: Profile) -> None:
        self.path, self.profile = path, profile
        if profile.machine_column is not None:
            rule = "channels of an MDF have no rows in common"
            raise refusal(profile.path, "[trace] machine_column", rule, "[machines]")
        if profile.qualities:
            rule = "of an MDF its own marks of invalid readings are taken, and no channel of quality"
            accepted = "no quality column; where quality is a channel of its own, the file exported as CSV or Parquet"
            raise refusal(profile.path, "[quality]", rule, accepted)
        self.mdf = open_mdf(path)
        self.sentinels = profile.file.sentinels or ()
        self.clock = Clock(EPOCH, number=True)
        with _readable(path):
            self.places = {
                signal: self._find(item) for signal, item in profile.signals.items() if profile.of_file(signal)
            }
            for group in sorted({group for group, _ in self.places.values()}):
                check_group(path, self.mdf, group)
            self.units = columns.units(path, profile, lambda of: (self._name(of), _unit(self.mdf, *self.places[of])))
            self.start_ms = round(self.mdf.start_time.timestamp() * 1000)
            self.fingerprint = _fingerprint(self.mdf)

    def notes(self) -> list[str]:
        """Say how the file was read."""
        return [
            f"MDF {self.mdf.version}, each channel by its own clock; rows at the times of {self.profile.time.ticks}",
            f"recording started {self.mdf.start_time.isoformat()}",
        ]

    def _find(self, item: Channel | Flag) -> tuple[int, int]:
        """Return (group, index) of a channel; refuse a name that is not there, or in several groups."""
        every = channels_of(self.mdf)
        if isinstance(item.column, int):
            where = f"[{item.signal}] column"
            raise refusal(self.profile.path, where, "channels of an MDF go by name", "its name", item.column)
        found = [(g, i) for g, i, name in every if name == item.column and item.group in (None, g)]
        if len(found) == 1:
            return found[0]
        if found:
            groups = " or ".join(str(group) for group, _ in found)
            raise refusal(self.path, "", f"channel '{item.column}' appears in several groups", f"group = {groups}")
        columns.find(self.path, self.profile, list(dict.fromkeys(name for _, _, name in every)), str(item.column))
        groups = ", ".join(str(group) for group, _, name in every if name == item.column)
        where = f"[{item.signal}] group"
        raise refusal(self.profile.path, where, f"'{item.column}' is not in this group", groups, item.group)

    def blocks(self) -> Iterator[Block]:
        """Yield rows at the times of the channel that gives the ticks."""
        chunks = {signal: self._chunks(signal) for signal in self.places}
        yield from onto(self.profile, chunks, lambda row: self._record(self.profile.time.ticks, row))

    def _chunks(self, signal: str) -> Iterator[Chunk]:
        """Yield (ms, values) of one channel in spans of records; status as 1, 0 and NaN."""
        group, index = self.places[signal]
        records = int(self.mdf.groups[group].channel_group.cycles_nr)
        before = np.iinfo(np.int64).min
        for offset in range(0, records, SPAN):
            with _readable(self.path):
                read = self.mdf.get(
                    group=group,
                    index=index,
                    record_offset=offset,
                    record_count=min(SPAN, records - offset),
                    ignore_invalidation_bits=True,
                )
            time = self._time(signal, offset, read)
            back = np.diff(time, prepend=before if offset else time[0]) < 0
            if back.any() and signal != self.profile.time.ticks:
                where = self._record(signal, offset + int(np.argmax(back)))
                raise refusal(self.path, where, "its time goes back", "a channel whose times do not fall")
            before = int(time[-1])
            invalid = read.invalidation_bits
            values = self._values(signal, read.samples, offset)
            yield time, values if invalid is None else np.where(np.asarray(invalid), np.nan, values)

    def _time(self, signal: str, offset: int, read: Any) -> Any:
        """Return the ms of some records; refuse what is no time, and fewer records than the file says it has."""
        where = self._record(signal, offset)
        if not len(read.timestamps) or len(read.samples) != len(read.timestamps):
            raise refusal(self.path, where, "its records end before they should", "a whole MDF 4 file")
        seconds = np.asarray(read.timestamps, dtype=np.float64)
        if not (np.abs(seconds) < LAST_TIME_S).all():
            raise refusal(self.path, where, "holds what is no time", "seconds since the start of the recording")
        return self.start_ms + np.rint(seconds * 1000.0).astype(np.int64)

    def _values(self, signal: str, samples: Any, offset: int) -> Any:
        """Return samples as float64 without sentinels; a flag's as 1, 0 and NaN."""
        flag = self.profile.flags.get(signal)
        with cells_of(self.path, "", lambda row: self._record(signal, offset + row)):
            if samples.dtype.kind in "iufb" and samples.ndim == 1:
                numbers = samples.astype(np.float64)
                numbers = without_sentinels(np.where(np.isfinite(numbers), numbers, np.nan), self.sentinels)
                if flag is None:
                    return numbers
                status = status_of_numbers(numbers, flag, self.sentinels, self.units.get(signal))
            elif flag is None or flag.kind:
                where = f"channel '{self._name(signal)}'"
                raise refusal(self.path, where, f"holds {samples.dtype}, not numbers", "a measured channel")
            else:
                status = status_of_text(_words(samples), flag, self.sentinels)
        return np.where(status == UNKNOWN, np.nan, status.astype(np.float64))

    def _record(self, signal: str, row: int) -> str:
        return f"channel '{self._name(signal)}', record {row + 1}"

    def _name(self, signal: str) -> str:
        return str(self.profile.signals[signal].column)


def _words(samples: Any) -> Any:
    import pyarrow as pa

    texts = [s.decode("utf-8", "replace").strip("\0 ") if isinstance(s, bytes) else str(s) for s in samples.tolist()]
    return pa.array(texts, pa.string())


def first_samples(path: Path, records: int = 2000) -> tuple[str, list[tuple[str, str, list[Any]]]]:
    """Return the fingerprint and (name, unit, first values) of each channel, for a look."""
    with _readable(path), open_mdf(path) as mdf:
        found = []
        for group in range(len(mdf.groups)):
            check_group(path, mdf, group)
        for group, index, name in channels_of(mdf):
            read = mdf.get(group=group, index=index, record_offset=0, record_count=records)
            cells = read.samples.tolist() if read.samples.ndim == 1 else []
            found.append((name, _unit(mdf, group, index), cells))
        return _fingerprint(mdf), found
