"""What a library tells twice, on looks made up by hand: each rule at its bound, without a trace to read."""

import datetime as dt
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from replay.library import Entry, Library, MustTrip
from replay.score.once import (
    LEAST_ROWS,
    MOST_SAMPLES,
    SHARED,
    WINDOW,
    Look,
    Once,
    _row_hashes,
    _Seen,
    counted_once,
    sensor_fails,
    spellings,
)

RIDE = "ride_through"
FAULT = (MustTrip(100.0, 200.0),)
Hash = tuple[int, float]


def look(
    sha: str, start: float = 0.0, end: float = 1000.0, hashes: Sequence[Hash] = (), *, unit: str = "", psi: bool = False
) -> Look:
    """Return a look: what stands at a place of the trace and when, rows of a second."""
    return Look(
        sha, start, end, 1.0, np.array([h for h, _ in hashes], np.uint64), np.array([t for _, t in hashes]), unit, psi
    )


def entry(name: str, label: Any = RIDE, *, machine: str = "K1", begun: float | None = None, **more: Any) -> Entry:
    """Return an entry; begun: s since 1970."""
    start = None if begun is None else dt.datetime.fromtimestamp(begun, dt.UTC)
    given = {"family": "f", "oil": "o", "origin": "recorded: x", "note": ""} | more
    return Entry(id=name, path=Path(name), machine=machine, label=label, start_utc=start, **given)


def once(*pairs: tuple[Entry, Look]) -> Once:
    """Count entries once whose traces look so."""
    library = Library(Path(), tuple(one for one, _ in pairs), None)
    return counted_once(library, lambda _work, _entries, *_rest: [seen for _, seen in pairs])


def twice(found: Once) -> list[tuple[str, int, int, float]]:
    """Return the pairs that tell the same."""
    return [(pair.kind, pair.first, pair.second, pair.seconds) for pair in found.twice]


def told(found: Once) -> list[tuple[tuple[float, float], ...]]:
    """Return what other traces tell of each."""
    return [one.told for one in found.library.entries]


@pytest.mark.parametrize(
    ("later", "told_of_second"),
    [
        (999.0, ((0.0, 1.0),)),
        (999.875, ((0.0, 0.125),)),
        (1000.0, ()),
        (400.0, ((0.0, 600.0),)),
        (0.0, ((0.0, 1000.0),)),
    ],
)
def test_recordings_that_say_when_they_began_overlap_to_the_second(
    later: float, told_of_second: tuple[tuple[float, float], ...]
) -> None:
    """Catches the end of one taken for the end of the other, and two that follow each other taken for an overlap."""
    found = once((entry("a", begun=5000.0), look("1")), (entry("b", begun=5000.0 + later), look("2")))

    assert told(found) == [(), told_of_second]
    assert [pair[0] for pair in twice(found)] == ["overlap"] * bool(told_of_second)


def test_a_short_recording_within_a_long_one_is_told_as_a_whole_and_no_further() -> None:
    """Catches a stretch that goes on behind the end of the shorter one, and times of the one told as those of the other."""
    found = once(
        (entry("long", begun=0.0), look("1", 500.0, 1500.0)), (entry("short", begun=300.0), look("2", 7.0, 107.0))
    )

    assert told(found) == [(), ((7.0, 107.0),)]
    assert twice(found) == [("overlap", 0, 1, 100.0)]


def test_other_machines_and_such_as_do_not_say_when_they_began_tell_nothing_by_the_clock() -> None:
    """Catches two machines of one hour taken for one, and one machine that is two by its spelling."""
    other = once((entry("a", begun=0.0), look("1")), (entry("b", begun=5.0, machine="K2"), look("2")))
    unsaid = once((entry("a", begun=0.0), look("1")), (entry("b"), look("2")))
    spelt = once((entry("a", begun=0.0), look("1")), (entry("b", begun=5.0, machine=" k1 "), look("2")))

    assert (twice(other), twice(unsaid)) == ([], [])
    assert twice(spelt) == [("overlap", 0, 1, 995.0)]
    assert spelt.spellings == ((" k1 ", "K1"),)


def same(places: int, over_s: float, ahead: float = 0.0) -> tuple[list[Hash], list[Hash]]:
    """Return places of two traces that are alike over so many seconds; ahead: of the first's time."""
    times = np.linspace(10.0, 10.0 + over_s, places)
    return [(n, float(t) + ahead) for n, t in enumerate(times)], [(n, float(t)) for n, t in enumerate(times)]


