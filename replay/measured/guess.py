"""A first profile for a file: what its header and first rows tell, and DOUBT where they do not.

What matters and cannot be seen (gauge or absolute, day or month first, the site's altitude) stands as "?",
which an import refuses: nobody gets past it without a decision.
"""

import itertools
import re
from collections.abc import Iterator
from pathlib import Path

import numpy as np

from replay.ground.refusal import HIDDEN, Refusal
from replay.measured.cells import OFF, ON, SUSPECTS, is_sentinel_number
from replay.measured.clock import Clock, decide, looks_like_time
from replay.measured.look import Look, Seen, look_at
from replay.measured.marks import looks_like_number
from replay.measured.profile import TimeForm
from replay.measured.profile_keys import CHANNELS, OPEN
from replay.measured.unit_text import CURRENT, KINDS, PRESSURE, TEMPERATURE, TIME, read_unit

_OIL = r"oil|öl|oel|huile|aceite|olio|olie|olja|lub"
_NAMES = {
    "oil_pressure": _OIL,
    "crankcase_pressure": r"crank|kurbel|carter|sump",
    "suction_pressure": r"suc|saug|asp|sug|\blp\b|low.?p|nieder|(?:\b|_)p_?[0so](?:\b|_)",
    "oil_temperature": _OIL,
    "speed": r"speed|rpm|drehz|vitesse|(?:\b|_)n(?:\b|_)|freq",
}
_PRESSURE_NAME = re.compile(r"(?:\b|_)p|druck|press", re.IGNORECASE)
_TEMPERATURE_NAME = re.compile(r"(?:\b|_)t|temp", re.IGNORECASE)
_RUNNING = re.compile(r"run|betrieb|status|state|l[aä]uf|march|comp.?on|motor.?on|kontakt|contact", re.IGNORECASE)
_CURRENT = re.compile(r"curr|amp|strom|courant|corr|(?:\b|_)i(?:\b|_)", re.IGNORECASE)
_RESET = re.compile(r"reset|quit|ackn", re.IGNORECASE)
_TIME_NAME = re.compile(r"time|zeit|date|datum|uhr|hora|heure|fecha|stamp|elapsed", re.IGNORECASE)
FEW_WORDS = 4
STEPS_IN_A_GAP = 3
OPEN_GAP = f'max_gap = "{OPEN}"  # DOUBT: above the logger\'s own step'


def draft_profile(path: Path | str) -> str:
    """Return a commented draft of a profile for a file, as TOML. Raises Refusal for what is no table of readings."""
    return "".join(f"{HIDDEN.sub('?', line)}\n" for line in _lines(look_at(Path(path))))


def _lines(look: Look) -> Iterator[str]:
    yield f"# Draft of a profile for {look.path.name}. Decide every line marked DOUBT: an import refuses"
    yield f'# what is left as "{OPEN}". Only the header and the first rows were looked at.'
    yield f"fingerprints = [{_quoted(look.fingerprint)}]"
    time = _time_columns(look)
    used = {column.place for column in time}
    yield from _file(look, used)
    yield from _time(look, time)
    chosen = _choose(look, used)
    yield from ["", "[site]", f'altitude = "{OPEN}"  # DOUBT: "40 m"; the atmosphere that gauge pressures count from']
    for signal, column in chosen.items():
        yield from _channel(look, signal, column)
    used |= {column.place for column in chosen.values() if column}
    free = [column for column in look.columns if column.place not in used]
    yield from ["", "[running]"]
    yield from _running(look, free, speed=chosen.get("speed") is not None)
    for column in [c for c in free if _RESET.search(c.name) and len(set(c.filled)) <= FEW_WORDS][:1]:
        yield from ["", "[reset]", f"column = {_column(look, column)}"]
    yield from ["", "[trace]", '# machine = "..."   # without it the name of each file stands for its machine']
    yield '# oil = "..."'


