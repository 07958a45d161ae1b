"""Tables on a terminal: a long one looks as a short one does."""

import pytest

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
