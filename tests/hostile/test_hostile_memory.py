"""What a small file costs: a megabyte of anything takes less than a GiB and is not read for ever."""

import io
import subprocess
import sys
import zlib
from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pa_parquet
import pytest

from replay.ground.refusal import Refusal
from replay.measured.mdf import open_mdf
from replay.measured.mdf_blocks import check_group
from replay.measured.parquet import header
from replay.trace import read_trace
from tests.support.hostile import mdf_log

pytestmark = pytest.mark.slow("builds the vectors, or goes through all of them")

COLUMNS = ("time_s", "oil_pressure_kpa", "suction_pressure_kpa", "running")
MOST_MB = 400  # of a file of at most a megabyte, beyond what the program takes by itself

# Reads every bomb of a folder in a process with little room, and prints what each took.
PROGRAM = """
import resource, sys
from pathlib import Path
from tests.support.hostile import READERS, examine, prepare
def peak():
    return int(next(x for x in open("/proc/self/status") if x.startswith("VmHWM")).split()[1]) // 1024
folder = Path(sys.argv[1])
prepare(folder)
for bomb in sorted((folder / "bombs").iterdir()):
    reader = READERS[bomb.name.partition(",")[0]]
    examine(reader, folder, reader.seeds()[0])
    Path("/proc/self/clear_refs").write_text("5")
    before = peak()
    examine(reader, folder, bomb.read_bytes())
    print(f"{bomb.name}|{peak() - before}")
"""


def parquet_bomb(rows: int) -> bytes:
    """Return a Parquet file of a few hundred kB with so many rows of nothing."""
    stream, block = io.BytesIO(), pa.array(np.zeros(1_000_000))
    with pa_parquet.ParquetWriter(stream, pa.schema([(name, pa.float64()) for name in COLUMNS])) as writer:
        for _ in range(rows // 1_000_000):
            writer.write_table(pa.table(dict.fromkeys(COLUMNS, block)))
    return stream.getvalue()


def absurd(content: bytes, mark: bytes, place: int) -> bytes:
    """Return a binary file in which a count behind each mark is beyond everything."""
    spoiled, at = bytearray(content), content.find(mark)
    while at >= 0:
        spoiled[at + place : at + place + 8] = (1 << 62).to_bytes(8, "little")
        at = content.find(mark, at + 1)
    return bytes(spoiled)


def bombs() -> dict[str, bytes]:
    """Return files of at most a megabyte for each reader; a name is the reader and what is in it."""
    mdf = mdf_log()[1]
    return {
        "settings,parts": b"".join(b"x%d.%s = 1\n" % (i, b".".join([b"a"] * 32)) for i in range(4000)),
        "settings,one key": b"a." * 500_000 + b"a = 1",
        "settings,lists": b"a = [" + b"[]," * 60_000 + b"]",
        "score report,lists": b'{"schema": "lubetrip-score/1", "traces": [' + b"{}," * 300_000 + b"{}]}",
        "port,no end": b"9" * 1_000_000,
        "vectors,cases": b"lubetrip-vectors 2\nlogic x\n" + b"case a\n" * 30_000 + b"digest 1\n",
        "vary,count": b"trip_delay=1s..2s/999999999",
        "vary,no count": b"trips_to_lockout=1..999999999",
        "vary,product": b"trip_delay=1s..9s/99999\nrestart_delay=1s..9s/99999",
        "vary,exponent": b"trip_delay=1e999999s..2e999999s/4",
        "tolerances,exponent": b'[oil_pressure]\nlag = "1e999999 s"',
        "tolerances,digits": b"[oil_pressure]\ngain = 1" + b"0" * 100_000,
        "tolerances,power": b'[oil_pressure]\nlag = "1 s**9**9**9"',
        "CSV log,brackets": b"t" + b"(" * 60_000 + b";oil;suction;run\n" + b"1;1;1;1\n" * 50,
        "CSV trace in pieces,wide": b"," * 1_000_000,
        "Parquet trace,zeros": parquet_bomb(16_000_000),
        "Parquet log,zeros": parquet_bomb(16_000_000),
        "MDF log,counts": absurd(mdf, b"##CG", 24 + 6 * 8 + 8),
        "MDF log,lengths": absurd(mdf, b"##DZ", 24 + 8),
        "MDF log,sizes": absurd(mdf, b"##DZ", 8),
    }


def test_a_small_file_costs_little_memory(tmp_path: Path) -> None:
    """Catches a count, an exponent, a nesting or a packing that fills the memory of who opens a file."""
    (tmp_path / "bombs").mkdir()
    made = bombs()
    for name, content in made.items():
        assert len(content) <= 1_100_000, name
        (tmp_path / "bombs" / name).write_bytes(content)
    done = subprocess.run(
        [sys.executable, "-c", PROGRAM, str(tmp_path)], capture_output=True, text=True, check=False, timeout=300
    )

    assert done.returncode == 0, done.stderr[-2000:]
    taken = {name: int(mb) for name, mb in (line.split("|") for line in done.stdout.splitlines())}
    assert taken.keys() == made.keys()
    assert {name: mb for name, mb in taken.items() if mb > MOST_MB} == {}


def test_a_parquet_file_that_unpacks_beyond_reason_is_refused_by_its_rows(tmp_path: Path) -> None:
    """Catches a bomb that is read as far as the memory goes, in a library and in an import."""
    path = tmp_path / "bomb.parquet"
    path.write_bytes(parquet_bomb(16_000_000))
    for read in (read_trace, header):
        with pytest.raises(Refusal, match="16000000 rows in"):
            read(path)


def test_a_packed_block_of_an_mdf_unpacks_to_no_more_than_it_says(tmp_path: Path) -> None:
    """Catches a block that says it is small and unpacks to a GiB; without the check the whole of it is unpacked."""
    content = mdf_log()[1]
    at, packed = content.find(b"##DZ"), zlib.compress(bytes(100_000_000), 9)
    block = content[at : at + 40] + len(packed).to_bytes(8, "little") + packed
    content = content.replace(at.to_bytes(8, "little"), len(content).to_bytes(8, "little")) + block
    path = tmp_path / "log.mf4"
    path.write_bytes(content)
    with open_mdf(path) as mdf, pytest.raises(Refusal, match="not as long as it says"):
        check_group(path, mdf, 0)