def _file(look: Look, time_places: set[int]) -> Iterator[str]:
    yield from ["", "[file]"]
    yield from (f"# found: {note}" for note in look.notes)
    if look.marks.doubt:
        yield f'decimal = "{OPEN}"  # DOUBT: {look.marks.doubt}; "." or ","'
    words: dict[str, None] = {}
    numbers: dict[float, None] = {}
    for column in look.columns:
        filled = column.filled
        told = [cell for cell in filled if looks_like_number(cell)]
        if column.place not in time_places and filled and 2 * len(told) >= len(filled):
            words |= dict.fromkeys(cell for cell in filled if not looks_like_number(cell))
            numbers |= dict.fromkeys(n for n in SUSPECTS if any(is_sentinel_number(cell, (n,)) for cell in told))
    if words or numbers:
        listed = ", ".join([*map(_quoted, words), *(f"{number:g}" for number in numbers)])
        yield f"sentinels = [{listed}]  # DOUBT: taken as no reading; is it so"
    else:
        yield '# sentinels = ["Bad", "---", -999]   # words and numbers that are no reading; none was seen'


def _time_columns(look: Look) -> list[Seen]:
    """Return the time column, or a date and a time of day beside each other."""
    dated = [c for c in look.columns if c.filled and all(map(looks_like_time, c.filled)) and not c.numbers]
    for first, second in itertools.pairwise(dated):
        if all(":" not in cell for cell in first.filled) and all(":" in cell for cell in second.filled):
            return [first, second]
    if dated:
        return dated[:1]
    rising = [c for c in look.columns if len(c.numbers) > 1 and bool((np.diff(c.numbers) > 0).all())]
    named = [c for c in rising if _TIME_NAME.search(c.name)]
    return (named or rising)[:1]


def _time(look: Look, time: list[Seen]) -> Iterator[str]:
    yield from ["", "[time]"]
    if look.own_clocks:
        yield f'max_gap = "{OPEN}"  # DOUBT: above the longest step between readings; older ones count as none'
        return
    if not time:
        yield f'column = "{OPEN}"  # DOUBT: no column looks like a time'
        yield OPEN_GAP
        return
    names = [_column(look, column) for column in time]
    yield f"column = {names[0] if len(names) == 1 else '[' + ', '.join(names) + ']'}"
    parts = zip(*(column.cells for column in time), strict=True)
    cells = [" ".join(part).strip() for part in parts]
    sure = _decided(look, time, cells, None)
    clock = sure or _decided(look, time, cells, "DMY")
    if clock is None:
        yield f'form = "{OPEN}"  # DOUBT: "elapsed", "epoch" or "serial day" (of a spreadsheet)'
        yield f'unit = "{OPEN}"  # DOUBT: the unit of these numbers, such as "s"; leave the line out for serial days'
        yield OPEN_GAP
        return
    yield f"# found: {clock.note}" if sure else f'order = "{OPEN}"  # DOUBT: day or month first in "{cells[0]}"'
    if clock.local:
        yield '# zone = "Europe/Dublin"  # DOUBT: without it there is no UTC, and the repeated hour is refused'
    yield from _max_gap(clock, cells)


def _decided(look: Look, time: list[Seen], cells: list[str], order: str | None) -> Clock | None:
    numbers = len(time) == 1 and all(map(looks_like_number, filter(None, cells)))
    form = TimeForm((), 1, order=order)
    try:
        return decide(look.path, look.path, form, cells, time[0].unit_of(TIME), numbers=numbers)
    except Refusal:
        return None


def _max_gap(clock: Clock, cells: list[str]) -> Iterator[str]:
    import pyarrow as pa

    filled = [cell for cell in cells if cell]
    ms = clock.from_numbers(np.array([float(c) for c in filled])) if clock.number else clock.from_text(pa.array(filled))
    step = float(np.median(np.diff(ms))) if len(ms) > 1 else 0.0
    if step <= 0:
        yield OPEN_GAP
    else:
        usual = f"{STEPS_IN_A_GAP} steps of {step / 1000:g} s"
        yield f'max_gap = "{STEPS_IN_A_GAP * step / 1000:g} s"  # DOUBT: {usual}; a longer gap splits the trace'


def _choose(look: Look, used: set[int]) -> dict[str, Seen | None]:
    """Return the column of each signal by its name and unit; None where none fits."""
    chosen: dict[str, Seen | None] = {}
    taken = set(used)
    for signal, pattern in _NAMES.items():
        kind = CHANNELS[signal]
        named = [c for c in look.columns if c.place not in taken and re.search(pattern, c.name, re.IGNORECASE)]
        fitting = [column for column in named if _may_be(column, kind)]
        if fitting:
            best = next((column for column in fitting if column.unit_of(kind)), fitting[0])
            chosen[signal] = best
            taken.add(best.place)
        elif signal in ("oil_pressure", "suction_pressure"):
            chosen[signal] = None
    return chosen


