"""A column that names the machine of each row: without it the rows of several machines are taken for those of one."""

from collections.abc import Iterable, Sequence
from itertools import compress

from replay.measured.look import Seen
from replay.measured.machines import MOST_MACHINES
from replay.measured.naming import MACHINE, read_name

DOUBLED = 0.05  # share of the rows that are told twice without the column; and hardly one with it (assumed)


def machine_column(some: Iterable[Seen], keys: Sequence[tuple[str, ...]]) -> Seen | None:
    """Return the column by whose words rows of the same key (time, or time and tag) come apart, None without one.

    keys: those of the rows of `Seen.far`, or of `Seen.cells` where there are none.
    """
    if _doubled(keys) <= DOUBLED:
        return None
    for column in some:
        cells = column.far or column.cells
        names = set(cells) - {""}
        if len(cells) == len(keys) and 2 <= len(names) <= MOST_MACHINES and not column.told:  # noqa: PLR2004 - several
            parted = [(*key, name) for key, name in zip(keys, cells, strict=True)]
            if _doubled(parted) < DOUBLED / 2:
                return column
    return None


def named_for_machines(some: Iterable[Seen]) -> Seen | None:
    """Return the first column whose name says a machine and whose words are several, though no time comes twice."""
    return next((column for column in some if _names_machines(column)), None)


def rows_of_first(column: Seen, some: Iterable[Seen]) -> list[Seen]:
    """Return columns as they look in the rows of the machine that comes first."""
    first = next(name for name in column.far or column.cells if name)
    far, near = ([cell == first for cell in cells] for cells in (column.far, column.cells))

    def own(one: Seen) -> Seen:
        cells, more = list(compress(one.cells, near)), list(compress(one.far, far))
        return Seen(one.place, one.name, one.unit, cells, more)

    return [own(one) for one in some]


def _doubled(keys: Sequence[tuple[str, ...]]) -> float:
    return 1 - len(set(keys)) / len(keys) if keys else 0.0


def _names_machines(column: Seen) -> bool:
    several = 2 <= len(set(column.filled)) <= MOST_MACHINES  # noqa: PLR2004 - at least
    return several and not column.told and set(read_name(column.name).means) == {MACHINE}
