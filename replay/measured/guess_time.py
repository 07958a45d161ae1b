"""The time of a file in a draft: its column, zone and order, the longest gap, and whether rows come only on change."""

import itertools
import re
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from replay.ground.refusal import Refusal
from replay.measured.clock import (
    DAY_MS,
    UNREADABLE,
    Clock,
    decide,
    dotted_times,
    go_apart,
    looks_like_time,
    number_clock,
    reads_as_digits,
)
from replay.measured.look import Look, Seen, column_key, quoted
from replay.measured.marks import looks_like_number
from replay.measured.naming import CLOCK, read_name
from replay.measured.profile import TimeForm
from replay.measured.profile_keys import OPEN, ORDERS, SERIAL_DAY
from replay.measured.unit_text import OF_A_DAY, TIME

STEPS_IN_A_GAP = 3
LEAST_STEPS = 20  # from which steps are called even; fewer tell little
MADE_S = 2.0  # below the max_gap of settings, by which rows farther apart are too late to be judged (assumed)
MOST_TIMES = 0.9  # share of the cells of a time column that are times (assumed)
EVEN, UNEVEN, MOSTLY, RARELY = 0.2, 5.0, 0.7, 0.02  # shares of the usual step and of the rows (assumed)
DIGITS = re.compile(r"([01]\d|2[0-3])[0-5]\d([0-5]\d)?")
ZONES = '"Europe/Dublin", or "+01:00" where the logger keeps one time all year'
_OF_UTC = re.compile(
    r"(?<![^\W_])(?:UTC|GMT|Zulu)(?:\s?(?P<sign>[+-])(?P<h>\d{1,2})(?::?(?P<m>\d{2}))?)?(?![^\W_])", re.IGNORECASE
)
LEAP_MS, GOES_ON_MS = 20 * 86400000, 3600000  # over midnight: another order of day and month, and the same one
SERIAL_DAYS = (36526, 73051)  # of the years 2000 to 2099
OPEN_GAP = f'max_gap = "{OPEN}"  # DOUBT: longer than the logger\'s own step'


@dataclass(frozen=True)
class Times:
    """The column of the time, or of date and time of day; others that hold times; whether that is a choice."""

    columns: tuple[Seen, ...] = ()
    others: tuple[Seen, ...] = ()
    asked: bool = False


def time_columns(look: Look) -> Times:
    """Return what may be the time: dates, or a date and a time of day beside each other, or numbers that rise."""
    if look.own_clocks:
        return Times()
    dated = [c for c in look.columns if _dated(c)]
    for first, second in itertools.pairwise(dated):
        told = [[cell for cell in column.filled if looks_like_time(cell)] for column in (first, second)]
        whole = 2 * len(first.filled) > len(first.far or first.cells)  # not a date in the first row alone
        clock = all(":" in cell for cell in told[1]) or dotted_times(told[1])
        if whole and clock and all(":" not in cell for cell in told[0]) and not dotted_times(told[0]):
            rest = tuple(c for c in dated if c not in (first, second))
            return Times((first, second), rest, asked=bool(rest))
    if len(dated) == 1 and (day := _time_of_day(look, dated[0])) is not None:
        return Times((dated[0], day), asked=not _in_whole_digits(day))
    if dated:
        return Times((dated[0],), tuple(dated[1:]), asked=len(dated) > 1)
    steps = {c.place: np.diff(c.numbers) for c in look.columns if len(c.numbers) > 1}
    rising = [c for c in look.columns if c.place in steps and bool((steps[c.place] > 0).all())]
    rising = rising or [c for c in look.columns if c.place in steps and bool((steps[c.place] < 0).all())]
    clocks = {c.place for c in look.columns if read_name(c.name).says(CLOCK)}
    rising = rising or [c for c in look.columns if c.place in clocks & steps.keys() and _hardly_falls(steps[c.place])]
    named = [c for c in rising if c.place in clocks]
    others = tuple(named[1:]) if named else ()
    return Times(tuple((named or rising)[:1]), others, asked=len(named) > 1 or (not named and bool(rising)))


