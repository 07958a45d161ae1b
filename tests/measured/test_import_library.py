"""Imported traces in a library: entries, profiles that are found again, the same file twice; and the command."""

import hashlib
import io
import json
import tomllib
from pathlib import Path

import numpy as np
import pytest

from replay.ground.refusal import Refusal
from replay.library import read_library
from replay.measured import into_library
from replay.trace import read_trace
from tests.support.command import lubetrip
from tests.support.measured import HEADER, PROFILE, bring_in, import_file, profile_with

LOG = HEADER + "0;3.5;2.0;1\n1;3.6;2.0;1\n2;3.5;2.1;0\n"
TEXTS = 'machine = "basalt"\noil = "still-68"\nfamily = "field return"\nnote = "from the night shift"'


@pytest.fixture
def log(tmp_path: Path) -> Path:
    """Return a folder with a log and its profile."""
    (tmp_path / "Log 7.csv").write_text(LOG)
    (tmp_path / "logger.toml").write_text(profile_with(trace=TEXTS))
    return tmp_path


def test_an_entry_says_where_its_trace_comes_from(log: Path) -> None:
    """Catches a label that nobody gave, and a trace whose source nobody can find again. No path of a disk is kept."""
    import_file(log / "Log 7.csv", log / "library", log / "logger.toml")
    (entry,) = read_library(log / "library").entries

    assert (entry.id, entry.label, entry.machine, entry.oil) == ("log-7", "undecided", "basalt", "still-68")
    assert (entry.family, entry.note) == ("field return", "from the night shift")
    digest = hashlib.sha256(LOG.encode()).hexdigest()
    assert entry.origin == f"recorded: Log 7.csv, SHA-256 {digest}, starts at 0.000 s of the logger's time"
    assert str(log) not in (log / "library" / "library.toml").read_text()


def test_a_library_keeps_every_byte_it_had(library: Path, log: Path) -> None:
    """Catches comments, order or labels lost when an entry is added."""
    before = "# hand-written\n" + (library / "library.toml").read_text() + "\n[mix]  # how often\nstarved = 2.0\n"
    (library / "library.toml").write_text(before)
    import_file(log / "Log 7.csv", library, log / "logger.toml")
    after = (library / "library.toml").read_text()

    assert after.startswith(before.rstrip("\n"))
    assert [entry.id for entry in read_library(library).entries] == ["fault", "quiet", "log-7"]


def test_the_same_file_is_recognised_whatever_its_name(log: Path) -> None:
    """Catches a machine that counts twice in the statistics."""
    import_file(log / "Log 7.csv", log / "library", log / "logger.toml")
    (log / "copy.csv").write_text(LOG)
    before = (log / "library" / "library.toml").read_bytes()
    report = import_file(log / "copy.csv", log / "library", log / "logger.toml")

    assert report.already == ["log-7"]
    assert (log / "library" / "library.toml").read_bytes() == before
    assert len(list((log / "library" / "traces").iterdir())) == 1


def test_another_file_of_the_same_name_gets_an_id_of_its_own(log: Path) -> None:
    """Catches a trace that is written over."""
    import_file(log / "Log 7.csv", log / "library", log / "logger.toml")
    (log / "Log 7.csv").write_text(LOG + "3;3.5;2;0\n")
    import_file(log / "Log 7.csv", log / "library", log / "logger.toml")
    ids = [entry.id for entry in read_library(log / "library").entries]

    assert ids[0] == "log-7"
    assert ids[1].startswith("log-7-")


def test_a_profile_is_kept_and_found_again_by_the_header(log: Path) -> None:
    """Catches a mapping that has to be made for every file, and one that is taken for another header."""
    import_file(log / "Log 7.csv", log / "library", log / "logger.toml")
    kept = log / "library" / "profiles" / "logger.toml"
    (log / "next.csv").write_text(LOG.replace(";", ",").replace("3.6", "3.7"))
    import_file(log / "next.csv", log / "library")

    assert len(tomllib.loads(kept.read_text())["fingerprints"]) == 1
    assert len(read_library(log / "library").entries) == 2
    (log / "other.csv").write_text(LOG.replace("oil", "oil 2"))
    with pytest.raises(Refusal, match=r"no profile .* is for its header .*--guess other.csv"):
        import_file(log / "other.csv", log / "library")
    (kept.with_name("second.toml")).write_text(kept.read_text())
    (log / "third.csv").write_text(LOG + "3;3.5;2;0\n")
    with pytest.raises(Refusal, match="are both for its header"):
        import_file(log / "third.csv", log / "library")


