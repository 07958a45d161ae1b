"""Logs through the kernel and through the obeyed logic, block by block: memory stays bounded, however long a log."""

import bisect
import contextlib
import functools
import itertools
from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from protect import ranges, state
from replay.engine import compiled
from replay.engine.engines import rows_about
from replay.engine.obeying import FIRST_INPUT, TIME
from replay.engine.portable import columns_of
from replay.engine.workers import Each, one_by_one
from replay.ground.refusal import Refusal
from replay.settings import Settings
from replay.trace import Trace, read_pieces
from replay.triage import kernel
from replay.triage.doubts import doubts_about
from replay.triage.events import Where, told
from replay.triage.findings import Findings, Piece
from replay.triage.logs import Part, Placed, in_order, in_time
from replay.triage.obeyed import RESET_AFTER_MS, Obeyed, machine
from replay.triage.overlaps import ToldBefore

Array = NDArray[np.int64]

RUNNING = FIRST_INPUT + ranges.RUN_FEEDBACK
ROWS = 1 << 16  # of a log that are held at a time
ROOM = 1024  # events of one call of the kernel


class Watch:
    """The kernel over one log: interpreted on lists, or compiled on arrays."""

    def __init__(self, settings: Settings, *, fast: bool) -> None:
        self._run = compiled.native(kernel.watch, kernel) if fast else kernel.watch
        self.machine = machine(settings, fast=fast)
        shapes = (kernel.TOTALS_SIZE, (kernel.KINDS, kernel.EVENT_SIZE), (ROOM, kernel.EVENT_SIZE))
        self.totals, self.opened, self.events = (self.machine.words(np.zeros(shape, np.int64)) for shape in shapes)
        self.begin()

    def begin(self) -> None:
        """Begin after a time that nobody saw: whether the machine started just then is not known."""
        self.totals[kernel.RAN] = 1
        self.totals[kernel.STARTING] = self.totals[kernel.BUILDING] = 0
        self.totals[kernel.RUNNING_FOR], self.totals[kernel.RESTING_FOR] = kernel.SETTLED_MS, 0

    def forget(self) -> None:
        """Go on as after power-up."""
        state.power_up(self.machine.memory, self.machine.values)

    def take(self, columns: Array, days: Array, day_zero: int) -> Iterator[list[int]]:
        """Take the next rows; yield the events that end in them. days[n]: those of the rows, from day_zero (ms) on."""
        machine = self.machine
        given, summed = machine.words(columns), machine.words(days)
        own = (machine.values, machine.memory, machine.inputs, machine.results)
        self.totals[kernel.POSITION], self.totals[kernel.DAY_ZERO] = 0, day_zero
        while self.totals[kernel.POSITION] < columns.shape[1]:
            self.totals[kernel.FOUND] = 0
            self._run(given, *own, self.opened, self.totals, self.events, summed)
            yield from self._found()
        days[:] = summed

    def finish(self) -> Iterator[list[int]]:
        """Yield the events that the log ends in."""
        self.totals[kernel.FOUND] = 0
        for event in self.opened:
            kernel.close(event, self.events, self.totals)
        yield from self._found()

    def _found(self) -> list[list[int]]:
        return [[int(value) for value in row] for row in self.events[: self.totals[kernel.FOUND]]]


def compiling_pays(rows: int) -> bool:
    """Tell whether compiled code is likely to be done sooner with so many rows."""
    on_disk = compiled.is_on_disk() and compiled.is_on_disk(kernel.watch, kernel)
    return rows >= (compiled.PAYS_FROM if on_disk else compiled.PAYS_FROM_COMPILING)


