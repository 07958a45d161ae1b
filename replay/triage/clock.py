"""What the time of a log is on the wall: of files that say when they began, and of times since 1970."""

import datetime as dt
import functools
from dataclasses import dataclass

from replay.ground.zones import offset_or_zone

UNIX_TIME_S = (946684800.0, 4102444800.0)  # 2000 to 2100: seconds that are most likely since 1970
UTC = "UTC"


@dataclass(frozen=True)
class Clock:
    """The wall clock of a log: utc_s is its 0 ms in s since 1970, None where nobody says; zone as in library.toml."""

    utc_s: float | None = None
    zone: str = UTC

    def at(self, time_ms: int) -> dt.datetime | None:
        """Return a time of the log on the wall, None where nobody knows."""
        if self.utc_s is None:
            return None
        return dt.datetime.fromtimestamp(round(self.utc_s + time_ms / 1000, 3), zone_named(self.zone))

    def stamp(self, time_ms: int | None) -> str:
        """Return a time in ISO 8601 with its offset from UTC, "" where nobody knows."""
        at = None if time_ms is None else self.at(time_ms)
        return "" if at is None else at.isoformat(timespec="milliseconds" if at.microsecond else "seconds")

    def day_zero_ms(self) -> int:
        """Return the time of the log (ms) at which the calendar's days are counted from, the day of 1970-01-01.

        Days are as long as they are without clock changes. Without a wall clock they begin with the log.
        """
        at = self.at(0)
        if at is None or self.utc_s is None:
            return 0
        return -round((self.utc_s + (at.utcoffset() or dt.timedelta()).total_seconds()) * 1000)


@functools.cache
def zone_named(name: str) -> dt.tzinfo:
    """Return a zone of library.toml: a name such as Europe/Oslo, or a fixed offset such as +01:00."""
    zone = offset_or_zone(name)
    return dt.timezone(dt.timedelta(milliseconds=zone)) if isinstance(zone, int) else zone


def is_unix(time_s: float) -> bool:
    """Say whether a log's own time can only be seconds since 1970."""
    return UNIX_TIME_S[0] <= time_s < UNIX_TIME_S[1]
