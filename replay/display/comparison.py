"""What `lubetrip compare` tells, for the terminal and the report: settings that differ, outcomes that changed."""

from typing import Any

from rich.console import RenderableType

from replay.display.settings import value_told
from replay.display.table import Table
from replay.display.terminal import CAUTION, view
from replay.ground.wording import NOTHING, sure, tenths, words
from replay.score.comparison import ALTITUDE, Comparison, Discordant
from replay.settings.file import PLACES, key_of

Pairs = tuple[tuple[dict[str, Any], dict[str, Any]], ...]
GRAVEST = ("missed", "early", "nuisance")


def comparison_view(result: Comparison, first: str = "A", second: str = "B") -> RenderableType:
    """Return whether B is worse, which settings differ, what changed from A to B, and what it means."""
    named = f"A  {first}\nB  {second}\n{verdict(result)}"
    return view(named, *parts(result), "\n".join([*lines(result), verdict(result), CAUTION]))


def verdict(result: Comparison) -> str:
    """Return in a line whether B is worse."""
    return "B IS WORSE: " + "; ".join(result.worse) if result.worse else "B is not worse."


def parts(result: Comparison) -> list[Table | str]:
    """Return the tables of what differs, the settings first, and a line where nothing does."""
    told: list[Table | str] = [settings_changed(result)] if result.settings else ["the same settings"]
    if result.changed:
        told.append(_changes(f"Changed; the other {result.same} did not", result.changed))
    else:
        told.append(f"nothing changed on {result.same} judged traces")
    if result.undecided:
        told.append(_changes("Undecided, judged neither way", result.undecided))
    return told


def settings_changed(result: Comparison) -> Table:
    """Return the settings that differ, by the key of the file."""
    rows = []
    for name, *values in result.settings:
        told = [value_told(name, *pair) for pair in zip(values, [result.units] * 2, result.altitudes, strict=True)]
        key = "site.altitude" if name == ALTITUDE else ".".join(key_of(name))
        rows.append((key if name not in PLACES or key.endswith(name) else f"{key} ({words(name)})", *told))
    return Table("Settings that differ", ("setting", "A", "B"), rows, texts=frozenset({1, 2}))


def _changes(caption: str, pairs: Pairs) -> Table:
    """Return what became of traces under A and B: those with another outcome first, the gravest of them on top."""
    rows = []
    for one, two in sorted(pairs, key=_rank):
        outcomes = dict.fromkeys(words(side["outcome"]) for side in (one, two))
        stops = [tenths(side["first_trip_s"]) for side in (one, two)]
        rows.append((one["id"], " -> ".join(outcomes), *stops, _change(one["margin_s"], two["margin_s"])))
    heads = ("trace", "outcome", "stop s A", "stop s B", "margin change s")
    return Table(caption, heads, rows, texts=frozenset({1}))


def _rank(pair: tuple[dict[str, Any], dict[str, Any]]) -> tuple[bool, int]:
    before, after = (side["outcome"] for side in pair)
    return before == after, GRAVEST.index(after) if after in GRAVEST else len(GRAVEST)


def _change(before: float | None, after: float | None) -> str:
    return NOTHING if before is None or after is None else f"{after - before:+.1f}"


def lines(result: Comparison) -> list[str]:
    """Return what the change amounts to."""
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
        *["A and B were judged by DIFFERENT VERSIONS OF THE JUDGE, which may explain a change"]
        * (result.judges[0] != result.judges[1]),
    ]


def _pairs(pair: Discordant, other: str) -> str:
    return f"{pair.only_a}, {other} {pair.only_b}; McNemar exact p = {pair.p:.3g}"
