"""Settings and inputs that make trouble: near every threshold, at every limit, at every end of a timer.

Vector sets and campaigns draw from here. All functions take and fill integer
arrays and use plain integer arithmetic, so the compiled engine can compile
them; the generator of random numbers is a word in an array of the caller.
"""

from protect import ranges, settings, state

Array = list[int]  # or int64[n] under the compiled engine

# Places of the mood, which holds for a whole walk: chances in 1/64 a tick.
FLIP_RUN = 0
FLIP_RESET = 1
BAD_READING = 2
HOLD_READINGS = 3
LATE_TICK = 4
EXACT_TIME = 5
LOW_OIL = 6
OWN_CRANKCASE = 7  # 0: crankcase pressure is the suction pressure
STORIES = 8  # time and readings that belong together, to the edge of what they lead to
MOOD_SIZE = 9
CHANCE = 64

# Chances that the mood of a walk is drawn from.
MOODS = (
    (1, 4, 24),
    (0, 6, 24),
    (0, 2, 12),
    (4, 24, 56),
    (0, 1, 8),
    (16, 40, 60),
    (20, 40, 60),
    (0, 0, 32),
    (0, 24, 56),
)

# Thresholds that readings are drawn at, by the shares of their drawing in 16.
NET_THRESHOLDS = (ranges.CUT_IN,) * 4 + (ranges.CUT_OUT,) * 4 + (ranges.FLOOR,) * 3
SUCTION_THRESHOLDS = (ranges.VACUUM,) * 5 + (ranges.RELOAD,) * 5 + (ranges.SUCTION_LEAST,) * 2 + (ranges.SUCTION_MOST,)
LONGEST = ranges.INPUTS[ranges.ELAPSED][3]


def draw(rng: Array, below: int) -> int:
    """Return a number 0 .. below - 1 from a 32-bit xorshift generator; rng[0] is never 0."""
    word = rng[0]
    word ^= (word << 13) & 0xFFFFFFFF
    word ^= word >> 17
    word ^= (word << 5) & 0xFFFFFFFF
    rng[0] = word
    return (word >> 2) % below


def chance(rng: Array, of_64: int) -> bool:
    """Return True with a probability of of_64 / 64."""
    return draw(rng, CHANCE) < of_64


def near(rng: Array, middle: int) -> int:
    """Return the middle or a neighbour of it."""
    return middle + draw(rng, 3) - 1


def draw_mood(rng: Array, mood: Array) -> None:
    """Fill the mood of a walk."""
    for place in range(MOOD_SIZE):
        mood[place] = MOODS[place][draw(rng, 3)]


def draw_settings(rng: Array, values: Array) -> None:
    """Fill the settings array with admitted values, derived places included.

    Each value is the least, the most, or anything between with small ones
    preferred; relations are mended to their very limit where they are broken.
    Half of the settings are brisk: their timers end within some ticks.
    """
    while True:
        for place in range(ranges.SETTING_COUNT):
            _, _, least, most = ranges.SETTINGS[place]
            kind = draw(rng, 16)
            if kind == 0:
                values[place] = least
            elif kind == 1:
                values[place] = most
            else:
                # A span halved a random number of times: all orders of magnitude come up.
                span = (most - least) >> draw(rng, (most - least).bit_length())
                values[place] = least + draw(rng, span + 1)
        if draw(rng, 2) == 0:
            _make_brisk(rng, values)
        _mend(rng, values)
        if settings.first_fault(values) == settings.ALL_RIGHT:
            settings.derive(values)
            return


def _make_brisk(rng: Array, values: Array) -> None:
    """Cut the durations to some twenty times max_gap, where their range allows it."""
    values[ranges.MAX_GAP] = 500 + draw(rng, 3000)
    for place in range(ranges.SETTING_COUNT):
        _, unit, least, _ = ranges.SETTINGS[place]
        if unit == "ms" and place != ranges.MAX_GAP:
            values[place] = min(values[place], least + draw(rng, 1 + draw(rng, 20) * values[ranges.MAX_GAP]))
    # Plain numbers now and then, with which the integral meets its limits to the millisecond.
    if draw(rng, 3) == 0:
        for place in (ranges.FLOOR_WEIGHT, ranges.VACUUM_WEIGHT, ranges.RECOVERY, ranges.STOPPED_RECOVERY):
            values[place] = ranges.ONE
    if draw(rng, 3) == 0:
        values[ranges.TRIPS_TO_LOCKOUT] = 1 + draw(rng, 2)
    if draw(rng, 3) == 0:
        values[ranges.RELOAD_FRACTION] = draw(rng, 256)
    if draw(rng, 2) == 0:
        values[ranges.RESETS_MOST] = 1 + draw(rng, 2)
    if draw(rng, 2) == 0:
        values[ranges.REST_MOST] = 1000 + draw(rng, 50000)


