"""Make the pictures of the documents, and the table of settings in `protect/README.md`: python -m tests.pictures.

    replay/guides/trace.svg       one starved spell: dip, integral, stop, deadline, margin
    replay/guides/weights.svg     how fast the integral fills, against net oil pressure
    replay/guides/states.svg      the state diagram, of the rows of protect/table.py
    replay/guides/year.svg        a machine-year of the demo site, of what `tests.campaigns years --picture` kept
    protect/README.md             every setting with its range

The trace is drawn by hand and runs through the logic with the settings of the demo site, so a new demo library changes
nothing here. `tests/house/test_pictures.py` holds all of them current.
"""

import json
import math
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from protect import ranges
from protect.integral import weight
from replay.drawing import svg
from replay.drawing.diagram import diagram_svg
from replay.drawing.looks import BAND, BLUE, CURVE, DANGER, FILL, GREEN, GREY, HOLD, INK, PURPLE, VERMILLION
from replay.drawing.svg import Scale
from replay.engine.portable import Machine
from replay.ground.shown import US
from replay.ground.wording import percent
from replay.settings import Settings, read_settings
from replay.settings.file import KEYS, accepted_values, in_file_terms, names_of
from replay.trace import Trace

ROOT = Path(__file__).parents[1]
GUIDES = ROOT / "replay" / "guides"
LEFT, RIGHT, WIDTH = 78.0, 690.0, 780.0
DRY_S, DEADLINE_S, END_S = 40, 195, 240  # suction begins to fall; the bearings would be spoilt; the drawing ends
BIG = 11.5


def settings() -> Settings:
    """Return the settings of the demo site."""
    return read_settings(ROOT / "fixtures" / "settings.toml")


def starved() -> Trace:
    """Return the trace that is drawn: suction falls, oil pressure pulses, comes back for a moment, stays away."""
    seconds = np.arange(0, END_S + 0.5, 0.5)
    since = np.maximum(seconds - DRY_S, 0)
    suction = 101_325 + 190_000 * np.exp(-since / 16) - 45_000 * (1 - np.exp(-since / 30))
    net = 138_000 * np.exp(-((since / 14) ** 1.4)) + 20_000 * (1 - np.exp(-since / 12))
    net += 45_000 * np.exp(-(((since - 41) / 4.5) ** 2)) + 5_000 * np.sin(since / 2.4) * np.exp(
        -(((since - 25) / 12) ** 2)
    )
    net += 700 * np.sin(seconds * 2.1)  # pressures of a running machine never stand still
    suction += 400 * np.sin(seconds * 1.3)
    columns = {"time_s": seconds, "oil_pressure_kpa": (suction + net) / 1000, "suction_pressure_kpa": suction / 1000}
    return Trace.from_dataframe(pd.DataFrame({**columns, "running": 1}))