def _may_be(column: Seen, kind: str) -> bool:
    """Say whether a column can be of this kind: by its unit, else by its name."""
    if any(column.unit_of(other) for other in KINDS if other not in (kind, TIME)):
        return bool(column.unit_of(kind))
    if kind == PRESSURE:
        return not _TEMPERATURE_NAME.search(column.name) or bool(_PRESSURE_NAME.search(column.name))
    return bool(column.unit_of(kind)) or (kind == TEMPERATURE and bool(_TEMPERATURE_NAME.search(column.name)))


def _channel(look: Look, signal: str, column: Seen | None) -> Iterator[str]:
    yield from ["", f"[{signal}]"]
    if column is None:
        known = ", ".join(c.name for c in look.columns)
        yield f'column = "{OPEN}"  # DOUBT: which of {known}'
        yield f'unit = "{OPEN}"  # DOUBT: unit and'
        yield f'reference = "{OPEN}"  # DOUBT: "gauge" or "absolute"'
        return
    kind = CHANNELS[signal]
    yield f"column = {_column(look, column)}"
    unit = column.unit_of(kind)
    if unit:
        yield f"# found: unit {unit}"
    else:
        yield f'unit = "{OPEN}"  # DOUBT: the file does not say; readings {_range(column)}'
    if kind == PRESSURE:
        yield _reference(signal, column, unit)


def _reference(signal: str, column: Seen, unit: str) -> str:
    mark = read_unit(unit, PRESSURE).reference if unit else ""
    if mark:
        return f'reference = "{mark}"  # so marked in the file'
    seen = _range(column)
    if column.numbers and min(column.numbers) < 0:
        return f'reference = "gauge"  # DOUBT: readings {seen} go below zero, so it is hardly absolute'
    choice = '"gauge" or "absolute"' if signal != "oil_pressure" else '"gauge", "absolute" or "difference" (net)'
    return f'reference = "{OPEN}"  # DOUBT: {choice}? Readings {seen}; nothing in the file says'


def _range(column: Seen) -> str:
    numbers = column.numbers
    return f"{min(numbers):g} to {max(numbers):g}" if numbers else "none seen"


def _running(look: Look, free: list[Seen], *, speed: bool) -> Iterator[str]:
    status = [c for c in free if _RUNNING.search(c.name) and 1 <= len(set(c.filled)) <= FEW_WORDS]
    current = [c for c in free if c.unit_of(CURRENT) or _CURRENT.search(c.name)]
    if status:
        yield f"column = {_column(look, status[0])}"
        words = sorted(set(status[0].filled))
        if not {word.casefold() for word in words} <= {*ON, *OFF, "1.0", "0.0"}:
            yield f"# DOUBT: it holds {', '.join(words)}: name them in on = [...] and off = [...]"
        if len(status[0].filled) < len(status[0].cells) / 2:
            yield "on_change = true  # DOUBT: most cells are empty: is the status written only where it changes"
    elif current:
        yield f"column = {_column(look, current[0])}"
        if not current[0].unit_of(CURRENT):
            yield f'unit = "{OPEN}"  # DOUBT: the unit of this current'
        yield f'current_above = "{OPEN}"  # DOUBT: "12 A", between idle and running; readings {_range(current[0])}'
    elif speed:
        yield f'speed_above = "{OPEN}"  # DOUBT: "200 rpm"; the machine runs above it'
    else:
        plain = [c.name for c in free if c.filled and {cell.casefold() for cell in c.filled} <= {*ON, *OFF}]
        perhaps = f"perhaps {' or '.join(plain)}" if plain else "no column looks like a status"
        yield f'column = "{OPEN}"  # DOUBT: {perhaps}; or current_above, speed_above'


def _column(look: Look, column: Seen) -> str:
    """Return how a profile names a column: by its name, or by its number where that does not do."""
    alone = sum(other.name == column.name for other in look.columns) == 1
    sayable = column.name and not HIDDEN.search(column.name)
    return _quoted(column.name) if sayable and alone else str(column.place + 1)


def _quoted(text: str) -> str:
    import tomlkit

    return tomlkit.item(text).as_string()
