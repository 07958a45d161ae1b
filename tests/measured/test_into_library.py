"""How an imported trace is named, dated and written: each rule by itself."""

import datetime as dt
from pathlib import Path

import numpy as np
import pyarrow.parquet as pq
import pytest

from protect.ranges import NO_READING
from replay.ground.refusal import Refusal
from replay.measured import into_library
from replay.measured.into_library import TraceFiles, entries_with, entry, new_ids, start_text, table
from replay.measured.profile import read_profile
from tests.support.measured import profile_with

DIGEST = "0123456789abcdef" * 4


def some(count: int) -> list[Path]:
    """Return so many files of traces."""
    return [Path(f"{number}.csv") for number in range(count)]


@pytest.mark.parametrize(
    ("source", "count", "ids"),
    [
        ("K1 März 2026", 1, ["k1-m-rz-2026"]),
        ("K1", 2, ["k1-01", "k1-02"]),
        ("---", 1, ["trace"]),
        ("CON", 1, ["trace-con"]),
        ("com9", 1, ["trace-com9"]),
        ("com10", 1, ["com10"]),
        ("console", 1, ["console"]),
    ],
)
def test_an_id_is_the_name_of_the_source(source: str, count: int, ids: list[str], tmp_path: Path) -> None:
    """Catches a name that a system takes for a device, an id of no letters, and parts counted from 0."""
    assert new_ids(tmp_path, source, DIGEST, some(count), set()) == ids


def test_parts_are_numbered_so_that_they_sort(tmp_path: Path) -> None:
    """Catches part 100 of a log before its part 99."""
    for count, last in ((99, "k1-99"), (100, "k1-100")):
        ids = new_ids(tmp_path, "K1", DIGEST, some(count), set())
        assert (ids == sorted(ids), ids[-1]) == (True, last)


def test_an_id_that_is_taken_gets_the_digest_and_one_more_is_refused(tmp_path: Path) -> None:
    """Catches a trace written over: one entered, one of the same import, and a file that only lies there."""
    assert new_ids(tmp_path, "K1", DIGEST, some(1), {"k1"}) == ["k1-01234567"]
    assert new_ids(tmp_path, "K1", DIGEST, some(1), {"k1", "k1-01234567"}) == [f"k1-{DIGEST}"]
    with pytest.raises(Refusal, match=f"a trace 'k1' and one 'k1-{DIGEST}' already exist"):
        new_ids(tmp_path, "K1", DIGEST, some(1), {"k1", "k1-01234567", f"k1-{DIGEST}"})
    assert new_ids(tmp_path, "K1", DIGEST, some(2), {"k1-02"}) == ["k1-01234567-01", "k1-01234567-02"]
    (tmp_path / "traces").mkdir()
    for ending in (".csv", ".parquet"):
        lying = tmp_path / "traces" / f"k1{ending}"
        lying.touch()
        assert new_ids(tmp_path, "K1", DIGEST, some(1), set()) == ["k1-01234567"]
        lying.unlink()
    assert new_ids(tmp_path, "K1", DIGEST, some(1), set()) == ["k1"]


def test_a_start_is_told_with_what_is_known_of_its_clock() -> None:
    """Catches a time of the logger's own, or of an unknown zone, told as UTC."""
    told = {"anchored": True, "utc": True, "zone": "Europe/Dublin"}

    assert start_text(1_772_438_400_007, **told) == "starts 2026-03-02T08:00:00.007Z, zone Europe/Dublin"
    assert start_text(0, **told | {"zone": None}) == "starts 1970-01-01T00:00:00.000Z, zone UTC"
    assert (
        start_text(0, **told | {"utc": False}) == "starts 1970-01-01T00:00:00.000 of a clock whose zone is not stated"
    )
    assert start_text(90_500, **told | {"anchored": False}) == "starts at 90.500 s of the logger's time"


