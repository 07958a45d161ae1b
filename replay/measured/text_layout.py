"""What the columns of a text file hold, as its header and first rows show it and the profile says."""

import re
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from replay.ground.refusal import refusal
from replay.measured import clock as clocks
from replay.measured import columns
from replay.measured.cells import null_words
from replay.measured.dialect import Dialect, read_dialect
from replay.measured.marks import looks_like_number
from replay.measured.profile import Profile
from replay.measured.unit_text import TIME, Unit, factor_in, unit_in_name

PLAIN = re.compile(r"[-+]?\d+\.?\d*(?:[eE][-+]?\d+)?")
LEAST_FALLS = 2  # one may be midnight, or a clock that was put back
NUMBER, STAMP, TEXT = "number", "stamp", "text"


@dataclass(frozen=True)
class Layout:
    """Columns by their places from 0.

    time_places: of the time, or of date and time of day; places: of each signal; types: NUMBER, STAMP or TEXT of each
    column that is wanted; words: those of a status in words; qualities: the marks of quality of each signal; machine:
    of its name; whole: those written in whole numbers as far as is seen; newest_first: rows stand in falling time;
    other_times: columns of times that go apart from the time that is used.
    """

    dialect: Dialect
    time_places: tuple[int, ...]
    places: dict[str, int]
    units: dict[str, Unit]
    clock: clocks.Clock
    types: dict[int, str]
    words: frozenset[int]
    whole: frozenset[int]
    qualities: dict[str, int]
    machine: int | None
    newest_first: bool
    other_times: tuple[str, ...] = ()


def layout_of(path: Path, profile: Profile) -> Layout:
    """Return the layout of a text file. Raises Refusal for what its header already shows to be wrong."""
    dialect = read_dialect(path, profile.file, profile.names)
    names = list(dialect.names)
    if not profile.time.columns:
        raise refusal(profile.path, "[time] column", "missing key", "the name of the time column")
    time_places = tuple(columns.find(path, profile, names, column) for column in profile.time.columns)
    places = columns.places(path, profile, names)
    if dialect.marks.doubt:
        raise refusal(path, "numbers", dialect.marks.doubt, '[file] decimal = "." or "," in the profile')
    units = columns.units(path, profile, lambda signal: (names[places[signal]], dialect.unit(places[signal])))
    measured = {places[signal] for signal in units}
    if profile.flags["running"].mean_above is not None:
        measured.add(places["running"])
    words = frozenset(places[signal] for signal in profile.flags) - measured - set(time_places)
    clock = clock_of(path, profile, dialect, time_places)
    newest = newest_first(clock, dialect, time_places)
    nothing = null_words(profile.file.sentinels or ())
    types = {place: _type(dialect, place, nothing) for place in places.values()} | dict.fromkeys(measured, NUMBER)
    stamped = STAMP if clock.iso and len(time_places) == 1 else TEXT
    types |= dict.fromkeys(time_places, NUMBER if clock.number else stamped)
    qualities = {signal: columns.find(path, profile, names, item) for signal, item in profile.qualities.items()}
    types |= dict.fromkeys(set(qualities.values()) - types.keys(), TEXT)
    named = profile.machine_column
    machine = None if named is None else columns.find(path, profile, names, named)
    if machine is not None:
        types[machine] = TEXT
    integers = words | (set(time_places) if clock.counts_whole else set())
    whole = frozenset(place for place in integers if types[place] == NUMBER and _in_digits(dialect.column(place)))
    others = tuple(_other_times(dialect, time_places, clock, profile.time.max_gap_ms))
    return Layout(dialect, time_places, places, units, clock, types, words, whole, qualities, machine, newest, others)


def _other_times(dialect: Dialect, time_places: tuple[int, ...], clock: clocks.Clock, max_gap_ms: int) -> Iterator[str]:
    """Yield columns of times as those of the time column, from which they go apart by more than max_gap."""
    import pyarrow as pa

    if clock.number or len(time_places) > 1:
        return
    own = clock.from_text(pa.array(dialect.column(time_places[0]), pa.string()))
    for place, name in enumerate(dialect.names):
        if place not in time_places:
            other = clock.from_text(pa.array(dialect.column(place), pa.string()))
            if clocks.go_apart(own, other) > max_gap_ms:
                yield name or f"column {place + 1}"


def _type(dialect: Dialect, place: int, nothing: list[str]) -> str:
    cells = [cell for cell in dialect.column(place) if cell.casefold() not in nothing]
    return NUMBER if cells and all(map(looks_like_number, cells)) else TEXT


def clock_of(path: Path, profile: Profile, dialect: Dialect, time_places: tuple[int, ...]) -> clocks.Clock:
    """Return how the time of a text file reads. Raises Refusal where neither cells nor profile tell."""
    place = time_places[0]
    parts = [dialect.column(place) for place in time_places]
    cells = [" ".join(cell).strip() for cell in zip(*parts, strict=True)]
    told = [looks_like_number(cell) for cell in cells if cell]
    numbers = len(parts) == 1 and 2 * sum(told) > len(told)
    if numbers:
        cells = [dialect.marks.plain(cell) for cell in cells]
    unit = dialect.units[place] or unit_in_name(dialect.names[place], TIME)
    unit = "" if factor_in(unit) or factor_in(dialect.names[place]) else unit
    return clocks.decide(path, profile.path, profile.time, cells, unit, numbers=numbers)


def newest_first(clock: clocks.Clock, dialect: Dialect, time_places: tuple[int, ...]) -> bool:
    """Say whether the first rows stand in falling time."""
    import pyarrow as pa

    cells = [" ".join(cell).strip() for cell in zip(*(dialect.column(place) for place in time_places), strict=True)]
    plain = [dialect.marks.plain(cell) for cell in cells]
    if clock.number:
        ms = clock.from_numbers(np.array([float(cell) for cell in plain if PLAIN.fullmatch(cell)]))
    else:
        ms = clock.from_text(pa.array(cells, pa.string()))
    return falls(ms)


def falls(ms: NDArray[np.int64]) -> bool:
    """Say whether times (ms) fall, as where the newest row comes first."""
    steps = np.diff(ms[ms != clocks.UNREADABLE])
    return int((steps < 0).sum()) >= LEAST_FALLS and bool((steps <= 0).all())


def _in_digits(cells: list[str]) -> bool:
    return all(cell.isascii() and cell.isdigit() for cell in cells)
