"""Names that are no text, and things that are no file: each command works with them or says in a line why not."""

import contextlib
import os
import shutil
import signal
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from replay.library import read_library
from tests.conftest import SETTINGS, entry, trace_csv
from tests.support.command import installed, lubetrip
from tests.support.measured import HEADER, PROFILE

pytestmark = pytest.mark.slow("simulates, scores or draws many traces")

ODD = os.fsdecode(b"\xff\xe9")  # of a disk written in another alphabet: no UTF-8
FAULT = "must_trip = { earliest_s = 100.0, deadline_s = 250.0 }"
LOG = HEADER + "0;3.5;2.0;1\n1;3.6;2.0;1\n"

# Each command with names that are no text, in a folder with the library LIB?, its settings, a log and its profile.
COMMANDS = [
    ("score", "LIB?"),
    ("score", "LIB?", "--json", "-"),
    ("score", "LIB?", "--json", "score?.json"),
    ("score", "LIB?", "--junit", "score?.xml", "--plots", "plots?"),
    ("score", "LIB?", "--record", "record?"),
    ("score", "LIB?", "--settings", "LIB?/settings?.toml"),
    ("record", "check", "record?"),
    ("compare", "score?.json", "score?.json"),
    ("compare", "LIB?/settings.toml", "LIB?/settings?.toml", "--library", "LIB?"),
    ("report", "LIB?", "-o", "report?.html"),
    ("bench", "LIB?", "-o", "bench?.html"),
    ("explain", "LIB?/loose?.csv"),
    ("explain", "LIB?/loose?.csv", "--json", "-"),
    ("show", "LIB?/fault.csv", "-o", "plot?.png"),
    ("show", "LIB?/loose?.csv", "--settings", "LIB?/settings?.toml", "-o", "plot?.svg"),
    ("triage", "logs?", "LIB?", "--csv", "t?.csv", "--json", "t?.json", "--html", "t?.html"),
    ("triage", "logs?", "--by-folder", "--settings", "LIB?/settings.toml"),
    ("import", "log?.csv", "--profile", "profile?.toml", "--to", "new?"),
    ("import", "log?.csv", "--to", "new?"),
    ("label", "new?", "log", "--undecided", "--by", "me?", "--note", "so?"),
    ("import", "log?.csv", "--to", "new?", "--replace"),
    ("import", "--guess", "log?.csv", "--out", "guess?.toml"),
    ("guarantee", "LIB?/settings?.toml"),
    ("guarantee", "LIB?/settings?.toml", "--json", "g?.json"),
    ("export", "LIB?/settings?.toml", "--to", "c", "--out", "table?.c"),
    ("export-sources", "sources?.zip", "--settings", "LIB?/settings?.toml"),
    ("tune", "LIB?", "--vary", "trip_delay=50s,60s", "--quick", "--out", "tuned?"),
    ("report", "LIB?", "--tuning", "tuned?", "-o", "report?.html"),
    ("synth", "made?", "--count", "1", "--seed", "1", "--families", "power-dip"),
    ("demo", "demo?"),
]


