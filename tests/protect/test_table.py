"""The cause-and-effect table: every state with every combination of conditions."""

import itertools

import pytest

from protect import conditions, signals, state, table
from tests.support.protection import CAUSES, Machine, Memory, named_memory
from tests.support.protection import STATES as NAMES
from tests.support.table_model import BITS, CONDITIONS, TableModel, bit, names_of

TRIP_MEMORY = 3_600_000
PERMITTED = ("STOPPED", "PRIMING", "LUBRICATED", "STARVED")
PRESS = bit("reset_press")
SPENT = bit("resets_spent")
FAULT = bit("sensor_fault")
MOST_MOVES = 3


@pytest.fixture(scope="module")
def model() -> TableModel:
    """Give the model built from the rows."""
    return TableModel(TRIP_MEMORY)


@pytest.fixture(scope="module")
def plant() -> Machine:
    """Give a machine whose state the tests set before each settling."""
    return Machine(trip_memory=TRIP_MEMORY)


def settle(plant: Machine, name: str, bits: int) -> Memory:
    """Settle from a named state that remembers seven trips for one more ms; return what is remembered then."""
    words = [0] * state.STATE_SIZE
    words[state.STATE] = NAMES.index(name)
    words[state.TRIPS] = 7
    words[state.MEMORY_LEFT] = 1
    words[state.FLAGS] = state.RESET_HELD | state.RESET_PRESSED | 2 * state.ONE_RESET
    table.settle(words, plant.settings, bits)
    return named_memory(words)


def consistent(bits: int) -> bool:
    """Whether one set of readings can give these conditions at once.

    Low and healthy exclude each other; a reading in doubt is low; the reload
    guard acts on a running machine with credible readings, be they low or healthy.
    """
    is_on = {name: bool(bits & bit(name)) for name in BITS}
    return (
        not (is_on["low"] and is_on["healthy"])
        and (is_on["sensor_ok"] or is_on["low"])
        and (not is_on["reload_guard"] or (is_on["running"] and is_on["sensor_ok"]))
    )


CONSISTENT = [bits for bits in CONDITIONS if consistent(bits)]


def winner(name: str, bits: int) -> int | None:
    """Return the number of the first row that applies, or None."""
    for number, row in enumerate(table.TABLE):
        if NAMES[row[0]] == name and bits & row[1] == row[2]:
            return number
    return None


def walk(name: str, bits: int) -> list[str]:
    """Return the states that the rows lead through, the first included; a row with an effect is the last."""
    path, effect = [name], table.NONE
    while effect == table.NONE and len(path) < 20 and (number := winner(path[-1], bits)) is not None:
        _, _, _, target, effect = table.TABLE[number]
        path.append(NAMES[target])
    return path


@pytest.mark.outside(
    computation="cause-and-effect table",
    source="the package transitions, fed with the rules in words",
    status="consulted",
    agreement="every state and combination",
)
@pytest.mark.parametrize("name", NAMES)
def test_settles_like_the_independent_model(plant: Machine, model: TableModel, name: str) -> None:
    """Catches a wrong match, a row taken out of order, a re-reading left out or an effect applied wrongly."""
    for bits in CONDITIONS:
        got = settle(plant, name, bits)
        model.settle(name, bits)

        assert (model.state, model.trips, model.memory_left, model.cause, model.resets) == (
            got.state,
            got.trips,
            got.memory_left,
            got.cause,
            got.resets,
        ), names_of(bits)


@pytest.mark.parametrize("name", NAMES)
def test_settles_within_three_moves_and_never_in_a_circle(plant: Machine, name: str) -> None:
    """Catches a row that leads back, and a step that ends before the state is settled."""
    for bits in CONDITIONS:
        path = walk(name, bits)
        if path == ["LOCKED_OUT"] * 2:  # a refused reset, whose effect ends the step
            path.pop()

        assert len(path) - 1 <= MOST_MOVES, (path, names_of(bits))
        assert len(set(path)) == len(path), (path, names_of(bits))
        assert settle(plant, name, bits).state == path[-1], (path, names_of(bits))


@pytest.mark.parametrize("name", NAMES)
def test_settled_is_settled(plant: Machine, name: str) -> None:
    """Catches a state that would move once more on a second step with nothing new."""
    for bits in CONDITIONS:
        settled = settle(plant, name, bits).state
        if (name, settled) == ("LOCKED_OUT", "TRIPPED") and bits & bit("restart_due"):
            continue  # the reset was the effect of its step: a restart comes with the next one

        assert settle(plant, settled, bits & ~PRESS).state == settled, names_of(bits)


