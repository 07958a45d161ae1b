"""Timed stories: start, trip, restart, memory, lockout and reset, with the times of the profile.

Start grace 30 s, trip delay 120 s at weight 4 below the floor, restart delay
60 s, third trip within an hour locks out, stopped recovery a quarter.
"""

import pytest

from protect import saved, state
from tests.support.protection import BELOW_FLOOR, HEALTHY, HELD, MISSING, RELOADED, SHORT, Machine, Memory

HOUR = 3_600_000


def tripped(**changes: int) -> Machine:
    """Return a machine that has just tripped on oil, still running down."""
    machine = Machine(**changes).start()
    machine.trip()
    return machine


def locked_out() -> Machine:
    """Return a machine that has just been locked out by its third trip, still running down."""
    machine = tripped()
    for _ in range(2):
        machine.spend(60_000, running=0)
        assert machine.name == "STOPPED"
        machine.trip()
    assert machine.name == "LOCKED_OUT"
    return machine


def test_power_up_finds_a_machine_at_rest_with_an_empty_memory() -> None:
    """Catches a power-up that inherits, grants or withholds anything."""
    assert Machine().memory == Memory(
        state="STOPPED",
        integral=0,
        fraction=0,
        grace_left=30_000,
        restart_left=60_000,
        memory_left=0,
        trips=0,
        fault_time=0,
        flags="fresh held",
        cause="none",
        unmoved=(0, 0, 0),
    )
    machine = Machine().tick(0, running=0)
    assert (machine.name, machine.permitted, machine.alarm, machine.stop_cause) == ("STOPPED", True, False, "none")


def test_power_up_wipes_whatever_the_array_held() -> None:
    """Catches a word that survives from the time before: powered up on a used array, all is as on a new one."""
    used = [-1] * state.STATE_SIZE
    state.power_up(used, Machine().settings)

    assert used == Machine().state
    assert [used[place] for place in (state.OIL_SEEN, state.SUCTION_SEEN, state.CRANKCASE_SEEN)] == [MISSING] * 3


def test_start_without_oil_pressure() -> None:
    """Catches a deficit counted in the grace, an alarm in it, and a grace that is not used up in one run."""
    machine = Machine().tick(0, net=BELOW_FLOOR)
    assert (machine.name, machine.alarm) == ("PRIMING", False)

    machine.spend(29_999, net=BELOW_FLOOR)
    assert (machine.name, machine.integral, machine.grace_left) == ("PRIMING", 0, 1)

    machine.tick(1, net=BELOW_FLOOR)
    assert (machine.name, machine.integral, machine.alarm) == ("STARVED", 0, True)

    machine.spend(29_999, net=BELOW_FLOOR)
    assert (machine.name, machine.integral, machine.permitted) == ("STARVED", 119_996, True)

    machine.tick(1, net=BELOW_FLOOR)
    assert machine.memory == Memory(
        state="TRIPPED",
        integral=120_000,
        fraction=0,
        grace_left=0,
        restart_left=60_000,
        memory_left=HOUR,
        trips=1,
        fault_time=0,
        flags="spell",
        cause="oil",
        unmoved=(60_000, 60_000, 60_000),
    )
    assert (machine.permitted, machine.alarm, machine.stop_cause) == (False, True, "oil")


def test_start_with_oil_pressure_within_the_grace() -> None:
    """Catches a machine that must wait out its grace, and a dip within the grace that counts."""
    machine = Machine().tick(0, net=BELOW_FLOOR).spend(10_000, net=BELOW_FLOOR)
    assert machine.tick().name == "LUBRICATED"
    assert machine.spend(5_000, net=HELD).name == "LUBRICATED"
    assert machine.spend(5_000, net=SHORT).name == "PRIMING"
    assert machine.spend(1_000, net=HELD).name == "PRIMING"

    assert (machine.integral, machine.grace_left) == (0, 8_000)


def test_start_that_stays_between_cut_out_and_cut_in() -> None:
    """Catches a hold band that counts as healthy or as short of oil."""
    machine = Machine().tick(0, net=HELD).spend(600_000, net=HELD)

    assert (machine.name, machine.integral, machine.permitted, machine.alarm) == ("PRIMING", 0, True, False)


def test_each_start_has_its_own_grace() -> None:
    """Catches a grace that is granted only once, or that goes on at standstill."""
    machine = Machine().start().spend(30_000, running=0)
    assert machine.grace_left == 30_000

    machine.spend(20_000, net=BELOW_FLOOR).spend(20_000, running=0).spend(29_000, net=BELOW_FLOOR)
    assert (machine.name, machine.integral, machine.grace_left) == ("PRIMING", 0, 1_000)


