"""A log written on change: what stands still as long as the logger vouches for is held, what stands longer is stuck."""

import datetime as dt
from pathlib import Path

import numpy as np
import pyarrow.csv as pa_csv
import pytest

from replay.engine import engine_named
from replay.ground.refusal import Refusal
from replay.measured.importing import import_logs
from replay.settings import Settings, read_settings
from replay.sweep import arrange, prepare, sweep
from replay.trace import Trace, read_trace
from replay.triage.findings import Findings
from replay.triage.logs import Part
from replay.triage.ranking import ADVICE, notes, rank, reasons
from replay.triage.report import triage_logs
from replay.triage.run import examine
from tests.support.measured import profile_with
from tests.support.triage_logs import made, with_values, write

HOLD = 'decimal = "."'
# (s, bar gauge of oil, of suction, running): starved from 1800 s to 2700 s, and not a row in between.
ROWS = [(0, 1.5, 1.5, 0), (600, 1.6, 1.5, 1), (605, 4.0, 1.4, 1), (1800, 1.5, 1.3, 1), (2700, 3.8, 1.5, 1)]
END = [(3600, 3.9, 1.5, 1), (3700, 1.6, 1.6, 0), (4000, 1.5, 1.6, 0)]


@pytest.fixture
def site(settings_file: Path) -> Settings:
    """Return the settings that the tests share: stuck after 30 s."""
    return with_values(read_settings(settings_file), STUCK_AFTER=30_000)


def seen(folder: Path, site: Settings, rows: list[tuple[float, ...]], hold: str) -> Findings:
    """Import rows written on change and return what triage finds in them."""
    text = "t;oil;suction;run\n" + "".join(";".join(map(str, row)) + "\n" for row in rows)
    (folder / "log.csv").write_text(text)
    (folder / "p.toml").write_text(
        profile_with(file=HOLD, time=f'max_gap = "2 s"\non_change = true\nlongest_hold = "{hold}"')
    )
    assert not import_logs([folder / "log.csv"], folder / "lib", folder / "p.toml").refused
    (machine,) = triage_logs([folder / "lib"], site).machines
    return machine


def test_a_spell_in_a_log_written_on_change_is_found(tmp_path: Path, site: Settings) -> None:
    """Catches a flat stretch, which is all that such a log writes of a spell, taken for a stuck sensor or for health."""
    machine = seen(tmp_path, site, ROWS + END, "30 min")

    assert ADVICE[rank(machine)] == "open next"
    assert machine.starved_ms == pytest.approx(900_000, abs=15_000)
    assert (machine.doubted_ms, machine.judged_share) == (0, 1.0)
    assert "pressures were written on change: standing still for up to 30.0 min is taken as held, not stuck" in notes(
        machine
    )


def test_what_is_not_written_again_in_time_is_a_gap_and_said(tmp_path: Path, site: Settings) -> None:
    """Catches a dead logger whose last good reading stands for the rest of the night."""
    machine = seen(tmp_path, site, ROWS[:3] + END, "10 min")

    assert machine.judged_share < 0.5
    assert ADVICE[rank(machine)] != "not starved"
    assert "judged on 40 % of its hours" in reasons(machine)


def test_what_stands_still_longer_than_it_may_is_stuck(tmp_path: Path, site: Settings) -> None:
    """Catches a frozen sensor that the logger writes again and again, believed for ever because its log is on change."""
    frozen = [(s, 4.0, 1.4 + s / 10000, 1) for s in range(605, 3600, 300)]
    machine = seen(tmp_path, site, ROWS[:2] + frozen + END, "10 min")

    assert ADVICE[rank(machine)] == "check the sensors"
    assert any("oil stuck" in event.doubts for event in machine.gravest.all())
    assert machine.doubted_ms / 1000 == pytest.approx(3605 - 605 - 600, abs=310)


