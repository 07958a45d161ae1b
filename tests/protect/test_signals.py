"""Readings that cannot be believed: each kind of doubt on each channel, what it counts as and where it leads."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from protect import ranges, state
from tests.support.protection import BELOW_FLOOR, HEALTHY, MISSING, SUCTION, VACUUM, Machine
from tests.support.strategies import any_settings, between, memories, readings

OIL = SUCTION + HEALTHY

# what is wrong: the readings (Pa) that show it on an otherwise healthy machine
DOUBTFUL = {
    "oil missing": {"oil": MISSING},
    "oil below its range": {"oil": -1},
    "oil above its range": {"oil": 2_000_001},
    "suction missing": {"oil": OIL, "suction": MISSING, "crankcase": SUCTION},
    "suction below its range": {"oil": OIL, "suction": -1, "crankcase": SUCTION},
    "suction above its range": {"oil": OIL, "suction": 1_500_001, "crankcase": SUCTION},
    "crankcase missing": {"oil": OIL, "crankcase": MISSING},
    "crankcase below its range": {"oil": OIL, "crankcase": -1},
    "crankcase above its range": {"oil": OIL, "crankcase": 1_500_001},
    "all missing": {"oil": MISSING, "suction": MISSING, "crankcase": MISSING},
}
# readings at the very ends of the ranges, which are believed
AT_THE_ENDS = [
    {"oil": 0, "suction": 0},
    {"oil": 2_000_000, "suction": 1_500_000},
    {"oil": 0, "suction": 1_500_000},
    {"oil": 2_000_000, "crankcase": 0},
    {"oil": 2_000_000, "crankcase": 1_500_000},
]
# which channels stand still while the others move
STUCK = ("oil", "suction", "crankcase")

each_doubt = pytest.mark.parametrize("doubtful", DOUBTFUL.values(), ids=DOUBTFUL)


def moving(second: int, *, stuck: str = "") -> dict[str, int]:
    """Return healthy readings that all move from second to second, but for the stuck channel."""
    level = {"oil": OIL, "suction": SUCTION, "crankcase": SUCTION}
    return {channel: value + (second % 2 * 100 if channel != stuck else 0) for channel, value in level.items()}


@each_doubt
def test_a_doubtful_reading_counts_as_short_of_oil_at_weight_one(doubtful: dict[str, int]) -> None:
    """Catches a missing reading taken as zero, as the last good one, or as healthy."""
    machine = Machine(fault_delay=60_000).start().spend(5_000, **doubtful)

    assert (machine.integral, machine.memory.fraction) == (5_000, 0)
    assert (machine.name, machine.credible, machine.alarm, machine.permitted) == ("STARVED", False, True, True)


@each_doubt
def test_doubt_for_the_fault_delay_stops_the_machine_and_names_the_sensor(doubtful: dict[str, int]) -> None:
    """Catches a machine that runs on without its sensors, a late stop, and a stop that counts as a trip."""
    machine = Machine().start().spend(9_999, by=3, **doubtful)
    assert (machine.permitted, machine.memory.fault_time) == (True, 9_999)

    machine.tick(1, **doubtful)

    assert (machine.permitted, machine.stop_cause, machine.name) == (False, "sensor", "TRIPPED")
    assert machine.memory.trips == 0
    assert "fault" in machine.memory.flags


@pytest.mark.parametrize("name", DOUBTFUL)
def test_a_sensor_stop_says_which_channel_and_why(name: str) -> None:
    """Catches a stop that sends a fitter to the wrong sensor, and a reason that is gone once the reading is back."""
    machine = Machine().start().spend(9_000, **DOUBTFUL[name])
    every = {"oil missing", "suction missing", "crankcase missing"}
    channel, *how = name.split()
    wanted = every if channel == "all" else {f"{channel} {'missing' if how == ['missing'] else 'range'}"}
    assert (machine.doubts, machine.memory.cause_doubts) == (wanted, set())

    machine.spend(1_000, **DOUBTFUL[name]).spend(10_000, running=0)
    assert (machine.stop_cause, machine.memory.cause_doubts, machine.doubts) == ("sensor", wanted, set())


def test_a_stop_on_a_stuck_channel_or_on_late_ticks_says_so() -> None:
    """Catches a frozen sensor told as a missing one, and a slow controller told as a sensor."""
    machine = Machine(stuck_after=60_000).tick(0, **moving(0))
    for second in range(1, 71):
        machine.tick(**moving(second, stuck="crankcase"))
    assert (machine.stop_cause, machine.memory.cause_doubts) == ("sensor", {"crankcase stuck"})

    late = Machine().start().tick(10_000)
    assert (late.stop_cause, late.memory.cause_doubts) == ("sensor", {"late"})


def test_a_stop_names_what_was_wrong_as_the_fault_was_declared() -> None:
    """Catches doubts of another stop, or of a step long past, that stand beside a cause."""
    machine = Machine().start().spend(5_000, oil=MISSING).spend(5_000, suction=MISSING, oil=OIL, crankcase=SUCTION)
    assert machine.memory.cause_doubts == {"suction missing"}

    machine.spend(60_000, running=0).start().trip()
    assert (machine.stop_cause, machine.memory.cause_doubts) == ("oil", set())


@each_doubt
def test_doubt_stops_permission_at_standstill_too(doubtful: dict[str, int]) -> None:
    """Catches a start that is allowed on sensors known to be broken."""
    machine = Machine().tick(0, running=0).spend(10_000, running=0, **doubtful)

    assert (machine.name, machine.stop_cause, machine.integral) == ("TRIPPED", "sensor", 0)


@each_doubt
def test_doubt_does_not_drain_a_standing_integral(doubtful: dict[str, int]) -> None:
    """Catches stopped recovery on readings that nobody can believe."""
    machine = Machine().start().spend(10_000, net=BELOW_FLOOR).spend(4_000, running=0, **doubtful)

    assert machine.integral == 40_000


@pytest.mark.parametrize("extreme", AT_THE_ENDS)
def test_readings_at_the_ends_of_their_ranges_are_believed(extreme: dict[str, int]) -> None:
    """Catches a range that is open where it should be closed."""
    machine = Machine().start().tick(**extreme)

    assert (machine.credible, machine.memory.fault_time) == (True, 0)


@pytest.mark.parametrize("channel", STUCK)
def test_a_stuck_channel_is_in_doubt_from_stuck_after_on(channel: str) -> None:
    """Catches a frozen transmitter that looks healthy for ever, and a check that forgets one channel."""
    machine = Machine(stuck_after=60_000).tick(0, **moving(0))
    for second in range(1, 60):
        machine.tick(**moving(second, stuck=channel))
        assert machine.credible, second
    machine.tick(**moving(60, stuck=channel))
    assert (machine.credible, machine.memory.fault_time, machine.integral) == (False, 0, 0)

    for second in range(61, 71):
        assert machine.permitted, second
        machine.tick(**moving(second, stuck=channel))
    assert (machine.stop_cause, machine.integral, machine.memory.fault_time) == ("sensor", 10_000, 10_000)


@pytest.mark.parametrize("channel", STUCK)
def test_one_pascal_of_movement_ends_a_stuck_reading(channel: str) -> None:
    """Catches a stuck check that cannot be left."""
    machine = Machine(stuck_after=60_000).tick(0)
    machine.spend(65_000)
    assert (machine.credible, machine.memory.fault_time) == (False, 5_000)

    machine.tick(**{name: value + 1 for name, value in moving(0).items()})
    machine.tick(**{name: value + 1 for name, value in moving(0, stuck=channel).items()})

    assert (machine.credible, machine.memory.fault_time) == (True, 3_000)


def test_readings_may_rest_as_long_as_the_machine_does() -> None:
    """Catches a stuck check at standstill, where pressures rest by nature."""
    machine = Machine(stuck_after=60_000).tick(0, running=0).spend(600_000, running=0, by=5_000)
    assert (machine.credible, machine.memory.unmoved) == (True, (0, 0, 0))

    machine.spend(59_000)
    assert (machine.credible, machine.name) == (True, "LUBRICATED")

    machine.tick()
    assert not machine.credible


def test_a_stop_keeps_what_the_stuck_check_had_gathered_until_the_reading_moves() -> None:
    """Catches a frozen channel whose time begins anew at every stop, and one that is never believed again."""
    machine = Machine(stuck_after=60_000).tick(0).spend(59_000).spend(600_000, running=0, by=5_000)
    assert (machine.credible, machine.memory.unmoved) == (True, (59_000,) * 3)
    assert not machine.tick().credible

    machine.spend(5_000, running=0)
    assert (machine.credible, machine.memory.fault_time) == (False, 5_000)

    machine.tick(running=0, suction=SUCTION + 1)
    assert (machine.credible, machine.memory.unmoved) == (True, (0, 0, 0))


@pytest.mark.parametrize("channel", STUCK)
def test_a_frozen_channel_that_loses_readings_is_stuck_all_the_same(channel: str) -> None:
    """Catches a loose contact that begins the stuck check anew, and a time without readings that ages what was seen."""
    place = STUCK.index(channel)
    machine = Machine(stuck_after=60_000).tick(0, **moving(0))
    for second in range(1, 60):
        machine.tick(**moving(second, stuck=channel))
        if second % 7 == 0:
            machine.tick(**moving(second, stuck=channel) | {channel: MISSING})
        assert machine.memory.unmoved[place] == second * 1_000
        assert machine.credible == (second % 7 != 0), second

    machine.tick(**moving(60, stuck=channel))
    assert (machine.credible, machine.memory.unmoved[place]) == (False, 60_000)


@pytest.mark.parametrize("running", [0, 1])
@pytest.mark.parametrize("gone_s", [1, 3_000])
def test_a_stuck_channel_that_was_missing_is_stuck_until_it_reads_something_else(gone_s: int, running: int) -> None:
    """Catches a frozen sensor believed again because its plug was pulled, for however long, on a running machine or not."""
    machine = Machine(stuck_after=60_000, rest_most=ranges.REST_OFF).tick(0, **moving(0))
    for second in range(1, 62):
        machine.tick(**moving(second, stuck="oil"))
    for second in range(gone_s):
        machine.tick(running=running, **moving(second) | {"oil": MISSING})

    machine.tick(running=running, **moving(1, stuck="oil"))
    assert (machine.credible, machine.memory.unmoved[0]) == (False, 60_000)

    machine.tick(running=running, **moving(1))
    assert (machine.credible, machine.memory.unmoved[0]) == (True, 1_000 * running)


def test_a_live_channel_that_comes_back_to_the_same_by_chance_is_believed() -> None:
    """Catches a long loss counted as a rest: the readings before and after it are all that was seen."""
    machine = Machine(stuck_after=60_000, fault_delay=1_800_000).tick(0, **moving(0))
    for second in range(1, 600):
        machine.tick(**moving(second) | ({"suction": MISSING} if second > 1 else {}))

    assert machine.tick(**moving(601)).credible
    assert machine.memory.unmoved[1] == 2_000
    assert machine.tick(**moving(2)).memory.unmoved[1] == 1_000


def test_a_channel_that_was_never_read_has_no_age() -> None:
    """Catches no reading taken for a reading that rests, from power-up on."""
    machine = Machine(stuck_after=60_000).tick(0, oil=MISSING, suction=SUCTION)
    machine.spend(120_000, oil=MISSING, suction=SUCTION)
    assert machine.memory.unmoved[0] == 0

    assert machine.tick(**moving(0)).memory.unmoved[0] == 1_000


def test_a_frozen_oil_pressure_lets_no_machine_start_again() -> None:
    """Catches a machine without oil that is started after every restart delay, because a frozen reading shows it."""
    machine = Machine(stuck_after=60_000).start()
    frozen = machine.inputs[ranges.OIL_PRESSURE]
    for second in range(4_000):
        running = int(machine.permitted)
        machine.tick(running=running, oil=frozen, suction=SUCTION + second % 2, net=BELOW_FLOOR)
        if second > 100:
            assert (machine.name, machine.stop_cause) == ("TRIPPED", "sensor")


def test_a_step_in_which_a_channel_becomes_stuck_is_shared() -> None:
    """Catches a step thrown away as a whole: what was seen counts by its weight, the rest at weight 1."""
    machine = Machine(stuck_after=60_000, start_grace=0).tick(0, net=BELOW_FLOOR).spend(58_000)
    assert machine.integral == 0

    machine.spend(58_000, suction=SUCTION + 1).tick(5_000, suction=SUCTION + 1, net=HEALTHY)

    assert machine.memory.unmoved == (60_000, 60_000, 60_000)
    assert (machine.integral, machine.memory.fault_time) == (3_000, 3_000)


def test_a_late_tick_counts_as_doubt_in_full() -> None:
    """Catches time that nobody saw taken as healthy, or as weighted by one reading."""
    on_time = Machine(fault_delay=60_000).start().tick(5_000, net=BELOW_FLOOR)
    late = Machine(fault_delay=60_000).start().tick(5_001, net=BELOW_FLOOR)

    assert (on_time.integral, on_time.credible, on_time.memory.fault_time) == (20_000, True, 0)
    assert (late.integral, late.credible, late.memory.fault_time) == (5_001, False, 5_001)


@pytest.mark.parametrize("elapsed", [-1, -1_000_000_000, 1_800_001, 1_073_741_823])
def test_a_broken_clock_is_the_latest_tick_there_is(elapsed: int) -> None:
    """Catches a negative or absurd time that drains, wraps or is skipped."""
    machine = Machine(fault_delay=1_800_000, trip_delay=1_800_000).start().tick(elapsed)

    assert (machine.memory.fault_time, machine.integral) == (1_800_000, 1_800_000)
    assert (machine.name, machine.stop_cause) == ("TRIPPED", "sensor")


def test_the_first_step_is_never_late() -> None:
    """Catches a machine that powers up into a sensor fault because nobody knows how long it was off."""
    machine = Machine().tick(1_073_741_823)

    assert (machine.name, machine.credible, machine.memory.fault_time) == ("LUBRICATED", True, 0)


def test_loose_contacts_add_up() -> None:
    """Catches a fault timer that begins anew with every good reading."""
    machine = Machine().start()
    for second in range(1, 27):  # two bad seconds and one good one leave one second of doubt
        assert machine.permitted, second
        machine.tick(oil=MISSING if second % 3 else OIL)

    assert (machine.stop_cause, machine.memory.fault_time) == ("sensor", 10_000)


def test_as_much_good_time_as_bad_never_makes_a_fault() -> None:
    """Catches doubt that never drains and stops a machine for the dropouts of a whole day."""
    machine = Machine().start()
    for second in range(600):
        machine.tick(oil=MISSING if second % 2 else OIL)

    assert (machine.permitted, machine.memory.fault_time) == (True, 1_000)


def test_a_declared_fault_ends_after_fault_delay_of_credible_time() -> None:
    """Catches a fault that ends with the first good reading, and one that never does."""
    machine = Machine(restart_delay=0, rest_settle=0, reset_hold=0).start().spend(30_000, oil=MISSING)
    assert (machine.name, machine.memory.fault_time) == ("TRIPPED", 10_000)

    machine.spend(9_999, by=3, running=0)
    assert (machine.name, machine.memory.fault_time) == ("TRIPPED", 1)

    machine.tick(1, running=0)
    assert (machine.name, machine.permitted, machine.memory.fault_time) == ("STOPPED", True, 0)
    assert "fault" not in machine.memory.flags


def test_doubt_within_the_start_grace_counts_for_the_fault_only() -> None:
    """Catches a grace that hides a broken sensor, and doubt that fills the integral during the grace."""
    machine = Machine().tick(0).spend(10_000, oil=MISSING)

    assert (machine.name, machine.stop_cause, machine.integral) == ("TRIPPED", "sensor", 0)
    assert machine.grace_left == 20_000


def test_time_in_doubt_does_not_run_the_trip_memory_down() -> None:
    """Catches trips forgotten in time that nobody saw."""
    machine = Machine(fault_delay=1_000_000).start()
    machine.state[state.TRIPS], machine.state[state.MEMORY_LEFT] = 2, 3_000

    machine.spend(4_000, oil=MISSING).tick(5_001)
    assert (machine.memory.trips, machine.memory.memory_left) == (2, 3_000)

    machine.spend(3_000)
    assert (machine.memory.trips, machine.memory.memory_left) == (0, 0)


@pytest.mark.slow("tries many cases of a large space")
@settings(max_examples=100)
@given(st.data())
def test_a_late_tick_never_relaxes_anything(data: st.DataObject) -> None:
    """Catches a drain, a delay, a memory or a permission that time nobody saw gives back."""
    named = data.draw(any_settings())
    pressures = data.draw(readings(named))
    machine = Machine(**named)
    machine.state[:] = data.draw(memories(named, pressures))
    before = machine.memory
    oil, suction, crankcase = pressures
    running = data.draw(st.integers(0, 1))
    elapsed = data.draw(between(named["max_gap"] + 1, 1_073_741_823))
    machine.tick(elapsed, running=running, oil=oil, suction=suction, crankcase=crankcase)
    after = machine.memory

    assert (after.integral, after.fraction) >= (before.integral, before.fraction)
    assert after.restart_left >= before.restart_left
    assert after.memory_left >= before.memory_left
    assert after.trips >= before.trips
    assert after.fault_time >= before.fault_time
    assert machine.permitted <= (before.state not in {"TRIPPED", "LOCKED_OUT"})
    assert not machine.credible
    if running:
        assert after.grace_left <= before.grace_left
        assert set(before.flags.split()) - {"held", "pressed"} <= set(after.flags.split())


@pytest.mark.slow("tries many cases of a large space")
@settings(max_examples=100)
@given(st.data())
def test_a_reading_in_doubt_never_lowers_the_integral_nor_looks_healthy(data: st.DataObject) -> None:
    """Catches any broken reading, in any state and at any tick, that drains or leads to LUBRICATED."""
    named = data.draw(any_settings())
    oil, suction, crankcase = data.draw(readings(named))
    channel = data.draw(st.sampled_from(STUCK))
    broken = {"oil": oil, "suction": suction, "crankcase": crankcase} | {
        channel: data.draw(st.sampled_from([MISSING, 20_000_001, -100_001]))
    }
    machine = Machine(**named)
    machine.state[:] = data.draw(memories(named, (oil, suction, crankcase)))
    before = machine.memory
    ms = data.draw(between(0, named["max_gap"]))
    machine.tick(ms, running=data.draw(st.integers(0, 1)), **broken)
    after = machine.memory

    assert (after.integral, after.fraction) >= (before.integral, before.fraction)
    assert after.fault_time == min(before.fault_time + ms, named["fault_delay"])
    assert not machine.credible
    assert machine.alarm
    assert after.state != "LUBRICATED"
    assert machine.permitted <= (before.state not in {"TRIPPED", "LOCKED_OUT"})


def test_vacuum_is_not_seen_by_a_reading_in_doubt() -> None:
    """Catches a missing suction reading, far below any vacuum, that arms the reload guard or weighs as vacuum."""
    machine = Machine(fault_delay=60_000).start()
    machine.spend(20_000, oil=SUCTION, suction=MISSING, crankcase=SUCTION)
    assert (machine.integral, machine.memory.flags) == (20_000, "spell")

    machine.tick(net=BELOW_FLOOR, suction=VACUUM)
    assert machine.memory.flags == "spell vacuum"
