"""A page on which settings are tried: the traces of a library, and the C port as WebAssembly that runs them there.

One file that works offline. Nothing of the logic is told again in the page: it
holds the module, the traces as integers, the labels, the texts of the settings, and the best that plain laws come to.
"""

import base64
import zlib
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from protect import ranges
from protect.settings import RELATIONS
from replay.drawing.looks import LANES, LINES, SHADES
from replay.engine import STATES, logic_digest
from replay.engine.c_port import port_digest
from replay.engine.obeying import FIRST_INPUT
from replay.engine.portable import columns_of
from replay.engine.scan import grid_of
from replay.engine.workers import Progress, quiet
from replay.ground.files import check_writable, write_text
from replay.ground.places import place_of
from replay.ground.refusal import refusal
from replay.ground.shown import system_of
from replay.ground.toml_files import read_toml
from replay.ground.units import quantity
from replay.library import Entry, Library, library_of, settings_of
from replay.library.given import GivenLibrary, GivenSettings
from replay.page.pages import page_from, script_safe
from replay.page.wasm_module import module
from replay.score.comparators import Counts, comparators
from replay.score.once import counted_once, sensor_fails
from replay.score.scoring import plain_counts
from replay.score.verdict import check_within, is_told
from replay.score.windows import AFTER_S, AGAIN_S, LATE, recorded_in
from replay.settings import Settings
from replay.settings.file import ALTITUDE_M, in_file_terms, key_of, names_of
from replay.trace import Trace, read_trace
from replay.trace.files import count_rows

SCRIPTS = (
    *("units.js", "wording.js", "port.js", "judge.js", "settings.js"),
    *("dom.js", "curves.js", "plot.js", "tables.js", "fields.js", "page.js"),
)
MOST_READINGS = 2_000_000  # of all traces of a page together: some 110 MB of a browser's memory
# Kinds of a value as units.js tells them apart.
KINDS = {"ms": "time", "weight": "weight", "count": "count"}


@dataclass(frozen=True)
class Page:
    """A page that was made: its text, how many traces and readings it holds."""

    text: str
    traces: int
    readings: int


def packed(trace: Trace) -> str:
    """Return a trace as text, without loss: the columns that every engine runs on.

    Of int64[7, n], crankcase less suction pressure, the differences from tick to
    tick, lowest bytes first, deflated, in base64. page_port.c undoes it.
    """
    columns = columns_of(trace)
    columns[FIRST_INPUT + ranges.CRANKCASE_PRESSURE] -= columns[FIRST_INPUT + ranges.SUCTION_PRESSURE]
    differences = np.diff(columns, axis=1, prepend=0)
    planes = differences.astype("<i8").view(np.uint8).reshape(len(columns), -1, 8).transpose(0, 2, 1)
    return base64.b64encode(zlib.compress(planes.tobytes(), 9)).decode("ascii")


def page(library: Library, settings: Settings, tick: Callable[[], object] = lambda: None) -> Page:
    """Return the page for a library; `tick` is called after each trace.

    Raises Refusal for a library of more than MOST_READINGS readings.
    """
    check_size(library)
    port = module()
    traces: list[dict[str, Any]] = []
    plain: list[Counts] = []
    for entry in counted_once(library).library.entries:
        trace = read_trace(entry.path)
        traces.append(_trace(entry, trace))
        plain.append(plain_counts(entry, trace, settings))
        tick()
    laws = [each.as_json() for each in comparators(grid_of(settings), plain)]
    text = page_from(
        "page.html",
        SCRIPTS,
        library=library.folder.resolve().name,
        data=script_safe({**_about(library, settings), "laws": laws, "traces": traces}),
        port=base64.b64encode(port).decode("ascii"),
    )
    return Page(text, len(traces), sum(trace["ticks"] for trace in traces))


def check_size(library: Library) -> None:
    """Refuse a library that no page holds, by the rows of its files: before any of them is read in earnest."""
    readings = 0
    for entry in library.entries:
        readings += count_rows(entry.path, MOST_READINGS - readings)
        if readings > MOST_READINGS:
            rule = f"more readings than a page holds, at '{entry.id}'"
            accepted = f"at most {MOST_READINGS} readings in all: fewer traces, or longer steps"
            raise refusal(library.folder, "", rule, accepted)


