"""The digest of a library: everything a verdict hangs on is in it, and nothing else; held against a digest made by hand."""

import hashlib
from pathlib import Path

import pytest

from replay.library import library_digest, read_library
from tests.conftest import entry

RIDES, FAULT = "ride_through = true", "must_trip = { earliest_s = 1, deadline_s = 5 }"


def digest(folder: Path, *entries: str, files: dict[str, str] | None = None) -> str:
    """Return the digest of a library of these entries; files: what stands in a.csv and b.csv."""
    for name, text in ({"a.csv": "aaaa", "b.csv": "bbbb"} | (files or {})).items():
        (folder / name).write_text(text)
    (folder / "library.toml").write_text("".join(entries))
    return library_digest(read_library(folder))


A, B = entry("a", RIDES, "calm"), entry("b", FAULT, "sick")
CHANGES = {
    "another id": (A.replace('id = "a"', 'id = "c"'), B, {}),
    "another family": (A.replace('"calm"', '"mild"'), B, {}),
    "the families exchanged": (A.replace('"calm"', '"sick"'), B.replace('"sick"', '"calm"'), {}),
    "another kind of label": (A.replace(RIDES, "undecided = true"), B, {}),
    "the labels exchanged": (A.replace(RIDES, FAULT), B.replace(FAULT, RIDES), {}),
    "an earlier window": (A, B.replace("earliest_s = 1", "earliest_s = 0"), {}),
    "a later deadline": (A, B.replace("deadline_s = 5", "deadline_s = 6"), {}),
    "an upset": (A.replace(RIDES, f"{RIDES}\nupsets = [[1, 2]]"), B, {}),
    "a byte of a file of the same size": (A, B, {"a.csv": "aaab"}),
    "the files exchanged": (A, B, {"a.csv": "bbbb", "b.csv": "aaaa"}),
    "a longer file": (A, B, {"a.csv": "aaaaa"}),
    "a trace more": (A, B + entry("c", RIDES, file="a.csv"), {}),
}


@pytest.mark.parametrize("change", CHANGES)
def test_whatever_a_verdict_hangs_on_changes_the_digest(change: str, tmp_path: Path) -> None:
    """Catches a digest of the sizes, of the labels' numbers without their kind, or without the families."""
    first, second, files = CHANGES[change]

    assert digest(tmp_path, first, second, files=files) != digest(
        tmp_path, A, B, files={"a.csv": "aaaa", "b.csv": "bbbb"}
    )


def test_order_notes_and_file_names_are_not_in_it(tmp_path: Path) -> None:
    """Catches a library that is another one because its entries were sorted, its files renamed, or a note was written."""
    plain = digest(tmp_path, A, B)
    (tmp_path / "moved.csv").write_text("aaaa")
    moved = A.replace('"a.csv"', '"moved.csv"').replace('oil = "o"', 'oil = "p"\nnote = "looked at"')

    assert digest(tmp_path, B, A) == plain
    assert digest(tmp_path, moved, B) == plain


def test_the_digest_is_that_of_its_lines_by_hand(tmp_path: Path) -> None:
    """Catches lines in the order of the file, and any other text than the one that old records were made with."""
    sums = [hashlib.sha256(text).hexdigest() for text in (b"aaaa", b"bbbb")]
    lines = f"1:a 4:calm ride_through {sums[0]}\n1:b 4:sick must_trip 1.0 5.0 {sums[1]}\n"

    assert digest(tmp_path, B, A) == hashlib.sha256(lines.encode()).hexdigest()
