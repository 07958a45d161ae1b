"""Laws that might decide better than the one of `protect`, in its own language: integers, no division, no allocation.

Each takes the same ticks as the integral of `protect`, after the same checks of the sensors and the same start grace,
and says when the machine is to be stopped. What is drawn of its numbers stands in `law_draws`.

    integral   the law in use: `protect.integral`; without its weights, the unweighted one
    timer      time on end below the cut-out
    vacuum     the same, counted only in a vacuum
    pulse      the integral never drains; oil above the cut-in for a while on end (a credible pulse) empties it
    falling    the weight is another one while suction pressure is below a share of its own slow mean
    held       a full integral waits as long as pulses recur, until the debt is too old
    share      weighted time in a sliding window, in 32 parts
    levels     below the floor one weight, between floor and cut-out weight 1, no ramp
    mean       the slow mean of net oil pressure, cut off above, is below the cut-out
    pressure   the integral drains the faster the higher net oil pressure is

A law here is a list of integers: the settings of `protect`, then what else it takes.
"""

from protect.integral import accumulate, weight
from protect.ranges import (
    CUT_IN,
    CUT_OUT,
    FLOOR,
    FLOOR_WEIGHT,
    ONE,
    RECOVERY,
    SETTINGS_SIZE,
    STOPPED_RECOVERY,
    TRIP_DELAY,
    VACUUM,
    WEIGHT_BITS,
)
from protect.state import INTEGRAL, STATE_SIZE

KINDS = ("integral", "timer", "vacuum", "pulse", "falling", "held", "share", "levels", "mean", "pressure")
USED, TIMER, IN_VACUUM, PULSE, FALLING, HELD, SHARE, LEVELS, MEAN, BY_PRESSURE = range(10)

# Places of a law behind the settings.
KIND = SETTINGS_SIZE
SPAN = SETTINGS_SIZE + 1  # ms; of a mean the power of two of its ms
CAP = SETTINGS_SIZE + 2  # ms, or Pa
FACTOR = SETTINGS_SIZE + 3  # 1/2048
LAW_SIZE = SETTINGS_SIZE + 4

# Places of the memory behind the state of `protect`, of which the integral alone is used.
TIMED = STATE_SIZE
SINCE_PULSE = STATE_SIZE + 1
IN_DEBT = STATE_SIZE + 2
PULSING = STATE_SIZE + 3
SLOW = STATE_SIZE + 4  # mean in 1/256 Pa; 0: none yet
PART = STATE_SIZE + 5
PART_TIME = STATE_SIZE + 6
PARTS = STATE_SIZE + 7
PART_COUNT = 32
MEMORY_SIZE = STATE_SIZE + 39  # PARTS + PART_COUNT
MEAN_BITS = 8
# Words of 32 bits that each remembers beside the integral (two), in the order of KINDS; a timer has no integral.
WORDS = (2, 1, 1, 3, 3, 4, 34, 2, 1, 2)

# Rows of the ticks.
RUNNING, NET, SUCTION, SEEN, COUNTED, DOUBTED, ELAPSED = range(7)
TICK_ROWS = 7

NO_STOP = -1
SLOPE_BITS = 8
MOST_DRAIN = 131072  # 64 in 1/2048
MOST_RISE_PA = 200000


def first_stops(ticks: list[list[int]], laws: list[list[int]], memory: list[int], stops: list[int]) -> None:
    """Put down the tick at which each law stops the machine, NO_STOP where it lets it run."""
    for number in range(len(laws)):
        stops[number] = first_stop(ticks, laws[number], memory)


def first_stop(ticks: list[list[int]], law: list[int], memory: list[int]) -> int:
    """Return the tick at which a law stops the machine, NO_STOP where it lets it run."""
    for word in range(MEMORY_SIZE):
        memory[word] = 0
    for tick in range(len(ticks[0])):
        if ticks[RUNNING][tick] != 0:
            net, suction, seen = ticks[NET][tick], ticks[SUCTION][tick], ticks[SEEN][tick]
            counted, doubted, elapsed = ticks[COUNTED][tick], ticks[DOUBTED][tick], ticks[ELAPSED][tick]
            if runs_dry(law, memory, net, suction, seen, counted, doubted, elapsed):
                return tick
        else:
            stands(law, memory, ticks[SEEN][tick], ticks[ELAPSED][tick])
    return NO_STOP


def stands(law: list[int], memory: list[int], seen: int, elapsed: int) -> None:
    """Take a tick of a standing machine."""
    memory[TIMED] = 0
    memory[PULSING] = 0
    memory[SINCE_PULSE] = 0
    accumulate(memory, law, -law[STOPPED_RECOVERY], seen)
    follow_debt(memory, elapsed)
    if law[KIND] == SHARE:
        in_window(law, memory, 0, elapsed)


