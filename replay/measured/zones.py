"""Local time to UTC: the hour that comes twice in autumn and the one that is missing in spring."""

import functools
import zoneinfo

import numpy as np
from numpy.typing import NDArray

from replay.ground.zones import MINUTE_MS


class LocalTimeError(ValueError):
    """A local time that the zone does not settle. `row` is the place in the block, `rule` what is wrong with it."""

    def __init__(self, row: int, rule: str, accepted: str) -> None:
        super().__init__(rule)
        self.row, self.rule, self.accepted = row, rule, accepted


@functools.lru_cache(maxsize=100000)
def _offsets(zone: zoneinfo.ZoneInfo, minute: int) -> tuple[int, int]:
    """Return the offsets (ms) of a local minute since 1970, taken as its first and as its second coming."""
    import datetime as dt

    local = dt.datetime(1970, 1, 1) + dt.timedelta(minutes=minute)  # noqa: DTZ001 - local time is what it is
    both = [local.replace(tzinfo=zone, fold=fold).utcoffset() or dt.timedelta() for fold in (0, 1)]
    return round(both[0].total_seconds() * 1000), round(both[1].total_seconds() * 1000)


class LocalTime:
    """Turns local times in the order of a file into UTC.

    An hour that comes twice is taken as the first until the local time falls back by more than half of
    the overlap; a file that begins in it has to be told which it is (`repeated`: "first" or "second").
    """

    def __init__(self, zone: int | zoneinfo.ZoneInfo, repeated: str | None) -> None:
        self.zone, self.repeated = zone, repeated
        self.last: int | None = None  # local ms of the row before
        self.last_overlap = False
        self.second = False

    def to_utc(self, local: NDArray[np.int64]) -> NDArray[np.int64]:
        """Return UTC ms of local ms [n]. Raises LocalTimeError for a time that never was, or may be either of two."""
        if isinstance(self.zone, int):
            return local - self.zone
        if not len(local):
            return local
        first, second = self._offsets_of(self.zone, local)
        if (first < second).any():
            raise LocalTimeError(
                int(np.argmax(first < second)),
                f"this local time never was in {self.zone}: the clock was put forward over it",
                'the zone the logger keeps, such as a fixed "+01:00"',
            )
        overlap = first > second
        if not overlap.any():
            self.last, self.last_overlap, self.second = int(local[-1]), False, False
            return local - first
        return local - np.where(self._is_second(local, overlap, first - second), second, first)

    def _offsets_of(
        self, zone: zoneinfo.ZoneInfo, local: NDArray[np.int64]
    ) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
        minutes = local // MINUTE_MS
        starts = np.flatnonzero(np.concatenate(([True], np.diff(minutes) != 0)))
        pairs = np.array([_offsets(zone, int(minute)) for minute in minutes[starts]], dtype=np.int64)
        counts = np.diff(np.append(starts, len(local)))
        return np.repeat(pairs[:, 0], counts), np.repeat(pairs[:, 1], counts)

    def _is_second(
        self, local: NDArray[np.int64], overlap: NDArray[np.bool_], width: NDArray[np.int64]
    ) -> NDArray[np.bool_]:
        """Say of each row whether it belongs to the second coming of its hour."""
        before = np.concatenate(([self.last if self.last is not None else local[0]], local[:-1]))
        was_overlap = np.concatenate(([self.last_overlap], overlap[:-1]))
        if overlap[0] and self.last is None:
            if self.repeated is None:
                raise LocalTimeError(
                    0,
                    f"the file begins in the hour that comes twice in {self.zone}",
                    '[time] repeated_hour = "first" or "second"',
                )
            self.second, was_overlap[0] = self.repeated == "second", True
        fell_back = overlap & was_overlap & (2 * (before - local) > width)
        entered = overlap & ~was_overlap
        falls = np.cumsum(fell_back)
        at_entry = np.maximum.accumulate(np.where(entered, falls, -1))
        carried = (at_entry < 0) & self.second
        second = overlap & ((falls > np.maximum(at_entry, 0)) | carried)
        self.last, self.last_overlap, self.second = int(local[-1]), bool(overlap[-1]), bool(second[-1])
        return second
