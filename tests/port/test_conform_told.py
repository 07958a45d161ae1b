"""What a run against the vectors says: counts, what was not offered, where to look. Outcomes are made up by hand."""

import datetime as dt
from collections import Counter
from types import SimpleNamespace
from typing import Any

import pytest

from protect import saved
from replay.port.conform import (
    Conformance,
    Mismatch,
    Outcome,
    _Answers,
    _by_name,
    _by_word_of_record,
    _form_fault,
    _look_at,
    _Question,
    bit_names,
    place_names,
    words_of,
)

EVERY = frozenset({"check", "record", "seal"})
VECTORS: Any = SimpleNamespace(logic="here", digest="d", cases=[1, 2], steps=7, checks=[1], exchanges=[1, 2, 3])


def differs(number: int = 1, **more: Any) -> Mismatch:
    """Return a difference."""
    return Mismatch(f"case {number}, tick 1", "step 1", {}, "done 1", "done 2", "", {"state": (1, 2)}, **more)


def run(*mismatches: Mismatch, equal: dict[str, int] | None = None, offers: Any = EVERY, **about: str) -> Conformance:
    """Return what came of a run."""
    counts = Counter({"step": 7, "check": 1, "tick": 2, "record": 3, "seal": 4} if equal is None else equal)
    outcome = Outcome("p", counts, offers, about, mismatches, 1.26)
    return Conformance("link", VECTORS, outcome, dt.datetime(2026, 3, 2, 8, 0, 1, 5, tzinfo=dt.UTC))


def test_a_run_without_a_difference_says_what_was_compared() -> None:
    """Catches counts under each other's names, and an identical run that does not say so."""
    told = run().told()

    assert told == [
        "compared: 7 steps, 1 settings checks, 2 tick differences,",
        "  3 questions on saved records, 4 on seals",
        "Identical in every word.",
    ]
    assert run().identical and not run(differs()).identical


def test_what_a_port_does_not_offer_is_said_beside_identical() -> None:
    """Catches a clean record of a port of which half was never asked."""
    told = run(equal={"step": 7}, offers=frozenset({"seal"})).told()
    assert [line.split(":")[0] for line in told[2:-1]] == [
        "The port offers no settings check",
        "The port offers no saved records",
        "The port offers no tick difference",
    ]
    assert "tick difference:" not in " ".join(run(differs(), equal={"step": 7}).told())
    record = run(offers=frozenset({"seal"})).as_json()
    assert (record["settings_check"], record["saved_record"], record["sealed_step"]) == (
        "not offered by the port", "not offered by the port", "compared",
    )  # fmt: skip


@pytest.mark.parametrize(("logic", "other"), [({}, False), ({"logic": "here"}, False), ({"logic": "there"}, True)])
def test_a_port_of_another_logic_is_told(logic: dict[str, str], other: bool) -> None:
    """Catches a target of last month's logic that is called identical without a word, and one that says nothing called other."""
    found = run(**logic)

    assert found.other_logic is other
    assert ("It was made from another logic than the vectors." in found.told()) is other


@pytest.mark.parametrize(("count", "more"), [(20, []), (21, ["and 1 cases more with a difference"])])
def test_twenty_differences_are_told_and_the_others_counted(count: int, more: list[str]) -> None:
    """Catches a difference beyond the twentieth that nobody hears of."""
    found = run(*(differs(number) for number in range(count)))

    assert sum(line.startswith("different at") for line in found.told()) == 20
    assert [line for line in found.told() if "cases more" in line] == more
    assert (len(found.as_json()["differences"]), found.as_json()["difference_count"]) == (20, count)
    assert found.outcome.mismatch == differs(0)


def test_the_record_of_a_run_holds_its_counts_and_its_moment() -> None:
    """Catches a record that cannot be told from another, or claims more steps than were compared."""
    record = run().as_json()

    assert (record["date"], record["elapsed_s"], record["result"]) == ("2026-03-02T08:00:01+00:00", 1.3, "identical")
    assert record["compared"] == {"steps": 7, "checks": 1, "ticks": 2, "records": 3, "seals": 4}
    assert record["vectors"] == {"digest": "d", "logic": "here", "cases": 2, "steps": 7, "checks": 1, "exchanges": 3}
    assert record["port"] == {
        "link": "link", "name": "p", "says": {"logic": None, "settings": None, "build": None}, "binary": None,
    }  # fmt: skip
    assert run(differs()).as_json()["result"] == "different"


FORMS = [
    ("done 1 2", "done 1 3", ""),
    ("done 1 2", "done 1", "1 numbers after `done`, 2 expected"),
    ("done 1 2", "done 1 2 3", "3 numbers after `done`, 2 expected"),
    ("done 1 2", "state 1 2", "expected `done` and 2 numbers"),
    ("done 1 2", "", "expected `done` and 2 numbers"),
    ("done 1 2", "done 1 0x2", '"0x2" is no whole number in plain digits'),
    ("done 1 2", "done 1 -2", ""),
    ("done 1 2", "done 1 12345678901", "is no whole number in plain digits"),
    ("saved 0a1b", "saved 0A1B", "the digits a to f of a record are lower case"),
    ("saved 0a1b", "saved 0a1c", ""),
]


@pytest.mark.parametrize(("expected", "got", "said"), FORMS)
def test_an_answer_of_another_form_is_told_apart_from_a_wrong_number(expected: str, got: str, said: str) -> None:
    """Catches a word too few that is told as wrong numbers, and a wrong number told as a form."""
    found = _form_fault(expected, got)

    assert said in found and bool(found) is bool(said)