def test_standstill_gives_back_as_much_grace_as_it_lasts() -> None:
    """Catches a grace that is whole again after any standstill, or that grows beyond what is set."""
    machine = Machine(max_gap=60_000).start().tick(0, running=0)
    assert machine.grace_left == 0

    for stood, left in ((1, 1), (29_998, 29_999), (1, 30_000), (1_000, 30_000)):
        machine.spend(stood, by=stood, running=0)
        assert machine.grace_left == left


def test_time_nobody_saw_gives_back_no_grace() -> None:
    """Catches a lost reading or a late tick at standstill that lets the next start run without oil."""
    machine = Machine(max_gap=1_000).start().tick(1_000, running=0, oil=MISSING).tick(1_001, running=0)

    assert machine.grace_left == 0


@pytest.mark.parametrize(("runs", "stands"), [(29_900, 100), (900, 100), (200, 100)])
def test_flickering_run_feedback_does_not_hide_a_machine_without_oil(runs: int, stands: int) -> None:
    """Catches a contact that bounces, or a machine switched off and on, renewing the grace for ever."""
    machine = Machine(stopped_recovery=205).start()
    for _ in range(700):
        machine.spend(runs, net=BELOW_FLOOR).spend(stands, running=0, net=BELOW_FLOOR)
        if not machine.permitted:
            break

    assert (machine.name, machine.stop_cause) == ("TRIPPED", "oil")


def test_starved_until_cut_in() -> None:
    """Catches a machine that counts as lubricated as soon as it is above cut-out."""
    machine = Machine().start()
    assert machine.tick(net=HELD).name == "LUBRICATED"
    assert machine.tick(net=SHORT).name == "STARVED"
    assert machine.tick(net=89_999).name == "STARVED"
    assert machine.tick(net=90_000).name == "LUBRICATED"


def test_restart_delay_is_standstill() -> None:
    """Catches a delay that runs while the machine does, one ms too few, and a rest that a start does not interrupt."""
    machine = tripped().spend(20_000)
    assert (machine.name, machine.memory.restart_left) == ("TRIPPED", 60_000)

    machine.spend(59_000, running=0).tick(1_000).spend(59_999, running=0)
    assert (machine.name, machine.memory.restart_left, machine.permitted) == ("TRIPPED", 1, False)

    machine.tick(1, running=0)
    assert (machine.name, machine.memory.restart_left, machine.permitted) == ("STOPPED", 0, True)
    assert (machine.stop_cause, machine.memory.cause, machine.alarm) == ("none", "oil", False)


def test_a_tripped_machine_that_runs_on_stays_tripped() -> None:
    """Catches permission given back because pressure came back while the machine was still turning."""
    machine = tripped().spend(2 * HOUR)

    assert (machine.name, machine.permitted, machine.memory.trips, machine.memory.memory_left) == (
        "TRIPPED",
        False,
        1,
        HOUR,
    )


def test_a_restart_after_a_trip_begins_with_what_the_rest_has_left() -> None:
    """Catches an integral wiped by the trip or the stop: a rest brings no oil."""
    machine = tripped().spend(60_000, running=0)
    assert (machine.name, machine.integral) == ("STOPPED", 105_000)

    took = machine.trip()

    assert took == 30_000 + 3_800  # the grace, then the 15 s that are missing, at weight 4 in steps of 100 ms
    assert machine.memory.trips == 2


def test_integral_survives_short_stops() -> None:
    """Catches a machine that stops and starts its way around the delay."""
    machine = Machine(start_grace=0).tick(0, net=BELOW_FLOOR)
    cycles = 0
    while machine.permitted:
        machine.spend(5_000, net=BELOW_FLOOR).spend(20_000, running=0)
        cycles += 1

    assert cycles == 8  # each run adds 20 s, each stop takes 5 s: 105 s after seven, full in the eighth


