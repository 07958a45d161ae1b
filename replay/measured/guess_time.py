"""The time of a file in a draft: its column, zone and order, the longest gap, and whether rows come only on change."""

import itertools
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from replay.ground.refusal import Refusal
from replay.measured.clock import Clock, decide, dotted_times, looks_like_time
from replay.measured.look import Look, Seen, column_key
from replay.measured.marks import looks_like_number
from replay.measured.naming import CLOCK, read_name
from replay.measured.profile import TimeForm
from replay.measured.profile_keys import OPEN
from replay.measured.unit_text import TIME

STEPS_IN_A_GAP = 3
LEAST_STEPS = 20  # from which steps are called even; fewer tell little
MADE_S = 2.0  # below the max_gap of settings, by which rows farther apart are too late to be judged (assumed)
MOST_TIMES = 0.9  # share of the cells of a time column that are times (assumed)
EVEN, UNEVEN, MOSTLY, RARELY = 0.2, 5.0, 0.7, 0.02  # shares of the usual step and of the rows (assumed)
OPEN_GAP = f'max_gap = "{OPEN}"  # DOUBT: above the logger\'s own step'


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
        yield f'max_gap = "{OPEN}"  # DOUBT: above the longest step between readings; older ones count as none'
        return
    time = list(times.columns)
    if not time:
        yield f'column = "{OPEN}"  # DOUBT: no column looks like a time'
        yield OPEN_GAP
        return
    names = [column_key(look, column) for column in time]
    this = names[0] if len(names) == 1 else "[" + ", ".join(names) + "]"
    if times.asked:
        others = "".join(f", or {column_key(look, column)}" for column in times.others)
        why = "Each holds times" if others else "It rises, no name says so"
        yield f'column = "{OPEN}"  # DOUBT: {this}{others}? {why}'
    else:
        yield f"column = {this}"
    parts = zip(*(column.cells for column in time), strict=True)
    joined = [" ".join(part).strip() for part in parts]
    cells = [cell for cell in joined if not cell or looks_like_time(cell) or looks_like_number(cell)]
    sure = _decided(look, time, cells, None)
    clock = sure or _decided(look, time, cells, "DMY")
    if clock is None:
        yield f'form = "{OPEN}"  # DOUBT: "elapsed", "epoch" or "serial day" (of a spreadsheet)'
        yield f'unit = "{OPEN}"  # DOUBT: the unit of these numbers, such as "s"; leave the line out for serial days'
        yield OPEN_GAP
        return
    yield f"# found: {clock.note}" if sure else f'order = "{OPEN}"  # DOUBT: day or month first in "{cells[0]}"'
    if clock.local:
        yield f'zone = "{OPEN}"  # DOUBT: "Europe/Dublin", or "+01:00" where the logger keeps one time all year.'
        yield "# Without the line there is no UTC: files of one machine are not joined, the repeated hour is refused"
    yield from _steps(look, clock, cells)


def _decided(look: Look, time: list[Seen], cells: list[str], order: str | None) -> Clock | None:
    numbers = len(time) == 1 and all(map(looks_like_number, filter(None, cells)))
    form = TimeForm((), 1, order=order)
    try:
        return decide(look.path, look.path, form, cells, time[0].unit_of(TIME), numbers=numbers)
    except Refusal:
        return None


def _steps(look: Look, clock: Clock, cells: list[str]) -> Iterator[str]:
    """Propose the longest gap, and a hold where rows seem to be written only when something changes."""
    import pyarrow as pa

    filled = [cell for cell in cells if cell]
    ms = clock.from_numbers(np.array([float(c) for c in filled])) if clock.number else clock.from_text(pa.array(filled))
    steps = np.abs(np.diff(ms)) / 1000 if len(ms) > 1 else np.zeros(1)
    step = float(np.median(steps))
    if step <= 0:
        many = len(ms) / len(np.unique(ms))
        yield f'step = "{OPEN}"  # DOUBT: times repeat, {many:.3g} rows each: "5 s", if their seconds are gone'
        yield OPEN_GAP
        return
    usual = float(np.mean(np.abs(steps - step) <= EVEN * step))
    uneven = len(steps) < LEAST_STEPS or steps.max() > UNEVEN * step
    if len(steps) > 1 and usual < MOSTLY and uneven and not _repeats(look):
        made = min(STEPS_IN_A_GAP * max(float(np.quantile(steps, 0.1)), 0.001), MADE_S)
        yield f'max_gap = "{made:g} s"  # DOUBT: rows no farther apart than this are made, as triage wants them'
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
