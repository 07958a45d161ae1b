"""What there is to draw of one trace: thinned curves, levels, states, marks. How it looks is told elsewhere.

Times are in s of the trace's own time. Pressures are in the units of the settings, suction as gauges show it.
"""

import itertools
import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from protect import ranges, state
from replay.drawing.decimation import Curve, Floats, Stretches
from replay.drawing.looks import in_rows, time_axis
from replay.engine import Stop, compiled, told_cause
from replay.engine.portable import Machine, Trail
from replay.ground.refusal import refusal
from replay.ground.shown import other_units
from replay.ground.units import STANDARD_ATMOSPHERE_PA, atmosphere_pa
from replay.library import Entry, MustTrip
from replay.settings import Settings
from replay.sweep import Course, Noted
from replay.trace import LongTrace, Trace
from replay.trace.files import last_time_s
from replay.triage.clock import UTC, Clock

STRETCHES = 2000  # about two for each dot of a screen
WHOLE = (-math.inf, math.inf)  # all of a trace's time
LEAST_SPAN_KPA = 10.0
# Places among the settings of the pressures that are drawn as levels.
PRESSURES = {
    "cut-in": ranges.CUT_IN,
    "cut-out": ranges.CUT_OUT,
    "floor": ranges.FLOOR,
    "reload": ranges.RELOAD,
    "vacuum": ranges.VACUUM,
}
FAR = 3.0  # times the readings: a level beyond is named at the edge and not drawn


@dataclass(frozen=True)
class Level:
    """A setting as a line across a panel. `kind` chooses its dash."""

    kind: str
    value: float
    text: str


@dataclass(frozen=True)
class Panel:
    """One curve (x, y with NaN at each break), its levels, the ends of its axis, and its second axis.

    second: name of an axis in another unit, and what makes a value of it: value * factor + offset.
    """

    name: str
    x: Floats
    y: Floats
    levels: tuple[Level, ...]
    low: float
    high: float
    second: tuple[str, float, float] | None = None


@dataclass(frozen=True)
class Mark:
    """A moment: a stop with its cause, or an end of a window of a must-trip label or of the band of its deadline."""

    kind: str
    at_s: float
    text: str


@dataclass(frozen=True)
class Picture:
    """All that is drawn of a trace.

    spells: for each state the stretches of time (begin, end) spent in it, those too close to tell apart drawn as
    one; unread: stretches in which a pressure was missing or out of its sensor's range; running: as the feedback says;
    windows: in which a stop has to lie; margins: from the first stop in one to its deadline; bands: of deadlines;
    stops: all of them, in ms since the first row; clock: that on the wall, where the trace's entry says when it began.
    """

    name: str
    begin_s: float
    end_s: float
    net: Panel
    suction: Panel
    integral: Panel
    hold: tuple[float, float]
    spells: dict[int, list[tuple[float, float]]]
    unread: list[tuple[float, float]]
    marks: tuple[Mark, ...]
    bands: tuple[tuple[float, float], ...] = ()
    windows: tuple[tuple[float, float], ...] = ()
    margins: tuple[tuple[float, float], ...] = ()
    running: list[tuple[float, float]] = field(default_factory=list)
    stops: tuple[Stop, ...] = ()
    clock: Clock = field(default_factory=Clock)


def picture(
    trace: Trace,
    settings: Settings,
    entry: Entry | None = None,
    trail: Trail | None = None,
    stretches: int = STRETCHES,
    within: tuple[float, float] = WHOLE,
) -> Picture:
    """Return what there is to draw; the logic is run over the trace unless its trail is given.

    within: the part of the trace's time (s) that is drawn. Raises Refusal where nothing lies in it.
    """
    part = _part(trace.name, (trace.start_s, _end_s(trace)), within)
    trail = trail or trail_of(trace, settings)
    seen = _Seen(settings, trace.start_s, part, _stretches(part, _end_s(trace), stretches))
    seen.take(trace, Noted(np.arange(len(trace)), trail.states, trail.integral_percent))
    return seen.picture(trace, trail.stops, entry)


def picture_of_long(
    trace: LongTrace,
    settings: Settings,
    entry: Entry | None = None,
    stretches: int = STRETCHES,
    within: tuple[float, float] = WHOLE,
) -> Picture:
    """Return what there is to draw of a trace of any length, in bounded memory; thinned as it is read.

    Within a stretch, points of the integral may lie at other rows than in `picture`, with the same values.
    Raises Refusal.
    """
    course, pieces, end_s = Course(settings), trace.pieces(), last_time_s(trace.path)
    first = next(pieces)
    length_ms = round((max(first.start_s, end_s) - first.start_s) * 1000)  # as `Trace` has it, in whole ms
    end = first.start_s + length_ms / 1000
    part = _part(first.name, (first.start_s, end), within)
    seen = _Seen(settings, first.start_s, part, _stretches(part, end, stretches))
    for piece in itertools.chain([first], pieces):
        seen.take(piece, course.take(piece, seen.stretches.starts(_seconds(piece))))
    return seen.picture(piece, tuple(course.stops), entry)


