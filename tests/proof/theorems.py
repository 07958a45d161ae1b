"""What a whole step does, whatever the settings, the state and the inputs.

Each theorem runs the unmodified `protection.step` on any admitted settings, any
state within the invariant and any inputs. The parts that multiply are stood in
for by their lemmas (`lemmas`).
"""

from collections.abc import Iterator
from contextlib import contextmanager
from typing import NamedTuple

import z3

from tests.proof import lemmas, ways
from tests.proof.logic import Logic, Words, at, within
from tests.proof.symbolic import Integer, Truth, assume, every, implies, prove


class Step(NamedTuple):
    """One step: what it was given, what it left, and the world in which all that is known."""

    values: Words
    inputs: Words
    before: Words
    after: Words
    results: Words
    world: ways.World


@contextmanager
def parts(logic: Logic, *, bounded: bool = False) -> Iterator[None]:
    """Let steps be taken with stand-ins for the parts that multiply."""
    stand_ins = {
        "weight": lemmas.weight_standin(logic),
        "accumulate": lemmas.accumulate_standin(logic),
        "percent": lemmas.percent_standin(),
    }
    with logic.with_merged_parts(bounded=bounded, **stand_ins):
        yield


def any_step(logic: Logic, *, bounded: bool = False, state: int | None = None) -> Step:
    """Take any step, or any from one state."""
    values = logic.bounded_settings()
    before, inputs = logic.any_state(values), logic.any_inputs()
    if state is not None:
        assume(at(before[logic.state.STATE], state))
        before[logic.state.STATE] = state
    with parts(logic, bounded=bounded):
        after, results = logic.step(before, values, inputs)
    return Step(values, inputs, before, after, results, ways.WORLD)


def no_value_reaches_2_to_the_30(logic: Logic) -> None:
    """Theorem: no value that a step works out, and none that it leaves, reaches 2**30 in magnitude.

    With the lemmas: the values within weight(), accumulate() and percent(), and the derived settings.
    """
    step = any_step(logic, bounded=True)
    for word in [*step.after, *step.results]:
        if isinstance(word, Integer):
            prove(within(word, 1 - ways.LIMIT, ways.LIMIT - 1), "what a step leaves stays below 2**30")


def power_up_establishes_the_invariant(logic: Logic) -> None:
    """Theorem: after power_up() the invariant holds, for any admitted settings, and as well where it comes up locked out."""
    values = logic.bounded_settings()
    for comes_up in (logic.state.power_up, logic.seal.come_up_locked_out):
        words: Words = [0] * logic.state.STATE_SIZE
        comes_up(words, values)
        for name, condition in logic.invariants(words, values):
            prove(condition, name)


def steps_keep_the_invariant(step: Step, logic: Logic) -> None:
    """Theorem: a step from a state within the invariant leads to one. With power_up, all states are within it."""
    for name, condition in logic.invariants(step.after, step.values):
        prove(condition, name)


def a_stop_has_its_cause(step: Step, logic: Logic) -> None:
    """Theorem: a stop has its cause, and keeps one; only a machine that came up locked out has none, as nothing is known of it."""
    s = logic.state
    caused = [
        implies(words[s.STATE] + 0 >= s.TRIPPED, words[s.CAUSE] & s.CAUSE_CODE != s.NO_CAUSE)
        for words in (step.before, step.after)
    ]
    prove(implies(caused[0], caused[1]), "a stop has its cause")


def no_permission_when_stopped(step: Step, logic: Logic) -> None:
    """Theorem: there is run permission if and only if the state is neither TRIPPED nor LOCKED_OUT."""
    s, permission = logic.state, step.results[logic.outputs.RUN_PERMISSION]
    stopped = at(step.after[s.STATE], s.TRIPPED) | at(step.after[s.STATE], s.LOCKED_OUT)
    prove(implies(stopped, at(permission, 0)), "no run permission in TRIPPED or LOCKED_OUT")
    prove(implies(~stopped, at(permission, 1)), "run permission elsewhere")


