"""What the plant gets: run permission, alarm, cause, integral in percent."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from protect import outputs, state
from tests.support.protection import BELOW_FLOOR, HELD, MISSING, STATES, Machine
from tests.support.table_model import names_of


@pytest.mark.parametrize(
    ("name", "permission", "alarm", "cause"),
    [
        ("STOPPED", 1, 0, 0),
        ("PRIMING", 1, 0, 0),
        ("LUBRICATED", 1, 0, 0),
        ("STARVED", 1, 1, 0),
        ("TRIPPED", 0, 1, 2),
        ("LOCKED_OUT", 0, 1, 2),
    ],
)
def test_outputs_by_state(name: str, permission: int, alarm: int, cause: int) -> None:
    """Catches permission without oil, a stop without alarm, and a cause that is shown while the machine may run."""
    machine = Machine().start()
    machine.state[state.STATE] = STATES.index(name)
    machine.state[state.CAUSE] = 2
    outputs.write(machine.state, machine.settings, machine.results)

    assert machine.results[:3] == [permission, alarm, cause]


def test_doubt_raises_the_alarm_in_every_state() -> None:
    """Catches a broken sensor that stays unseen as long as the machine stands or runs well."""
    machine = Machine()
    for number in range(len(STATES)):
        machine.state[state.STATE] = number
        machine.results[outputs.CREDIBLE] = 0
        outputs.write(machine.state, machine.settings, machine.results)

        assert machine.alarm


@pytest.mark.parametrize(
    ("integral", "percent"),
    [(0, 0), (1_199, 0), (1_200, 1), (60_000, 50), (118_799, 98), (118_800, 99), (119_999, 99), (120_000, 100)],
)
def test_percent_is_rounded_down(integral: int, percent: int) -> None:
    """Catches a percentage that shows 100 before the trip, or one less than reached."""
    machine = Machine()
    machine.state[state.INTEGRAL] = integral

    assert outputs.percent(machine.state, machine.settings) == percent


@settings(max_examples=200)
@given(st.integers(1_000, 1_800_000), st.data())
def test_percent_is_exact_for_every_trip_delay(trip_delay: int, data: st.DataObject) -> None:
    """Catches a scale that is too coarse for a long trip delay, or that overshoots for a short one."""
    machine = Machine(trip_delay=trip_delay)
    machine.state[state.INTEGRAL] = data.draw(st.integers(0, trip_delay))

    assert outputs.percent(machine.state, machine.settings) == 100 * machine.integral // trip_delay


def test_net_oil_pressure_is_given_out_with_the_readings_it_came_from() -> None:
    """Catches a difference against suction where there is a crankcase sensor, and a difference of missing readings."""
    machine = Machine().start().tick(oil=300_000, suction=100_000, crankcase=120_000)
    assert machine.results[outputs.NET_OIL_PRESSURE : outputs.CREDIBLE + 1] == [180_000, 1]

    machine.tick(oil=MISSING)
    assert machine.results[outputs.NET_OIL_PRESSURE : outputs.CREDIBLE + 1] == [0, 0]


def test_seen_and_doubted_share_the_elapsed_time() -> None:
    """Catches time that is counted twice, or by nobody."""
    machine = Machine(stuck_after=60_000).start()
    assert machine.results[outputs.SEEN : outputs.DOUBTED + 1] == [1_000, 0]

    machine.spend(28_000).tick(5_000)
    assert machine.results[outputs.SEEN : outputs.DOUBTED + 1] == [2_000, 3_000]

    machine.tick(4_000, net=BELOW_FLOOR, suction=1)
    assert machine.results[outputs.SEEN : outputs.DOUBTED + 1] == [4_000, 0]


@pytest.mark.parametrize(
    ("inputs", "names"),
    [
        ({}, {"running", "healthy", "sensor_ok"}),
        ({"net": HELD}, {"running", "sensor_ok"}),
        ({"net": BELOW_FLOOR, "reset": 1}, {"running", "low", "sensor_ok"}),
        ({"running": 0}, {"in_grace", "healthy", "sensor_ok"}),
        ({"oil": MISSING}, {"running", "low"}),
    ],
)
def test_conditions_are_given_out_as_they_were_decided_upon(inputs: dict[str, int], names: set[str]) -> None:
    """Catches conditions that are withheld, or those of the step before."""
    machine = Machine().start().tick(**inputs)

    assert names_of(machine.results[outputs.CONDITIONS]) == names
