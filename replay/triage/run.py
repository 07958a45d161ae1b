"""Logs through the kernel and through the obeyed logic, block by block: memory stays bounded, however long a log."""

import bisect
import functools
import itertools
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from protect import ranges, state
from replay.engine import compiled, told_cause
from replay.engine.engines import rows_about
from replay.engine.obeying import FIRST_INPUT, TIME
from replay.engine.portable import Machine, columns_of
from replay.engine.workers import Each, one_by_one
from replay.settings import Settings
from replay.trace import Trace, read_pieces
from replay.triage import kernel
from replay.triage.events import Event, Gravest, told
from replay.triage.logs import in_time

Array = NDArray[np.int64]

ROWS = 1 << 18  # of a log that are held at a time; 1 << 16 as Python integers
ROWS_PORTABLE = 1 << 16
ROOM = 1024  # events of one call of the kernel

# Rows from which compiling pays: with the code on disk it waits for numba, without it for the compiler as well.
PAYS_FROM = 80_000
PAYS_FROM_COMPILING = 600_000


@dataclass
class Findings:
    """What the logs of one machine show, and by which engine.

    Times in ms; `stops` by cause and `lockouts` are those of an obeyed logic.
    """

    machine: str
    files: tuple[Path, ...]
    engine: str = ""
    logs: int = 0
    rows: int = 0
    run_ms: int = 0
    seen_ms: int = 0
    doubted_ms: int = 0
    starved_ms: int = 0
    vacuum_ms: int = 0
    starts: int = 0
    events: Counter[str] = field(default_factory=Counter)
    past_stop: int = 0
    ran_on_ms: int = 0
    reloads: int = 0
    reload_ms: int = 0
    net_least_pa: int | None = None
    stops: Counter[str] = field(default_factory=Counter)
    lockouts: int = 0
    gravest: Gravest = field(default_factory=Gravest)

    def add(self, event: Event) -> None:
        """Count an event."""
        self.events[event.kind] += 1
        self.past_stop += event.stop_at_ms is not None
        self.ran_on_ms += event.ran_on_ms
        self.reloads += event.reload_at_ms is not None
        self.reload_ms += event.reload_ms
        if event.starved and event.net_least_pa is not None:
            self.net_least_pa = min(event.net_least_pa, self.net_least_pa or event.net_least_pa)
        self.gravest.add([event])


class Watch:
    """The kernel over one log: interpreted on lists, or compiled on arrays."""

    def __init__(self, settings: Settings, *, fast: bool) -> None:
        self._run = compiled.compiled(kernel.watch, kernel) if fast else kernel.watch
        self.machine = _machine(settings, fast=fast)
        shapes = (kernel.TOTALS_SIZE, (kernel.KINDS, kernel.EVENT_SIZE), (ROOM, kernel.EVENT_SIZE))
        self.totals, self.opened, self.events = (self.machine.words(np.zeros(shape, np.int64)) for shape in shapes)
        self.totals[kernel.RAN] = 1  # whether the machine started just then is not known

    def take(self, columns: Array) -> Iterator[list[int]]:
        """Take the next rows; yield the events that end in them."""
        machine = self.machine
        given = machine.words(columns)
        own = (machine.values, machine.memory, machine.inputs, machine.results)
        self.totals[kernel.POSITION] = 0
        while self.totals[kernel.POSITION] < columns.shape[1]:
            self.totals[kernel.FOUND] = 0
            self._run(given, *own, self.opened, self.totals, self.events)
            yield from self._found()

    def finish(self) -> Iterator[list[int]]:
        """Yield the events that the log ends in."""
        self.totals[kernel.FOUND] = 0
        for event in self.opened:
            kernel.close(event, self.events, self.totals)
        yield from self._found()

    def _found(self) -> list[list[int]]:
        return [[int(value) for value in row] for row in self.events[: self.totals[kernel.FOUND]]]


def _machine(settings: Settings, *, fast: bool) -> Machine:
    return compiled.machine(settings) if fast else Machine(settings)


def compiling_pays(rows: int) -> bool:
    """Tell whether compiled code is likely to be done sooner with so many rows."""
    on_disk = compiled.is_on_disk() and any(compiled.cache_folder(kernel).rglob("*watch*.nbc"))
    return rows >= (PAYS_FROM if on_disk else PAYS_FROM_COMPILING)


