"""What single parts of a step do, proved on their own, and the stand-ins that rest on it.

A stand-in takes the place of the part in the proofs of whole steps: it proves
that it is called within the assumptions of its lemma, and says of its result
what the lemma says. Only the parts that multiply have one.
"""

from collections.abc import Callable
from typing import Any

import z3

from tests.proof import symbolic, ways
from tests.proof.logic import Logic, Words, at, within
from tests.proof.merging import stand_in
from tests.proof.symbolic import Integer, Truth, assume, define, every, fresh, implies, prove
from tests.proof.ways import paths, watched

MOST_WEIGHT = 64 * 2048
MOST_RECOVERY = 8 * 2048
LONGEST_SEEN = 300_000
LONGEST = 1_800_000


def pressure(name: str) -> Integer:
    """Return any pressure of a sensor's declared range."""
    value = Integer.named(name)
    assume(within(value, -100_000, 20_000_000))
    return value


def net_oil_pressure(name: str) -> Integer:
    """Return any difference of two such pressures."""
    value = Integer.named(name)
    assume(within(value, -20_100_000, 20_100_000))
    return value


def derived_settings_are_bounded(logic: Logic) -> None:
    """Theorem: `derive` gives a slope, a percent scale and a reload level from 0 to below 2**30.

    And the reload level lies within the trip delay, the ramp never passes the
    floor weight, the percent scale is 100 * 2**23 over the trip delay, rounded down.
    No value on the way reaches 2**30. Assumes: settings that `first_fault` finds right.
    """
    values = logic.any_settings()

    def run() -> None:
        with watched():
            logic.settings.derive(values)

    paths(run, bounded="derive")
    for place in range(logic.ranges.SETTING_COUNT, logic.ranges.SETTINGS_SIZE):
        prove(within(values[place], 0, ways.LIMIT - 1), f"derived place {place} from 0 to below 2**30")
    prove(logic.derived_bounds(values), "the reload level lies within the trip delay")


def weight_bands(logic: Logic) -> None:
    """Theorem: out of vacuum weight() is -recovery, 0, or from 1 to the floor weight, by the band of net oil pressure.

    No value on the way reaches 2**30. Assumes: admitted settings as derived, any pressures.
    """
    r, values = logic.ranges, logic.derived_settings()
    net, suction = net_oil_pressure("net"), pressure("suction")
    assume(suction >= values[r.VACUUM])

    def run() -> None:
        with watched():
            got = logic.integral.weight(values, net, suction)
        prove(implies(net >= values[r.CUT_IN], at(got, -values[r.RECOVERY])), "healthy, -recovery")
        prove(implies(every([net >= values[r.CUT_OUT], net < values[r.CUT_IN]]), at(got, 0)), "held, 0")
        prove(implies(net < values[r.CUT_OUT], got >= r.ONE), "short of oil, at least 1")
        prove(implies(net < values[r.CUT_OUT], got <= values[r.FLOOR_WEIGHT]), "short of oil, at most the floor weight")

    paths(run, bounded="weight")


def weight_in_vacuum(logic: Logic) -> None:
    """Theorem: below cut-out, the weight in vacuum is the weight out of it times the vacuum weight, to the nearest 1/2048.

    Elsewhere it is the same. Such a product keeps the order, is not smaller than the vacuum weight
    and at most 64; a vacuum weight of 1 and more makes it no smaller than the weight. No value on
    the way reaches 2**30.
    Assumes: admitted settings as derived, any pressures; `weight_bands`.
    """
    r, values = logic.ranges, logic.derived_settings()
    net, vacuum, suction = net_oil_pressure("net"), pressure("vacuum suction"), pressure("suction")
    assume(suction >= values[r.VACUUM], vacuum < values[r.VACUUM])
    low = net < values[r.CUT_OUT]

    def run() -> None:
        dry = logic.integral.weight(values, net, suction)
        with watched():
            wet = logic.integral.weight(values, net, vacuum)
        prove(implies(low, at(wet, in_vacuum_weight(logic, values, dry))), "in vacuum, weight times vacuum weight")
        prove(implies(~low, at(wet, dry)), "vacuum weighs nothing where there is oil")

    paths(run, bounded="weight in vacuum")
    light, heavy = Integer.named("light"), Integer.named("heavy")
    assume(within(light, r.ONE, heavy), heavy <= MOST_RECOVERY)
    products = [in_vacuum_weight(logic, values, gain) for gain in (light, heavy)]
    prove(products[0] <= products[1], "a product with the vacuum weight keeps the order")
    heavier = values[r.VACUUM_WEIGHT] >= r.ONE
    prove(products[0] >= values[r.VACUUM_WEIGHT], "a product with the vacuum weight is not smaller than that")
    prove(implies(heavier, products[0] >= light), "a product with a vacuum weight of 1 and more is not smaller")
    prove(products[1] <= MOST_WEIGHT, "nor more than 64")


