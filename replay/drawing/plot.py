"""One trace as a picture: net oil pressure, suction pressure, time-delay integral and states over one time axis.

No label lies on a curve: levels are named at the right of the plot, marks above it.
"""

import io
import math
import re
import textwrap
from collections.abc import Iterable
from pathlib import Path
from typing import Any

from protect import state
from replay.drawing.decimation import lone_points
from replay.drawing.looks import (
    AREAS,
    BAND,
    BLUE,
    CURVE,
    FILL,
    HOLD,
    INK,
    LANES,
    LINES,
    SHADES,
    UNREAD,
    WINDOW,
    apart,
    time_axis,
)
from replay.drawing.picture import WHOLE, Level, Panel, Picture, named_marks, picture, picture_of_long
from replay.drawing.wall_clock import clock_ticks
from replay.engine import STATES, Replay
from replay.ground.files import check_writable, write_whole
from replay.ground.refusal import as_text, or_refuse, refusal
from replay.ground.wording import counted, seconds, words
from replay.library import Entry, Library, label_text
from replay.library.given import GivenSettings, trace_with_settings
from replay.library.told_time import second_of
from replay.score import Verdict, judge
from replay.score.explaining import Explanation, explained
from replay.settings import Settings
from replay.trace import AnyTrace, Trace, read_trace

FORMATS = (".png", ".svg", ".pdf")
STAMPS = {"png": "Software", "svg": "Date", "pdf": "CreationDate"}
SIZE_IN, DPI = (11.0, 8.0), 110
EDGES = {"left": 0.17, "right": 0.845, "top": 0.845, "bottom": 0.065, "hspace": 0.09}
SMALL = 8.5  # points
POINTS = 72  # an inch
LETTER = 0.55  # of the height of the letters: about their width
MARK_ROWS = 3
HEADING, HEADING_LETTERS = 9.5, 135  # points, and how many letters a line of the heading has room for
BEFORE_S, AFTER_S = 60.0, 120.0  # of an event
RUNS = "run feedback"
NAME = {"fontsize": SMALL, "color": INK}
LEADER = {"arrowstyle": "-", "shrinkA": 0, "shrinkB": 0}  # from a name to its line
SECOND_AXIS = -0.115  # where the axes in other units stand, in widths of the plot
NAMES_AT = -0.068  # and the names of the others, beyond the widest figures


def check_plot(path: Path) -> None:
    """Refuse an output that cannot be drawn or written, before any work is done for it."""
    if path.suffix.lower() not in FORMATS:
        raise refusal(path, "", "not a picture format that can be drawn", "a name that ends in " + ", ".join(FORMATS))
    check_writable(path)


def draw_trace(
    path: Path | str,
    trace: AnyTrace | Path | str,
    settings: GivenSettings = None,
    *,
    from_s: float | str | None = None,
    to_s: float | str | None = None,
    event: int | None = None,
) -> None:
    """Draw one trace into FILE.png, .svg or .pdf: pressures with levels, integral, states, stops, label, outcome.

    Without settings, those of the library that the file belongs to. from_s, to_s: a part of the trace's time, in s
    or as text that `replay.library.told_time` reads, such as "2026-03-01 10:05" of a trace that says when it began;
    event: number of a stop or a spell short of oil, drawn from a minute before it to two after. Raises Refusal.
    """
    check_plot(Path(path))
    read, entry, checked = trace_with_settings(trace, settings)
    begin, end = (_second(told, read, entry, key) for told, key in ((from_s, "--from"), (to_s, "--to")))
    within = (-math.inf if begin is None else begin, math.inf if end is None else end)
    if event is not None and within != WHOLE:
        raise refusal(read.name, "--event", "cannot go with --from or --to", "an event, or a part of the time")
    if event is not None:
        within = _around(explained(read, entry, checked), event)
    if isinstance(read, Trace):
        shown = picture(read, checked, entry, within=within)
    else:
        shown = picture_of_long(read, checked, entry, within=within)
    outcome = outcome_told(judge(entry, read, Replay((), shown.stops, 0, 0, locked_out=False))) if entry else ""
    save_figure(Path(path), draw(shown, title(shown, checked, entry, outcome)))


