"""The choice campaign: it runs what the document says, and its rows are those of the document's table."""

import json
from pathlib import Path

import pyarrow as pa
import pyarrow.parquet as pa_parquet
import pytest

from tests import figures
from tests.campaigns import choice
from tests.campaigns.choice import arguments_of, rows

DOCUMENT = (choice.ROOT / "fixtures" / "README.md").read_text(encoding="utf-8")


def test_the_command_is_that_of_the_document() -> None:
    """Catches a campaign that chooses otherwise than a reader who types what stands there."""
    arguments = arguments_of("text\n\n    lubetrip tune lib --vary a=1,2 \\\n      --out chosen --jobs 2\n\nmore\n")

    assert arguments == ["tune", "lib", "--vary", "a=1,2", "--out", "chosen", "--jobs", "2"]
    assert choice.OUT in arguments_of(DOCUMENT)


def test_each_candidate_is_a_row_as_the_document_has_it(tmp_path: Path) -> None:
    """Catches rows under the wrong settings, a chosen one that is dearer than itself, and limits that nobody knows as 0."""
    given = pa.table({"number": [1, 2, 3], "lockout": ["2", "3", "4"], "weight": ["0.5", "0.75", "1.0"]})
    pa_parquet.write_table(given, tmp_path / "candidates.parquet")
    raced = [
        {"number": 3, "cost": 6.3241, "dearer": [0.0, 0.0, 0.0], "stops": 2.25, "lost": 0.0002},
        {"number": 1, "cost": 7.0, "dearer": [0.6759, None, None], "stops": 1.0, "lost": 0.0},
        {"number": 2, "cost": 9.4, "dearer": [3.0759, -1.2, 4.9], "stops": 1.0, "lost": 0.5},
    ]
    report = {
        "varied": {"weight": 3, "lockout": 3},
        "forecast": {"costs": {"stops": 1, "lost": 9}, "candidates": raced},
    }
    (tmp_path / "report.json").write_text(json.dumps(report))

    assert rows(tmp_path) == [
        "1.0, 4, 6.32, -, 2.25, <0.001",
        "0.5, 2, 7.00, 0.676 (- to -), 1.00, 0",
        "0.75, 3, 9.40, 3.08 (-1.20 to 4.90), 1.00, 0.500",
    ]


@pytest.mark.parametrize(
    "line", [line for line in DOCUMENT.splitlines() if line.startswith("| ") and line[2].isdigit()]
)
def test_each_row_of_the_document_is_one_of_the_newest_record(line: str) -> None:
    """Catches figures that stand in the row of other settings."""
    (record,) = (one for one in figures.records() if "campaigns choice" in one.command)

    assert ", ".join(cell.strip() for cell in line.strip("|").split("|")) in record.line.rstrip("| ").split("; ")
