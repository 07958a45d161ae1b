"""Files as they come: packed, in archives, as workbooks, as tables of other programs; and what is refused, in words."""

import bz2
import datetime as dt
import gzip
import io
import json
import lzma
import zipfile
from collections.abc import Callable
from pathlib import Path

import openpyxl
import pyarrow as pa
import pytest
from pyarrow import feather

from replay.library import read_library
from replay.measured.guess import draft_profile
from replay.measured.importing import import_logs
from tests.support.command import lubetrip
from tests.support.measured import HEADER, PROFILE, SEA_LEVEL_PA, bring_in, profile_with

ROWS = [(0, 3.5, 2.0, 1), (1, 3.6, 2.0, 1), (2, 3.5, 2.1, 0)]
LOG = HEADER + "".join(";".join(map(str, row)) + "\n" for row in ROWS)
NAMES = HEADER.strip().split(";")
WANTED = [round(oil * 100000) + SEA_LEVEL_PA for _, oil, *_ in ROWS]


def zipped(**files: bytes) -> bytes:
    """Return an archive of these files."""
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, data in files.items():
            archive.writestr(name.replace("__", "/"), data)
    return out.getvalue()


def workbook(*sheets: list) -> bytes:
    """Return a workbook of these sheets."""
    book = openpyxl.Workbook()
    book.remove(book.active)
    for number, rows in enumerate(sheets, start=1):
        sheet = book.create_sheet(f"Sheet {number}")
        for row in rows:
            sheet.append(row)
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def table() -> pa.Table:
    """Return the log as a table."""
    return pa.table({name: [row[place] for row in ROWS] for place, name in enumerate(NAMES)})


def arrow(*, stream: bool) -> bytes:
    """Return the log as Arrow writes it."""
    out = io.BytesIO()
    make = pa.ipc.new_stream if stream else pa.ipc.new_file
    with make(out, table().schema) as writer:
        writer.write_table(table())
    return out.getvalue()


def feathered() -> bytes:
    """Return the log as Feather."""
    out = io.BytesIO()
    feather.write_feather(table(), out, compression="lz4")
    return out.getvalue()


LINES = "".join(json.dumps(dict(zip(NAMES, row, strict=True))) + "\n" for row in ROWS)
FORMS: dict[str, Callable[[], bytes]] = {
    "gz": lambda: gzip.compress(LOG.encode()),
    "bz2": lambda: bz2.compress(LOG.encode()),
    "xz": lambda: lzma.compress(LOG.encode()),
    "zip": lambda: zipped(**{"log.csv": LOG.encode()}),
    "packed twice": lambda: zipped(**{"a__log.csv.gz": gzip.compress(LOG.encode())}),
    "workbook": lambda: workbook([["made by a logger"], [], NAMES, *ROWS], [["notes"]]),
    "Arrow file": lambda: arrow(stream=False),
    "Arrow stream": lambda: arrow(stream=True),
    "Feather": feathered,
    "JSON lines": LINES.encode,
}


@pytest.mark.outside(
    computation="packed files, workbooks and tables",
    source="openpyxl, pyarrow and Python's packers, which wrote the files",
    status="consulted",
    agreement="equal",
)
@pytest.mark.parametrize("form", FORMS)
def test_a_log_gives_the_same_pascals_in_whatever_it_is_packed(form: str, tmp_path: Path) -> None:
    """Catches a container that is refused, read by its name, or read to other numbers."""
    report, (trace,) = bring_in(tmp_path, FORMS[form](), name="no.ending")

    assert trace.oil_pa.tolist() == WANTED
    assert trace.time_ms.tolist() == [0, 1000, 2000]
    assert trace.running.tolist() == [1, 1, 0]
    assert report.counts.read == 3


def test_a_packed_log_is_recognised_as_the_log_itself(tmp_path: Path) -> None:
    """Catches a machine that counts twice because its file came packed as well."""
    (tmp_path / "p.toml").write_text(PROFILE)
    (tmp_path / "log.csv").write_text(LOG)
    (tmp_path / "log.csv.gz").write_bytes(gzip.compress(LOG.encode()))
    first = import_logs([tmp_path / "log.csv", tmp_path / "log.csv.gz"], tmp_path / "lib", tmp_path / "p.toml")

    assert [report.already for report in first.reports] == [[], ["log"]]
    assert (
        draft_profile(tmp_path / "log.csv.gz").splitlines()[2:] == draft_profile(tmp_path / "log.csv").splitlines()[2:]
    )