def _part(name: str, whole: tuple[float, float], within: tuple[float, float]) -> tuple[float, float]:
    """Return the part of a trace's time that is drawn."""
    begin, end = max(whole[0], within[0]), min(whole[1], within[1])
    if begin >= end and within != WHOLE:
        accepted = f"a part of {whole[0]:g} s to {whole[1]:g} s"
        raise refusal(name, "--from, --to", "nothing of the trace lies between", accepted)
    return begin, end


def _stretches(part: tuple[float, float], end_s: float, count: int) -> Stretches:
    """Return the stretches of a part; of one that ends early, what comes after it is a stretch more."""
    begin, end = part
    return Stretches(begin, end, count) if end >= end_s else Stretches(begin, end + (end - begin) / count, count + 1)


def _seconds(trace: Trace) -> Floats:
    return trace.start_s + trace.time_ms / 1000.0


def _end_s(trace: Trace) -> float:
    return float(_seconds(trace)[-1])


class _Seen:
    """What there is to draw of the rows so far."""

    def __init__(self, settings: Settings, start_s: float, part: tuple[float, float], stretches: Stretches) -> None:
        self.settings, self.start_s, self.part, self.stretches = settings, start_s, part, stretches
        self.net, self.suction, self.integral = (Curve(stretches) for _ in range(3))
        self.spells = {name: Runs(stretches) for name in range(state.LOCKED_OUT + 1)}
        self.unread, self.running = Runs(stretches), Runs(stretches)
        self.net_ends, self.suction_ends = (0.0, 0.0), (0.0, 0.0)  # of credible readings; the axis holds nothing too
        self.last_ms = 0

    def take(self, trace: Trace, noted: Noted) -> None:
        """Take the next rows, and what the logic did at some of them, every one behind a gap among those."""
        seconds = _seconds(trace)
        steps = np.diff(trace.time_ms, prepend=self.last_ms)
        breaks = np.flatnonzero(steps > self.settings.values[ranges.MAX_GAP])
        self.last_ms = int(trace.time_ms[-1])
        lost = _unread(trace, self.settings)
        suction = in_kpa(trace.suction_pa)
        net = in_kpa(trace.oil_pa)
        net -= suction if trace.crankcase_pa is trace.suction_pa else in_kpa(trace.crankcase_pa)
        self.net.take(seconds, net, breaks)
        self.suction.take(seconds, suction, breaks)
        self.net_ends, self.suction_ends = _wider(self.net_ends, net, lost), _wider(self.suction_ends, suction, lost)
        self.unread.take(seconds, lost)
        self.running.take(seconds, trace.running == 1)
        self.integral.take(seconds[noted.rows], noted.integral_percent, np.searchsorted(noted.rows, breaks))
        for name, runs in self.spells.items():
            runs.take(seconds[noted.rows], noted.states == name)

    def picture(self, last: Trace, stops: tuple[Stop, ...], entry: Entry | None) -> Picture:
        """Return all that is drawn of a trace; last: the last rows that were taken."""
        settings = self.settings
        units, windows = settings.units, entry.windows if entry else ()
        hold = settings.values[ranges.CUT_OUT] / units.size_pa, settings.values[ranges.CUT_IN] / units.size_pa
        over = _net(self.net.line(), self.net_ends, settings)
        beside = [Level("hold", sum(hold) / 2, "hold band")]
        unread = self.unread.ended(_end_s(last))
        if unread:
            beside.append(Level("unread", over.low, "no valid reading"))
        return Picture(
            name=last.name,
            begin_s=self.part[0],
            end_s=self.part[1],
            net=replace(over, levels=(*over.levels, *beside)),
            suction=_suction(self.suction.line(), self.suction_ends, settings),
            integral=_integral(self.integral.line(), settings),
            hold=hold,
            spells={name: runs.ended(_end_s(last)) for name, runs in self.spells.items()},
            unread=unread,
            marks=tuple(_marks(last, stops, entry)),
            bands=tuple((window.deadline_s, window.end_s) for window in windows),
            windows=tuple((window.earliest_s, window.deadline_s) for window in windows),
            margins=tuple(_margins(windows, [last.seconds(stop.time_ms) for stop in stops])),
            running=self.running.ended(_end_s(last)),
            stops=stops,
            clock=_clock(entry, self.start_s),
        )