def test_three_moves_are_needed() -> None:
    """Catches a bound that is larger than any step needs, which would hide a longer way."""
    assert max(len(walk(name, bits)) - 1 for name in NAMES for bits in CONSISTENT) == MOST_MOVES == table.MOST_MOVES


@pytest.mark.parametrize("name", NAMES)
def test_no_run_permission_on_a_declared_sensor_fault(plant: Machine, name: str) -> None:
    """Catches a state that goes on running on readings that are worth nothing."""
    for bits in CONDITIONS:
        if bits & FAULT:
            assert settle(plant, name, bits).state in {"TRIPPED", "LOCKED_OUT"}, names_of(bits)


def test_states_without_run_permission_come_last() -> None:
    """Catches a new state on the wrong side of the one comparison that gives run permission."""
    assert [NAMES[number] for number in range(state.TRIPPED)] == list(PERMITTED)
    assert (state.TRIPPED, state.LOCKED_OUT) == (4, 5)


def test_lockout_is_left_only_by_a_press_of_the_reset_while_one_is_left(plant: Machine) -> None:
    """Catches any other way out of a lockout: final is final."""
    for bits in CONDITIONS:
        left = settle(plant, "LOCKED_OUT", bits).state != "LOCKED_OUT"

        assert left == (bits & (PRESS | SPENT) == PRESS), names_of(bits)


def test_a_reset_too_many_changes_nothing_but_the_cause(plant: Machine) -> None:
    """Catches a refused reset that forgets trips, renews the memory or is counted, and one that says nothing."""
    for bits in CONDITIONS:
        if bits & PRESS and bits & SPENT:
            after = settle(plant, "LOCKED_OUT", bits)

            assert after == settle(plant, "LOCKED_OUT", 0)._replace(cause="resets", flags=after.flags), names_of(bits)
            assert "pressed" not in after.flags


@pytest.mark.parametrize("name", [name for name in NAMES if name != "LOCKED_OUT"])
def test_a_press_does_nothing_outside_a_lockout(plant: Machine, name: str) -> None:
    """Catches a reset that ends a trip, forgets trips, or undoes the lockout of the very same step."""
    for bits in CONDITIONS:
        assert settle(plant, name, bits | PRESS) == settle(plant, name, bits & ~PRESS), names_of(bits)


def test_a_reset_makes_a_trip_of_a_lockout_and_is_remembered(plant: Machine) -> None:
    """Catches a reset that lets a machine start at once, keeps its trips, or leaves no trace of itself."""
    for bits in CONDITIONS:
        after = settle(plant, "LOCKED_OUT", (bits | PRESS) & ~SPENT)

        assert (after.state, after.trips, after.resets) == ("TRIPPED", 0, 3), names_of(bits)
        assert (after.memory_left, after.flags) == (TRIP_MEMORY, "held"), names_of(bits)


@pytest.mark.parametrize("name", NAMES)
def test_the_step_that_stops_gives_no_permission_back(plant: Machine, name: str) -> None:
    """Catches a settling that passes through a trip and comes out running."""
    for bits in CONDITIONS:
        path = walk(name, bits)
        if name in PERMITTED and set(path) & {"TRIPPED", "LOCKED_OUT"}:
            after = settle(plant, name, bits)

            assert after.state in {"TRIPPED", "LOCKED_OUT"}, (path, names_of(bits))
            assert after.cause != "none", (path, names_of(bits))


@pytest.mark.parametrize("name", NAMES)
def test_trips_are_counted_for_oil_and_reload_and_never_for_the_sensor(plant: Machine, name: str) -> None:
    """Catches a sensor fault that leads to lockout, a trip counted twice, and one that is not counted."""
    for bits in CONDITIONS:
        after = settle(plant, name, bits)
        if name == "LOCKED_OUT":
            continue
        counted = after.cause in {"oil", "reload"}

        assert after.trips == 7 + counted, names_of(bits)
        assert after.memory_left == (TRIP_MEMORY if counted else 1), names_of(bits)
        if after.state == "LOCKED_OUT":
            assert counted, names_of(bits)


