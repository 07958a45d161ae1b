"""The table of `lubetrip compare` for the terminal."""

from typing import Any

from rich.console import RenderableType

from replay.display.table import Table
from replay.display.terminal import CAUTION, view
from replay.ground.wording import NOTHING, sure, tenths, words
from replay.score.comparison import Comparison, Discordant

Pairs = tuple[tuple[dict[str, Any], dict[str, Any]], ...]


def comparison_view(result: Comparison, first: str = "A", second: str = "B") -> RenderableType:
    """Return what changed from A to B, what it means, and whether B is worse."""
    parts = [_changes(f"Changed; {result.same} others did not", result.changed)] if result.changed else []
    if result.undecided:
        parts.append(_changes("Undecided, judged neither way", result.undecided))
    nothing = [] if result.changed else [f"nothing changed on {result.same} judged traces"]
    return view(f"A  {first}\nB  {second}", *nothing, *parts, "\n".join(_lines(result)))


def _changes(caption: str, pairs: Pairs) -> Table:
    rows = []
    for one, two in pairs:
        outcomes = dict.fromkeys(words(side["outcome"]) for side in (one, two))
        stops = [tenths(side["first_trip_s"]) for side in (one, two)]
        rows.append((one["id"], " -> ".join(outcomes), *stops, _change(one["margin_s"], two["margin_s"])))
    heads = ("trace", "outcome", "stop s A", "stop s B", "margin change s")
    return Table(caption, heads, rows, texts=frozenset({1}))


def _change(before: float | None, after: float | None) -> str:
    return NOTHING if before is None or after is None else f"{after - before:+.1f}"


def _lines(result: Comparison) -> list[str]:
    margins = result.margins
    mean = "no pairs" if margins.mean_s is None else f"{margins.mean_s:+.1f} s"
    ends = NOTHING
    if margins.interval_s is not None:
        ends = f"{margins.interval_s[0]:+.1f} s to {margins.interval_s[1]:+.1f} s"
    return [
        f"missed only by A {_pairs(result.missed, 'only by B')}",
        f"nuisance or early only in A {_pairs(result.nuisance, 'only in B')}",
        f"nuisance trips in all: A {result.nuisance_trips[0]}, B {result.nuisance_trips[1]}",
        f"margin, mean change over {margins.pairs} faults that both hit: {mean}",
        f"  bootstrap interval, {sure(margins.confidence)}: {ends}",
        f"acceptance: A {result.verdicts[0]}, B {result.verdicts[1]}",
        *(f"B's ACCEPTANCE IS LOOSER than A's: {rule} (A's, then B's)" for rule in result.loosened),
        *["A and B were judged by DIFFERENT JUDGES: a change may be theirs"] * (result.judges[0] != result.judges[1]),
        "B IS WORSE: " + "; ".join(result.worse) if result.worse else "B is not worse.",
        CAUTION,
    ]


def _pairs(pair: Discordant, other: str) -> str:
    return f"{pair.only_a}, {other} {pair.only_b}; McNemar exact p = {pair.p:.3g}"