def _second(told: float | str | None, read: AnyTrace, entry: Entry | None, key: str) -> float | None:
    """Return a moment that was told in s of the trace's time. Raises Refusal."""
    if not isinstance(told, str):
        return told
    if entry is not None:
        return second_of(told, entry, entry.id, key)
    try:
        return float(told)
    except ValueError:
        raise refusal(
            read.name, key, "no number of seconds", "seconds; by the clock for a trace of a library", told
        ) from None


def _around(told: Explanation, event: int) -> tuple[float, float]:
    """Return the time around an event, by its number from 1: a spell short of oil, or a stop that ends none."""
    changes, seconds_of = told.replay.changes, told.trace.seconds
    ends = [change.time_ms for change in changes[1:]]
    spells = [
        (change.time_ms, end)
        for change, end in zip(changes, [*ends, None], strict=False)
        if change.after == state.STARVED
    ]
    alone = [
        (stop.time_ms, stop.time_ms)
        for stop in told.replay.stops
        if not any(begin <= stop.time_ms and (end is None or stop.time_ms <= end) for begin, end in spells)
    ]
    events = sorted([*spells, *alone], key=lambda spell: spell[0])
    if not 1 <= event <= len(events):
        accepted = f"1 to {len(events)}" if events else "--from and --to"
        rule = f"the trace has {counted(len(events), 'event')}: stops, and spells short of oil"
        if told.replay.locked_out:
            since = seconds(seconds_of(changes[-1].time_ms))
            rule += f"; locked out from {since} on, it is not judged behind that, as triage does"
            accepted += "; --from and --to draw any part of it"
        raise refusal(told.trace.name, "--event", rule, accepted, event)
    begin, end = events[event - 1]
    return seconds_of(begin) - BEFORE_S, math.inf if end is None else seconds_of(end) + AFTER_S


def save_plot(path: Path, trace: Trace, settings: Settings, entry: Entry | None = None) -> None:
    """Draw a trace under these settings, with its label if an entry is given. Raises Refusal."""
    shown = picture(trace, settings, entry)
    save_figure(path, draw(shown, title(shown, settings, entry)))


def save_figure(path: Path, figure: Any) -> None:
    """Write a figure into a file of the form that its name says. Raises Refusal."""
    check_plot(path)
    content = written(figure, path.suffix.lower()[1:])
    write_whole(path, lambda stream: stream.write(content))


def written(figure: Any, form: str) -> bytes:
    """Return a figure as a file without dates or random names: the same figure gives the same bytes."""
    import matplotlib as mpl

    stream = io.BytesIO()
    with mpl.rc_context({"svg.hashsalt": "lubetrip"}):
        figure.savefig(stream, format=form, dpi=DPI, metadata={STAMPS[form]: None})
    return stream.getvalue()


def save_plots(folder: Path, library: Library, settings: Settings, ids: Iterable[str]) -> dict[str, str]:
    """Draw some traces of a library into a folder, made if need be; return their paths by id. Raises Refusal.

    A file is named by the trace's number in the library and its id.
    """
    with or_refuse(folder, "made", "a folder, or a name for one"):
        folder.mkdir(exist_ok=True)
    paths, wanted = {}, set(ids)
    for number, entry in enumerate(library.entries, start=1):
        if entry.id in wanted:
            path = folder / f"{number:04d}-{re.sub(r'[^A-Za-z0-9.-]+', '-', entry.id)}.png"
            save_plot(path, read_trace(entry.path), settings, entry)
            paths[entry.id] = str(path)
    return paths


def title(shown: Picture, settings: Settings, entry: Entry | None, outcome: str = "") -> str:
    """Return what stands over a picture."""
    told = f": {outcome}" if outcome else ""
    label = textwrap.wrap(label_text(entry), HEADING_LETTERS, max_lines=2, placeholder=" ...") if entry else []
    about = f"settings {as_text(Path(settings.file).name)}, digest {settings.digest[:12]}"
    return "\n".join([f"{shown.name}{told}", *label, about])


