"""What there is to draw of one trace: thinned curves, levels, states, marks. How it looks is told elsewhere.

Times are in s of the trace's own time, pressures in kPa.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from protect import ranges, state
from replay.drawing.decimation import Floats, polyline, stretch_of
from replay.drawing.looks import in_rows, time_axis
from replay.engine import compiled, told_cause
from replay.engine.portable import Machine, Trail
from replay.ground.units import PSI_PA, STANDARD_ATMOSPHERE_PA, atmosphere_pa
from replay.ground.wording import kpa
from replay.library import Entry
from replay.settings import Settings
from replay.trace import Trace

STRETCHES = 2000  # about two for each dot of a screen
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
    one; unread: stretches in which a pressure was missing or out of its sensor's range; bands: of deadlines.
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


def picture(
    trace: Trace, settings: Settings, entry: Entry | None = None, trail: Trail | None = None, stretches: int = STRETCHES
) -> Picture:
    """Return what there is to draw; the logic is run over the trace unless its trail is given."""
    trail = trail or trail_of(trace, settings)
    seconds = trace.start_s + trace.time_ms / 1000.0
    gaps = np.flatnonzero(np.diff(trace.time_ms) > settings.values[ranges.MAX_GAP]) + 1
    lost = _unread(trace, settings)
    net, suction = net_kpa(trace), in_kpa(trace.suction_pa)
    hold = settings.values[ranges.CUT_OUT] / 1000, settings.values[ranges.CUT_IN] / 1000
    psi = ("psi", 1000 / PSI_PA, 0.0)
    gauge = (f"kPa gauge, {settings.altitude_m:g} m", 1.0, -atmosphere_pa(settings.altitude_m) / 1000)
    curve, under = (polyline(seconds, values, gaps, stretches) for values in (net, suction))
    over = _panel("net oil pressure kPa", curve, _levels(settings, "cut-in", "cut-out", "floor"), net[~lost], psi)
    beside = [Level("hold", sum(hold) / 2, "hold band")]
    if lost.any():
        beside.append(Level("unread", over.low, "no valid reading"))
    return Picture(
        name=trace.name,
        begin_s=float(seconds[0]),
        end_s=float(seconds[-1]),
        net=replace(over, levels=(*over.levels, *beside)),
        suction=_panel("suction kPa abs", under, _levels(settings, "reload", "vacuum"), suction[~lost], gauge),
        integral=_integral(seconds, trail, gaps, stretches, settings),
        hold=hold,
        spells={name: _stretches(seconds, trail.states == name, stretches) for name in range(state.LOCKED_OUT + 1)},
        unread=_stretches(seconds, lost, stretches),
        marks=tuple(_marks(trace, trail, entry)),
        bands=tuple((window.deadline_s, window.end_s) for window in (entry.windows if entry else ())),
    )


def trail_of(trace: Trace, settings: Settings) -> Trail:
    """Run the logic over a trace and keep every row, by the engine that is done soonest."""
    machine = compiled.machine(settings) if compiled.pays(len(trace)) else Machine(settings)
    return machine.follow(trace)


def in_kpa(pascals: NDArray[np.int64]) -> Floats:
    """Return pressures, int64[n] in Pa, as kPa float64[n], NaN where nothing was read."""
    return np.where(pascals == ranges.NO_READING, np.nan, pascals / 1000.0)


def net_kpa(trace: Trace) -> Floats:
    """Return the net oil pressure of every row in kPa, float64[n], NaN where a reading is missing."""
    return in_kpa(trace.oil_pa) - in_kpa(trace.crankcase_pa)


def _panel(
    name: str, curve: tuple[Floats, Floats], levels: tuple[Level, ...], real: Floats, second: tuple[str, float, float]
) -> Panel:
    """Return a panel whose axis holds nothing, every credible reading, and each level that lies not far above them."""
    real = np.append(real[np.isfinite(real)], 0.0)
    far = FAR * max(float(real.max()), STANDARD_ATMOSPHERE_PA / 1000)
    high = max([float(real.max()), LEAST_SPAN_KPA, *(level.value for level in levels if level.value <= far)])
    room = 0.06 * (high - float(real.min()))
    return Panel(name, *curve, levels, float(real.min()) - room, high + room, second)


def _levels(settings: Settings, *kinds: str) -> tuple[Level, ...]:
    levels = {kind: settings.values[PRESSURES[kind]] for kind in kinds}
    return tuple(Level(kind, pascals / 1000, f"{kind} {kpa(pascals)}") for kind, pascals in levels.items())


def _integral(seconds: Floats, trail: Trail, gaps: NDArray[np.int64], stretches: int, settings: Settings) -> Panel:
    x, y = polyline(seconds, trail.integral_percent, gaps, stretches)
    share = 100.0 * settings.values[ranges.RELOAD_FRACTION] / ranges.ONE
    full = Level("trip delay", 100.0, f"trip delay {settings.values[ranges.TRIP_DELAY] / 1000:g} s")
    return Panel("integral %", x, y, (full, Level("reload guard", share, f"reload guard {share:.0f} %")), 0.0, 108.0)


def _unread(trace: Trace, settings: Settings) -> NDArray[np.bool_]:
    """Tell which rows have a pressure that is missing or beyond its sensor's range."""
    values = settings.values
    lost = np.zeros(len(trace), dtype=bool)
    for pascals, least, most in (
        (trace.oil_pa, ranges.OIL_LEAST, ranges.OIL_MOST),
        (trace.suction_pa, ranges.SUCTION_LEAST, ranges.SUCTION_MOST),
        (trace.crankcase_pa, ranges.SUCTION_LEAST, ranges.SUCTION_MOST),
    ):
        lost |= (pascals < values[least]) | (pascals > values[most])
    return lost


