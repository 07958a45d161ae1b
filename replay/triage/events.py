"""Events of a log, as they are told: starved spells, vacuum running, sensor doubts.

starved spell      net oil pressure fell below cut-out behind the start grace; it lasts until
                   cut-in or until the machine stops
reload             within a spell, suction pressure was back before the oil film was: the reload
                   guard of the settings would act
vacuum running     suction pressure below vacuum with the machine running; it lasts until the
                   reload level or a stop
sensor doubt       readings missing, out of range, stuck or late while running, or a net oil pressure
                   at rest; it lasts until all doubt has drained, as a sensor fault does
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from replay.engine import doubts_of
from replay.triage import kernel
from replay.triage.clock import Clock
from replay.triage.logs import Part

STARVED, AT_START, VACUUM, DOUBT = "starved spell", "start without oil pressure", "vacuum running", "sensor doubt"


@dataclass(frozen=True)
class Where:
    """Of which file an event is: log_start_s, 0 ms of the log in the file's own time; the wall clock there."""

    part: Part
    log_start_s: float
    clock: Clock


@dataclass(frozen=True)
class Event:
    """One event. Times in ms of its log, of which 0 ms are log_start_s of the file's own time; pressures in Pa or None.

    file: in which it begins; source: the logger's file, "" where nobody says; low_ms: short of oil; full_at_ms:
    the integral became full; reload_at_ms: loaded again before the film was back.
    """

    kind: str
    file: str
    source: str
    log_start_s: float
    clock: Clock
    start_ms: int
    end_ms: int
    low_ms: int
    net_least_pa: int | None
    suction_least_pa: int | None
    integral_percent: int
    vacuum_ms: int
    doubt_ms: int
    full_at_ms: int | None
    reload_at_ms: int | None
    reload_ms: int
    reload_suction_pa: int | None
    doubts: tuple[str, ...]
    ends_with_log: bool

    @property
    def length_ms(self) -> int:
        """Return how long it lasted."""
        return self.end_ms - self.start_ms

    @property
    def starved(self) -> bool:
        """Tell whether it is a spell short of oil."""
        return self.kind in (STARVED, AT_START)

    @property
    def stop_at_ms(self) -> int | None:
        """Return when the settings would have stopped a machine that had run until then."""
        return min((at for at in (self.full_at_ms, self.reload_at_ms) if at is not None), default=None)

    @property
    def ran_on_ms(self) -> int:
        """Return how long the spell went on after that."""
        return 0 if self.stop_at_ms is None else self.end_ms - self.stop_at_ms

    @property
    def gravity(self) -> tuple[int, ...]:
        """Return what orders events, the gravest first: by what happened, then by how much of it."""
        if self.reload_at_ms is not None:
            return (0, -self.reload_ms, -self.ran_on_ms, self.start_ms)
        if self.full_at_ms is not None:
            return (1, -self.ran_on_ms, -self.low_ms, self.start_ms)
        if self.starved:
            return (2, -self.integral_percent, -self.low_ms, self.start_ms)
        if self.kind == DOUBT:
            return (3, -self.doubt_ms, self.start_ms)
        return (4, -self.low_ms, -self.vacuum_ms, self.start_ms)

    def seconds(self, time_ms: int | None) -> float | None:
        """Return a time of this event in the seconds of its file."""
        return None if time_ms is None else round(self.log_start_s + time_ms / 1000, 3)


def told(row: Sequence[int], where: Where, trip_delay: int, *, ends_with_log: bool) -> Event:
    """Return an event from what the kernel wrote down."""
    kind = {kernel.STARVED: STARVED, kernel.IN_VACUUM: VACUUM, kernel.DOUBT: DOUBT}[row[kernel.KIND]]
    if kind == STARVED and row[kernel.FROM_START]:
        kind = AT_START
    return Event(
        kind=kind,
        file=str(where.part.path),
        source=where.part.source,
        log_start_s=where.log_start_s,
        clock=where.clock,
        start_ms=row[kernel.START],
        end_ms=row[kernel.END],
        low_ms=row[kernel.LOW_MS],
        net_least_pa=_known(row[kernel.LEAST_NET], kernel.UNKNOWN),
        suction_least_pa=_known(row[kernel.LEAST_SUCTION], kernel.UNKNOWN),
        integral_percent=100 * row[kernel.MOST_INTEGRAL] // trip_delay,
        vacuum_ms=row[kernel.VACUUM_MS],
        doubt_ms=row[kernel.DOUBT_MS],
        full_at_ms=_known(row[kernel.FULL_AT], kernel.NEVER),
        reload_at_ms=_known(row[kernel.RELOAD_AT], kernel.NEVER),
        reload_ms=row[kernel.RELOAD_MS],
        reload_suction_pa=row[kernel.RELOAD_SUCTION] if row[kernel.RELOAD_AT] != kernel.NEVER else None,
        doubts=doubts_of(row[kernel.REASONS]),
        ends_with_log=ends_with_log,
    )


def _known(value: int, nothing: int) -> int | None:
    return None if value == nothing else value


class Gravest:
    """Events, the gravest of them kept one by one where there are very many."""

    MOST = 50_000

    def __init__(self) -> None:
        self.kept: list[Event] = []
        self.left_out = 0

    def add(self, events: Iterable[Event]) -> None:
        """Take events; of more than twice MOST the gravest MOST are kept."""
        for event in events:
            self.kept.append(event)
            if len(self.kept) >= 2 * self.MOST:
                self._cut()

    def all(self) -> tuple[Event, ...]:
        """Return at most MOST events, the gravest first."""
        self._cut()
        return tuple(self.kept)

    def _cut(self) -> None:
        self.kept.sort(key=lambda event: (event.gravity, event.file))
        self.left_out += max(0, len(self.kept) - self.MOST)
        del self.kept[self.MOST :]