class Log:
    """The files of a machine on one clock, in the order of time.

    A file that begins within max_gap of where the one before ended goes on with it. Later than that there is a gap, of
    which nobody tells whether the machine ran: what is under way is told as ending with the log, and the logic goes on
    as it was, as if no time had passed; after longer than it remembers anything it begins anew.
    """

    def __init__(self, findings: Findings, settings: Settings, first: Placed, *, fast: bool) -> None:
        self.findings, self.settings, self.first = findings, settings, first
        self.watch, self.obeyed = Watch(settings, fast=fast), Obeyed(settings, fast=fast)
        self.remembers_ms = max(settings.values[ranges.TRIP_MEMORY], RESET_AFTER_MS)
        findings.engine = "compiled" if fast else "portable"
        self.last_ms: int | None = None
        self.ran = False  # in the last row
        self.begin = self.told_to = 0  # of the file at hand: its first row, and up to where its rows were told before
        self.pieces: list[Piece] = []
        self.before: ToldBefore | None = None  # what was told of the times of the file at hand
        self.since: list[int] = []  # from when on rows of each piece are taken
        self.day_zero = first.clock.day_zero_ms()
        self.first_day = 0 if findings.days.takes(first.clock) else None
        findings.logs += 1

    def goes_on_at(self, placed: Placed) -> bool:
        """Tell whether a file is of this clock: of the calendar as this one, or later by no more than max_gap."""
        known = placed.clock.utc_s is not None, self.first.clock.utc_s is not None
        if all(known):
            return True
        gap = self._offset(placed) - (self.last_ms or 0)
        return not any(known) and 0 < gap <= self.settings.values[ranges.MAX_GAP]

    def open_file(self, placed: Placed) -> None:
        """Note that the rows to come are those of a file."""
        self.begin = self.told_to = self._offset(placed)
        told = self.last_ms is not None and self.begin <= self.last_ms
        self.before = ToldBefore(self._told_from(self.begin), self.settings) if told else None
        self.file = Piece(placed)
        self.findings.pieces.append(self.file)

    def take(self, piece: Trace) -> None:
        """Take the next rows of the file; those of times that are told already are left out."""
        columns = columns_of(piece)
        self.file.end_ms, self.file.hold_ms = int(columns[TIME, -1]), piece.hold_ms
        columns[TIME] += self.begin
        if self.last_ms is not None:
            told = int(np.searchsorted(columns[TIME], self.last_ms, side="right"))
            if told:
                self.file.doubled += told
                if self.before is not None:
                    self.before.compare(columns[:, :told], self.findings.overlap)
                self.findings.overlap_ms += int(columns[TIME, told - 1]) - self.told_to
                self.told_to = int(columns[TIME, told - 1])
            columns = columns[:, told:]
        if columns.shape[1]:
            self._go_on(columns)

    def _told_from(self, begin: int) -> Iterator[Array]:
        """Yield the rows that were taken so far, from about this time of the log on, as they were taken."""
        taken = list(zip(self.pieces, self.since, strict=True))
        for piece, since in taken:
            offset = self._offset(piece.placed)
            if offset + piece.end_ms < begin:
                continue
            for trace in read_pieces(piece.placed.part.path, ROWS):
                columns = columns_of(trace)
                columns[TIME] += offset
                columns = columns[:, columns[TIME] >= since]
                if columns.shape[1] and columns[TIME, -1] >= begin:
                    yield columns

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
        findings.elapsed_ms += self.last_ms or 0
        findings.stops += self.obeyed.stops
        findings.lockouts += self.obeyed.lockouts
        findings.obeyed_run_ms += self.obeyed.run_ms

    def _go_on(self, columns: Array) -> None:
        """Run the next rows, all later than those before, through kernel and obeyed logic."""
        if self.last_ms is not None:
            gap = int(columns[TIME, 0]) - self.last_ms
            columns[FIRST_INPUT + ranges.ELAPSED, 0] = min(gap, ranges.INPUTS[ranges.ELAPSED][3])
            if self.file.rows == 0 and gap > self.settings.values[ranges.MAX_GAP]:
                columns[FIRST_INPUT + ranges.ELAPSED, 0] = 0
                self._break_off(gap, ran=self.ran or bool(columns[RUNNING, 0]))
        if self.file.rows == 0:
            self.pieces.append(self.file)
            self.since.append(int(columns[TIME, 0]))
        self.last_ms, self.ran = int(columns[TIME, -1]), bool(columns[RUNNING, -1])
        day, last = ((int(columns[TIME, at]) - self.day_zero) // kernel.DAY_MS for at in (0, -1))
        days = np.zeros((last - day + 1, kernel.DAY_SIZE), np.int64)
        zero = self.day_zero + day * kernel.DAY_MS
        self.watch.machine.believe(self.file.hold_ms)
        self._tell(self.watch.take(columns, days, zero), ends_with_log=False)
        self.findings.days.add(None if self.first_day is None else self.first_day + day, days)
        self.obeyed.take(columns, self.file.hold_ms)
        self.file.rows += columns.shape[1]
        self.findings.rows += columns.shape[1]

    def _break_off(self, gap: int, *, ran: bool) -> None:
        """Note a gap before the file at hand; ran: beside it the machine did."""
        self._tell(self.watch.finish(), ends_with_log=True)
        source = self.file.placed.part.source
        lost = bool(source) and source == self.pieces[-1].placed.part.source
        self.findings.gaps.add(gap, lost=lost, ran=ran)
        self.findings.logs += 1
        self.watch.begin()
        if gap > self.remembers_ms:
            self.watch.forget()
            self.obeyed.forget()

    def _tell(self, rows: Iterator[list[int]], *, ends_with_log: bool) -> None:
        delay = self.settings.values[ranges.TRIP_DELAY]
        for row in rows:
            # The row that shows it comes after its start.
            first = bisect.bisect_right(self.pieces, row[kernel.START], key=self._end)
            placed = self.pieces[min(first, len(self.pieces) - 1)].placed
            own_s = placed.start_s - self._offset(placed) / 1000
            where = Where(placed.part, own_s, replace(self.first.clock, zone=placed.part.zone))
            self.findings.add(told(row, where, delay, ends_with_log=ends_with_log))

    def _end(self, piece: Piece) -> int:
        return self._offset(piece.placed) + piece.end_ms

    def _offset(self, placed: Placed) -> int:
        ours, theirs = self.first.clock.utc_s, placed.clock.utc_s
        if ours is not None and theirs is not None:
            return round((theirs - ours) * 1000)
        return round((placed.start_s - self.first.start_s) * 1000)


def _uncounted(_rows: int) -> None:
    """Count no rows."""


def examine(
    settings: Settings, machine: tuple[str, Sequence[Part]], *, fast: bool, advance: Callable[[int], None] = _uncounted
) -> Findings:
    """Return what the logs of a machine (name, files) show; one that cannot be read is left out, and told."""
    name, parts = machine
    refused: dict[Part, str] = {}
    while True:
        try:
            found = _examined(settings, name, [part for part in parts if part not in refused], advance, fast=fast)
        except _BrokenLog as error:  # perhaps far behind its first row: the others are read anew
            refused[error.part] = str(error)
        else:
            found.refused = tuple(refused.values())
            found.doubts = doubts_about(found, settings)
            return found


class _BrokenLog(Refusal):
    """A log that cannot be read."""

    def __init__(self, part: Part, error: Refusal) -> None:
        super().__init__(str(error))
        self.part = part


def _examined(
    settings: Settings,
    name: str,
    parts: Sequence[Part],
    advance: Callable[[int], None],
    *,
    fast: bool,
) -> Findings:
    """Return what the logs of a machine show. Raises _BrokenLog with file and line."""
    findings = Findings(name, tuple(part.path for part in parts))
    log: Log | None = None
    started = []
    for part in parts:
        with _told_of(part):
            started += in_time([part])
    for placed in in_order(started):
        if log is None or not log.goes_on_at(placed):
            if log is not None:
                log.finish()
            log = Log(findings, settings, placed, fast=fast)
        log.open_file(placed)
        with _told_of(placed.part):
            for piece in read_pieces(placed.part.path, ROWS):
                log.take(piece)
                advance(len(piece))
    if log is not None:
        log.finish()
    return findings


@contextlib.contextmanager
def _told_of(part: Part) -> Iterator[None]:
    """Tell which log a refusal is of."""
    try:
        yield
    except Refusal as error:
        raise _BrokenLog(part, error) from None


def examine_all(
    machines: dict[str, tuple[Part, ...]],
    settings: Settings,
    advance: Callable[[int], None] = _uncounted,
    *,
    each: Each = one_by_one,
) -> tuple[Findings, ...]:
    """Return the findings of all machines; compiled or interpreted, whatever is done sooner.

    each says who works (`replay.engine.workers`), a machine at a time; elsewhere no rows are counted on the way.
    """
    fast = compiling_pays(rows_about(part.path for part in itertools.chain(*machines.values())))
    if each is not one_by_one:
        advance = _uncounted
    return tuple(each(functools.partial(examine, settings, fast=fast, advance=advance), tuple(machines.items())))
