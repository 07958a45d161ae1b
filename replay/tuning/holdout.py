"""A library in two parts: candidates are chosen on one and reported on the other.

Traces of one family on one machine are much alike, so they stay together: the
held-out part has no trace whose machine and family the choice has seen. The parts
follow from names and labels alone, in whatever order the traces are listed.
"""

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass

from replay.library import Entry

KINDS = ("must_trip", "ride_through")


@dataclass(frozen=True)
class Split:
    """Places of the traces in the library; `held_out` is empty where the library is too small to be parted."""

    tuning: tuple[int, ...]
    held_out: tuple[int, ...]


def split(entries: Sequence[Entry]) -> Split:
    """Part a library by machine and family, so that both parts have faults and harmless traces.

    Groups go, in the order of a digest of their names, to the part that has
    fewer traces of their kind so far. Nothing is held out where one part would
    be left without a kind.
    """
    groups: dict[tuple[str, str], list[int]] = {}
    for place, entry in enumerate(entries):
        groups.setdefault((entry.machine, entry.family), []).append(place)
    parts: tuple[list[int], list[int]] = ([], [])
    counts = [dict.fromkeys((*KINDS, "undecided"), 0) for _ in parts]
    for name in sorted(groups, key=_digest):
        kinds = [_kind(entries[place]) for place in groups[name]]
        main = next((kind for kind in KINDS if kind in kinds), "undecided")
        part = 1 if counts[1][main] < counts[0][main] else 0
        parts[part].extend(groups[name])
        for kind in kinds:
            counts[part][kind] += 1
    if any(count[kind] == 0 for count in counts for kind in KINDS):
        return Split(tuple(range(len(entries))), ())
    return Split(tuple(sorted(parts[0])), tuple(sorted(parts[1])))


def _kind(entry: Entry) -> str:
    return entry.label if isinstance(entry.label, str) else "must_trip"


def _digest(name: tuple[str, str]) -> str:
    return hashlib.sha256("\0".join(name).encode()).hexdigest()