def lockout_ends_only_by_a_press_of_the_reset(step: Step, logic: Logic) -> None:
    """Theorem: LOCKED_OUT is left only to TRIPPED, by a press that began in it and has lasted for reset_hold.

    The reset is on in this step and was on in the one before; of standstill in time reset_hold has
    passed since the press, with which the restart delay began anew; and a reset was left and is counted.
    So no single sample of the input ends a lockout.
    """
    s, r = logic.state, logic.ranges
    left = at(step.before[s.STATE], s.LOCKED_OUT) & ~at(step.after[s.STATE], s.LOCKED_OUT)
    flags, after = step.before[s.FLAGS], step.after[s.FLAGS]
    prove(implies(left, ~at(step.inputs[r.RESET], 0)), "lockout is left with reset on")
    prove(implies(left, flags & s.RESET_HELD != 0), "lockout is left with reset on in the step before")
    prove(implies(left, flags & s.RESET_PRESSED != 0), "lockout is left by a press that began in it")
    stood = step.values[r.RESTART_DELAY] - step.after[s.RESTART_LEFT]
    prove(implies(left, stood >= step.values[r.RESET_HOLD]), "lockout is left after the hold")
    prove(implies(left, at(step.after[s.STATE], s.TRIPPED)), "a reset makes a trip of a lockout")
    prove(implies(left, after & s.RESETS != 0), "a reset is counted")
    prove(implies(left, after & s.RESET_PRESSED == 0), "a press is taken once")
    begun = (flags & s.RESET_PRESSED == 0) & (after & s.RESET_PRESSED != 0)
    prove(implies(begun, flags & s.RESET_HELD == 0), "a press begins on an edge")
    prove(implies(begun, at(step.after[s.RESTART_LEFT], step.values[r.RESTART_DELAY])), "its hold begins with it")


def locked_out_for_resets_until_the_memory_ends(step: Step, logic: Logic) -> None:
    """Theorem: a locked-out machine with resets_most resets counted stays so until the trip memory ends.

    In every step in which the memory does not run out the state is kept, and the count with it, and no
    step renews the memory of a machine that stays locked out. With `saved` the count outlives a loss of power.
    """
    s, r, o = logic.state, logic.ranges, logic.outputs
    flags, after = step.before[s.FLAGS], step.after[s.FLAGS]
    spent = (flags & s.RESETS) >= step.values[r.RESETS_MOST] * s.ONE_RESET
    remembers = step.before[s.MEMORY_LEFT] > step.results[o.SEEN]
    barred = at(step.before[s.STATE], s.LOCKED_OUT) & spent & remembers
    prove(implies(barred, at(step.after[s.STATE], s.LOCKED_OUT)), "locked out for resets stays locked out")
    prove(implies(barred, at(step.results[o.RUN_PERMISSION], 0)), "and has no run permission")
    prove(implies(barred, (flags & s.RESETS) == (after & s.RESETS)), "and keeps its count")
    longer = at(step.after[s.STATE], s.LOCKED_OUT) & at(step.before[s.STATE], s.LOCKED_OUT)
    prove(implies(longer, step.after[s.MEMORY_LEFT] <= step.before[s.MEMORY_LEFT]), "no press makes it longer")