def test_nothing_is_left_when_the_library_cannot_be_written(log: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Catches traces without entries after a full disk."""

    def full(path: Path, text: str) -> None:
        raise Refusal(f"{path}: {text[:0]}no space left")

    monkeypatch.setattr(into_library, "write_text", full)
    with pytest.raises(Refusal, match="no space left"):
        import_file(log / "Log 7.csv", log / "library", log / "logger.toml")
    assert not (log / "library").exists()


def test_long_traces_become_parquet_with_the_same_content(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Catches rows lost between the pieces in which a long trace is written, and readings that differ by format."""
    text = HEADER + "".join(f"{s};{3 + s % 7 / 10:.1f};{'' if s % 5 == 0 else 2};{s % 2}\n" for s in range(1000))
    _, (short,) = bring_in(tmp_path, text)
    monkeypatch.setattr(into_library, "CSV_ROWS", 100)
    monkeypatch.setattr(into_library, "GROUP_ROWS", 64)
    report, (long,) = bring_in(tmp_path, text, block_bytes=200)

    assert report.traces[0].file.endswith(".parquet")
    for name in ("time_ms", "oil_pa", "suction_pa", "running"):
        assert np.array_equal(getattr(short, name), getattr(long, name)), name


def test_optional_signals_come_along(tmp_path: Path) -> None:
    """Catches a crankcase, temperature, speed or reset column that is read and not written, or without its unit."""
    text = "t;oil;suction;run;crank;T [degF];n [Hz];ack\n0;3;2;1;2.1;212;24;0\n1;3;2;1;;;;1\n"
    extra = {
        "crankcase_pressure": 'column = "crank"\nunit = "bar"\nreference = "gauge"',
        "oil_temperature": 'column = "T [degF]"',
        "speed": 'column = "n [Hz]"',
        "reset": 'column = "ack"',
    }
    report, (trace,) = bring_in(tmp_path, text, profile_with(**extra))
    signals = report.as_json()["signals"]

    assert trace.crankcase_pa.tolist() == [311325, -1000000000]
    assert trace.reset.tolist() == [0, 1]
    assert (signals["oil_temperature"]["most"], signals["speed"]["most"]) == (100.0, 1440.0)


def test_the_command_imports_reports_and_goes_on_after_a_refused_file(log: Path) -> None:
    """Catches one broken file that keeps the others out, an exit status of 0 for it, and a report nobody can parse."""
    (log / "broken.csv").write_text(LOG + "3;x;2;1\n")
    out = lubetrip(
        "import",
        log / "broken.csv",
        log / "Log 7.csv",
        "--profile",
        log / "logger.toml",
        "--to",
        log / "lib",
        "--json",
        "-",
    )
    told = json.loads(out.stdout)

    assert out.returncode == 2
    assert "broken.csv: line 5, oil" in out.stderr
    assert [item["file"] for item in told["imports"]] == ["Log 7.csv"]
    assert "line 5, oil" in told["refused"][0]
    assert told["imports"][0]["rows"]["kept"] == 3
    assert read_trace(log / "lib" / told["imports"][0]["traces"][0]["file"]).running.tolist() == [1, 1, 0]


def test_the_report_fits_80_columns_and_says_what_was_done(log: Path) -> None:
    """Catches a report that is cut, and one without rows, ranges, traces or the caution."""
    out = lubetrip("import", log / "Log 7.csv", "--profile", log / "logger.toml", "--to", log / "lib")

    assert out.returncode == 0
    assert max(map(len, out.stdout.splitlines())) <= 80
    for part in ("kept", "oil pressure", "log-7", "undecided", "Not a certified safety device", "logger.toml"):
        assert part in out.stdout


def test_the_command_needs_a_library(log: Path) -> None:
    """Catches an import into nowhere."""
    out = lubetrip("import", log / "Log 7.csv")
    assert out.returncode == 2
    assert "--to" in out.stderr


def test_the_profile_of_the_guide_imports_its_own_example(tmp_path: Path) -> None:
    """Catches documentation that no longer works: the guide's profile on a file with its header."""
    guide = (Path(__file__).parents[2] / "replay" / "guides" / "profile.md").read_text(encoding="utf-8")
    profile = guide.split("```toml\n", 1)[1].split("```", 1)[0]
    text = "Coldstore;room 3\nZeit;Pöl;Psaug;Töl;Strom\n;bar(g);bar;°C;A\n"
    text += "14.03.2026 10:00:00;3,41;2,05;51,5;24,8\n14.03.2026 10:00:01;---;2,05;51,5;0,4\n"
    report, (trace,) = bring_in(tmp_path, text.encode("cp1252"), profile)

    assert trace.running.tolist() == [1, 0]
    assert trace.oil_pa.tolist() == [341000 + 100845, -1000000000]
    assert "2026-03-14T10:00:00.000Z, zone Europe/Dublin" in report.traces[0].start
    assert PROFILE


def test_a_wrong_profile_is_told_once_and_a_known_file_says_what_would_read_it_again(log: Path) -> None:
    """Catches the same complaint for each of a week's files, and a corrected profile that is passed over in silence."""
    (log / "open.toml").write_text('[time]\ncolumn = "?"\n')
    refused = lubetrip("import", *[log / "Log 7.csv"] * 3, "--profile", log / "open.toml", "--to", log / "lib")
    bring = ("import", log / "Log 7.csv", "--profile", log / "logger.toml", "--to", log / "lib")
    lubetrip(*bring)

    assert (refused.returncode, len(refused.stderr.splitlines())) == (2, 1)
    assert "into a new library" in " ".join(lubetrip(*bring).stdout.split())


def test_a_status_on_change_that_was_not_declared_is_told_beside_the_rows_it_costs() -> None:
    """Catches a file of which four rows are left without a word why."""
    from rich.console import Console

    from replay.display.imported import view
    from replay.measured.assemble import Counts
    from replay.measured.report import Report

    def shown(without: int) -> str:
        console = Console(width=160, file=io.StringIO())
        console.print(view(Report("a.csv", "0" * 64, counts=Counts(read=10, without_status=without))))
        return str(console.file.getvalue())  # type: ignore[attr-defined]

    assert "on_change = true" in shown(8)
    assert "on_change" not in shown(2)
