"""Rows of a source in order: time checked, status held, gaps split, all of it counted. Nothing is filled."""

import itertools
from collections import Counter, defaultdict
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from replay.ground.refusal import Refusal, refusal
from replay.ground.zones import offset_or_zone
from replay.measured.block import NOT_GOOD, UNKNOWN, Block
from replay.measured.channels import Channels, Columns
from replay.measured.clock import DAY_MS, UNREADABLE
from replay.measured.doubts import Net, Readings
from replay.measured.holding import Holding
from replay.measured.mending import Mending
from replay.measured.sources import Source
from replay.measured.steady import Steady
from replay.measured.zones import LocalTime, LocalTimeError

HOUR_MS = 3600000
HALF_DAY_MS = 12 * HOUR_MS
LEAST_ROWS = 2  # of a trace
MOST_GAPS = 10000
LEAST_STARTS, MOST_STARTS_PER_H = 6, 12  # from which starts are doubted (common practice, no source)
MOST_PLACES = 20  # of rows left out that are named


class Sink(Protocol):
    """Where rows go: one trace after the other."""

    def write(self, time_ms: NDArray[np.int64], columns: Columns) -> None:
        """Take the next rows of the trace at hand."""

    def end(self) -> None:
        """End the trace at hand."""


@dataclass
class Part:
    """One stretch without a gap: its first and last time (ms of the source's clock), rows, time running."""

    start_ms: int
    end_ms: int = 0
    rows: int = 0
    run_ms: int = 0


@dataclass
class Mend:
    """Rows that were left out for one reason under --repair, and where the first of them stand."""

    rows: int = 0
    first: list[str] = field(default_factory=list)

    def add(self, rows: Sequence[int], place: Callable[[int], str]) -> None:
        """Count rows; where one stands takes time to find, and is looked up for the first of them only."""
        self.rows += len(rows)
        self.first += [place(row) for row in rows[: MOST_PLACES - len(self.first)]]


@dataclass
class Counts:
    """What became of the rows of a file.

    made: rows between those of the file, in which readings held; partly: those in which the machine ran a part of the
    time; flickers: rows whose status was a flicker; not_good: readings of each signal that the file calls so.
    """

    read: int = 0
    kept: int = 0
    blank: int = 0
    without_status: int = 0
    mends: dict[str, Mend] = field(default_factory=lambda: defaultdict(Mend))
    gaps: int = 0
    lost_ms: int = 0
    longest_gap_ms: int = 0
    held: Counter[str] = field(default_factory=Counter)
    passed_over: Counter[str] = field(default_factory=Counter)
    not_good: Counter[str] = field(default_factory=Counter)
    made: int = 0
    partly: int = 0
    flickers: int = 0
    starts: int = 0
    parts: list[Part] = field(default_factory=list)
    readings: dict[str, Readings] = field(default_factory=dict)
    net: Net = field(default_factory=Net)


