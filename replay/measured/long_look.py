"""A look at a long table, where each row is one reading: its tags as if they were columns."""

from dataclasses import dataclass, replace

from replay.measured.clock import looks_like_time
from replay.measured.guess_machines import machine_column, rows_of_first
from replay.measured.look import Look, Seen
from replay.measured.naming import OIL, RUNNING, SUCTION, TAG, VALUE, read_name, unit_column

TAGS = (2, 2000)
MOST_COLUMNS = 10


@dataclass(frozen=True)
class Long:
    """The columns of tag, value and (where it has one) machine of a long table; a look at it as if it were wide."""

    tag: Seen
    value: Seen
    machine: Seen | None
    wide: Look


def find_long(look: Look) -> Long | None:
    """Return the columns of tag and value and each tag as a column, None for a table that is not long."""
    if look.own_clocks or len(look.columns) > MOST_COLUMNS:
        return None
    values = [c for c in look.columns if read_name(c.name).says(VALUE) and c.told]
    tags = [c for c in look.columns if read_name(c.name).says(TAG) and _holds_tags(c)]
    times = [c for c in look.columns if c.filled and all(map(looks_like_time, c.filled[:200])) and not c.numbers]
    if len(values) != 1 or not tags or not _alike(tags):
        return None
    value, tag = values[0], max(tags, key=_signals)  # of tag and description the one that says what is measured
    numbers = [c for c in look.columns if c.told and len(c.told) == len(c.filled) and c not in (value, tag)]
    clock = (times or numbers)[:2] if len(times) != 1 else times
    if not clock:
        return None
    beside = unit_column([c.name for c in look.columns], {value.place, tag.place})
    units = None if beside is None else look.columns[beside]
    keys = list(zip(*(c.far or c.cells for c in (*clock, tag)), strict=True))
    others = [c for c in look.columns if c not in (value, *tags, *clock)]
    machine = machine_column(others, keys)
    if machine is not None:  # its tags are looked at of one machine
        look = replace(look, columns=rows_of_first(machine, look.columns))
        clock, (tag, value) = [look.columns[c.place] for c in clock], [look.columns[c.place] for c in (tag, value)]
    moments = list(zip(*(c.far or c.cells for c in clock), strict=True))
    rows = {moment: number for number, moment in enumerate(dict.fromkeys(moments))}
    columns = [replace(c, far=[], cells=[moment[i] for moment in rows]) for i, c in enumerate(clock)]
    cells: dict[str, list[str]] = {}
    unit_of: dict[str, str] = {}
    spelled = (units.far or units.cells) if units else [""] * len(moments)
    for moment, name, cell, unit in zip(moments, tag.far or tag.cells, value.far or value.cells, spelled, strict=True):
        if name:
            cells.setdefault(name, [""] * len(rows))[rows[moment]] = cell
            unit_of.setdefault(name, unit)
    made = [Seen(len(look.columns) + n, name, unit_of[name], own) for n, (name, own) in enumerate(cells.items())]
    used = {c.place for c in (*clock, value, tag)} | ({units.place} if units else set())
    used |= {machine.place} if machine is not None else set()
    rest = [c for c in look.columns if c.place not in used]
    return Long(tag, value, machine, replace(look, columns=[*columns, *rest, *made], long=True))


def _alike(tags: list[Seen]) -> bool:
    """Say whether columns name the same things, each by its own names: tags and their descriptions."""
    kinds = [len(set(c.filled)) for c in tags]
    together = len(set(zip(*(c.far or c.cells for c in tags), strict=True)))
    return len(tags) == 1 or set(kinds) == {together}


def _signals(tag: Seen) -> int:
    """Return how many names of a column of tags say which signal they are."""
    return sum(bool(read_name(name).means.keys() & {OIL, SUCTION, RUNNING}) for name in set(tag.filled))


def _holds_tags(column: Seen) -> bool:
    words = set(column.filled)
    return TAGS[0] <= len(words) <= TAGS[1] and 2 * len(words) <= len(column.filled) and not column.told
