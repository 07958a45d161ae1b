"""Look at a gate: `python -m tests.gates NAME`; with --seeded plant its defect and see that it shuts."""

import importlib
import tempfile
from pathlib import Path

import click

from tests.gates.seeded import SEEDED

GATES = {
    "analysis": "static_analysis",
    "coverage-c": "coverage_c",
    "coverage-protect": "coverage_python",
    "mutation-c": "mutation_c",
    "mutation-protect": "mutation_python",
    "proof-c": "wp",
    "sanitizers": "sanitizers",
}


@click.command()
@click.argument("name", type=click.Choice(sorted(GATES)))
@click.option("--seeded", is_flag=True, help="Plant the gate's defect; exit status 0 when the gate is shut by it.")
def command(name: str, *, seeded: bool) -> None:
    """Print what a gate found. Exit status 0 open, 1 shut."""
    if seeded:
        with tempfile.TemporaryDirectory() as folder:
            verdict = SEEDED[name](Path(folder))
    else:
        verdict = importlib.import_module(f"tests.gates.{GATES[name]}").judge()
    for line in verdict.lines:
        print(line)
    print("open" if verdict.good else "shut")
    raise SystemExit(verdict.good if seeded else not verdict.good)


if __name__ == "__main__":
    command()
