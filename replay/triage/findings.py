"""What the logs of one machine show, as `run` gathers it."""

from collections import Counter
from dataclasses import dataclass, field
from pathlib import Path

from replay.triage import kernel
from replay.triage.days import Days
from replay.triage.events import Event, Gravest
from replay.triage.logs import Placed
from replay.triage.overlaps import Overlap

LEAST_LOST_MS = 300_000  # a shorter gap hides no spell for which a machine is opened (assumed)


@dataclass
class Piece:
    """What came of one part: its end in ms since its first row, rows taken, rows of times that were told before.

    hold_ms: for how long its readings may stand still, because they were written on change.
    """

    placed: Placed
    end_ms: int = 0
    rows: int = 0
    doubled: int = 0
    hold_ms: int = 0


@dataclass
class Gaps:
    """Times of which no file tells, between the parts of a machine; lost_ms: of them within what was one file.

    running, running_ms: those of over LEAST_LOST_MS within one file beside which the machine ran.
    """

    count: int = 0
    ms: int = 0
    longest_ms: int = 0
    lost_ms: int = 0
    running: int = 0
    running_ms: int = 0

    def add(self, gap_ms: int, *, lost: bool, ran: bool) -> None:
        """Count a gap; ran: beside it the machine did."""
        self.count += 1
        self.ms += gap_ms
        self.longest_ms = max(self.longest_ms, gap_ms)
        self.lost_ms += gap_ms * lost
        if lost and ran and gap_ms >= LEAST_LOST_MS:
            self.running += 1
            self.running_ms += gap_ms


@dataclass(frozen=True)
class Doubt:
    """Why a machine is not called healthy, or what else to know of it; advice: its place in ADVICE, at the latest.

    first: it stands before all else that is told, since it puts that in question.
    """

    advice: int
    text: str
    first: bool = False


@dataclass
class Findings:
    """What the logs of one machine show, and by which engine.

    Times in ms; logs: stretches without a break; elapsed_ms: from first to last row, breaks included; overlap_ms: told
    by two files, counted once; overlap: whether they agree. `stops` by cause, `lockouts` and obeyed_run_ms are those
    of an obeyed logic. doubts: those of `replay.triage.doubts`, None as long as nobody has asked. refused: why some of
    the files could not be read.
    """

    machine: str
    files: tuple[Path, ...]
    engine: str = ""
    logs: int = 0
    rows: int = 0
    elapsed_ms: int = 0
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
    obeyed_run_ms: int = 0
    overlap_ms: int = 0
    overlap: Overlap = field(default_factory=Overlap)
    gaps: Gaps = field(default_factory=Gaps)
    pieces: list[Piece] = field(default_factory=list)
    days: Days = field(default_factory=Days)
    gravest: Gravest = field(default_factory=Gravest)
    doubts: tuple[Doubt, ...] | None = None
    refused: tuple[str, ...] = ()

    @property
    def judged_share(self) -> float:
        """Return the share that was judged: of the hours logged or lost, of those run, of those imported; the least."""
        whole = self.days.total()
        logged = whole[kernel.DAY_LOGGED]
        hours = logged + whole[kernel.DAY_LATE] + self.gaps.lost_ms
        running = self.seen_ms + self.doubted_ms
        imported = [(piece.end_ms, piece.placed.part.judged_share) for piece in self.pieces]
        length = sum(long for long, _ in imported)
        return min(
            logged / hours if hours else 1.0,
            self.seen_ms / running if running else 1.0,
            sum(long * share for long, share in imported) / length if length else 1.0,
        )

    def add(self, event: Event) -> None:
        """Count an event."""
        self.events[event.kind] += 1
        self.past_stop += event.stop_at_ms is not None
        self.ran_on_ms += event.ran_on_ms
        self.reloads += event.reload_at_ms is not None
        self.reload_ms += event.reload_ms
        if event.starved and event.net_least_pa is not None:
            known = event.net_least_pa if self.net_least_pa is None else self.net_least_pa
            self.net_least_pa = min(event.net_least_pa, known)
        self.gravest.add([event])