def test_numbers_that_differ_are_told_by_their_names() -> None:
    """Catches a number beside the name of its neighbour, and a missing one told as 0."""
    names = ("state", "trips", "cause")
    assert _by_name(names, "done 1 2 3", "done 1 5 3") == {"trips": (2, 5)}
    assert _by_name(names, "done 1 2 3", "done 1 2") == {"cause": (3, None)}
    assert _by_name(names, "done 1 2 3", "done x 2 3") == {"state": (1, None)}
    assert _by_name(names, "done 1 2 3", "state 1 2 3") == {name: (n, None) for n, name in enumerate(names, start=1)}


def test_words_of_a_saved_record_are_told_by_their_names() -> None:
    """Catches a damaged record told byte by byte, its complement told beside it, and a short one told as numbers."""
    words = [100 + number for number in range(2 * 24)]
    whole = b"".join(word.to_bytes(4, "little") for word in words)
    whole = whole[: saved.RECORD_SIZE]
    half = saved.RECORD_SIZE // 8
    for at, name in ((0, "number_and_form"), (1, "settings_crc")):
        damaged = bytearray(whole)
        damaged[4 * at] ^= 1
        want = int.from_bytes(whole[4 * at : 4 * at + 4], "little")
        assert _by_word_of_record(f"saved {whole.hex()}", f"saved {damaged.hex()}") == {name: (want, want ^ 1)}
        damaged[4 * (half + at)] ^= 1
        assert list(_by_word_of_record(f"saved {whole.hex()}", f"saved {damaged.hex()}")) == [name]
    complement = bytearray(whole)
    complement[4 * half] ^= 1
    assert list(_by_word_of_record(f"saved {whole.hex()}", f"saved {complement.hex()}")) == [
        "number_and_form_complement"
    ]
    assert _by_word_of_record(f"saved {whole.hex()}", f"saved {whole[:-1].hex()}") == {}
    assert _by_word_of_record(f"saved {whole.hex()}", "saved zz") == {}


@pytest.mark.parametrize(
    ("kind", "words", "where"),
    [
        ("step", {"seen", "state", "cause"}, "1. signals"),
        ("step", {"integral", "state"}, "2. integral"),
        ("step", {"restart_left"}, "3. timers"),
        ("step", {"restart_left", "flags"}, "4. conditions"),
        ("step", {"memory_left", "state"}, "5. table"),
        ("step", {"memory_left"}, "3. timers"),
        ("step", {"alarm", "cause"}, "5. table"),
        ("step", {"alarm"}, "6. outputs"),
        ("seal", {"state_plain"}, "the seal"),
        ("step", set(), ""),
        ("check", {"first_fault"}, "protect/settings.py"),
        ("power-up", {"state"}, "protect/state.py"),
        ("record", {"crc"}, "protect/saved.py"),
        ("tick", {"elapsed"}, "the platform's clock"),
    ],
)
def test_the_earliest_part_whose_words_differ_is_where_to_look(kind: str, words: set[str], where: str) -> None:
    """Catches a porter sent to the outputs for a wrong integral, or to the timers for a reset that came late."""
    found = _look_at(_Question(kind, "here", "asked", "expected"), dict.fromkeys(words, (0, 1)))

    assert found.startswith(where) and bool(found) is bool(where)


@pytest.mark.parametrize(
    ("want", "got", "where"),
    [(516, 524804, "1. signals"), (516, 514, "4. conditions"), (516, None, "4. conditions")],
)
def test_a_wrong_doubt_is_looked_for_in_the_signals(want: int, got: int | None, where: str) -> None:
    """Catches a porter sent to the conditions for a channel that is stuck by another channel's age."""
    found = _look_at(_Question("step", "here", "asked", "expected"), {"conditions": (want, got)})

    assert found.startswith(where)


def test_answers_of_a_target_are_those_to_the_next_question_of_their_text() -> None:
    """Catches an answer taken twice, the first of two equal questions taken for the second, and one that is not there."""
    answers = _Answers("file", ["hello", "seal", "set 1", "seal", "bye"], ["port", "one", " two ", "three"])
    said = []
    for text in ("hello", "seal", "set 1", "seal", "seal"):
        answers.send(text)
        said.append(answers.receive())
    assert said == ["port", "one", "two", "three", "one"]
    answers.send("bye")
    with pytest.raises(Exception, match="no answer to"):
        answers.send("step 1")


def test_words_are_told_with_the_names_of_their_bits() -> None:
    """Catches a bit under another's name, a plain number taken apart, and the count of resets told as flags."""
    assert bit_names("state", 3) == ""
    assert bit_names("flags", 0) == ""
    assert bit_names("flags", 1).startswith(" (") and bit_names("flags", 1).count(",") == 0
    module = SimpleNamespace(ONE=0, TWO=1, SEEN=3, SIZE=5)
    assert place_names(module, "ONE", "SIZE") == ["one", "two", "two_for", "seen", "seen_for"]


def test_a_difference_is_told_whole() -> None:
    """Catches what was expected told as what came, a number that never came told as one, and where to look left out."""
    told = words_of(differs(before={"state": 1}, settings={"cut_out": 5}, look_at="5. table"))
    assert told.splitlines() == [
        "different at case 1, tick 1", "  asked     step 1", "  settings  cut_out 5", "  before    state 1",
        "  expected  done 1", "  got       done 2", "  state: expected 1, got 2", "  look at 5. table",
    ]  # fmt: skip
    lost = Mismatch("here", "step 1", {}, "done 1", "", "why", {"state": (1, None)})
    assert words_of(lost).splitlines()[-2:] == ["  got       (an empty line)", "  why"]
    none = Mismatch("here", "step 1", {}, "done 1", "done", "", {"state": (1, None)})
    assert words_of(none).splitlines()[-1] == "  state: expected 1, got nothing"