class Assembler:
    """Takes blocks in order and gives traces to a sink. The size of the blocks changes nothing."""

    def __init__(self, source: Source, sink: Sink, *, repair: bool) -> None:
        self.path, self.profile, self.clock = source.path, source.profile, source.clock
        self.sink, self.repair = sink, repair
        profile, zone = source.profile, source.profile.time.zone
        self.local = LocalTime(offset_or_zone(zone), profile.time.repeated_hour) if self.clock.local and zone else None
        self.max_gap = profile.time.max_gap_ms
        self.channels = Channels(profile, source.units)
        self.mending = Mending(source.clock, profile)
        self.holding, self.steady = Holding(profile), Steady(profile.flags["running"], self.max_gap)
        self.counts = Counts(readings=self.channels.readings, net=self.channels.net)
        self.newest: int | None = None  # the latest time of any row
        self.last: int | None = None  # that of the last row kept
        self.last_running = 0
        flag, time = profile.flags["running"], profile.time
        on_change = time.longest_hold if time.on_change else None
        self.status_hold = flag.longest_hold or (on_change if on_change or flag.on_change else self.max_gap)
        self.status: tuple[int, int] | None = None  # last known running status, and when

    def add(self, block: Block) -> None:
        """Take the next rows. Raises Refusal at the first row out of order, unless repairing."""
        counts = self.counts
        counts.read += len(block) + len(block.left_out) + block.blank
        counts.blank += block.blank
        for why, place in block.left_out:
            counts.mends[why].add([0], lambda _, place=place: place)  # type: ignore[misc]
        counts.not_good.update(block.not_good)
        counts.partly += block.partly
        for held in self.holding.take(self._in_order(self.mending.mended(self._utc(self._readable(block))))):
            counts.held.update(held.held)
            counts.passed_over.update(held.passed_over)
            for steady in self.steady.take(held):
                self._keep(steady)

    def _keep(self, block: Block) -> None:
        """Write rows whose status is settled."""
        block = self._with_status(block)
        if len(block):
            self._write(block.time_ms, self.channels.columns(block))

    def finish(self) -> Counts:
        """End the last trace and return what was counted."""
        for block in self.steady.finish():
            self._keep(block)
        self.counts.made, self.counts.flickers = self.holding.made, self.steady.flickers
        self._end_part()
        return self.counts

    def _readable(self, block: Block) -> Block:
        """Return the rows that have a time."""
        wrong = block.time_ms == UNREADABLE
        if wrong.any():
            rows = np.flatnonzero(wrong).tolist()
            if not self.repair:
                rule = f"no time ({self.clock.note})"
                accepted = "a time in every row, or --repair to leave such rows out"
                raise refusal(self.path, f"{block.place(rows[0])}, time", rule, accepted, block.time_text(rows[0]))
            self.counts.mends["no time"].add(rows, block.place)
        return block.rows(~wrong)

    def _utc(self, block: Block) -> Block:
        if self.local is None:
            return block
        try:
            return replace(block, time_ms=self.local.to_utc(block.time_ms))
        except LocalTimeError as error:
            raise refusal(self.path, f"{block.place(error.row)}, time", error.rule, error.accepted) from None

    def _in_order(self, block: Block) -> Block:
        """Return the rows whose time is later than all before them."""
        time = block.time_ms
        if not len(time):
            return block
        first = int(time[0]) - 1 if self.newest is None else self.newest
        latest = np.maximum.accumulate(np.concatenate(([first], time)))
        self.newest = int(latest[-1])
        back = latest[:-1] - time
        wrong = back >= 0
        if wrong.any() and not self.repair:
            row = int(np.argmax(wrong))
            raise self._disorder(block.place(row), int(back[row]))
        for why, found in (("time repeated", back == 0), ("time goes back", back > 0)):
            if found.any():
                self.counts.mends[why].add(np.flatnonzero(found).tolist(), block.place)
        return block.rows(~wrong)

    def _disorder(self, place: str, back_ms: int) -> Refusal:
        """Return what is said of a row that repeats a time or goes back."""
        why = f"time goes back by {back_ms / 1000:.3f} s" if back_ms else "time repeats that of a row before"
        accepted = "times that increase by at least 1 ms, or --repair to leave such rows out"
        if not back_ms:
            accepted += '; or [time] step = "1 s" if the seconds of the times are gone'
        elif self.clock.local and self.local is None and 0 < back_ms <= HOUR_MS:
            accepted += '; or [time] zone = "Europe/..." if the clock was put back for winter'
        elif not self.clock.anchored and back_ms > DAY_MS // 2:
            accepted += (
                "; or a column with the date beside it, if this is midnight; a counter that began anew: the file"
            )
            accepted += " cut in two there"
        elif HALF_DAY_MS - HOUR_MS < back_ms <= HALF_DAY_MS:
            accepted += "; or AM and PM beside the times, if the clock shows twelve hours only"
        return refusal(self.path, f"{place}, time", why, accepted)

    def _with_status(self, block: Block) -> Block:
        """Return the rows that have a running status.

        An empty cell keeps the status for up to max_gap, or as long as it holds where it is written on change. One that
        is marked as not good is known to nobody until the next.
        """
        codes, time, counts = block.status["running"], block.time_ms, self.counts
        if not len(codes):
            return block
        told = codes != UNKNOWN
        known = told & (codes != NOT_GOOD)
        if not (known.all() or block.own_clocks):
            status, since = self.status or (UNKNOWN, int(time[0]))
            latest = np.maximum.accumulate(np.where(told, np.arange(len(codes)), -1))
            held = np.where(latest >= 0, codes[latest], status).astype(np.int8)
            age = time - np.where(latest >= 0, time[latest], since)
            known = (held != UNKNOWN) & (held != NOT_GOOD)
            if self.status_hold is not None:
                known &= age <= self.status_hold
            counts.held["running"] += int((known & ~told).sum())
            block = replace(block, status=block.status | {"running": held})
        if told.any():
            place = int(np.flatnonzero(told)[-1])
            self.status = int(codes[place]), int(time[place])
        counts.without_status += int((~known).sum())
        return block.rows(known)

    def _write(self, time: NDArray[np.int64], columns: Columns) -> None:
        """Give the rows to the sink, a new trace after each gap."""
        before = np.concatenate(([time[0] if self.last is None else self.last], time[:-1]))
        steps = time - before
        breaks = np.flatnonzero(steps > self.max_gap)
        bounds = [0, *breaks.tolist(), len(time)]
        for number, (start, stop) in enumerate(itertools.pairwise(bounds)):
            if number:
                self._gap(int(steps[start]))
            if stop > start:
                part = {signal: values[start:stop] for signal, values in columns.items()}
                self._write_stretch(time[start:stop], part)

    def _gap(self, step_ms: int) -> None:
        """End the trace at hand, and count the time that is lost."""
        self._end_part()
        self.counts.gaps += 1
        self.counts.lost_ms += step_ms
        self.counts.longest_gap_ms = max(self.counts.longest_gap_ms, step_ms)
        self.last = None
        if self.counts.gaps > MOST_GAPS:
            rule = f"more than {MOST_GAPS} steps of {self.path.name} are longer (the last {step_ms / 1000:g} s)"
            raise refusal(self.profile.path, "[time] max_gap", rule, "a duration above the logger's own step")

    def _write_stretch(self, time: NDArray[np.int64], columns: Columns) -> None:
        parts = self.counts.parts
        if self.last is None or not parts:
            parts.append(Part(int(time[0])))
            self.last_running = int(columns["running"][0])  # whether it starts just then is not known
        elif self.last_running:
            parts[-1].run_ms += int(time[0]) - self.last
        part, running = parts[-1], np.asarray(columns["running"], dtype=np.int8)
        self.counts.starts += int((np.diff(running, prepend=np.int8(self.last_running)) == 1).sum())
        part.run_ms += int(time[-1] - time[0] if running.all() else np.diff(time)[running[:-1] == 1].sum())
        part.rows += len(time)
        part.end_ms = int(time[-1])
        self.last, self.last_running = int(time[-1]), int(running[-1])
        self.counts.kept += len(time)
        self.channels.see_stretch(time, columns)
        self.sink.write(time - part.start_ms, columns)

    def _end_part(self) -> None:
        if self.counts.parts and self.last is not None:
            self.channels.end_trace()
            self.sink.end()

    def doubts(self) -> list[str]:
        """Return what looks wrong in the signals, in words."""
        still = not any(part.run_ms for part in self.counts.parts)
        found = self.channels.doubts() + ["the machine never runs: is the running status right?"] * still
        return found + of_running(self.counts) + self.holding.doubts()


def of_running(counts: Counts) -> list[str]:
    """Return what is doubtful in the running status."""
    found = []
    hours = sum(part.end_ms - part.start_ms for part in counts.parts) / HOUR_MS
    if counts.starts >= LEAST_STARTS and counts.starts > MOST_STARTS_PER_H * hours:
        rate = f"{counts.starts} starts in {hours:.1f} h, {counts.starts / hours:.0f} an hour"
        found.append(f"{rate}: more than a compressor stands; does its running status chatter?")
    if counts.flickers:
        found.append(
            f"the running status flickers: {counts.flickers} rows of it were shorter than least_run and least_stop"
        )
    if counts.partly:
        found.append(f"running is a mean: in {counts.partly} rows the machine ran for a part of the time")
    return found