def runs_dry(
    law: list[int], memory: list[int], net: int, suction: int, seen: int, counted: int, doubted: int, elapsed: int
) -> bool:
    """Take a tick of a running machine; say whether it is to be stopped.

    Of the elapsed ms `seen` are those that the readings apply to; counted and doubted lie behind the start grace.
    """
    kind = law[KIND]
    if kind == TIMER or kind == IN_VACUUM:  # noqa: SIM109, PLR1714 - as the language of `protect` has it
        return timed(law, memory, net, suction, counted, doubted)
    if kind == MEAN:
        return in_the_mean(law, memory, net, counted, doubted)
    gain = weight(law, net, suction)
    if kind == LEVELS and net < law[CUT_OUT]:
        gain = law[FLOOR_WEIGHT] if net < law[FLOOR] else ONE
    if kind == SHARE:
        low = (max(gain, 0) * counted >> WEIGHT_BITS) + doubted
        return in_window(law, memory, low, elapsed)
    if kind == FALLING and falls(law, memory, suction, elapsed) and gain > 0:
        gain = gain * law[FACTOR] >> WEIGHT_BITS
    if kind == BY_PRESSURE and gain < 0:
        rise = min(net - law[CUT_IN], MOST_RISE_PA)
        gain = -min(law[RECOVERY] + (rise * law[FACTOR] >> SLOPE_BITS), MOST_DRAIN)
    if kind == PULSE:
        memory[PULSING] = memory[PULSING] + seen if net >= law[CUT_IN] else 0
        if memory[PULSING] > law[SPAN]:
            memory[INTEGRAL] = 0
        gain = max(gain, 0)
    drained = seen if gain < 0 else counted
    accumulate(memory, law, gain, drained)
    accumulate(memory, law, ONE, doubted)
    full = memory[INTEGRAL] >= law[TRIP_DELAY]
    if kind == HELD:
        memory[SINCE_PULSE] = 0 if seen > 0 and net >= law[CUT_OUT] else memory[SINCE_PULSE] + elapsed
        follow_debt(memory, elapsed)
        return full and (memory[SINCE_PULSE] >= law[SPAN] or memory[IN_DEBT] >= law[CAP])
    return full


def follow_debt(memory: list[int], elapsed: int) -> None:
    """Count for how long the integral has not been empty."""
    memory[IN_DEBT] = 0 if memory[INTEGRAL] == 0 else memory[IN_DEBT] + elapsed


def timed(law: list[int], memory: list[int], net: int, suction: int, counted: int, doubted: int) -> bool:
    """Say whether it has been low on end, or low and in a vacuum, for the trip delay."""
    short = net < law[CUT_OUT] and (law[KIND] == TIMER or suction < law[VACUUM])
    if counted > 0:
        memory[TIMED] = memory[TIMED] + counted if short else 0
    memory[TIMED] += doubted
    return memory[TIMED] >= law[TRIP_DELAY]


def slow_mean(law: list[int], memory: list[int], reading: int, elapsed: int) -> None:
    """Let the slow mean follow a reading (Pa)."""
    away = (reading << MEAN_BITS) - memory[SLOW]
    memory[SLOW] += away * min(elapsed, 1 << law[SPAN]) >> law[SPAN]


def falls(law: list[int], memory: list[int], suction: int, elapsed: int) -> bool:
    """Say whether suction pressure is below a share (CAP, 1/2048) of its slow mean."""
    if memory[SLOW] == 0:
        memory[SLOW] = suction << MEAN_BITS
    slow_mean(law, memory, suction, elapsed)
    return suction < (memory[SLOW] >> MEAN_BITS) * law[CAP] >> WEIGHT_BITS


def in_the_mean(law: list[int], memory: list[int], net: int, counted: int, doubted: int) -> bool:
    """Say whether the slow mean of net oil pressure, at most CAP, is below the cut-out; the grace begins at CAP."""
    if memory[SLOW] == 0:
        memory[SLOW] = law[CAP] << MEAN_BITS
    slow_mean(law, memory, min(max(net, 0), law[CAP]), counted)
    slow_mean(law, memory, 0, doubted)
    return memory[SLOW] >> MEAN_BITS < law[CUT_OUT]


def in_window(law: list[int], memory: list[int], low: int, elapsed: int) -> bool:
    """Say whether the weighted ms short of oil within the last SPAN ms, in parts, reach the trip delay."""
    memory[PARTS + memory[PART]] += low
    memory[INTEGRAL] += low
    full = memory[INTEGRAL] >= law[TRIP_DELAY]
    memory[PART_TIME] += elapsed << 5
    while memory[PART_TIME] >= law[SPAN]:
        memory[PART_TIME] -= law[SPAN]
        memory[PART] = (memory[PART] + 1) & (PART_COUNT - 1)
        memory[INTEGRAL] -= memory[PARTS + memory[PART]]
        memory[PARTS + memory[PART]] = 0
    return full