@pytest.mark.parametrize("name", PERMITTED)
def test_a_trip_locks_out_exactly_when_it_is_the_last_one(plant: Machine, name: str) -> None:
    """Catches a lockout one trip early, one trip late, or never, and a reload that a restart follows."""
    for bits in CONDITIONS:
        after = settle(plant, name, bits)
        if after.cause in {"oil", "reload"}:
            locks = bits & bit("last_trip") or after.cause == "reload"
            expected = "LOCKED_OUT" if locks else "TRIPPED"

            assert after.state == expected, names_of(bits)


def test_restart_wants_standstill_the_delay_and_credible_readings(plant: Machine) -> None:
    """Catches a restart from a trip that skips one of its four conditions."""
    for bits in CONDITIONS:
        may_restart = names_of(bits) & {"running", "restart_due", "sensor_ok", "sensor_fault"} == {
            "restart_due",
            "sensor_ok",
        }

        assert settle(plant, "TRIPPED", bits).state == ("STOPPED" if may_restart else "TRIPPED"), names_of(bits)


@pytest.mark.parametrize("name", PERMITTED)
def test_a_machine_that_stands_still_is_stopped(plant: Machine, name: str) -> None:
    """Catches a state that outlives the stop of the machine, or an oil trip at standstill."""
    for bits in CONDITIONS:
        if not bits & (bit("running") | FAULT):
            assert settle(plant, name, bits).state == "STOPPED", names_of(bits)


@pytest.mark.parametrize("name", PERMITTED)
def test_a_full_integral_stops_a_machine_that_is_short_of_oil_after_grace(plant: Machine, name: str) -> None:
    """Catches a trip that waits for one more tick."""
    for bits in CONDITIONS:
        names = names_of(bits)
        if {"running", "low", "integral_full"} <= names and not names & {"in_grace", "sensor_fault"}:
            assert settle(plant, name, bits).state in {"TRIPPED", "LOCKED_OUT"}, names


def test_a_full_integral_stops_a_starved_machine_whatever_pressure_does(plant: Machine) -> None:
    """Catches a trip that a healthy reading in the very same step takes back."""
    for bits in CONDITIONS:
        if bits & bit("running") and bits & bit("integral_full"):
            assert settle(plant, "STARVED", bits).state in {"TRIPPED", "LOCKED_OUT"}, names_of(bits)


@pytest.mark.parametrize("name", PERMITTED)
def test_the_reload_guard_stops_in_grace_and_after_it_and_names_itself(plant: Machine, name: str) -> None:
    """Catches a guard that start grace switches off, or a full integral that hides the graver cause."""
    for bits in CONSISTENT:
        if bits & bit("reload_guard") and not bits & FAULT:
            assert settle(plant, name, bits).cause == "reload", names_of(bits)


def test_every_state_is_reached_from_stopped_and_left_again(plant: Machine) -> None:
    """Catches a state that nothing leads to, and one without a way back."""
    reached_from = {name: {settle(plant, name, bits).state for bits in CONSISTENT} for name in NAMES}

    for start in NAMES:
        reached = {start}
        while more := set(itertools.chain(*(reached_from[name] for name in reached))) - reached:
            reached |= more
        assert reached == set(NAMES), start


@pytest.mark.parametrize("number", range(len(table.TABLE)))
def test_no_row_is_dead(number: int) -> None:
    """Catches a row that earlier rows hide or that no set of readings can meet."""
    name = NAMES[table.TABLE[number][0]]

    assert any(winner(name, bits) == number for bits in CONSISTENT)


def test_rows_are_well_formed() -> None:
    """Catches a value outside its mask, which never matches, and an unknown state or effect."""
    for source, mask, value, target, effect in table.TABLE:
        assert value & ~mask == 0
        assert 0 < mask < 1 << len(BITS)
        assert source != target or effect != table.NONE
        assert {source, target} <= set(range(len(NAMES)))
        assert table.NONE <= effect <= table.REFUSE_RESET


def test_names_of_bits_and_causes_are_in_the_order_of_their_values() -> None:
    """Catches a bit or a reason code that was renumbered while its name stayed."""
    assert conditions.NAMES == BITS
    assert [getattr(conditions, name.upper()) for name in BITS] == [bit(name) for name in BITS]
    causes = [state.NO_CAUSE, state.OIL_CAUSE, state.RELOAD_CAUSE, state.SENSOR_CAUSE, state.RESETS_CAUSE]
    assert list(range(len(CAUSES))) == causes
    bits = [getattr(signals, name.upper().replace(" ", "_")) for name in signals.DOUBT_NAMES]
    assert bits == [1 << number for number in range(16, 16 + len(signals.DOUBT_NAMES))]
    assert sum(bits) == signals.DOUBTS
