"""A moment of a trace as a person tells it: seconds of its own time, "5 min", or what the clock on the wall showed.

Forms: 312.5 (s of the trace's time_s); 5 min; 2026-03-01 10:05:30 by the machine's clock, where the trace says
start_utc and zone; 2026-03-01T09:05:30Z with its offset, where it says start_utc; 10:05:30 or 09:05:30Z, the first time
that the clock shows this in the trace.
"""

import contextlib
import datetime as dt
import math

from replay.ground.refusal import refusal
from replay.ground.units import UnitError, duration_ms
from replay.ground.zones import offset_or_zone
from replay.library.label import Label
from replay.library.library import Entry
from replay.trace import first_time_s

FORMS = 'seconds, text such as "5 min", or a time such as "2026-03-01 10:05:30" where the trace has start_utc and zone'
DAY = dt.timedelta(days=1)


def second_of(told: str, entry: Entry, where: str, key: str) -> float:
    """Return a moment in s of the trace's own time. Raises Refusal; where and key: what it names."""
    with contextlib.suppress(ValueError):
        if math.isfinite(seconds := float(told)) and "_" not in told:
            return seconds
    clock = _clock(told)
    if clock is None:
        try:
            return duration_ms(told) / 1000
        except UnitError as error:
            raise refusal(where, key, str(error), FORMS, told) from None
    if entry.start_utc is None:
        rule = f"a time by the clock, and {entry.id} does not say when it began"
        raise refusal(where, key, rule, "seconds of the trace's time, or start_utc in its entry", told)
    moment = _moment(clock, entry, entry.start_utc, where, key, told)
    return round(first_time_s(entry.path) + (moment - entry.start_utc).total_seconds(), 3)


def on_the_clock(entry: Entry, since_start_ms: float) -> str:
    """Return what the machine's clock showed so many ms from the first row on, with its zone; "" where nobody knows."""
    if entry.start_utc is None:
        return ""
    zone = offset_or_zone(entry.zone or "UTC")
    local = dt.timezone(dt.timedelta(milliseconds=zone)) if isinstance(zone, int) else zone
    moment = (entry.start_utc + dt.timedelta(milliseconds=round(since_start_ms))).astimezone(local)
    return f"{moment:%Y-%m-%d %H:%M:%S} {moment.tzname()}"


def windows_on_the_clock(entry: Entry, label: Label) -> list[str]:
    """Return the windows of a label of a trace as the machine's clock shows them; none where nobody knows."""
    if entry.start_utc is None or not isinstance(label, tuple):
        return []
    first_s = first_time_s(entry.path)
    ends = [(window.earliest_s, window.deadline_s) for window in label]
    return [" to ".join(on_the_clock(entry, 1000 * (end - first_s)) for end in window) for window in ends]


def _clock(told: str) -> dt.datetime | dt.time | None:
    """Return a date with a time, or a time of the day; None for what is neither."""
    if ":" not in told:
        return None
    for read in (dt.time.fromisoformat, dt.datetime.fromisoformat):
        try:
            return read(told.strip())
        except ValueError:
            continue
    return None


def _moment(
    clock: dt.datetime | dt.time, entry: Entry, start: dt.datetime, where: str, key: str, told: str
) -> dt.datetime:
    """Return the moment in UTC. Of a time of the day it is the first from the start of the trace on."""
    local = clock.tzinfo or _zone_of(entry, where, key, told)
    if isinstance(clock, dt.datetime):
        return _only(clock, local, where, key, told)
    begun = start.astimezone(local)
    first = _only(dt.datetime.combine(begun.date(), clock), local, where, key, told)
    return first if first >= start else _only(dt.datetime.combine((begun + DAY).date(), clock), local, where, key, told)


def _zone_of(entry: Entry, where: str, key: str, told: str) -> dt.tzinfo:
    """Return the zone of the machine's clock. Raises Refusal where the entry does not say it."""
    if entry.zone is None:
        rule = f"a time without its offset, and {entry.id} does not say in which zone"
        raise refusal(where, key, rule, "a time with its offset, such as 2026-03-01T10:05:30Z", told)
    zone = offset_or_zone(entry.zone)
    return dt.timezone(dt.timedelta(milliseconds=zone)) if isinstance(zone, int) else zone


def _only(clock: dt.datetime, zone: dt.tzinfo, where: str, key: str, told: str) -> dt.datetime:
    """Return the one moment that a clock shows this; when clocks are set back there are two, when forward none."""
    both = {clock.replace(tzinfo=zone, fold=fold).astimezone(dt.UTC) for fold in (0, 1)}
    if len(both) > 1:
        rule = "the clock was set back or forward then: it shows this twice or never"
        raise refusal(where, key, rule, "a time with its offset, such as 2026-03-01T10:05:30Z", told)
    return both.pop()
