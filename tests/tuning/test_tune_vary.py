"""What is varied: the grammar of --vary, units, keys that follow others, and what is refused."""

from pathlib import Path

import pytest

from protect import ranges
from replay.ground.refusal import Refusal
from replay.tuning.vary import every_candidate, parse, read_space

PSI = 6894.757293168  # Pa; NIST SP 811 (from memory)


def given(base: Path, *varied: str, open_ranges: bool = False) -> list[dict[str, object]]:
    """Return what each candidate of a grid would write into its file."""
    candidates, _ = every_candidate(read_space(base, varied, open_ranges=open_ranges), 1000)
    return [dict(candidate.given) for candidate in candidates]


@pytest.mark.parametrize(
    ("varied", "expected"),
    [
        ("trip_delay=30s..90s/3", ["30 s", "60 s", "90 s"]),
        ("trip_delay=30..90s/3", ["30 s", "60 s", "90 s"]),
        ("trip_delay = 0.5 min .. 1.5 min / 3", ["0.5 min", "1 min", "1.5 min"]),
        ("trip_delay=90s,30 s", ["90 s", "30 s"]),
        ("cut_out=5psi..7psi/5", ["5 psi", "5.5 psi", "6 psi", "6.5 psi", "7 psi"]),
        ("floor_weight=1..2/3", [1.0, 1.5, 2.0]),
        ("trips_to_lockout=2,3,4", [2, 3, 4]),
        ("trips_to_lockout=2..6/3", [2, 4, 6]),
        ("reload=0 psig,2 psig", ["0 psig", "2 psig"]),
        ("vacuum=5inHg vac..10inHg vac/2", ["5 inHg vac", "10 inHg vac"]),
        ("cut_in=cut_out+20kPa", ["80 kPa"]),
        ("cut_in=cut_out+10kPa..30kPa/3", ["70 kPa", "80 kPa", "90 kPa"]),
        ("floor=cut_out-25kPa", ["35 kPa"]),
        ("cut_in=cut_out+2psi", ["73.79 kPa"]),
        ("start_grace=restart_delay-50s", ["10 s"]),
        ("vacuum_weight=floor_weight-0.5", [1.5]),
    ],
)
def test_values_stand_as_a_user_would_write_them(varied: str, expected: list[object], settings_file: Path) -> None:
    """Catches an end that is left out, a unit that is lost or changed, a step that is off, a list that is sorted."""
    key = varied.partition("=")[0].strip()

    assert [candidate[key] for candidate in given(settings_file, varied)] == expected


def test_a_key_follows_another_that_is_varied_whatever_the_order(settings_file: Path) -> None:
    """Catches a difference to the base value instead of the candidate's own, and an order of options that matters."""
    varied = ("cut_in=cut_out+3psi", "cut_out=6psi,8psi")

    assert given(settings_file, *varied) == [
        {"cut_in": "9 psi", "cut_out": "6 psi"},
        {"cut_in": "11 psi", "cut_out": "8 psi"},
    ]


def test_the_integers_are_those_of_the_units(settings_file: Path) -> None:
    """Catches a grid that is spaced in other units than the ones it shows."""
    candidates, _ = every_candidate(read_space(settings_file, ["cut_out=5psi..7psi/3"], open_ranges=False), 10)

    assert [one.settings.values[ranges.CUT_OUT] for one in candidates] == [round(n * PSI) for n in (5, 6, 7)]
    assert len({one.settings.values[ranges.SLOPE] for one in candidates}) == 3


def test_contradictory_candidates_are_left_out_and_counted(settings_file: Path) -> None:
    """Catches a candidate whose cut-in is not above its cut-out, and one dropped in silence."""
    space = read_space(settings_file, ["cut_out=50kPa..90kPa/5", "cut_in=60kPa..100kPa/5"], open_ranges=False)
    candidates, left_out = every_candidate(space, 100)

    assert all(one.settings.values[ranges.CUT_OUT] < one.settings.values[ranges.CUT_IN] for one in candidates)
    assert (len(candidates), left_out) == (15, 10)