class Log:
    """One stretch of time on one clock: a file, or files that go on where the one before ended."""

    def __init__(self, findings: Findings, settings: Settings, start_s: float, *, fast: bool) -> None:
        self.findings, self.settings, self.start_s = findings, settings, start_s
        self.watch, self.obeyed = Watch(settings, fast=fast), _machine(settings, fast=fast)
        findings.engine = "compiled" if fast else "portable"
        self.last_ms: int | None = None
        self.begins: list[int] = []
        self.files: list[str] = []
        findings.logs += 1

    def goes_on_at(self, start_s: float) -> bool:
        """Tell whether a file that starts then goes on with this log: later, and by no more than max_gap."""
        gap = self._offset(start_s) - (self.last_ms or 0)
        return 0 < gap <= self.settings.values[ranges.MAX_GAP]

    def open_file(self, file: Path, start_s: float) -> None:
        """Note that the rows to come are those of a file."""
        self.begins.append(self._offset(start_s))
        self.files.append(str(file))

    def take(self, piece: Trace) -> None:
        """Take the next rows of the file."""
        columns = columns_of(piece)
        columns[TIME] += self.begins[-1]
        if self.last_ms is not None:
            most = ranges.INPUTS[ranges.ELAPSED][3]
            columns[FIRST_INPUT + ranges.ELAPSED, 0] = min(int(columns[TIME, 0]) - self.last_ms, most)
        self.last_ms = int(columns[TIME, -1])
        self._tell(self.watch.take(columns), ends_with_log=False)
        self._obey(columns)
        self.findings.rows += len(piece)

    def finish(self) -> None:
        """Add what the whole log shows to the findings."""
        self._tell(self.watch.finish(), ends_with_log=True)
        totals, findings = self.watch.totals, self.findings
        findings.run_ms += int(totals[kernel.RUN_MS])
        findings.seen_ms += int(totals[kernel.SEEN_MS])
        findings.doubted_ms += int(totals[kernel.DOUBTED_MS])
        findings.starved_ms += int(totals[kernel.STARVED_MS])
        findings.vacuum_ms += int(totals[kernel.IN_VACUUM_MS])
        findings.starts += int(totals[kernel.STARTS])

    def _obey(self, columns: Array) -> None:
        """Run the whole logic on, with a machine that obeys as in any replay."""
        machine = self.obeyed
        machine.take(columns)
        self.findings.stops.update(told_cause(stop.cause) for stop in machine.stops)
        self.findings.lockouts += sum(change.after == state.LOCKED_OUT for change in machine.changes)
        machine.stops.clear()
        machine.changes.clear()

    def _tell(self, rows: Iterator[list[int]], *, ends_with_log: bool) -> None:
        delay = self.settings.values[ranges.TRIP_DELAY]
        for row in rows:
            file = self.files[max(0, bisect.bisect_right(self.begins, row[kernel.START]) - 1)]
            self.findings.add(told(row, file, self.start_s, delay, ends_with_log=ends_with_log))

    def _offset(self, start_s: float) -> int:
        return round((start_s - self.start_s) * 1000)


def _uncounted(_rows: int) -> None:
    """Count no rows."""


def examine(
    settings: Settings, machine: tuple[str, Sequence[Path]], *, fast: bool, advance: Callable[[int], None] = _uncounted
) -> Findings:
    """Return what the logs of a machine (name, files) show. Raises Refusal with file and line of a broken log."""
    name, files = machine
    findings = Findings(name, tuple(files))
    log: Log | None = None
    for start_s, file in in_time(files):
        if log is None or not log.goes_on_at(start_s):
            if log is not None:
                log.finish()
            log = Log(findings, settings, start_s, fast=fast)
        log.open_file(file, start_s)
        for piece in read_pieces(file, ROWS if fast else ROWS_PORTABLE):
            log.take(piece)
            advance(len(piece))
    if log is not None:
        log.finish()
    return findings


def examine_all(
    machines: dict[str, tuple[Path, ...]],
    settings: Settings,
    advance: Callable[[int], None] = _uncounted,
    *,
    each: Each = one_by_one,
) -> tuple[Findings, ...]:
    """Return the findings of all machines; compiled or interpreted, whatever is done sooner.

    each says who works (`replay.engine.workers`), a machine at a time; elsewhere no rows are counted on the way.
    """
    fast = compiling_pays(rows_about(itertools.chain(*machines.values())))
    if each is not one_by_one:
        advance = _uncounted
    return tuple(each(functools.partial(examine, settings, fast=fast, advance=advance), tuple(machines.items())))
