"""Moments that a reviewer types on the label page: the same seconds as the command takes the same text for."""

import json
import subprocess
from pathlib import Path
from typing import Any

import pytest

from replay.ground.refusal import Refusal
from replay.library import Entry, read_library
from replay.library.told_time import second_of
from replay.page.bench import unit_factors
from tests.support.toolchain import ROOT, need

ENTRY = """[[trace]]
id = "{0}"
file = "t.csv"
family = "f"
machine = "m"
oil = "o"
origin = "recorded: x"
undecided = true
{1}
"""
# In Oslo clocks go back on this night from 03:00 to 02:00, 9,000 s after the first of these logs begins.
CLOCKS = {
    "named": 'start_utc = 2026-10-24T22:30:00.250Z\nzone = "Europe/Oslo"',
    "offset": 'start_utc = 2026-10-24T22:30:00Z\nzone = "-03:30"',
    "east": 'start_utc = 2026-10-24T22:30:00Z\nzone = "+05:45"',
    "none": "",
}
TEXTS = [
    *("0", "312.5", " 60 ", "5 min", "1.5 h", "90 s", "-5", "1500 ms", "soon", "", "12:70", "10 kPa", "1e3"),
    *("00:30:00.25", "00:30", "0:31:10", "00:31:10.5", "23:59:59", "00:29", "01:10", "03:10:00", "04:50", "04:16"),
    *("2026-10-25 00:31", "2026-10-25T00:31:00", "2026-10-24 23:00", "2026-10-26 00:31", "2026-10-25 24:00"),
    *("19:00", "19:00:00.5", "2026-10-24 19:05", "04:15:00", "2026-10-25 04:20:30", "02:15"),
    *("2026-10-25 02:59:59", "2026-10-25 03:00", "01:59:59.999", "2026-03-29 02:30", "2026-13-01 10:00"),
]


@pytest.fixture(scope="module")
def entries(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Entry]:
    """Return a trace of 50 s to 20,000 s under each clock."""
    folder = tmp_path_factory.mktemp("clocks")
    rows = "".join(f"{second},400,300,1\n" for second in range(50, 20_001, 50))
    (folder / "t.csv").write_text("time_s,oil_pressure_kpa,suction_pressure_kpa,running\n" + rows)
    (folder / "library.toml").write_text("".join(ENTRY.format(name, clock) for name, clock in CLOCKS.items()))
    return {entry.id: entry for entry in read_library(folder).entries}


def typed(folder: Path, trace: dict[str, Any], texts: list[Any], does: str = "clock.secondsOf(text)") -> list[Any]:
    """Let the script of the page read some texts, or do something else with them, under node."""
    scripts = "".join((ROOT / "replay" / "page" / name).read_text() for name in ("units.js", "label_times.js"))
    work = json.dumps([unit_factors(), trace, texts])
    told = "takeUnits(work[0]); const clock = new WallClock(work[1]);"
    last = "console.log(JSON.stringify(work[2].map((text) => " + does + ")));"
    (folder / "times.js").write_text(f"{scripts}\nconst work = {work};\n{told}\n{last}\n", encoding="utf-8")
    done = subprocess.run([need("node"), folder / "times.js"], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    return list(json.loads(done.stdout))


@pytest.mark.parametrize("name", CLOCKS)
def test_the_page_takes_a_moment_as_the_command_does(name: str, entries: dict[str, Entry], tmp_path: Path) -> None:
    """Catches a label an hour, a day or a zone away from what was typed, and a time of 0 for the trace's own."""
    entry = entries[name]
    start = None if entry.start_utc is None else entry.start_utc.isoformat().replace("+00:00", "Z")
    trace = {"start_utc": start, "zone": entry.zone, "start_s": 50.0, "end_s": 20_000.0}
    wanted: list[float | None] = []
    for text in TEXTS:
        try:
            wanted.append(second_of(text, entry, "w", "k"))
        except Refusal:
            wanted.append(None)
    found = typed(tmp_path, trace, TEXTS)
    apart = {text: pair for text, *pair in zip(TEXTS, found, wanted, strict=True) if pair[0] != pair[1]}
    assert apart == {}


def test_an_hour_that_comes_twice_is_told_where_the_trace_has_it_once(tmp_path: Path) -> None:
    """Catches a window an hour late, of a log that ends before clocks are set back, and one taken for the first of two."""
    short = {"start_utc": "2026-10-25T00:50:00Z", "zone": "Europe/Oslo", "start_s": 0.0, "end_s": 900.0}
    later = {**short, "start_utc": "2026-10-25T01:50:00Z"}
    texts = ["02:55:30", "2026-10-25 02:55:30", "02:05", "02:45"]

    assert typed(tmp_path, short, texts) == [330, 330, 900, None]
    assert typed(tmp_path, later, texts) == [330, 330, None, None]
    assert typed(tmp_path, {**short, "end_s": 9000.0}, texts) == [None, None, 900, 3300]


@pytest.mark.parametrize(
    ("end_s", "shown"),
    [
        (50.0 + 86_400, ["00:30:00", "05:30:00"]),
        (51.0 + 86_400, ["10-25 00:30:00", "10-25 05:30:00"]),
    ],
)
def test_a_moment_of_a_long_trace_is_shown_with_its_day(end_s: float, shown: list[str], tmp_path: Path) -> None:
    """Catches an axis of two weeks on which 03:00 may be any night."""
    trace = {"start_utc": "2026-10-24T22:30:00Z", "zone": "Europe/Oslo", "start_s": 50.0, "end_s": end_s}
    moments = [50.0, 50.0 + 6 * 3600]

    assert typed(tmp_path, trace, moments, "clock.shown(text)") == shown
    short = [text[:-3] if "-" in text else text for text in shown]
    assert typed(tmp_path, trace, moments, "clock.shown(text, true)") == short
