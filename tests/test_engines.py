"""Three engines, one result; and which of them a library gets without asking."""

import json
from pathlib import Path

import pytest

from replay import compiled, engines
from replay.library import read_library
from tests.command import lubetrip
from tests.toolchain import need

ENGINES = ("portable", "compiled", "c")


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


@pytest.mark.parametrize(
    ("on_disk", "rows", "name"),
    [
        (True, 1000, "portable"),
        (True, 10_000_000, "compiled"),
        (False, 1000, "portable"),
        (False, 200_000, "portable"),
        (False, 10_000_000, "compiled"),
    ],
)
def test_small_libraries_never_wait_for_a_compiler(
    on_disk: bool, rows: int, name: str, library: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Catches a first run that compiles for seconds to replay for one, and a year of rows that is interpreted."""
    monkeypatch.setattr(compiled, "is_on_disk", lambda: on_disk)
    monkeypatch.setattr(engines, "rows_about", lambda library: rows)
    assert engines.fitting(read_library(library)) == name


def test_the_rows_of_a_library_are_guessed_within_a_factor_of_two(library: Path) -> None:
    """Catches a guess that is off by so much that the wrong engine is chosen: 401 and 3601 rows here."""
    assert 4002 / 2 < engines.rows_about(read_library(library)) < 4002 * 2
