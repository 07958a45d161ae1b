"""A library is changed by one command at a time, and a command that is killed lets go of it."""

import datetime as dt
import errno
import fcntl
import os
import signal
import subprocess
import sys
import time
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

import pytest

from replay.ground import lock
from replay.ground.lock import locked
from replay.ground.refusal import Refusal
from replay.library import labels, read_library
from replay.library.labels import relabel
from tests.conftest import entry
from tests.support.measured import HEADER, PROFILE, import_file

HOLDING = """
import sys, time
from pathlib import Path
from replay.ground.lock import locked
with locked(Path(sys.argv[1])):
    print("held", flush=True)
    time.sleep(600)
"""


@pytest.fixture
def room(tmp_path: Path) -> Path:
    """Return a library of one trace, with a log and its profile beside it."""
    (tmp_path / "logger.toml").write_text(PROFILE)
    (tmp_path / "log.csv").write_text(HEADER + "0;3.5;2.0;1\n1;3.6;2.0;1\n")
    folder = tmp_path / "library"
    folder.mkdir()
    (folder / "library.toml").write_text(entry("a", "ride_through = true"))
    (folder / "a.csv").write_text("time_s,oil_pressure_kpa,suction_pressure_kpa,running\n0,400,300,1\n1,400,300,1\n")
    return folder


def holder(folder: Path) -> subprocess.Popen[str]:
    """Return a process that holds a library."""
    process = subprocess.Popen([sys.executable, "-c", HOLDING, folder], stdout=subprocess.PIPE, text=True)
    assert process.stdout is not None
    assert process.stdout.readline() == "held\n"
    return process


def bring_in(folder: Path) -> None:
    """Import the log."""
    import_file(folder.parent / "log.csv", folder, folder.parent / "logger.toml")


def put_label(folder: Path) -> None:
    """Edit the label of the trace."""
    relabel(folder, "a", "undecided", "J. Doe", "looked at again", dt.date(2026, 3, 14))


EDITS = [bring_in, put_label]


@pytest.mark.parametrize("edit", EDITS)
def test_a_killed_command_holds_nobody_up(edit: Any, room: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Catches a lock that outlives its process, so that somebody has to find and delete a file: nothing is waited for here."""
    monkeypatch.setattr(lock, "PATIENCE_S", 0.0)
    killed = holder(room)
    killed.send_signal(signal.SIGKILL)
    killed.wait()
    assert (room / lock.FILE).exists()
    edit(room)

    assert not (room / lock.FILE).exists()
    with locked(room):
        pass


@pytest.mark.parametrize("edit", EDITS)
def test_who_holds_a_library_is_waited_for_and_not_for_ever(
    edit: Any, room: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Catches an edit that takes no lock, and one that hangs without a word; nothing is changed then."""
    before = (room / "library.toml").read_text()
    monkeypatch.setattr(lock, "PATIENCE_S", 0.1)
    with holder(room) as holding:
        with pytest.raises(Refusal, match="another command has been changing this library"):
            edit(room)
        holding.kill()
    assert (room / "library.toml").read_text() == before

    edit(room)
    assert (room / "library.toml").read_text() != before


def test_a_label_and_an_import_at_the_same_time_lose_nothing(room: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Catches a label that writes back the library it read before traces were entered."""
    write = labels.write_whole

    def slowly(path: Path, fill: Any) -> None:
        time.sleep(0.3)
        write(path, fill)

    monkeypatch.setattr(labels, "write_whole", slowly)
    with ThreadPoolExecutor(2) as pool:
        both = [pool.submit(put_label, room), pool.submit(bring_in, room)]
        for edit in both:
            edit.result()

    assert [(one.id, one.label) for one in read_library(room).entries] == [("a", "undecided"), ("log", "undecided")]


def test_those_who_wait_get_it_one_by_one(tmp_path: Path) -> None:
    """Catches two that hold it at once where the file of the lock was removed and made anew between them."""
    held: list[int] = []

    def hold(number: int) -> int:
        with locked(tmp_path):
            held.append(number)
            alone = held == [number]
            time.sleep(0.002)
            held.remove(number)
            return alone

    with ThreadPoolExecutor(8) as pool:
        assert all(pool.map(hold, range(60)))
    assert not list(tmp_path.iterdir())


@pytest.mark.parametrize("code", [errno.ENOSYS, errno.ENOLCK, errno.ENOTSUP])
def test_a_disk_without_locks_is_told(code: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Catches a lock that is only a file again, without a word, where the disk knows no locks."""

    def none(*_: object) -> None:
        raise OSError(code, "no locks here")

    monkeypatch.setattr(fcntl, "flock", none)
    with pytest.raises(Refusal, match=r"cannot be locked \(no locks here\); accepted: a folder"), locked(tmp_path):
        pass


@pytest.mark.parametrize("code", [errno.EROFS, errno.EACCES])
def test_a_folder_that_cannot_be_written_is_told(code: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Catches a traceback in a library on a read-only disk."""
    opened = os.open

    def only_to_read(path: Any, flags: int, *rest: Any, **named: Any) -> int:
        if flags & os.O_CREAT:
            raise OSError(code, "not to be written")
        return opened(path, flags, *rest, **named)

    monkeypatch.setattr(os, "open", only_to_read)
    with pytest.raises(Refusal, match=r"cannot be locked \(not to be written\); accepted: a folder"), locked(tmp_path):
        pass