def no_permission_while_the_standstill_zero_is_violated(step: Step, logic: Logic) -> None:
    """Theorem: a machine at rest has no run permission once its zero has been violated for the fault delay.

    Induction on the doubt: in a step at rest (standing, settled before it, in time, readings in range) with net
    oil pressure beyond rest_most all time is doubted, so the doubt grows by it, or is at the fault delay; and
    with the doubt at the fault delay there is no run permission. So after fault_delay of such steps together it has
    gone, one step (max_gap) late at most, and it does not come back in any of them.
    """
    s, r, o = logic.state, logic.ranges, logic.outputs
    values, inputs = step.values, step.inputs
    elapsed = step.results[o.SEEN] + step.results[o.DOUBTED]
    net = inputs[r.OIL_PRESSURE] - inputs[r.CRANKCASE_PRESSURE]
    settled = step.before[s.RESTART_LEFT] <= values[r.RESTART_DELAY] - values[r.REST_SETTLE]
    beyond = (net > values[r.REST_MOST]) | (net < -values[r.REST_MOST])
    at_rest = at(inputs[r.RUN_FEEDBACK], 0) & settled & (elapsed <= values[r.MAX_GAP])
    violated = at_rest & beyond & in_range(step, logic)
    grown, full = step.before[s.FAULT_TIME] + elapsed, values[r.FAULT_DELAY]
    after = step.after[s.FAULT_TIME]
    prove(implies(violated, at(step.results[o.CREDIBLE], 0)), "a violated zero is not credible")
    prove(implies(violated, (after >= grown) | at(after, full)), "all time with a violated zero is doubt")
    prove(implies(at(after, full), at(step.results[o.RUN_PERMISSION], 0)), "doubt at the fault delay, no permission")
    kept = at(inputs[r.RUN_FEEDBACK], 0) & settled & ~beyond & in_range(step, logic)
    mark = step.results[o.CONDITIONS] & logic.signals.STANDSTILL
    prove(implies(kept, mark == 0), "a zero that is kept is not in doubt")
    prove(implies(~at(inputs[r.RUN_FEEDBACK], 0), mark == 0), "nor is a running machine")


def a_trip_ends_only_at_standstill(step: Step, logic: Logic) -> None:
    """Theorem: TRIPPED is left only at standstill, on credible readings, after the whole restart delay, without fault."""
    s, r, o = logic.state, logic.ranges, logic.outputs
    left = at(step.before[s.STATE], s.TRIPPED) & ~at(step.after[s.STATE], s.TRIPPED)
    declared = step.after[s.FLAGS] & s.FAULT_DECLARED != 0
    prove(implies(left, at(step.inputs[r.RUN_FEEDBACK], 0)), "a restart is given at standstill only")
    prove(implies(left, at(step.results[o.CREDIBLE], 1)), "a restart is given on credible readings only")
    prove(implies(left, at(step.after[s.RESTART_LEFT], 0)), "a restart is given after the restart delay only")
    prove(implies(left, ~declared), "no restart on a declared fault")
    prove(implies(left, at(step.after[s.STATE], s.STOPPED)), "a trip ends in STOPPED")


def low_time(step: Step, logic: Logic) -> Truth:
    """Say whether the machine runs and is short of oil, or nothing credible was seen, for the whole step."""
    r, o = logic.ranges, logic.outputs
    low = step.results[o.NET_OIL_PRESSURE] < step.values[r.CUT_OUT]
    unseen = at(step.results[o.CREDIBLE], 0) & at(step.results[o.SEEN], 0)
    return at(step.inputs[r.RUN_FEEDBACK], 1) & (low | unseen)


def to_go(words: Words, step: Step, logic: Logic) -> Integer:
    """Return the ms of steady low net oil pressure that a trip can still take: the rest of grace and of the delay."""
    s = logic.state
    return words[s.GRACE_LEFT] + step.values[logic.ranges.TRIP_DELAY] - words[s.INTEGRAL]


