"""Readings of a long table by the days of their clock, on disk where they are many: no decade fills the memory.

Tag after tag, newest first or as they came: whatever the order of a file, the readings of one day stand together in the
end, in the order in which the file had them.
"""

from collections import defaultdict
from pathlib import Path
from typing import Any

import numpy as np

from replay.measured.clock import DAY_MS

HELD_BYTES = 1 << 26  # of readings in memory, from which they go to disk


class Days:
    """Takes tables with a column `ms` (int64), and gives them back day after day."""

    def __init__(self, folder: Path) -> None:
        self.folder, self.held, self.files = folder, 0, 0
        self.waiting: dict[int, list[Any]] = defaultdict(list)
        self.written: dict[int, list[Path]] = defaultdict(list)

    def add(self, table: Any) -> None:
        """Take the next readings of the file."""
        days = table["ms"].to_numpy() // DAY_MS
        for day in np.unique(days).tolist():
            rows = np.flatnonzero(days == day)
            self.waiting[day].append(table.slice(rows[0], len(rows)) if _together(rows) else table.take(rows))
        self.held += table.nbytes
        if self.held > HELD_BYTES:
            self._write()

    def _write(self) -> None:
        import pyarrow as pa

        for day, tables in self.waiting.items():
            path = self.folder / str(self.files)
            self.files += 1
            table = pa.concat_tables(tables).unify_dictionaries()
            with pa.ipc.new_file(path, table.schema) as out:
                out.write_table(table)
            self.written[day].append(path)
        self.waiting.clear()
        self.held = 0

    def __iter__(self) -> Any:
        """Yield the readings of each day, one table a day, ascending."""
        import pyarrow as pa

        for day in sorted(self.written.keys() | self.waiting.keys()):
            parts = [pa.ipc.open_file(pa.OSFile(str(path))).read_all() for path in self.written.get(day, [])]
            yield pa.concat_tables([*parts, *self.waiting.get(day, [])]).combine_chunks()


def _together(rows: Any) -> bool:
    return bool(rows[-1] - rows[0] + 1 == len(rows))