def _mend(rng: Array, values: Array) -> None:
    """Move the higher value of a broken relation to where the relation just holds, or a bit beyond."""
    for _ in range(2):
        for lower, higher, gap in settings.RELATIONS:
            if values[lower] + gap > values[higher]:
                values[higher] = values[lower] + gap + draw(rng, 3) * draw(rng, 40000)


def draw_elapsed(rng: Array, memory: Array, values: Array, mood: Array) -> int:
    """Return an elapsed time (ms): often the very time to the next event of some timer."""
    gap = values[ranges.MAX_GAP]
    if chance(rng, mood[LATE_TICK]):
        return draw_late(rng, gap)
    if chance(rng, mood[EXACT_TIME]):
        wanted = near(rng, time_to_event(rng, memory, values))
        # Mostly on time: an event beyond max_gap is approached in several ticks.
        if wanted > gap and draw(rng, 8) != 0:
            wanted = gap - draw(rng, 2) * draw(rng, gap)
        if wanted >= 0:
            return wanted
    kind = draw(rng, 8)
    if kind == 0:
        return draw(rng, 2)
    if kind == 1:
        return near(rng, gap)
    return draw(rng, gap + 1)


def draw_late(rng: Array, gap: int) -> int:
    """Return an elapsed time (ms) that is late, longer than counts, the largest there is, or negative."""
    times = (
        -1 - draw(rng, 2) * LONGEST,
        LONGEST - draw(rng, 2),
        near(rng, ranges.ELAPSED_MOST),
        gap + 1,
        gap + 1 + draw(rng, ranges.ELAPSED_MOST),
    )
    return times[draw(rng, len(times))]


def time_to_event(rng: Array, memory: Array, values: Array) -> int:
    """Return ms until one of the timers, drawn at random, gets where it is going."""
    integral, floor_weight = memory[state.INTEGRAL], values[ranges.FLOOR_WEIGHT]
    left = values[ranges.TRIP_DELAY] - integral
    to_reload = values[ranges.RELOAD_LEVEL] - integral
    times = (
        left,
        left * ranges.ONE // floor_weight,
        left * ranges.ONE * ranges.ONE // (floor_weight * values[ranges.VACUUM_WEIGHT]),
        to_reload,
        to_reload * ranges.ONE // floor_weight,
        integral * ranges.ONE // max(values[ranges.RECOVERY], 1),
        integral * ranges.ONE // max(values[ranges.STOPPED_RECOVERY], 1),
        memory[state.RESTART_LEFT],
        memory[state.MEMORY_LEFT],
        memory[state.FAULT_TIME],
        values[ranges.FAULT_DELAY] - memory[state.FAULT_TIME],
        values[ranges.STUCK_AFTER] - memory[state.OIL_SEEN + 2 * draw(rng, 3) + 1],
        memory[state.GRACE_LEFT],
        memory[state.RESTART_LEFT] - (values[ranges.RESTART_DELAY] - values[ranges.REST_SETTLE]),
        memory[state.RESTART_LEFT] - (values[ranges.RESTART_DELAY] - values[ranges.RESET_HOLD]),
    )
    return times[draw(rng, len(times))]


def draw_rest(rng: Array, values: Array) -> int:
    """Return a net oil pressure (Pa) of a machine at rest: nothing, or at one end of what passes for it."""
    most = values[ranges.REST_MOST]
    kind = draw(rng, 8)
    if kind == 0:
        return near(rng, most)
    if kind == 1:
        return near(rng, -most)
    return draw(rng, 1 + min(most, 1000))


def draw_net(rng: Array, values: Array, mood: Array) -> int:
    """Return a net oil pressure (Pa): mostly at a threshold, low where the mood is."""
    floor, cut_out = values[ranges.FLOOR], values[ranges.CUT_OUT]
    kind = draw(rng, 16)
    if kind < len(NET_THRESHOLDS):
        return near(rng, values[NET_THRESHOLDS[kind]])
    if not chance(rng, mood[LOW_OIL]):
        return cut_out + draw(rng, 2 * (values[ranges.CUT_IN] - cut_out))
    if draw(rng, 2) == 0:
        return floor + draw(rng, cut_out - floor)
    return floor - draw(rng, floor + 1)


def draw_suction(rng: Array, values: Array) -> int:
    """Return a suction pressure (Pa): mostly at a threshold."""
    kind = draw(rng, 16)
    if kind < len(SUCTION_THRESHOLDS):
        return near(rng, values[SUCTION_THRESHOLDS[kind]])
    least = values[ranges.SUCTION_LEAST]
    return least + draw(rng, values[ranges.SUCTION_MOST] - least + 1)


