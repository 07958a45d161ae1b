"""A library in two parts: candidates are chosen on one and reported on the other.

Traces of one machine are much alike, so they stay together, and so do traces that tell the same moments; a machine is
known by any spelling of its name. Where that leaves no two parts with faults and harmless traces both, machine and
family stay together, and the machines that stand in both parts are named: what is held out then is held out from the
families of a machine, not from the machine. The parts follow from names, labels and what traces have in common alone,
in whatever order the traces are listed.
"""

import hashlib
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

from replay.library import Entry
from replay.score.once import Twice, folded

KINDS = ("must_trip", "ride_through")


@dataclass(frozen=True)
class Split:
    """Places of the traces in the library; `held_out` is empty where the library is too small to be parted.

    shared: machines of which both parts have traces.
    """

    tuning: tuple[int, ...]
    held_out: tuple[int, ...]
    shared: tuple[str, ...] = ()

    @property
    def apart(self) -> str:
        """Say what the held-out part is held out from."""
        if not self.held_out:
            return "nothing is held out: too few machines and families for two parts with faults and harmless traces"
        if not self.shared:
            return "held out from the machines of the tuning part: none stands in both"
        named = ", ".join(self.shared)
        return f"held out are other families, NOT other machines: both parts hold families of {named}"


def split(entries: Sequence[Entry], twice: Iterable[Twice] = ()) -> Split:
    """Part a library so that both parts have faults and harmless traces: by machine, else by machine and family.

    twice: traces that tell the same, which stay together. Groups go, in the order of a digest of their names, to the
    part that has fewer traces of their kind so far. Nothing is held out where one part would be left without a kind.
    """
    pairs = [(pair.first, pair.second) for pair in twice]
    for name in (_machine, _machine_and_family):
        parts = _parts(entries, _groups(entries, name, pairs))
        kinds = [{_kind(entries[place]) for place in part} for part in parts]
        if all(kind in some for some in kinds for kind in KINDS):
            machines = [{_machine(entries[place])[0]: entries[place].machine for place in part} for part in parts]
            both = sorted(machines[0][key] for key in machines[0].keys() & machines[1].keys())
            return Split(tuple(sorted(parts[0])), tuple(sorted(parts[1])), tuple(both))
    return Split(tuple(range(len(entries))), ())


def _machine(entry: Entry) -> tuple[str, ...]:
    return (folded(entry.machine),)


def _machine_and_family(entry: Entry) -> tuple[str, ...]:
    return folded(entry.machine), folded(entry.family)


def _groups(
    entries: Sequence[Entry], name: Callable[[Entry], tuple[str, ...]], pairs: Iterable[tuple[int, int]]
) -> dict[tuple[str, ...], list[int]]:
    """Return the traces that stay together, by the first of their names."""
    names = [name(entry) for entry in entries]
    with_others = {one: one for one in names}

    def root(one: tuple[str, ...]) -> tuple[str, ...]:
        while with_others[one] != one:
            one = with_others[one]
        return one

    for first, second in pairs:
        one, other = sorted((root(names[first]), root(names[second])))
        with_others[other] = one
    groups: dict[tuple[str, ...], list[int]] = {}
    for place, one in enumerate(names):
        groups.setdefault(root(one), []).append(place)
    return groups


def _parts(entries: Sequence[Entry], groups: dict[tuple[str, ...], list[int]]) -> tuple[list[int], list[int]]:
    parts: tuple[list[int], list[int]] = ([], [])
    counts = [dict.fromkeys((*KINDS, "undecided"), 0) for _ in parts]
    for name in sorted(groups, key=_digest):
        kinds = [_kind(entries[place]) for place in groups[name]]
        main = next((kind for kind in KINDS if kind in kinds), "undecided")
        part = 1 if counts[1][main] < counts[0][main] else 0
        parts[part].extend(groups[name])
        for kind in kinds:
            counts[part][kind] += 1
    return parts


def _kind(entry: Entry) -> str:
    return entry.label if isinstance(entry.label, str) else "must_trip"


def _digest(name: tuple[str, ...]) -> str:
    return hashlib.sha256("\0".join(name).encode()).hexdigest()
