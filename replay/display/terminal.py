"""What all tables for the terminal share: the console, plain text, dashes and words."""

from io import StringIO
from typing import Any

from rich import box
from rich.console import Console, RenderableType
from rich.table import Table

NOTHING = "-"
LEAST_WIDTH = 72
TEXT_WIDTH = 80
CAUTION = "Not a certified safety device. Local codes and licensed practice come first."


def console() -> Console:
    """Return a console on standard output that marks up no text of the user's.

    On a terminal too narrow for the tables lines wrap; columns are never left out.
    """
    width = max(LEAST_WIDTH, Console().width)
    return Console(width=width, highlight=False, markup=False, emoji=False)


def plain(view: RenderableType) -> str:
    """Return a report as text of 80 columns, without colours or blanks at the ends of lines."""
    out = Console(width=TEXT_WIDTH, file=StringIO(), highlight=False, markup=False, emoji=False, color_system=None)
    with out.capture() as shown:
        out.print(view)
    return "".join(line.rstrip() + "\n" for line in shown.get().splitlines())


def seconds(value: float | None) -> str:
    """Return seconds to a tenth, or a dash."""
    return NOTHING if value is None else f"{value:.1f}"


def plain_table(**options: Any) -> Table:
    """Return a table with little around it."""
    return Table(
        title_justify="left",
        title_style="",
        box=box.HORIZONTALS,
        show_edge=False,
        padding=(0, 1, 0, 0),
        pad_edge=False,
        **options,
    )
