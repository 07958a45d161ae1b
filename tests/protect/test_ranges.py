"""What may be set: the table of admitted ranges, the rules between settings, the values worked out from them."""

import re

import pytest
from hypothesis import given, settings

from protect import outputs, ranges, state
from protect.settings import ALL_RIGHT, RELATIONS, derive, first_fault
from tests.support.protection import MISSING, ONE, PROFILE, admit, place
from tests.support.strategies import Named, admitted

# The admitted ranges, restated.
SETTINGS = {
    "cut_out": (1_000, 1_000_000),
    "cut_in": (1_000, 1_000_000),
    "floor": (0, 1_000_000),
    "trip_delay": (1_000, 1_800_000),
    "floor_weight": (ONE, 8 * ONE),
    "vacuum_weight": (205, 8 * ONE),
    "recovery": (0, 8 * ONE),
    "stopped_recovery": (0, 8 * ONE),
    "vacuum": (0, 10_000_000),
    "reload": (0, 20_000_000),
    "reload_fraction": (0, ONE),
    "start_grace": (0, 1_800_000),
    "restart_delay": (0, 86_400_000),
    "trips_to_lockout": (1, 100),
    "trip_memory": (1_000, 604_800_000),
    "oil_least": (-100_000, 20_000_000),
    "oil_most": (-100_000, 20_000_000),
    "suction_least": (-100_000, 20_000_000),
    "suction_most": (-100_000, 20_000_000),
    "max_gap": (10, 300_000),
    "stuck_after": (1_000, 86_400_000),
    "fault_delay": (100, 1_800_000),
    "rest_settle": (0, 86_400_000),
    "rest_most": (1_000, 20_100_000),
    "reset_hold": (0, 86_400_000),
    "resets_most": (1, 7),
}
INPUTS = {
    "elapsed": (0, 1_073_741_823),
    "run_feedback": (0, 1),
    "reset": (0, 1),
    "oil_pressure": (-100_000, 20_000_000),
    "suction_pressure": (-100_000, 20_000_000),
    "crankcase_pressure": (-100_000, 20_000_000),
}
# One broken rule each: what is changed in the profile, and the rule (lower, higher) that it breaks.
BROKEN = [
    ({"floor": 60_000}, ("floor", "cut_out")),
    ({"cut_in": 60_000}, ("cut_out", "cut_in")),
    ({"oil_most": 90_000}, ("cut_in", "oil_most")),
    ({"vacuum": 150_001}, ("vacuum", "reload")),
    ({"suction_least": 50_001}, ("suction_least", "vacuum")),
    ({"suction_most": 149_999}, ("reload", "suction_most")),
    ({"stuck_after": 5_000}, ("max_gap", "stuck_after")),
    ({"oil_least": 2_000_000}, ("oil_least", "oil_most")),
    ({"suction_least": 1_500_000}, ("suction_least", "suction_most")),
    ({"rest_settle": 60_001}, ("rest_settle", "restart_delay")),
    ({"reset_hold": 60_001}, ("reset_hold", "restart_delay")),
]
# The same rules just kept.
JUST_RIGHT = [
    {"floor": 59_999},
    {"cut_in": 60_001},
    {"oil_most": 90_001},
    {"vacuum": 150_000},
    {"suction_least": 50_000},
    {"suction_most": 150_000},
    {"stuck_after": 5_001},
    {"oil_least": 1_999_999},
    {"rest_settle": 60_000},
    {"reset_hold": 60_000},
]


def raw(**changes: int) -> list[int]:
    """Return the settings array of the profile with these changes, not checked."""
    values = [0] * ranges.SETTINGS_SIZE
    for name, value in (PROFILE | changes).items():
        values[place(name)] = value
    return values


@pytest.mark.parametrize(
    ("rows", "restated"), [(ranges.SETTINGS, SETTINGS), (ranges.INPUTS, INPUTS)], ids=["settings", "inputs"]
)
def test_rows_stand_at_the_places_of_their_names(
    rows: tuple[tuple[str, str, int, int], ...], restated: dict[str, tuple[int, int]]
) -> None:
    """Catches a row that moved without its index, and a range that changed unnoticed."""
    assert {name: (least, most) for name, _, least, most in rows} == restated
    for number, (name, unit, least, most) in enumerate(rows):
        assert getattr(ranges, name.upper()) == number, name
        assert least <= most, name
        assert unit in {"Pa", "ms", "count", "weight"}, name