def _apart(look: Look, one: Seen, other: Seen) -> bool:
    """Say whether two columns of times go apart, row after row, by more than the steps of one of them."""
    both = [_decided(look, [c], c.cells, None) or _decided(look, [c], c.cells, "DMY") for c in (one, other)]
    rows = [pair for pair in zip(one.cells, other.cells, strict=True) if all(pair)]
    if not all(both) or len(rows) < LEAST_STEPS:
        return False
    times = [_ms(clock, list(cells)) for clock, cells in zip(both, zip(*rows, strict=True), strict=True) if clock]
    return go_apart(*times) > STEPS_IN_A_GAP * float(np.median(np.abs(np.diff(times[0]))))


def _time_of_day(look: Look, date: Seen) -> Seen | None:
    """Return the column of numbers that tells the time of day beside one of dates alone: 080005, or 0.333 of a day."""
    if (
        any(":" in cell for cell in date.filled)
        or dotted_times(date.filled)
        or len(set(date.filled)) == len(date.filled)
    ):
        return None
    named = [
        c for c in look.columns if c is not date and read_name(c.name).says(CLOCK) and len(c.told) == len(c.filled)
    ]
    return next((c for c in named if _in_whole_digits(c) or (c.told and 0 <= min(c.told) <= max(c.told) < 1)), None)


def _in_whole_digits(column: Seen) -> bool:
    """Say whether cells are hours, minutes and perhaps seconds in two digits each."""
    return bool(column.filled) and all(DIGITS.fullmatch(cell) for cell in column.filled)


def _hardly_falls(steps: NDArray[np.float64]) -> bool:
    """Say whether numbers never fall and rise at times, as where several machines have a row each."""
    return bool((steps >= 0).all() and (steps > 0).any())


def _dated(column: Seen) -> bool:
    """Say whether a column holds times, but for a few cells as where a header comes again or a total stands below."""
    cells = column.filled[:2000]
    times = sum(map(looks_like_time, cells))
    return bool(cells) and times >= MOST_TIMES * len(cells) and len(column.numbers) <= len(column.filled) - times


def time_lines(look: Look, times: Times) -> Iterator[str]:
    """Tell the time: its column or columns, form, order, zone, and the longest gap."""
    yield from ["", "[time]"]
    if look.own_clocks:
        yield f'max_gap = "{OPEN}"  # DOUBT: longer than the longest step between readings; older ones count as none'
        return
    time = list(times.columns)
    if not time:
        named = (c for c in look.columns if c.filled and read_name(c.name).says(CLOCK))
        held = "".join(f"; {column_key(look, c)} holds {quoted(c.filled[0])}, not to be read as written" for c in named)
        yield f'column = "{OPEN}"  # DOUBT: no column looks like a time{held}'
        yield OPEN_GAP
        return
    names = [column_key(look, column) for column in time]
    this = names[0] if len(names) == 1 else "[" + ", ".join(names) + "]"
    if times.asked:
        others = "".join(f", or {column_key(look, column)}" for column in times.others)
        why = "Each holds times" if others else "It rises, but its name does not say so"
        if any(_apart(look, time[0], other) for other in times.others):
            why += "; they drift apart: where each signal has a time of its own, save each pair of columns as a file"
        if len(time) > 1 and not others:
            why = "The second holds fractions of a day: save it as it is shown, 12:00:00 for 0.5"
        yield f'column = "{OPEN}"  # DOUBT: {this}{others}? {why}'
    else:
        yield f"column = {this}"
    parts = zip(*(column.cells for column in time), strict=True)
    joined = [" ".join(part).strip() for part in parts]
    cells = [cell for cell in joined if not cell or looks_like_time(cell) or looks_like_number(cell)]
    sure = _decided(look, time, cells, None)
    only = None if sure else _order_that_goes_on(look, time)
    clock = sure or _decided(look, time, cells, only or "DMY")
    if clock is None:
        yield from _open_form(look, time, cells)
        return
    ms = _ms(clock, cells)
    if 2 * (ms == UNREADABLE).sum() > len(ms):
        shown = next((cell for cell in cells if cell), "")
        yield f'form = "{OPEN}"  # DOUBT: times such as {quoted(shown)} cannot be read as written:'
        yield "# save them as 2026-03-02 08:00:05, with the time of day beside the date"
        yield OPEN_GAP
        return
    yield from _calendar(clock, only, cells[0] if sure is None else "", time)
    yield from _steps(look, ms[ms != UNREADABLE])


