"""Times that two files of a machine tell, and whether they tell the same.

The file that begins first counts; the rows of a later one at times that were told are held against it. At the same
moment they have to read the same, but for what an export rounds off. Between its rows the newest before is taken: then
only what matters is compared, whether the machine ran and whether it was short of oil.
"""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from protect.ranges import (
    CRANKCASE_PRESSURE,
    CUT_OUT,
    MAX_GAP,
    NO_READING,
    OIL_PRESSURE,
    RUN_FEEDBACK,
    SUCTION_PRESSURE,
)
from replay.engine.obeying import FIRST_INPUT, TIME
from replay.settings import Settings

Array = NDArray[np.int64]

ROUNDED_PA = 1000  # a reading in bar with two decimals is no nearer (assumed)
FEW = 0.02  # share of the rows compared in which files may differ, as where a start is told a row later (assumed)
BOUNDARY = 2  # rows that may differ where one file ends and the next begins (assumed)
OIL, SUCTION, CRANKCASE = (FIRST_INPUT + place for place in (OIL_PRESSURE, SUCTION_PRESSURE, CRANKCASE_PRESSURE))
RUNNING = FIRST_INPUT + RUN_FEEDBACK


@dataclass
class Overlap:
    """Rows told again: in all, compared with one told before, different; most_pa: by how much oil pressure differs."""

    rows: int = 0
    compared: int = 0
    different: int = 0
    most_pa: int = 0

    @property
    def disagrees(self) -> bool:
        """Say whether the files cannot both be right."""
        return self.different > max(BOUNDARY, FEW * self.compared)

    @property
    def unknown(self) -> bool:
        """Say whether most of what is told twice could not be compared."""
        return 2 * self.compared < self.rows


class ToldBefore:
    """What earlier files tell, columns as in `replay.engine.obeying` in the order of time, asked in that order too."""

    def __init__(self, told: Iterator[Array], settings: Settings) -> None:
        self.told, self.kept = told, np.zeros((FIRST_INPUT + CRANKCASE_PRESSURE + 1, 0), np.int64)
        self.cut_out, self.max_gap = settings.values[CUT_OUT], settings.values[MAX_GAP]

    def compare(self, again: Array, overlap: Overlap) -> None:
        """Hold rows told again against those told before."""
        last = again[TIME, -1]
        while not self.kept.shape[1] or self.kept[TIME, -1] < last:
            more = next(self.told, None)
            if more is None:
                break
            self.kept = np.concatenate((self.kept, more), axis=1)
        overlap.rows += again.shape[1]
        place = np.searchsorted(self.kept[TIME], again[TIME], side="right") - 1
        known = place >= 0
        before, now = self.kept[:, place[known]], again[:, known]
        fresh = now[TIME] - before[TIME] <= self.max_gap
        before, now = before[:, fresh], now[:, fresh]
        both = ((before[OIL] != NO_READING) & (now[OIL] != NO_READING)) | (before[RUNNING] != now[RUNNING])
        before, now = before[:, both], now[:, both]
        same = before[TIME] == now[TIME]
        apart = np.zeros(now.shape[1], dtype=bool)
        for place_of in (OIL, SUCTION):
            read = (before[place_of] != NO_READING) & (now[place_of] != NO_READING)
            apart |= same & read & (np.abs(before[place_of] - now[place_of]) > ROUNDED_PA)
        differs = apart | (before[RUNNING] != now[RUNNING]) | (self._short(before) != self._short(now))
        overlap.compared += now.shape[1]
        overlap.different += int(differs.sum())
        read = differs & (before[OIL] != NO_READING) & (now[OIL] != NO_READING)
        overlap.most_pa = max(overlap.most_pa, int(np.abs(before[OIL] - now[OIL])[read].max(initial=0)))
        self.kept = self.kept[:, max(0, np.searchsorted(self.kept[TIME], last, side="right") - 1) :]

    def _short(self, columns: Array) -> NDArray[np.bool_]:
        """Say of each row whether the machine ran short of oil."""
        read = (columns[OIL] != NO_READING) & (columns[CRANKCASE] != NO_READING)
        net = columns[OIL] - columns[CRANKCASE]
        return np.asarray(read & (columns[RUNNING] == 1) & (net < self.cut_out))
