"""A page to label traces on: curves, what a bearing would have left, and the decisions of the logic only afterwards.

One file that works offline. It holds the traces of a queue, each thinned to MOST_ROWS rows and packed by itself, so
that a page of a thousand traces opens at once and unpacks the one that is looked at. What a reviewer says goes into a
file (`replay.library.label_files`), never into the library itself. Whatever could tell the label before it is given
(family, note, origin, what others say, the decisions of the logic) stands packed with the trace and is shown when it
is given; where reviewers differ and it is to be settled, what they say is shown at once.
"""

import base64
import dataclasses
import itertools
import json
import zlib
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from protect import ranges
from replay.engine import STATES, Engine, cause_words, engine_for
from replay.engine.causes import cause_of, doubts_of
from replay.engine.workers import Progress, quiet
from replay.ground.files import check_writable, write_text
from replay.ground.refusal import refusal
from replay.library import Entry, Library, entry_named, label_text, library_of, settings_of
from replay.library.digest import sha256_of
from replay.library.given import GivenLibrary, GivenSettings
from replay.library.label import words_of
from replay.library.label_files import SCHEMA
from replay.machine import MachineFile
from replay.page.bench import unit_factors
from replay.page.pages import page_from, script_safe
from replay.physics import MACHINES, OILS, REFRIGERANTS, Damage
from replay.physics.families import STOPPING_ALLOWANCE_S
from replay.physics.recorded import Assumed, Logged, RecordedBearings, SeveralBearings
from replay.settings import Settings
from replay.trace import AnyTrace, open_trace

SCRIPTS = ("units.js", "wording.js", "dom.js", "curves.js", "label_plot.js", "label_times.js", "label_page.js")
MOST_ROWS = 4000  # of a trace; the rest is thinned to its extremes
MOST_CHANGES = 400  # of the logic's decisions that are shown
UNLABELLED, SECOND, DIFFER, ALL = "unlabelled", "second", "differ", "all"
MEMBERS = 8  # of an ensemble, whose journals are driven by each trace
MACHINE, OIL, REFRIGERANT = "granite", "still-68", "R134a"  # assumed, where a log does not name one that is known

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class LabelPage:
    """A page that was made: its text, and how many traces it asks about."""

    text: str
    traces: int


def write_label_page(
    path: Path | str,
    library: GivenLibrary,
    settings: GivenSettings = None,
    *,
    queue: str = UNLABELLED,
    who: str | None = None,
    machine: MachineFile | None = None,
    ids: Sequence[str] = (),
    progress: Progress = quiet,
) -> LabelPage:
    """Write a page on which traces of a library are labelled, as one HTML file; return what it holds.

    queue: "unlabelled" traces that nobody has given a word on; "second", those that one other than who has; "differ",
    those on which reviewers differ; "all" on which who has given no word. who: the reviewer; the page asks for it too.
    machine: whose journals stand beside the curves, over its ensemble; without it those of an invented machine.
    ids: of the queue these traces alone. `lubetrip label LIBRARY --from FILE` takes what it gives out. Raises Refusal,
    for an empty queue too.
    """
    path = Path(path)
    check_writable(path)
    library = library_of(library)
    checked = settings_of(settings, library, library.folder)
    asked = {entry_named(library, identity).id for identity in ids}
    entries = [entry for entry in queued(library, queue, who or "") if not ids or entry.id in asked]
    if not entries:
        rule = "no trace is left to label"
        raise refusal(library.folder, f"queue {queue}", rule, f"another queue: {UNLABELLED}, {SECOND}, {DIFFER}, {ALL}")
    engine = engine_for(entry.path for entry in entries)
    traces = []
    with progress(len(entries), "packing") as stage:
        for entry in entries:
            traces.append(_trace(entry, checked, engine, machine, open_at_once=queue == DIFFER))
            stage.advance()
    name = library.folder.resolve().name
    data = {**_about(checked), "library": name, "by": who or "", "queue": queue, "traces": traces}
    made = LabelPage(
        page_from("label.html", SCRIPTS, library=name, data=script_safe(data), allowance=STOPPING_ALLOWANCE_S),
        len(traces),
    )
    write_text(path, made.text)
    return made