def _open_form(look: Look, time: list[Seen], cells: list[str]) -> Iterator[str]:
    """Ask for form and unit of numbers that may be several things."""
    yield f'form = "{OPEN}"  # DOUBT: "elapsed", "epoch" or "serial day" (of a spreadsheet){_looks(time, cells)}'
    yield f'unit = "{OPEN}"  # DOUBT: the unit of these numbers, such as "s"; leave the line out for serial days'
    days = _serial_days(look, cells)
    if days is not None:
        yield f"# as serial days they begin {days[0]}, in steps of {days[1]:g} s"
        yield f'zone = "{OPEN}"  # DOUBT: of serial days: {ZONES}; leave the line out where they are none'
    yield OPEN_GAP


def _calendar(clock: Clock, only: str | None, cell: str, time: list[Seen]) -> Iterator[str]:
    """Tell order and zone of dates. only: the order that their rows prove; cell: a date of which nothing tells it."""
    if only:
        yield f'order = "{only}"  # found: so rows go on over midnight; in another order they leap a month or more'
    else:
        yield f'order = "{OPEN}"  # DOUBT: day or month first in "{cell}"' if cell else f"# found: {clock.note}"
    zone = _zone_named(time) if clock.local else ""
    if zone:
        yield f'zone = "{zone}"  # so its name says'
    elif clock.local:
        yield f'zone = "{OPEN}"  # DOUBT: {ZONES}.'
        yield "# Without the line there is no UTC: files of one machine are not joined, the repeated hour is refused"


def _zone_named(time: list[Seen]) -> str:
    """Return the zone that the name of a time column says: UTC, or a fixed distance from it; else ""."""
    found = next(filter(None, (_OF_UTC.search(column.name) for column in time)), None)
    if found is None:
        return ""
    return f"{found['sign']}{int(found['h']):02d}:{found['m'] or '00'}" if found["sign"] else "UTC"


