"""Choice campaign: chooses the demo settings anew by the very command that stands in fixtures/README.md.

Each candidate comes out as a row of the table there; `tests/tools/test_choice.py` holds the table to the record.
"""

import json
import shlex
import subprocess
import sys
import tempfile
from pathlib import Path
from typing import Any

import click
import pyarrow.parquet as pa_parquet

from replay.display.forecast import figure_text
from replay.tuning.results import CANDIDATES, REPORT
from tests.results import close, record_option

ROOT = Path(__file__).parents[2]
OUT = "chosen"  # the folder in the command


def arguments_of(document: str) -> list[str]:
    """Return the arguments of the command that chose, from an indented block of the document."""
    begin = document.index("    lubetrip tune ")
    return shlex.split(document[begin : document.index("\n\n", begin)].replace("\\\n", " "))[1:]


def row(given: dict[str, Any], told: dict[str, Any], varied: list[str], figures: list[str]) -> str:
    """Return a candidate: the settings varied, what a year costs, by how much it is dearer, the figures that cost."""
    mean, *limits = ("-" if value is None else figure_text(value) for value in told["dearer"])
    cells = (*(given[key] for key in varied), figure_text(told["cost"]))
    cells = (*cells, "-" if told["dearer"][0] == 0.0 else f"{mean} ({' to '.join(limits)})")
    return ", ".join((*cells, *(figure_text(told[name]) for name in figures)))


def rows(folder: Path) -> list[str]:
    """Return the candidates that ran machine-years, the cheapest first, from the folder of a tuning."""
    report = json.loads((folder / REPORT).read_text(encoding="utf-8"))
    given = {line["number"]: line for line in pa_parquet.read_table(folder / CANDIDATES).to_pylist()}
    raced, figures = report["forecast"]["candidates"], list(report["forecast"]["costs"])
    return [row(given[told["number"]], told, list(report["varied"]), figures) for told in raced]


@click.command()
@record_option
def choice(record: bool) -> None:
    """Choose the demo settings anew, as fixtures/README.md says: some six minutes on two quiet cores."""
    arguments = arguments_of((ROOT / "fixtures" / "README.md").read_text(encoding="utf-8"))
    with tempfile.TemporaryDirectory() as folder:
        out = Path(folder) / OUT
        arguments[arguments.index(OUT)] = str(out)
        subprocess.run([sys.executable, "-m", "replay", *arguments], cwd=ROOT, check=True)
        close("; ".join(rows(out)), record=record)