@pytest.mark.parametrize(
    ("places", "over_s", "alike"),
    [
        (SHARED, float(LEAST_ROWS - WINDOW), True),
        (SHARED - 1, float(LEAST_ROWS - WINDOW), False),
        (SHARED, LEAST_ROWS - WINDOW - 0.5, False),
    ],
)
def test_rows_that_stand_in_two_recordings_are_one_stretch_from_so_many_on(
    places: int, over_s: float, alike: bool
) -> None:
    """Catches a chance likeness of few rows taken for a recording, and one of just the least that is not."""
    first, second = same(places, over_s)
    found = once((entry("a"), look("1", hashes=first)), (entry("b", machine="K2"), look("2", hashes=second)))

    assert bool(found.twice) is alike
    if alike:
        assert told(found) == [(), ((10.0, 58.0),)]


def test_of_recordings_without_a_clock_the_one_that_began_first_is_judged() -> None:
    """Catches the order of the list taken for that in time, and a stretch in the times of the other one."""
    ahead, behind = same(5, 100.0, ahead=300.0)
    found = once((entry("a"), look("1", hashes=ahead)), (entry("b"), look("2", hashes=behind)))
    assert told(found) == [(), ((10.0, 110.0),)]

    back, forth = same(5, 100.0, ahead=-300.0)
    found = once((entry("a"), look("1", start=-290.0, hashes=back)), (entry("b"), look("2", hashes=forth)))
    assert told(found) == [((-290.0, -190.0),), ()]
    assert twice(found) == [("overlap", 1, 0, 100.0)]


def test_the_clock_goes_before_rows_that_are_alike() -> None:
    """Catches an overlap of an hour that shrinks to the rows in which the machine moved."""
    first, second = same(5, 100.0, ahead=300.0)
    found = once((entry("a", begun=0.0), look("1", hashes=first)), (entry("b", begun=300.0), look("2", hashes=second)))

    assert twice(found) == [("overlap", 0, 1, 700.0)]


def test_a_machine_that_ran_for_one_row_may_be_told_in_psi() -> None:
    """Catches a bound of running that is a row too high, and a machine that stands taken for one in psi."""
    assert seen(1, oil=100.0, suction=70.0).psi()
    assert not seen(9, oil=100.0, suction=70.0, running=0.0).psi()


def test_the_distance_at_which_most_rows_are_alike_is_that_of_the_recordings() -> None:
    """Catches a few rows that come again taken for the whole."""
    hashes = [(n, 10.0 + n * 20) for n in range(8)]
    shifted = [(n, t + (500.0 if n < 3 else 40.0)) for n, t in hashes]
    found = once((entry("a"), look("1", hashes=hashes)), (entry("b"), look("2", hashes=shifted)))

    assert told(found) == [((70.0, 150.0),), ()]


@pytest.mark.parametrize(
    ("labels", "kinds", "spans"),
    [
        ((RIDE, RIDE), ["same"], [(), ((0.0, 1000.0),)]),
        ((FAULT, FAULT), ["same"], [(), ((0.0, 1000.0),)]),
        ((RIDE, FAULT), ["contradict"], [(), ()]),
        (("undecided", RIDE), ["contradict"], [(), ()]),
        ((FAULT, (MustTrip(100.0, 150.0),)), ["overlap"], [((100.0, 200.0),), ()]),
        ((FAULT, (MustTrip(100.0, 250.0),)), ["overlap"], [(), ((100.0, 250.0),)]),
    ],
)
def test_of_files_of_the_same_bytes_one_is_judged(labels: tuple[Any, Any], kinds: list[str], spans: list[Any]) -> None:
    """Catches a twin counted twice, the later of two deadlines taken, and a quarrel of labels that is settled by the order."""
    found = once((entry("a", labels[0]), look("1")), (entry("b", labels[1]), look("1")))

    assert [pair.kind for pair in found.twice] == kinds
    assert told(found) == spans
    doubts = [one.doubt for one in found.library.entries]
    contradicts = kinds == ["contradict"]
    faults_first = labels[0] == RIDE and labels[1] == FAULT
    careful = labels[1][0].deadline_s < 200.0 if labels[1] not in (RIDE, FAULT) else False
    assert twice(found)[0][1:3] == ((1, 0) if faults_first or careful else (0, 1))
    assert doubts == ([f"contradicts {other} over the same stretch" for other in "ba"] if contradicts else ["", ""])


