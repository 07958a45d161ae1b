"""What all tables for the terminal share: the console, plain text, dashes and words."""

from collections.abc import Iterable
from io import StringIO
from typing import Any

from rich import box
from rich.console import Console, ConsoleOptions, RenderableType
from rich.segment import Segment
from rich.table import Table

from replay.ground.refusal import HIDDEN

NOTHING = "-"
LEAST_WIDTH = 72
TEXT_WIDTH = 80
CAUTION = "Not a certified safety device. Local codes and licensed practice come first."


class _Shown(Console):
    """A console that marks up no text of the user's, and passes on none that a terminal would obey."""

    def __init__(self, **options: Any) -> None:
        super().__init__(highlight=False, markup=False, emoji=False, **options)

    def render(self, renderable: RenderableType, options: ConsoleOptions | None = None) -> Iterable[Segment]:
        """Yield pieces of text, with a question mark for each character of the kind."""
        for piece in super().render(renderable, options):
            hidden = not piece.control and piece.text != "\n" and HIDDEN.search(piece.text)
            yield Segment(_speakable(piece.text), piece.style) if hidden else piece


def _speakable(text: str) -> str:
    return "\n".join(HIDDEN.sub("?", line) for line in text.split("\n"))


def console() -> Console:
    """Return a console on standard output for texts of the user's.

    On a terminal too narrow for the tables lines wrap; columns are never left out.
    """
    return _Shown(width=max(LEAST_WIDTH, Console().width))


def plain(view: RenderableType) -> str:
    """Return a report as text of 80 columns, without colours or blanks at the ends of lines."""
    out = _Shown(width=TEXT_WIDTH, file=StringIO(), color_system=None)
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
