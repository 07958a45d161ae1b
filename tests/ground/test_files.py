"""Output files: whole or not at all."""

import os
import stat
import subprocess
import sys
from pathlib import Path

import pytest

from replay.ground.files import check_free_folder, check_writable, write_folder, write_text, write_whole
from replay.ground.refusal import Refusal


def test_a_file_is_written_with_the_usual_permissions(tmp_path: Path) -> None:
    """Catches a report that only its writer can read, as temporary files are."""
    old = os.umask(0o022)
    try:
        write_text(tmp_path / "a.txt", "\u00e4\n")
    finally:
        os.umask(old)

    assert (tmp_path / "a.txt").read_bytes() == b"\xc3\xa4\n"
    assert stat.S_IMODE((tmp_path / "a.txt").stat().st_mode) == 0o644
    assert len(list(tmp_path.iterdir())) == 1


@pytest.mark.parametrize("error", [OSError(28, "No space left on device"), KeyboardInterrupt()])
def test_an_interrupted_write_leaves_what_was_there(error: BaseException, tmp_path: Path) -> None:
    """Catches half a file under the final name, and litter beside it, on a full disk or an interrupt."""
    path = tmp_path / "a.txt"
    path.write_text("before")

    def fill(stream: object) -> None:
        stream.write(b"hal")  # type: ignore[attr-defined]
        raise error

    with pytest.raises(Refusal if isinstance(error, OSError) else KeyboardInterrupt):
        write_whole(path, fill)
    assert [item.read_text() for item in tmp_path.iterdir()] == ["before"]


@pytest.mark.parametrize("name", ["nowhere/a.txt", "."])
def test_what_cannot_be_written_is_refused_beforehand(name: str, tmp_path: Path) -> None:
    """Catches hours of work whose report has no place to go."""
    with pytest.raises(Refusal, match="cannot be written"):
        check_writable(tmp_path / name)


def test_a_folder_that_is_protected_is_not_told_as_one_that_is_missing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Catches "a file in a folder that exists" said of a folder that does, and may only be read."""
    missing = "there is no folder .*nowhere; accepted: a (file|new folder) in .* exists$"
    protected = f"{tmp_path} is protected against writing; accepted: a (file|new folder) in .* may be written$"
    for check in (check_writable, check_free_folder):
        with pytest.raises(Refusal, match=missing):
            check(tmp_path / "nowhere" / "a")
    monkeypatch.setattr(os, "access", lambda path, _: Path(path) != tmp_path)
    for check in (check_writable, check_free_folder):
        with pytest.raises(Refusal, match=protected):
            check(tmp_path / "a")


def test_the_permissions_of_a_file_that_is_replaced_stay(tmp_path: Path) -> None:
    """Catches a report that the others of a group cannot read any more, or that all can, since it was written again."""
    path = tmp_path / "a.txt"
    path.write_text("before")
    for mode in (0o640, 0o666, 0o600):
        path.chmod(mode)
        write_text(path, "after")

        assert (path.read_text(), stat.S_IMODE(path.stat().st_mode)) == ("after", mode)


@pytest.mark.parametrize("there", [True, False])
def test_a_link_stays_and_its_target_is_written(there: bool, tmp_path: Path) -> None:
    """Catches a link that becomes a file, so that what it led to stays as it was; also where nothing was there yet."""
    (tmp_path / "far").mkdir()
    target = tmp_path / "far" / "a.txt"
    if there:
        target.write_text("before")
    (tmp_path / "middle").symlink_to("far/a.txt")
    (tmp_path / "link").symlink_to("middle")
    check_writable(tmp_path / "link")
    write_text(tmp_path / "link", "after")

    assert (tmp_path / "link").is_symlink()
    assert target.read_text() == "after"
    assert [path.name for path in target.parent.iterdir()] == ["a.txt"]


@pytest.mark.parametrize("kind", ["pipe", "device"])
def test_a_pipe_and_a_device_are_written_into_and_stay(kind: str, tmp_path: Path) -> None:
    """Catches a device node that a file takes the place of; what reads a pipe gets the report."""
    if kind == "device":
        write_text(Path("/dev/null"), "gone")
        assert stat.S_ISCHR(Path("/dev/null").stat().st_mode)
        return
    path = tmp_path / "pipe"
    os.mkfifo(path)
    reader = os.open(path, os.O_RDONLY | os.O_NONBLOCK)
    write_text(path, "told")

    assert os.read(reader, 100) == b"told"
    assert stat.S_ISFIFO(path.stat().st_mode)
    os.close(reader)


@pytest.mark.skipif(os.geteuid() != 0, reason="only root makes a device node")
@pytest.mark.parametrize("kind", [stat.S_IFBLK, stat.S_IFSOCK])
def test_a_disk_and_a_socket_are_no_place_for_a_report(kind: int, tmp_path: Path) -> None:
    """Catches a report over the first blocks of a disk; the node has numbers of no device, so that nothing is at stake."""
    path = tmp_path / "node"
    os.mknod(path, kind | 0o600, os.makedev(240, 77))
    for write in (check_writable, lambda path: write_text(path, "x")):
        with pytest.raises(Refusal, match=r"cannot be written: it is a (disk|socket)"):
            write(path)
    assert stat.S_IFMT(path.stat().st_mode) == kind


def test_a_protected_file_is_refused_beforehand(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Catches a file that somebody protected and that is replaced all the same."""
    path = tmp_path / "a.txt"
    path.write_text("before")
    monkeypatch.setattr(os, "access", lambda at, mode: at != path)  # root may write all
    for write in (check_writable, lambda path: write_text(path, "x")):
        with pytest.raises(Refusal, match="protected against writing"):
            write(path)
    assert path.read_text() == "before"


def test_what_is_written_is_on_the_disk_before_it_takes_its_name(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Catches an empty file under the final name after a power cut."""
    done: list[str] = []
    settled, replaced = os.fsync, Path.replace

    def noted(handle: int) -> None:
        done.append("folder" if stat.S_ISDIR(os.fstat(handle).st_mode) else "file")
        settled(handle)

    def moved(path: Path, target: Path) -> Path:
        done.append("name")
        return replaced(path, target)

    monkeypatch.setattr(os, "fsync", noted)
    monkeypatch.setattr(Path, "replace", moved)
    write_text(tmp_path / "a.txt", "x")
    write_folder(tmp_path / "b", {"one": b"1", "c/two": b"2"})

    assert done == ["file", "name", "folder", "file", "file", "name", "folder"]


def test_a_report_into_the_file_of_standard_output_takes_nothing_from_it(tmp_path: Path) -> None:
    """Catches `--json /dev/stdout > FILE`, which put another file under the name of the one that the rest went into."""
    code = "from pathlib import Path\nfrom replay.ground.files import write_text\nprint('before')\n"
    code += "write_text(Path('/dev/stdout'), 'report\\n')\nprint('after')\n"
    with (tmp_path / "out").open("wb") as out:
        subprocess.run([sys.executable, "-c", code], stdout=out, check=True)

    assert (tmp_path / "out").read_text() == "before\nreport\nafter\n"
