"""The unit of evidence: a trace, or a machine where traces of one machine hang together.

Limits of `replay.score.evidence` take each fault and each hour for an independent one. Recordings of one machine are
not: what fails in one of them fails in its others. So beside each limit stands one whose trials are machines. A
machine counts as an event where the event came in any of its traces, and the limit is exact again (Clopper and
Pearson 1934): it assumes nothing of how far traces of a machine hang together, which few machines with few events
cannot tell. It bounds what a machine drawn as these were drawn is likely to meet in as many traces, and so what any
one of them is. It is shown and never judged: with few machines it says how little is known, however much they
recorded.

A synthesised trace is drawn by itself, whatever its machine is called, and counts as one of its own. Where every
machine has one trace, both limits are the same and only the plain ones are shown. Rao and Scott (1992, Biometrics
48:577) shrink the sample by its design effect instead, which is not to be had where nothing was missed.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

from replay.library import Entry
from replay.score import evidence
from replay.score.once import folded
from replay.score.verdict import Verdict, margins_of
from replay.settings import Acceptance

TRACE, MACHINE = "trace", "machine"


@dataclass(frozen=True)
class ByMachine:
    """Unit of evidence, how many machines there are, and claims whose trials are machines.

    claims: with a missed fault, with a nuisance trip, with too small a margin, with a stop in an upset; each of the
    machines in which it could have come. None of them is judged.
    """

    unit: str
    machines: int
    claims: tuple[evidence.Claim, ...]

    def as_json(self) -> dict[str, Any]:
        """Return it as it stands in a report."""
        return {"unit": self.unit, "machines": self.machines, "claims": [claim.as_json() for claim in self.claims]}


@dataclass(frozen=True)
class Seen:
    """What one trace shows: for each claim whether the event could have come in it, and whether it did."""

    machine: str
    could: tuple[bool, bool, bool, bool]
    did: tuple[bool, bool, bool, bool]


def machine_of(entry: Entry) -> str:
    """Return what a trace is a recording of: a machine by its name as a reader hears it, or nothing but itself."""
    return f"synthetic {entry.id}" if entry.origin.startswith("synthetic:") else f"recorded {folded(entry.machine)}"


def seen_of(machine: str, verdict: Verdict, acceptance: Acceptance) -> Seen:
    """Return what a trace that was judged shows of its machine."""
    found = [window for window in verdict.windows if window.outcome in ("hit", "missed")]
    missed = any(window.outcome == "missed" for window in found)
    thin = [m for m in margins_of([verdict]) if m < acceptance.min_margin_s]
    stopped = bool(verdict.upsets and verdict.upsets.stopped)
    met = bool(verdict.upsets and verdict.upsets.stopped + verdict.upsets.rode_through)
    nuisance = verdict.nuisance_trips > 0
    hours = not verdict.windows and verdict.run_hours > 0
    could = bool(found), hours or nuisance, bool(found), met
    return Seen(machine, could, (missed, nuisance, missed or bool(thin), stopped))


def by_machine(seen: Sequence[Seen], confidence: float) -> ByMachine:
    """Return the claims by machine over what traces show."""
    rules = (evidence.MISSED, evidence.NUISANCE, evidence.MARGIN, evidence.UPSET)
    claims = []
    for place, rule in enumerate(rules):
        could = _machines(one for one in seen if one.could[place])
        did = _machines(one for one in seen if one.did[place])
        claims.append(evidence.chance(rule, len(did), len(could), confidence))
    machines = _machines(seen)
    return ByMachine(TRACE if len(machines) == len(seen) else MACHINE, len(machines), tuple(claims))


def _machines(seen: Iterable[Seen]) -> set[str]:
    return {one.machine for one in seen}
