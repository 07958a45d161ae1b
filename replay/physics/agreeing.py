"""One label of several machines that a trace's machine may be: what they agree on.

The same scenario is run on each. Where damage is certain on nearly all, the trace has to trip: from when its own
machine is short of oil, by a low quantile of their deadlines. Where none is harmed, it rides through. All else is
undecided.
"""

from collections.abc import Sequence
from typing import Any

import numpy as np

AGREE = 0.95  # share of the machines that have to come to one label
EARLY, LATE = 0.1, 0.9  # quantiles of what they have for deadline_s and latest_s
KINDS = ("must_trip", "ride_through", "undecided")


def agreed(own: dict[str, Any], others: Sequence[dict[str, Any]]) -> tuple[dict[str, Any], str]:
    """Return the label, and in words how many machines come to which.

    own: that of the machine that made the readings.
    """
    labels = [own, *others]
    counts = [sum(kind in label for label in labels) for kind in KINDS]
    told = f"of {len(labels)} machines damage is certain on {counts[0]}, none on {counts[1]}, possible on {counts[2]}"
    undecided: dict[str, Any] = {"undecided": True}
    for kind, count in zip(KINDS[:2], counts[:2], strict=True):
        if kind in own and count >= AGREE * len(labels):
            return (_windows(own, others) or undecided, told) if kind == "must_trip" else (own, told)
    return undecided, told


def _windows(own: dict[str, Any], others: Sequence[dict[str, Any]]) -> dict[str, Any] | None:
    """Return the windows of machines that have equally many; None where they have not, or one of them has no room."""
    all_windows = [_listed(label) for label in (own, *others) if "must_trip" in label]
    if len({len(windows) for windows in all_windows}) > 1:
        return None
    found = []
    for number, window in enumerate(_listed(own)):
        edges = {name: [one[number][name] for one in all_windows] for name in ("deadline_s", "likely_s", "latest_s")}
        quantiles = zip(edges, (EARLY, 0.5, LATE), strict=True)
        told = {name: round(float(np.quantile(edges[name], at)), 1) for name, at in quantiles}
        if told["deadline_s"] <= window["earliest_s"]:
            return None
        found.append({"earliest_s": window["earliest_s"], **told})
    return {"must_trip": found[0] if len(found) == 1 else found}


def _listed(label: dict[str, Any]) -> list[dict[str, float]]:
    windows = label["must_trip"]
    return windows if isinstance(windows, list) else [windows]