def test_a_range_without_a_count_is_for_a_search(settings_file: Path) -> None:
    """Catches an open range that a grid takes as if somebody had stated its steps."""
    assert len(given(settings_file, "trip_delay=30s..90s", open_ranges=True)) > 100
    with pytest.raises(Refusal, match="--budget N"):
        given(settings_file, "trip_delay=30s..90s")


@pytest.mark.parametrize(
    ("varied", "rule", "accepted"),
    [
        ("trip_delay", "not KEY=VALUES", "trip_delay=30s..240s/43"),
        ("trip_delay=", "not KEY=VALUES", "trips_to_lockout=2,3,4"),
        ("trip=30s,40s", "no setting that can be varied", "cut_out, cut_in, floor"),
        ("confidence=0.9,0.95", "no setting that can be varied", "trip_delay"),
        ("oil_range=1..2/2", "no setting that can be varied", "trip_delay"),
        ("trip_delay=30..240/3", "without one unit", "trip_delay=30s..240s/43"),
        ("trip_delay=30s..4min/3", "without one unit", "trip_delay=30s..240s/43"),
        ("trip_delay=30 parsecs,40 parsecs", "not a unit of this kind", '"1 s" to "30 min"'),
        ("cut_out=9 psig,10 psig", "neither gauge nor absolute", '"1 kPa" to "1000 kPa"'),
        ("trip_delay=1h..2h/2", "outside the admitted range", '"1 s" to "30 min"'),
        ("trip_delay=240s..30s/3", "the least is not less than the most", "LEAST..MOST/COUNT"),
        ("trip_delay=30s..240s/1", "too few or too many values", "LEAST..MOST/2"),
        ("trip_delay=30s,x", "'x' is not a value", "trip_delay=30s..240s/43"),
        ("trip_delay=30s,30s", "a value appears twice", "each value once"),
        ("trips_to_lockout=2.5", "must be a whole number", "1 to 100"),
        ("floor_weight=2s", "is a plain number", "floor_weight=1..3/5"),
        ("cut_in=trip_delay+3s", "not of one kind", "two pressures"),
        ("cut_in=cut_in+3psi", "follows a key itself", "values of its own"),
        ("cut_in=cut_out+3s", "not a unit of this kind", "a difference such as 3 psi"),
        ("cut_in=cut_out-3psi", "every candidate contradicts itself", "cut_out below cut_in"),
    ],
)
def test_what_cannot_be_varied_is_refused_with_what_would_do(
    varied: str, rule: str, accepted: str, settings_file: Path
) -> None:
    """Catches a value that is guessed at, and a refusal that leaves the user to guess."""
    with pytest.raises(Refusal) as refused:
        given(settings_file, varied)

    assert rule in str(refused.value)
    assert accepted in str(refused.value).partition("accepted:")[2]


@pytest.mark.parametrize(
    ("varied", "rule"),
    [
        (("trip_delay=30s,40s", "trip_delay=50s,60s"), "varied twice"),
        (("cut_in=cut_out+3psi", "cut_out=cut_in-3psi"), "follows a key itself"),
        ((), "nothing is varied"),
        (("trip_delay=30s..90s/50", "cut_out=40kPa..60kPa/50"), "2500 candidates"),
    ],
)
def test_ranges_that_do_not_go_together_are_refused(varied: tuple[str, ...], rule: str, settings_file: Path) -> None:
    """Catches the last of two that wins in silence, keys that follow each other in a circle, a grid without end."""
    with pytest.raises(Refusal, match=rule):
        given(settings_file, *varied)


@pytest.mark.parametrize(
    ("varied", "ends"),
    [
        ("trip_delay=30s..90s/3", [0, 2]),
        ("trip_delay=90s,30s,60s", [0, 1]),
        ("trip_delay=30s,60s", []),
        ("cut_in=cut_out+10kPa..30kPa/3", [0, 2]),
    ],
)
def test_an_end_of_what_is_varied_is_its_least_or_largest_value(varied: str, ends: list[int]) -> None:
    """Catches the first of a list taken for its least, and both of two called ends."""
    axis = parse(varied)

    assert [place for place in range(len(axis.options)) if axis.is_end(place)] == ends
