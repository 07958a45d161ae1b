"""How a command ends: the status says what kind of end it was, and no failure is taken for a verdict."""

import errno
import os
import signal
import subprocess
import sys
import textwrap
from collections.abc import Callable
from pathlib import Path

import click
import pytest
from click.testing import CliRunner, Result

from replay.cli import main
from replay.ground import toml_files
from tests.conftest import SETTINGS


class UnheardOf(Exception):  # noqa: N818 - a thing that no handler knows
    """What nobody foresaw."""


def failing(error: BaseException) -> Callable[..., None]:
    """Return a function that raises."""

    def fail(*_: object, **__: object) -> None:
        raise error

    return fail


@pytest.fixture
def ends(settings_file: Path, monkeypatch: pytest.MonkeyPatch) -> Callable[..., Result]:
    """Return how `guarantee` ends when reading its settings fails so."""

    def run(error: BaseException, **environment: str) -> Result:
        monkeypatch.setattr(toml_files, "parse_toml", failing(error))
        return CliRunner().invoke(main, ["guarantee", str(settings_file)], env=environment)

    return run


@pytest.mark.parametrize(
    ("error", "status", "told"),
    [
        (KeyboardInterrupt(), 130, "lubetrip: interrupted\n"),
        (MemoryError(), 2, "lubetrip: out of memory; accepted: a smaller file, fewer --jobs, or a computer with more memory\n"),
        (UnheardOf("two\nlines"), 70, "lubetrip: unexpected error: UnheardOf (two); nothing was judged; LUBETRIP_TRACEBACK=1"),
        (AssertionError(), 70, "lubetrip: unexpected error: AssertionError; nothing was judged; LUBETRIP_TRACEBACK=1"),
        (EOFError("a worker"), 70, "lubetrip: unexpected error: EOFError (a worker)"),
        (ZeroDivisionError("\x1b[2J"), 70, r"lubetrip: unexpected error: ZeroDivisionError (\x1b[2J)"),
        (click.UsageError("no such thing."), 2, "lubetrip: guarantee: no such thing; accepted: see "),
    ],
)  # fmt: skip
def test_each_kind_of_failure_has_its_status(
    error: BaseException, status: int, told: str, ends: Callable[..., Result]
) -> None:
    """Catches a crash or Ctrl-C that reads as "acceptance not met", and a traceback where one line would do."""
    done = ends(error)

    assert (done.exit_code, done.stdout) == (status, "")
    assert done.stderr.removeprefix("\n").startswith(told)
    assert "Traceback" not in done.stderr
    if status != 2:
        assert len(done.stderr.strip().splitlines()) == 1


@pytest.mark.parametrize(
    ("error", "status", "told"),
    [
        (OSError(errno.EIO, "Input/output error"), 2, "lubetrip: output: Input/output error\n"),
        (OSError("no libx.so"), 70, "lubetrip: unexpected error: OSError (no libx.so); nothing was judged"),
    ],
)
def test_a_library_that_cannot_be_loaded_is_no_full_disk(
    error: OSError, status: int, told: str, settings_file: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Catches an installation that is broken, or a machine without memory for it, told as a fault of the output."""
    monkeypatch.setattr("replay.settings.guarantee.guarantee", failing(error))
    done = CliRunner().invoke(main, ["guarantee", str(settings_file)])

    assert (done.exit_code, done.stdout) == (status, "")
    assert done.stderr.startswith(told)


def test_who_mends_it_is_shown_where(ends: Callable[..., Result]) -> None:
    """Catches a failure that nobody can find any more; the status stays."""
    done = ends(UnheardOf("odd"), LUBETRIP_TRACEBACK="1")

    assert done.exit_code == 70
    assert "Traceback" in done.stderr
    assert "toml_files.py" in done.stderr
    assert done.stderr.endswith("UnheardOf: odd\n")


@pytest.mark.slow("starts a command as a process of its own")
@pytest.mark.parametrize(("signal_sent", "status"), [(signal.SIGINT, 130), (signal.SIGTERM, 143)])
def test_a_signal_has_its_status(signal_sent: signal.Signals, status: int, tmp_path: Path) -> None:
    """Catches 1 for Ctrl-C from the installed command, where click ends the process itself."""
    (tmp_path / "settings.toml").write_text(SETTINGS)
    program = """
        import sys, time
        from replay.ground import toml_files
        from replay.cli import main
        def wait(*_):
            print("reading", flush=True)
            time.sleep(60)
        toml_files.parse_toml = wait
        main(["guarantee", "settings.toml"])
    """
    command = [sys.executable, "-c", textwrap.dedent(program)]
    with subprocess.Popen(command, cwd=tmp_path, stdout=-1, stderr=-1, text=True) as process:
        assert process.stdout is not None
        assert process.stderr is not None
        assert process.stdout.readline() == "reading\n"
        process.send_signal(signal_sent)

        assert process.wait(30) == status
        assert "Traceback" not in process.stderr.read()


@pytest.mark.slow("starts commands as processes of their own")
def test_output_that_fails_is_no_verdict(library: Path) -> None:
    """Catches status 1, or 120 of the interpreter, from a score whose reader has gone or whose disk is full."""
    command = [Path(sys.executable).with_name("lubetrip"), "score", library]
    reader, writer = os.pipe()
    os.close(reader)
    gone = subprocess.run(command, stdout=writer, stderr=subprocess.PIPE, text=True, check=False)
    os.close(writer)
    (library / "slow.toml").write_text(SETTINGS.replace('"60 s"\nfloor_weight', '"30 min"\nfloor_weight'))
    with Path("/dev/full").open("wb") as full:
        not_met = [*command, "--settings", library / "slow.toml"]
        lost = subprocess.run(not_met, stdout=full, stderr=subprocess.PIPE, text=True, check=False)

    assert (gone.returncode, gone.stderr) == (141, "")
    assert (lost.returncode, lost.stderr) == (2, "lubetrip: output: No space left on device\n")