def outcome_told(verdict: Verdict) -> str:
    """Return what became of a trace, and with which margin: none of an early stop, which shows nothing of its fault."""
    margin = None if verdict.outcome == "early" else verdict.margin_s
    return words(verdict.outcome) + ("" if margin is None else f", margin {seconds(margin)}")


def draw(shown: Picture, heading: str) -> Any:
    """Return the figure."""
    from matplotlib.figure import Figure

    figure = Figure(figsize=SIZE_IN)
    parts = figure.subplots(4, 1, sharex=True, height_ratios=(4, 3, 2, 1.9), gridspec_kw=EDGES)
    unit, size = time_axis(shown.end_s - shown.begin_s)
    net, suction, integral, lanes = parts
    curves = ((net, shown.net, CURVE), (suction, shown.suction, BLUE), (integral, shown.integral, CURVE))
    for axes, panel, colour in curves:
        _panel(axes, panel, size, colour)
    _beside_the_curve(net, shown, size)
    integral.fill_between(shown.integral.x / size, 0, shown.integral.y, color=FILL, linewidth=0)
    _lanes(lanes, shown, size)
    for axes in parts:
        axes.set_xlim(shown.begin_s / size, shown.end_s / size)
        for colour, spans in ((WINDOW, shown.windows), (BAND, shown.bands)):
            for begin, end in spans:
                if end > begin:
                    axes.axvspan(begin / size, end / size, color=colour, linewidth=0, zorder=0.4)
        for kind in dict.fromkeys(mark.kind for mark in shown.marks):
            colour, width, dash = LINES[kind]
            at = [mark.at_s / size for mark in shown.marks if mark.kind == kind]
            whole = {"transform": axes.get_xaxis_transform(), "zorder": 1.5, "label": kind}
            axes.vlines(at, 0, 1, colors=colour, linewidth=width, linestyle=_dash(dash), **whole)
    _margins(integral, shown, size)
    lanes.set_xlabel(f"time {unit}")
    if shown.clock.utc_s is not None:
        name, ticks = clock_ticks(shown.begin_s, shown.end_s, shown.clock)
        lanes.set_xticks([at_s / size for at_s, _ in ticks], [word for _, word in ticks])
        lanes.set_xlabel(f"{name}; marks in {unit} of the trace's own time")
    heading = heading.replace("$", r"\$")  # of a user's, no formula
    figure.text(0.01, 0.985, heading, va="top", fontsize=HEADING, color=INK)
    _name_marks(net, shown, size)
    return figure


def _dash(dash: tuple[float, ...]) -> Any:
    return (0, dash) if dash else "-"


def _panel(axes: Any, panel: Panel, size: float, colour: str) -> None:
    """Draw a curve with its levels and axes, and as dots the points that stand alone."""
    axes.set_ylim(panel.low, panel.high)
    axes.plot(panel.x / size, panel.y, color=colour, linewidth=0.9, zorder=3)
    alone = lone_points(panel.y)
    if len(alone):
        axes.plot(panel.x[alone] / size, panel.y[alone], color=colour, linestyle="", marker=".", markersize=3)
    _levels(axes, panel.levels)
    axes.set_ylabel(panel.name)
    axes.yaxis.set_label_coords(NAMES_AT, 0.5)
    if panel.second:
        name, factor, offset = panel.second
        functions = (lambda value: value * factor + offset, lambda value: (value - offset) / factor)
        second = axes.secondary_yaxis(SECOND_AXIS, functions=functions)
        second.set_ylabel(name, labelpad=5)
        second.tick_params(labelsize=SMALL)


def _beside_the_curve(axes: Any, shown: Picture, size: float) -> None:
    """Draw the band in which the integral holds, and where nothing was read."""
    axes.axhspan(*shown.hold, color=HOLD, linewidth=0, zorder=0.5, label="hold band")
    if shown.unread:
        bars = [(begin / size, (end - begin) / size) for begin, end in shown.unread]
        axes.broken_barh(
            bars, (0, 0.035), color=UNREAD, linewidth=1.5, transform=axes.get_xaxis_transform(), label="not read"
        )