def write_bench(
    path: Path | str, library: GivenLibrary, settings: GivenSettings = None, *, progress: Progress = quiet
) -> Page:
    """Write a page on which settings are moved over the traces of a library, as one HTML file; return what it holds.

    Raises Refusal.
    """
    path = Path(path)
    check_writable(path)
    library = library_of(library)
    checked = settings_of(settings, library, library.folder)
    with progress(len(library.entries), "packing") as stage:
        made = page(library, checked, stage.advance)
    write_text(path, made.text)
    return made


def _trace(entry: Entry, trace: Trace) -> dict[str, Any]:
    check_within(entry, trace)
    kind = entry.label if isinstance(entry.label, str) else "must_trip"
    told = {"told": entry.told, "ran": recorded_in(entry.told, trace), "told_whole": is_told(entry, trace)}
    label = {"kind": kind, "windows": [vars(window) for window in entry.windows], "upsets": entry.upsets, **told}
    texts = ("id", "family", "machine", "oil", "origin", "note", "doubt")
    about = {name: getattr(entry, name) for name in texts} | {"sensor_fails": sensor_fails(entry)}
    clock = {"start_s": trace.start_s, "ticks": len(trace), "hold_ms": trace.hold_ms}
    return {**about, "label": label, **clock, "columns": packed(trace)}


def _about(library: Library, settings: Settings) -> dict[str, Any]:
    """Return all of the page but its traces."""
    acceptance = settings.acceptance
    table = read_toml(place_of(settings.file), "settings file")
    return {
        "library": library.folder.resolve().name,
        "file": Path(settings.file).name,
        "logic": {"engine": "webassembly", "digest": logic_digest(), "port_digest": port_digest()},
        "settings": _settings(table, settings),
        "altitude": {"text": table["site"]["altitude"], "metres": settings.altitude_m, "range": ALTITUDE_M},
        "relations": RELATIONS,
        "units": unit_factors(),
        "system": settings.units.difference,
        "rewrite": settings.units is not system_of(table["net_oil_pressure"]["cut_out"]),
        "acceptance": {**vars(acceptance), "shown_confidence": acceptance.shown_confidence},
        "acceptance_texts": {key: _toml(value) for key, value in table["acceptance"].items()},
        "again_s": AGAIN_S,
        "after_s": AFTER_S,
        "late": LATE,
        "states": STATES,
        "looks": {
            "lines": {name: {"colour": line[0], "width": line[1], "dash": line[2]} for name, line in LINES.items()},
            "shades": [SHADES[number] for number in range(len(STATES))],
            "lanes": LANES,
        },
    }


def unit_factors() -> dict[str, dict[str, float]]:
    """Return the units that the page understands, of the reader of settings files: Pa, ms and m in one of each."""
    wanted = {"pressure": "pascal", "time": "millisecond", "length": "metre"}
    names = {
        "pressure": ("Pa", "hPa", "mbar", "kPa", "bar", "MPa", "psi", "inHg"),
        "time": ("ms", "s", "min", "h", "d"),
        "length": ("m", "ft"),
    }
    return {kind: {name: quantity(f"1 {name}", wanted[kind], name) for name in names[kind]} for kind in names}


def _toml(value: object) -> str:
    import tomlkit

    return tomlkit.item(value).as_string()


def _settings(table: dict[str, Any], settings: Settings) -> list[dict[str, Any]]:
    """Return each setting in the order of its place: where it stands in the file, kind, range, text and value."""
    rows = []
    for (name, unit, least, most), value in zip(ranges.SETTINGS, settings.values, strict=False):
        section, key = key_of(name)
        names, texts = names_of(key), table[section].get(key, in_file_terms(section, unit, value).strip('"'))
        text = texts[names.index(name)] if len(names) > 1 else texts
        kind = KINDS.get(unit) or ("difference" if section == "net_oil_pressure" else "absolute")
        told = {"name": name, "section": section, "key": key, "kind": kind, "least": least, "most": most}
        rows.append({**told, "text": str(text), "value": value})
    return rows
