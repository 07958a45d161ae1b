"""A look at a long table, where each row is one reading: its tags as if they were columns."""

from dataclasses import dataclass, replace

from replay.measured.clock import looks_like_time
from replay.measured.look import Look, Seen
from replay.measured.naming import TAG, VALUE, read_name

TAGS = (2, 2000)
MOST_COLUMNS = 10


@dataclass(frozen=True)
class Long:
    """The columns of tag and value of a long table, and a look at it as if it were wide."""

    tag: Seen
    value: Seen
    wide: Look


def find_long(look: Look) -> Long | None:
    """Return the columns of tag and value and each tag as a column, None for a table that is not long."""
    if look.own_clocks or len(look.columns) > MOST_COLUMNS:
        return None
    values = [c for c in look.columns if read_name(c.name).says(VALUE) and c.told]
    tags = [c for c in look.columns if read_name(c.name).says(TAG) and _holds_tags(c)]
    times = [c for c in look.columns if c.filled and all(map(looks_like_time, c.filled[:200])) and not c.numbers]
    if len(values) != 1 or len(tags) != 1:
        return None
    value, tag = values[0], tags[0]
    numbers = [c for c in look.columns if c.told and len(c.told) == len(c.filled) and c not in (value, tag)]
    clock = (times or numbers)[:2] if len(times) != 1 else times
    if not clock:
        return None
    units = next((c for c in look.columns if "unit" in read_name(c.name).words and c not in (value, tag)), None)
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
    rest = [c for c in look.columns if c.place not in used]
    return Long(tag, value, replace(look, columns=[*columns, *rest, *made], long=True))


def _holds_tags(column: Seen) -> bool:
    words = set(column.filled)
    return TAGS[0] <= len(words) <= TAGS[1] and 2 * len(words) <= len(column.filled) and not column.told
