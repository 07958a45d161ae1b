"""Every figure of the documents printed anew in one go, with the date and the digests: `python -m tests.figures`.

What takes seconds is worked out; what takes hours stands in RESULTS.md, and the newest line of each command is printed with
whether it was run on what stands here now. `--benchmarks` measures too, each benchmark as it is: some minutes, on a quiet machine.

No document states a result that is not printed here: a sentence that does stands in STATED, with the names of its
figures in place of the numbers, or in RECORDED, with the run. `tests/house/test_figures.py` holds them.
"""

import platform
import re
import statistics
import subprocess
import sys
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path
from typing import NamedTuple

import click
import numpy as np

from replay.library import library_digest, read_library, settings_of
from replay.score import score_library
from replay.score.judge_digest import judge_digest
from tests.results import RAN_ON, RESULTS

ROOT = Path(__file__).parents[1]
FIXTURES = ROOT / "fixtures"
BENCHMARKS = (
    "start",
    "replay",
    "physics",
    "synthesis",
    "imports",
    "triage",
    "show",
    "report",
    "page",
    "tune",
    "years",
    "cluster",
)
# What prints its own figures in seconds, and where those begin in what it prints.
COMMANDS = {"tests.physics_facts --quiet": "\nfact  ", "firmware_ref.size": ""}
# Sentences of documents that state a result.
STATED = {
    "README.md": (
        "missed trips   {missed} of {faults} faults",
        "nuisance trips {nuisance} in {hours} run hours: {per_1000h} per 1000 h",
        "worst margin of hits {worst_margin} s",
        "bench.html: {traces} traces, {readings} readings, {bench_mb} MB",
    ),
    "replay/guides/labels.md": (
        "the pessimistic one is spoilt after {film_least} to {film_most} times the true time",
        "half of them\n  within 25 %",
    ),
}
# Passages of documents that state what a long run came to: document, where it begins and ends, the run by its command.
# Each figure of theirs stands in the newest line of it in RESULTS.md.
RECORDED = (
    ("replay/guides/comparing.md", "| nuisance trips |", "`lubetrip forecast", "tests.campaigns law"),
    ("replay/guides/fit.md", "Of 20 invented machines", "\n\n", "tests.campaigns strangers"),
)


class Record(NamedTuple):
    """A line of RESULTS.md: day, command, digests of logic and C port, what it came to."""

    day: str
    command: str
    logic: str
    port: str
    line: str

    @property
    def current(self) -> bool:
        """Whether it was run on the logic and the C port that stand here now; a port of which it does not speak is `-`."""
        return self.logic == RAN_ON[0] and self.port in ("-", RAN_ON[1])


def records() -> list[Record]:
    """Return the newest line of each command in RESULTS.md, options left out that say how long it ran."""
    rows = [line for line in RESULTS.read_text(encoding="utf-8").splitlines() if line.startswith("| 2")]
    newest: dict[str, Record] = {}
    for row in rows:
        record = Record(*(cell.strip() for cell in row.strip("|").split(" | ", 4)))
        port = re.search(r"--port \S+", record.command)
        newest[f"{record.command.strip('`').split(' --')[0]} {port[0] if port else ''}"] = record
    return list(newest.values())


def figures() -> dict[str, str]:
    """Return the figures that documents state, by their names in STATED, as they are shown."""
    return demo() | film()


def demo() -> dict[str, str]:
    """Return what the settings of the demo site come to on its library, and how large its bench page is."""
    from replay.page.bench import page

    library = read_library(FIXTURES)
    settings = settings_of(None, library, FIXTURES)
    whole = score_library(library, settings).totals
    made = page(library, settings)
    return {
        "missed": str(whole.missed),
        "faults": str(whole.must_trip),
        "nuisance": str(whole.nuisance_trips),
        "hours": f"{whole.ride_through_run_hours:.2f}",
        "per_1000h": f"{whole.nuisance_per_1000h:.1f}",
        "worst_margin": f"{whole.worst_margin_s:.1f}",
        "traces": str(made.traces),
        "readings": str(made.readings),
        "bench_mb": f"{len(made.text.encode()) / 1e6:.1f}",
    }


def film() -> dict[str, str]:
    """Return how near the pessimistic journal beside a curve comes, on the demo library."""
    from tests.physics.test_recorded import shares

    found = shares()
    return {
        "film_least": f"{min(found):.1f}",
        "film_most": f"{max(found):.1f}",
        "film_median": f"{statistics.median(found):.2f}",
        "film_near": f"{sum(0.75 < share < 1.25 for share in found)} of {len(found)} within 25 %",
    }


def digests() -> Iterator[str]:
    """Yield the date, and what all figures were worked out on."""
    yield f"date {datetime.now(UTC):%Y-%m-%d %H:%M} UTC"
    yield f"logic {RAN_ON[0]}, C port {RAN_ON[1]}, judge {judge_digest()[:16]}"
    yield f"demo library {library_digest(read_library(FIXTURES))[:16]}"
    yield f"Python {platform.python_version()}, numpy {np.__version__}, {platform.machine()}"


@click.command()
@click.option("--benchmarks", is_flag=True, help="Measure too: some minutes.")
def main(*, benchmarks: bool) -> None:
    """Print every figure of the documents, and what long runs came to."""
    for line in digests():
        click.echo(line)
    click.echo("\nThe demo library, and the film beside a curve")
    for name, value in figures().items():
        click.echo(f"  {name:14s} {value}")
    for command, begins in (
        COMMANDS | ({f"tests.benchmarks {name}": "" for name in BENCHMARKS} if benchmarks else {})
    ).items():
        click.echo(f"\npython -m {command}")
        done = subprocess.run(
            [sys.executable, "-m", *command.split()], cwd=ROOT, capture_output=True, text=True, check=False
        )
        click.echo(done.stdout[max(done.stdout.find(begins), 0) :] + (done.stderr if done.returncode else ""))
    click.echo("What long runs came to, the newest line of each (tests/RESULTS.md)")
    for record in records():
        its = "current" if record.current else f"NOT of this logic or C port ({record.logic}, {record.port})"
        click.echo(f"  {record.day} {record.command}: {its}\n    {record.line.rstrip('| ')}")


if __name__ == "__main__":
    main()
