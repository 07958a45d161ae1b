"""Three engines, one result; and which of them a library gets without asking."""

import json
from dataclasses import replace
from pathlib import Path

import pyarrow as pa
import pyarrow.parquet as pq
import pytest

from replay.engine import Engine, Replay, compiled, engine_for, engine_named, engines
from replay.ground.refusal import Refusal
from replay.library import read_library
from replay.report.record import check_record, write_record
from replay.score import score
from replay.settings import Settings, read_settings
from replay.trace import Trace
from tests.support.command import lubetrip
from tests.support.toolchain import need

ENGINES = ("portable", "compiled", "c")


@pytest.mark.slow("compiles what only it runs")
def test_every_engine_gives_the_same_report(library: Path) -> None:
    """Catches an engine that is not wired to its name, or that judges a trace otherwise."""
    need("gcc")
    reports = {}
    for name in ENGINES:
        done = lubetrip("score", library, "--engine", name, "--json", "-")
        assert done.returncode == 0, done.stderr
        reports[name] = json.loads(done.stdout)

    logic = {name: report.pop("logic") for name, report in reports.items()}
    assert reports["compiled"] == reports["portable"]
    assert reports["c"] == reports["portable"]
    assert [logic[name]["engine"] for name in ENGINES] == list(ENGINES)
    assert len({part["digest"] for part in logic.values()}) == 1
    assert "port_digest" in logic["c"]


def test_an_engine_nobody_knows_is_refused(library: Path) -> None:
    """Catches a misspelt engine that falls back to another in silence."""
    assert lubetrip("score", library, "--engine", "fast").returncode == 2


def test_the_c_engine_without_a_compiler_is_refused_in_one_line(library: Path) -> None:
    """Catches a traceback, or a score by another engine than the one asked for."""
    done = lubetrip("score", library, "--engine", "c", CC="no-such-compiler")

    assert (done.returncode, done.stdout) == (2, "")
    assert "no-such-compiler" in done.stderr
    assert len(done.stderr.splitlines()) == 1


@pytest.mark.slow("compiles what only it runs")
@pytest.mark.parametrize("name", ENGINES)
def test_what_python_gets_names_the_engine_that_ran(name: str, library: Path, tmp_path: Path) -> None:
    """Catches a score or an evidence record, made from Python, that names an engine which did not run."""
    engine = engine_named(name)
    trace_runs: list[str] = []

    def counted(trace: Trace, settings: Settings) -> Replay:
        trace_runs.append(trace.name)
        return engine.replay(trace, settings)

    settings = read_settings(library / "settings.toml")
    result = score(read_library(library), settings, engine=replace(engine, replay=counted))
    write_record(tmp_path / "record", read_library(library), result)
    about = json.loads((tmp_path / "record" / "record.json").read_text())

    assert trace_runs == ["fault", "quiet"]
    assert result.as_json()["logic"]["engine"] == about["logic"]["engine"] == name
    assert ("port_digest" in about["logic"]) == (name == "c")
    assert check_record(tmp_path / "record", library).holds


def test_an_engine_of_ones_own_is_named_and_its_record_does_not_pass_for_another(library: Path, tmp_path: Path) -> None:
    """Catches a planted engine whose verdicts go out under the name and digest of the reference."""
    never = Engine("never", "0" * 64, lambda trace, settings: Replay((), (), 0, 0, locked_out=False))
    result = score(read_library(library), read_settings(library / "settings.toml"), engine=never)
    write_record(tmp_path / "record", read_library(library), result)

    assert result.totals.missed == 1
    assert result.as_json()["logic"] == {"engine": "never", "digest": "0" * 64}
    with pytest.raises(Refusal, match=r'logic\.engine = "never": no such engine'):
        check_record(tmp_path / "record", library)


@pytest.mark.parametrize(
    ("on_disk", "rows", "name"),
    [
        (True, 1000, "portable"),
        (True, 10_000_000, "compiled"),
        (False, 1000, "portable"),
        (False, 20_000, "portable"),
        (False, 10_000_000, "compiled"),
    ],
)
def test_small_libraries_never_wait_for_a_compiler(
    on_disk: bool, rows: int, name: str, library: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Catches a first run that compiles for seconds to replay for one, and a year of rows that is interpreted."""
    monkeypatch.setattr(compiled, "is_on_disk", lambda: on_disk)
    monkeypatch.setattr(engines, "rows_about", lambda paths: rows)
    assert engine_for([library / "fault.csv"]).name == name


def test_the_rows_of_a_library_are_guessed_within_a_factor_of_two(library: Path) -> None:
    """Catches a guess that is off by so much that the wrong engine is chosen: 401 and 1201 rows here."""
    assert 1602 / 2 < engines.rows_about([library / "fault.csv", library / "quiet.csv"]) < 1602 * 2


def test_the_rows_of_a_parquet_trace_are_those_it_tells_of(tmp_path: Path) -> None:
    """Catches a guess by size, which says little of a file that is packed, and a damaged one that ends the guessing."""
    pq.write_table(pa.table({"time_s": range(5000)}), tmp_path / "a.parquet")
    (tmp_path / "b.parquet").write_bytes(b"PAR1")

    assert engines.rows_about([tmp_path / "a.parquet", tmp_path / "b.parquet"]) == 5000