def _stretches(seconds: Floats, there: NDArray[np.bool_], stretches: int) -> list[tuple[float, float]]:
    """Return (begin, end) of each run of rows that are there, joined where less than one stretch lies between.

    A row lasts until the next.
    """
    edges = np.flatnonzero(np.diff(there.astype(np.int8), prepend=0, append=0))
    begins, ends = edges[::2], np.minimum(edges[1::2], len(seconds) - 1)
    if len(begins) == 0:
        return []
    number = stretch_of(seconds, stretches)
    apart = number[begins[1:]] > number[ends[:-1]]
    begins, ends = begins[np.append(True, apart)], ends[np.append(apart, True)]
    return list(zip(seconds[begins].tolist(), seconds[ends].tolist(), strict=True))


def _marks(trace: Trace, trail: Trail, entry: Entry | None) -> Iterator[Mark]:
    windows = entry.windows if entry is not None else ()
    for number, window in enumerate(windows, start=1):
        which = f" {number}" if len(windows) > 1 else ""
        for key, second in window.as_table().items():
            kind = key.removesuffix("_s")
            yield Mark(kind, second, kind + which)
    for stop in trail.stops:
        yield Mark("stop", trace.seconds(stop.time_ms), f"stop, {told_cause(stop.cause)}")


def named_marks(
    shown: Picture, left_of: Callable[[float], float], letter: float, rows: int
) -> list[tuple[Mark, str, int | None]]:
    """Return the marks within the trace with their names and the row each name has room in, None where there is none.

    left_of: place of a time (s) along the drawing, letter: width of a letter there. Stops give way to the window.
    """
    unit, size = time_axis(shown.end_s - shown.begin_s)
    inside = [mark for mark in shown.marks if shown.begin_s <= mark.at_s <= shown.end_s]
    names = [f"{mark.text} {mark.at_s / size:.{1 if size == 1 else 2}f} {unit}" for mark in inside]
    lefts = [left_of(mark.at_s) for mark in inside]
    window = [at for at, mark in enumerate(inside) if mark.kind != "stop"]
    stops = [at for at, mark in enumerate(inside) if mark.kind == "stop"]
    found: dict[int, int | None] = {}
    for many in (len(stops), 2 * rows, 1, 0):
        wanted = window + stops[:many]
        spans = [(lefts[at], lefts[at] + letter * (len(names[at]) + 2)) for at in wanted]
        found = dict(zip(wanted, in_rows(spans, rows), strict=True))
        if all(found[at] is not None for at in window):
            break
    return [(mark, names[at], found.get(at)) for at, mark in enumerate(inside)]