def trace_picture() -> str:
    """Return one starved spell with its names."""
    site, trace = settings(), starved()
    trail = Machine(site).follow(trace)
    stop_s = trail.stops[0].time_ms / 1000
    named = site.named
    root = svg.drawing(
        WIDTH,
        372,
        "One trace: suction falls, net oil pressure drops below cut-out, the integral fills, the machine is stopped "
        f"{stop_s:g} s after the start of the drawing, {DEADLINE_S - stop_s:g} s before the damage deadline.",
    )
    time = Scale(0, END_S, LEFT, RIGHT)
    seconds = trace.time_ms / 1000
    net = (trace.oil_pa - trace.crankcase_pa) / US.size_pa
    nets, fills = Scale(0, 22, 216, 40), Scale(0, 108, 330, 236)
    cut_in, cut_out, floor = (named[name] / US.size_pa for name in ("cut_in", "cut_out", "floor"))
    below = seconds[net < cut_out]
    svg.box(root, (LEFT, nets.at(cut_in), RIGHT - LEFT, nets.at(cut_out) - nets.at(cut_in)), HOLD)
    svg.box(root, (time.at(stop_s), 40, time.at(DEADLINE_S) - time.at(stop_s), 290), BAND)
    integral = np.asarray(trail.integral_percent, dtype=float)
    running = seconds <= stop_s
    places = " ".join(
        f"{x:.1f},{y:.1f}" for x, y in zip(time.at(seconds[running]), fills.at(integral[running]), strict=True)
    )
    area = f"{LEFT:.1f},330 {places} {time.at(stop_s):.1f},330"
    svg.ET.SubElement(root, "polygon", {"points": area, "fill": FILL})
    svg.curve(root, time.at(seconds), nets.all_at(net), CURVE, 1.6)
    svg.curve(root, time.at(seconds[running]), fills.at(integral[running]), CURVE, 1.6)
    for level, colour, name in ((cut_out, VERMILLION, "cut-out"), (floor, PURPLE, "floor"), (cut_in, GREEN, "cut-in")):
        svg.line(root, (LEFT, nets.at(level), RIGHT, nets.at(level)), colour, 1.4, (7, 3))
        svg.text(root, RIGHT + 6, nets.at(level) + (9 if name == "floor" else 3), f"{name} {level:.1f}", size=BIG)
    svg.line(root, (LEFT, fills.at(100), RIGHT, fills.at(100)), VERMILLION, 1.2)
    svg.text(root, RIGHT + 6, fills.at(100) + 4, "full: stop", size=BIG)
    for at, colour, width, name, anchor, beside in (
        (stop_s, VERMILLION, 2.0, f"stop at {stop_s:g} s", "end", -5),
        (DEADLINE_S, INK, 2.0, "damage deadline", "start", 5),
    ):
        svg.line(root, (time.at(at), 26, time.at(at), 330), colour, width)
        svg.text(root, time.at(at) + beside, 34, name, anchor, BIG)
    middle = (time.at(stop_s) + time.at(DEADLINE_S)) / 2
    svg.text(root, middle, 128, "margin", "middle", BIG)
    svg.text(root, middle, 143, f"{DEADLINE_S - stop_s:g} s", "middle", BIG)
    svg.line(root, (time.at(stop_s) + 2, 150, time.at(DEADLINE_S) - 2, 150), INK, 1.4)
    svg.text(root, time.at(float(below[0])) + 20, 209, "dip", "middle", BIG)
    svg.text(root, time.at(DRY_S) - 6, 92, "suction falls", "end", BIG)
    svg.line(root, (time.at(DRY_S), 62, time.at(DRY_S), 96), BLUE, 1.6)
    svg.text(root, LEFT + 90, 300, "time-delay integral", "middle", BIG)
    for top, bottom in ((40.0, 216.0), (236.0, 330.0)):
        svg.box(root, (LEFT, top, RIGHT - LEFT, bottom - top), "none", INK)
    svg.beside(root, nets, LEFT, "net oil pressure psi", (0, 5, 10, 15, 20), 40)
    svg.beside(root, fills, LEFT, "integral %", (0, 50, 100), 40)
    svg.below(root, time, 330, "time s", range(0, END_S + 1, 40))
    return svg.markup(root) + "\n"


def weights_picture() -> str:
    """Return how fast the integral fills or drains, against net oil pressure, outside and inside vacuum."""
    site = settings()
    named = site.named
    cut_in, cut_out, floor = (named[name] / US.size_pa for name in ("cut_in", "cut_out", "floor"))
    root = svg.drawing(
        WIDTH,
        272,
        f"Weight against net oil pressure: {named['floor_weight'] / ranges.ONE:g} below the floor of {floor:.1f} psi, falling"
        f" to 1 at cut-out, {cut_out:.1f} psi, 0 up to cut-in, {cut_in:.1f} psi, then"
        f" {-named['recovery'] / ranges.ONE:g}: the integral drains.",
    )
    pressure, fills = Scale(0, 12, LEFT, RIGHT), Scale(-5, 6, 222, 18)
    for begin, end, shade in ((0, cut_out, "#fbe9dd"), (cut_out, cut_in, HOLD), (cut_in, 12, "#e4eef6")):
        svg.box(root, (pressure.at(begin), 18, pressure.at(end) - pressure.at(begin), 204), shade)
    svg.line(root, (LEFT, fills.at(0), RIGHT, fills.at(0)), INK, 0.8)
    pascals = np.arange(0, round(12 * US.size_pa), 20)
    weights = np.array([weight(list(site.values), int(net), 300_000) / ranges.ONE for net in pascals])
    svg.curve(root, pressure.at(pascals / US.size_pa), fills.at(weights), VERMILLION, 2.2)
    for at, name in ((floor, "floor"), (cut_out, "cut-out"), (cut_in, "cut-in")):
        svg.line(root, (pressure.at(at), 18, pressure.at(at), 222), INK, 1.0, (4, 3))
        svg.text(root, pressure.at(at), 13, name, "end" if name == "floor" else "start", BIG)
    svg.text(root, pressure.at(2.2), 70, "no oil reaches the crankpins:", "middle", BIG)
    svg.text(root, pressure.at(2.2), 86, "fills fastest", "middle", BIG)
    svg.text(root, pressure.at((cut_out + cut_in) / 2), 105, "holds", "middle", BIG)
    svg.text(root, pressure.at(9.8), 160, "healthy: drains", "middle", BIG)
    svg.box(root, (LEFT, 18, RIGHT - LEFT, 204), "none", INK)
    svg.beside(root, fills, LEFT, "weight", (-4, -2, 0, 2, 4), 40)
    svg.below(root, pressure, 222, "net oil pressure psi", range(0, 13, 2))
    return svg.markup(root) + "\n"


