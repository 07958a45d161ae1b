"""What an import holds of a file: so many blocks of it, and no more of a long one; what cannot be done so is refused."""

from pathlib import Path

import pytest

from replay.ground.refusal import Refusal
from replay.measured import long_form, text_lines
from replay.measured.profile import read_profile
from replay.measured.text import TextSource
from tests.measured.test_import_long import HEAD, READINGS, rows
from tests.measured.test_import_long import PROFILE as LONG_PROFILE
from tests.support.measured import HEADER, PROFILE, bring_in
from tests.support.memory import peak_of


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


def test_a_long_table_that_would_fill_the_memory_is_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Catches an import of a historian's decade that ends in a killed process instead of a sentence."""
    monkeypatch.setattr(long_form, "MOST_BYTES", len(HEAD + rows(READINGS)) - 1)

    with pytest.raises(Refusal, match=r"in long form, and 0 MB as text.*parts of at most 0 MB, such as months"):
        bring_in(tmp_path, HEAD + rows(READINGS), LONG_PROFILE)
