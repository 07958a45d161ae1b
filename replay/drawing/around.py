"""The rows around an event of triage, read once more from its files: thinned as they come, so memory stays bounded."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from protect import ranges
from replay.drawing.decimation import Floats, polyline
from replay.drawing.picture import in_kpa, net_kpa
from replay.settings import Settings
from replay.trace import Trace, read_pieces
from replay.triage.events import Event
from replay.triage.findings import Findings, Piece

ROWS = 1 << 18  # of a file that are held at a time
STRETCHES = 530  # one for each dot of the drawing
LEAST_ROOM_MS, MOST_ROOM_MS = 120_000, 1_800_000  # before and behind an event


@dataclass
class Around:
    """Readings around an event, times in s of its log: net, suction (s, kPa; NaN at breaks), stretches of running."""

    event: Event
    begin_s: float
    end_s: float
    net: list[tuple[Floats, Floats]] = field(default_factory=list)
    suction: list[tuple[Floats, Floats]] = field(default_factory=list)
    running: list[tuple[float, float]] = field(default_factory=list)
    seen_to_s: float = -np.inf

    def take(self, piece: Trace, offset_s: float, max_gap_ms: int) -> None:
        """Take what lies around the event of some rows, whose trace begins at offset_s of the log."""
        seconds = offset_s + piece.time_ms / 1000
        first = np.searchsorted(seconds, max(self.begin_s, np.nextafter(self.seen_to_s, np.inf)))
        rows = slice(int(first), int(np.searchsorted(seconds, self.end_s, side="right")))
        times = seconds[rows]
        if len(times) == 0:
            return
        gaps = np.flatnonzero(np.diff(times) > max_gap_ms / 1000) + 1
        behind = times[0] - self.seen_to_s > max_gap_ms / 1000
        share = (times[-1] - times[0]) / (self.end_s - self.begin_s)
        for curve, values in ((self.net, net_kpa(piece)[rows]), (self.suction, in_kpa(piece.suction_pa)[rows])):
            if behind and curve:
                curve.append((np.array([np.nan]), np.array([np.nan])))
            curve.append(polyline(times, values, gaps, max(1, round(STRETCHES * share))))
        self._run(times[0] if behind else self.seen_to_s, times, piece.running[rows] == 1)
        self.seen_to_s = float(times[-1])

    def _run(self, since_s: float, times: Floats, on: NDArray[np.bool_]) -> None:
        """Add stretches of running: a row tells of the time since the row before, which was at since_s."""
        before = np.concatenate(([since_s], times[:-1]))
        edges = np.flatnonzero(np.diff(on.astype(np.int8), prepend=0, append=0))
        for begin, end in zip(edges[::2], edges[1::2] - 1, strict=True):
            since, until = float(before[begin]), float(times[end])
            if self.running and since <= self.running[-1][1]:
                since = self.running.pop()[0]
            self.running.append((since, until))


def read_around(found: Findings, events: Sequence[Event], settings: Settings) -> list[Around]:
    """Return the readings around each of these events of a machine; a file is read once for all of them."""
    shown = [_empty(event) for event in events]
    for piece in found.pieces:
        begins = [(around, begin) for around in shown if (begin := _offset_s(piece, around.event)) is not None]
        length_s = piece.end_ms / 1000
        near = [(one, begin) for one, begin in begins if begin <= one.end_s and begin + length_s >= one.begin_s]
        _read(piece.placed.part.path, near, settings)
    return shown


def _read(path: Path, near: Sequence[tuple[Around, float]], settings: Settings) -> None:
    last_s = max((around.end_s - offset for around, offset in near), default=-1.0)
    if last_s < 0:
        return
    for rows in read_pieces(path, ROWS):
        for around, offset in near:
            around.take(rows, offset, settings.values[ranges.MAX_GAP])
        if rows.time_ms[-1] / 1000 > last_s:
            return


def _empty(event: Event) -> Around:
    room = min(max(event.length_ms // 2, LEAST_ROOM_MS), MOST_ROOM_MS)
    return Around(event, (event.start_ms - room) / 1000, (event.end_ms + room) / 1000)


def _offset_s(piece: Piece, event: Event) -> float | None:
    """Return where a file begins in the log of an event, in s; None where it has another clock."""
    file, log = piece.placed.clock.utc_s, event.clock.utc_s
    if file is not None and log is not None:
        return file - log
    same = file is None and log is None and str(piece.placed.part.path) == event.file
    return piece.placed.start_s - event.log_start_s if same else None
