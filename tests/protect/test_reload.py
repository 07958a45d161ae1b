"""The reload guard: suction pressure coming back onto bearings that are owed oil locks the machine out at once.

Profile: vacuum below 50 kPa, reload from 150 kPa, half of the 120 s trip delay. What is owed is the integral;
net oil pressure is back a second after suction pressure, and the film is not.
"""

import pytest

from protect import state
from tests.support.protection import (
    BELOW_FLOOR,
    HEALTHY,
    HELD,
    MISSING,
    ONE,
    RELOADED,
    SUCTION,
    VACUUM,
    Machine,
)


def drained(ms: int = 8_000, **changes: int) -> Machine:
    """Return a machine that has run in a vacuum below the floor; 8 s at weight 8 make 64 s, more than half."""
    machine = Machine(**changes).start().spend(ms, net=BELOW_FLOOR, suction=VACUUM)
    assert (machine.name, machine.memory.flags) == ("STARVED", "spell vacuum")
    return machine


def test_reload_stops_the_machine_at_once_and_is_named_and_counted() -> None:
    """Catches a guard that waits for the delay, and a stop whose cause or count is lost."""
    machine = drained().tick(0, net=BELOW_FLOOR, suction=RELOADED)

    assert (machine.name, machine.permitted, machine.stop_cause) == ("LOCKED_OUT", False, "reload")
    assert (machine.integral, machine.memory.trips, machine.memory.memory_left) == (64_000, 1, 3_600_000)


def test_a_reload_is_no_trip_that_is_started_from_again() -> None:
    """Catches a restart by itself, which would load the same dry bearings after the restart delay."""
    machine = drained(trips_to_lockout=100).tick(net=BELOW_FLOOR, suction=RELOADED)
    machine.spend(3_600_000, running=0)

    assert (machine.name, machine.permitted, machine.stop_cause) == ("LOCKED_OUT", False, "reload")


def test_reload_is_a_level_not_an_edge() -> None:
    """Catches a guard that looks only at the moment when suction pressure rises."""
    machine = drained(4_000).tick(net=BELOW_FLOOR, suction=RELOADED)
    assert (machine.name, machine.integral) == ("STARVED", 36_000)

    machine.spend(5_000, net=BELOW_FLOOR, suction=RELOADED)
    assert (machine.name, machine.integral) == ("STARVED", 56_000)

    machine.tick(net=BELOW_FLOOR, suction=RELOADED)
    assert (machine.name, machine.integral, machine.stop_cause) == ("LOCKED_OUT", 60_000, "reload")


@pytest.mark.parametrize(
    ("net", "suction", "trips"),
    [
        (BELOW_FLOOR, 150_000, True),
        (BELOW_FLOOR, 149_999, False),
        (HELD, RELOADED, True),
        (HEALTHY, RELOADED, True),
        (BELOW_FLOOR, SUCTION, False),
        (HEALTHY, VACUUM, False),
    ],
)
def test_reload_wants_suction_at_reload_and_asks_for_no_oil_pressure(net: int, suction: int, trips: bool) -> None:
    """Catches a limit on the wrong side, and a guard that takes the first oil pressure for a film."""
    assert (drained().tick(0, net=net, suction=suction).stop_cause == "reload") == trips


@pytest.mark.parametrize(("integral", "trips"), [(60_000, True), (59_999, False)])
def test_reload_wants_the_fraction_of_the_trip_delay(integral: int, trips: bool) -> None:
    """Catches a guard that acts on a moment without oil, or only on a full integral."""
    machine = drained()
    machine.state[state.INTEGRAL] = integral

    assert (machine.tick(0, net=BELOW_FLOOR, suction=RELOADED).stop_cause == "reload") == trips


