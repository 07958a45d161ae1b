"""A verdict: what the logic did over one trace, against the label of the trace."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any, NamedTuple

from replay.engine import Replay, cause_of, doubts_of
from replay.ground.refusal import refusal
from replay.library import Entry
from replay.score.once import sensor_fails
from replay.score.windows import STOOD, Course, Felt, Found, Upsets, apart, felt, follow, met, not_told, run_ms_in
from replay.trace import AnyTrace

WRONG = ("missed", "early", "nuisance")
SEVERITY = ("missed", "early", "hit", STOOD)  # of the windows of a trace, the worst first
UNDECIDED, TOLD = "undecided", "counted already"
NEITHER = (UNDECIDED, TOLD)  # judged neither way
MOMENT_S = 0.001  # times of a trace are no finer


@dataclass(frozen=True)
class Verdict:
    """One trace against its label.

    outcome: hit, missed, early, rode_through, nuisance, undecided (judged neither way), or counted already (all that is
    to be judged in it stands in another trace); of several windows that of the worst. Times in s of the trace's own
    time; deadline_s and margin_s (the deadline minus the stop that decides) are those of that window. doubts: what a
    stop on a sensor names. late_ticks: rows more than max_gap after the one before, which no logic trusts.
    windows: each of a must-trip trace; nuisance_trips: stops that count as one; repeats: stops of a machine started
    into the same fault again; upsets: of a trace that rides through and has some marked; doubt: why it proves nothing;
    sensor_fails: family or origin name a sensor that does.
    run_hours, windows, stops that count and upsets are without what another trace tells already.
    """

    id: str
    family: str
    outcome: str
    first_trip_s: float | None
    cause: str | None
    deadline_s: float | None
    margin_s: float | None
    run_hours: float
    trips: int
    locked_out: bool
    late_ticks: int = 0
    doubts: tuple[str, ...] = ()
    nuisance_trips: int = 0
    repeats: int = 0
    windows: tuple[Found, ...] = ()
    upsets: Upsets | None = None
    doubt: str = ""
    sensor_fails: bool = False

    @property
    def outcomes(self) -> tuple[str, ...]:
        """Return the outcome of each window, or the one of a trace without."""
        return tuple(window.outcome for window in self.windows) or (self.outcome,)

    def as_json(self) -> dict[str, Any]:
        """Return the verdict as it stands in a report; a doubt where there is one, causes where windows are several."""
        several = len(self.windows) > 1
        windows = [{k: v for k, v in vars(window).items() if several or k != "cause"} for window in self.windows]
        told = {key: value for key, value in vars(self).items() if key not in ("doubt", "sensor_fails")}
        told |= {"windows": windows, "upsets": vars(self.upsets) if self.upsets else None}
        return told | {"doubt": self.doubt} if self.doubt else told


class ByLabel(NamedTuple):
    """What stops are by a label: the outcome of the trace, nuisance trips, repeats, windows counted here, the worst."""

    outcome: str
    nuisance: int
    repeats: int
    windows: tuple[Found, ...]
    worst: Found | None


def by_label(entry: Entry, trace: AnyTrace, stops: Sequence[Felt]) -> ByLabel:
    """Hold the stops of a trace against its label."""
    course = follow(entry.windows, stops, entry.told) if entry.windows else Course((), 0, 0)
    outcome, nuisance, found = str(entry.label), course.nuisance, not_told(entry.told, course.windows)
    if entry.label == "ride_through":
        nuisance = len(apart(entry.told, stops))
        outcome = "nuisance" if nuisance else "rode_through"
    if is_told(entry, trace) or (course.windows and not found):
        outcome, nuisance, found = TOLD, 0, ()
    worst = min(found, key=lambda window: SEVERITY.index(window.outcome), default=None)
    return ByLabel(worst.outcome if worst else outcome, nuisance, course.repeats if found else 0, found, worst)


def judge(entry: Entry, trace: AnyTrace, replay: Replay) -> Verdict:
    """Compare what the logic did over a trace with the trace's label.

    Raises Refusal for a window or an upset that does not lie in the trace: in other units, or of another trace.
    """
    check_within(entry, trace)
    stops = felt(trace, replay)
    outcome, nuisance, repeats, found, worst = by_label(entry, trace, stops)
    first = replay.stops[0] if replay.stops else None
    run_ms = max(0.0, replay.run_ms - run_ms_in(entry.told, trace, stops)) if entry.told else replay.run_ms
    rides = outcome in ("nuisance", "rode_through")
    return Verdict(
        id=entry.id,
        family=entry.family,
        outcome=outcome,
        first_trip_s=trace.seconds(first.time_ms) if first else None,
        cause=cause_of(first.cause) if first else None,
        deadline_s=worst.deadline_s if worst else None,
        margin_s=worst.margin_s if worst else None,
        run_hours=round(run_ms / 3.6e6, 6),
        trips=len(replay.stops),
        locked_out=replay.locked_out,
        late_ticks=replay.late,
        doubts=doubts_of(first.cause) if first else (),
        nuisance_trips=nuisance,
        repeats=repeats,
        windows=found,
        upsets=met(entry.upsets, trace, replay, entry.told) if rides else None,
        doubt=entry.doubt,
        sensor_fails=sensor_fails(entry),
    )


def is_told(entry: Entry, trace: AnyTrace) -> bool:
    """Say whether another trace of the library tells all of this one."""
    return any(begin <= trace.start_s + MOMENT_S and trace.end_s <= end + MOMENT_S for begin, end in entry.told)


def check_within(entry: Entry, trace: AnyTrace) -> None:
    """Refuse a window whose beginning or deadline, and an upset whose beginning, does not lie in the trace.

    A window may begin before it: the fault may have come before the recording.
    """
    start_s, end_s = trace.start_s, trace.end_s
    places = [
        (f"must_trip.{key}", "a window", getattr(window, key))
        for window in entry.windows
        for key in ("earliest_s", "deadline_s")
    ]
    for key, what, second in (*places, *(("upsets", "an upset", begin_s) for begin_s, _ in entry.upsets)):
        before = second < start_s and key != "must_trip.earliest_s"
        if second > end_s or before:
            accepted = f"{what} in seconds of the trace's own time, {start_s:.12g} to {end_s:.12g}"
            rule = "before the trace begins" if before else "after the trace has ended"
            raise refusal(entry.path, f"{key} in the library", rule, accepted, second)


def hits(verdicts: Iterable[Verdict]) -> list[Found]:
    """Return the windows that were hit."""
    return [window for verdict in verdicts for window in verdict.windows if window.outcome == "hit"]


def margins_of(verdicts: Iterable[Verdict]) -> list[float]:
    """Return the margins of the hits, s."""
    return [window.margin_s for window in hits(verdicts) if window.margin_s is not None]