@pytest.mark.outside(
    computation="grace, restart delay, trip memory, lockout",
    source="common practice, no source; times by hand, here and in the whole file",
    status="none",
    agreement="to the ms",
)
def test_third_trip_locks_out() -> None:
    """Catches a lockout after the wrong number of trips."""
    machine = tripped()
    assert (machine.name, machine.memory.trips) == ("TRIPPED", 1)

    machine.spend(60_000, running=0)
    machine.trip()
    assert (machine.name, machine.memory.trips) == ("TRIPPED", 2)

    machine.spend(60_000, running=0)
    machine.trip()
    assert machine.memory == Memory(
        state="LOCKED_OUT",
        integral=120_000,
        fraction=0,
        grace_left=0,
        restart_left=60_000,
        memory_left=HOUR,
        trips=3,
        fault_time=0,
        flags="spell",
        cause="oil",
        unmoved=machine.memory.unmoved,
    )
    assert (machine.permitted, machine.stop_cause) == (False, "oil")


def test_first_trip_locks_out_where_one_is_allowed() -> None:
    """Catches a count that is compared before it is raised."""
    assert tripped(trips_to_lockout=1).name == "LOCKED_OUT"


@pytest.mark.parametrize(("ms", "trips", "third"), [(HOUR, 0, "TRIPPED"), (HOUR - 1, 2, "LOCKED_OUT")])
def test_trips_are_forgotten_after_the_trip_memory(ms: int, trips: int, third: str) -> None:
    """Catches trips that are remembered for ever, forgotten one ms early, or forgotten one by one."""
    machine = tripped().spend(60_000, running=0)
    machine.trip()
    machine.spend(ms, running=0, by=997)
    assert (machine.memory.trips, machine.name) == (trips, "STOPPED")

    machine.state[state.INTEGRAL] = 120_000
    machine.state[state.GRACE_LEFT] = 0
    machine.tick(0, net=BELOW_FLOOR)

    assert machine.name == third