def _clock(entry: Entry | None, start_s: float) -> Clock:
    """Return the clock on the wall of a trace whose first row is at start_s of its own time."""
    if entry is None or entry.start_utc is None:
        return Clock()
    return Clock(entry.start_utc.timestamp() - start_s, entry.zone or UTC)


class Runs:
    """Stretches of time in which something is so, joined where less than one stretch lies between."""

    def __init__(self, stretches: Stretches) -> None:
        self.stretches = stretches
        self.begins, self.ends = np.zeros(0), np.zeros(0)
        self.there = False  # at the row before

    def take(self, times: Floats, there: NDArray[np.bool_]) -> None:
        """Take the next rows; a row lasts until the next."""
        changed = np.diff(there, prepend=self.there)
        self.there = bool(there[-1])
        begins = np.concatenate((self.begins, times[changed & there]))
        ends = np.concatenate((self.ends, times[changed & ~there]))
        if len(begins):
            gone_on = self.stretches.of(begins[1:]) <= self.stretches.of(ends[: len(begins) - 1])
            begins = begins[np.append(True, ~gone_on)]
            ends = ends[np.append(~gone_on, np.ones(len(ends) - len(gone_on), dtype=bool))]
        self.begins, self.ends = begins, ends

    def ended(self, end: float) -> list[tuple[float, float]]:
        """Return (begin, end) of each, the last of which may go on until the end."""
        ends = np.append(self.ends, end) if self.there else self.ends
        return list(zip(self.begins.tolist(), ends.tolist(), strict=True))


def _wider(ends: tuple[float, float], values: Floats, lost: NDArray[np.bool_]) -> tuple[float, float]:
    """Return ends (least, greatest) that hold some values too, those that are lost left out."""
    real = values[~lost] if lost.any() else values
    return (min(ends[0], float(real.min())), max(ends[1], float(real.max()))) if len(real) else ends


def trail_of(trace: Trace, settings: Settings) -> Trail:
    """Run the logic over a trace and keep every row, by the engine that is done soonest."""
    machine = compiled.machine(settings) if compiled.pays(len(trace)) else Machine(settings)
    return machine.follow(trace)


def in_kpa(pascals: NDArray[np.int64]) -> Floats:
    """Return pressures, int64[n] in Pa, as kPa float64[n], NaN where nothing was read."""
    kpa = pascals / 1000.0
    if len(pascals) and pascals.min() == ranges.NO_READING:
        kpa[pascals == ranges.NO_READING] = np.nan
    return kpa


def net_kpa(trace: Trace) -> Floats:
    """Return the net oil pressure of every row in kPa, float64[n], NaN where a reading is missing."""
    return in_kpa(trace.oil_pa) - in_kpa(trace.crankcase_pa)


def _net(curve: tuple[Floats, Floats], ends: tuple[float, float], settings: Settings) -> Panel:
    """Return the panel of net oil pressure from a curve and ends in kPa."""
    units, other = settings.units, other_units(settings.units)
    levels = {kind: settings.values[PRESSURES[kind]] for kind in ("cut-in", "cut-out", "floor")}
    drawn = tuple(
        Level(kind, pascals / units.size_pa, f"{kind} {units.net(pascals)}") for kind, pascals in levels.items()
    )
    second = (other.difference, units.size_pa / other.size_pa, 0.0)
    name = f"net oil pressure {units.difference}"
    return _panel(name, curve, drawn, _ends(ends, [*levels.values()]), (1000 / units.size_pa, 0.0), second)


def _suction(curve: tuple[Floats, Floats], ends: tuple[float, float], settings: Settings) -> Panel:
    """Return the panel of suction from an absolute curve and ends in kPa: as a gauge shows it, beside it absolute."""
    units, altitude = settings.units, settings.altitude_m
    air = atmosphere_pa(altitude) / units.size_pa
    levels = {kind: settings.values[PRESSURES[kind]] for kind in ("reload", "vacuum")}
    drawn = tuple(
        Level(kind, pascals / units.size_pa - air, f"{kind} {units.suction(pascals, altitude)}")
        for kind, pascals in levels.items()
    )
    name, second = f"suction {units.gauge}", (f"{units.absolute}, {altitude:g} m", 1.0, air)
    return _panel(name, curve, drawn, _ends(ends, [*levels.values()]), (1000 / units.size_pa, -air), second)


def _ends(ends: tuple[float, float], levels_pa: list[int]) -> tuple[float, float]:
    """Return the ends (kPa) of an axis that holds nothing, every credible reading, each level not far above them."""
    low, most = ends
    far = FAR * max(most, STANDARD_ATMOSPHERE_PA / 1000)
    high = max([most, LEAST_SPAN_KPA, *(pascals / 1000 for pascals in levels_pa if pascals / 1000 <= far)])
    room = 0.06 * (high - low)
    return low - room, high + room


