"""How reports look on a terminal: the console, plain text, tables as wide as there is room."""

import itertools
import os
import re
from collections.abc import Iterable, Sequence
from io import StringIO
from typing import Any

from rich import box
from rich.cells import cell_len
from rich.console import Console, ConsoleOptions, Group, RenderableType, RenderResult
from rich.segment import Segment
from rich.table import Table as Grid
from rich.text import Text

from replay.display.table import Table
from replay.ground.refusal import HIDDEN

LEAST_WIDTH = 72
TEXT_WIDTH = 80
WIDE = 120  # columns of a terminal that has room for every column of a table
HEAD_LINES = 3
LEAST_WORDS = 12  # columns of a terminal that words are folded to before numbers are left out
MANY = 500  # rows from which a table is no longer laid out by rich
PIPED = 2000  # columns where nobody looks: what is searched for stands in one line
# What a word of a verdict or an outcome looks like, and a count that is not nothing under such a head.
MEANING = {
    "met": "green",
    "holds": "green",
    "not met": "bold red",
    "not enough evidence": "yellow",
    "not enough": "yellow",
    "missed": "bold red",
    "early": "yellow",
    "nuisance": "yellow",
}
COUNTS = {"missed": "bold red", "early": "yellow", "nuisance trips": "yellow", "lost with": "bold red"}
CAUTION = "Not a certified safety device. Local codes and licensed practice come first."


class _Shown(Console):
    """A console that marks up no text of the user's, and passes on none that a terminal would obey."""

    def __init__(self, **options: Any) -> None:
        super().__init__(highlight=False, markup=False, emoji=False, **options)

    def render(self, renderable: RenderableType, options: ConsoleOptions | None = None) -> Iterable[Segment]:
        """Yield pieces of text, with a question mark for each character of the kind."""
        for piece in super().render(renderable, options):
            hidden = not piece.control and piece.text != "\n" and HIDDEN.search(piece.text)
            text = "\n".join(HIDDEN.sub("?", line) for line in piece.text.split("\n")) if hidden else piece.text
            yield Segment(text, piece.style) if hidden else piece

    def print(self, *objects: Any, **options: Any) -> None:
        """Show something; into a pipe without blanks at the ends of lines."""
        if self.width < PIPED:
            super().print(*objects, **options)
            return
        with self.capture() as shown:
            super().print(*objects, **options)
        self.file.write("".join(line.rstrip() + "\n" for line in shown.get().split("\n")[:-1]))

    def on_broken_pipe(self) -> None:
        """Leave it to the command how it ends when nobody reads on: here it would end with the status of a verdict."""
        raise BrokenPipeError


def console() -> Console:
    """Return a console on standard output for texts of the user's, in colours under the usual switches.

    On a terminal too narrow for the tables lines wrap; only columns said to be for wide ones are left out. What goes
    into a pipe or a file is not wrapped, unless COLUMNS says how wide it may be.
    """
    usual = Console()
    piped = not (usual.is_terminal or os.environ.get("COLUMNS"))
    return _Shown(width=PIPED if piped else max(LEAST_WIDTH, usual.width))


def plain(view: RenderableType) -> str:
    """Return a report as text of 80 columns, without colours or blanks at the ends of lines."""
    out = _Shown(width=TEXT_WIDTH, file=StringIO(), color_system=None)
    with out.capture() as shown:
        out.print(view)
    return "".join(line.rstrip() + "\n" for line in shown.get().splitlines())


def view(*parts: Table | RenderableType) -> RenderableType:
    """Return a report of tables, texts and whatever else rich shows, with a blank line between two."""
    shown = [_Fitted(part) if isinstance(part, Table) else part for part in parts]
    return Group(*[line for part in shown for line in ("", part)][1:])


def terms(told: Iterable[tuple[str, str]]) -> Grid:
    """Return words and what they mean, side by side."""
    grid = Grid.grid(padding=(0, 1, 0, 0))
    for pair in told:
        grid.add_row(*pair)
    return grid


