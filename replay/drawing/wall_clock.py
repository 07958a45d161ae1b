"""Ticks of a time axis as a clock on the wall shows them, or as seconds where nobody knows the hour."""

import datetime as dt
from typing import Any

from replay.drawing.looks import time_axis
from replay.drawing.svg import Scale
from replay.triage.clock import Clock, zone_named

ABOUT = 7
LEAST = 3  # ticks: from 4 on no interval would do for some lengths, such as 3.8 min
Ticks = list[tuple[float, str]]


def clock_ticks(begin_s: float, end_s: float, clock: Clock) -> tuple[str, Ticks]:
    """Return the name of the axis, and of each tick its place in s of the log and its words."""
    begin = clock.at(round(begin_s * 1000))
    end = clock.at(round(end_s * 1000))
    if begin is None or end is None or clock.utc_s is None:
        unit, size = time_axis(end_s - begin_s)
        ticks = Scale(begin_s / size, end_s / size, 0, 1).ticks(ABOUT)
        return f"time in the file, {unit}", [(tick * size, f"{tick:g}") for tick in ticks]
    import matplotlib.dates

    dates: Any = matplotlib.dates
    zone = zone_named(clock.zone)
    locator = dates.AutoDateLocator(tz=zone, minticks=LEAST, maxticks=ABOUT + 1)
    numbers = locator.tick_values(begin, end)
    words = dates.ConciseDateFormatter(locator, tz=zone).format_ticks(numbers)
    places = [dates.num2date(number).timestamp() - clock.utc_s for number in numbers]
    shown = [(place, word) for place, word in zip(places, words, strict=True) if begin_s <= place <= end_s]
    return f"{_days(begin, end)}, {clock.zone}", shown


def _days(begin: dt.datetime, end: dt.datetime) -> str:
    first, last = f"{begin:%Y-%m-%d}", f"{end:%Y-%m-%d}"
    return first if first == last else f"{first} to {last}"