# What an owner asks of a year: figure of the forecast, words, colour; None: a heading.
YEAR_ROWS: tuple[tuple[str | None, str, str], ...] = (
    (None, "Stops", INK),
    ("nuisance_stops", "nuisance trips", VERMILLION),
    ("justified_stops", "justified: it would be lost", GREEN),
    ("doubtful_stops", "in doubt", PURPLE),
    ("sensor_stops", "on a failed sensor", GREY),
    (None, "Machines lost", INK),
    ("lost_without", "without protection", DANGER),
    ("lost_with", "with it", BLUE),
)
LARGE, ROW, YEAR_WIDTH, LEAST_RATE, MOST_RATE = 13.5, 27.0, 730.0, 1e-4, 10.0
SELDOM = 0.5  # a year: what is rarer is told as once in so many years


def year_told() -> dict[str, Any]:
    """Return what the long campaign found of a year."""
    return dict(json.loads((ROOT / "tests" / "year.json").read_text(encoding="utf-8")))


def in_words(rate: list[float]) -> str:
    """Return a rate a year with its limits as an owner would say it."""
    value, lower, upper = rate
    if value >= SELDOM:
        return f"{value:.1f} a year ({lower:.1f} to {upper:.1f})"
    few, many = f"{1 / upper:.2g}", "never" if lower <= 0.0 else f"{1 / lower:.2g}"
    if value <= 0.0:
        return f"none seen; at most once in {float(few):g} years"
    return f"once in {float(f'{1 / value:.2g}'):g} years ({float(few):g} to {many if lower <= 0.0 else f'{float(many):g}'})"


def year_picture() -> str:
    """Return a machine-year: stops by what they were, machines lost without and with, each with its limits."""
    told = year_told()
    rates = told["per_machine_year"]
    without, with_it = (in_words(rates[figure]) for figure in ("lost_without", "lost_with"))
    words = (
        f"One machine-year of the demo site, from {told['machine_years']:.0f} simulated: nuisance trips "
        f"{in_words(rates['nuisance_stops'])}, justified stops {in_words(rates['justified_stops'])}; a machine lost "
        f"without protection {without}, with it {with_it}."
    )
    top, left, right = 34.0, 204.0, 440.0
    bottom = top + ROW * len(YEAR_ROWS)
    root = svg.drawing(YEAR_WIDTH, bottom + 46, words)
    often = Scale(math.log10(LEAST_RATE), math.log10(MOST_RATE), left, right)

    def place(rate: float) -> float:
        return often.at(math.log10(min(max(rate, LEAST_RATE), MOST_RATE)))

    title = f"One machine-year of the demo site, from {told['machine_years']:.0f} simulated"
    svg.text(root, 14, 20, title, size=LARGE + 1)
    for tick in (0.001, 0.01, 0.1, 1, 10):
        svg.line(root, (place(tick), top, place(tick), bottom), "#d8d8d8")
    for number, (figure, name, colour) in enumerate(YEAR_ROWS):
        y = top + ROW * (number + 0.5)
        svg.text(root, 14 if figure is None else 26, y + 4.5, name, size=LARGE)
        if figure is None:
            continue
        value, lower, upper = rates[figure]
        svg.line(root, (place(lower), y, place(upper), y), colour, 3)
        if value > 0.0:
            at = {"cx": f"{place(value):.1f}", "cy": f"{y:.1f}", "r": "6", "fill": colour}
            svg.ET.SubElement(root, "circle", at)
        svg.text(root, right + 16, y + 4.5, in_words(rates[figure]), size=LARGE)
    ticks = ((0.0001, "1/10000"), (0.001, "1/1000"), (0.01, "1/100"), (0.1, "1/10"), (1, "1"), (10, "10"))
    svg.line(root, (left, bottom, right, bottom), INK)
    for tick, word in ticks:
        svg.line(root, (place(tick), bottom, place(tick), bottom + 4), INK)
        svg.text(root, place(tick), bottom + 18, word, "middle", BIG)
    svg.text(root, (left + right) / 2, bottom + 36, "times a machine-year", "middle", BIG)
    svg.text(root, right + 24, bottom + 18, f"bars: limits at {percent(told['confidence'])}", size=BIG)
    svg.text(root, right + 24, bottom + 36, "duty and rates of faults are assumed", size=BIG)
    return svg.markup(root) + "\n"


