"""What labels rest on, and how far two reviewers agree beyond what chance would bring: on kinds, and on windows.

Kinds (must trip, ride through, undecided) by Cohen's kappa (Cohen 1960, Educ. Psychol. Meas. 20:37), with the
large-sample interval of Fleiss, Cohen and Everitt (1969, Psychol. Bull. 72:323); windows by what they share of what
both cover (`label.overlap`). Only traces on which both have given a word count, and the last word of each; whoever
settles a disagreement knows what the others said, so that word counts in no agreement.
"""

import itertools
import statistics
from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass

from replay.ground.statistics import Kappa, cohen_kappa
from replay.library.label import LABELS, kind_of, overlap
from replay.library.library import Entry
from replay.library.words import BASES

CONFIDENCE = 0.95
DIFFER = "reviewers differ"


@dataclass(frozen=True)
class Agreement:
    """Two reviewers on the traces that both have labelled.

    counts: by the kind of the first and of the second, in the order of LABELS; kappa: None where it cannot be told;
    overlaps: of windows, a number for each trace that both call must trip.
    """

    first: str
    second: str
    counts: tuple[tuple[int, ...], ...]
    kappa: Kappa | None
    overlaps: tuple[float, ...]

    @property
    def traces(self) -> int:
        """Return how many traces both have labelled."""
        return sum(map(sum, self.counts))

    @property
    def alike(self) -> int:
        """Return on how many of them they give the same kind of label."""
        return sum(row[place] for place, row in enumerate(self.counts))

    @property
    def median_overlap(self) -> float | None:
        """Return the median share that their windows have in common, None without windows of both."""
        return statistics.median(self.overlaps) if self.overlaps else None


def rests(entries: Iterable[Entry]) -> dict[str, int]:
    """Count what the labels of decided traces rest on, and the disagreements."""
    entries = list(entries)
    found = Counter(entry.basis for entry in entries if entry.label != "undecided")
    return {**{basis: found[basis] for basis in BASES}, DIFFER: sum(entry.differ for entry in entries)}


def is_unseen(entry: Entry) -> bool:
    """Say whether a trace was imported and left as it came: undecided, and nobody's word on it."""
    return entry.origin.startswith("recorded:") and entry.label == "undecided" and not entry.words


def agreements(entries: Iterable[Entry]) -> list[Agreement]:
    """Return each pair of reviewers who have traces in common."""
    counts: dict[tuple[str, str], Counter[tuple[str, str]]] = {}
    shares: dict[tuple[str, str], list[float]] = {}
    for entry in entries:
        words = sorted((word for word in entry.words if not word.settles), key=lambda word: word.by)
        for one, other in itertools.combinations(words, 2):
            pair = one.by, other.by
            counts.setdefault(pair, Counter())[kind_of(one.label), kind_of(other.label)] += 1
            if not isinstance(one.label, str) and not isinstance(other.label, str):
                shares.setdefault(pair, []).append(overlap(one.label, other.label))
    found = []
    for pair, counted in sorted(counts.items()):
        table = tuple(tuple(counted[one, other] for other in LABELS) for one in LABELS)
        found.append(Agreement(*pair, table, cohen_kappa(table, CONFIDENCE), tuple(shares.get(pair, ()))))
    return found