def low_oil_pressure_always_trips(step: Step, logic: Logic) -> None:
    """Theorem: a machine that runs short of oil or on readings not credible is stopped after grace and trip delay.

    In a vacuum that weighs less than 1 only what the vacuum weight makes of the trip delay is the limit.
    Induction on the time to go, the rest of the start grace and of the integral,
    start_grace + trip_delay at most: a running step of e ms takes e off it, or all
    that is left; and where nothing is left there is no run permission. So after
    steps of that many ms together it has gone, one step (max_gap) late at most.
    Assumes: not the first step, which integrates nothing; net oil pressure below
    cut-out or readings not credible in each step, the late ones included.
    """
    s, r, o = logic.state, logic.ranges, logic.outputs
    fresh = step.before[s.FLAGS] & s.FRESH != 0
    elapsed = step.results[o.SEEN] + step.results[o.DOUBTED]
    before, after = (to_go(words, step, logic) for words in (step.before, step.after))
    low, light = low_time(step, logic), step.values[r.VACUUM_WEIGHT]
    whole = (step.inputs[r.SUCTION_PRESSURE] >= step.values[r.VACUUM]) | (light >= r.ONE)
    prove(
        implies(low & whole, (after <= before - elapsed) | at(after, 0)), "each step takes its time off what is to go"
    )
    counted = implies(within(step.inputs[r.ELAPSED], 0, logic.ranges.ELAPSED_MOST), at(elapsed, step.inputs[r.ELAPSED]))
    prove(implies(~fresh, counted), "all time counts as seen or doubted")
    prove(
        within(after, 0, step.values[r.START_GRACE] + step.values[r.TRIP_DELAY]), "start grace and trip delay at most"
    )
    prove(
        implies(low & at(after, 0), at(step.results[o.RUN_PERMISSION], 0)),
        "nothing to go, no run permission",
    )


def low_oil_pressure_in_a_light_vacuum_always_trips(step: Step, logic: Logic) -> None:
    """Theorem: with a vacuum weight below 1 that machine is stopped after grace and trip delay / vacuum weight.

    Induction as before, on the rest of the start grace times the vacuum weight and the rest of the integral: a
    running step of e ms takes e times the vacuum weight off it, or all that is left, in a vacuum and out of it.
    """
    s, r = logic.state, logic.ranges
    light = step.values[r.VACUUM_WEIGHT]
    elapsed = step.results[logic.outputs.SEEN] + step.results[logic.outputs.DOUBTED]

    def left(words: Words) -> Integer:
        return words[s.GRACE_LEFT] * light + step.values[r.TRIP_DELAY] * r.ONE - logic.total(words)

    taken = left(step.after) <= left(step.before) - elapsed * light
    nothing = at(to_go(step.after, step, logic), 0)
    prove(implies(low_time(step, logic) & (light <= r.ONE), taken | nothing), "each step takes its share off")


def a_reload_on_a_debt_locks_out(step: Step, logic: Logic) -> None:
    """Theorem: suction pressure at reload locks a running machine out while a spell that saw vacuum is owed its oil.

    Whatever net oil pressure reads: the integral at reload_fraction of the trip delay decides. What it remembers of
    the vacuum ends with a stop, or with healthy oil pressure and nothing owed; and no other stop names a reload.
    """
    s, r, o = logic.state, logic.ranges, logic.outputs
    after, running = step.after[s.FLAGS], at(step.inputs[r.RUN_FEEDBACK], 1)
    owed = (after & s.VACUUM_SEEN != 0) & (step.after[s.INTEGRAL] >= step.values[r.RELOAD_LEVEL])
    loaded = at(step.results[o.CREDIBLE], 1) & (step.inputs[r.SUCTION_PRESSURE] >= step.values[r.RELOAD])
    permitted = step.before[s.STATE] + 0 < s.TRIPPED
    sound = after & s.FAULT_DECLARED == 0
    locked = at(step.after[s.STATE], s.LOCKED_OUT)
    prove(implies(permitted & running & owed & loaded & sound, locked), "a reload on a debt locks out")
    ended = (step.before[s.FLAGS] & s.VACUUM_SEEN != 0) & (after & s.VACUUM_SEEN == 0)
    healthy = step.results[o.NET_OIL_PRESSURE] >= step.values[r.CUT_IN]
    drained = healthy & at(step.results[o.CREDIBLE], 1) & at(step.after[s.INTEGRAL], 0)
    prove(implies(ended & running, drained), "running, a vacuum is forgotten only with nothing owed")
    stopped = permitted & (step.after[s.STATE] + 0 >= s.TRIPPED)
    named = stopped & ((step.after[s.CAUSE] & s.CAUSE_CODE) == s.RELOAD_CAUSE)
    prove(implies(named, owed & loaded & locked), "no stop names a reload without one")