def queued(library: Library, queue: str, who: str) -> list[Entry]:
    """Return the traces that a page asks about, in their order in the library."""

    def wanted(entry: Entry) -> bool:
        by = {word.by for word in entry.words}
        return {
            UNLABELLED: entry.label == "undecided" and not by,
            SECOND: len(by) == 1 and who not in by,
            DIFFER: entry.differ,
            ALL: who not in by,
        }[queue]

    return [entry for entry in library.entries if wanted(entry)]


def bearings_for(entry: Entry, file: MachineFile | None) -> tuple[RecordedBearings | SeveralBearings, str]:
    """Return the journals that stand for those of a trace, and whose they are in words.

    Those of a machine file, of its ensemble where it has one; else of an invented machine, its own if it is one.
    """
    if file is None:
        machine, oil = MACHINES.get(entry.machine, MACHINES[MACHINE]), OILS.get(entry.oil, OILS[OIL])
        told = f"Assumed: machine {machine.name}, {oil.name}, {REFRIGERANT}."
        return RecordedBearings(Assumed(machine, oil, REFRIGERANTS[REFRIGERANT])), told
    members = file.others(MEMBERS)
    sites = [member.middle() for member in members or [file]]
    several = [Assumed(s.machine, s.oil, s.refrigerant, s.behaviour, s.schedule(running=False)) for s in sites]
    which = f"{len(members)} members of its ensemble" if members else "the middle of what it states and assumes"
    return SeveralBearings(several), f"By the machine file of {file.name}: {which}."


# ------------------------------------------------------------------------------------------------------------ one trace


def _trace(
    entry: Entry, settings: Settings, engine: Engine, machine: MachineFile | None, *, open_at_once: bool
) -> dict[str, Any]:
    trace = open_trace(entry.path)
    bearings, whose = bearings_for(entry, machine)
    curves = thinned(trace, bearings, settings.values[ranges.FLOOR])
    replay = engine.replay(trace, settings)
    stops = [
        [trace.seconds(stop.time_ms), cause_words(cause_of(stop.cause), doubts_of(stop.cause))] for stop in replay.stops
    ]
    changes = [[trace.seconds(change.time_ms), change.after] for change in replay.changes[:MOST_CHANGES]]
    said = [
        f"{word.by}, {word.on.isoformat()}: {words_of(word.label)}{_found(word.inspection)}" for word in entry.words
    ]
    hidden = {
        **dataclasses.asdict(curves),
        "spells": _spells(bearings.damage),
        "stops": stops[:MOST_CHANGES],
        "states": changes,
        "told": {"family": entry.family, "origin": entry.origin, "note": entry.note, "label": label_text(entry)},
        "said": said,
    }
    packed = base64.b64encode(zlib.compress(json.dumps(hidden, separators=(",", ":")).encode(), 9)).decode("ascii")
    start = None if entry.start_utc is None else entry.start_utc.isoformat()
    about = {"id": entry.id, "machine": entry.machine, "start_utc": start, "zone": entry.zone, "source": entry.source}
    shown = {"start_s": trace.start_s, "end_s": trace.end_s, "rows": len(trace), "journal": whose}
    return {**about, **shown, "sha256": sha256_of(entry.path), "said": said if open_at_once else [], "packed": packed}


def _found(inspection: str) -> str:
    return f"; inspection: {inspection}" if inspection else ""


def _spells(damage: Damage) -> list[dict[str, Any]]:
    """Return when starved spells began and spoilt each journal, less what a stop takes."""
    return [
        {
            "from": spell.starved_s,
            "spoilt": [None if time is None else round(time - STOPPING_ALLOWANCE_S, 1) for time in spell.times_s],
        }
        for spell in damage.spells
    ]


@dataclass(frozen=True)
class Curves:
    """A thinned trace. time_ms: since its start; net, suction in Pa, None for no reading; each less the one before it.

    left: oil left of three journals in percent, columns as above; below: stretches (from, to) in s in which the machine
    runs below the floor pressure.
    """

    time_ms: list[int]
    net: list[int]
    suction: list[int]
    running: list[int]
    left: list[list[int]]
    below: list[list[float]]


