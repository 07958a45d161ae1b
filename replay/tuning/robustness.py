"""How far sensors, sample period and each setting may move before the first missed and the first nuisance trip.

For each lever every trace is tried at a row of points, each twice as far as the one
before; between the last good and the first bad of them the place is bisected. So
the ends of a bracket are tried, both of them, and a stretch that is bad between
two good points may be passed over: a trace that comes good again further on is
said to. Traces that are judged wrongly without any of this are left out.
"""

import functools
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

from replay.engine.workers import Each
from replay.library import Entry
from replay.score import judge
from replay.score.verdict import NEITHER, WRONG
from replay.settings import Settings
from replay.sweep import arrange, prepare, sweep
from replay.trace import Trace, read_trace
from replay.tuning.judge import verdict_on
from replay.tuning.levers import SETTING, Lever

MISSED, NUISANCE = "missed", "nuisance"
EVENTS = {MISSED: ("missed",), NUISANCE: ("nuisance", "early")}
ROUNDS = 6  # of bisection, to 1/64 of the last doubling


@dataclass(frozen=True)
class Bracket:
    """Tried amounts: at `good` nothing is wrong yet, at `bad` it is. good_again: comes good further on."""

    good: float
    bad: float
    good_again: bool

    def nearer(self, other: "Bracket | None") -> "Bracket":
        """Return what holds for the traces of both."""
        if other is None:
            return self
        return Bracket(min(self.good, other.good), min(self.bad, other.bad), self.good_again or other.good_again)


Found = dict[tuple[int, str], Bracket]  # by number of the lever and event


@dataclass(frozen=True)
class TraceRoom:
    """One trace: its outcome undisturbed, the levers that it has, and where they lead to an event."""

    family: str
    outcome: str
    tried: frozenset[int]
    found: Found
    can: frozenset[str] = frozenset()  # the events that may come in it


@dataclass(frozen=True)
class Robustness:
    """Brackets over all traces and by family, for every lever that some trace has."""

    settings: Settings
    levers: tuple[Lever, ...]
    found: Found
    families: dict[str, Found]
    tried: frozenset[int]
    left_out: dict[str, int]  # outcomes that were wrong to begin with, and how often
    # Of each event the families in which it may come: a fault that is found may be missed, and what rides through, or
    # is found behind the beginning of its trace, may be stopped for nothing. One of none has nothing to be judged on.
    judged: dict[str, tuple[str, ...]]


def events_of(entry: Entry, trace: Trace, outcome: str) -> frozenset[str]:
    """Return the events that may come in a trace of this outcome; none in one that is wrong, or judged neither way."""
    if outcome in (*WRONG, *NEITHER) or entry.doubt:
        return frozenset()
    late = any(window.earliest_s > trace.start_s for window in entry.windows)
    missed = {MISSED} if entry.windows else set()
    return frozenset(missed | ({NUISANCE} if late or not entry.windows else set()))


Tried = dict[tuple[int, float], tuple[str, ...]]  # by number of the lever and amount: the outcomes, one a window


def _try(
    entry: Entry, trace: Trace, settings: Settings, levers: Sequence[Lever], wanted: Sequence[tuple[int, float]]
) -> Tried:
    """Return the outcome of a trace at some amounts; all settings go over it at once."""
    outcomes: Tried = {}
    moved = [(number, amount) for number, amount in wanted if levers[number].kind == SETTING]
    candidates = [levers[number].moved_settings(settings, amount) for number, amount in moved]
    for place, replay in zip(moved, sweep(prepare(trace), arrange(candidates)), strict=True):
        outcomes[place] = judge(entry, trace, replay).outcomes
    as_set = arrange([settings])
    for number, amount in wanted:
        if levers[number].kind != SETTING:
            outcomes[number, amount] = verdict_on(entry, levers[number].moved_trace(trace, amount), as_set).outcomes
    return outcomes


def trace_room(levers: Sequence[Lever], settings: Settings, entry: Entry) -> TraceRoom:
    """Move every lever over one trace."""
    trace = read_trace(entry.path)
    recorded = verdict_on(entry, trace, arrange([settings])).outcome
    can = events_of(entry, trace, recorded)
    if not can:
        return TraceRoom(entry.family, recorded, frozenset(), {})
    numbers = [number for number, lever in enumerate(levers) if lever.reach > 0 and lever.fits(trace)]
    points = [(number, amount) for number in numbers for amount in levers[number].points()]
    tried = _try(entry, trace, settings, levers, points)
    found: Found = {}
    for number in numbers:
        for event in can:
            points_tried = [(amount, has_event(event, tried[number, amount])) for amount in levers[number].points()]
            bracket = _scanned(points_tried)
            if bracket is not None:
                found[number, event] = bracket
    for _ in range(ROUNDS):
        middles = {place: _middle(levers[place[0]], bracket) for place, bracket in found.items()}
        wanted = sorted({(number, amount) for (number, _), amount in middles.items() if amount is not None})
        tried = _try(entry, trace, settings, levers, wanted)
        for (number, event), amount in middles.items():
            if amount is not None:
                found[number, event] = _halved(found[number, event], amount, has_event(event, tried[number, amount]))
    return TraceRoom(entry.family, recorded, frozenset(numbers), found, can)


def has_event(event: str, outcomes: Sequence[str]) -> bool:
    """Say whether an event is among the outcomes of a trace, which has one for each window."""
    return not set(outcomes).isdisjoint(EVENTS[event])


def _scanned(points: list[tuple[float, bool]]) -> Bracket | None:
    """Return the first cell that ends badly, None where none does. No movement at all is good."""
    good = 0.0
    for place, (amount, bad) in enumerate(points):
        if bad:
            return Bracket(good, amount, good_again=not all(later for _, later in points[place:]))
        good = amount
    return None


def _middle(lever: Lever, bracket: Bracket) -> float | None:
    """Return the amount in the middle of a bracket, None where there is none between its ends."""
    amount = lever.whole((bracket.good + bracket.bad) / 2)
    return amount if bracket.good < amount < bracket.bad else None


def _halved(bracket: Bracket, amount: float, bad: bool) -> Bracket:  # noqa: FBT001 - an outcome
    return replace(bracket, bad=amount) if bad else replace(bracket, good=amount)


def robustness(
    entries: Sequence[Entry], settings: Settings, levers: Sequence[Lever], each: Each, tick: Callable[[], object]
) -> Robustness:
    """Move every lever over every trace; tick is called after each trace."""
    rooms = each(functools.partial(trace_room, levers, settings), entries, tick)
    families: dict[str, Found] = {}
    whole: Found = {}
    left_out: dict[str, int] = {}
    for room in rooms:
        if room.outcome in WRONG:
            left_out[room.outcome] = left_out.get(room.outcome, 0) + 1
        if room.tried:
            family = families.setdefault(room.family, {})
            for place, bracket in room.found.items():
                family[place] = bracket.nearer(family.get(place))
                whole[place] = bracket.nearer(whole.get(place))
    tried = frozenset[int]().union(*(room.tried for room in rooms))
    judged = {event: tuple(sorted({room.family for room in rooms if event in room.can})) for event in EVENTS}
    return Robustness(settings, tuple(levers), whole, dict(sorted(families.items())), tried, left_out, judged)
