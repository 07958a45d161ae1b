"""List what the vectors do not tell apart, and what shows that nothing could: `python -m tests.wrong_ports.equivalents [--minutes 10]`.

What the vectors do not find is gone through: a wrong table, or a rule by which it is read again, that leads the same way under
all conditions that can stand together (`tables`), an `xor` for an `or` of bits that are never on together, what gives the same for all numbers there are
(`exhausted`), and what z3 shows to change nothing (`equal`)
are equivalent, and stand in equivalent.toml with what shows it. What is left is hunted once more as the gate hunts it, without
losing patience, so that nothing is listed that the gate finds. The rest is printed and stands there as "unsettled": no
step of the search told it apart, and nothing shows that none can.

What was proved before stays proved as long as neither the reference nor what the proofs take as given has changed.
"""

import ast
import hashlib
import json
import time
import tomllib
from collections import defaultdict
from collections.abc import Iterator
from pathlib import Path

import click

from tests.gates.wrong_ports import EQUIVALENT, UNSETTLED, hunted, listed
from tests.proof import lemmas, logic, ways
from tests.support.toolchain import vector_set
from tests.wrong_ports import equal, exhausted, hooked, spans, swapped, tables
from tests.wrong_ports.search import PATIENCE
from tests.wrong_ports.wrong import Hunt

TOLD = 100  # so often it is told how far it is
GIVEN = (logic, lemmas, spans, equal)  # the invariant, what is known of products, the widths of places, the premises
SLOW = ("signals.observe", "signals.channel")
READ_AGAIN = "table.settle: row[4] (2)"  # where an effect is asked whether it ends the step
TABLE, DISJOINT, PROVED, EXHAUSTED = "by all conditions", "by disjoint bits", "by z3", "by all numbers"


def shown(hunt: Hunt, seconds: float, before: dict[str, str]) -> Iterator[tuple[str, str, str]]:
    """Yield (place, mistake, what shows it) of what was not found."""
    prover, end = equal.Prover(), time.monotonic() + seconds
    whole = Hunt()  # has them all: a hunt forgets where stands what it has found, or left alone
    places = {m.number: n for lists in (whole.narrow, whole.other) for n, some in lists.items() if n >= 0 for m in some}
    on_table = {m.number for m in whole.tables}
    given = [(key, some) for key, some in whole.words.items() if key[0] in ("settings", "inputs")]
    of_word = {m.number: key for key, some in given for m in some}
    swaps = {number: swap for number, (_, swap) in whole.swaps.items()}
    # What is slow to prove comes last.
    for mistake in sorted(hunt.pending(), key=lambda mistake: mistake.place.startswith(SLOW)):
        how = before.get(mistake.name, UNSETTLED)
        if mistake.what == "BitXor for BitOr" and how != PROVED:
            how = DISJOINT  # tests/port/test_spans.py proves it of each
        elif mistake.name in exhausted.PERCENTAGES or mistake.name == exhausted.LIGHT:
            how = EXHAUSTED  # tests/port/test_spans.py goes through them
        elif mistake.number in on_table:
            how = TABLE if not tables.told_apart(*mistake.change(0, 0, 0)) else UNSETTLED
        elif mistake.place == READ_AGAIN and not tables.told_apart(seen=lambda v, m=mistake: m.change(v, None, None)):
            how = TABLE
        elif how == UNSETTLED and mistake.number in places and time.monotonic() < end:
            how = PROVED if prover.same(mistake, places[mistake.number]) else UNSETTLED
        elif how == UNSETTLED and (word := of_word.get(mistake.number)) and time.monotonic() < end:
            how = PROVED if prover.same_word(mistake, *word) else UNSETTLED
        elif how == UNSETTLED and mistake.number in swaps and time.monotonic() < end:
            how = PROVED if same_order(prover, swaps[mistake.number]) else UNSETTLED
        yield mistake.place, mistake.what, how


def same_order(prover: equal.Prover, swap: swapped.Swap) -> bool:
    """Say whether z3 shows that a function with two statements swapped leaves every word that it leaves."""
    program, key = prover.logic.program, (swap.module, swap.function)
    program.hook = hooked.plain
    whole = prover.logic.functions.get(key) or getattr(program.modules[swap.module], swap.function)
    try:
        wrong = swapped.with_swap(program.modules[swap.module], swap)
        if key not in prover.given:
            prover.given[key] = list(prover.settings_of(whole))
        for world, arguments, right in prover.given[key]:
            with ways.inside(world), ways.pushed(world.solver):
                pairs = zip(right, prover.outcome(wrong, arguments), strict=True)
                if not all(equal.alike(world, mine, other) for mine, other in pairs):
                    return False
    except (*equal.CANNOT, NameError, KeyError):
        return False
    return True


def source() -> str:
    """Return a digest of the reference and of what proofs take as given, without comments: what was proved holds as long."""
    paths = [*sorted(hooked.FOLDER.glob("*.py")), *(Path(module.__file__ or "") for module in GIVEN)]
    trees = [ast.dump(ast.parse(path.read_text())) for path in paths]
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
    lines += [
        "# SHA-256 of the reference and of what the proofs take as given, without comments.",
        f"source = {json.dumps(source())}",
        "",
    ]
    for (place, how), mistakes in sorted(grouped.items()):
        lines += [
            "[[equivalent]]",
            f"place = {json.dumps(place)}",
            f"shown = {json.dumps(how)}",
            f"mistakes = {json.dumps(mistakes)}",
            "",
        ]
    EQUIVALENT.write_text("\n".join(lines))


def names_of(hunt: Hunt) -> set[str]:
    """Return the names of what a hunt has found."""
    return {mistake.name for mistake in hunt.mistakes if mistake.number in hunt.found}


@click.command()
@click.option("--minutes", type=float, default=10.0, show_default=True, help="How long z3 may look, in all.")
def command(minutes: float) -> None:
    """Write the list; what was proved before stays so as long as the sources are the same."""
    vectors = vector_set()
    hunt = hunted(vectors.cases, patience=PATIENCE, exchanges=vectors.exchanges)
    left = len(hunt.pending())
    rows = []
    for row in shown(hunt, 60 * minutes, proved()):
        rows.append(row)
        if len(rows) % TOLD == 0:
            click.echo(f"{len(rows)} of {left} looked at")
    settled = {f"{place} [{what}]" for place, what, how in rows if how != UNSETTLED}
    last = hunted(vectors.cases, settled | names_of(hunt), exchanges=vectors.exchanges)
    rows = [row for row in rows if f"{row[0]} [{row[1]}]" not in names_of(last)]
    write(iter(rows))
    for place, what, how in rows:
        if how == UNSETTLED:
            click.echo(f"unsettled: {place} [{what}]")
    click.echo(f"{len(hunt.mistakes)} mistakes, {len(hunt.found) + len(last.found)} found, {len(rows)} not")


if __name__ == "__main__":
    command()