@pytest.fixture
def place(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Work in a folder with a library, logs and a profile under such names."""
    library = tmp_path / f"LIB{ODD}"
    library.mkdir()
    for name in ("settings.toml", f"settings{ODD}.toml"):
        (library / name).write_text(SETTINGS)
    for name in ("fault.csv", f"loose{ODD}.csv"):
        (library / name).write_text(trace_csv(300, lambda s: 120.0 if s < 100 else 5.0))
    (library / "library.toml").write_text('settings = "settings.toml"\n' + entry("fault", FAULT))
    logs = tmp_path / f"logs{ODD}"
    logs.mkdir()
    shutil.copy(library / "fault.csv", logs / f"machine{ODD}.csv")
    (tmp_path / f"log{ODD}.csv").write_text(LOG)
    (tmp_path / f"profile{ODD}.toml").write_text(PROFILE)
    monkeypatch.chdir(tmp_path)
    return tmp_path


def test_names_that_are_no_text_are_taken_as_they_are(place: Path) -> None:
    """Catches a traceback where a disk of another alphabet is read, and a file or an entry that cannot be read again."""
    for arguments in COMMANDS:
        done = lubetrip(*(text.replace("?", ODD) for text in arguments))

        assert done.returncode in (0, 1, 3), (arguments, done.stderr)
        assert "Traceback" not in done.stderr, arguments
    (kept,) = read_library(place / f"new{ODD}").entries
    assert "me\\udcff\\udce9: undecided (was undecided): so\\udcff\\udce9" in kept.note
    assert {path.name for path in place.iterdir() if ".." not in path.name} >= {f"report{ODD}.html", f"t{ODD}.csv"}


def test_the_installed_command_shows_such_names(place: Path) -> None:
    """Catches a name that the terminal cannot show and that ends the command, in any alphabet of the terminal."""
    for encoding in ("utf-8", "ascii", "cp1252"):
        done = installed(
            "triage",
            place / f"logs{ODD}",
            "--settings",
            place / f"LIB{ODD}" / "settings.toml",
            PYTHONIOENCODING=encoding,
        )
        assert (done.returncode, done.stderr) == (0, "")


@contextlib.contextmanager
def ended_after_a_minute() -> Iterator[None]:
    """End what waits for ever."""

    def end(*_: object) -> None:
        raise AssertionError("waits for ever")

    before = signal.signal(signal.SIGALRM, end)
    signal.alarm(60)
    try:
        yield
    finally:
        signal.alarm(0)
        signal.signal(signal.SIGALRM, before)


# Each command that reads a file, with a name X that is no file.
READING = [
    ("explain", "X", "--settings", "settings.toml"),
    ("explain", "X.parquet", "--settings", "settings.toml"),
    ("show", "X", "--settings", "settings.toml", "-o", "out.svg"),
    ("triage", "X", "--settings", "settings.toml"),
    ("guarantee", "X"),
    ("export", "X", "--to", "c"),
    ("score", "LIB", "--settings", "X"),
    ("compare", "X", "X"),
    ("import", "X", "--profile", "profile.toml", "--to", "new"),
    ("import", "log.csv", "--profile", "X", "--to", "new"),
    ("import", "--guess", "X"),
    ("tolerances", "LIB", "--settings", "settings.toml", "--tolerances", "X"),
    ("conform", "--vectors", "X", "--port", "true"),
]


@pytest.mark.parametrize("kind", ["pipe", "endless", "oversized"])
def test_what_is_no_file_is_told_at_once(kind: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Catches a command that waits for ever for a pipe, or reads a device or a file of a terabyte until memory is full.

    Also one that says of it that it is not there.
    """
    monkeypatch.chdir(tmp_path)
    (tmp_path / "LIB").mkdir()
    (tmp_path / "LIB" / "library.toml").write_text(entry("a", "undecided = true"))
    (tmp_path / "LIB" / "a.csv").write_text(trace_csv(10, lambda s: 120.0))
    (tmp_path / "settings.toml").write_text(SETTINGS)
    (tmp_path / "profile.toml").write_text(PROFILE)
    (tmp_path / "log.csv").write_text(LOG)
    for name in ("X", "X.parquet"):
        if kind == "pipe":
            os.mkfifo(tmp_path / name)
        elif kind == "endless":
            (tmp_path / name).symlink_to("/dev/zero")
        else:
            with (tmp_path / name).open("wb") as file:
                file.truncate(1 << 40)
    for arguments in READING:
        with ended_after_a_minute():
            done = lubetrip(*arguments)

        assert done.returncode == 2, (arguments, done)
        assert len(done.stderr.splitlines()) == 1, (arguments, done.stderr)
        assert "X" in done.stderr, (arguments, done.stderr)
        assert "no such" not in done.stderr, (arguments, done.stderr)


def test_standard_input_is_read_where_it_is_a_file(library: Path) -> None:
    """Catches a trace from a pipe of which half is judged; a file given as standard input is one by another name."""
    command = [
        Path(sys.executable).with_name("lubetrip"),
        "explain",
        "/dev/stdin",
        "--settings",
        library / "settings.toml",
    ]
    with (library / "fault.csv").open("rb") as file:
        read = subprocess.run(command, stdin=file, capture_output=True, text=True, check=False)
    content = (library / "fault.csv").read_text()
    refused = subprocess.run(command, input=content, capture_output=True, text=True, check=False)

    assert (read.returncode, read.stderr) == (0, "")
    assert refused.returncode == 2
    assert refused.stderr == (
        "lubetrip: /dev/stdin: is a pipe, of which everything can be read only once;"
        " accepted: a file on a disk: write it into one first\n"
    )


def test_a_tuning_folder_carries_no_file_from_outside(library: Path, tmp_path: Path) -> None:
    """Catches a page for others that holds whatever file a link in somebody's tuning folder leads to."""
    assert (
        lubetrip("tune", library, "--vary", "trip_delay=50s,60s", "--quick", "--out", tmp_path / "tuned").returncode < 2
    )
    (tmp_path / "secret").write_text("of who writes the page")
    kept = (tmp_path / "tuned" / "pareto.png").read_bytes()
    for name in ("pareto.png", "report.json"):
        path = tmp_path / "tuned" / name
        path.rename(tmp_path / name)
        path.symlink_to(tmp_path / "secret" if name == "pareto.png" else tmp_path / name)
        done = lubetrip("report", library, "--tuning", tmp_path / "tuned", "-o", tmp_path / "page.html")
        assert (done.returncode, "leads out of the folder of the tuning" in done.stderr) == (2, True), name
        assert not (tmp_path / "page.html").exists()
        path.unlink()
        (tmp_path / name).rename(path)
    assert (tmp_path / "tuned" / "pareto.png").read_bytes() == kept
    assert lubetrip("report", library, "--tuning", tmp_path / "tuned", "-o", tmp_path / "page.html").returncode == 0
