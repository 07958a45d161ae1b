"""Mutation campaign: every slip of the host side, or a sample of it, against the tests that state what it breaks.

The gate `mutation-host` plants the named slips and a small sample; this goes through as much as one has time for.
"""

import click

from tests.gates import mutation_host
from tests.results import close, record_option


@click.command("slips")
@click.option("--part", multiple=True, type=click.Choice(sorted(mutation_host.PLAN)), help="Only these parts.")
@click.option("--sample", type=int, help="So many drawn slips instead of all.")
@click.option("--seed", default=mutation_host.SEED, show_default=True, help="Of the sample.")
@click.option("--jobs", default=1, show_default=True, help="Copies of the checkout that are worked in at once.")
@record_option
def slips(part: tuple[str, ...], sample: int | None, seed: int, jobs: int, *, record: bool) -> None:
    """Plant slips in the host side one by one; name those that no test finds."""
    verdict = mutation_host.judge(part or tuple(mutation_host.PLAN), sample, seed, jobs)
    for line in verdict.lines[:-1]:
        print(line)
    close(verdict.lines[-1], record=record)
    raise SystemExit(not verdict.good)
