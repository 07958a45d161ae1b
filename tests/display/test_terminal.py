"""Tables on a terminal: a long one looks as a short one does."""

import re
from collections.abc import Sequence
from io import StringIO

import pytest
from rich.console import Console

from replay.display import terminal
from replay.display.table import Table
from replay.display.terminal import plain, view

HEADS = ("trace", "cause of the stop", "net oil pressure kPa", "pre\N{SOFT HYPHEN}vented")
CELLS = ("granite 7", "pumpe \N{LATIN SMALL LETTER U WITH DIAERESIS}\N{CJK UNIFIED IDEOGRAPH-6CB9}", "no oil", "")


@pytest.mark.parametrize("foot", [(), ("all", "", "1", "2")])
@pytest.mark.parametrize("wide", ["", "word " * 30, "two\nlines", "\x1b[31mred"])
def test_a_long_table_is_drawn_as_a_short_one(
    foot: tuple[str, ...], wide: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Catches columns that shift, text that is cut or obeyed by the terminal, where a table is too long for rich."""
    rows = [(CELLS[at % 4], CELLS[at % 3] + wide * (at == 7), f"{at * 7.5:.1f}", str(at % 11)) for at in range(40)]
    table = Table("caption", HEADS, rows, foot, frozenset({1}))
    short = plain(view(table))
    monkeypatch.setattr(terminal, "MANY", 5)

    assert plain(view(table)) == short
    assert "\x1b" not in short
    assert short.count("\n") >= 40


def test_rich_lays_out_no_more_than_the_head_of_a_long_table(monkeypatch: pytest.MonkeyPatch) -> None:
    """Catches a year of decisions, tens of thousands of rows, laid out cell by cell: minutes of it."""
    laid_out = []
    add_row = terminal.Grid.add_row
    monkeypatch.setattr(terminal.Grid, "add_row", lambda grid, *cells: laid_out.append(cells) or add_row(grid, *cells))
    shown = plain(view(Table("caption", HEADS, [("a", "b", "1", "2")] * 5000)))

    assert len(laid_out) == 1
    assert shown.count("\n") > 5000


FIGURES = ("first probability", "second figure", "third figure")


def shown_at(width: int, names: Sequence[str]) -> list[str]:
    """Return the lines of a table of numbers of seven places, and a column of words behind them."""
    rows = [
        (name, *(f"{place}{number}34.25" for number in range(3)), "it may be folded")
        for place, name in enumerate(names)
    ]
    out = Console(width=width, file=StringIO(), color_system=None)
    with out.capture() as shown:
        out.print(view(Table("", ("name", *FIGURES, "what it is"), rows, texts=frozenset({4}))))
    return [line.rstrip() for line in shown.get().splitlines()]


@pytest.mark.parametrize("width", range(24, 80, 3))
@pytest.mark.parametrize("names", [("rotation", "x"), ("a name of many words that are folded", "x y")])
def test_a_number_is_whole_or_not_there_and_that_is_said(width: int, names: Sequence[str]) -> None:
    """Catches 134.25 shown as 134. on a narrow terminal, a head cut to three letters, an id folded, a column lost silently."""
    lines = shown_at(width, names)
    text = " ".join(" ".join(lines).split())
    lost = "".join(re.findall("no room here for: (.*);", text)).split(", ")
    kept = [figure for figure in FIGURES if figure not in lost]

    assert max(map(len, lines)) <= width
    assert re.findall(r"\d[\d.]*", text) == [f"{row}{at}34.25" for row in (0, 1) for at in range(len(kept))]
    assert all(word in text for figure in kept for word in figure.split())
    assert "what it is" in lost or "folded" in text
    assert " " in names[0] or "rotation" in text
    assert len(kept) == 3 or width < 12 + 12 + 2 * 8


def test_a_name_of_words_is_folded_before_a_number_is_left_out() -> None:
    """Catches a figure left out for the sake of a long name, and an id folded so that nobody finds it again."""
    assert not any("no room" in line for line in shown_at(54, ("a name of many words that are folded", "x y")))
    assert any(line.startswith("suction-valve-shut-00 ") for line in shown_at(44, ("suction-valve-shut-00", "x")))
