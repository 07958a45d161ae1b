"""How lines, states and labels of a trace look, on paper and on a page alike.

Lines are told apart by dash and by a label beside the plot as well as by colour, and each state has a lane of
its own, so that a print in grey and a colour-blind reader lose nothing. Colours are near those of Okabe and
Ito, Color Universal Design (from memory), darkened to at least 3 to 1 against white.
"""

from collections.abc import Sequence

from protect import state

INK, PAPER = "#1a1a1a", "#ffffff"
CURVE = "#000000"
BLUE, GREEN, VERMILLION, PURPLE, GREY = "#0067a5", "#00775a", "#c24e00", "#8a3a73", "#6b6b6b"
DANGER = "#b3001b"
HOLD = "#d9efe6"  # between cut-out and cut-in, where the integral holds
FILL = "#f3d9a4"  # under the integral
UNREAD = "#5a5a5a"
WINDOW = "#eaf2f8"  # in which a must-trip trace has to be stopped
BAND = "#f3e3ea"  # from the cautious figure of a deadline to that of the longest-lasting bearing

# Colour, line width in points and dash (points on and off; empty for a full line) of each kind of line.
LINES: dict[str, tuple[str, float, tuple[float, ...]]] = {
    "cut-in": (GREEN, 1.2, (7, 3)),
    "cut-out": (VERMILLION, 1.4, (8, 2, 2, 2)),
    "floor": (PURPLE, 1.4, (1.5, 2)),
    "reload": (DANGER, 1.4, (7, 3)),
    "vacuum": (PURPLE, 1.4, (8, 2, 2, 2)),
    "trip delay": (VERMILLION, 1.2, ()),
    "reload guard": (DANGER, 1.2, (7, 3)),
    "earliest": (BLUE, 1.3, (4, 2)),
    "deadline": (INK, 1.6, (9, 2, 2, 2)),
    "likely": (INK, 0.9, (4, 3)),
    "latest": (INK, 0.9, (1.5, 3)),
    "stop": (VERMILLION, 1.3, ()),
    "hold": (HOLD, 6.0, ()),
    "unread": (UNREAD, 4.0, ()),
}
AREAS = ("hold", "unread")  # of these kinds only the label and its leader are lines
# Lanes of the states from top to bottom: run permission is withdrawn above, given below.
LANES = (state.LOCKED_OUT, state.TRIPPED, state.STARVED, state.LUBRICATED, state.PRIMING, state.STOPPED)
SHADES = {
    state.LOCKED_OUT: "#3d3d3d",
    state.TRIPPED: VERMILLION,
    state.STARVED: "#e0a030",
    state.LUBRICATED: GREEN,
    state.PRIMING: BLUE,
    state.STOPPED: GREY,
}
HOURS_FROM_S = 7200.0  # spans from here on are drawn in hours


def time_axis(span_s: float) -> tuple[str, float]:
    """Return the unit of the time axis and its seconds."""
    return ("h", 3600.0) if span_s >= HOURS_FROM_S else ("s", 1.0)


def apart(wanted: Sequence[float], gap: float, low: float, high: float) -> list[float]:
    """Return places for labels at least `gap` apart within low .. high, in the order of and near to those wanted.

    Where there is no room for all, they stand as far apart as there is room.
    """
    order = sorted(range(len(wanted)), key=lambda at: wanted[at])
    gap = min(gap, (high - low) / max(len(wanted) - 1, 1))
    groups: list[list[float]] = []  # [sum of (wanted - rank * gap), count]
    for rank, at in enumerate(order):
        groups.append([wanted[at] - rank * gap, 1])
        while len(groups) > 1 and groups[-2][0] / groups[-2][1] >= groups[-1][0] / groups[-1][1]:
            total, count = groups.pop()
            groups[-1][0] += total
            groups[-1][1] += count
    even = [total / count for total, count in groups for _ in range(int(count))]
    most = high - (len(wanted) - 1) * gap
    places = [0.0] * len(wanted)
    for rank, at in enumerate(order):
        places[at] = min(max(even[rank], low), most) + rank * gap
    return places


def in_rows(spans: Sequence[tuple[float, float]], rows: int) -> list[int | None]:
    """Return for each label (begin, end) the row, 0 on top, in which it covers none; None where there is none.

    A line goes down from the beginning of each label, through the rows below it: it crosses no label there.
    """
    taken: list[list[tuple[float, float]]] = [[] for _ in range(rows)]
    found: list[int | None] = [None] * len(spans)
    for at in sorted(range(len(spans)), key=lambda at: spans[at]):
        begin, end = spans[at]
        for row in range(rows):
            below = (span for lower in taken[row + 1 :] for span in lower)
            if all(end <= left or right <= begin for left, right in taken[row]) and not any(
                left <= begin <= right for left, right in below
            ):
                taken[row].append((begin, end))
                found[at] = row
                break
    return found