class _Fitted:
    """A table that takes the room there is: fewer columns and closer ones on a narrow terminal, broken heads."""

    def __init__(self, table: Table) -> None:
        self.table = table

    def __rich_console__(self, console: Console, options: ConsoleOptions) -> RenderResult:
        """Yield the table as rich draws it."""
        table, room = self.table, options.max_width
        columns = [at for at in range(len(table.heads)) if room >= WIDE or at not in table.wide]
        rows = [*table.rows, table.foot] if table.foot else table.rows
        words_at = {0, *table.texts}
        widths = [max((cell_len(line) for row in rows for line in row[at].splitlines()), default=1) for at in columns]
        heads = [_broken(table.heads[at], width) for at, width in zip(columns, widths, strict=True)]
        widest = [max(width, *map(len, head)) for head, width in zip(heads, widths, strict=True)]
        blanks = any(" " in row[columns[0]] for row in rows)
        whole = not blanks and widths[0] <= room // 2  # an id or a family that is folded is found by nobody
        least = [
            min(width, LEAST_WORDS) if at in words_at and not (whole and at == columns[0]) else width
            for at, width in zip(columns, widest, strict=True)
        ]
        shown = _with_room(least, room)
        left_out = columns[shown:]
        columns, widths, heads, widest = columns[:shown], widths[:shown], heads[:shown], widest[:shown]
        whole |= sum(least[:shown]) - least[0] + shown - 1 + widths[0] <= room and widths[0] <= room // 2
        needed = sum(width + 2 for width in widest) - 2
        words = [at in words_at for at in columns]
        plain = needed <= room and not table.foot and not any(HIDDEN.search(cell) for row in table.rows for cell in row)
        many = plain and len(table.rows) > MANY
        grid = Grid(
            title=table.caption or None,
            title_justify="left",
            title_style="",
            box=box.HORIZONTALS,
            show_edge=False,
            show_footer=bool(table.foot),
            padding=(0, int(needed <= room), 0, 0),
            pad_edge=False,
        )
        for at, head, word, width in zip(columns, heads, words, widest, strict=True):
            look: dict[str, Any] = {"justify": "left" if word else "right", "no_wrap": not word}
            look["width"] = width if many else None
            if at == columns[0] and whole:  # a name stands in one line as long as there is room beside it
                look |= {"no_wrap": True, "min_width": width}
            above = [""] * (max(map(len, heads)) - len(head))
            grid.add_column("\n".join(above + head), table.foot[at] if table.foot else "", overflow="fold", **look)
        for row in table.rows[: 1 if many else None]:
            grid.add_row(*(_coloured(table.heads[at], row[at]) for at in columns))
        yield grid
        if left_out:
            named = ", ".join(" ".join(table.heads[at].replace("\xad", "").split()) for at in left_out)
            yield Text(f"no room here for: {named}; a wider terminal or a pipe has them")
        if many:  # rich takes a millisecond a row
            yield Text("\n".join(_line([row[at] for at in columns], words, widest) for row in table.rows[1:]))


def _with_room(least: Sequence[int], room: int) -> int:
    """Return how many columns, from the left, have room, a blank between two of them: the first in any case."""
    ends = itertools.accumulate(width + 1 for width in least)
    return max(1, sum(end - 1 <= room for end in ends))


def _coloured(head: str, cell: str) -> str | Text:
    """Return a cell in the colour of what it means."""
    style = MEANING.get(cell.lower())
    if style is None and cell not in ("0", "-"):
        style = COUNTS.get(head)
    return cell if style is None else Text(cell, style=style)


def _line(cells: Sequence[str], words: Sequence[bool], widths: Sequence[int]) -> str:
    """Return a row as rich draws it where every cell has room."""
    padded = (
        cell + " " * (width - cell_len(cell)) if word else " " * (width - cell_len(cell)) + cell
        for cell, word, width in zip(cells, words, widths, strict=True)
    )
    return "  ".join(padded).rstrip()


def _broken(head: str, width: int) -> list[str]:
    """Break a head into at most HEAD_LINES lines, as long as the cells below it or a little longer."""
    lines: list[str] = []
    for room in itertools.count(width):
        lines = [""]
        for piece in re.findall(r"[^ \xad-]*[ \xad-]?", head):
            if lines[-1] and len(_ended(lines[-1] + piece)) > room:
                lines.append("")
            lines[-1] += piece
        lines = [_ended(line) for line in lines]
        if len(lines) <= HEAD_LINES and max(map(len, lines)) <= room:
            break
    return lines


def _ended(line: str) -> str:
    """Return a line with the soft hyphen shown at which it ends, and no other."""
    return (line[:-1] + "-" if line.endswith("\xad") else line).replace("\xad", "").rstrip()
