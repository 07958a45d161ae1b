"""What `explain` tells of one trace: its hours, times and readings, in the units that stand beside them."""

import json
from pathlib import Path

import pytest

from replay.score.explaining import explain_trace
from tests.conftest import trace_csv
from tests.support.command import lubetrip


def test_an_hour_of_running_is_one_run_hour_in_every_form(library: Path) -> None:
    """Catches hours a thousand times too long, or those of the recording where the machine stood stopped."""
    quiet, fault = explain_trace(library / "quiet.csv"), explain_trace(library / "fault.csv")
    report = json.loads(lubetrip("explain", library / "quiet.csv", "--json", "-").stdout)

    assert quiet.as_json()["run_hours"] == report["run_hours"] == 1.0
    assert "0 stops, 1.000 run hours" in lubetrip("explain", library / "quiet.csv").stdout
    assert fault.as_json()["run_hours"] == pytest.approx(fault.replay.run_ms / 3.6e6, abs=5.1e-7)  # to 2 ms
    run_s = 400 - sum((stop.until_ms or 400_000) - stop.time_ms for stop in fault.replay.stops) / 1000
    assert abs(fault.as_json()["run_hours"] * 3600 - run_s) <= len(fault.replay.stops) + 1  # a start takes a tick


def test_times_are_the_trace_s_own_and_pressures_absolute_pascals(library: Path) -> None:
    """Catches times since the first row, kPa, and a cause or a state of another row: by hand, full after 30 s at weight 2."""
    text = trace_csv(400, lambda s: 120.0 if s < 100 else 5.0).splitlines()
    moved = [text[0], *(f"{int(row.split(',')[0]) + 1000},{row.split(',', 1)[1]}" for row in text[1:])]
    (library / "fault.csv").write_text("\n".join(moved) + "\n")
    told = (library / "library.toml").read_text()
    (library / "library.toml").write_text(told.replace("100.0", "1100.0").replace("250.0", "1250.0"))
    report = explain_trace(library / "fault.csv").as_json()
    starved = next(row for row in report["timeline"] if row["to"] == "starved")
    tripped = next(row for row in report["timeline"] if row["to"] == "tripped")

    assert (starved["time_s"], starved["from"], starved["cause"]) == (1100.0, "lubricated", None)
    assert (tripped["time_s"], tripped["cause"], tripped["doubts"]) == (1129.0, "oil", ())
    assert (tripped["net_oil_pressure_pa"], tripped["suction_pressure_pa"]) == (5000, 300_100)
    assert (tripped["integral_percent"], report["stops"][0]["time_s"]) == (100, 1129.0)
    assert (report["verdict"]["outcome"], report["verdict"]["margin_s"]) == ("hit", 121.0)
    assert (report["late_ticks"], report["locked_out"]) == (0, True)


def test_a_trace_outside_a_library_has_no_verdict(library: Path, tmp_path_factory) -> None:
    """Catches a verdict made up for a file that nobody labelled."""
    alone = tmp_path_factory.mktemp("alone") / "alone.csv"
    alone.write_text((library / "fault.csv").read_text())
    found = explain_trace(alone, library / "settings.toml")

    assert (found.entry, found.verdict, found.as_json()["verdict"]) == (None, None, None)


def dated(library: Path) -> None:
    """Let the fault of a library say when it began."""
    told = (library / "library.toml").read_text()
    moment = 'start_utc = 2026-03-02T09:00:00Z\nzone = "Europe/Berlin"\n'
    (library / "library.toml").write_text(told.replace('id = "fault"\n', f'id = "fault"\n{moment}'))


def test_what_lies_behind_a_lockout_is_said_not_to_be_judged(library: Path) -> None:
    """Catches days of a log behind a lockout that nobody hears were left out."""
    (library / "fault.csv").write_text(trace_csv(7600, lambda s: 120.0 if s < 100 else 5.0, every_s=3))
    text = lubetrip("explain", library, "fault", COLUMNS="200").stdout
    locked = explain_trace(library / "fault.csv").as_json()["timeline"][-1]
    left = (7600 - locked["time_s"]) / 3600

    assert locked["to"] == "locked_out"
    assert f"Locked out from {locked['time_s']} s on: the {left:.1f} h behind it are NOT judged here" in text
    assert "NOT judged" not in lubetrip("explain", library, "quiet").stdout


def test_a_timeline_is_by_the_clock_where_the_trace_says_when_it_began(library: Path) -> None:
    """Catches seconds alone beside a triage in wall-clock time, and a moment of another zone or row."""
    assert "by the clock" not in lubetrip("explain", library, "fault").stdout
    dated(library)
    text = lubetrip("explain", library, "fault", COLUMNS="150").stdout
    row = next(line for line in text.splitlines() if line.startswith("129.0"))

    assert "2026-03-02 10:02:09 CET" in row
    assert "began 2026-03-02 10:00:00 CET" in lubetrip("explain", library, "fault").stdout
    assert "by the clock: 2026-03-02 10:01:40 CET to 2026-03-02 10:04:10 CET" in text
