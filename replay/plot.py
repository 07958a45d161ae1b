"""One trace as a picture: net oil pressure, suction pressure, time-delay integral and states over one time axis.

Lines are told apart by dash and label as well as by colour, so that a print in grey
and a colour-blind reader lose nothing. Lines break where nothing was read. Colours:
Okabe and Ito, Color Universal Design (from memory).
"""

import re
from collections.abc import Iterable
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from protect import ranges, state
from replay.engine import STATES, Trail, follow
from replay.errors import refusal
from replay.files import check_writable, write_whole
from replay.library import Entry, Library, MustTrip
from replay.settings import Settings
from replay.trace import Trace, read_trace
from replay.units import PSI_PA, STANDARD_ATMOSPHERE_PA, atmosphere_pa

FORMATS = (".png", ".svg", ".pdf")
BLACK, ORANGE, BLUE, GREEN, RED = "#000000", "#e69f00", "#0072b2", "#009e73", "#d55e00"
# Shade of each state and the hatch that tells it apart in grey.
SHADES = {
    state.STOPPED: ("#ffffff", ""),
    state.PRIMING: ("#cfe5f2", ""),
    state.LUBRICATED: ("#8fd0ba", ""),
    state.STARVED: ("#f5d08a", "//"),
    state.TRIPPED: ("#eaa27a", "xx"),
    state.LOCKED_OUT: ("#9a9a9a", "xxx"),
}
LEAST_LABEL = 0.05  # share of the time axis that a state needs for its name


def check_plot(path: Path) -> None:
    """Refuse an output that cannot be drawn or written, before any work is done for it."""
    if path.suffix.lower() not in FORMATS:
        raise refusal(path, "", "no picture of this kind is drawn", "a name that ends in " + ", ".join(FORMATS))
    check_writable(path)


def save_plot(path: Path, trace: Trace, settings: Settings, entry: Entry | None = None) -> None:
    """Draw a trace under these settings, with its label if an entry is given. Raises Refusal."""
    check_plot(path)
    import matplotlib as mpl

    form = path.suffix.lower()[1:]
    # Neither dates nor random names in the file: the same trace and settings give the same picture.
    stamp = {"png": {"Software": None}, "svg": {"Date": None}, "pdf": {"CreationDate": None}}[form]
    with mpl.rc_context({"svg.hashsalt": "lubetrip"}):
        figure = draw(trace, settings, follow(trace, settings), entry)
        write_whole(path, lambda stream: figure.savefig(stream, format=form, dpi=110, metadata=stamp))


def plot_names(library: Library, ids: Iterable[str]) -> dict[str, str]:
    """Return a file name for the plot of each of some traces of a library: its number there and its id."""
    numbers = {entry.id: number for number, entry in enumerate(library.entries, start=1)}
    return {identity: f"{numbers[identity]:04d}-{re.sub(r'[^A-Za-z0-9.-]+', '-', identity)}.png" for identity in ids}


def save_plots(folder: Path, library: Library, settings: Settings, ids: Iterable[str]) -> dict[str, str]:
    """Draw some traces of a library into a folder, made if need be; return their paths by id. Raises Refusal."""
    try:
        folder.mkdir(exist_ok=True)
    except OSError as error:
        raise refusal(folder, "", f"cannot be made ({error.strerror})", "a folder, or a name for one") from None
    entries = {entry.id: entry for entry in library.entries}
    paths = {identity: folder / name for identity, name in plot_names(library, ids).items()}
    for identity, path in paths.items():
        save_plot(path, read_trace(entries[identity].path), settings, entries[identity])
    return {identity: str(path) for identity, path in paths.items()}


def draw(trace: Trace, settings: Settings, trail: Trail, entry: Entry | None) -> Any:
    """Return the figure."""
    from matplotlib.figure import Figure

    figure = Figure(figsize=(11, 8), layout="constrained")
    parts = figure.subplots(4, 1, sharex=True, height_ratios=(4, 3, 2, 1))
    seconds = trace.start_s + trace.time_ms / 1000.0
    gaps = np.flatnonzero(np.diff(trace.time_ms) > settings.values[ranges.MAX_GAP]) + 1
    net, suction, integral, band = parts
    _net(net, seconds, trace, settings, gaps)
    _suction(suction, seconds, trace, settings, gaps)
    _integral(integral, seconds, trail, gaps)
    _states(band, seconds, trail)
    for axes in parts:
        _marks(axes, trace, trail, entry)
        axes.set_xlim(seconds[0], seconds[-1])
        axes.margins(x=0)
    parts[0].set_title(_title(trace, settings, entry), loc="left", fontsize=10)
    band.set_xlabel("time s")
    return figure


def _title(trace: Trace, settings: Settings, entry: Entry | None) -> str:
    from replay.display import label_text

    label = f"; {label_text(entry)}" if entry else ""
    return f"{trace.name}{label}\nsettings {Path(settings.file).name}, digest {settings.digest[:12]}"


def _broken(values: NDArray[np.float64], gaps: NDArray[np.int64]) -> NDArray[np.float64]:
    """Return values with a break at each gap."""
    values = values.copy()
    values[gaps] = np.nan
    return values


def _pressure(pascals: NDArray[np.int64]) -> NDArray[np.float64]:
    return np.where(pascals == ranges.NO_READING, np.nan, pascals / 1000.0)


