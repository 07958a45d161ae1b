"""Output files: whole or not at all."""

import os
import stat
from pathlib import Path

import pytest

from replay.ground.files import check_writable, write_text, write_whole
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