def _order_that_goes_on(look: Look, time: list[Seen]) -> str | None:
    """Return the one order of dates in which the rows go on from day to day; None where several do, or none."""
    parts = zip(*(column.far or column.cells for column in time), strict=True)
    cells = [cell for part in parts if looks_like_time(cell := " ".join(part).strip())]
    found = []
    for order in ORDERS:
        clock = _decided(look, time, cells, order)
        ms = _ms(clock, cells) if clock else np.array([UNREADABLE])
        if len(ms) < LEAST_STEPS or (ms == UNREADABLE).any():
            continue
        steps = np.abs(np.diff(ms))
        if steps.max() >= LEAP_MS:
            continue
        days = np.diff(ms // DAY_MS) != 0
        if not days.any() or steps[days].max() > GOES_ON_MS:
            return None
        found.append(order)
    return found[0] if len(found) == 1 else None


def _serial_days(look: Look, cells: list[str]) -> tuple[str, float] | None:
    """Return the first moment and the usual step in s of numbers that may be days of a spreadsheet."""
    numbers = [float(cell) for cell in cells if looks_like_number(cell)]
    if not numbers or not all(SERIAL_DAYS[0] <= number < SERIAL_DAYS[1] for number in numbers):
        return None
    clock = number_clock(look.path, look.path, TimeForm((), 1, form=SERIAL_DAY), numbers, "")
    ms = clock.from_numbers(np.array(numbers))
    step = float(np.median(np.abs(np.diff(ms)))) / 1000 if len(ms) > 1 else 0.0
    return str(ms[:1].astype("datetime64[ms]")[0].astype("datetime64[s]")).replace("T", " "), step


def _looks(time: list[Seen], cells: list[str]) -> str:
    """Tell what numbers that may be no time look like."""
    if len(time) > 1 or not all(map(looks_like_number, filter(None, cells))):
        return f"; times such as {quoted(next(filter(None, cells), ''))} cannot be read as written"
    numbers = np.array([float(cell) for cell in cells if cell])
    if len(numbers) > 1 and (np.diff(numbers) == 1).all():
        return "; they rise by one a row: a row number and not a time?"
    if reads_as_digits(numbers.tolist()):
        return "; they read as hours, minutes and seconds in digits, which needs colons and a date"
    of_day = OF_A_DAY.search(time[0].name)
    return (
        f'; "{of_day[0]}": they start again at midnight, so a log of several days needs the date too' if of_day else ""
    )


def _decided(look: Look, time: list[Seen], cells: list[str], order: str | None) -> Clock | None:
    numbers = len(time) == 1 and all(map(looks_like_number, filter(None, cells)))
    form = TimeForm((), 1, order=order)
    try:
        return decide(look.path, look.path, form, cells, time[0].unit_of(TIME), numbers=numbers)
    except Refusal:
        return None


def _ms(clock: Clock, cells: list[str]) -> NDArray[np.int64]:
    """Return the times of a draft's cells, ms int64[n], UNREADABLE for those of another form."""
    import pyarrow as pa

    filled = [cell for cell in cells if cell]
    if clock.number:
        return clock.from_numbers(np.array([float(cell) for cell in filled]))
    return clock.from_text(pa.array(filled, pa.string()))


def _steps(look: Look, ms: NDArray[np.int64]) -> Iterator[str]:
    """Propose the longest gap, and a hold where rows seem to be written only when something changes."""
    steps = np.abs(np.diff(ms)) / 1000 if len(ms) > 1 else np.zeros(1)
    step = float(np.median(steps))
    if step <= 0:
        many = len(ms) / len(np.unique(ms))
        yield f'step = "{OPEN}"  # DOUBT: times repeat, {many:.3g} rows each: "5 s", if their seconds were cut off'
        yield OPEN_GAP
        return
    usual = float(np.mean(np.abs(steps - step) <= EVEN * step))
    uneven = len(steps) < LEAST_STEPS or steps.max() > UNEVEN * step
    if len(steps) > 1 and usual < MOSTLY and uneven and not _repeats(look):
        made = min(STEPS_IN_A_GAP * max(float(np.quantile(steps, 0.1)), 0.001), MADE_S)
        yield f'max_gap = "{made:g} s"  # DOUBT: rows are made no further apart than this, as triage needs them'
        seen = f"steps go from {steps.min():g} to {steps.max():g} s and no two rows are alike"
        yield f'on_change = "{OPEN}"  # DOUBT: {seen}: true, if rows are'
        yield "# written only where something changes, so that readings hold; false, if the longer steps are gaps"
        yield f'longest_hold = "{OPEN}"  # DOUBT: "1 h", after which such a logger writes anyway; older is none'
        return
    text = f"{STEPS_IN_A_GAP} steps of {step:g} s"
    yield f'max_gap = "{STEPS_IN_A_GAP * step:g} s"  # DOUBT: {text}; a longer gap splits the trace'


def _repeats(look: Look) -> bool:
    """Say whether there are rows that say the same as the row before, whatever their time."""
    changing = [c.cells for c in look.columns if 1 < len(set(c.cells)) < len(c.cells)]
    rows = list(zip(*changing, strict=True)) if changing else []
    alike = sum(one == other for one, other in itertools.pairwise(rows))
    return alike > RARELY * len(rows)