def _line(axes: Any, kpa: float, text: str, colour: str, dash: Any) -> None:
    """Draw a level and name it at the right, where no curve begins."""
    axes.axhline(kpa, color=colour, linestyle=dash, linewidth=1.1)
    axes.annotate(
        text,
        xy=(0.995, kpa),
        xycoords=("axes fraction", "data"),
        ha="right",
        va="bottom",
        fontsize=8,
        color=colour,
    )


def _net(axes: Any, seconds: NDArray[np.float64], trace: Trace, settings: Settings, gaps: NDArray[np.int64]) -> None:
    values = settings.values
    curve = _broken(_pressure(trace.oil_pa) - _pressure(trace.crankcase_pa), gaps)
    axes.axhspan(values[ranges.CUT_OUT] / 1000, values[ranges.CUT_IN] / 1000, color=GREEN, alpha=0.12, linewidth=0)
    axes.plot(seconds, curve, color=BLACK, linewidth=0.9)
    _line(axes, values[ranges.CUT_IN] / 1000, "cut-in", GREEN, "--")
    _line(axes, values[ranges.CUT_OUT] / 1000, "cut-out", ORANGE, "-.")
    _line(axes, values[ranges.FLOOR] / 1000, "floor", RED, ":")
    axes.set_ylabel("net oil pressure kPa")
    low = min(0.0, float(np.nanmin(curve)) if np.isfinite(curve).any() else 0.0)
    high = float(np.nanmax(curve)) if np.isfinite(curve).any() else 0.0
    axes.set_ylim(max(low, -50.0) - 5.0, max(high, values[ranges.CUT_IN] / 1000) * 1.08)
    psi = axes.secondary_yaxis("right", functions=(lambda kpa: kpa * 1000 / PSI_PA, lambda p: p * PSI_PA / 1000))
    psi.set_ylabel("psi")


def _suction(
    axes: Any, seconds: NDArray[np.float64], trace: Trace, settings: Settings, gaps: NDArray[np.int64]
) -> None:
    atmosphere = atmosphere_pa(settings.altitude_m) / 1000
    axes.plot(seconds, _broken(_pressure(trace.suction_pa), gaps), color=BLUE, linewidth=0.9)
    _line(axes, settings.values[ranges.VACUUM] / 1000, "vacuum", RED, ":")
    if settings.values[ranges.RELOAD] <= 3 * STANDARD_ATMOSPHERE_PA:
        _line(axes, settings.values[ranges.RELOAD] / 1000, "reload", ORANGE, "-.")
    axes.set_ylim(bottom=0)
    axes.set_ylabel("suction kPa abs")
    gauge = axes.secondary_yaxis("right", functions=(lambda kpa: kpa - atmosphere, lambda kpa: kpa + atmosphere))
    gauge.set_ylabel(f"kPa gauge at {settings.altitude_m:g} m")


def _integral(axes: Any, seconds: NDArray[np.float64], trail: Trail, gaps: NDArray[np.int64]) -> None:
    axes.plot(seconds, _broken(trail.integral_percent, gaps), color=BLACK, linewidth=0.9)
    axes.fill_between(seconds, 0, _broken(trail.integral_percent, gaps), color=ORANGE, alpha=0.35, linewidth=0)
    axes.axhline(100, color=RED, linestyle=":", linewidth=1.1)
    axes.set_ylim(0, 112)
    axes.set_ylabel("integral %\nof trip delay")


def _states(axes: Any, seconds: NDArray[np.float64], trail: Trail) -> None:
    """Draw the band of states; a name stands where there is room, and shade and hatch everywhere."""
    starts = np.flatnonzero(np.diff(trail.states, prepend=-1))
    ends = np.append(starts[1:], len(seconds) - 1)
    span = seconds[-1] - seconds[0]
    for begin, end in zip(starts.tolist(), ends.tolist(), strict=True):
        name = int(trail.states[begin])
        shade, hatch = SHADES[name]
        left, width = seconds[begin], seconds[end] - seconds[begin]
        axes.axvspan(left, left + width, facecolor=shade, edgecolor="#555555", hatch=hatch, linewidth=0.4)
        if width >= LEAST_LABEL * span:
            words = STATES[name].replace("_", " ")
            box = {"facecolor": "white", "alpha": 0.8, "edgecolor": "none", "pad": 1}
            axes.text(left + width / 2, 0.5, words, ha="center", va="center", fontsize=8, bbox=box)
    axes.set_ylim(0, 1)
    axes.set_yticks([])
    axes.set_ylabel("state")


def _marks(axes: Any, trace: Trace, trail: Trail, entry: Entry | None) -> None:
    """Mark stops, and the window of a must-trip label."""
    top = axes.get_subplotspec().is_first_row()
    marks = [(trace.seconds(stop.time_ms), "stop", RED, "-") for stop in trail.stops]
    if entry is not None and isinstance(entry.label, MustTrip):
        marks += [(entry.label.earliest_s, "earliest", BLUE, "--"), (entry.label.deadline_s, "deadline", BLACK, "--")]
    for at, text, colour, dash in marks:
        axes.axvline(at, color=colour, linestyle=dash, linewidth=1.1)
        if top:
            place = ("data", "axes fraction")
            box = {"facecolor": "white", "alpha": 0.8, "edgecolor": "none", "pad": 0.5}
            turned = {"rotation": 90, "ha": "right", "va": "top", "fontsize": 8, "color": colour, "bbox": box}
            axes.annotate(text, xy=(at, 0.98), xycoords=place, annotation_clip=True, **turned)
