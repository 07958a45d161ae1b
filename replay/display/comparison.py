"""The table of `lubetrip compare` for the terminal."""

from typing import Any

from rich.console import Group, RenderableType
from rich.table import Table
from rich.text import Text

from replay.display.terminal import CAUTION, NOTHING, plain_table, seconds
from replay.score.comparison import Comparison, Discordant

Pairs = tuple[tuple[dict[str, Any], dict[str, Any]], ...]


def comparison_view(result: Comparison, first: str, second: str) -> RenderableType:
    """Return what changed from A to B, what it means, and whether B is worse."""
    parts: list[RenderableType] = [Text(f"A  {first}\nB  {second}\n")]
    if result.changed:
        parts += [_changes(f"changed; {result.same} others did not", result.changed), Text()]
    else:
        parts += [Text(f"nothing changed on {result.same} judged traces\n")]
    if result.undecided:
        parts += [_changes("undecided, judged neither way", result.undecided), Text()]
    return Group(*parts, Text("\n".join(_lines(result))))


def _changes(title: str, pairs: Pairs) -> Table:
    table = plain_table(title=title)
    table.add_column("trace", min_width=10, overflow="fold")
    table.add_column("outcome", overflow="fold")
    for column in ("stop s\nA", "stop s\nB", "margin\nchange s"):
        table.add_column(column, justify="right", no_wrap=True, vertical="bottom")
    for one, two in pairs:
        outcomes = dict.fromkeys(side["outcome"].replace("_", " ") for side in (one, two))
        stops = [seconds(side["first_trip_s"]) for side in (one, two)]
        table.add_row(Text(one["id"]), " -> ".join(outcomes), *stops, _change(one["margin_s"], two["margin_s"]))
    return table


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
        f"margin, mean change over {margins.pairs} traces that both hit: {mean}",
        f"  {100 * margins.confidence:g} % bootstrap interval {ends}",
        f"acceptance: A {result.verdicts[0]}, B {result.verdicts[1]}",
        "B IS WORSE: " + "; ".join(result.worse) if result.worse else "B is not worse.",
        CAUTION,
    ]


def _pairs(pair: Discordant, other: str) -> str:
    return f"{pair.only_a}, {other} {pair.only_b}; McNemar exact p = {pair.p:.3g}"