MEANING = {
    "cut_out": "below it the machine is short of oil and the integral fills",
    "cut_in": "at or above it the machine is healthy and the integral drains; between cut-out and cut-in it holds",
    "floor": "below it no oil reaches the crankpins: `lubetrip floor` works it out",
    "rest_most": "how far from zero net oil pressure may read at standstill",
    "trip_delay": "the full integral: after so long just below cut-out the machine stops",
    "floor_weight": "how many times faster the integral fills below the floor; from 1 at cut-out it rises evenly",
    "vacuum_weight": "a factor on that while suction is below `vacuum`",
    "recovery": "how fast a healthy machine drains the integral",
    "stopped_recovery": "how fast a stopped one does",
    "vacuum": "suction pressure below it counts as a vacuum",
    "reload": "suction pressure back at it after a vacuum loads the bearings again",
    "reload_fraction": "share of the trip delay from which a reload locks the machine out",
    "start_grace": "running after a start in which no deficit counts; standstill restores it",
    "restart_delay": "standstill after a stop before the machine may start again",
    "trips_to_lockout": "stops within `trip_memory` that lock out",
    "trip_memory": "how long stops and resets are remembered",
    "rest_settle": "standstill until the oil lines have drained",
    "reset_hold": "how long a reset has to be held",
    "resets_most": "resets allowed within `trip_memory`",
    "oil_range": "oil pressures that a sound transmitter can give",
    "suction_range": "the same for suction and crankcase pressure",
    "max_gap": "a reading older than this is missing",
    "stuck_after": "a reading that does not move for so long on a running machine is a stuck sensor",
    "fault_delay": "time with readings in doubt until the machine stops",
    "altitude": "altitude of the site, for the atmosphere that gauge pressures count from",
    "max_missed": "faults that may be missed",
    "max_nuisance_per_1000h": "nuisance trips in 1000 run hours",
    "min_margin": "time between the stop and the damage deadline",
    "confidence": "if given, limits are judged as well as counts",
    "max_missed_probability": "probability of missing a fault, at that confidence",
    "min_margin_coverage": "share of faults that leave `min_margin`",
    "max_nuisance_probability": "probability of a nuisance trip in an upset",
}
BEGIN, END = "<!-- made by python -m tests.pictures -->", "<!-- until here -->"


def settings_table() -> str:
    """Return every key of a settings file: what it means, what the demo site has, what is admitted."""
    site = settings()
    rows = ["| key | what it means | demo site | admitted |", "| --- | --- | --- | --- |"]
    text = (ROOT / "fixtures" / "settings.toml").read_text(encoding="utf-8")
    given = dict(line.partition("#")[0].strip().split(" = ") for line in text.splitlines() if " = " in line)
    for section, keys in KEYS.items():
        rows.append(f"| **[{section}]** | | | |")
        for key in keys:
            shown = given.get(key)
            if shown is None:
                names = [name for name in names_of(key) if name in site.named]
                shown = in_file_terms(section, ranges.SETTINGS[0][1], site.named[names[0]]) if names else ""
            rows.append(f"| `{key}` | {MEANING[key]} | {shown} | {accepted_values(section, key)} |")
    return "\n".join(rows) + "\n"


def made() -> dict[Path, str]:
    """Return what this makes, by file."""
    page = ROOT / "protect" / "README.md"
    before, _, rest = page.read_text(encoding="utf-8").partition(BEGIN)
    after = rest.partition(END)[2]
    return {
        GUIDES / "trace.svg": trace_picture(),
        GUIDES / "weights.svg": weights_picture(),
        GUIDES / "states.svg": diagram_svg() + "\n",
        GUIDES / "year.svg": year_picture(),
        page: f"{before}{BEGIN}\n{settings_table()}{END}{after}",
    }


if __name__ == "__main__":
    for path, text in made().items():
        path.write_text(text, encoding="utf-8")
