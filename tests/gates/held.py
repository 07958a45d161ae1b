"""The vectors held against `protect` as it is here: what mutation and coverage of `protect` run, by pytest.

The gates put the vectors of the unchanged logic beside a copy of this file. It
uses nothing but `protect`, so that a mutant is run within a fraction of a second.
"""

import json
from pathlib import Path

import pytest

from protect import saved, seal, settings, state, table
from protect.protection import step

HELD = json.loads(Path(__file__).with_name("held.json").read_text(encoding="utf-8"))


def test_settings_are_checked_and_derived_as_held() -> None:
    """Catches a mutant of the settings check or of the derivation."""
    for values, fault, derived in HELD["checks"]:
        filled = [*values, 0, 0, 0]
        assert settings.first_fault(filled) == fault
        if fault == settings.ALL_RIGHT:
            settings.derive(filled)
            assert filled[-3:] == derived


def test_every_word_of_every_step_is_as_held() -> None:
    """Catches a mutant of power-up or of any part of a step."""
    for values, start, ticks in HELD["cases"]:
        memory, results = [0] * 16, [0] * 9
        state.power_up(memory, values)
        assert memory == start
        for inputs, after, out in ticks:
            step(memory, values, inputs, results)
            assert (memory, results) == (after, out)


def test_records_are_filled_as_held() -> None:
    """Catches a mutant of what is saved, or of its checksum."""
    for number, values, memory, wanted in HELD["fills"]:
        record = [0] * saved.RECORD_SIZE
        saved.fill(record, number, values, memory)
        assert record == wanted
    for number, following in HELD["next"]:
        assert saved.next_number(number) == following


def test_records_are_recalled_or_refused_as_held() -> None:
    """Catches a mutant that takes a damaged or impossible record, refuses a good one, or takes the older one."""
    for values, first, second, answer, after in HELD["recalls"]:
        memory = [0] * state.STATE_SIZE
        assert saved.recall(memory, values, first, second) == answer
        assert memory == after


def test_seals_are_made_and_broken_ones_stop_the_machine_as_held() -> None:
    """Catches a mutant of the seal that lets a changed word pass, or goes on from one."""
    for row in HELD["seals"]:
        memory, values, seals = (list(words) for words in row["before"])
        assert seal.seals_hold(memory, values, seals) == row["hold"]
        results = [7] * 9
        seal.sealed_step(memory, values, row["inputs"], results, seals)
        assert ([memory, values, seals], results) == (row["after"], row["results"])
        if row["hold"]:
            memory, again = list(row["before"][0]), [0] * 4
            seal.seal_state(memory, again)
            seal.seal_settings(values, again)
            assert again == row["before"][2]


def test_a_circle_in_the_table_comes_to_an_end(monkeypatch: pytest.MonkeyPatch) -> None:
    """Catches a step that hangs on a table with a circle in it: after MOST_MOVES it goes on."""
    circle = ((state.STOPPED, 0, 0, state.PRIMING, table.NONE), (state.PRIMING, 0, 0, state.STOPPED, table.NONE))
    monkeypatch.setattr(table, "TABLE", circle)
    memory = [0] * state.STATE_SIZE
    table.settle(memory, [0] * 25, 0)

    assert memory[state.STATE] == state.PRIMING