def weight_facts(logic: Logic, values: Words, net: Any, suction: Any, got: Any) -> list[Truth]:
    """Return what is known of one weight."""
    r = logic.ranges
    cut_in, cut_out = values[r.CUT_IN], values[r.CUT_OUT]
    low = net < cut_out
    vacuum = suction < values[r.VACUUM]
    return [
        implies(net >= cut_in, at(got, -values[r.RECOVERY])),
        implies(every([net >= cut_out, net < cut_in]), at(got, 0)),
        implies(every([low, ~vacuum | (values[r.VACUUM_WEIGHT] >= r.ONE)]), got >= r.ONE),
        implies(every([low, vacuum]), got >= values[r.VACUUM_WEIGHT]),
        implies(every([low, vacuum]), got <= weight_of_a_dry_vacuum(logic, values)),
        implies(every([low, ~vacuum]), got <= values[r.FLOOR_WEIGHT]),
        within(got, -MOST_RECOVERY, MOST_WEIGHT),
    ]


def weight_of_a_dry_vacuum(logic: Logic, values: Words) -> Integer:
    """Return the weight below the floor in vacuum."""
    r = logic.ranges
    return in_vacuum_weight(logic, values, values[r.FLOOR_WEIGHT])


def in_vacuum_weight(logic: Logic, values: Words, gain: Integer) -> Integer:
    """Return a weight times the vacuum weight, to the nearest 1/2048."""
    r = logic.ranges
    return (gain * values[r.VACUUM_WEIGHT] + r.ONE // 2) >> r.WEIGHT_BITS


def weight_falls_with_net_oil_pressure(logic: Logic) -> None:
    """Theorem: at the same suction pressure, lower net oil pressure never has a smaller weight.

    Shown out of vacuum; in it `weight_in_vacuum` has the rest.
    Assumes: admitted settings as derived, any pressures.
    """
    r, values = logic.ranges, logic.derived_settings()
    higher, lower, suction = net_oil_pressure("higher"), net_oil_pressure("lower"), pressure("suction")
    assume(lower <= higher, suction >= values[r.VACUUM])

    def run() -> None:
        low, high = (logic.integral.weight(values, net, suction) for net in (lower, higher))
        prove(low >= high, "lower net oil pressure never weighs less out of vacuum")

    paths(run)


def accumulate_is_exact(logic: Logic) -> None:
    """Theorem: accumulate() adds gain * elapsed to the integral, to the last 1/2048 ms, kept within 0 .. trip delay.

    So over a time in two parts it adds the same as over the whole. No value on the way reaches 2**30.
    Assumes: an integral within the invariant; a gain from -8 to 64 and at most
    300 s, or a gain of 1 and at most 1800 s.
    """
    s, values, words = logic.state, logic.any_settings(), [0] * logic.state.STATE_SIZE
    words[s.INTEGRAL], words[s.INTEGRAL_FRACTION] = Integer.named("integral"), Integer.named("fraction")
    assume(an_integral(logic, words, values))
    for sign in (1, -1):
        size, elapsed = Integer.named(f"size {sign}"), Integer.named(f"elapsed {sign}")
        gain = size * sign
        with ways.pushed(ways.WORLD.solver):
            assume(gain >= 0 if sign > 0 else gain < 0, accumulable(logic, gain, elapsed))

            def run(gain: Integer = gain, elapsed: Integer = elapsed) -> None:
                after = list(words)
                with watched():
                    logic.integral.accumulate(after, values, gain, elapsed)
                prove(an_integral(logic, after, values), "the integral stays within its bounds")
                for fact in added_facts(logic, words, after, values, gain * elapsed):
                    prove(fact, "exact within 0 .. trip delay")

            paths(run, bounded="accumulate")
    accumulate_splits(logic, words, values)


def accumulate_splits(logic: Logic, words: Words, values: Words) -> None:
    """Show what follows of an exact sum: over a and then b it is the sum over a + b, and over nothing nothing."""
    gain, first, second = Integer.named("gain"), Integer.named("first"), Integer.named("second")
    assume(first >= 0, second >= 0, accumulable(logic, gain, first + second))
    accumulate = accumulate_standin(logic)
    once, twice, never = list(words), list(words), list(words)
    accumulate(never, values, gain, 0)
    accumulate(once, values, gain, first + second)
    accumulate(twice, values, gain, first)
    accumulate(twice, values, gain, second)
    prove(at(logic.total(never), logic.total(words)), "nothing is added over no time")
    for sign in (gain >= 0, gain < 0):
        prove(implies(sign, logic.total(once) <= logic.total(twice)), "no less over both parts")
        prove(implies(sign, logic.total(once) >= logic.total(twice)), "no more over both parts")


def an_integral(logic: Logic, words: Words, values: Words) -> Truth:
    """Say whether the integral is one: within its bounds, and full without a fraction."""
    s = logic.state
    whole, fraction, full = words[s.INTEGRAL], words[s.INTEGRAL_FRACTION], values[logic.ranges.TRIP_DELAY]
    return every(
        [
            within(whole, 0, full),
            within(fraction, 0, logic.ranges.ONE - 1),
            implies(at(whole, full), at(fraction, 0)),
        ]
    )


def accumulable(logic: Logic, gain: Any, elapsed: Any) -> Truth:
    """Say for which gains and times the lemma holds."""
    return every(
        [
            within(gain, -MOST_RECOVERY, MOST_WEIGHT),
            within(elapsed, 0, LONGEST),
            within(elapsed, 0, LONGEST_SEEN) | at(gain, logic.ranges.ONE),
        ]
    )


def added_facts(logic: Logic, before: Words, after: Words, values: Words, added: Integer) -> list[Truth]:
    """Say that so much (1/2048 ms) was added to the integral, within 0 .. trip delay."""
    total, got = logic.total(before) + added, logic.total(after)
    full = values[logic.ranges.TRIP_DELAY] * logic.ranges.ONE
    return [
        implies(total < 0, at(got, 0)),
        implies(total > full, at(got, full)),
        implies(within(total, 0, full), got >= total),
        implies(within(total, 0, full), got <= total),
    ]


def percent_is_exact(logic: Logic) -> None:
    """Theorem: percent() is 100 * integral / trip delay rounded down: 0 .. 100, and 100 only when full.

    No value on the way reaches 2**30.
    Assumes: admitted settings as derived, an integral within the invariant.
    """
    s, r, values = logic.state, logic.ranges, logic.derived_settings()
    words: Words = [0] * s.STATE_SIZE
    words[s.INTEGRAL] = Integer.named("integral")
    assume(within(words[s.INTEGRAL], 0, values[r.TRIP_DELAY]))

    def run() -> None:
        with watched():
            got = logic.outputs.percent(words, values)
        product = got * values[r.TRIP_DELAY]
        hundredfold = words[s.INTEGRAL] * 100
        prove(within(got, 0, 100), "percent from 0 to 100")
        prove(implies(at(got, 100), at(words[s.INTEGRAL], values[r.TRIP_DELAY])), "100 % only when full")
        prove(within(hundredfold, product, product + values[r.TRIP_DELAY] - 1), "rounded down")

    paths(run, bounded="percent")


Standin = Callable[..., Any]
WEIGHT = z3.Function("weight", z3.IntSort(), z3.IntSort(), z3.IntSort())


def weight_standin(logic: Logic) -> Standin:
    """Return a function that has of weight() what `weight_bands` and `weight_falls_with_net_oil_pressure` say."""
    met: list[tuple[Any, Any]] = []

    def weight(values: Words, net: Any, suction: Any) -> Integer:
        net, suction = Integer(symbolic.term_of(net)), Integer(symbolic.term_of(suction))
        got = Integer(WEIGHT(net.term, suction.term))
        define(*weight_facts(logic, values, net, suction, got))
        for other_net, other_suction in met:
            other = Integer(WEIGHT(other_net.term, other_suction.term))
            same = at(suction, other_suction)
            define(implies(same & (net <= other_net), got >= other), implies(same & (other_net <= net), other >= got))
        met.append((net, suction))
        return got

    return stand_in(weight)


def weight_of_a_sign(logic: Logic) -> Standin:
    """Return a function of which is known what sign weight() has, and that the same pressures have the same weight.

    As `weight_bands` and `weight_in_vacuum` say: at cut-in and above nothing is added, below it nothing taken.
    """

    def weight(values: Words, net: Any, suction: Any) -> Integer:
        got = Integer(WEIGHT(symbolic.term_of(net), symbolic.term_of(suction)))
        healthy = net >= values[logic.ranges.CUT_IN]
        define(within(got, -MOST_RECOVERY, MOST_WEIGHT), implies(healthy, got <= 0), implies(~healthy, got >= 0))
        return got

    return stand_in(weight)


def accumulate_standin(logic: Logic) -> Standin:
    """Return a function that does what `accumulate_is_exact` says."""
    s = logic.state

    def accumulate(words: Words, values: Words, gain: Any, elapsed: Any) -> None:
        prove(accumulable(logic, gain, elapsed), "accumulate is called within its lemma")
        prove(an_integral(logic, words, values), "accumulate is given an integral")
        before = list(words)
        words[s.INTEGRAL], words[s.INTEGRAL_FRACTION] = fresh("integral"), fresh("fraction")
        added = Integer(symbolic.term_of(gain)) * elapsed
        define(an_integral(logic, words, values), *added_facts(logic, before, words, values, added))

    return stand_in(accumulate)


def percent_standin() -> Standin:
    """Return a function that has of percent() what `percent_is_exact` says, as far as whole steps need it."""

    def percent(words: Words, values: Words) -> Integer:  # noqa: ARG001 - the arguments of percent()
        got = fresh("percent")
        define(within(got, 0, 100))
        return got

    return stand_in(percent)


def count_ms(logic: Logic) -> Standin:
    """Return a function that counts, in place of the integral, the ms given to accumulate().

    Those at the weight of readings stand in the place of the whole integral,
    those of doubt, at weight 1, in the place of its fraction.
    """
    s = logic.state

    def accumulate(words: Words, values: Words, gain: Any, elapsed: Any) -> None:  # noqa: ARG001 - of accumulate()
        place = s.INTEGRAL_FRACTION if isinstance(gain, int) else s.INTEGRAL
        words[place] = words[place] + elapsed

    return stand_in(accumulate)


def which_way(logic: Logic) -> Standin:
    """Return a function of which is only known which way accumulate() moves the integral, as its lemma says."""
    s = logic.state

    def accumulate(words: Words, values: Words, gain: Any, elapsed: Any) -> None:
        before = logic.total(words)
        words[s.INTEGRAL], words[s.INTEGRAL_FRACTION] = fresh("integral"), fresh("fraction")
        after, rate = logic.total(words), Integer(symbolic.term_of(gain))
        define(an_integral(logic, words, values), implies(at(elapsed, 0), at(after, before)))
        define(implies(rate >= 0, after >= before), implies(rate <= 0, after <= before))

    return stand_in(accumulate)
