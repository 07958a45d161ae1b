"""List what the vectors do not tell apart, and what shows that nothing could: `python -m tests.wrong_ports.equivalents [--minutes 10]`.

What the vectors do not find is gone through: a wrong table that leads the same way under all conditions that can stand
together (`tables`), an `xor` for an `or` of bits that are never on together, what gives the same for all numbers there are
(`exhausted`), and what z3 shows to change nothing (`equal`)
are equivalent, and stand in equivalent.toml with what shows it. The rest is printed and stands there as "unsettled": no
step of the search told it apart, and nothing shows that none can.
"""

import ast
import hashlib
import json
import time
import tomllib
from collections import defaultdict
from collections.abc import Iterator

import click

from tests.gates.wrong_ports import EQUIVALENT, UNSETTLED, hunted, listed
from tests.support.toolchain import vector_set
from tests.wrong_ports import exhausted, hooked, tables
from tests.wrong_ports.equal import Prover
from tests.wrong_ports.search import PATIENCE
from tests.wrong_ports.wrong import Hunt

SLOW = ("signals.observe", "signals.channel")
TABLE, DISJOINT, PROVED, EXHAUSTED = "by all conditions", "by disjoint bits", "by z3", "by all numbers"


def shown(hunt: Hunt, seconds: float, before: dict[str, str]) -> Iterator[tuple[str, str, str]]:
    """Yield (place, mistake, what shows it) of what was not found."""
    prover, end = Prover(), time.monotonic() + seconds
    places = {m.number: n for lists in (hunt.narrow, hunt.other) for n, some in lists.items() if n >= 0 for m in some}
    on_table = {m.number for m in hunt.tables}
    given = [(key, some) for key, some in hunt.words.items() if key[0] in ("settings", "inputs")]
    of_word = {m.number: key for key, some in given for m in some}
    # What is slow to prove comes last.
    for mistake in sorted(hunt.pending(), key=lambda mistake: mistake.place.startswith(SLOW)):
        how = before.get(mistake.name, UNSETTLED)
        if mistake.what == "BitXor for BitOr" and how != PROVED:
            how = DISJOINT  # tests/port/test_spans.py proves it of each
        elif mistake.name in exhausted.PERCENTAGES:
            how = EXHAUSTED  # tests/port/test_spans.py goes through them
        elif mistake.number in on_table:
            how = TABLE if not tables.told_apart(*mistake.change(0, 0, 0)) else UNSETTLED
        elif how == UNSETTLED and mistake.number in places and time.monotonic() < end:
            how = PROVED if prover.same(mistake, places[mistake.number]) else UNSETTLED
        elif how == UNSETTLED and (word := of_word.get(mistake.number)) and time.monotonic() < end:
            how = PROVED if prover.same_word(mistake, *word) else UNSETTLED
        yield mistake.place, mistake.what, how


def source() -> str:
    """Return a digest of the reference without its comments: what was proved holds as long as it stays."""
    trees = [ast.dump(ast.parse(path.read_text())) for path in sorted(hooked.FOLDER.glob("*.py"))]
    return hashlib.sha256("".join(trees).encode()).hexdigest()


def proved() -> dict[str, str]:
    """Return what the list has as proved, if it is of this very source."""
    if not EQUIVALENT.exists() or tomllib.loads(EQUIVALENT.read_text()).get("source") != source():
        return {}
    return {name: how for name, how in listed().items() if how == PROVED}


def write(rows: Iterator[tuple[str, str, str]]) -> None:
    """Write the list, one entry a place and way of showing."""
    grouped: dict[tuple[str, str], list[str]] = defaultdict(list)
    for place, what, how in rows:
        grouped[place, how].append(what)
    lines = [
        "# Mistakes that no vector tells apart, by place, and what shows it: made by `python -m tests.wrong_ports.equivalents`.",
        "",
    ]
    lines += ["# SHA-256 of the reference without its comments.", f"source = {json.dumps(source())}", ""]
    for (place, how), mistakes in sorted(grouped.items()):
        lines += [
            "[[equivalent]]",
            f"place = {json.dumps(place)}",
            f"shown = {json.dumps(how)}",
            f"mistakes = {json.dumps(mistakes)}",
            "",
        ]
    EQUIVALENT.write_text("\n".join(lines))


@click.command()
@click.option("--minutes", type=float, default=10.0, show_default=True, help="How long z3 may look, in all.")
def command(minutes: float) -> None:
    """Write the list; what was proved before stays so as long as the sources are the same."""
    hunt = hunted(vector_set().cases, patience=PATIENCE)
    rows = list(shown(hunt, 60 * minutes, proved()))
    write(iter(rows))
    for place, what, how in rows:
        if how == UNSETTLED:
            click.echo(f"unsettled: {place} [{what}]")
    click.echo(f"{len(hunt.mistakes)} mistakes, {len(hunt.found)} found, {len(rows)} not")


if __name__ == "__main__":
    command()
