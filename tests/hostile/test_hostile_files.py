"""Files from anywhere: whatever stands in them is read or refused in one line, and nothing else happens."""

from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from replay.ground.refusal import Refusal, refusal
from tests.campaigns.fuzz import examples, find
from tests.support.hostile import READERS, Reader, examine, prepare, spoiled

pytestmark = pytest.mark.slow("builds the vectors, or goes through all of them")

WHOLE = st.integers(0, 2**32 - 1)
CHANGES = st.lists(st.tuples(st.integers(0, 999), WHOLE, WHOLE), min_size=1, max_size=5)
SLOW = ("MDF log", "draft for MDF")
QUICK = {"MDF log": 2, "draft for MDF": 2, "CSV log": 8, "CSV log with dates": 8, "record": 10}
each_reader = pytest.mark.parametrize("kind", READERS)


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a folder with what the readers need beside the spoiled file."""
    folder = tmp_path_factory.mktemp("hostile")
    prepare(folder)
    return folder


@each_reader
def test_the_good_files_are_read(kind: str, folder: Path) -> None:
    """Catches a fuzzer that spoils what was refused from the start, and so tries nothing."""
    for good in READERS[kind].seeds():
        # Vectors are whole or nothing, so that no spoiled set of them is ever read: this one is.
        assert examine(READERS[kind], folder, good) is not None


@each_reader
def test_a_spoiled_file_is_read_or_refused(kind: str, folder: Path) -> None:
    """Catches a traceback for a byte, a value, a line that was changed, put in, cut off or written in another code."""
    reader = READERS[kind]
    seeds = reader.seeds()

    @settings(max_examples=QUICK.get(kind, 15))
    @given(which=st.sampled_from(range(len(seeds))), changes=CHANGES)
    def spoil(which: int, changes: list[tuple[int, int, int]]) -> None:
        examine(reader, folder, spoiled(seeds[which], changes))

    spoil()


@pytest.mark.parametrize("kind", [kind for kind in READERS if kind not in SLOW])
def test_bytes_that_mean_nothing_are_refused(kind: str, folder: Path) -> None:
    """Catches a reader that takes noise for data, or falls over it; a port may say noise, that is then a difference."""

    @settings(max_examples=8)
    @given(content=st.binary(max_size=400))
    def noise(content: bytes) -> None:
        read = examine(READERS[kind], folder, content)
        assert read is None or kind in ("port", "settings of a record")

    noise()


LARGE = {
    "nested TOML": b"a = " + b"[" * 100_000,
    "nested JSON": b'{"schema": ' + b"[" * 100_000,
    "one line": b"x" * 1_000_000,
    "commas": b"," * 1_000_000,
    "empty lines": b"\n" * 200_000,
    "one quote": b'"' + b"a" * 1_000_000,
    "a key twice": b"a = 1\n" * 100_000,
    "a key of many parts": b"a." * 300_000 + b"a = 1\n",
    "a number of 400,000 digits": b"a = 1" + b"0" * 400_000,
    "a wide row": b"time_s,oil_pressure_kpa,suction_pressure_kpa,running\n" + b"1,1,1,1," * 100_000,
    "a long cell": b"time_s,oil_pressure_kpa,suction_pressure_kpa,running\n" + b"9" * 500_000 + b",1,1,1\n",
    "a name of brackets": b"t" + b"(" * 60_000 + b";oil;suction;run\n" + b"1;1;1;1\n" * 50,
}
LIGHT = ("settings", "library", "CSV trace", "CSV trace in pieces", "score report", "vectors", "CSV log", "tolerances")


@pytest.mark.parametrize("kind", LIGHT)
@pytest.mark.parametrize("content", LARGE.values(), ids=LARGE)
def test_large_nonsense_is_refused(kind: str, content: bytes, folder: Path) -> None:
    """Catches a recursion without end, and a reader that takes minutes or fills the memory."""
    assert examine(READERS[kind], folder, content) is None


def careless(path: Path) -> Any:
    """Read a whole number from a file as a hurried hand would: the guard is for a word and not for its length."""
    text = path.read_bytes().decode("latin-1").strip()
    if not text.isdigit():
        raise refusal(path, "", "not a number", "a number", text)
    return int(text)


def slow(path: Path) -> Any:
    """Read a file with a pattern that takes for ever where a line goes on after its numbers."""
    import re

    if re.fullmatch(r"(\d+)*", path.read_text(encoding="latin-1")) is None:
        raise refusal(path, "", "not numbers", "numbers")
    return True


def wordy(path: Path) -> Any:
    """Refuse in the words of the file."""
    text = path.read_text(encoding="latin-1")
    if text != "12":
        raise Refusal(f"{path}: {text} is not 12")
    return text


@pytest.mark.parametrize(
    ("planted", "says"),
    [(careless, "ValueError"), (wordy, "AssertionError"), (slow, "no answer within")],
)
def test_the_campaign_finds_a_planted_defect(
    planted: Any, says: str, folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Catches a campaign that finds nothing because it tries nothing, or looks at nothing."""
    import signal

    from tests.campaigns import fuzz

    monkeypatch.setattr(fuzz, "LIMIT_S", 1)
    signal.signal(signal.SIGALRM, fuzz.too_long)
    reader = Reader("planted.txt", planted, lambda: [b"12", b"1" * 40])
    for content, _ in zip(examples(reader, seed=1), range(1000), strict=False):
        signal.setitimer(signal.ITIMER_REAL, 0.3)
        finding = find(reader, folder, content)
        signal.setitimer(signal.ITIMER_REAL, 0)
        if finding is not None:
            break

    assert finding is not None
    assert says in finding


def test_the_campaign_tries_what_the_tests_try() -> None:
    """Catches a reader of which the long campaign knows nothing, and a seed that gives other files each time."""
    for kind, reader in READERS.items():
        if kind in SLOW:  # an MDF holds the time at which it was written
            continue
        first, again = (next(examples(reader, seed=5)) for _ in range(2))
        assert first == again