def test_the_trip_memory_begins_with_the_last_trip_and_runs_with_the_machine() -> None:
    """Catches a memory counted from the first trip, and one that stands while a restarted machine runs."""
    machine = tripped().spend(60_000, running=0).spend(HOUR // 2)
    assert machine.memory.memory_left == HOUR // 2 - 60_000

    machine.trip()
    assert (machine.memory.memory_left, machine.memory.trips) == (HOUR, 2)


def test_final_is_final() -> None:
    """Catches any way out of a lockout but a reset: time, rest, health, faults, late ticks, forgotten trips."""
    machine = locked_out()
    for story in (
        {"net": HEALTHY},
        {"running": 0},
        {"running": 0, "oil": MISSING},
        {"oil": MISSING},
        {"running": 0, "net": BELOW_FLOOR, "suction": RELOADED},  # all channels move, so they are believed again
    ):
        machine.spend(8 * HOUR, by=5_000, **story)
        assert (machine.name, machine.permitted, machine.stop_cause) == ("LOCKED_OUT", False, "oil")
    machine.tick(1_073_741_823).tick(-5).tick(running=0)

    assert (machine.name, machine.permitted, machine.memory.trips) == ("LOCKED_OUT", False, 0)


def test_a_reset_makes_a_trip_of_a_lockout_whose_restart_delay_begins_with_the_press() -> None:
    """Catches a reset that starts a machine at once, one that keeps the trips, and one that wipes the integral."""
    machine = locked_out().spend(300_000, running=0).tick(running=0, reset=1)
    assert (machine.name, machine.memory.restart_left, machine.memory.flags) == ("LOCKED_OUT", 60_000, "held pressed")

    machine.tick(999, running=0, reset=1)
    assert machine.name == "LOCKED_OUT"
    machine.tick(1, running=0, reset=1)
    assert (machine.name, machine.memory.trips, machine.memory.resets) == ("TRIPPED", 0, 1)
    assert (machine.memory.memory_left, machine.memory.flags) == (HOUR, "held")
    assert machine.integral == 120_000 - 75_000 - 500

    machine.spend(58_999, running=0)
    assert (machine.name, machine.stop_cause) == ("TRIPPED", "oil")
    assert machine.tick(1, running=0).permitted


@pytest.mark.parametrize("hold", [0, 1_000])
def test_one_sample_of_the_reset_does_nothing(hold: int) -> None:
    """Catches a locked-out machine that a single noisy sample frees, however long its step, and noise that adds up."""
    machine = Machine(trips_to_lockout=1, reset_hold=hold).start()
    machine.trip()
    for _ in range(50):
        machine.tick(5_000, running=0, reset=1).tick(5_000, running=0)
        assert (machine.name, machine.memory.flags) == ("LOCKED_OUT", "")

    assert machine.tick(1, running=0, reset=1).tick(hold or 1, running=0, reset=1).name == "TRIPPED"


def test_time_that_nobody_saw_is_no_part_of_a_press() -> None:
    """Catches two samples with an outage between them that are taken for a press."""
    machine = Machine(trips_to_lockout=1).start()
    machine.trip()
    machine.tick(running=0).tick(running=0, reset=1).tick(5_001, running=0, reset=1).tick(999, running=0, reset=1)
    assert machine.name == "LOCKED_OUT"

    assert machine.tick(1, running=0, reset=1).name == "TRIPPED"


def test_reset_has_to_be_pressed_in_the_lockout() -> None:
    """Catches a reset button that is held down, taped or stuck and undoes every lockout to come."""
    machine = locked_out_with_reset_held()
    machine.spend(600_000, running=0, reset=1)
    assert machine.name == "LOCKED_OUT"

    assert machine.press().name == "TRIPPED"


def test_a_button_held_on_through_a_reset_does_not_undo_the_next_lockout() -> None:
    """Catches a press that is taken twice, once for each lockout it lives through."""
    machine = Machine(trips_to_lockout=1, start_grace=0, stopped_recovery=0).start()
    machine.trip()
    machine.tick(running=0).spend(90_000, running=0, reset=1)
    assert machine.name == "STOPPED"
    machine.tick(net=BELOW_FLOOR, reset=1)
    assert (machine.name, machine.memory.resets) == ("LOCKED_OUT", 1)

    machine.spend(600_000, running=0, reset=1)
    assert (machine.name, machine.memory.resets) == ("LOCKED_OUT", 1)


def test_a_running_machine_is_not_reset_before_it_stands() -> None:
    """Catches a press that is taken, and a hold that is counted, while the machine still turns."""
    machine = locked_out().spend(20_000, reset=1)
    assert machine.name == "LOCKED_OUT"

    machine.tick(999, running=0, reset=1)
    assert machine.name == "LOCKED_OUT"
    assert machine.tick(1, running=0, reset=1).name == "TRIPPED"


def out_of_resets() -> Machine:
    """Return a machine that three resets have freed, each after a lockout, and that is locked out again."""
    machine = Machine(trips_to_lockout=1, start_grace=0, stopped_recovery=0).start()
    machine.trip()
    for number in range(1, 4):
        machine.press().spend(60_000, running=0)
        assert (machine.name, machine.memory.resets) == ("STOPPED", number)
        machine.tick(0, net=BELOW_FLOOR)
        assert (machine.name, machine.stop_cause) == ("LOCKED_OUT", "oil")
    return machine


def test_a_reset_too_many_is_refused_and_says_so() -> None:
    """Catches a machine that is freed as often as somebody presses, and a lockout that does not say why it stays."""
    machine = out_of_resets().press()
    assert (machine.name, machine.permitted, machine.alarm, machine.stop_cause) == ("LOCKED_OUT", False, True, "resets")
    assert machine.memory.resets == 3

    machine.state[state.MEMORY_LEFT] = HOUR
    for _ in range(300):
        machine.press()
    assert (machine.name, machine.stop_cause, machine.memory.memory_left) == ("LOCKED_OUT", "resets", HOUR - 1_200_000)


def test_resets_are_forgotten_when_the_trip_memory_ends_and_not_before() -> None:
    """Catches a lockout for ever, and one that pressing on makes longer or shorter."""
    machine = out_of_resets().spend(HOUR - 1_001, running=0, by=997)
    machine.tick(1, running=0, reset=1).spend(999, running=0, reset=1)
    assert (machine.name, machine.memory.resets, machine.memory.memory_left) == ("LOCKED_OUT", 3, 1)

    machine.tick(1, running=0, reset=1)
    assert (machine.name, machine.memory.resets, machine.memory.memory_left) == ("TRIPPED", 1, HOUR)


def test_switching_off_and_on_gives_no_reset_more() -> None:
    """Catches a count of resets that a power cycle wipes."""
    machine = out_of_resets()
    record = [0] * saved.RECORD_SIZE
    saved.fill(record, 0, machine.settings, machine.state)
    saved.recall(machine.state, machine.settings, record, [0] * saved.RECORD_SIZE)

    assert (machine.memory.resets, machine.memory.memory_left) == (3, HOUR)
    assert machine.press().stop_cause == "resets"


def test_without_any_record_a_person_may_reset_once_more() -> None:
    """Catches a controller that service cannot bring back: both records erased, it is locked out with nothing counted."""
    machine = out_of_resets()
    saved.recall(machine.state, machine.settings, [0] * saved.RECORD_SIZE, [0] * saved.RECORD_SIZE)
    assert (machine.name, machine.memory.resets) == ("LOCKED_OUT", 0)

    assert machine.press().name == "TRIPPED"


def locked_out_with_reset_held() -> Machine:
    """Return a machine locked out by its first trip while somebody held the reset button down."""
    machine = Machine(trips_to_lockout=1).start().tick(reset=1)
    machine.trip(reset=1)
    assert (machine.name, machine.memory.flags) == ("LOCKED_OUT", "held spell")
    return machine


def test_reset_held_from_power_up_does_nothing() -> None:
    """Catches an edge out of nothing at the first step after a power loss."""
    machine = Machine(trips_to_lockout=1)
    machine.state[state.STATE] = state.LOCKED_OUT
    machine.spend(10_000, running=0, reset=1)
    assert machine.name == "LOCKED_OUT"

    assert machine.press().name == "TRIPPED"


def test_reset_in_the_very_step_of_the_lockout_does_nothing() -> None:
    """Catches a lockout undone before anybody saw it, its trips forgotten, by a button pressed a moment too soon."""
    machine = Machine(trips_to_lockout=1).start().spend(29_000, net=BELOW_FLOOR)
    assert (machine.name, machine.integral) == ("STARVED", 116_000)

    machine.tick(net=BELOW_FLOOR, reset=1)

    assert (machine.name, machine.memory.trips, machine.memory.flags) == ("LOCKED_OUT", 1, "held spell")


@pytest.mark.parametrize("running", [0, 1])
def test_reset_does_nothing_to_a_trip(running: int) -> None:
    """Catches a reset that shortens a restart delay or forgets trips outside a lockout."""
    pressed, left_alone = tripped(), tripped()
    for second in range(40):
        pressed.tick(running=running, reset=second % 2)
        left_alone.tick(running=running)

    assert pressed.memory._replace(flags="spell") == left_alone.memory._replace(flags="spell")
    assert (pressed.name, pressed.memory.trips) == ("TRIPPED", 1)


@pytest.mark.parametrize("reading", [{"oil": MISSING}, {"suction": -1}])
def test_a_reset_on_a_doubtful_reading_gives_no_permission(reading: dict[str, int]) -> None:
    """Catches permission given on readings that are worth nothing."""
    machine = locked_out().tick(running=0, reset=1).spend(61_000, running=0, reset=1, **reading)
    assert (machine.name, machine.permitted, machine.memory.trips, machine.stop_cause) == ("TRIPPED", False, 0, "oil")

    machine.spend(9_999, running=0)
    assert not machine.permitted

    machine.tick(1, running=0)
    assert (machine.name, machine.permitted) == ("STOPPED", True)


def test_sensor_stops_never_lead_to_lockout() -> None:
    """Catches a loose wire that locks a machine out and sends a fitter to its bearings."""
    machine = Machine().start()
    for _ in range(5):
        machine.spend(10_000, oil=MISSING)
        assert (machine.name, machine.memory.cause, machine.memory.trips) == ("TRIPPED", "sensor", 0)
        machine.spend(60_000, running=0)
        assert machine.name == "STOPPED"
        machine.spend(60_000)


def test_full_integral_at_a_start_trips_when_the_grace_is_over() -> None:
    """Catches a trip within the grace, and a full integral that is forgotten in it."""
    machine = tripped(stopped_recovery=0).spend(60_000, running=0).tick(0, net=BELOW_FLOOR)
    assert (machine.name, machine.integral) == ("PRIMING", 120_000)

    machine.spend(29_999, net=BELOW_FLOOR)
    assert machine.name == "PRIMING"

    machine.tick(1, net=BELOW_FLOOR)
    assert machine.name == "TRIPPED"


def test_a_machine_with_no_grace_and_a_full_integral_trips_in_its_first_step_without_oil() -> None:
    """Catches a step that ends before the state is settled."""
    machine = tripped(stopped_recovery=0, start_grace=0).spend(60_000, running=0)
    assert machine.name == "STOPPED"

    machine.tick(0, net=BELOW_FLOOR)
    assert (machine.name, machine.memory.trips) == ("TRIPPED", 2)


def test_oil_trip_and_sensor_fault_in_one_step_name_the_sensor() -> None:
    """Catches a trip counted on readings that were in doubt all along."""
    machine = Machine(trip_delay=10_000, fault_delay=10_000).start().spend(10_000, oil=MISSING)

    assert (machine.stop_cause, machine.memory.trips, machine.integral) == ("sensor", 0, 10_000)
