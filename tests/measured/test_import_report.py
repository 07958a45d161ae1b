"""What an import says of a file beyond its rows: mix-ups, frozen sensors, units, and the draft of a profile."""

import tomllib
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from replay.ground.refusal import Refusal
from replay.measured.doubts import FLAT_ROWS, Stillness
from replay.measured.guess import draft_profile
from replay.measured.profile import read_profile
from tests.support.command import lubetrip
from tests.support.measured import HEADER, NO_READING, bring_in, import_file, profile_with


def log(*rows: tuple[float, float, int]) -> str:
    """Return a 1 Hz log of (oil, suction, running)."""
    return HEADER + "".join(f"{s};{oil:.3f};{suction:.3f};{run}\n" for s, (oil, suction, run) in enumerate(rows))


def ripple(second: int) -> float:
    """Return a little movement, as a living sensor has."""
    return second % 3 / 1000


RUNNING = [(3.4 + ripple(s), 2.0 + ripple(s), 1) for s in range(30)]
STOPPED = [(2.0 + ripple(s), 2.0 + ripple(s), 0) for s in range(30)]
DOUBTFUL = {
    "a sound log": (RUNNING + STOPPED, {}, []),
    "absolute below zero": (
        [(3.0, -0.2 + ripple(s), 1) for s in range(9)],
        {"suction_pressure": 'reference = "absolute"'},
        ["suction pressure is taken as absolute and falls to -20.0 kPa: is it gauge?"],
    ),
    "a floor at one atmosphere of gauge": (
        [(3.0, max(1.0, 2 - s / 10) + ripple(s), 1) for s in range(20)],
        {},
        ["suction pressure is taken as gauge and its floor of 100.0 kPa is the atmosphere: is it absolute?"],
    ),
    "cut off at zero gauge": (
        [(3.0, max(0.0, 1 - s / 10), 1) for s in range(20)],
        {},
        ["suction pressure never falls below 0 gauge and lies there in 50 % of its rows"],
    ),
    "columns swapped": (
        [(2.0, 3.4 + ripple(s), 1) for s in range(9)],
        {},
        ["below crankcase pressure in 100 % of the running"],
    ),
    "one gauge and one absolute": (
        RUNNING + STOPPED,
        {"suction_pressure": 'reference = "absolute"'},
        ["at standstill oil pressure reads about one atmosphere above crankcase pressure"],
    ),
    "frozen": ([(3.4, 2.0 + ripple(s), 1) for s in range(90)], {}, ["oil pressure stands still for 89 s of running"]),
    "too small a unit": (
        RUNNING,
        {"oil_pressure": 'unit = "mbar"\nreference = "absolute"'},
        ["oil pressure reaches 0.3 kPa abs at most: is its unit right?"],
    ),
    "never running": (STOPPED, {}, ["the machine never runs"]),
    "no reading": ([(float("nan"), 2.0 + ripple(s), 1) for s in range(9)], {}, ["oil pressure: no reading at all"]),
}


@pytest.mark.parametrize("case", DOUBTFUL)
def test_what_looks_wrong_is_said(case: str, tmp_path: Path) -> None:
    """Catches a mix-up that goes through in silence, and an alarm over a sound log."""
    rows, changes, said = DOUBTFUL[case]
    form = {"file": 'decimal = "."'} | changes
    report, _ = bring_in(tmp_path, log(*rows).replace("nan", ""), profile_with(**form))

    for part in said:
        assert any(part in doubt for doubt in report.doubts), report.doubts
    if not said:
        assert report.doubts == []


@pytest.mark.slow("tries many cases of a large space")
@settings(max_examples=150)
@given(
    values=st.lists(st.tuples(st.sampled_from([1, 2, NO_READING]), st.integers(1, 25), st.integers(0, 1)), max_size=12),
    cuts=st.lists(st.integers(1, 60), min_size=1, max_size=12),
)
def test_the_longest_stretch_without_change_does_not_depend_on_blocks(
    values: list[tuple[int, int, int]], cuts: list[int]
) -> None:
    """Catches a frozen stretch that is cut where a block ends, or counted while the machine stands or nothing is read."""
    pascals = np.concatenate([np.full(count, value) for value, count, _ in values] or [np.zeros(0, dtype=int)])
    running = np.concatenate([np.full(count, run) for _, count, run in values] or [np.zeros(0, dtype=int)]).astype(
        np.int8
    )
    time = np.arange(len(pascals)) * 1000
    longest, start = 0, 0
    for place in range(1, len(pascals) + 1):
        if place == len(pascals) or pascals[place] != pascals[start] or running[place] != running[start]:
            counts = running[start] == 1 and pascals[start] != NO_READING and place - start >= FLAT_ROWS
            longest = max(longest, (place - start - 1) * 1000 if counts else 0)
            start = place
    still = Stillness()
    done = 0
    for cut in [*cuts, len(pascals)]:
        if done < min(done + cut, len(pascals)):
            still.see(time[done : done + cut], pascals[done : done + cut], running[done : done + cut])
        done = min(done + cut, len(pascals))
    still.end()

    assert still.longest_ms == longest


