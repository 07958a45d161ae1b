"""Readings that the file itself marks as not good are no readings, and are counted."""

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from replay.measured.block import GOOD, NOT_GOOD, UNKNOWN, UNMARKED, Block


def only_good(block: Block, marks: dict[str, NDArray[np.int8]]) -> Block:
    """Return a block without the readings that are not good; marks: int8[n] of each signal that has any.

    A cell without a mark is no good reading, but where neither is written nothing was said at all.
    """
    if not marks:
        return block
    values, status, silent = dict(block.values), dict(block.status), dict(block.silent)
    counted = {}
    for signal, mark in marks.items():
        nothing = (mark == UNMARKED) & silent.get(signal, np.zeros(len(block), dtype=bool))
        bad = (mark != GOOD) & ~nothing
        counted[signal] = int(bad.sum())
        if signal in values:
            values[signal] = np.where(bad, np.nan, values[signal])
        else:
            status[signal] = np.where(bad & (status[signal] != UNKNOWN), NOT_GOOD, status[signal]).astype(np.int8)
        if signal in silent:
            silent[signal] = nothing
    return replace(block, values=values, status=status, silent=silent, not_good=counted)
