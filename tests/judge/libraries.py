"""Libraries and settings drawn for the second account: faults of all outcomes, upsets, bands, restarts, doubts, presses."""

from pathlib import Path

import numpy as np
from hypothesis import strategies as st

from tests.conftest import SETTINGS

STEP_S = 2.5
LEVELS = {"healthy": 120.0, "weak": 50.0, "dry": 5.0, "between": 70.0}
OILLESS = ("dry", "weak", "not read")
FAMILIES = ("alpha", "beta", "oil-Sensor")


def trace_text(course: list[tuple[str, int]], begin_s: float, seed: int, *, reset: bool) -> str:
    """Return a trace of stretches (kind, rows), with noise that no two seeds share."""
    draw = np.random.default_rng(seed)
    lines = ["time_s,oil_pressure_kpa,suction_pressure_kpa,running" + ",reset" * reset]
    time = begin_s
    for kind, count in [("healthy", 4), *course]:
        for row in range(count):
            time += 40.0 if kind == "late" and row == 0 else STEP_S
            suction = (60.0 if kind == "vacuum" else 300.0) + draw.uniform(-0.4, 0.4)
            runs = int(kind not in ("standing", "pressed"))
            net = LEVELS.get(kind, LEVELS["healthy"] if runs else 0.0) + draw.uniform(-0.4, 0.4)
            oil = "" if kind == "not read" else f"{suction + net:.3f}"
            line = f"{time:.3f},{oil},{suction:.3f},{runs}"
            lines.append(line + (f",{int(kind == 'pressed' and row % 40 > 1)}" if reset else ""))
    return "\n".join(lines) + "\n"


KINDS = st.sampled_from(
    ["healthy", "healthy", "dry", "dry", "weak", "between", "standing", "pressed", "late", "not read", "vacuum"]
)
STRETCH = st.tuples(KINDS, st.sampled_from([2, 5, 12, 24, 30, 60, 130]))


@st.composite
def labels(draw: st.DrawFn, course: list[tuple[str, int]], begin_s: float, kind: str) -> str:
    """Draw a label of this kind within a trace, its windows most often where the oil fails."""
    rows = 4 + sum(count for _, count in course)
    end_s = begin_s + STEP_S * rows
    if kind == "undecided":
        return "undecided = true"
    starts = [begin_s + STEP_S * (4 + sum(c for _, c in course[:n])) for n, (k, _) in enumerate(course) if k in OILLESS]
    pick = st.sampled_from
    windows: list[list[float]] = []
    for start in starts or [begin_s + draw(st.integers(0, 60))]:
        steps = [draw(pick([20, 45, 60, 90, 200, 500])), draw(pick([1, 20, 90])), draw(pick([1, 50, 300]))]
        edges = [start + draw(pick([-STEP_S, 0.0, 7.0])), *steps[: draw(st.integers(1, 3))]]
        window = [round(sum(edges[: n + 1]), 1) for n in range(len(edges))]
        if window[-1] < end_s and (not windows or window[0] > windows[-1][-1]):
            windows.append(window)
    windows = windows[: draw(st.integers(1, 2))] or [[begin_s + 1.0, end_s - 1.0]]
    if kind == "ride_through":
        within = [(max(since, begin_s + STEP_S), until) for since, until, *_ in windows]
        upsets = (
            f"\nupsets = [{', '.join(f'[{since}, {until}]' for since, until in within)}]" if draw(st.booleans()) else ""
        )
        return "ride_through = true" + upsets
    keys = ("earliest_s", "deadline_s", "likely_s", "latest_s")
    tables = ["{ " + ", ".join(f"{k} = {v}" for k, v in zip(keys, part, strict=False)) + " }" for part in windows]
    return f"must_trip = {tables[0]}" if len(tables) == 1 else f"must_trip = [ {', '.join(tables)} ]"


@st.composite
def words(draw: st.DrawFn, label: str) -> str:
    """Draw what reviewers say of a trace, so that it comes to its label: nothing, the same, or two who differ."""
    same = [f'{{ by = "r{n}", on = 2026-01-0{n}, {label.splitlines()[0]}' for n in (1, 2)]
    if label == "undecided = true":
        same[1] = '{ by = "r2", on = 2026-01-02, ride_through = true'
    found = ', inspection = "dry"' if draw(st.sampled_from([False, False, True])) else ""
    told = same if label == "undecided = true" else same[: draw(st.integers(1, 2))]
    return f"labels = [ {', '.join(f'{one}{found} }}' for one in told)} ]\n" if draw(st.booleans()) else ""