OPEN = [
    ("Zeit;Pöl [bar(g)];Psaug [bar(g)];Läuft\n14.03.2026 10:00:00;3,41;2,0;1\n14.03.2026 10:00:01;3,4;2,05;0\n", {"[site] altitude"}),
    ("time_s,oil_pressure_kpa,suction_pressure_kpa,running\n0,440,300,1\n1,441,300.5,1\n", {"[site] altitude", "[oil_pressure] reference", "[suction_pressure] reference"}),
    ("Date;Time;Oil psig;Suction psig;Amps\n03/04/26;10:00:00;50.5;20;12\n03/04/26;10:00:01;51;20;13\n", {"[time] order", "[site] altitude", "[running] current_above"}),
    ("t;oil;lp;on\n0;3,401;2,501;1\n1;3,402;2,502;1\n", {"[file] decimal", "[time] unit", "[oil_pressure] unit", "[suction_pressure] unit"}),
    ("x,y,z,w\n0,3.5,2,1\n1,3.6,2,0\n", {"[oil_pressure] column", "[suction_pressure] column", "[running] column"}),
]  # fmt: skip


@pytest.mark.parametrize(("text", "open_keys"), OPEN)
def test_a_draft_leaves_open_what_the_file_leaves_open_and_no_import_passes_it(
    text: str, open_keys: set[str], tmp_path: Path
) -> None:
    """Catches gauge or absolute decided by a guess, a doubt without its mark, a draft that imports unread or is refused bit by bit."""
    (tmp_path / "log.csv").write_text(text, encoding="utf-8")
    drafted = draft_profile(tmp_path / "log.csv")
    (tmp_path / "draft.toml").write_text(drafted, encoding="utf-8")
    table = tomllib.loads(drafted)
    left = {f"[{section}] {key}" for section, content in table.items() if isinstance(content, dict) for key, value in content.items() if value == "?"}  # fmt: skip

    assert open_keys <= left
    for line in drafted.splitlines():
        assert '"?"' not in line or "DOUBT" in line or line.startswith("#")
    with pytest.raises(Refusal, match="left open in the draft") as refused:
        import_file(tmp_path / "log.csv", tmp_path / "library", tmp_path / "draft.toml")
    assert all(place in str(refused.value) for place in left)
    assert not (tmp_path / "library").exists()


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("time,net oil psi,suction psia,run\n0,30,20,1\n1,31,21,0\n", '"difference" (net)'),
        ("Timestamp,oil psia,suction psia,run\n46083.4,50,20,1\n46083.5,51,21,0\n", '"serial day"'),
        ("time,oil psia,suction psia,run\n0,50,20,on\n1,51,21,\n2,51,20,\n3,51,21,\n", "on_change = true"),
    ],
)
def test_a_draft_offers_what_the_file_looks_like(text: str, said: str, tmp_path: Path) -> None:
    """Catches a draft that leaves out the one choice that is right: net pressure, spreadsheet days, status on change."""
    (tmp_path / "log.csv").write_text(text, encoding="utf-8")

    assert said in draft_profile(tmp_path / "log.csv")


def test_a_decided_draft_imports(tmp_path: Path) -> None:
    """Catches a draft whose columns, fingerprint or sentinels do not fit the file that it was drafted for."""
    text = "Zeit;Pöl [bar(g)];Psaug [bar(g)];Läuft\n14.03.2026 10:00:00;3,41;2,0;1\n14.03.2026 10:00:01;Bad;2,05;0\n"
    (tmp_path / "log.csv").write_text(text, encoding="utf-16")
    out = lubetrip("import", "--guess", tmp_path / "log.csv", "--out", tmp_path / "draft.toml")
    decided = (tmp_path / "draft.toml").read_text(encoding="utf-8").replace('altitude = "?"', 'altitude = "0 m"')
    decided = decided.replace('zone = "?"', 'zone = "UTC"')
    (tmp_path / "draft.toml").write_text(decided, encoding="utf-8")
    report = import_file(tmp_path / "log.csv", tmp_path / "library", tmp_path / "draft.toml")

    assert out.returncode == 0
    assert read_profile(tmp_path / "draft.toml").file.sentinels == ("Bad",)
    assert report.counts.kept == 2
    assert report.counts.readings["oil_pressure"].missing == 1
