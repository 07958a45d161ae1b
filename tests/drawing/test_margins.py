"""The margins of a score as a histogram: each hit stands in one bar, missed faults in one of their own."""

import re
from itertools import pairwise
from types import SimpleNamespace
from typing import Any

from replay.drawing.margins import margins_svg, words


def scored(margins: list[float], missed: int = 0, wanted: float = 8.0, limit: float | None = None) -> Any:
    """Return what of a score the histogram asks for."""
    totals = SimpleNamespace(missed=missed, worst_likely_margin_s=None, median_margin_s=margins[len(margins) // 2])
    settings = SimpleNamespace(acceptance=SimpleNamespace(min_margin_s=wanted))
    return SimpleNamespace(margins_s=margins, margin_limit_s=limit, totals=totals, settings=settings)


def bars(text: str) -> list[tuple[float, float, int]]:
    """Return (left, width, count) of each bar that is drawn."""
    boxes = re.findall(r'<rect x="([\d.]+)" y="[\d.]+" width="([\d.]+)"[^>]*/?>\s*<text[^>]*>(\d+)</text>', text)
    return [(float(left), float(width), int(count)) for left, width, count in boxes]


def test_every_hit_stands_in_one_bar_and_the_missed_apart() -> None:
    """Catches a hit that is left out at an edge or drawn twice, and missed faults among the thin margins."""
    drawn = bars(margins_svg(scored([0.0, 8.0, 10.0, 10.0, 55.0, 100.0], missed=3)))
    plain = bars(margins_svg(scored([0.0, 8.0, 10.0, 10.0, 55.0, 100.0])))

    assert sum(count for *_, count in drawn) == 6 + 3
    assert sum(count for *_, count in plain) == 6
    for most in range(10, 60):
        assert sum(count for *_, count in bars(margins_svg(scored([1.0, most + 0.7])))) == 2, most
    missed = [bar for bar in drawn if bar[2] == 3]
    assert len(missed) == 1
    assert missed[0][0] < min(left for left, _, count in drawn if count != 3)
    ends = sorted((left, left + width) for left, width, _ in drawn)
    assert all(end < begin for (_, end), (begin, _) in pairwise(ends))


def test_the_words_beside_it_say_how_many_are_thin() -> None:
    """Catches the least margin wanted counted as too thin, and the greatest told as the least."""
    told = words(scored([7.9, 8.0, 20.0], missed=2))

    assert told.startswith("Margins of 3 hits: least 7.9 s, median 8.0 s, greatest 20.0 s; ")
    assert "1 under the wanted 8 s; 2 missed." in told