def test_each_file_of_an_archive_comes_in_by_itself(tmp_path: Path) -> None:
    """Catches one broken file that keeps the others out, and a refusal that names a file nobody knows."""
    (tmp_path / "p.toml").write_text(profile_with(trace='machine_from = "folder"'))
    files = {"basalt__a.csv": LOG, "gneiss__b.csv": LOG.replace("3.6", "3.7"), "c.csv": LOG.replace("3.6", "x")}
    (tmp_path / "week 9.zip").write_bytes(zipped(**{name: text.encode() for name, text in files.items()}))
    found = import_logs([tmp_path / "week 9.zip"], tmp_path / "lib", tmp_path / "p.toml")

    assert [entry.machine for entry in read_library(tmp_path / "lib").entries] == ["basalt", "gneiss"]
    (told,) = found.refused
    assert told.startswith(f'{tmp_path / "week 9.zip"} > c.csv: line 3, oil = "x"')


def test_dates_of_a_workbook_are_dates(tmp_path: Path) -> None:
    """Catches dates of a workbook read as days or in the order of another country."""
    start = dt.datetime(2026, 3, 4, 10, 0)  # noqa: DTZ001 - a wall clock
    rows = [[start + dt.timedelta(seconds=s), oil, suction, run] for s, oil, suction, run in ROWS]
    profile = profile_with(time='-unit\nmax_gap = "5 s"\nzone = "Europe/Oslo"')
    report, (trace,) = bring_in(tmp_path, workbook([NAMES, *rows]), profile, name="log.xlsx")

    assert report.traces[0].start == "starts 2026-03-04T09:00:00.000Z, zone Europe/Oslo"
    assert trace.time_ms.tolist() == [0, 1000, 2000]


def test_tagged_lines_come_in_with_their_tags(tmp_path: Path) -> None:
    """Catches nanoseconds taken for seconds, and tags that are no columns."""
    lines = "".join(
        f"plant,unit=K{n} oil={oil},suction={suction},run={run}i {1700000000 + s}500000000\n"
        for s, oil, suction, run in ROWS
        for n in (1, 2)
    )
    profile = profile_with(time='-unit\ncolumn = "time"\nmax_gap = "5 s"', trace='machine_column = "unit"')
    (tmp_path / "p.toml").write_text(profile)
    (tmp_path / "log.lp").write_text(lines)
    found = import_logs([tmp_path / "log.lp"], tmp_path / "lib", tmp_path / "p.toml")

    assert not found.refused
    assert [entry.machine for entry in read_library(tmp_path / "lib").entries] == ["K1", "K2"]
    assert {report.traces[0].start for report in found.reports} == {"starts 2023-11-14T22:13:20.500Z, zone UTC"}


REFUSED = [
    (b"MDF     3.30    TGT 15.0" + b"\0" * 90, "is MDF 3.30, which is not read", "MDF 4"),
    (b"SQLite format 3\0" + b"\0" * 90, "is a database", "exported as CSV"),
    (b"\x89HDF\r\n\x1a\n" + b"\0" * 90, "is an HDF file", "Parquet or CSV"),
    (b"TDSm" + b"\0" * 90, "is a file of a measuring program", "MDF 4"),
    (b"7z\xbc\xaf\x27\x1c" + b"\0" * 90, "is an archive of a kind that is not read", "a zip of them"),
    (b"%PDF-1.7" + b"\0" * 90, "is a document", "the logger's own export as CSV"),
    (b"<?xml version='1.0'?><a/>", "is XML", "saved as CSV"),
    (b'[{"t": 1}]', "is one JSON value", "JSON lines"),
    (zipped(), "an archive without files", "files with readings"),
    (gzip.compress(LOG.encode())[:-9], "cannot be unpacked", "a whole file"),
    (workbook([["notes"]]), "no sheet of it holds readings (Sheet 1)", "a sheet with a row of readings a line"),
]


@pytest.mark.parametrize(("data", "what", "would_do"), REFUSED, ids=[what for _, what, _ in REFUSED])
def test_everything_else_is_refused_in_words_that_say_what_to_do(
    data: bytes, what: str, would_do: str, tmp_path: Path
) -> None:
    """Catches a traceback, a refusal without a way out, and something half-written."""
    (tmp_path / "log.bin").write_bytes(data)
    (tmp_path / "p.toml").write_text(PROFILE)
    out = lubetrip("import", tmp_path / "log.bin", "--to", tmp_path / "lib", "--profile", tmp_path / "p.toml")
    drafted = lubetrip("import", "--guess", tmp_path / "log.bin")

    assert (out.returncode, drafted.returncode) == (2, 2)
    for told in (out.stderr, drafted.stderr):
        assert told.startswith("lubetrip: ") or "lubetrip: " in told
        assert "log.bin" in told
        assert what in told
        assert would_do in told
    assert not (tmp_path / "lib").exists()