def _panel(
    name: str,
    curve: tuple[Floats, Floats],
    levels: tuple[Level, ...],
    ends: tuple[float, float],
    scale: tuple[float, float],
    second: tuple[str, float, float],
) -> Panel:
    """Return a panel in the unit of which a kPa is `scale[0]`, counted from `scale[1]`."""
    factor, offset = scale
    low, high = (end * factor + offset for end in ends)
    return Panel(name, curve[0], curve[1] * factor + offset, levels, low, high, second)


def _integral(curve: tuple[Floats, Floats], settings: Settings) -> Panel:
    share = 100.0 * settings.values[ranges.RELOAD_FRACTION] / ranges.ONE
    full = Level("trip delay", 100.0, f"trip delay {settings.values[ranges.TRIP_DELAY] / 1000:g} s")
    return Panel("integral %", *curve, (full, Level("reload guard", share, f"reload guard {share:.0f} %")), 0.0, 108.0)


def _unread(trace: Trace, settings: Settings) -> NDArray[np.bool_]:
    """Tell which rows have a pressure that is missing or beyond its sensor's range."""
    values, shared = settings.values, trace.crankcase_pa is trace.suction_pa
    lost = np.zeros(len(trace), dtype=bool)
    for pascals, least, most in (
        (trace.oil_pa, ranges.OIL_LEAST, ranges.OIL_MOST),
        (trace.suction_pa, ranges.SUCTION_LEAST, ranges.SUCTION_MOST),
        *([] if shared else [(trace.crankcase_pa, ranges.SUCTION_LEAST, ranges.SUCTION_MOST)]),
    ):
        if len(trace) and (pascals.min() < values[least] or pascals.max() > values[most]):
            lost |= (pascals < values[least]) | (pascals > values[most])
    return lost


def _margins(windows: Sequence[MustTrip], stops_s: list[float]) -> Iterator[tuple[float, float]]:
    """Yield from the first stop in each window to its deadline; of an early stop there is no margin."""
    for number, window in enumerate(windows):
        if number == 0 and stops_s and stops_s[0] < window.earliest_s:
            continue
        first = next((at for at in stops_s if window.earliest_s <= at <= window.deadline_s), None)
        if first is not None:
            yield first, window.deadline_s


def _marks(trace: Trace, stops: tuple[Stop, ...], entry: Entry | None) -> Iterator[Mark]:
    windows = entry.windows if entry is not None else ()
    for number, window in enumerate(windows, start=1):
        which = f" {number}" if len(windows) > 1 else ""
        for key, second in window.as_table().items():
            kind = key.removesuffix("_s")
            yield Mark(kind, second, kind + which)
    for stop in stops:
        yield Mark("stop", trace.seconds(stop.time_ms), f"stop, {told_cause(stop.cause)}")


def named_marks(
    shown: Picture, left_of: Callable[[float], float], letter: float, rows: int
) -> list[tuple[Mark, str, int | None]]:
    """Return the marks within the trace with their names and the row each name has room in, None where there is none.

    left_of: place of a time (s) along the drawing, letter: width of a letter there. Stops give way to the window: they
    lose their cause first.
    """
    unit, size = time_axis(shown.end_s - shown.begin_s)
    inside = [mark for mark in shown.marks if shown.begin_s <= mark.at_s <= shown.end_s]
    places = [f"{mark.at_s / size:.{1 if size == 1 else 2}f} {unit}" for mark in inside]
    whole = [f"{mark.text} {place}" for mark, place in zip(inside, places, strict=True)]
    short = [f"{mark.kind if mark.kind == 'stop' else mark.text} {at}" for mark, at in zip(inside, places, strict=True)]
    names = whole
    lefts = [left_of(mark.at_s) for mark in inside]
    window = [at for at, mark in enumerate(inside) if mark.kind != "stop"]
    stops = [at for at, mark in enumerate(inside) if mark.kind == "stop"]
    found: dict[int, int | None] = {}
    for many, names in (
        (len(stops), whole),
        (2 * rows, whole),
        (1, whole),
        (len(stops), short),
        (1, short),
        (0, whole),
    ):
        wanted = window + stops[:many]
        spans = [(lefts[at], lefts[at] + letter * (len(names[at]) + 2)) for at in wanted]
        found = dict(zip(wanted, in_rows(spans, rows), strict=True))
        if all(found[at] is not None for at in window):
            break
    return [(mark, names[at], found.get(at)) for at, mark in enumerate(inside)]
