"""What an import holds of a file: so many blocks of it, and no more of a long one."""

from pathlib import Path

import numpy as np
import pytest
from pyarrow import Table

from replay.measured import long_days, text_lines
from replay.measured.long_form import LongSource
from replay.measured.profile import read_profile
from replay.measured.text import TextSource
from tests.measured.test_import_long import HEAD, ORDERS, READINGS, pa, rows
from tests.measured.test_import_long import PROFILE as LONG_PROFILE
from tests.support.measured import HEADER, NO_READING, PROFILE, bring_in
from tests.support.memory import peak_of

LONG_TAGS = ("K1.OIL_PRESS", "K1.SUCT_PRESS", "K1.RUN")


@pytest.mark.slow("writes and reads long logs")
@pytest.mark.parametrize("encoding", ["utf-8", "utf-16"])
@pytest.mark.parametrize("order", [1, -1])
def test_memory_does_not_grow_with_the_length_of_a_log(
    order: int, encoding: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Catches a log, newest first above all, that is held as a whole to be read."""
    monkeypatch.setattr(text_lines, "BLOCK_BYTES", 4096)
    profile = tmp_path / "profile.toml"
    profile.write_text(PROFILE)

    def peak(count: int) -> int:
        log = tmp_path / f"{count}.csv"
        lines = [f"{second};4.{second % 7};2.{second % 5};1\n" for second in range(count)]
        log.write_text("".join([HEADER, *lines[::order]]), encoding=encoding)
        source = TextSource(log, read_profile(profile), repair=False)
        return peak_of(lambda: [len(block.time_ms) for block in source.blocks()])

    peak(2_000)  # what is imported and kept once is not counted
    grown = peak(80_000) - peak(10_000)  # a few words of each block are kept, to tell where it stands
    assert grown < 0.25 * ((tmp_path / "80000.csv").stat().st_size - (tmp_path / "10000.csv").stat().st_size)


def test_a_long_table_may_be_larger_than_memory(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Catches a historian's decade that is held as a whole, so that its import ends in a killed process."""
    monkeypatch.setattr(text_lines, "BLOCK_BYTES", 1 << 15)
    monkeypatch.setattr(long_days, "HELD_BYTES", 1 << 16)
    profile = tmp_path / "profile.toml"
    profile.write_text(LONG_PROFILE)

    def peak(days: int) -> int:
        log = tmp_path / f"{days}.csv"
        moments = [f"2026-03-{1 + n // 400:02d} 10:{n // 60 % 60:02d}:{n % 60:02d}" for n in range(400 * days)]
        lines = [f"{at};{tag};{n % 2};Good\n" for tag in LONG_TAGS for n, at in enumerate(moments)]
        log.write_text(HEAD + "".join(lines))

        def read() -> None:
            source = LongSource(log, read_profile(profile), packed=False, repair=False)
            assert sum(len(block.time_ms) for block in source.blocks()) == 400 * days

        return min(peak_of(read) for _ in range(3))  # when garbage is collected is up to chance

    peak(1)  # what is imported and kept once is not counted
    grown = peak(9) - peak(2)
    assert grown < 0.25 * ((tmp_path / "9.csv").stat().st_size - (tmp_path / "2.csv").stat().st_size)


def test_no_more_readings_wait_in_memory_than_is_admitted(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Catches tables that are never written: what they hold is not Python's own, so that its peak does not tell it."""
    monkeypatch.setattr(long_days, "HELD_BYTES", 1000)
    days = long_days.Days(tmp_path)
    for number in range(20):
        days.add(Table.from_pydict({"ms": np.arange(50, dtype=np.int64) + 1000 * number}))
        assert sum(table.nbytes for tables in days.waiting.values() for table in tables) <= 1000


@pytest.mark.parametrize("order", ORDERS)
def test_readings_that_wait_on_disk_are_the_same(order: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Catches readings lost, doubled or out of order where those of a day come in pieces."""
    monkeypatch.setattr(text_lines, "BLOCK_BYTES", 64)
    monkeypatch.setattr(long_days, "HELD_BYTES", 1)
    monkeypatch.setattr(long_days, "DAY_MS", 2000)
    _, (trace,) = bring_in(tmp_path, HEAD + rows(ORDERS[order]), LONG_PROFILE)

    assert trace.time_ms.tolist() == [0, 1000, 2000, 3000, 4000, 9000]
    assert trace.oil_pa.tolist() == [pa(3.5), pa(3.6), pa(3.6), NO_READING, pa(3.1), pa(3.1)]
    assert trace.suction_pa.tolist() == [pa(2.0), pa(2.0), pa(2.1), pa(2.1), pa(2.1), pa(2.2)]


@pytest.mark.parametrize("order", [1, -1])
def test_an_hour_that_comes_twice_is_told_apart_in_a_long_table(order: int, tmp_path: Path) -> None:
    """Catches the second coming of an hour taken for the first where each day is put together by itself.

    The status is written at noon of the day before, and next in that hour.
    """
    minutes = range(0, 300, 5)  # from midnight UTC of the day on which clocks go back at one in the morning
    local = [(120 + m if m < 60 else 60 + m) for m in minutes]
    lines = [f"2026-10-25 {m // 60:02d}:{m % 60:02d}:00;{tag};2;Good\n" for m in local for tag in LONG_TAGS[:2]]
    status = ["2026-10-24 12:00:00;K1.RUN;0;Good\n", "2026-10-25 02:30:00;K1.RUN;1;Good\n"]
    before = [f"2026-10-24 23:00:00;{tag};2;Good\n" for tag in LONG_TAGS[:2]]
    lines = [status[0], *before, *lines[:14], status[1], *lines[14:]]
    profile = LONG_PROFILE.replace('"UTC"', '"Europe/Berlin"').replace('"5 s"', '"6 h"')
    _, (trace,) = bring_in(tmp_path, HEAD + "".join(lines[::order]), profile)

    assert trace.time_ms.tolist() == [0, *(10_800_000 + 60_000 * m for m in minutes)]
    assert trace.running.tolist() == [0] * 7 + [1] * 54


def test_of_two_readings_of_a_time_that_wait_on_disk_the_later_counts(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Catches a corrected reading that gives way to the one before it since its day came in pieces."""
    monkeypatch.setattr(text_lines, "BLOCK_BYTES", 64)
    monkeypatch.setattr(long_days, "HELD_BYTES", 1)
    again = [(s, "K1.OIL_PRESS", f"4.{s}", "Good") for s in (0, 1, 4)]
    _, (trace,) = bring_in(tmp_path, HEAD + rows([*READINGS, *again]), LONG_PROFILE, repair=True)

    assert trace.oil_pa.tolist() == [pa(4.0), pa(4.1), pa(4.1), NO_READING, pa(4.4), pa(4.4)]
