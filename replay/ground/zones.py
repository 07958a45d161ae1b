"""Time zones by name ("Europe/Oslo") or as a fixed offset ("+01:00")."""

import re
import zoneinfo

from replay.ground.units import UnitError

MINUTE_MS = 60000
GREENWICH = ("UTC", "Z", "GMT")
MOST_H = 14  # no clock on earth is further from Greenwich
_FIXED = re.compile(r"(?P<sign>[+-])(?P<hours>\d{2}):?(?P<minutes>\d{2})?")


def fixed_offset_ms(text: str) -> int | None:
    """Return an offset such as "+01:00" or "-0330" in ms east of Greenwich, None for what is none."""
    fixed = _FIXED.fullmatch(text)
    if fixed is None or int(fixed["minutes"] or 0) > 59:  # noqa: PLR2004 - minutes
        return None
    minutes = int(fixed["hours"]) * 60 + int(fixed["minutes"] or 0)
    if minutes > MOST_H * 60:
        return None
    return (minutes if fixed["sign"] == "+" else -minutes) * MINUTE_MS


def offset_or_zone(text: str) -> int | zoneinfo.ZoneInfo:
    """Return a fixed offset in ms east of Greenwich, or a zone by its name. Raises UnitError."""
    fixed = fixed_offset_ms(text)
    if fixed is not None:
        return fixed
    if text.upper() in GREENWICH:
        return 0
    try:
        return zoneinfo.ZoneInfo(text)
    except (zoneinfo.ZoneInfoNotFoundError, ValueError, OSError):
        raise UnitError("no such time zone") from None