def test_an_entry_tells_who_recorded_what_and_leaves_the_label_open(tmp_path: Path) -> None:
    """Catches a label that nobody gave, a start that nobody knows, and words of the profile that are lost."""
    (tmp_path / "p.toml").write_text(profile_with(), encoding="utf-8")
    (tmp_path / "q.toml").write_text(
        profile_with(
            trace='machine = "K1"\noil = "PAG 68"\nfamily = "winter"\nnote = "n"\norigin = "recorded: by us; "'
        )
    )
    plain = entry(read_profile(tmp_path / "p.toml"), Path("in/log.csv"), "k1", Path("x/0.parquet"), "of log", None)
    full = entry(read_profile(tmp_path / "q.toml"), Path("in/log.csv"), "k1", Path("x/0.csv"), "of log", 1000)

    assert plain == {
        "id": "k1", "file": "traces/k1.parquet", "family": "recorded, unlabelled", "machine": "log", "oil": "not stated",
        "origin": "recorded: of log", "source": "log.csv", "undecided": True,
    }  # fmt: skip
    assert full == {
        "id": "k1", "file": "traces/k1.csv", "family": "winter", "machine": "K1", "oil": "PAG 68",
        "origin": "recorded: by us; of log", "source": "log.csv", "undecided": True, "note": "n",
        "start_utc": dt.datetime(1970, 1, 1, 0, 0, 1, tzinfo=dt.UTC), "zone": "UTC",
    }  # fmt: skip


COLUMNS = {
    "oil_pressure": np.array([401_325, NO_READING, 0]),
    "suction_pressure": np.array([200_001, 200_000, 200_000]),
    "running": np.array([1, 0, 1], np.int8),
    "oil_temperature": np.array([55.0, np.nan, 54.5]),
}


def test_rows_are_written_in_the_units_of_a_trace() -> None:
    """Catches ms taken for s, Pa for kPa, and a missing reading written as a number."""
    made = table(np.array([0, 1500, 2001]), COLUMNS).to_pydict()

    assert made == {
        "time_s": [0.0, 1.5, 2.001],
        "oil_pressure_kpa": [401.325, None, 0.0],
        "suction_pressure_kpa": [200.001, 200.0, 200.0],
        "running": [1, 0, 1],
        "oil_temperature_c": [55.0, None, 54.5],
    }


@pytest.mark.parametrize(("rows", "ending"), [(1, None), (2, ".csv"), (6, ".csv"), (7, ".parquet"), (19, ".parquet")])
def test_a_trace_is_a_text_as_long_as_it_is_short(
    rows: int, ending: str | None, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Catches a trace of one row, which shows no time, and rows lost or doubled where a long one is written in groups."""
    monkeypatch.setattr(into_library, "CSV_ROWS", 6)
    monkeypatch.setattr(into_library, "GROUP_ROWS", 4)
    files = TraceFiles(tmp_path / "library")
    for begin in range(0, rows, 3):
        time = np.arange(begin, min(begin + 3, rows)) * 1000
        files.write(time, {name: np.resize(values, len(time)) for name, values in COLUMNS.items()})
    files.end()
    made = [file.suffix for file in files.files]

    assert made == ([] if ending is None else [ending])
    if ending == ".parquet":
        read = pq.read_table(files.files[0])
        assert read["time_s"].to_pylist() == [float(n) for n in range(rows)]
    if ending == ".csv":
        assert len(files.files[0].read_text().splitlines()) == rows + 1
    files.discard()
    assert not (tmp_path / "library").exists()


def test_what_an_origin_names_is_known_by_its_digest(tmp_path: Path) -> None:
    """Catches a file that counts twice, and one that is taken for another."""
    lines = [
        f'[[trace]]\nid = "{name}"\norigin = "recorded: x, SHA-256 {digest}"'
        for name, digest in (("a", DIGEST), ("b", DIGEST[::-1]))
    ]
    (tmp_path / "library.toml").write_text("\n".join(lines))

    assert entries_with(tmp_path, DIGEST) == ["a"]
    assert entries_with(tmp_path, "f" * 64) == []
    assert entries_with(tmp_path / "nowhere", DIGEST) == []