def thinned(trace: AnyTrace, bearings: RecordedBearings | SeveralBearings, floor_pa: int) -> Curves:
    """Return a trace of at most some MOST_ROWS rows; the bearings are driven by all of them."""
    parts: list[NDArray[np.int64]] = []
    below = _Below(floor_pa)
    for piece in trace.pieces():
        net, suction = _read(piece.oil_pa, piece.crankcase_pa), _pressure(piece.suction_pa)
        seconds = piece.start_s + piece.time_ms / 1000.0
        left = bearings.take(Logged(seconds, net, _pressure(piece.crankcase_pa), piece.running))
        below.take(seconds, net, piece.running)
        table = np.stack([piece.time_ms, _whole(net), _whole(suction), piece.running, *_whole(100.0 * left).T])
        parts.append(table[:, _extremes(table)])
    table = np.concatenate(parts, axis=1)
    while table.shape[1] > 2 * MOST_ROWS:
        table = table[:, _extremes(table)]
    steps = np.diff(table, axis=1, prepend=0)
    time_ms, net_pa, suction_pa, running, *left_percent = steps.tolist()
    return Curves(time_ms, net_pa, suction_pa, running, left_percent, below.found())


def _pressure(readings: NDArray[np.int64]) -> Floats:
    return np.where(readings == ranges.NO_READING, np.nan, readings.astype(np.float64))


def _read(oil: NDArray[np.int64], crankcase: NDArray[np.int64]) -> Floats:
    return _pressure(oil) - _pressure(crankcase)


def _whole(values: Floats) -> NDArray[np.int64]:
    return np.where(np.isnan(values), ranges.NO_READING, np.rint(values)).astype(np.int64)


def _extremes(table: NDArray[np.int64]) -> NDArray[np.int64]:
    """Return the columns to keep: of each stretch first and last, least and most net oil pressure and suction.

    Changes of the running status are kept as long as there are few.
    """
    rows = table.shape[1]
    if rows <= MOST_ROWS:
        return np.arange(rows)
    edges = np.linspace(0, rows, MOST_ROWS // 6 + 1).astype(int)
    keep = [edges[:-1], edges[1:] - 1]
    for values in table[1:3]:
        for find in (np.argmin, np.argmax):
            keep += [np.array([a + find(values[a:b]) for a, b in itertools.pairwise(edges)])]
    turns = np.flatnonzero(np.diff(table[3])) + 1
    return np.unique(np.concatenate([*keep, turns[:MOST_ROWS], turns[:MOST_ROWS] - 1]))


class _Below:
    """Stretches in which a machine runs below the floor pressure, piece by piece."""

    def __init__(self, floor_pa: int) -> None:
        self.floor_pa = floor_pa
        self.spans: list[list[float]] = []
        self.low = False

    def take(self, seconds: Floats, net: Floats, running: NDArray[np.uint8]) -> None:
        with np.errstate(invalid="ignore"):
            low = (net < self.floor_pa) & (running != 0)
        turns = np.flatnonzero(np.diff(low, prepend=self.low))
        for at in turns.tolist():
            if low[at]:
                self.spans.append([float(seconds[at]), float(seconds[-1])])
            else:
                self.spans[-1][1] = float(seconds[at])
        self.low = bool(low[-1])
        if self.low:
            self.spans[-1][1] = float(seconds[-1])

    def found(self) -> list[list[float]]:
        return [[round(begin, 3), round(end, 3)] for begin, end in self.spans[:MOST_ROWS]]


def _about(settings: Settings) -> dict[str, Any]:
    """Return all of the page but its traces."""
    values = settings.values
    return {
        "schema": SCHEMA,
        "settings": Path(settings.file).name,
        "levels": {"cut-in": values[ranges.CUT_IN], "cut-out": values[ranges.CUT_OUT], "floor": values[ranges.FLOOR]},
        "altitude_m": settings.altitude_m,
        "units": unit_factors(),
        "states": STATES,
    }
