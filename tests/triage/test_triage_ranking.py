"""Which machine stands before which, and what is said of it: the rule of `replay.triage.ranking`, part by part."""

import itertools
from types import SimpleNamespace
from typing import Any

import numpy as np

from replay.triage import kernel
from replay.triage.doubts import CANNOT_TELL, CHECK, NEXT, NOTE, WATCH
from replay.triage.events import AT_START, DOUBT, STARVED, VACUUM
from replay.triage.findings import Doubt, Findings
from replay.triage.ranking import ADVICE, notes, order, rank, reasons

HOUR = 3_600_000


def machine(name: str = "m", dry_ms: int = 0, events: dict[str, int] | None = None, **values: Any) -> Findings:
    """Return findings of a machine that ran for ten hours, of which nothing is in doubt."""
    found = Findings(name, (), **{"run_ms": 10 * HOUR, "doubts": ()} | values)
    found.events.update(events or {})
    sums = np.zeros((1, kernel.DAY_SIZE), np.int64)
    sums[0, kernel.DAY_DRY] = dry_ms
    found.days.add(None, sums)
    return found


def before(*machines: Findings) -> None:
    """Hold that machines stand in this order."""
    for one, other in itertools.pairwise(machines):
        assert order(one) < order(other), (one.machine, other.machine)


def test_a_start_without_oil_pressure_is_starved_like_any_other_spell():
    """Catches a machine whose only spells are at its starts that is called not starved, or told as none."""
    started = machine(events={AT_START: 2}, starved_ms=70_000)

    assert ADVICE[rank(started)] == "watch"
    assert reasons(started) == ("70.0 s short of oil in 2 spells", "2 starts without oil pressure")


def test_past_a_stop_and_starts_that_never_got_oil_stand_together_by_the_time_without_it():
    """Catches starts without oil that count for nothing there, or the less the longer they ran."""
    never = (Doubt(NEXT, "most starts stopped before oil pressure came"),)
    before(
        machine("z", past_stop=1, ran_on_ms=50_000),
        machine("y", doubts=never, dry_ms=40_000),
        machine("x", past_stop=1, ran_on_ms=20_000, dry_ms=10_000),
        machine("w", doubts=never, dry_ms=10_000),
    )


def test_within_an_advice_the_longest_stands_first_and_then_the_name():
    """Catches an order by name alone, and one that hangs on the order of the files."""
    before(
        machine("b", events={DOUBT: 1}, doubted_ms=5_000),
        machine("a", events={DOUBT: 1}, doubted_ms=4_000),
        machine("c", events={DOUBT: 1}, doubted_ms=4_000),
        machine("a"),
        machine("b"),
    )


def test_machines_loaded_too_early_stand_by_how_often_and_then_by_what_they_ran_on():
    """Catches the longest before the most often, the least before the most, and a machine that never ran called well."""
    before(
        machine("d", reloads=2, ran_on_ms=1_000),
        machine("c", reloads=1, ran_on_ms=90_000),
        machine("b", reloads=1, ran_on_ms=80_000),
        machine("a", past_stop=1, ran_on_ms=100_000),
        machine("f", events={STARVED: 1}, starved_ms=70_000),
        machine("e", events={STARVED: 1}, starved_ms=60_000),
        machine("a", events={DOUBT: 1}, doubted_ms=100_000),
        machine("z"),
        machine("a", run_ms=0),
    )
    assert ADVICE[rank(machine(run_ms=0))] == "did not run"
    assert [ADVICE[rank(machine(**one))] for one in ({"reloads": 1}, {"past_stop": 1})] == ["open first", "open next"]  # type: ignore[arg-type]


def test_a_doubt_lifts_a_machine_to_its_own_advice_and_never_lowers_it():
    """Catches a doubt that hides a starved spell, and a note that changes an advice."""
    for advice in (NEXT, WATCH, CHECK, CANNOT_TELL):
        assert rank(machine(doubts=(Doubt(advice, "x"),))) == advice
        assert rank(machine(doubts=(Doubt(advice, "x"),), reloads=1)) == 0
    assert ADVICE[rank(machine(doubts=(Doubt(NOTE, "x"),)))] == "not starved"
    assert ADVICE[rank(machine(doubts=None))] == "cannot tell"


def test_notes_are_no_reasons_and_reasons_no_notes():
    """Catches how files were joined told as why a machine stands where it stands, and a doubt told as a note alone."""
    doubts = (Doubt(CANNOT_TELL, "first of all", first=True), Doubt(CHECK, "a doubt"), Doubt(NOTE, "2 files joined"))
    found = machine(doubts=doubts, reloads=1)

    assert reasons(found) == ("first of all", "loaded again once before the oil film was back", "a doubt")
    assert notes(found) == ("2 files joined",)


def doubted(*reasons_of: tuple[str, ...], kind: str = DOUBT) -> Any:
    """Return events of sensor doubt that name these reasons."""
    return SimpleNamespace(all=lambda: tuple(SimpleNamespace(kind=kind, doubts=one) for one in reasons_of))


def test_rows_too_far_apart_are_told_where_they_left_most_of_the_running_unjudged():
    """Catches bad sensors told as a slow log, a slow log told as bad sensors, and half taken for all."""
    said = "rows further apart than max_gap: NOT JUDGED"
    mostly = {"events": {DOUBT: 1}, "doubted_ms": 6 * HOUR}

    assert said in reasons(machine(gravest=doubted(("late tick",)), **mostly))
    assert said not in reasons(machine(gravest=doubted(("oil sensor missing",)), **mostly))
    assert said not in reasons(machine(gravest=doubted(("late tick",)), **{**mostly, "doubted_ms": 5 * HOUR}))
    assert said not in reasons(machine(gravest=doubted(("late tick",), kind=VACUUM), **mostly))


def test_doubt_is_told_by_its_running_time_or_as_of_standstill():
    """Catches doubt at rest told as running time, and one spell told as several."""
    assert reasons(machine(events={DOUBT: 2}, doubted_ms=60_000)) == ("sensors in doubt twice, 60.0 s of running",)
    assert reasons(machine(events={DOUBT: 2})) == ("sensors in doubt twice at standstill",)
    assert reasons(machine(events={STARVED: 1}, starved_ms=60_000)) == ("60.0 s short of oil in 1 spell",)


def test_a_vacuum_is_told_of_a_machine_that_was_not_starved():
    """Catches a vacuum that nobody hears of, and one told beside the spell that it brought."""
    ran = {"events": {VACUUM: 2}, "vacuum_ms": 90_000}
    assert reasons(machine(**ran)) == ("ran twice in vacuum, 90.0 s",)
    ran["events"] = {VACUUM: 2, STARVED: 1}
    assert reasons(machine(**ran, starved_ms=60_000)) == ("60.0 s short of oil in 1 spell",)


def test_running_on_past_a_stop_is_told_with_its_time_and_its_spells():
    """Catches the gravest figure of a machine that nobody hears of."""
    told = reasons(machine(events={STARVED: 2}, past_stop=2, ran_on_ms=90_000, starved_ms=200_000))
    assert told[0] == "ran on 90.0 s past a stop by these settings, in 2 spells"