def short_deficits_do_not_trip(step: Step, logic: Logic) -> None:
    """Theorem: from an empty integral, less than trip delay / largest weight of deficit stops no machine.

    Induction: a step of e ms adds at most e times the largest weight, so after
    less than that time the integral is not full; and no step stops a machine on
    its oil pressure while the integral is not full, nor the reload guard while it
    is below reload_fraction of the trip delay.
    """
    s, r, o = logic.state, logic.ranges, logic.outputs
    largest = Integer(z3.Int("largest weight"))
    assume(largest >= step.values[r.FLOOR_WEIGHT], largest >= lemmas.weight_of_a_dry_vacuum(logic, step.values))
    elapsed = step.results[o.SEEN] + step.results[o.DOUBTED]
    most = Integer(z3.Int("most added"))
    assume(at(most, largest * elapsed))
    prove(logic.total(step.after) <= logic.total(step.before) + most, "no more than the largest weight is added")
    trips = (step.before[s.STATE] + 0 < s.TRIPPED) & (step.after[s.STATE] + 0 >= s.TRIPPED)
    cause = step.after[s.CAUSE] & s.CAUSE_CODE
    full = at(step.after[s.INTEGRAL], step.values[r.TRIP_DELAY])
    prove(implies(trips & (cause == s.OIL_CAUSE), full), "a stop on oil pressure has a full integral")
    level = step.values[r.RELOAD_LEVEL]
    prove(
        implies(trips & (cause == s.RELOAD_CAUSE), step.after[s.INTEGRAL] >= level),
        "the reload guard waits for its level",
    )


def in_range(step: Step, logic: Logic) -> Truth:
    """Say whether all readings lie in their sensors' ranges."""
    r, values = logic.ranges, step.values
    return every(
        within(step.inputs[place], values[least], values[most])
        for place, least, most in (
            (r.OIL_PRESSURE, r.OIL_LEAST, r.OIL_MOST),
            (r.SUCTION_PRESSURE, r.SUCTION_LEAST, r.SUCTION_MOST),
            (r.CRANKCASE_PRESSURE, r.SUCTION_LEAST, r.SUCTION_MOST),
        )
    )


def doubt_never_lowers_the_integral(step: Step, logic: Logic) -> None:
    """Theorem: a reading that is missing, out of range or late, or stuck already, never lowers the integral.

    Where a channel becomes stuck within the step, its time before that counts as
    seen; so the theorem is that without seen time nothing is lowered, and that
    such readings give none.
    """
    s, r, o = logic.state, logic.ranges, logic.outputs
    inputs, values = step.inputs, step.values
    before, after = logic.total(step.before), logic.total(step.after)
    prove(implies(at(step.results[o.SEEN], 0), after >= before), "without seen time nothing is lowered")
    elapsed = step.results[o.SEEN] + step.results[o.DOUBTED]
    unseen = ~in_range(step, logic) | (elapsed > values[r.MAX_GAP])
    for channel, place in (
        (s.OIL_SEEN, r.OIL_PRESSURE),
        (s.SUCTION_SEEN, r.SUCTION_PRESSURE),
        (s.CRANKCASE_SEEN, r.CRANKCASE_PRESSURE),
    ):
        still = at(step.before[channel], inputs[place]) & at(step.before[channel + 1], values[r.STUCK_AFTER])
        unseen = unseen | (still & at(inputs[r.RUN_FEEDBACK], 1))
    prove(implies(unseen, at(step.results[o.SEEN], 0)), "such readings give no seen time")
    prove(implies(unseen & (elapsed > 0), at(step.results[o.CREDIBLE], 0)), "and are not credible")


