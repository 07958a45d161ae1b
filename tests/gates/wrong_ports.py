"""Wrong ports against the vectors: each mistake of a fresh port (tests/wrong_ports) is found, or listed.

A mistake that the vectors let pass has to stand in wrong_ports/equivalent.toml, with what shows that nothing could tell
it apart, or as "unsettled": no step of a long search did, and nothing shows yet that none can. No more than
`MOST_UNSETTLED` may be. `judge` takes the vectors as they ship, the states that they tell at power-up and the first
step after each recalled record with them; the list is made by `python -m tests.wrong_ports.equivalents`.
"""

import sys
import tomllib
from collections import Counter
from collections.abc import Collection, Iterator, Mapping, Sequence
from pathlib import Path

from protect import outputs, state
from replay.port.questions import Exchange
from replay.port.vectors import Case, Vectors
from tests.gates.port import Verdict
from tests.support.toolchain import vector_set
from tests.wrong_ports.wrong import Hunt

EQUIVALENT = Path(__file__).parents[1] / "wrong_ports" / "equivalent.toml"
UNSETTLED = "unsettled"
MOST_UNSETTLED = 0  # each is found, or shown to be none


def listed(path: Path = EQUIVALENT) -> dict[str, str]:
    """Return the name of each listed mistake -> what shows it."""
    with path.open("rb") as file:
        rows = tomllib.load(file)["equivalent"]
    return {f"{row['place']} [{what}]": row["shown"] for row in rows for what in row["mistakes"]}


def hunted(
    cases: Sequence[Case], known: Collection[str] = (), patience: int = 0, exchanges: Sequence[Exchange] = ()
) -> Hunt:
    """Take all steps of the cases and of the questions, and with each of them the mistakes that are not found yet."""
    hunt = Hunt(known=known, patience=patience)
    for case in cases:
        memory, values, results = list(case.start), list(case.settings), [0] * outputs.OUTPUTS_SIZE
        hunt.begin_walk(memory)
        for tick in case.ticks:
            hunt.step(memory, values, list(tick.inputs), results)
            if (tuple(memory[: state.STATE_SIZE]), tuple(results)) != (tick.state, tick.outputs):
                raise ValueError(f"case {case.purpose}: not what the logic does")
    for values, memory, inputs in recalled_steps(exchanges):
        hunt.begin_walk(memory)
        hunt.step(memory, values, inputs, [0] * outputs.OUTPUTS_SIZE)
    return hunt


def recalled_steps(exchanges: Sequence[Exchange]) -> Iterator[tuple[list[int], list[int], list[int]]]:
    """Yield (settings, state, inputs) of the first step after each record that is recalled, as the questions take it."""
    values: list[int] = []
    memory: list[int] = []
    for asked, answer in exchanges:
        word, *numbers = asked.split()
        if word == "set":
            values, memory = list(map(int, numbers)), []
        elif word == "recall":
            memory = list(map(int, answer.split()[2:]))
        elif word in ("flip", "step"):
            memory = []
        elif word == "sealed" and memory:
            yield values, memory, list(map(int, numbers))
            memory = []


def judge(vectors: Vectors | None = None, listing: Mapping[str, str] | None = None) -> Verdict:
    """Judge the vectors by the wrong ports that they let pass."""
    known = listed() if listing is None else listing
    vectors = vectors or vector_set()
    # Passing over what did not show so far, and then, with all steps, whatever that left; short cases first, as they find more a step.
    cases = sorted(vectors.cases, key=lambda case: len(case.ticks))
    first = hunted(cases, known, patience=sys.maxsize, exchanges=vectors.exchanges)
    found = {mistake.name for mistake in first.mistakes if mistake.number in first.found}
    hunt = hunted(cases, {*known, *found}, exchanges=vectors.exchanges)
    names = {mistake.name for mistake in hunt.mistakes}
    lines = [f"passes: {mistake.name}" for mistake in hunt.pending()]
    lines += [f"listed, but no mistake: {name}" for name in sorted(known.keys() - names)]
    shown = Counter(known.values())
    unsettled = shown.pop(UNSETTLED, 0)
    if unsettled > MOST_UNSETTLED:
        lines.append(f"{unsettled} unsettled, {MOST_UNSETTLED} at most")
    counts = ", ".join(f"{count} {how}" for how, count in sorted(shown.items()))
    equivalent = f"{shown.total()} shown to be equivalent ({counts}), {unsettled} unsettled"
    told = f"{len(hunt.mistakes)} wrong ports: {len(first.found) + len(hunt.found)} found, {equivalent}, {len(hunt.pending())} pass"
    return Verdict(not lines, (*lines, told))