@pytest.mark.parametrize(("fraction", "threshold"), [(0, 0), (ONE // 4, 30_000), (1, 58), (ONE, 120_000)])
def test_reload_fraction_sets_the_threshold(fraction: int, threshold: int) -> None:
    """Catches a threshold of the wrong scale; 120000/2048 is 58.6, rounded down to be on the safe side."""
    machine = drained(1_000, reload_fraction=fraction)
    machine.state[state.INTEGRAL] = threshold - 1
    if threshold:
        assert machine.tick(0, net=BELOW_FLOOR, suction=RELOADED).permitted
    machine.state[state.INTEGRAL] = threshold

    assert machine.tick(0, net=BELOW_FLOOR, suction=RELOADED).stop_cause == "reload"


def test_no_reload_without_a_vacuum_in_this_spell() -> None:
    """Catches a guard that takes any high suction pressure for a reload."""
    machine = Machine().start().spend(20_000, net=BELOW_FLOOR, suction=50_000).tick(net=BELOW_FLOOR, suction=RELOADED)

    assert (machine.name, machine.integral, machine.memory.flags) == ("STARVED", 84_000, "spell")


def test_vacuum_before_the_spell_does_not_count() -> None:
    """Catches a vacuum remembered from a time when the bearings had oil."""
    machine = Machine().start().spend(10_000, suction=VACUUM).spend(20_000, net=BELOW_FLOOR, suction=RELOADED)

    assert (machine.name, machine.integral, machine.memory.flags) == ("STARVED", 80_000, "spell")


def test_cut_in_ends_the_spell_and_its_vacuum_is_remembered_until_the_debt_has_drained() -> None:
    """Catches a vacuum forgotten with the first oil pressure, and one remembered into a spell that owes nothing of it."""
    machine = drained(10_000).tick(net=HEALTHY, suction=VACUUM)
    assert (machine.name, machine.integral, machine.memory.flags) == ("LUBRICATED", 79_000, "vacuum")

    machine.spend(78_000, net=HEALTHY, suction=VACUUM)
    assert (machine.integral, machine.memory.flags) == (1_000, "vacuum")

    machine.tick(net=HEALTHY, suction=VACUUM)
    assert (machine.integral, machine.memory.flags) == (0, "")

    machine.spend(20_000, net=BELOW_FLOOR, suction=RELOADED)
    assert (machine.name, machine.integral, machine.memory.flags) == ("STARVED", 80_000, "spell")


def test_a_lubricated_machine_is_locked_out_as_suction_comes_back_on_its_debt() -> None:
    """Catches a guard that asks the starved state alone: oil pressure often is back before suction is."""
    machine = drained(10_000).tick(net=HEALTHY, suction=VACUUM)
    assert machine.name == "LUBRICATED"

    machine.tick(net=HEALTHY, suction=RELOADED)
    assert (machine.name, machine.integral, machine.stop_cause) == ("LOCKED_OUT", 78_000, "reload")


def test_hold_band_keeps_the_spell() -> None:
    """Catches a spell that ends at cut-out, before the bearings are well again."""
    machine = drained(10_000).spend(600_000, net=HELD).spend(1_000, net=89_999)
    assert machine.memory.flags == "spell vacuum"

    assert machine.tick(0, net=BELOW_FLOOR, suction=RELOADED).stop_cause == "reload"


def test_vacuum_in_the_hold_band_of_a_spell_counts() -> None:
    """Catches a vacuum that is looked for only while short of oil."""
    machine = Machine().start().spend(20_000, net=BELOW_FLOOR).tick(net=HELD, suction=VACUUM)

    assert machine.tick(0, net=BELOW_FLOOR, suction=RELOADED).stop_cause == "reload"


def test_hold_band_opens_no_spell() -> None:
    """Catches a spell that begins at cut-in, so that a vacuum counts while the bearings still had oil."""
    machine = Machine().start().spend(10_000, net=HELD, suction=VACUUM)
    assert (machine.name, machine.memory.flags) == ("LUBRICATED", "")

    machine.spend(20_000, net=BELOW_FLOOR, suction=RELOADED)
    assert (machine.name, machine.integral, machine.memory.flags) == ("STARVED", 80_000, "spell")


def test_a_stop_ends_the_spell() -> None:
    """Catches a vacuum remembered across a stop, after which every start begins without oil pressure."""
    machine = drained(10_000).spend(30_000, running=0, net=BELOW_FLOOR, suction=VACUUM)
    assert machine.memory.flags == ""

    machine.tick(net=BELOW_FLOOR, suction=RELOADED)
    assert (machine.name, machine.memory.flags) == ("PRIMING", "spell")


def test_reload_acts_within_the_start_grace() -> None:
    """Catches a guard that the start grace switches off: what kills the bearings does not wait for it."""
    machine = drained(10_000).spend(30_000, running=0).spend(5_000, net=BELOW_FLOOR, suction=VACUUM)
    assert (machine.name, machine.memory.flags, machine.grace_left) == ("PRIMING", "spell vacuum", 25_000)

    machine.tick(0, net=BELOW_FLOOR, suction=RELOADED)
    assert (machine.name, machine.stop_cause) == ("LOCKED_OUT", "reload")


def test_spell_outlasts_a_reading_in_doubt_but_no_reload_is_seen_through_it() -> None:
    """Catches a dropout that ends the spell, and a stop for reload on a reading that nobody can believe."""
    machine = drained().tick(oil=MISSING, suction=RELOADED)
    assert (machine.name, machine.memory.flags) == ("STARVED", "spell vacuum")

    machine.tick(0, net=BELOW_FLOOR, suction=RELOADED)
    assert machine.stop_cause == "reload"


def test_reload_is_named_before_a_full_integral() -> None:
    """Catches the graver cause hidden by the common one."""
    machine = drained(14_000)
    assert (machine.integral, machine.permitted) == (112_000, True)

    machine.tick(5_000, net=BELOW_FLOOR, suction=RELOADED)
    assert (machine.integral, machine.stop_cause, machine.memory.trips) == (120_000, "reload", 1)


def test_a_machine_that_owes_less_may_be_loaded() -> None:
    """Catches a guard that stops every machine that has been in a vacuum, and one that acts late on what it sees fall."""
    machine = drained().spend(5_000, net=HEALTHY, suction=VACUUM).spend(30_000, net=HEALTHY, suction=RELOADED)

    assert (machine.name, machine.permitted, machine.memory.flags) == ("LUBRICATED", True, "vacuum")
