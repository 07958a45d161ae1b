"""Fault injection: which broken sensor, clock or input hides a machine without oil, and what flipped bits lead to."""

import functools

import pytest
from click.testing import CliRunner

from protect import ranges, seal, state
from tests.campaigns import day, flips, injection
from tests.campaigns.day import Day, Flip, Outcome
from tests.campaigns.injection import Injection, Row, matrix, on, run

pytestmark = pytest.mark.slow("compiles what only it runs")

# What no logic sees from these inputs; the README tells users. All else ends within a small multiple of the sound run.
BLIND = {("clock stands", ""), ("run feedback lost", "")}
SLOW = {  # until the machine stands for once and its sensors are compared, or the grace is used up
    ("reads 100 kPa high", "oil"),
    ("reads 100 kPa low", "crankcase"),
    ("reads 100 kPa low", "suction for both"),
    ("gauge taken for absolute", "crankcase"),
    ("gauge taken for absolute", "suction for both"),
    ("run feedback flickers", ""),
}
QUIET = {  # what leaves a healthy machine running
    "noisy",
    "comes and goes",
    "gauge taken for absolute, all",
    "clock at half speed",
    "clock at double speed",
    "clock stands",
    "every tick twice",
    "every second tick dropped",
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

    120 s less 60 s at a quarter leaves 105 s: 15 s and 30 s of grace for the next ones, and three of them to lockout; of
    the 300 s after the reset 60 s pass at rest, so there is time for two more.
    """
    sound, _ = results()

    assert sound.stops == 5
    assert set(sound.first) == {0, 1, 2, 3, 4, 5}
    assert sound.first[state.TRIPPED] * 0.5 == day.LOSS_S + 29.5


def test_what_hides_a_machine_without_oil_is_known_and_told() -> None:
    """Catches a broken sensor or clock that newly lets a machine run without oil, whatever state it begins in."""
    sound, rows = results()
    blind = {(row.name, row.channel) for row in rows if max(row.short_s.values()) > 3 * sound.short_s}
    slow = {(row.name, row.channel) for row in rows if max(row.short_s.values()) > 1.2 * sound.short_s} - blind

    assert (blind, slow) == (BLIND, SLOW)


def test_sensors_that_hide_a_loss_of_oil_are_found_before_a_start_and_at_the_next_standstill() -> None:
    """Catches a start on sensors that read oil at rest, and a machine that runs on with them after it has stood."""
    _, rows = results()
    hiding = [row for row in rows if (row.name, row.channel) in SLOW and "feedback" not in row.name]
    assert len(hiding) == 5
    for row in hiding:
        assert row.short_s[state.STOPPED] == 0, row
        assert max(row.short_s.values()) <= day.REST_S[0] - day.LOSS_S + 1.5, row


def test_machines_whose_oil_sensor_drifts_are_saved_by_the_standstill_zero() -> None:
    """Catches a zero that finds no drift, and a closed loop in which nothing was to be saved."""
    without, with_it = (injection.drifting(4, 1, zero=zero) for zero in (False, True))

    assert without["lost_protected"] >= 3
    assert (with_it["lost_protected"], with_it["doubtful_protected"]) == (0, 0)


def test_pressing_the_reset_on_and_on_frees_nothing() -> None:
    """Catches a lockout that somebody who plays with the button, or a taped button, gets around."""
    sound, rows = results()
    for row in rows:
        if row.name.startswith("reset"):
            assert max(row.short_s.values()) < sound.short_s, row


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


@functools.cache
def moments(*, sealed: bool) -> flips.Moments:
    """Return the moments of a day, lived once."""
    return flips.Moments(sealed=sealed)


@pytest.mark.parametrize("word", [state.STATE, state.INTEGRAL, state.TRIPS, state.FLAGS])
def test_flipped_bits_of_the_live_state_are_counted(word: int) -> None:
    """Catches a campaign that flips nothing, and a flip of low bits that loses the machine for good."""
    counts = moments(sealed=False).singles("state", [word], bits=(0, 1, 4))[word]

    assert sum(counts.values()) == 6 * 3
    assert counts["same decisions"] < 6 * 3
    assert counts["never stopped again"] == 0


def test_without_the_seal_a_flipped_bit_of_the_start_grace_loses_the_machine() -> None:
    """Catches a campaign that cannot tell a machine that runs on without oil, so that the seal would prove nothing."""
    counts = moments(sealed=False).singles("state", [state.GRACE_LEFT], bits=(20, 25))[state.GRACE_LEFT]

    assert counts["never stopped again"] > 0


def test_every_flipped_bit_of_the_state_and_of_its_seal_stops_a_sealed_controller() -> None:
    """Catches a bit that passes: 16 words and 2 of the seal x 7 bits x 6 states; the campaign flips all.

    Until the reset there is no permission; that the same decisions are left is only possible where there was none.
    """
    counts = moments(sealed=True).singles("state", range(state.STATE_SIZE), range(1, 32, 5))
    seals = moments(sealed=True).singles("seals", (0, 1), range(1, 32, 5))
    counts |= {state.STATE_SIZE + word: row for word, row in seals.items()}

    assert all(row["same decisions"] + row["stopped until a reset"] == 6 * 7 for row in counts.values())
    assert all(row["same decisions"] <= 7 for row in counts.values())


@pytest.mark.parametrize(
    ("array", "words"), [("settings", (ranges.CUT_OUT, ranges.SETTINGS_SIZE - 1)), ("seals", (2, 3))]
)
def test_flipped_bits_of_the_settings_and_of_their_seal_stop_it_for_good(array: str, words: tuple[int, ...]) -> None:
    """Catches broken settings from which a reset lets the machine run again."""
    counts = moments(sealed=True).singles(array, words, bits=(0, 31))

    assert all(row["stopped for good"] == 6 * 2 for row in counts.values())


def test_drawn_pairs_of_flipped_bits_stop_it_too() -> None:
    """Catches two flips that hide each other, in whole runs."""
    counts = moments(sealed=True).drawn_pairs(60, seed=5)

    assert (sum(counts.values()), counts["anything else"]) == (60, 0)
    assert counts["stopped for good"] > 0
    assert counts["stopped until a reset"] > 0


def test_no_pair_of_bits_passes_the_seal_itself() -> None:
    """Catches two bits anywhere in words and seal that cancel out; the campaign goes through all pairs."""
    found = list(flips.every_pair(moments(sealed=True), every=23))

    assert found == [("state", 6 * 7200, 0), ("settings", 21_372, 0)]


def test_a_weaker_seal_is_told_by_the_pairs(monkeypatch: pytest.MonkeyPatch) -> None:
    """Catches a count of pairs that is always nothing: with the plain sum alone some pass."""
    monkeypatch.setattr(seal, "weighted_sum", lambda words, count: 0)

    assert flips.pairs_that_pass(Day.begin().controller.memory, seal.STATE_AT, every=23)[1] > 0


def test_the_campaign_fails_on_a_flip_that_goes_unnoticed(monkeypatch: pytest.MonkeyPatch) -> None:
    """Catches exit status 0 after a flip from which the machine ran on."""
    monkeypatch.setattr(injection, "print_matrix", lambda: None)
    monkeypatch.setattr(injection, "print_drifting", lambda *_: None)
    for good, status in ((True, 0), (False, 1)):
        monkeypatch.setattr(injection, "print_flips", lambda pairs, seed, held=good: ("told", held))
        assert CliRunner().invoke(injection.injection, []).exit_code == status


def test_a_controller_that_ignores_its_seal_is_told_as_such(monkeypatch: pytest.MonkeyPatch) -> None:
    """Catches verdicts that call every run a stop: a seal that holds whatever stands in RAM lets flips run on."""
    monkeypatch.setattr(seal, "holds", lambda *_: True)
    start = moments(sealed=True).days[state.STARVED]
    fresh = flips.Moments.__new__(flips.Moments)
    fresh.__dict__.update(moments(sealed=True).__dict__ | {"known": {}})

    assert fresh.after(start, [Flip("state", state.GRACE_LEFT, 28)]) == "anything else"
