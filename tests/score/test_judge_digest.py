"""The digest of the judge: another as soon as a word of what decides is another, and the same through all else."""

import shutil
from pathlib import Path

import pytest

from replay.score.judge_digest import REPLAY, digest_of, judge_digest, sources
from tests.house.test_floors import HOUSE, arrows, room

# What decides nothing of a score by itself: drawing, words of other reports, import, triage, ports, the commands beside.
BESIDE = {"replay.display", "replay.drawing", "replay.report", "replay.page", "replay.cli", "replay.notebook"}
DECIDING = ("replay.score.scoring", "replay.score.comparison", "replay.tuning.run", "replay.library.labels")


@pytest.fixture
def copied(tmp_path: Path) -> Path:
    """Return a copy of the package."""
    return Path(shutil.copytree(REPLAY, tmp_path / "replay", ignore=shutil.ignore_patterns("__pycache__", "guides")))


@pytest.mark.slow("reads what the whole house imports")
def test_everything_that_a_verdict_is_made_by_is_in_it() -> None:
    """Catches a module that decides and could be another without a word: found by following every import."""
    reached: set[str] = set()
    ahead = [*DECIDING]
    while ahead:
        name = ahead.pop()
        if name not in reached and room(name) not in {"protect", "firmware_ref"}:
            reached.add(name)
            ahead += arrows()[name]
    taken = set(sources(REPLAY))

    assert not {room(name) for name in reached} & BESIDE
    assert {HOUSE[name] for name in reached} <= taken
    assert all(path.is_file() for path in taken)
    assert REPLAY / "page" / "judge.js" in taken


@pytest.mark.slow("copies the whole house for each case")
@pytest.mark.parametrize("path", [path.relative_to(REPLAY).as_posix() for path in sources(REPLAY)][::9])
def test_another_word_anywhere_makes_another_digest(path: str, copied: Path) -> None:
    """Catches a file that is listed and not read, and text that is cut short."""
    before = digest_of(copied)
    assert before == judge_digest()
    changed = copied / path
    text = changed.read_text()
    changed.write_text(text + "#")
    assert digest_of(copied) != before
    changed.write_text("#" + text)
    assert digest_of(copied) != before
    changed.write_text(text)
    assert digest_of(copied) == before


def test_text_that_moves_from_one_file_to_the_next_makes_another_digest(copied: Path) -> None:
    """Catches a digest of all text in a row, and of texts without their names."""
    before = digest_of(copied)
    (copied / "score" / "mix.py").rename(copied / "score" / "mixed.py")
    renamed = digest_of(copied)
    (copied / "score" / "mixed.py").rename(copied / "score" / "mix.py")
    one, other = copied / "score" / "evidence.py", copied / "score" / "explaining.py"
    text = one.read_text() + other.read_text()
    one.write_text(text[:-9])
    other.write_text(text[-9:])

    assert len({before, renamed, digest_of(copied)}) == 3


def test_nothing_but_source_text_counts(copied: Path) -> None:
    """Catches a digest that differs on another system: caches, line ends, times, what only draws."""
    before = digest_of(copied)
    cache = copied / "score" / "__pycache__"
    cache.mkdir()
    (cache / "scoring.cpython-311.pyc").write_bytes(b"x")
    (copied / "score" / "scoring.py~").write_text("x")
    for name in ("score/scoring.py", "page/judge.js"):
        path = copied / name
        path.write_bytes(path.read_bytes().replace(b"\n", b"\r\n"))
        path.touch()
    (copied / "drawing" / "svg.py").write_text("")

    assert digest_of(copied) == before
