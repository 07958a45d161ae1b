"""A full disk, Ctrl-C or an end from outside in the middle of a write: no half file, and nothing lost."""

import contextlib
import resource
import signal
import subprocess
import sys
import textwrap
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import click
import pytest
from click.testing import CliRunner, Result

from replay.cli import main
from replay.port import coverage, vectors
from tests.conftest import SETTINGS, entry, trace_csv
from tests.support.hostile import LOG, prepare, small_vectors
from tests.support.measured import PROFILE

pytestmark = pytest.mark.slow("simulates, scores or draws many traces")

LIMIT = 16  # bytes that a file may have: less than any output


@dataclass(frozen=True)
class Command:
    """Arguments of a command that writes `target`; a folder that has to be new is not there before."""

    arguments: tuple[str, ...]
    target: str
    new: bool = False


# In a folder with the library LIB, settings, a log and its profile.
COMMANDS = {
    "score --json": Command(("score", "LIB", "--json", "out.json"), "out.json"),
    "score --junit": Command(("score", "LIB", "--junit", "out.xml"), "out.xml"),
    "score --record": Command(("score", "LIB", "--record", "kept"), "kept", new=True),
    "score --plots": Command(("score", "LIB", "--plots", "plots"), "plots/0001-fault.png"),
    "explain --json": Command(("explain", "LIB/fault.csv", "--json", "out.json"), "out.json"),
    "guarantee --json": Command(("guarantee", "LIB/settings.toml", "--json", "out.json"), "out.json"),
    "compare --json": Command(("compare", "LIB/good.json", "LIB/good.json", "--json", "out.json"), "out.json"),
    "report": Command(("report", "LIB", "-o", "out.html"), "out.html"),
    "bench": Command(("bench", "LIB", "-o", "out.html"), "out.html"),
    "show": Command(("show", "LIB/fault.csv", "-o", "out.svg"), "out.svg"),
    "export": Command(("export", "LIB/settings.toml", "--to", "c", "--out", "out.c"), "out.c"),
    "import": Command(("import", "log.csv", "--profile", "profile.toml", "--to", "LIB"), "LIB/library.toml"),
    "import, new": Command(("import", "log.csv", "--profile", "profile.toml", "--to", "new"), "new", new=True),
    "import --guess": Command(("import", "--guess", "log.csv", "--out", "out.toml"), "out.toml"),
    "label": Command(("label", "LIB", "fault", "--undecided", "--by", "me", "--note", "x"), "LIB/library.toml"),
    "triage --csv": Command(("triage", "LIB", "--csv", "out.csv"), "out.csv"),
    "triage --json": Command(("triage", "LIB", "--json", "out.json"), "out.json"),
    "vectors": Command(("vectors", "OUT"), "OUT/vectors.txt"),
    "conform": Command(("conform", "--port", "sh port.sh", "--record", "out.json"), "out.json"),
    "tune": Command(("tune", "LIB", "--vary", "trip_delay=50s,60s", "--quick", "--out", "tuned"), "tuned", new=True),
    "synth": Command(("synth", "made", "--count", "1", "--seed", "1", "--families", "power-dip"), "made", new=True),
    "demo": Command(("demo", "shown"), "shown", new=True),
    "machine new": Command(("machine", "new", "machine.toml"), "machine.toml", new=True),
}
each_command = pytest.mark.parametrize("name", COMMANDS)