def less_oil_pressure_never_gives_a_smaller_integral(logic: Logic) -> None:
    """Theorem: with lower net oil pressure and a larger integral before, the integral after a step is not smaller.

    By induction, a machine with less net oil pressure at every step never has the smaller integral.
    Assumes: all else equal, the start grace and what the sensor checks made of the step (ms seen and doubted) included.
    """
    s, o = logic.state, logic.outputs
    values = logic.bounded_settings()
    inputs, less = logic.any_inputs("input"), None
    words = logic.any_state(values)
    with parts(logic):
        results = logic.no_results()
        logic.signals.observe(words, values, inputs, results)
        less = list(results)
        less[o.NET_OIL_PRESSURE] = Integer.named("less net")
        assume(less[o.NET_OIL_PRESSURE] <= results[o.NET_OIL_PRESSURE])
        other = list(words)
        other[s.INTEGRAL], other[s.INTEGRAL_FRACTION] = Integer.named("more integral"), Integer.named("more fraction")
        assume(lemmas.an_integral(logic, other, values), logic.total(other) >= logic.total(words))
        logic.integral.update(words, values, inputs, results)
        logic.integral.update(other, values, inputs, less)
        prove(logic.total(other) >= logic.total(words), "less net oil pressure, no smaller integral")


TIME_WORDS = (3, 4, 7, 11, 13, 15)  # grace left, restart left, fault time, and how long each channel is unmoved


def measure(logic: Logic, words: Words, values: Words, inputs: Words) -> tuple[Words, Integer]:
    """Take the parts of a step before its table, and return the state after them and net oil pressure."""
    after, results = list(words), logic.no_results()
    logic.protection.measure(after, values, inputs, results)
    return after, results[logic.outputs.NET_OIL_PRESSURE]


def one_step_equals_two_halves(logic: Logic) -> None:
    """Theorem: all time is counted alike in one step over 2 t and in two over t with the same readings.

    The integral to the last 1/2048 ms, start grace, restart delay, doubt and
    whether a fault is declared, and for how long each channel has not moved.
    Of the integral it is shown here that the same ms go into it at the weight of
    the same readings, then the same ms of doubt at weight 1;
    `lemmas.accumulate_is_exact` has the rest.
    Assumes: not the first step; both kinds of step in time (2 t <= max_gap) or
    both late (t > max_gap); 2 t at most 1800 s; no press of the reset that begins in it,
    as the restart delay begins anew at the end of such a step.
    """
    s, r, values = logic.state, logic.ranges, logic.bounded_settings()
    words, inputs, half = logic.any_state(values), logic.any_inputs(), Integer.named("half")
    words[s.FLAGS] = words[s.FLAGS] & ~s.FRESH
    words[s.INTEGRAL] = words[s.INTEGRAL_FRACTION] = 0
    assume(at(inputs[r.RESET], 0) | (words[s.FLAGS] & s.RESET_HELD != 0))
    whole, late = half * 2, half > values[r.MAX_GAP]
    assume(half >= 0, whole <= r.ELAPSED_MOST, (whole <= values[r.MAX_GAP]) | late)
    with logic.with_merged_parts(weight=lemmas.weight_of_a_sign(logic), accumulate=lemmas.count_ms(logic)):
        one, net = measure(logic, words, values, [whole, *inputs[1:]])
        first, net_1 = measure(logic, words, values, [half, *inputs[1:]])
        two, net_2 = measure(logic, first, values, [half, *inputs[1:]])
    for place in (*TIME_WORDS, s.INTEGRAL, s.INTEGRAL_FRACTION):
        prove(at(one[place], two[place]), f"word {place} of the state is the same")
    for flag in (s.RESET_HELD, s.FAULT_DECLARED):
        prove((one[s.FLAGS] & flag) == (two[s.FLAGS] & flag), f"flag {flag} is the same")
    prove(at(net, net_1) & at(net, net_2), "the readings are the same")
    doubted = ~at(first[s.INTEGRAL_FRACTION], 0)
    prove(implies(doubted, at(two[s.INTEGRAL], first[s.INTEGRAL])), "no seen time after doubt")