def test_a_harmless_recording_tells_what_lies_outside_of_the_fault() -> None:
    """Catches the hours of a harmless recording thrown away since one of a fault began before it."""
    fault = (MustTrip(100.0, 200.0),)
    found = once((entry("a", fault, begun=0.0), look("1")), (entry("b", begun=300.0), look("2")))
    assert told(found) == [((300.0, 1000.0),), ()]
    found = once((entry("a", begun=0.0), look("1")), (entry("b", (MustTrip(800.0, 900.0),), begun=300.0), look("2")))
    assert told(found) == [(), ((0.0, 700.0),)]
    inside = once((entry("a", begun=0.0), look("1")), (entry("b", (MustTrip(700.0, 900.0),), begun=300.0), look("2")))
    assert [pair.kind for pair in inside.twice] == ["contradict"]
    undecided = once((entry("a", "undecided", begun=0.0), look("1")), (entry("b", begun=300.0), look("2")))
    assert (twice(undecided), told(undecided)) == ([], [(), ()])


@pytest.mark.parametrize(
    ("earliest", "deadline", "kind"),
    [(101.0, 201.0, "overlap"), (101.1, 201.0, "contradict"), (100.0, 198.9, "contradict"), (100.0, 199.0, "overlap")],
)
def test_windows_are_one_where_they_begin_within_a_second(earliest: float, deadline: float, kind: str) -> None:
    """Catches one fault told a moment later taken for two, and the careful deadline of the later recording left out."""
    second = (MustTrip(earliest - 50.0, deadline - 50.0),)
    found = once((entry("a", FAULT, begun=0.0), look("1")), (entry("b", second, begun=50.0), look("2")))

    assert [pair.kind for pair in found.twice] == [kind]


@pytest.mark.parametrize(("psi", "of", "doubted"), [(2, 4, 0), (3, 4, 3), (1, 1, 1), (0, 0, 0)])
def test_psi_is_doubted_where_more_than_half_of_the_harmless_traces_look_like_it(
    psi: int, of: int, doubted: int
) -> None:
    """Catches half of them taken for most, and a fault that looks like psi by itself."""
    rides = [(entry(f"r{n}"), look(f"r{n}", psi=n < psi)) for n in range(of)]
    fault = (entry("x", FAULT), look("x", psi=True))
    found = once(*rides, fault)
    doubts = ["psi taken for kPa" in one.doubt for one in found.library.entries]

    assert sum(doubts) == (doubted + 1 if doubted else 0)


def test_a_doubted_unit_is_told_with_other_doubts() -> None:
    """Catches one of two doubts of a trace that is lost."""
    found = once((entry("a"), look("1", unit="odd")), (entry("b", FAULT), look("1")))

    assert found.library.entries[0].doubt == "odd; contradicts b over the same stretch"


def seen(rows: int, **columns: Any) -> _Seen:
    """Return what is seen of rows: oil, suction in kPa, running."""
    usual: dict[str, Any] = {"oil": 400.0, "suction": 200.0, "running": 1.0} | columns
    table = {
        "time_s": np.arange(rows, dtype=float),
        "oil_pressure_kpa": np.resize(np.array(usual["oil"], float), rows),
        "suction_pressure_kpa": np.resize(np.array(usual["suction"], float), rows),
        "running": np.resize(np.array(usual["running"], float), rows),
    }
    found = _Seen()
    found.take(table)
    return found


UNITS = [
    ({}, ""),
    ({"oil": 6000.0}, ""),
    ({"oil": 6000.1}, "oil pressure mostly beyond 6000 kPa"),
    ({"oil": [7000.0, 400.0]}, ""),  # just half
    ({"oil": [7000.0, 7000.0, 400.0]}, "oil pressure mostly beyond"),
    ({"oil": -7000.0}, "oil pressure mostly beyond"),
    ({"suction": 7000.0}, "suction pressure mostly beyond"),
    ({"oil": 19.9, "suction": 19.9}, "no pressure ever reaches 20 kPa"),
    ({"oil": 20.0, "suction": 19.9}, ""),
    ({"oil": [19.9] * 9 + [20.0], "suction": 19.9}, ""),
    ({"oil": np.nan, "suction": 19.9}, ""),
]


