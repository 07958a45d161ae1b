"""The digest of the judge: of all of this package that decides what a verdict is, beside the digest of the logic.

It covers the source text from the reading of a file to the verdict, its limits, the choice of a tuning, the labels of
synthesised traces, and each face that passes or fails by a verdict. What only draws, explains, imports or ranks is left
out. Any change of that text makes it another, comments too, and nothing else does: line ends, caches and the
order of a disk do not count.
"""

import functools
import hashlib
from pathlib import Path

REPLAY = Path(__file__).parents[1]
ROOMS = (
    *("ground", "settings", "trace", "library", "engine", "score", "sweep", "tuning"),
    *("physics", "machine", "synth"),  # the labels of synthesised traces, and of the fresh library of a tuning
    "forecast",  # what a year costs, where a tuning chooses by it
)
FACES = (
    *("display/score.py", "display/comparison.py", "display/tuning.py", "report/junit.py", "report/record.py"),
    *("page/judge.js", "pytest_plugin.py", "cli/score.py", "cli/tune.py"),
)


@functools.cache
def judge_digest() -> str:
    """Return the SHA-256 over the source text of the judge."""
    return digest_of(REPLAY)


def digest_of(replay: Path) -> str:
    """Return the digest of the judge in a folder that holds the package `replay`."""
    digest = hashlib.sha256()
    for path in sources(replay):
        text = path.read_text(encoding="utf-8").encode()
        digest.update(f"{path.relative_to(replay).as_posix()}\n{len(text)}\n".encode() + text)
    return digest.hexdigest()


def sources(replay: Path) -> list[Path]:
    """Return the files of the judge in the order of their places."""
    found = {path for room in ROOMS for path in (replay / room).rglob("*.py")} | {replay / face for face in FACES}
    return sorted(found, key=lambda path: path.relative_to(replay).as_posix())