@st.composite
def libraries(draw: st.DrawFn) -> dict[str, str]:
    """Draw the files of a library and its settings: at least a fault and a trace that rides through, the first two."""
    text, files, labelled = 'settings = "settings.toml"\n', dict[str, str](), dict[str, str]()
    kinds = [
        "must_trip",
        "ride_through",
        *draw(st.lists(st.sampled_from(["must_trip", "ride_through", "ride_through", "undecided"]), max_size=4)),
    ]
    faults, told = set(), list[tuple[list[tuple[str, int]], float, str]]()
    for number, kind in enumerate(kinds):
        course = draw(st.lists(STRETCH, min_size=1, max_size=6))
        begin_s = draw(st.sampled_from([0.0, -30.0, 1000.0]))
        seed, reset = draw(st.integers(0, 10**6)) * 10 + number, draw(st.booleans())
        content, label = trace_text(course, begin_s, seed, reset=reset), ""
        if number > 1 and draw(st.sampled_from([False, False, True])):  # the same bytes as another one
            course, begin_s, twin = draw(st.sampled_from(told))
            content, label = files[f"{twin}.csv"], draw(st.sampled_from(["", labelled[twin]]))
        labelled[f"t{number}"] = label = label or draw(labels(course, begin_s, kind))
        files[f"t{number}.csv"] = content
        told.append((course, begin_s, f"t{number}"))
        family = draw(st.sampled_from(FAMILIES))
        faults |= {family} if label.startswith("must_trip") else set()
        machine = draw(st.sampled_from([f"m{number}", "K1", "k1"]))
        text += f'[[trace]]\nid = "t{number}"\nfile = "t{number}.csv"\nfamily = "{family}"\nmachine = "{machine}"\n'
        if draw(st.sampled_from([True, True, False])):  # recordings of one machine may overlap
            second = draw(st.sampled_from([0, 7, 40, 59]))
            text += f"start_utc = 2026-01-01T00:0{draw(st.sampled_from([0, 0, 0, 2]))}:{second:02d}Z\n"
        origin = draw(st.sampled_from(["synthetic: drawn", "recorded: drawn"]))
        text += f'oil = "o"\norigin = "{origin}"\n{label}\n{draw(words(label))}'
    if draw(st.booleans()):
        text += "[mix]\n" + "".join(f"{name} = {draw(st.sampled_from([0.5, 1.0, 3.0]))}\n" for name in sorted(faults))
    return {"library.toml": text, "settings.toml": draw(settings_texts()), **files}


@st.composite
def settings_texts(draw: st.DrawFn) -> str:
    """Draw a settings file: delays that end within the traces, acceptance with and without confidence."""
    text = SETTINGS.replace('trip_delay = "60 s"', f'trip_delay = "{draw(st.sampled_from([20, 45, 90]))} s"')
    text = text.replace('restart_delay = "60 s"', f'restart_delay = "{draw(st.sampled_from([30, 60, 400]))} s"')
    text = text.replace("trips_to_lockout = 3", f"trips_to_lockout = {draw(st.sampled_from([1, 2, 5]))}")
    head = text.split("[acceptance]")[0]
    rules = {
        "max_missed": draw(st.sampled_from([0, 1, 9])),
        "max_nuisance_per_1000h": draw(st.sampled_from([0.0, 900.0, 1e6])),
        "min_margin": f'"{draw(st.sampled_from([0, 10, 30]))} s"',
    }
    if draw(st.booleans()):
        rules["confidence"] = draw(st.sampled_from([0.5, 0.8, 0.95]))
        rules["max_missed_probability"] = draw(st.sampled_from([0.1, 0.6, 0.97, 0.9999]))
        rules["min_margin_coverage"] = draw(st.sampled_from([0.0001, 0.3, 0.9]))
        if draw(st.booleans()):
            rules["max_nuisance_probability"] = draw(st.sampled_from([0.2, 0.9999]))
    return f"{head}[acceptance]\n" + "".join(f"{key} = {value}\n" for key, value in rules.items())


def written(files: dict[str, str], folder: Path) -> Path:
    """Write the files of a library."""
    folder.mkdir(parents=True, exist_ok=True)
    for name, text in files.items():
        (folder / name).write_text(text, encoding="utf-8")
    return folder
