"""Proof campaign: every claim on the reference, those that take too long for the tests too."""

import time

import click
import z3

from tests.proof import claims
from tests.proof.logic import Logic
from tests.proof.ways import Unproved
from tests.results import close, record_option


@click.command()
@click.argument("names", nargs=-1, type=click.Choice(list(claims.CLAIMS)), metavar="[CLAIM]...")
@record_option
def proof(names: tuple[str, ...], *, record: bool) -> None:
    """Prove the claims by z3; all of them without names. Exit status 0 proved, 1 not."""
    wanted, proved = names or tuple(claims.CLAIMS), 0
    for name in wanted:
        start = time.perf_counter()
        try:
            claims.show(name, Logic())
        except Unproved as error:
            print(f"{name}: NOT PROVED, {error}", flush=True)
            continue
        proved += 1
        print(f"{name}: proved in {time.perf_counter() - start:.1f} s", flush=True)
    close(f"{proved} of {len(wanted)} claims proved, z3 {z3.get_version_string()}", record=record)
    if proved < len(wanted):
        raise SystemExit(1)
