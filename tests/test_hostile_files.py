"""Files from anywhere: whatever stands in them is read or refused in one line, and nothing else happens."""

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pa_parquet
import pytest
from hypothesis import given
from hypothesis import strategies as st

from replay.comparison import read_report
from replay.errors import Refusal
from replay.library import read_library
from replay.settings import read_settings
from replay.trace import read_trace
from replay.vectors import read_vectors
from tests.conftest import SETTINGS, entry, trace_csv
from tests.toolchain import vector_set

TRACE = trace_csv(40, lambda s: 120.0)
LIBRARY = 'settings = "settings.toml"\n' + entry("fault", "must_trip = { earliest_s = 1.0, deadline_s = 2.0 }")


def parquet(folder: Path) -> bytes:
    """Return a Parquet trace as bytes."""
    path = folder / "made.parquet"
    columns = {name: [0.0, 1.0, 2.0] for name in ("time_s", "oil_pressure_kpa", "suction_pressure_kpa", "running")}
    pa_parquet.write_table(pa.table(columns), path)
    return path.read_bytes()


def read_folder(path: Path) -> object:
    """Read the library whose library.toml this is."""
    return read_library(path.parent)


# What reads it, under which name, and something good to spoil.
READERS: dict[str, tuple[Callable[[Path], object], str, Callable[[Path], bytes]]] = {
    "settings": (read_settings, "settings.toml", lambda _: SETTINGS.encode()),
    "library": (read_folder, "library.toml", lambda _: LIBRARY.encode()),
    "CSV trace": (read_trace, "fault.csv", lambda _: TRACE.encode()),
    "Parquet trace": (read_trace, "fault.parquet", parquet),
    "score report": (read_report, "score.json", lambda _: b'{"schema": "lubetrip-score/1", "traces": []}'),
    "vectors": (read_vectors, "vectors.txt", lambda _: vector_set().text().encode()[:20_000]),
}
each_reader = pytest.mark.parametrize("kind", READERS)


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a folder with the files that a library names."""
    folder = tmp_path_factory.mktemp("hostile")
    (folder / "fault.csv").write_text(TRACE)
    (folder / "settings.toml").write_text(SETTINGS)
    return folder


def read(kind: str, folder: Path, content: bytes) -> Any:
    """Read bytes as a file of this kind; a refusal is an answer, anything else that is raised is not."""
    reader, name, _ = READERS[kind]
    (folder / name).write_bytes(content)
    try:
        return reader(folder / name)
    except Refusal as refused:
        told = str(refused)
        assert "\n" not in told, told
        assert name.split(".")[0] in told
        return None


@each_reader
def test_the_good_file_is_read_but_for_a_reason(kind: str, folder: Path) -> None:
    """Catches a fuzzer that spoils what was refused from the start, and so tries nothing."""
    good = READERS[kind][2](folder)
    assert read(kind, folder, good) is not None or kind in ("score report", "vectors", "Parquet trace")


@each_reader
@given(data=st.data())
def test_a_spoiled_file_is_read_or_refused(kind: str, folder: Path, data: st.DataObject) -> None:
    """Catches a traceback for a byte that was changed, put in or cut off, at any place."""
    content = bytearray(READERS[kind][2](folder))
    for _ in range(data.draw(st.integers(1, 6))):
        at = data.draw(st.integers(0, len(content)))
        change = data.draw(st.sampled_from(["flip", "insert", "cut", "repeat"]))
        if change == "flip" and at < len(content):
            content[at] ^= data.draw(st.integers(1, 255))
        elif change == "insert":
            content[at:at] = data.draw(
                st.sampled_from([b"\0", b'"', b"\n", b"[", b"1e999", b"nan", b"\xff\xfe", b"=1+1"])
            )
        elif change == "cut":
            del content[at : at + data.draw(st.integers(1, 200))]
        else:
            content[at:at] = content[at : at + 50]
    read(kind, folder, bytes(content))


@each_reader
@given(content=st.binary(max_size=400))
def test_bytes_that_mean_nothing_are_refused(kind: str, folder: Path, content: bytes) -> None:
    """Catches a reader that takes noise for data, or falls over it."""
    assert read(kind, folder, content) is None


@each_reader
@pytest.mark.parametrize(
    "content",
    [
        b"a = " + b"[" * 100_000,
        b'{"schema": ' + b"[" * 100_000,
        b"x" * 1_000_000,
        b"," * 1_000_000,
        b"\n" * 1_000_000,
        b'"' + b"a" * 1_000_000,
        b"a = 1\n" * 100_000,
        b"time_s,oil_pressure_kpa,suction_pressure_kpa,running\n" + b"1,1,1,1," * 100_000,
        b"time_s,oil_pressure_kpa,suction_pressure_kpa,running\n" + b"9" * 500_000 + b",1,1,1\n",
    ],
    ids=[
        "nested TOML",
        "nested JSON",
        "one line",
        "commas",
        "empty lines",
        "one quote",
        "twice",
        "wide row",
        "long number",
    ],
)
def test_large_nonsense_is_refused(kind: str, content: bytes, folder: Path) -> None:
    """Catches a recursion without end, and a reader that takes minutes or fills the memory."""
    assert read(kind, folder, content) is None


def test_a_small_file_cannot_fill_the_memory(tmp_path: Path) -> None:
    """Catches a Parquet file of a few hundred kB that unpacks to a GiB."""
    path, block = tmp_path / "bomb.parquet", pa.array(np.zeros(1_000_000))
    columns = ("time_s", "oil_pressure_kpa", "suction_pressure_kpa", "running")
    with pa_parquet.ParquetWriter(path, pa.schema([(name, pa.float64()) for name in columns])) as writer:
        for _ in range(16):
            writer.write_table(pa.table(dict.fromkeys(columns, block)))
    assert path.stat().st_size < 1_000_000

    with pytest.raises(Refusal, match="16000000 rows in"):
        read_trace(path)


@pytest.mark.parametrize("name", ["../outside.csv", "/etc/hostname", "linked.csv", "folder/../../outside.csv", "", "."])
def test_a_library_reaches_no_file_outside_its_folder(name: str, tmp_path: Path) -> None:
    """Catches a library from elsewhere that makes a report quote the files of who reads it."""
    library = tmp_path / "library"
    (library / "folder").mkdir(parents=True)
    (tmp_path / "outside.csv").write_text(TRACE)
    (library / "linked.csv").symlink_to(tmp_path / "outside.csv")
    (library / "library.toml").write_text(entry("a", "undecided = true", file=name or " "))

    with pytest.raises(Refusal, match=r"leads out of|no such file|not a file name|no text"):
        read_library(library)


def test_a_refusal_shows_control_characters_as_text(tmp_path: Path) -> None:
    """Catches a file that writes to the terminal of who reads it."""
    path = tmp_path / "settings.toml"
    path.write_text(SETTINGS.replace('"60 kPa"', json.dumps("\x1b[2J60 kPa")))
    with pytest.raises(Refusal) as refused:
        read_settings(path)

    assert "\x1b" not in str(refused.value)
