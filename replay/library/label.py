"""One label: must trip within windows, ride through, or undecided; its form in library.toml, and in words."""

import itertools
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from replay.ground.refusal import refusal
from replay.ground.shape import Key, Keys, UnfitError, fit, number

LABELS = ("must_trip", "ride_through", "undecided")
BAND = ("deadline_s", "likely_s", "latest_s")  # ascending
LABEL_FORMS = "one of must_trip = { earliest_s, deadline_s }, ride_through = true, undecided = true"


@dataclass(frozen=True)
class MustTrip:
    """One window of a label: a stop has to lie in earliest_s .. deadline_s of the trace's own time.

    likely_s, latest_s: by when a likely and the longest-lasting bearing would be spoilt, None where nobody says.
    """

    earliest_s: float
    deadline_s: float
    likely_s: float | None = None
    latest_s: float | None = None

    @property
    def end_s(self) -> float:
        """Return the end of the band, or the deadline where there is none."""
        return max(second for second in (self.deadline_s, self.likely_s, self.latest_s) if second is not None)

    def as_table(self) -> dict[str, float]:
        """Return the window as it stands in library.toml: what is not stated is left out."""
        return {key: second for key, second in vars(self).items() if second is not None}


Label = tuple[MustTrip, ...] | str


def _stated(value: Any) -> bool:
    if value is not True:
        raise UnfitError("state a label, do not deny one")
    return value


def _windows(value: Any) -> list[Any]:
    """Take one window or a list of them; each is read where its place is known."""
    windows = value if isinstance(value, list) else [value]
    if not windows:
        raise UnfitError("no window")
    return windows


_SECONDS = Key(number(), "seconds of the trace's time")
WINDOW = Keys(
    {
        **dict.fromkeys(("earliest_s", "deadline_s"), _SECONDS),
        **dict.fromkeys(("likely_s", "latest_s"), Key(number(), "seconds of the trace's time", needed=False)),
    }
)
LABEL_KEYS: dict[str, Key | Keys] = {
    "must_trip": Key(_windows, "a window { earliest_s, deadline_s }, or a list of windows", needed=False),
    **{key: Key(_stated, f"{key} = true", needed=False) for key in LABELS[1:]},
}


def read_label(path: Path | str, where: str, table: dict[str, Any]) -> Label:
    """Take the one label out of a table that was read with LABEL_KEYS. Raises Refusal.

    where: what stands before a key.
    """
    given = {key: table.pop(key) for key in LABELS if key in table}
    if len(given) != 1:
        rule = f"{len(given)} labels ({', '.join(given)})" if given else "no label"
        raise refusal(path, where, rule, LABEL_FORMS)
    if "must_trip" not in given:
        return next(iter(given))
    several = len(given["must_trip"]) > 1
    windows: list[MustTrip] = []
    for place, item in enumerate(given["must_trip"], start=1):
        at = f"{where}, must_trip{f' {place}' if several else ''}."
        window = MustTrip(**fit(path, item, WINDOW, at))
        check_window(path, at, window, windows[-1] if windows else None)
        windows.append(window)
    return tuple(windows)


def label_table(label: Label) -> dict[str, Any]:
    """Return a label as it stands in library.toml."""
    if isinstance(label, str):
        return {label: True}
    windows = [window.as_table() for window in label]
    return {"must_trip": windows if len(windows) > 1 else windows[0]}


def check_window(path: Path | str, where: str, window: MustTrip, before: MustTrip | None = None) -> None:
    """Refuse a window whose seconds are out of order, or that does not lie behind the one before it.

    where: what stands before the key in a refusal.
    """
    if window.earliest_s > window.deadline_s:
        rule = f"later than the deadline ({shown_s(window.deadline_s)})"
        raise refusal(path, f"{where}earliest_s", rule, "a time not after deadline_s", window.earliest_s)
    stated = [(key, second) for key, second in window.as_table().items() if key in BAND]
    for (key, second), (later, later_s) in itertools.pairwise(stated):
        if second > later_s:
            rule = f"earlier than {key} ({shown_s(second)})"
            raise refusal(path, f"{where}{later}", rule, " <= ".join(BAND), later_s)
    if before is not None and window.earliest_s <= before.end_s:
        rule = f"not behind the window before it, which ends at {shown_s(before.end_s)}"
        raise refusal(path, f"{where}earliest_s", rule, "windows in their order and apart", window.earliest_s)


def shown_s(seconds: float) -> str:
    """Return seconds for a message."""
    return f"{seconds:.12g} s"


def words_of(label: Label) -> str:
    """Return a label in words."""
    if isinstance(label, str):
        return label.replace("_", " ")
    return "must trip " + ", then ".join(map(window_text, label))


def window_text(window: MustTrip) -> str:
    """Return a window in words."""
    band = {"likely": window.likely_s, "at the latest": window.latest_s}
    stated = [f"{name} {shown_s(second)}" for name, second in band.items() if second is not None]
    told = f"from {shown_s(window.earliest_s)} to {shown_s(window.deadline_s)}"
    return f"{told} ({', '.join(stated)})" if stated else told


def kind_of(label: Label) -> str:
    """Return must_trip, ride_through or undecided."""
    return label if isinstance(label, str) else "must_trip"


def overlap(one: Label, other: Label) -> float:
    """Return how far windows agree, 0..1: of each pair what they share of what both cover (Jaccard 1912), the least.

    0 where there are not as many windows, or the labels are of other kinds; 1 for labels of one kind without windows.
    """
    if isinstance(one, str) or isinstance(other, str):
        return float(one == other)
    if len(one) != len(other):
        return 0.0
    return min(itertools.starmap(_shared, zip(one, other, strict=True)))


def _shared(one: MustTrip, other: MustTrip) -> float:
    both = min(one.deadline_s, other.deadline_s) - max(one.earliest_s, other.earliest_s)
    whole = max(one.deadline_s, other.deadline_s) - min(one.earliest_s, other.earliest_s)
    if whole == 0.0:
        return 1.0  # the same moment
    return max(both, 0.0) / whole


def common_window(windows: Sequence[MustTrip]) -> MustTrip:
    """Return what overlapping windows have in common: a stop in it is right by each of them; of bands the earliest."""
    latest = min((w.latest_s for w in windows if w.latest_s is not None), default=None)
    likely = min((w.likely_s for w in windows if w.likely_s is not None), default=None)
    if likely is not None and latest is not None:
        likely = min(likely, latest)
    return MustTrip(max(w.earliest_s for w in windows), min(w.deadline_s for w in windows), likely, latest)
