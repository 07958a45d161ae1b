"""Rows that two files tell, one by one: which are held against each other, and which differ."""

from pathlib import Path

import numpy as np
import pytest

from protect.ranges import CRANKCASE_PRESSURE, CUT_OUT, MAX_GAP, NO_READING
from replay.engine.obeying import FIRST_INPUT, TIME
from replay.settings import Settings, read_settings
from replay.triage.overlaps import CRANKCASE, OIL, RUNNING, SUCTION, Overlap, ToldBefore

Row = tuple[int, int, int, int]  # ms; oil, suction and crankcase pressure in Pa; running
FAR = 400_000


@pytest.fixture
def site(settings_file: Path) -> Settings:
    """Return the settings that the tests share: cut-out 60 kPa, rows up to 3 s apart."""
    return read_settings(settings_file)


def columns(*rows: Row) -> np.ndarray:
    """Return rows as an engine has them."""
    told = np.zeros((FIRST_INPUT + CRANKCASE_PRESSURE + 1, len(rows)), np.int64)
    for place, (time, oil, suction, running) in enumerate(rows):
        told[[TIME, OIL, SUCTION, CRANKCASE, RUNNING], place] = time, oil, suction, suction, running
    return told


def overlap(site: Settings, told: list[Row], again: list[Row], *, pieces: int = 1) -> tuple[int, int, int, int]:
    """Return rows told again, those compared, those that differ, and by how much oil pressure does at most."""
    found = Overlap()
    before = ToldBefore(iter([columns(row) for row in told]), site)
    for part in np.array_split(np.arange(len(again)), pieces):
        before.compare(columns(*(again[place] for place in part)), found)
    return found.rows, found.compared, found.different, found.most_pa


WELL: Row = (0, FAR, 300_000, 1)


@pytest.mark.parametrize(
    ("row", "compared", "differs", "most_pa"),
    [
        ((0, FAR, 300_000, 1), 1, 0, 0),
        ((0, FAR + 1000, 299_000, 1), 1, 0, 0),  # what an export rounds off
        ((0, FAR + 1001, 300_000, 1), 1, 1, 1001),
        ((0, FAR - 1001, 300_000, 1), 1, 1, 1001),
        ((0, FAR, 301_001, 1), 1, 1, 0),
        ((0, FAR, 300_000, 0), 1, 1, 0),
        ((0, NO_READING, 300_000, 1), 0, 0, 0),  # nothing to hold against
        ((0, NO_READING, 300_000, 0), 1, 1, 0),  # but whether it ran
        ((0, FAR, NO_READING, 1), 1, 0, 0),
        ((1, FAR + 30_000, 290_000, 1), 1, 0, 0),  # between rows readings move
        ((1, 359_999, 300_000, 1), 1, 1, 40_001),  # short of oil they do not
        ((1, 360_000, 300_000, 1), 1, 0, 0),
        ((3000, FAR, 300_000, 0), 1, 1, 0),
        ((3001, FAR, 300_000, 0), 0, 0, 0),  # the row before is too old
        ((-1, FAR, 300_000, 0), 0, 0, 0),  # and there is none
    ],
)
def test_a_row_told_again_is_held_against_the_newest_before_it(
    row: Row, compared: int, differs: int, most_pa: int, site: Settings
) -> None:
    """Catches a limit on the other side, a channel or the running left out, and readings compared at other moments."""
    assert (site.values[MAX_GAP], site.values[CUT_OUT]) == (3000, 60_000)
    assert overlap(site, [WELL], [row]) == (1, compared, differs, most_pa)


@pytest.mark.parametrize("pieces", [1, 2, 5])
def test_rows_are_compared_in_their_order_however_they_come(pieces: int, site: Settings) -> None:
    """Catches a row told before that is dropped too soon, or taken though a newer one was there."""
    told: list[Row] = [(time, FAR + time, 300_000, int(time < 5000)) for time in range(0, 10_000, 1000)]
    again: list[Row] = [
        (time, FAR + time // 1000 * 1000, 300_000, int(time < 5000)) for time in range(500, 10_000, 900)
    ]
    assert overlap(site, told, again, pieces=pieces) == (11, 11, 0, 0)
    again[4] = (again[4][0], FAR, 300_000, 0)
    assert overlap(site, told, again, pieces=pieces)[:3] == (11, 11, 1)