def _levels(axes: Any, levels: tuple[Level, ...]) -> None:
    """Draw levels and name them at the right of the plot, apart from each other; an arrow tells of one beyond it."""
    low, high = axes.get_ylim()
    shares = [(level.value - low) / (high - low) for level in levels]
    within = [min(max(share, 0.0), 1.0) for share in shares]
    height = axes.get_position().height * SIZE_IN[1] * POINTS
    places = apart(within, 1.2 * SMALL / height, 0.0, 1.0)
    for level, share, edge, place in zip(levels, shares, within, places, strict=True):
        colour, width, dash = LINES[level.kind]
        if edge == share and level.kind not in AREAS:
            axes.axhline(level.value, color=colour, linestyle=_dash(dash), linewidth=width, zorder=2, label=level.kind)
        arrow = "" if edge == share else (" \N{UPWARDS ARROW}" if share > edge else " \N{DOWNWARDS ARROW}")
        leader = None if arrow else {**LEADER, "color": colour, "linewidth": width}
        axes.annotate(
            level.text + arrow, (1.0, edge), (1.022, place), "axes fraction", va="center", arrowprops=leader, **NAME
        )


def _margins(axes: Any, shown: Picture, size: float) -> None:
    """Draw a bracket over each margin; the heading tells its length."""
    for begin, end in shown.margins:
        axes.annotate("", (begin / size, 50), (end / size, 50), arrowprops={"arrowstyle": "<->", "color": INK})


def _lanes(axes: Any, shown: Picture, size: float) -> None:
    """Draw each state in its named lane; an edge as wide as a line keeps the shortest spell visible."""
    for height, name in enumerate(reversed(LANES)):
        bars = [(begin / size, (end - begin) / size) for begin, end in shown.spells[name]]
        shade = SHADES[name]
        axes.broken_barh(
            bars, (height + 0.12, 0.76), facecolor=shade, edgecolor=shade, linewidth=0.8, zorder=3, label=STATES[name]
        )
        axes.axhline(height, color="#c8c8c8", linewidth=0.6)
    runs = [(begin / size, (end - begin) / size) for begin, end in shown.running]
    axes.broken_barh(runs, (-0.88, 0.76), facecolor=INK, edgecolor=INK, linewidth=0.8, zorder=3, label=RUNS)
    axes.set_ylim(-1, len(LANES))
    axes.set_yticks([at + 0.5 for at in range(-1, len(LANES))])
    axes.set_yticklabels([RUNS, *(words(STATES[name]) for name in reversed(LANES))], fontsize=SMALL)
    axes.tick_params(axis="y", length=0)


def _name_marks(axes: Any, shown: Picture, size: float) -> None:
    """Name the marks above the plot, in rows so that none covers another; count those that find no room."""
    box = axes.get_position()
    second = box.width * SIZE_IN[0] * POINTS / (shown.end_s - shown.begin_s)
    named = named_marks(shown, lambda at_s: (at_s - shown.begin_s) * second, LETTER * SMALL, MARK_ROWS)
    for mark, name, row in named:
        if row is not None:
            colour, width, dash = LINES[mark.kind]
            leader = {**LEADER, "color": colour, "linewidth": width, "linestyle": _dash(dash), "relpos": (0, 1)}
            place = (0, 4 + 1.3 * SMALL * (MARK_ROWS - 1 - row))
            look = {**NAME, "textcoords": "offset points", "annotation_clip": False, "arrowprops": leader}
            axes.annotate(f" {name}", (mark.at_s / size, 1.0), place, ("data", "axes fraction"), **look)
    unnamed = sum(row is None for _, _, row in named)
    if unnamed:
        above = 1.0 + 4 / (box.height * SIZE_IN[1] * POINTS)
        words = f"+ {counted(unnamed, 'more mark')}"  # at the left, where no name reaches
        axes.text(-0.01, above, words, transform=axes.transAxes, fontsize=SMALL, ha="right")