@pytest.fixture
def place(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Work in a folder with everything that the commands read, and with vectors that take no search."""
    library = tmp_path / "LIB"
    library.mkdir()
    prepare(library)
    (library / "fault.csv").write_text(trace_csv(200, lambda s: 120.0 if s < 20 else 5.0))
    text = 'settings = "settings.toml"\n' + entry("fault", "ride_through = true")
    (library / "library.toml").write_text(text + entry("other", "undecided = true", "g", "good_trace.csv"))
    (library / "good_trace.csv").write_text(trace_csv(60, lambda s: 120.0))
    for name in ("good.csv", "spoiled.csv"):
        (library / name).unlink(missing_ok=True)
    (tmp_path / "log.csv").write_text(LOG)
    (tmp_path / "profile.toml").write_text(PROFILE)
    (tmp_path / "port.sh").write_text(
        "read x; echo port 32 wrong\n" + "read x; echo none\n" * 5 + "read x; echo wrong\nread x; echo wrong\nread x\n"
    )
    (tmp_path / "OUT").mkdir()
    (tmp_path / "plots").mkdir()
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr(vectors, "build", small_vectors)
    monkeypatch.setattr(vectors, "covered", lambda _: set())
    monkeypatch.setattr(coverage, "wanted", set)
    return tmp_path


@contextlib.contextmanager
def full_disk() -> Iterator[None]:
    """Let no file grow beyond a few bytes: writing fails as it does on a full disk, with an OSError."""
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (LIMIT, hard))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))


def files(folder: Path) -> dict[str, bytes]:
    """Return every file with its content and every folder, hidden ones too."""
    return {
        path.relative_to(folder).as_posix(): path.read_bytes() if path.is_file() else b""
        for path in sorted(folder.rglob("*"))
    }


def run(name: str) -> Result:
    """Run the command in this process."""
    return CliRunner().invoke(main, list(COMMANDS[name].arguments))


def prepared(name: str, place: Path) -> dict[str, bytes]:
    """Put an old file where the command writes, unless that has to be new, and return all files."""
    target = place / COMMANDS[name].target
    if not COMMANDS[name].new and not target.exists():
        target.write_bytes(b"old")
    return files(place)


def left(name: str, place: Path) -> dict[str, bytes]:
    """Return the files after a failure: of a library that is being made, `.synth/` with whole work may stay."""
    found = files(place)
    if name == "synth":
        return {path: content for path, content in found.items() if not path.startswith("made")}
    return found


@each_command
def test_a_full_disk_is_told_with_the_file_and_leaves_what_was_there(name: str, place: Path) -> None:
    """Catches half a file under its name, litter beside it, a lost old file, exit status 0 and a traceback."""
    before = prepared(name, place)
    if name == "tune":  # what it compiles is kept on disk too, where there is room
        CliRunner().invoke(main, [*COMMANDS[name].arguments[:-1], str(place.with_name("warm"))])
    with full_disk():
        done = run(name)

    assert done.exit_code == 2, (done.output, done.exception)
    assert COMMANDS[name].target.split("/")[0] in done.stderr
    assert "cannot be" in done.stderr
    assert left(name, place) == before
    if name == "synth":
        assert not (place / "made" / "library.toml").exists()
        assert not [path for path in (place / "made").rglob("*") if path.is_file()]

    done = run(name)  # with room it would have come out
    assert done.exit_code in (0, 1, 3), (done.output, done.exception)
    assert files(place) != before


@each_command
def test_an_interrupt_in_a_write_leaves_what_was_there(name: str, place: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Catches a file that is written in its place, so that Ctrl-C leaves a half of it."""
    before = prepared(name, place)

    def interrupted(*_: object) -> None:
        raise KeyboardInterrupt

    with monkeypatch.context() as patch:
        patch.setattr(Path, "replace", interrupted)  # the last moment at which nothing has changed yet
        done = run(name)

    assert done.exit_code == 130, (done.output, done.exception)
    assert "lubetrip: interrupted" in done.output
    assert left(name, place) == before


def test_a_command_that_is_ended_clears_away_what_it_began(tmp_path: Path) -> None:
    """Catches a hidden half file, left by a service manager or a shutdown that ends the command."""
    (tmp_path / "settings.toml").write_text(SETTINGS)
    (tmp_path / "out.c").write_text("old")
    before = files(tmp_path)
    program = """
        import time
        from pathlib import Path
        from replay.cli import main
        def never(*_):
            print("writing", flush=True)
            time.sleep(60)
        Path.replace = never
        main(["export", "settings.toml", "--to", "c", "--out", "out.c"])
    """
    process = subprocess.Popen(
        [sys.executable, "-c", textwrap.dedent(program)], cwd=tmp_path, stdout=subprocess.PIPE, text=True
    )
    assert process.stdout is not None
    assert process.stdout.readline() == "writing\n"
    process.send_signal(signal.SIGTERM)

    assert process.wait(30) == 128 + signal.SIGTERM
    process.stdout.close()
    assert files(tmp_path) == before


def test_output_that_finds_no_room_is_told(tmp_path: Path) -> None:
    """Catches a traceback, or exit status 0, where standard output is a file on a full disk."""
    (tmp_path / "settings.toml").write_text(SETTINGS)
    command = Path(sys.executable).with_name("lubetrip")
    with Path("/dev/full").open("wb") as full:
        done = subprocess.run(
            [command, "guarantee", tmp_path / "settings.toml", "--json", "-"],
            stdout=full,
            stderr=subprocess.PIPE,
            text=True,
            check=False,
        )

    assert (done.returncode, done.stderr) == (2, "lubetrip: output: No space left on device\n")


def test_every_option_that_writes_is_in_the_table() -> None:
    """Catches a command added later that is tried neither on a full disk nor interrupted."""
    writing = ("-o", "--out", "--json", "--junit", "--record", "--plots", "--plot", "--csv")
    tried = {command.arguments[0] for command in COMMANDS.values()}
    untried = {
        "tolerances",
        "fit",
        "forecast",
    }  # what they write goes through the same functions; minutes of work before

    for name, command in main.commands.items():
        options = {option for parameter in command.params for option in parameter.opts}
        if isinstance(command, click.Command) and options & set(writing):
            assert name in tried | untried, name