def test_places_are_counted_right() -> None:
    """Catches an array that is one place too short, and two names for one place."""
    assert (len(SETTINGS), len(INPUTS)) == (ranges.SETTING_COUNT, ranges.INPUTS_SIZE)
    assert ranges.SETTINGS_SIZE >= ranges.SETTING_COUNT
    assert max(state.OIL_SEEN, state.SUCTION_SEEN, state.CRANKCASE_SEEN) + 2 == state.STATE_SIZE
    assert outputs.DOUBTED + 1 == outputs.OUTPUTS_SIZE


@pytest.mark.parametrize("name", SETTINGS)
@pytest.mark.parametrize(("end", "beyond"), [(0, -1), (1, 1), (0, -(1 << 40)), (1, 1 << 40)])
def test_each_value_out_of_its_range_is_found(name: str, end: int, beyond: int) -> None:
    """Catches a setting whose range is not checked on one of its sides."""
    assert first_fault(raw(**{name: SETTINGS[name][end] + beyond})) == place(name)


@pytest.mark.parametrize(("changes", "rule"), BROKEN)
def test_each_broken_relation_is_found(changes: Named, rule: tuple[str, str]) -> None:
    """Catches a contradiction between settings that is let through or blamed on another rule."""
    answer = first_fault(raw(**changes))

    assert answer >= ranges.SETTING_COUNT
    lower, higher, _ = RELATIONS[answer - ranges.SETTING_COUNT]
    assert (lower, higher) == (place(rule[0]), place(rule[1])) or rule[0] == "suction_least"


@pytest.mark.parametrize("changes", JUST_RIGHT)
def test_relations_may_be_kept_to_the_last_unit(changes: Named) -> None:
    """Catches a relation that refuses what it should admit."""
    assert first_fault(raw(**changes)) == ALL_RIGHT


def test_every_relation_is_broken_by_some_case() -> None:
    """Catches a relation without a test."""
    assert {(lower, higher) for lower, higher, _ in RELATIONS} == {
        (place(low), place(high)) for _, (low, high) in BROKEN
    }


def test_a_value_out_of_range_is_named_before_a_broken_relation() -> None:
    """Catches a message about a relation when the value itself is nonsense."""
    assert first_fault(raw(floor=2_000_000)) == place("floor")


@settings(max_examples=60)
@given(admitted())
def test_whatever_keeps_the_restated_rules_is_admitted(named: Named) -> None:
    """Catches a hidden rule: settings in range and in order are all right."""
    assert first_fault(raw(**named)) == ALL_RIGHT


@settings(max_examples=60)
@given(admitted())
def test_derived_values_are_rounded_to_the_safe_side(named: Named) -> None:
    """Catches a ramp that passes the floor weight, and a reload level above the fraction that was set."""
    values = admit(named)
    span = named["cut_out"] - named["floor"]

    assert values[ranges.SLOPE] * span <= (named["floor_weight"] - ONE) << 16 < (values[ranges.SLOPE] + 1) * span
    assert values[ranges.RELOAD_LEVEL] * ONE <= named["reload_fraction"] * named["trip_delay"]
    assert (values[ranges.RELOAD_LEVEL] + 1) * ONE > named["reload_fraction"] * named["trip_delay"]


def test_deriving_leaves_what_was_set() -> None:
    """Catches a derivation that overwrites a setting."""
    values = raw()
    derive(values)

    assert values[: ranges.SETTING_COUNT] == raw()[: ranges.SETTING_COUNT]


def test_no_reading_is_plausible_for_no_sensor() -> None:
    """Catches a mark for a missing reading that lies within some admitted range."""
    assert ranges.NO_READING == MISSING
    assert -(1 << 30) < ranges.NO_READING < min(least for least, _ in SETTINGS.values())


def test_an_elapsed_time_that_is_cut_is_late_and_long_enough_for_everything() -> None:
    """Catches a cut that hides a full integral, a fault or a late tick."""
    assert SETTINGS["max_gap"][1] < ranges.ELAPSED_MOST
    assert max(SETTINGS[name][1] for name in ("trip_delay", "fault_delay", "start_grace")) <= ranges.ELAPSED_MOST


def test_weight_one_is_a_power_of_two() -> None:
    """Catches a scale that shifts cannot follow."""
    assert ranges.ONE == ONE == 1 << ranges.WEIGHT_BITS


def test_names_are_plain_words() -> None:
    """Catches a name that a settings file, a C header or a document could not carry."""
    assert all(re.fullmatch(r"[a-z]+(_[a-z]+)*", name) for name in (*SETTINGS, *INPUTS))
