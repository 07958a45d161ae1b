"""Families weighted by how often their faults come, where library.toml states that.

    [mix]                        # shares of the must-trip families; they need not add up to 1
    suction-valve-shut = 3.0
    pump-drive-broken = 1.0

The limit holds whatever the families' own probabilities are: it weights limits
that hold for all of them at once (Bonferroni). It is shown and never judged, and
the worst family is shown beside it.
"""

import math
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from replay.ground.shape import Key, Keys, fit, number
from replay.ground.statistics import proportion_upper
from replay.ground.toml_files import read_toml
from replay.library import Library
from replay.library.library import FILE
from replay.score.evidence import rounded


@dataclass(frozen=True)
class Mix:
    """The missed-trip probability of the stated mix: shares by family, what was seen, one-sided upper limit."""

    shares: dict[str, float]
    missed_probability: float
    upper: float

    def as_json(self) -> dict[str, Any]:
        """Return the mix as it stands in a report."""
        shares = {name: rounded(share) for name, share in self.shares.items()}
        return {"shares": shares, "missed_probability": rounded(self.missed_probability), "upper": rounded(self.upper)}


def read_mix(library: Library, outcomes: Iterable[tuple[str, str]], confidence: float) -> Mix | None:
    """Return the weighted missed-trip probability, None where no mix is stated.

    outcomes: family and outcome of each window. Raises Refusal for a mix that leaves out a family with faults, or
    names one without; a fault that another trace tells already is one too.
    """
    path = library.folder / FILE
    given = read_toml(path, "library").get("mix")
    if given is None:
        return None
    counts = {entry.family: [0, 0] for entry in library.entries if entry.windows}
    for family, outcome in outcomes:
        if outcome in ("hit", "missed", "early", "stood"):
            count = counts.setdefault(family, [0, 0])
            count[0] += outcome == "missed"
            count[1] += outcome in ("hit", "missed")
    share = Key(number(math.ulp(0.0), rule="not a share"), "a number above 0 for each family with must-trip traces")
    shares = fit(path, given, Keys(dict.fromkeys(sorted(counts), share)), "[mix] ")
    return weigh(shares, counts, confidence) if shares else None


def weigh(given: dict[str, float], counts: dict[str, list[int]], confidence: float) -> Mix:
    """Weigh [missed, trials] of each family at a confidence between 0 and 1; a family without trials may miss all."""
    whole = sum(given.values())
    shares = {name: share / whole for name, share in sorted(given.items())}
    each = 1 - (1 - confidence) / len(shares)
    seen = sum(share * counts[name][0] / (counts[name][1] or 1) for name, share in shares.items())
    upper = sum(share * proportion_upper(counts[name][0], counts[name][1], each) for name, share in shares.items())
    return Mix(shares, seen, upper)