@pytest.mark.parametrize(("columns", "said"), UNITS)
def test_a_unit_is_doubted_beyond_its_bounds(columns: dict[str, Any], said: str) -> None:
    """Catches 6000 kPa doubted, half the readings taken for most, and a channel without readings that says something."""
    found = seen(30, **columns).unit()

    assert found.startswith(said) and bool(found) is bool(said)


def rows_of(seed: int, rows: int) -> dict[str, Any]:
    """Return lively readings."""
    rng = np.random.default_rng(seed)
    return {
        "time_s": np.arange(rows, dtype=float),
        "oil_pressure_kpa": np.round(400 + rng.random(rows) * 50, 3),
        "suction_pressure_kpa": np.round(200 + rng.random(rows) * 50, 3),
        "running": np.ones(rows),
    }


def test_a_trace_is_known_by_its_rows_whatever_the_blocks() -> None:
    """Catches rows between two blocks that tell nothing, and a stretch that is known by when it stands there."""
    whole, parts, later = _Seen(), _Seen(), _Seen()
    table = rows_of(1, 900)
    for name, others in (("oil_pressure_kpa", [7000.0, 15.0, 150.0, 203.0]), ("suction_pressure_kpa", [7000.0, 15.0])):
        for place, kpa in enumerate(others):
            table[name][place::97] = kpa
    whole.take(table)
    for begin in range(0, 900, 130):
        parts.take({name: values[begin : begin + 130] for name, values in table.items()})
    later.take(table | {"time_s": table["time_s"] + 77.5})

    assert all(map(np.array_equal, whole.places(), parts.places()))
    assert np.array_equal(whole.places()[0], later.places()[0])
    assert np.array_equal(whole.places()[1] + 77.5, later.places()[1])
    assert len(whole.places()[0]) > 900 / 8 / 2
    assert (parts.rows, parts.start_s, parts.end_s) == (900, 0.0, 899.0)
    told = [(one.known, one.beyond, one.below, one.ran, one.lifted, one.short) for one in (whole, parts)]
    assert told[0] == told[1]
    assert not len(seen(15).places()[0]) and not len(seen(500).places()[0])  # too short; and nothing moves


def test_no_more_places_are_kept_than_are_admitted() -> None:
    """Catches a long trace whose look fills the memory, and one of which nothing is kept."""
    found = _Seen()
    for seed in range(3):
        found.take(rows_of(seed, 100_000))

    assert MOST_SAMPLES / 2 < len(found.kept[0]) <= MOST_SAMPLES
    assert found.sparse == 16
    assert not (found.kept[0] % np.uint64(16)).any()  # so that another trace of the same rows keeps the same


def test_a_row_is_told_by_both_pressures_and_the_status() -> None:
    """Catches two rows taken for one that differ by a Pa of either pressure, by the status, or by a reading that is none."""
    rows = [(400.0, 200.0, 1.0), (400.001, 200.0, 1.0), (400.0, 200.001, 1.0), (400.0, 200.0, 0.0), (np.nan, 200.0, 1.0),
            (400.0, np.nan, 1.0), (200.0, 400.0, 1.0), (0.0, 200.0, 1.0), (400.0, 0.0, 1.0)]  # fmt: skip
    columns = dict(zip(("oil_pressure_kpa", "suction_pressure_kpa", "running"), np.array(rows).T, strict=True))
    found = _row_hashes(columns | {"time_s": np.arange(len(rows))})

    assert len(set(found.tolist())) == len(rows)
    assert np.array_equal(_row_hashes(columns | {"time_s": np.zeros(len(rows))}), found)


@pytest.mark.parametrize(
    ("family", "origin", "fails"),
    [
        ("Sensor drifts", "recorded: x", True),
        ("rewired transmitter", "recorded: x", True),
        ("wiring", "recorded: x", True),
        ("valve shut", "recorded: x", False),
        ("valve shut", "synthetic: a; oil dead band 2 kPa", True),
        ("valve shut", "recorded: a; dead band", False),
    ],
)
def test_a_family_of_a_sensor_that_fails_is_known_by_its_words(family: str, origin: str, fails: bool) -> None:
    """Catches a warning about the very fault that the family is of."""
    assert sensor_fails(entry("a", family=family, origin=origin)) is fails


def test_spellings_are_grouped_and_single_ones_left_out() -> None:
    """Catches every machine told as one with several spellings."""
    assert spellings(["K1", "k1", "K2", "K 3", "k  3", "K1"]) == (("K 3", "k  3"), ("K1", "k1"))
