"""A first profile for a file: what its header and rows tell, and DOUBT where they do not.

What matters and cannot be seen (gauge or absolute, day or month first, the site's altitude) stands as "?",
which an import refuses: nobody gets past it without a decision. What may be read two ways is a question that lists
the ways; a column that is not used is listed with why.
"""

import re
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

from replay.ground.refusal import HIDDEN
from replay.measured.candidates import FEW_WORDS, Chosen, choose
from replay.measured.cells import SUSPECTS
from replay.measured.guess_machines import machine_column, named_for_machines, rows_of_first
from replay.measured.guess_signals import (
    channel_lines,
    counts_from_atmosphere,
    is_quality,
    qualities_of,
    quality_lines,
    running_lines,
)
from replay.measured.guess_time import time_columns, time_lines
from replay.measured.long_look import Long, find_long
from replay.measured.look import Look, Seen, column_key, look_at, quoted
from replay.measured.marks import looks_like_number
from replay.measured.naming import RESET, read_name
from replay.measured.opened import opened
from replay.measured.profile_keys import CHANNELS, OPEN

HOLDS_NUMBER = re.compile(r"\d[.,]\d")  # in a word that is no number: a sign behind it, brackets, another unit
MOST_ODD = 4  # of such words that are shown


def draft_profile(path: Path | str) -> str:
    """Return a commented draft of a profile for a file, as TOML. Raises Refusal for what is no table of readings."""
    with opened(Path(path)) as inside:
        given = inside[0]  # of several, files of one archive or sheets of one workbook are alike
        with given.by_name():
            look = look_at(given.path)
            long = find_long(look)
            machine = long.machine if long else None
            if long is None and (machine := _machine_of_rows(look)) is not None:
                columns = [c for c in rows_of_first(machine, look.columns) if c.place != machine.place]
                look = replace(look, columns=columns)
            lines = _lines(long.wide if long else look, long, machine)
            return "".join(f"{HIDDEN.sub('?', line)}\n" for line in lines)


def _machine_of_rows(look: Look) -> Seen | None:
    """Return the column that names the machine of each row of a wide table, if there is one."""
    times = time_columns(look)
    clock = () if times.asked else times.columns
    keys = list(zip(*(column.far or column.cells for column in clock), strict=True)) if clock else []
    return machine_column((c for c in look.columns if c not in clock and not is_quality(c)), keys)


def _lines(look: Look, long: Long | None, machine: Seen | None) -> Iterator[str]:
    yield f"# Draft of a profile for {look.path.name}. Decide every line marked DOUBT: an import refuses"
    yield f'# what is left as "{OPEN}". {look.extent}'
    yield f"fingerprints = [{quoted(look.fingerprint)}]"
    times = time_columns(look)
    used = {column.place for column in times.columns}
    if len([column for column in look.columns if column.told]) == 1 + sum(bool(c.told) for c in times.columns):
        yield '# One column of readings: where each signal has a file of its own, give each section file = "*OILP*", a'
        yield "# pattern of file names, and import the files together."
    yield from _file(look, used)
    yield from time_lines(look, times)
    if long:
        yield from ["", "[long]  # each row is one reading: columns of signals are tags"]
        yield f"tag = {column_key(look, long.tag)}"
        yield f"value = {column_key(look, long.value)}"
    free = [column for column in look.columns if column.place not in used | {c.place for c in times.others}]
    reset = [c for c in free if read_name(c.name).says(RESET) and len(set(c.filled)) <= FEW_WORDS][:1]
    quality = [c for c in free if is_quality(c)]
    chosen = choose(c for c in free if c not in reset and c not in quality)
    qualities = qualities_of(chosen, quality)
    yield from ["", "[site]"]
    if counts_from_atmosphere(chosen):
        yield f'altitude = "{OPEN}"  # DOUBT: "40 m"? Gauge pressures count from the atmosphere there (none: no line)'
    else:
        yield '# altitude = "40 m"   # of the site; no pressure of this file counts from the atmosphere'
    for signal in CHANNELS:
        if signal in chosen.taken or signal in chosen.asked:
            yield from channel_lines(look, signal, chosen, qualities)
    yield from ["", "[running]"]
    yield from running_lines(look, chosen, qualities)
    for column in reset:
        yield from ["", "[reset]", f"column = {column_key(look, column)}"]
    yield from quality_lines(look, quality, qualities)
    named = None if machine or chosen.machines else named_for_machines(column for column, _ in chosen.left)
    yield from _machines(look, chosen, machine, named)
    left = [*((c, "a time; another column is taken for it") for c in times.others), *chosen.left]
    left = [(column, why) for column, why in left if column is not named]
    yield from ["", "# Columns that are not used, each with why:"] * bool(left)
    yield from (
        f"#   {column_key(look, column)}: {why}" for column, why in sorted(left, key=lambda told: told[0].place)
    )


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
            words |= dict.fromkeys(cell for cell in filled if not looks_like_number(cell) and cell != column.name)
            numbers |= dict.fromkeys(_far_off(column))
    odd = [word for word in words if HOLDS_NUMBER.search(word)]
    if odd:
        such = ", ".join(map(quoted, odd[:MOST_ODD]))
        yield f'sentinels = "{OPEN}"  # DOUBT: cells such as {such} hold a number that cannot be read as written.'
        yield "# Write them as plain numbers of one unit, or name them here if they are not readings"
    elif words or numbers:
        listed = ", ".join([*map(quoted, words), *(f"{number:g}" for number in numbers)])
        yield f"sentinels = [{listed}]  # DOUBT: taken as no reading; is that right?"
    else:
        yield '# sentinels = ["Bad", "---", -999]   # words and numbers that are no reading; none was seen'


def _far_off(column: Seen) -> list[float]:
    """Return numbers of a column that loggers write for no reading, where they lie outside all its other numbers."""
    rest = [number for number in column.told if number not in SUSPECTS]
    seen = sorted(set(column.told) & set(SUSPECTS))
    if not rest:
        return seen
    if len(set(rest)) == 1 and len(seen) == 1:
        return []  # two numbers are a status, such as -1 and 0
    least, most = min(rest), max(rest)
    return [n for n in seen if n > 2 * max(most, 1.0) or n < min(least, 0.0) - max(0.1 * (most - least), 0.5)]


def _machines(look: Look, chosen: Chosen, machine: Seen | None, named: Seen | None) -> Iterator[str]:
    """Tell the columns of each machine, where a file holds several; else how to name the one.

    machine: the column by which rows of one time come apart; named: one that is only named as if it held machines.
    """
    yield from ["", "[trace]"]
    if machine is not None:
        names = ", ".join(sorted(set(machine.filled))[:FEW_WORDS])
        told = f"{quoted(machine.name)}, which holds {names}? Without it times repeat"
        yield f'machine_column = "{OPEN}"  # DOUBT: {told}'
    elif named is not None:
        names = ", ".join(sorted(set(named.filled))[:FEW_WORDS])
        told = f"{quoted(named.name)}, which holds {names}? Without it all rows are taken for one machine's"
        yield f'machine_column = "{OPEN}"  # DOUBT: {told}; or delete this line'
    elif not chosen.machines:
        yield '# machine = "..."   # without it the name of each file stands for it; or machine_from = "folder"'
    yield '# oil = "..."'
    for own, columns in chosen.machines.items():
        yield from ["", f"[machines.{quoted(own)}]  # DOUBT: is this its name?"]
        for signal, column in columns.items():
            yield f"{'running' if signal == 'current' else signal} = {column_key(look, column)}"