def the_same_decisions_in_one_step_and_in_two(logic: Logic) -> None:
    """Theorem: the whole state agrees after one step over 2 t and two over t, when at most one thing happens in it.

    A thing is a condition or a doubt that the time of the step changes, a press of the reset that begins or is taken, the
    end of the trip memory, of one begun anew too, or a change of state that the readings alone bring
    about, before any time has passed. A press that begins in a lockout is two: the time that it is held counts
    from the tick that saw it, so two steps may take what one has only seen begin. And the trip memory that a reset
    begins anew runs from the tick that took it: by half a step less is left of it where two steps took it in the first.
    A step decides once, at its end: of two things in one step it sees both, two steps may see one after the other.
    Rests on `one_step_equals_two_halves`, which has all amounts of time.
    Assumes: as there, steps in time; and no channel that becomes stuck in the
    step, as that decides upon pressures which two steps would still have seen.
    """
    s, r, o, values = logic.state, logic.ranges, logic.outputs, logic.bounded_settings()
    words, inputs, half = logic.any_state(values), logic.any_inputs(), Integer.named("half")
    words[s.FLAGS] = words[s.FLAGS] & ~s.FRESH
    whole = half * 2
    assume(half >= 0, whole <= values[r.MAX_GAP])
    stand_ins = {
        "weight": lemmas.weight_of_a_sign(logic),
        "accumulate": lemmas.which_way(logic),
        "percent": lemmas.percent_standin(),
    }
    with logic.with_merged_parts(**stand_ins):
        one, results = logic.step(words, values, [whole, *inputs[1:]])
        first, _ = logic.step(words, values, [half, *inputs[1:]])
        two, _ = logic.step(first, values, [half, *inputs[1:]])
        none, at_once = logic.step(words, values, [0, *inputs[1:]])
    assume(*(at(one[place], two[place]) for place in (*TIME_WORDS, s.INTEGRAL, s.INTEGRAL_FRACTION)))
    assume(*((one[s.FLAGS] & flag) == (two[s.FLAGS] & flag) for flag in (s.RESET_HELD, s.FAULT_DECLARED)))
    before, after = at_once[o.CONDITIONS], results[o.CONDITIONS]
    things = [(before & bit) != (after & bit) for bit in (1 << place for place in range(len(logic.conditions.NAMES)))]
    things.append(before & logic.conditions.RESET_PRESS != 0)
    begins = ~at(inputs[r.RESET], 0) & (words[s.FLAGS] & s.RESET_HELD == 0)
    things += [begins, begins & at(words[s.STATE], s.LOCKED_OUT)]
    things.append((before & logic.signals.DOUBTS) != (after & logic.signals.DOUBTS))
    things.append(every([words[s.MEMORY_LEFT] > 0, words[s.MEMORY_LEFT] <= whole]))
    things.append((after & logic.conditions.RESET_PRESS != 0) & (values[r.TRIP_MEMORY] <= half))
    things.append(~at(none[s.STATE], words[s.STATE]))
    assume((before & logic.conditions.SENSOR_OK) == (after & logic.conditions.SENSOR_OK))
    assume(Truth(z3.Sum([z3.If(thing.term, 1, 0) for thing in things]) <= 1))
    for place in (s.STATE, s.TRIPS):
        prove(at(one[place], two[place]), f"word {place} of the state is the same")
    memory, freed = values[r.TRIP_MEMORY], at(words[s.STATE], s.LOCKED_OUT) & ~at(one[s.STATE], s.LOCKED_OUT)
    anew = freed & at(one[s.MEMORY_LEFT], memory) & at(two[s.MEMORY_LEFT], memory - half)
    prove(at(one[s.MEMORY_LEFT], two[s.MEMORY_LEFT]) | anew, "the trip memory is the same, or begun anew by a reset")
    prove(one[s.CAUSE] == two[s.CAUSE], "the cause is the same")
    prove(one[s.FLAGS] == two[s.FLAGS], "the flags are the same")
