"""Look at a gate: `python -m tests.gates NAME`; with --seeded plant its defect and see that it shuts."""

import importlib
import tempfile
from pathlib import Path

import click

from tests.gates.seeded import SEEDED
from tests.results import close, record_option

GATES = {
    "analysis": "static_analysis",
    "coverage-c": "coverage_c",
    "coverage-protect": "coverage_python",
    "int16": "int16",
    "lowest": "lowest",
    "mutation-c": "mutation_c",
    "mutation-host": "mutation_host",
    "mutation-protect": "mutation_python",
    "newest": "newest",
    "proof-c": "wp",
    "sanitizers": "sanitizers",
    "wrong-ports": "wrong_ports",
}


@click.command()
@click.argument("name", type=click.Choice(sorted(GATES)))
@click.option("--seeded", is_flag=True, help="Plant the gate's defect; exit status 0 when the gate is shut by it.")
@record_option
def command(name: str, *, seeded: bool, record: bool) -> None:
    """Print what a gate found. Exit status 0 open, 1 shut."""
    if seeded:
        with tempfile.TemporaryDirectory() as folder:
            verdict = SEEDED[name](Path(folder))
    else:
        verdict = importlib.import_module(f"tests.gates.{GATES[name]}").judge()
    for line in verdict.lines[:-1]:
        print(line)
    close(f"{verdict.lines[-1]}: {'open' if verdict.good else 'shut'}", record=record)
    raise SystemExit(verdict.good if seeded else not verdict.good)


if __name__ == "__main__":
    command()
