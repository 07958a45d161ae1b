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
from replay.ground.places import place_of
from replay.ground.refusal import Refusal
from replay.library import labels, read_library, removal
from replay.library.labels import relabel
from replay.library.removal import remove_traces
from replay.measured import into_library
from replay.synth import recipe, synthesise
from tests.conftest import entry
from tests.support.measured import HEADER, PROFILE, import_file

TRACE = "time_s,oil_pressure_kpa,suction_pressure_kpa,running\n0,400,300,1\n1,400,300,1\n"
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
    (folder / "library.toml").write_text(entry("a", "ride_through = true") + entry("b", "ride_through = true"))
    for name in ("a.csv", "b.csv"):
        (folder / name).write_text(TRACE)
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


def take_out(folder: Path) -> None:
    """Remove the other trace."""
    remove_traces(folder, ["b"], "J. Doe", "twice there")


EDITS = [bring_in, put_label, take_out]


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


def test_a_label_an_import_and_a_removal_at_the_same_time_lose_nothing(
    room: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Catches a label that writes back the library it read before traces were entered."""
    write = labels.write_whole

    def slowly(path: Path, fill: Any) -> None:
        time.sleep(0.3)
        write(path, fill)

    monkeypatch.setattr(labels, "write_whole", slowly)
    with ThreadPoolExecutor(3) as pool:
        both = [pool.submit(put_label, room), pool.submit(bring_in, room), pool.submit(take_out, room)]
        for edit in both:
            edit.result()

    assert [(one.id, one.label) for one in read_library(room).entries] == [("a", "undecided"), ("log", "undecided")]


def test_two_do_not_make_the_same_library_at_once(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Catches a library that is cleared away by the run that ends first, beneath the other."""
    monkeypatch.setattr(lock, "PATIENCE_S", 0.1)
    with holder(tmp_path) as holding:
        with pytest.raises(Refusal, match="another command has been changing this library"):
            synthesise(tmp_path, recipe("power-dip", 1, 1))
        holding.kill()
    assert [path.name for path in tmp_path.iterdir()] == [lock.FILE]


def test_a_file_that_two_entries_name_stays_with_the_other(room: Path) -> None:
    """Catches a trace that is gone from an entry that nobody removed."""
    text = (room / "library.toml").read_text()
    (room / "library.toml").write_text(text + entry("c", "undecided = true", file="b.csv"))
    take_out(room)

    assert [one.id for one in read_library(room).entries] == ["a", "c"]
    assert (room / "b.csv").is_file()


def test_what_a_removed_trace_was_is_kept_before_it_goes(room: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Catches a label that stands nowhere any more after a kill between the two files; an import that replaces, too."""

    def killed(*_: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(removal, "write_text", once_then(removal.write_text, killed))
    with pytest.raises(KeyboardInterrupt):
        take_out(room)
    assert "twice there" in (room / "removed.toml").read_text()
    assert len(read_library(room).entries) == 2
    monkeypatch.undo()
    bring_in(room)
    monkeypatch.setattr(into_library, "write_text", killed)
    with pytest.raises(KeyboardInterrupt):
        import_file(room.parent / "log.csv", room, room.parent / "logger.toml", replace=True)
    assert "replaced by another import of log.csv" in (room / "removed.toml").read_text()
    assert [one.id for one in read_library(room).entries] == ["a", "b", "log"]


def once_then(first: Any, then: Any) -> Any:
    """Return a function that is one the first time and another from then on."""
    given = iter([first])

    def call(*arguments: Any) -> Any:
        return next(given, then)(*arguments)

    return call


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


def test_a_library_in_an_object_store_is_not_changed() -> None:
    """Catches a traceback for a library that is read from a store and edited like one of this machine."""
    with (
        pytest.raises(Refusal, match="in an object store is read, never changed; accepted: a copy"),
        locked(place_of("memory://library")),
    ):
        pass
