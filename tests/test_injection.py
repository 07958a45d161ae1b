"""Fault injection: which broken sensor, clock or input hides a machine without oil, and which stops a healthy one."""

import functools

import pytest

from protect import state
from tests.campaigns import injection
from tests.campaigns.injection import Injection, Outcome, Row, matrix, on, run

# What no logic sees from these inputs; the README tells users. All else ends within a small multiple of the sound run.
BLIND = {
    ("reads 100 kPa high", "oil"),
    ("reads 100 kPa low", "crankcase"),
    ("reads 100 kPa low", "suction for both"),
    ("gauge taken for absolute", "crankcase"),
    ("gauge taken for absolute", "suction for both"),
    ("clock stands", ""),
    ("run feedback lost", ""),
}
SLOW = {("clock at half speed", ""), ("run feedback flickers", ""), ("reset pressed for ever", "")}
QUIET = {  # what leaves a healthy machine running
    "slow",
    "noisy",
    "comes and goes",
    "reads 100 kPa high",
    "reads 100 kPa low",
    "gauge taken for absolute",
    "gauge taken for absolute, all",
    "clock at half speed",
    "clock at double speed",
    "clock stands",
    "every tick twice",
    "every second tick dropped",
    "run feedback lost",
    "run feedback flickers",
    "reset held",
    "reset pressed for ever",
}


@functools.cache
def results() -> tuple[Outcome, list[Row]]:
    """Return the matrix, worked out once."""
    return matrix()


def test_the_sound_machine_is_stopped_locked_out_and_stopped_again() -> None:
    """Catches a day on which nothing happens that an injection could spoil; 30 s at weight 4 for the first stop.

    120 s less 60 s at a quarter leaves 105 s: 15 s and 30 s of grace for the next ones, and three of them to lockout.
    """
    sound, _ = results()

    assert sound.stops == 6
    assert set(sound.first) == {0, 1, 2, 3, 4, 5}
    assert sound.first[state.TRIPPED] * 0.5 == injection.LOSS_S + 29.5


def test_what_hides_a_machine_without_oil_is_known_and_told() -> None:
    """Catches a broken sensor or clock that newly lets a machine run without oil, whatever state it begins in."""
    sound, rows = results()
    blind = {(row.name, row.channel) for row in rows if max(row.short_s.values()) > 3 * sound.short_s}
    slow = {(row.name, row.channel) for row in rows if max(row.short_s.values()) > 1.2 * sound.short_s} - blind

    assert (blind, slow) == (BLIND, SLOW)


def test_a_fault_that_is_found_leaves_less_time_without_oil_than_a_sound_sensor() -> None:
    """Catches a dead or frozen sensor after which the machine is started again and again."""
    sound, rows = results()
    for row in rows:
        if row.name in ("no reading", "at the upper end", "at the lower end", "frozen"):
            assert max(row.short_s.values()) < sound.short_s, row


def test_what_stops_a_healthy_machine_is_known() -> None:
    """Catches a disturbance that newly stops plants, and a broken sensor with which a machine runs on for ever."""
    _, rows = results()
    stops = {row.name for row in rows if row.stops_healthy}
    both = {"oil and suction swapped", "oil and crankcase swapped"}

    assert stops == {row.name for row in rows} - QUIET
    assert both <= stops


def test_every_channel_and_every_state_is_tried() -> None:
    """Catches a matrix that has lost a column."""
    _, rows = results()
    assert len({row.channel for row in rows}) == 5
    assert len(rows) == 10 * 4 + 16
    assert all(set(row.short_s) == {0, 1, 2, 3, 4, 5} for row in rows)


def test_an_injection_that_changes_nothing_is_an_error() -> None:
    """Catches a matrix full of good results of nothing."""
    with pytest.raises(AssertionError, match="changed nothing"):
        run(Injection("nothing", on((injection.OIL,), lambda _, reading: reading)))


@pytest.mark.parametrize("word", [state.STATE, state.INTEGRAL, state.TRIPS, state.FLAGS])
def test_flipped_bits_of_the_live_state_are_counted(word: int) -> None:
    """Catches a campaign that flips nothing, and a flip of low bits that loses the machine for good."""
    counts = injection.flips([word], bits=(0, 1, 4))[word]

    assert sum(counts.values()) == 6 * 3
    assert counts["same decisions"] < 6 * 3
    assert counts["never stopped again"] == 0
