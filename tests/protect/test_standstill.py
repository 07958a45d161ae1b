"""Standstill zero: a machine that stands pumps no oil, and a net oil pressure that says otherwise is no reading.

Profile of these tests: settled after 20 s of standstill, up to 30 kPa either way is nothing; the
fault delay is 10 s, the restart delay 60 s.
"""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.support.protection import BELOW_FLOOR, HEALTHY, MISSING, Machine

MOST = 30_000
STANDING = {"running": 0, "net": 0}


def machine(**changes: int) -> Machine:
    """Return a machine with a standstill zero."""
    return Machine(**({"rest_most": MOST} | changes))


@pytest.mark.parametrize("net", [MOST + 1, -MOST - 1, HEALTHY])
def test_a_net_oil_pressure_at_rest_is_in_doubt_once_the_machine_has_settled(net: int) -> None:
    """Catches a sensor that drifted up or down and is never compared with the other, and a check on half a second less."""
    logic = machine().start().spend(19_999, running=0, net=net, by=1_001)
    assert (logic.credible, logic.doubts, logic.memory.fault_time) == (True, set(), 0)

    logic.tick(1, running=0, net=net)
    assert (logic.credible, logic.doubts, logic.memory.fault_time) == (False, {"standstill"}, 0)
    assert (logic.permitted, logic.alarm) == (True, True)

    logic.spend(9_999, running=0, net=net, by=3)
    assert logic.permitted
    logic.tick(1, running=0, net=net)
    assert (logic.name, logic.stop_cause, logic.memory.cause_doubts) == ("TRIPPED", "sensor", {"standstill"})
    assert logic.memory.trips == 0


@pytest.mark.parametrize("net", [MOST, -MOST, 0])
def test_as_much_as_is_admitted_reads_nothing(net: int) -> None:
    """Catches a limit that is taken for a violation, and a check of one side with the sign lost."""
    logic = machine().start().spend(600_000, running=0, net=net)

    assert (logic.credible, logic.memory.fault_time, logic.permitted) == (True, 0, True)


def test_no_restart_until_it_reads_nothing_again() -> None:
    """Catches a machine that starts again on a sensor known to read too much, and one that never starts again."""
    logic = machine().start().spend(3_600_000, running=0, net=HEALTHY)
    assert (logic.name, logic.permitted) == ("TRIPPED", False)

    logic.spend(9_999, by=3, **STANDING)
    assert not logic.permitted
    logic.tick(1, **STANDING)
    assert (logic.name, logic.permitted) == ("STOPPED", True)


def test_a_trip_is_not_ended_by_a_sensor_that_hides_it() -> None:
    """Catches the restart after a trip that a drifted sensor would have let through: it reads oil where nothing turns."""
    logic = machine().start()
    logic.trip()
    logic.spend(3_600_000, running=0, net=HEALTHY)

    assert (logic.name, logic.permitted, logic.memory.cause) == ("TRIPPED", False, "oil")


def test_a_running_machine_whose_feedback_says_that_it_stands_is_stopped() -> None:
    """Catches a feedback contact that has fallen off: no deficit counts with it, so its oil pressure must not be believed."""
    logic = machine().start().spend(30_000, running=0, net=HEALTHY)

    assert (logic.permitted, logic.stop_cause) == (False, "sensor")


def test_a_step_in_which_the_machine_settles_is_shared() -> None:
    """Catches a step that is doubted as a whole, or believed as a whole."""
    logic = machine(max_gap=60_000).start().tick(24_000, running=0, net=HEALTHY)

    assert (logic.memory.fault_time, logic.grace_left) == (4_000, 20_000)


def test_a_start_begins_the_settling_anew() -> None:
    """Catches a standstill that is counted over the run between."""
    logic = machine().start().spend(19_000, running=0, net=HEALTHY).tick().spend(19_000, running=0, net=HEALTHY)
    assert logic.credible

    assert not logic.tick(running=0, net=HEALTHY).credible


def test_time_that_nobody_saw_settles_nothing() -> None:
    """Catches a late tick that counts as standstill."""
    logic = machine().start().spend(19_000, running=0, net=HEALTHY).tick(5_001, running=0, net=HEALTHY)
    assert logic.doubts == {"late"}

    logic.tick(999, running=0, net=HEALTHY)
    assert logic.credible


def test_where_a_reading_is_missing_there_is_no_zero_to_violate() -> None:
    """Catches a missing reading told as a standstill that is violated as well."""
    logic = machine().start().spend(60_000, running=0, oil=MISSING)

    assert logic.doubts == {"oil missing"}


def test_a_running_machine_may_read_what_it_likes() -> None:
    """Catches a check that goes on with the machine."""
    logic = machine(rest_settle=0).start().spend(600_000, net=HEALTHY)
    assert (logic.credible, logic.permitted) == (True, True)

    assert logic.trip(net=BELOW_FLOOR) == 30_000


def test_a_machine_with_a_pump_of_its_own_states_more_or_nothing() -> None:
    """Catches a pre-lube pump that stops its machine: with the largest rest_most no two readings are in doubt."""
    logic = Machine(rest_most=20_100_000, oil_least=-100_000, oil_most=20_000_000, suction_least=-100_000).start()
    logic.spend(600_000, running=0, oil=20_000_000, suction=-100_000)

    assert (logic.credible, logic.permitted) == (True, True)


@pytest.mark.slow("tries many cases of a large space")
@given(st.integers(0, 60_000), st.integers(1, 4_000), st.integers(-60_000, 60_000))
def test_no_permission_while_the_zero_is_violated_beyond_the_fault_delay(settle: int, by: int, net: int) -> None:
    """Catches any settle time or pace at which a violated zero leaves permission, or a kept one takes it."""
    logic = machine(rest_settle=settle).start().spend(settle + 10_000 + 3 * by, running=0, net=net, by=by)

    assert logic.permitted == (abs(net) <= MOST)
