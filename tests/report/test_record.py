"""Evidence records: complete, readable alone, and checked byte for byte."""

import json
import shutil
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest

from replay.engine import engine_named
from replay.library import read_library
from replay.report import record
from replay.report.record import check_record, write_record
from replay.score import score
from replay.settings import read_settings
from tests.conftest import SETTINGS
from tests.support.command import installed, lubetrip

FILES = ["record.json", "report.txt", "score.json", "settings.toml"]


@pytest.fixture
def kept(library: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a record of the small library."""
    folder = tmp_path_factory.mktemp("records") / "record"
    loaded = read_library(library)
    write_record(folder, loaded, score(loaded, read_settings(library / "settings.toml")))
    return folder


def test_a_record_holds_what_a_reviewer_needs(kept: Path, library: Path) -> None:
    """Catches a record without its settings, digests, versions or verdict, or with leftovers of the writing."""
    about = json.loads((kept / "record.json").read_text())
    report = (kept / "report.txt").read_text()

    assert sorted(path.name for path in kept.iterdir()) == FILES
    assert [path.name for path in kept.parent.iterdir()] == ["record"]
    assert (kept / "settings.toml").read_bytes() == (library / "settings.toml").read_bytes()
    assert about["verdict"] == "met"
    assert set(about["versions"]) == {"python", "lubetrip", "numpy", "pyarrow", "scipy"}
    assert about["judge"]["digest"] != about["logic"]["digest"]
    digests = (about[name]["digest"] for name in ("logic", "judge", "library"))
    for digest in (about["settings_digest"], *digests):
        assert len(digest) == 64
        assert digest in report
    for said in ("Acceptance: met", "starved", "engine    portable", "never stops", "missed 0 of 1", "Clopper-Pearson"):
        assert said in report


def test_an_untouched_record_holds(kept: Path) -> None:
    """Catches a record with a time, a path or a host in what has to come out again."""
    done = lubetrip("record", "check", kept)
    assert (done.returncode, done.stdout) == (0, f"{kept}: the record holds, byte for byte\n")


def test_settings_are_kept_byte_for_byte(library: Path, tmp_path: Path) -> None:
    """Catches settings kept with other line ends, of which the digest of the file is another one."""
    settings = library / "settings.toml"
    settings.write_bytes(settings.read_bytes().replace(b"\n", b"\r\n"))
    loaded = read_library(library)
    write_record(tmp_path / "record", loaded, score(loaded, read_settings(settings)))

    assert (tmp_path / "record" / "settings.toml").read_bytes() == settings.read_bytes()
    assert check_record(tmp_path / "record").holds


def test_a_record_is_in_the_units_of_its_settings_whatever_was_asked_for(kept: Path, library: Path) -> None:
    """Catches a record made with `--units` that does not hold when it is checked without."""
    other = kept.with_name("other")
    assert lubetrip("score", library, "--units", "us", "--record", other).returncode == 0

    assert [(kept / name).read_bytes() for name in FILES] == [(other / name).read_bytes() for name in FILES]


def test_a_record_is_checked_by_the_engine_that_made_it(
    library: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Catches a record of the compiled logic that never holds, or of which another engine is said to have made it."""
    portable, loaded = engine_named("portable"), read_library(library)
    monkeypatch.setattr(record, "engine_named", lambda name: replace(portable, name=name))
    made = score(loaded, read_settings(library / "settings.toml"), engine=replace(portable, name="compiled"))
    write_record(tmp_path / "record", loaded, made)

    assert check_record(tmp_path / "record").broken == ()


@pytest.mark.slow("starts workers or commands as processes of their own")
def test_two_records_of_one_score_are_the_same(kept: Path, library: Path) -> None:
    """Catches a record that depends on when it was made, and one of the command that is another than the function's."""
    other = kept.with_name("other")
    assert installed("score", library, "--record", other, PYTHONHASHSEED="7").returncode == 0
    assert [(kept / name).read_bytes() for name in FILES] == [(other / name).read_bytes() for name in FILES]


def edit(name: str, old: str, new: str) -> Callable[[Path, Path], None]:
    """Return what replaces text in a file of the record or, by a leading slash, of the library."""

    def change(kept: Path, library: Path) -> None:
        path = library / name[1:] if name.startswith("/") else kept / name
        text = path.read_text()
        assert old in text
        path.write_text(text.replace(old, new, 1))

    return change


TAMPERED = {
    "one blank in the report": (edit("report.txt", "met", "met "), "report.txt is not as it was written"),
    "a margin in the JSON": (edit("score.json", "121.0", "122.0"), "score.json comes out otherwise"),
    "a setting": (edit("settings.toml", '"60 s"', '"61 s"'), "settings: "),
    "a comment in the settings": (edit("settings.toml", "[integral]", "# \n[integral]"), "settings.toml is not as it"),
    "the verdict": (edit("record.json", '"verdict": "met"', '"verdict": "not met"'), "verdict: not met then, met now"),
    "the library's digest": (edit("record.json", '"digest"', '"digest": "0", "was"'), "library: 0 then"),
    "a reading": (edit("/fault.csv", "\n7,", "\n7.001,"), "library: "),
    "a label": (edit("/library.toml", "250.0", "260.0"), "library: "),
    "a file is gone": (lambda kept, library: (kept / "score.json").unlink(), "score.json is missing"),
    "the settings are gone": (lambda kept, library: (kept / "settings.toml").unlink(), "settings.toml is missing"),
}


@pytest.mark.slow("simulates, scores or draws many traces")
@pytest.mark.parametrize("name", TAMPERED)
def test_a_record_that_was_touched_does_not_hold(name: str, kept: Path, library: Path) -> None:
    """Catches a check that compares digests with themselves, or verdicts only."""
    damage, said = TAMPERED[name]
    damage(kept, library)
    found = check_record(kept)

    assert not found.holds
    assert any(fault.startswith(said) for fault in found.broken), found.broken


def test_a_record_of_another_judge_says_so(kept: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Catches a judge that was changed and signs as the one that is reviewed, and figures that nobody compared then."""
    monkeypatch.setattr("replay.report.record.judge_digest", lambda: "0" * 64)
    monkeypatch.setattr("replay.score.scoring.judge_digest", lambda: "0" * 64)
    found = check_record(kept)

    (fault,) = found.broken
    assert fault.startswith("judge: ") and fault.endswith("0000000 now")
    assert "judged by another judge then, and every figure comes out the same now" in found.notes

    text = (kept / "score.json").read_text()
    assert '"missed": 0' in text
    (kept / "score.json").write_text(text.replace('"missed": 0', '"missed": 1'))
    found = check_record(kept)
    assert "score.json comes out otherwise now" in found.broken
    assert not any("every figure" in note for note in found.notes)


def test_a_record_that_does_not_hold_exits_1(kept: Path, library: Path) -> None:
    """Catches a check that a script takes for passed, or that does not say why not."""
    edit("report.txt", "met", "met ")(kept, library)
    done = lubetrip("record", "check", kept)

    assert (done.returncode, done.stderr) == (1, "")
    assert "report.txt is not as it was written" in done.stdout
    assert "does NOT hold" in done.stdout


def test_versions_are_told_and_do_not_break_a_record(kept: Path, library: Path) -> None:
    """Catches a record that no update survives, and an update that nobody hears of."""
    edit("record.json", '"python": "', '"python": "2.')(kept, library)
    done = lubetrip("record", "check", kept)
    assert done.returncode == 0
    assert "python 2." in done.stdout


def test_the_library_may_have_moved(kept: Path, library: Path) -> None:
    """Catches a record bound to one machine's folders."""
    moved = library.with_name("moved")
    shutil.move(library, moved)

    left = lubetrip("record", "check", kept)
    assert left.returncode == 2
    assert "the record's library is no longer there; accepted: --library LIBRARY" in left.stderr
    assert lubetrip("record", "check", kept, "--library", moved).returncode == 0


def test_what_is_no_record_is_refused(kept: Path, library: Path) -> None:
    """Catches a traceback on a folder of something else, and a record written over other files."""
    for folder in (library, kept / "nowhere"):
        done = lubetrip("record", "check", folder)
        assert (done.returncode, done.stdout, len(done.stderr.splitlines())) == (2, "", 1)
    (kept / "record.json").write_text('{"schema": "lubetrip-record/1", "files": {}}')
    assert lubetrip("record", "check", kept).returncode == 2
    for folder in (library, kept, kept / "report.txt", kept / "no" / "where"):
        done = lubetrip("score", library, "--record", folder)
        assert (done.returncode, done.stdout, len(done.stderr.splitlines())) == (2, "", 1)


def test_not_met_is_recorded_too(library: Path, kept: Path) -> None:
    """Catches evidence that is kept only when it pleases."""
    (library / "settings.toml").write_text(SETTINGS.replace('"60 s"\nfloor_weight', '"30 min"\nfloor_weight'))
    folder = kept.with_name("bad")
    assert lubetrip("score", library, "--record", folder).returncode == 1
    assert lubetrip("record", "check", folder).returncode == 0
    assert "NOT MET" in (folder / "report.txt").read_text()