def draw_story(rng: Array, memory: Array, values: Array, inputs: Array) -> None:
    """Fill time and pressures that lead to the edge of the reload guard, or of an empty integral.

    Into vacuum short of oil first, then loaded again below the floor when the
    integral is just at the reload level.
    """
    suction = values[ranges.RELOAD] + draw(rng, 5) - 1
    net = values[ranges.FLOOR] + 1 - draw(rng, 6)
    wanted = -1
    if draw(rng, 4) == 0:
        net = near(rng, values[ranges.CUT_IN] + 1)
        if values[ranges.RECOVERY] > 0:
            wanted = near(rng, memory[state.INTEGRAL] * ranges.ONE // values[ranges.RECOVERY])
    elif memory[state.FLAGS] & state.VACUUM_SEEN == 0:
        suction = values[ranges.VACUUM] - draw(rng, 3)
    else:
        short = values[ranges.RELOAD_LEVEL] - memory[state.INTEGRAL]
        wanted = near(rng, short * ranges.ONE // values[ranges.FLOOR_WEIGHT])
    inputs[ranges.SUCTION_PRESSURE] = suction
    inputs[ranges.CRANKCASE_PRESSURE] = suction
    inputs[ranges.OIL_PRESSURE] = suction + net
    if 0 <= wanted <= values[ranges.MAX_GAP]:
        inputs[ranges.ELAPSED] = wanted


def draw_bad(rng: Array, least: int, most: int) -> int:
    """Return a reading (Pa) at or outside a limit of its range, or none at all."""
    readings = (ranges.NO_READING, near(rng, least), near(rng, most), most + draw(rng, 1000000000))
    return readings[draw(rng, len(readings))]


def draw_any(rng: Array) -> int:
    """Return any signed 32-bit integer, the ends more often than others."""
    kind = draw(rng, 4)
    if kind == 0:
        return -2147483648
    if kind == 1:
        return 2147483647
    return draw(rng, 65536) * 65536 + draw(rng, 65536) - 2147483648


def draw_readings(rng: Array, memory: Array, values: Array, mood: Array, inputs: Array) -> None:
    """Fill the three pressures of the inputs, of which some stay as they were, or tell a story."""
    if chance(rng, mood[STORIES]):
        draw_story(rng, memory, values, inputs)
        return
    kept = ranges.OIL_PRESSURE + draw(rng, 8)  # one of the three, or none
    if kept != ranges.SUCTION_PRESSURE:
        inputs[ranges.SUCTION_PRESSURE] = draw_suction(rng, values)
    if kept != ranges.CRANKCASE_PRESSURE:
        crankcase = inputs[ranges.SUCTION_PRESSURE]
        if chance(rng, mood[OWN_CRANKCASE]):
            crankcase = draw_suction(rng, values)
        inputs[ranges.CRANKCASE_PRESSURE] = crankcase
    if kept != ranges.OIL_PRESSURE:
        net = draw_net(rng, values, mood)
        if not inputs[ranges.RUN_FEEDBACK] and draw(rng, 4) != 0:
            net = draw_rest(rng, values)
        inputs[ranges.OIL_PRESSURE] = inputs[ranges.CRANKCASE_PRESSURE] + net
    if chance(rng, mood[BAD_READING]):
        place = ranges.OIL_PRESSURE + draw(rng, 3)
        least = ranges.OIL_LEAST if place == ranges.OIL_PRESSURE else ranges.SUCTION_LEAST
        inputs[place] = draw_bad(rng, values[least], values[least + 1])


def draw_inputs(rng: Array, memory: Array, values: Array, mood: Array, inputs: Array) -> None:
    """Fill the inputs of the next step, which follows on the inputs and the state of the last one."""
    inputs[ranges.ELAPSED] = draw_elapsed(rng, memory, values, mood)
    if chance(rng, mood[FLIP_RUN]):
        inputs[ranges.RUN_FEEDBACK] = 1 - inputs[ranges.RUN_FEEDBACK]
    if chance(rng, mood[FLIP_RESET]):
        inputs[ranges.RESET] = 1 - inputs[ranges.RESET]
    if not chance(rng, mood[HOLD_READINGS]):
        draw_readings(rng, memory, values, mood, inputs)
    if memory[state.STATE] >= state.TRIPPED and chance(rng, mood[STORIES]):
        draw_way_back(rng, memory, values, inputs)


def draw_way_back(rng: Array, memory: Array, values: Array, inputs: Array) -> None:
    """Fill inputs that lead a stopped machine back: a press of the reset in a lockout, rest and zero after a trip."""
    left = memory[state.RESTART_LEFT]
    inputs[ranges.RUN_FEEDBACK] = 0
    inputs[ranges.OIL_PRESSURE] = inputs[ranges.CRANKCASE_PRESSURE] + draw(rng, 3) - 1
    if memory[state.STATE] == state.LOCKED_OUT:
        held = memory[state.FLAGS] & state.RESET_HELD
        inputs[ranges.RESET] = 1
        if held and not memory[state.FLAGS] & state.RESET_PRESSED:
            inputs[ranges.RESET] = 0
        left -= values[ranges.RESTART_DELAY] - values[ranges.RESET_HOLD]
    wanted = near(rng, max(left, 0))
    if 0 <= wanted <= values[ranges.MAX_GAP]:
        inputs[ranges.ELAPSED] = wanted