def held(site_s: int) -> Trace:
    """Return a trace whose oil pressure stands still throughout, starved, in a log that writes after site_s."""
    trace = made(900, lambda s: 10 if s > 300 else 120)
    still = np.where(trace.time_ms > 300_000, 310_000, trace.oil_pa)
    return Trace(
        "held", 0.0, trace.time_ms, still, trace.suction_pa, trace.suction_pa, trace.running, trace.reset, site_s
    )


@pytest.mark.slow("compiles what only it runs")
@pytest.mark.parametrize("engine", ["portable", "compiled", "c"])
def test_every_engine_believes_a_trace_for_as_long(engine: str, site: Settings) -> None:
    """Catches one of them that takes a held reading for stuck, and so stops on a sensor: not for want of oil."""
    replays = [engine_named(engine).replay(held(hold), site) for hold in (0, 600_000)]
    swept = [sweep(prepare(held(hold)), arrange([site]))[0] for hold in (0, 600_000)]

    assert [replay.stops for replay in replays] == [replay.stops for replay in swept]
    assert replays[0].stops != replays[1].stops


def test_a_hold_comes_back_from_a_file(tmp_path: Path) -> None:
    """Catches a hold that is lost on disk, one that changes within a file, and one below nothing."""
    pa_csv.write_csv(held(600_000).to_arrow(), tmp_path / "held.csv")
    assert read_trace(tmp_path / "held.csv") == held(600_000)
    head = "time_s,oil_pressure_kpa,suction_pressure_kpa,running,longest_hold_s\n"
    for cells in ("1,600", "0,-5"):
        (tmp_path / "wrong.csv").write_text(head + f"0,300,200,1,{cells[2:]}\n1,300,200,1,{cells[:1]}\n")
        with pytest.raises(Refusal, match=r"longest_hold_s.*not one hold throughout"):
            read_trace(tmp_path / "wrong.csv")


@pytest.mark.parametrize("holds", [(700_000, 0), (0, 700_000)])
def test_files_of_one_machine_are_believed_each_by_itself(
    holds: tuple[int, int], tmp_path: Path, site: Settings
) -> None:
    """Catches a file of another logger, whose sensor is stuck, believed because the file before was on change."""
    parts = []
    for number, hold in enumerate(holds):
        moment = dt.datetime(2026, 3, 1, tzinfo=dt.UTC) + dt.timedelta(seconds=901 * number)
        parts.append(Part(write(tmp_path / f"{number}.csv", held(hold)), moment))
    findings = examine(site, ("m", parts), fast=False)

    assert (findings.gaps.count, findings.events["sensor doubt"]) == (0, 1)
    assert findings.doubted_ms == 570_000  # of 600 s, in the file that is not written on change


CONSTANT = '-column\n-unit\n-reference\nconstant = "1.5 bar(g)"'


@pytest.mark.parametrize("stuck", [False, True], ids=["lively", "frozen"])
def test_beside_a_suction_pressure_that_nobody_measured_the_oil_is_judged(
    stuck: bool, tmp_path: Path, site: Settings
) -> None:
    """Catches a constant taken for a stuck sensor, the spell never looked for; and a frozen oil sensor that it hides."""

    def oil(second: int) -> float:
        if second < 60 or second > 1700:
            return 1.5
        return 4.0 if stuck else (1.6 if 600 <= second < 900 else 4.0) + second % 7 / 100

    text = "t;oil;run\n" + "".join(f"{s};{oil(s):.2f};{int(60 <= s <= 1700)}\n" for s in range(2000))
    (tmp_path / "log.csv").write_text(text)
    (tmp_path / "p.toml").write_text(profile_with(file=HOLD, suction_pressure=CONSTANT))
    assert not import_logs([tmp_path / "log.csv"], tmp_path / "lib", tmp_path / "p.toml").refused
    (machine,) = triage_logs([tmp_path / "lib"], site).machines

    if stuck:
        assert machine.doubted_ms > 1_500_000
    else:
        assert (ADVICE[rank(machine)], machine.doubted_ms) == ("open next", 0)
        assert machine.starved_ms == pytest.approx(300_000, abs=10_000)
    assert any("neither vacuum nor a reload" in note for note in notes(machine))
