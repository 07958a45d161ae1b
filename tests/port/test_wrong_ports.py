"""What wrong ports the vectors that ship let pass: none but those listed, with what shows them equivalent, or as unsettled."""

import dataclasses

import pytest

from tests.gates.wrong_ports import MOST_UNSETTLED, UNSETTLED, hunted, judge, listed
from tests.support.toolchain import HUNTED, vector_set
from tests.wrong_ports import hooked, tables
from tests.wrong_ports.equal import Prover
from tests.wrong_ports.equivalents import DISJOINT, EXHAUSTED, PROVED, READ_AGAIN, TABLE
from tests.wrong_ports.wrong import Hunt, single

pytestmark = pytest.mark.slow("runs every wrong port against the vectors")
FEW = 60  # of what is found, so many are tried on the prover
TENTH = 10
SAMPLE = 25  # of what is proved, every so manieth is proved again; `python -m tests.wrong_ports.equivalents` has all


@pytest.mark.settled(*HUNTED)
def test_no_wrong_port_passes_that_is_not_listed() -> None:
    """Catches vectors in which a value occurs but nothing follows from it, so that a wrong port passes."""
    verdict = judge()

    assert verdict.good, verdict.lines[:20]


def test_vectors_that_leave_out_cases_let_wrong_ports_pass() -> None:
    """Catches a gate that nothing shuts: the first case alone is not enough."""
    few = dataclasses.replace(vector_set(), cases=vector_set().cases[:1])
    hunt = hunted(few.cases, listed())

    assert len(hunt.found) > 1000
    assert len(hunt.pending()) > 1000


def test_the_catalogue_has_what_ports_get_wrong() -> None:
    """Catches a catalogue that lost a kind of mistake."""
    names = {mistake.name for mistake in Hunt().mistakes}

    for bits in (5, 8, 16, 24):
        for how in ("wraps", "held"):
            assert f"state[5] as a whole [{how} in {bits} bits, unsigned]" in names
    for name in (
        "state[5] as a whole [wraps in 29 bits, unsigned]",
        "state[6] as a whole [wraps in 5 bits, unsigned]",
        "state[11] as a whole [wraps in 24 bits, signed]",
        "settings[28] as a whole [wraps in 16 bits, signed]",
        "settings[9] as a whole [as a single float]",
        "integral.weight: depth * settings[SLOPE] [wraps in 30 bits, signed]",
        "integral.weight: depth * settings[SLOPE] [in single floats]",
        "settings[12] as a whole [0 taken as off]",
        "table [rows 15 and 16 swapped]",
        "conditions.follow_spell: order [if bits & HEALTHY: before if not bits & RUNNING:]",
    ):
        assert name in names, name
    assert len(names) > 30_000


def test_what_is_listed_is_not_found() -> None:
    """Catches a list that excuses what the vectors tell apart, and a proof of what is not so: a part of it on all steps."""
    names, none = {mistake.name for mistake in Hunt().mistakes}, listed()
    some = set(sorted(none)[::TENTH])
    hunt = hunted(vector_set().cases, names - some, exchanges=vector_set().exchanges)

    assert not hunt.found
    assert len(some) > 100


def test_the_state_at_power_up_and_the_step_after_a_recall_find_wrong_ports() -> None:
    """Catches a gate that looks at the steps of the walks alone, of all that a port is asked."""
    names = {mistake.name for mistake in Hunt().mistakes}
    start, after_recall = (
        "state[8] as a whole [without its lowest 1 bits]",
        "timers.update: state[FLAGS] = state[FLAGS] | FAULT_DECLARED [one more]",
    )
    whole = vector_set()
    from_cases = hunted([dataclasses.replace(case, ticks=()) for case in whole.cases], names - {start, after_recall})
    from_both = hunted(whole.cases, names - {after_recall}, exchanges=whole.exchanges)

    assert from_cases.latest == start
    assert from_both.latest == after_recall


def test_more_that_is_unsettled_shuts_the_gate() -> None:
    """Catches a list that takes in whatever the vectors let pass."""
    names = [mistake.name for mistake in Hunt().mistakes[: MOST_UNSETTLED + 1]]
    verdict = judge(dataclasses.replace(vector_set(), cases=(), exchanges=()), dict.fromkeys(names, UNSETTLED))

    assert f"{MOST_UNSETTLED + 1} unsettled, {MOST_UNSETTLED} at most" in verdict.lines


def test_every_name_of_a_mistake_is_its_own() -> None:
    """Catches a list that excuses two mistakes where it names one."""
    names = [mistake.name for mistake in Hunt().mistakes]

    assert len(names) == len(set(names))


def test_what_is_listed_says_what_shows_it() -> None:
    """Catches a mistake that is excused without a word, and a table that is called right and leads elsewhere."""
    none = listed()
    hunt = Hunt()
    changed = {mistake.name: mistake for mistake in hunt.tables}
    again = {mistake.name: mistake for mistake in hunt.mistakes if mistake.place == READ_AGAIN}
    by_table = [name for name, how in none.items() if how == TABLE]
    shown = [name for name in by_table if name in changed]
    rules = [again[name] for name in by_table if name not in changed]

    assert set(none.values()) <= {TABLE, DISJOINT, EXHAUSTED, PROVED, UNSETTLED}
    assert shown
    assert all(not tables.told_apart(*changed[name].change(0, 0, 0)) for name in shown[::SAMPLE])
    assert all(not tables.told_apart(seen=lambda v, m=rule: m.change(v, None, None)) for rule in rules)


def test_a_mistake_that_is_found_is_not_shown_to_be_equivalent() -> None:
    """Catches a prover with contradicting assumptions, from which any mistake would be equivalent: one in each function."""
    hunt, prover = Hunt(), Prover()
    wrong = {
        "integral.weight": "Add for Sub",
        "integral.accumulate": "left out",
        "outputs.percent": "Sub for Mult",
    }
    places = {
        place.function: n for n, place in reversed(list(enumerate(hunt.program.places))) if place.kind == hooked.STORE
    }
    tried = 0
    for number in places.values():
        for mistake in hunt.other.get(number, ()):
            if mistake.what in ("one more", "left out"):
                assert not prover.same(mistake, number), mistake.name
                tried += 1
    for where, what in wrong.items():
        number, mistake = next(
            (n, m) for n, some in hunt.other.items() for m in some if m.place.startswith(where) and m.what == what
        )
        assert not prover.same(mistake, number), mistake.name

    assert tried >= 10


def test_what_the_vectors_find_is_not_shown_to_be_equivalent() -> None:
    """Catches a premise or a stand-in that is too strong: some of the mistakes that show in a step."""
    hunt, prover, none = Hunt(), Prover(), listed()
    places = {m.number: n for lists in (hunt.narrow, hunt.other) for n, some in lists.items() if n >= 0 for m in some}
    slow = ("signals.observe", "integral.weight", "outputs.percent")
    found = [m for m in hunt.mistakes if m.number in places and m.name not in none and not m.place.startswith(slow)]

    for mistake in found[:: len(found) // FEW]:
        assert not prover.same(mistake, places[mistake.number]), mistake.name


def test_a_single_float_is_one() -> None:
    """Catches a float that is a double."""
    assert single(16777217) == 16777216
