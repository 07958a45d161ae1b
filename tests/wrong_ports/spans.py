"""What each place of the reference can hold: the least and the most value, over all admitted settings and any inputs.

A word of an array has the span of its row in `ranges`, of its setting, or of what the state may be; that of an expression follows
from the spans of its parts, or is stated here where it is narrower. A mistake that leaves every value of its
place as it is, such as a word of 31 bits where 21 are enough, is no mistake: `wrong` takes that from here. A test proves
each span (z3, any step from any state), and the walks keep within them.
"""

import ast

from protect import conditions, outputs, ranges, settings, signals, state, table
from replay.port.coverage import reachable_ends
from tests.wrong_ports import hooked

Span = tuple[int, int]
WORD: Span = (1 - (1 << 30), (1 << 30) - 1)
READING: Span = (-(1 << 31), (1 << 31) - 1)  # before it is checked: whatever a driver gives
LONGEST = ranges.ELAPSED_MOST
ENDS = dict(enumerate(reachable_ends()))
READINGS = ranges.INPUTS[ranges.OIL_PRESSURE][2:]
NET = READINGS[1] - READINGS[0]
HEAVIEST = (ENDS[ranges.FLOOR_WEIGHT][1] * ENDS[ranges.VACUUM_WEIGHT][1] + ranges.ONE // 2) >> ranges.WEIGHT_BITS
RECOVERY = max(ENDS[ranges.RECOVERY][1], ENDS[ranges.STOPPED_RECOVERY][1])
SEEN = ENDS[ranges.MAX_GAP][1]
STEEPEST = (ENDS[ranges.FLOOR_WEIGHT][1] - ranges.ONE) << settings.SLOPE_BITS
CONDITIONS = signals.DOUBTS | (signals.OIL_MISSING - 1)
SETTING_SPANS = {
    **ENDS,
    ranges.SLOPE: (0, STEEPEST),
    ranges.PERCENT_SCALE: (
        (100 << settings.PERCENT_BITS) // ENDS[ranges.TRIP_DELAY][1],
        (100 << settings.PERCENT_BITS) // ENDS[ranges.TRIP_DELAY][0],
    ),
    ranges.RELOAD_LEVEL: (0, ENDS[ranges.TRIP_DELAY][1]),
}


def _most(place: int) -> Span:
    """Return the span of what runs down from a setting, or up to it."""
    return 0, ENDS[place][1]


WORDS: dict[str, dict[int, Span]] = {
    "settings": SETTING_SPANS,
    "inputs": dict.fromkeys(range(ranges.INPUTS_SIZE), WORD)
    | {ranges.RUN_FEEDBACK: (0, 1), ranges.RESET: (0, 1)}
    | dict.fromkeys((ranges.OIL_PRESSURE, ranges.SUCTION_PRESSURE, ranges.CRANKCASE_PRESSURE), READING),
    "state": {
        state.STATE: (0, state.LOCKED_OUT),
        state.INTEGRAL: _most(ranges.TRIP_DELAY),
        state.INTEGRAL_FRACTION: (0, ranges.ONE - 1),
        state.GRACE_LEFT: _most(ranges.START_GRACE),
        state.RESTART_LEFT: _most(ranges.RESTART_DELAY),
        state.MEMORY_LEFT: _most(ranges.TRIP_MEMORY),
        state.TRIPS: _most(ranges.TRIPS_TO_LOCKOUT),
        state.FAULT_TIME: _most(ranges.FAULT_DELAY),
        state.FLAGS: (0, 2 * state.RESET_PRESSED - 1),
        state.CAUSE: (0, signals.DOUBTS | state.CAUSE_CODE),
        **dict.fromkeys((state.OIL_SEEN, state.SUCTION_SEEN, state.CRANKCASE_SEEN), READING),
        **{
            place + 1: _most(ranges.STUCK_AFTER) for place in (state.OIL_SEEN, state.SUCTION_SEEN, state.CRANKCASE_SEEN)
        },
    },
    "outputs": {
        outputs.RUN_PERMISSION: (0, 1),
        outputs.ALARM: (0, 1),
        outputs.STOP_CAUSE: (0, signals.DOUBTS | state.CAUSE_CODE),
        outputs.INTEGRAL_PERCENT: (0, 100),
        outputs.CONDITIONS: (0, CONDITIONS),
        outputs.NET_OIL_PRESSURE: (-NET, NET),
        outputs.CREDIBLE: (0, 1),
        outputs.SEEN: (0, SEEN),
        outputs.DOUBTED: (0, LONGEST),
    },
}

# What a step leaves in an array, where that is narrower than what its places hold on the way.
LEFT: dict[tuple[str, int], Span] = {("outputs", outputs.CONDITIONS): (conditions.LOW, CONDITIONS)}

# Of names that are local to a function, or its parameters.
NAMES: dict[str, Span] = {
    "integral.weight.net": (-NET, NET),
    "integral.weight.depth": (1, ENDS[ranges.CUT_OUT][1]),
    "integral.weight.gain": (0, HEAVIEST),
    "integral.accumulate.gain": (-RECOVERY, HEAVIEST),
    "table.apply_effect.effect": (0, table.REFUSE_RESET),
    "integral.accumulate.elapsed": (0, LONGEST),
    "integral.accumulate.fraction": (1 - ranges.ONE, ranges.ONE * SEEN),
    "integral.accumulate.drained": (0, (ranges.ONE - 1) * SEEN),
    "integral.accumulate.whole": (-ENDS[ranges.TRIP_DELAY][1], ENDS[ranges.TRIP_DELAY][1]),
    "integral.past_grace.elapsed": (0, LONGEST),
    "integral.past_grace.left": (-LONGEST, ENDS[ranges.START_GRACE][1]),
    "integral.regain_grace.elapsed": (0, SEEN),
    "integral.regain_grace.left": (0, ENDS[ranges.START_GRACE][1]),
    "integral.update.seen": (0, SEEN),
    "integral.update.counted": (0, LONGEST),
    "signals.stuck_part.unmoved": (0, ENDS[ranges.STUCK_AFTER][1] + LONGEST),
    "signals.stuck_part.elapsed": (0, LONGEST),
    "signals.stuck_part.stuck_after": ENDS[ranges.STUCK_AFTER],
    "signals.stuck_part.reading": READING,
    "signals.channel_doubt.reading": READING,
    "signals.within.reading": READING,
    "signals.settled_part.left": (0, ENDS[ranges.REST_SETTLE][1]),
    "signals.settled_part.elapsed": (0, LONGEST),
    "signals.counted_elapsed.elapsed": (0, LONGEST),
    "signals.observe.elapsed": (0, LONGEST),
    "signals.observe.doubted": (0, LONGEST),
    "signals.observe.part": (-ENDS[ranges.REST_SETTLE][1], LONGEST),
    "signals.observe.net": (-NET, NET),
    "signals.observe.credible": (0, 1),
    "signals.observe.doubts": (0, signals.DOUBTS),
    "outputs.percent.whole": (0, 100),
    "timers.run_down.elapsed": (0, LONGEST),
    "timers.run_down.left": _most(ranges.TRIP_MEMORY),
    "timers.update.seen": (0, SEEN),
    "timers.update.doubted": (0, LONGEST),
    "timers.update.doubt": _most(ranges.FAULT_DELAY),
    "conditions.evaluate.bits": (0, CONDITIONS),
    "conditions.memory_bits.bits": (0, 4095),
    "protection.measure.bits": (conditions.LOW, CONDITIONS),
    "signals.channel_doubt.missing": (signals.OIL_MISSING, signals.CRANKCASE_MISSING),
}

# Of whole expressions, where the spans of their parts say less.
STATED: dict[str, Span] = {
    "integral.weight: settings[CUT_OUT] - net": (1, ENDS[ranges.CUT_OUT][1]),
    "integral.weight: depth * settings[SLOPE]": (0, STEEPEST),
    "integral.weight: gain * settings[VACUUM_WEIGHT]": (
        0,
        ENDS[ranges.FLOOR_WEIGHT][1] * ENDS[ranges.VACUUM_WEIGHT][1],
    ),
    "integral.accumulate: gain & ONE - 1": (0, ranges.ONE - 1),
    "integral.accumulate: -gain & ONE - 1": (0, ranges.ONE - 1),
    "integral.accumulate: fraction & ONE - 1": (0, ranges.ONE - 1),
    "integral.accumulate: drained & ONE - 1": (0, ranges.ONE - 1),
    "integral.accumulate: gain >> WEIGHT_BITS": (0, HEAVIEST >> ranges.WEIGHT_BITS),
    "integral.accumulate: -gain >> WEIGHT_BITS": (0, RECOVERY >> ranges.WEIGHT_BITS),
    "integral.accumulate: (gain & ONE - 1) * elapsed": (0, (ranges.ONE - 1) * SEEN),
    "integral.accumulate: (-gain & ONE - 1) * elapsed": (0, (ranges.ONE - 1) * SEEN),
    "integral.accumulate: (gain >> WEIGHT_BITS) * elapsed": (0, (HEAVIEST >> ranges.WEIGHT_BITS) * SEEN),
    "integral.accumulate: (-gain >> WEIGHT_BITS) * elapsed": (0, (RECOVERY >> ranges.WEIGHT_BITS) * SEEN),
    "integral.accumulate: fraction >> WEIGHT_BITS": (0, SEEN),
    "integral.accumulate: fraction + ONE": (1, ranges.ONE - 1),
    "integral.accumulate: whole - 1": (-1 - (RECOVERY >> ranges.WEIGHT_BITS) * SEEN, ENDS[ranges.TRIP_DELAY][1] - 1),
    "outputs.percent: state[INTEGRAL] * settings[PERCENT_SCALE]": (0, (100 << settings.PERCENT_BITS) - 1),
    "outputs.percent: whole + 1": (1, 100),
    "outputs.percent: (whole + 1) * settings[TRIP_DELAY]": (0, 100 * ENDS[ranges.TRIP_DELAY][1]),
    "conditions.follow_reset: settings[RESTART_DELAY] - state[RESTART_LEFT]": _most(ranges.RESTART_DELAY),
    "signals.stuck_part: unmoved - stuck_after": (1, LONGEST),
    "signals.settled_part: settings[RESTART_DELAY] - settings[REST_SETTLE]": _most(ranges.RESTART_DELAY),
    "signals.settled_part: state[RESTART_LEFT] - (settings[RESTART_DELAY] - settings[REST_SETTLE])": (
        -ENDS[ranges.RESTART_DELAY][1],
        ENDS[ranges.REST_SETTLE][1],
    ),
    "signals.observe: inputs[OIL_PRESSURE] - inputs[CRANKCASE_PRESSURE]": (-NET, NET),
    "signals.observe: elapsed - doubted": (0, SEEN),
    "signals.observe: doubted = part": (1, LONGEST),
    "timers.update: seen + doubted": (0, LONGEST),
    "conditions.evaluate: return bits": (conditions.LOW, CONDITIONS),  # something is on in every step
    "table.apply_effect: state[FLAGS] + ONE_RESET": (0, 2 * state.RESET_PRESSED - 1),
    "table.apply_effect: state[TRIPS] + 1": (1, ENDS[ranges.TRIPS_TO_LOCKOUT][1]),
    "integral.past_grace: return -left": (1, LONGEST),
}
# Of places that hold bits: all that can be on there. What leaves each choice of these as it is, is no mistake.
_CHANNEL = signals.OIL_MISSING | signals.OIL_RANGE | signals.OIL_STUCK
_FLAGS = WORDS["state"][state.FLAGS][1] & ~state.FRESH  # after the first step, and within it once `evaluate` has begun
MASKS: dict[str, int] = {
    "conditions.evaluate: outputs[CONDITIONS]": signals.DOUBTS,
    "conditions.evaluate: follow_reset(state, settings, inputs)": conditions.RESET_PRESS,
    "conditions.evaluate: pressure_bits(settings, outputs)": conditions.LOW | conditions.HEALTHY | conditions.SENSOR_OK,
    "conditions.evaluate: memory_bits(state, settings)": (
        conditions.IN_GRACE | conditions.INTEGRAL_FULL | conditions.RESTART_DUE | conditions.LAST_TRIP
        | conditions.SENSOR_FAULT | conditions.RESETS_SPENT
    ),
    "conditions.evaluate: state[FLAGS] = state[FLAGS] & ~FRESH": _FLAGS,
    "signals.observe: channel_doubts(state, settings, inputs)": signals.DOUBTS & ~(signals.LATE | signals.STANDSTILL),
    "signals.observe: outputs[CONDITIONS] = doubts": signals.DOUBTS,
    "signals.channel_doubts: channel_doubt(inputs[OIL_PRESSURE], settings[OIL_LEAST], settings[OIL_MOST], oil_stuck, OIL_MISSING)": _CHANNEL,
    "signals.channel_doubts: channel_doubt(inputs[SUCTION_PRESSURE], least, most, suction_stuck, SUCTION_MISSING)": _CHANNEL << 3,
    "signals.channel_doubts: channel_doubt(inputs[CRANKCASE_PRESSURE], least, most, crankcase_stuck, CRANKCASE_MISSING)": _CHANNEL << 6,
}  # fmt: skip
LATER = ("follow_spell", "reload_guard", "follow_reset", "memory_bits", "apply_effect")  # these run when FRESH is off
# What functions return, where it is looked at as a whole.
RETURNED: dict[str, Span] = {
    "weight": (-RECOVERY, HEAVIEST),
    "past_grace": (0, LONGEST),
    "counted_elapsed": (0, LONGEST),
    "stuck_part": (0, LONGEST),
    "settled_part": (-ENDS[ranges.RESTART_DELAY][1], LONGEST),
    "percent": (0, 100),
    "channel_doubt": (0, signals.DOUBTS),
    "channel_doubts": (0, signals.DOUBTS),
    "evaluate": (conditions.LOW, CONDITIONS),
    "measure": (conditions.LOW, CONDITIONS),
    "follow_reset": (0, 256),
    "pressure_bits": (0, 1023),
    "memory_bits": (0, 4095),
    "within": (0, 1),
    "plausible": (0, 1),
    "reload_guard": (0, 1),
}


# What the functions that ran before one in a step may have changed in a word of the state: nothing, or these flags.
_MOVED = state.FRESH | state.FAULT_DECLARED | state.RESETS
UNMOVED: dict[str, int] = {
    "conditions.follow_reset: state[FLAGS] (2)": _MOVED,
    "conditions.follow_reset: state[FLAGS] (3)": _MOVED,
    "conditions.follow_reset: state[STATE]": 0,
    "integral.accumulate: state[INTEGRAL] (2)": 0,  # it drains once in a step
    "integral.accumulate: state[INTEGRAL_FRACTION] (2)": 0,
    "integral.regain_grace: state[GRACE_LEFT]": 0,
    "signals.counted_elapsed: state[FLAGS]": 0,
    "signals.settled_part: state[RESTART_LEFT]": 0,
    "signals.stuck_part: state[seen + 1]": 0,
    "signals.stuck_part: state[seen]": 0,
    "timers.run_down: state[place]": 0,
    "timers.update: state[FLAGS]": 0,
    "timers.update: state[STATE]": 0,
}


def always_on(place: hooked.Place) -> int:
    """Return the bits that a store puts on."""
    name = place.text.partition("= state[FLAGS] | ")[2]
    return _constant(name) if name.isidentifier() else 0


def mask_of(place: hooked.Place) -> int | None:
    """Return all bits that can be on at a place; None where that is not stated."""
    off = place.text.partition("= state[FLAGS] & ~")[2].strip("()")
    if off and place.kind == hooked.STORE:
        gone = sum(_constant(name) for name in off.split(" | "))
        return WORDS["state"][state.FLAGS][1] & ~gone & (_FLAGS if place.function in LATER else -1)
    if always_on(place):
        return WORDS["state"][state.FLAGS][1]
    if place.function in LATER and place.of == "state" and place.text.startswith("state[FLAGS]"):
        return _FLAGS
    return MASKS.get(str(place))


def own_index(place: hooked.Place) -> int | None:
    """Return the index at which a place reads its array, or stores in it; None where it is only known as it runs."""
    node = ast.parse(place.text).body[0]
    target = node.targets[0] if isinstance(node, ast.Assign) else node.value if isinstance(node, ast.Expr) else None
    if not isinstance(target, ast.Subscript):
        return None
    index = ast.unparse(target.slice)
    if index.rpartition(".")[2].split(" ")[0].islower() or not index[0].isalpha():
        return None
    first, _, more = index.rpartition(".")[2].partition(" + ")
    return _constant(first) + int(more or 0)


def constant_of(place: hooked.Place) -> int:
    """Return the constant that stands at a place."""
    return int(place.text) if place.text.isdigit() else _constant(place.text)


def span_of(place: hooked.Place) -> Span:
    """Return the span of what a place reads, works out, gives on or stores. Raises LookupError where nothing is known."""
    stated = STATED.get(str(place))
    if stated is not None:
        return stated
    node = ast.parse(place.text.removeprefix("return ")).body[0]
    if isinstance(node, ast.Assign) and isinstance(node.targets[0], ast.Subscript):
        least, most = _word(node.targets[0], place)
        try:
            own = _span(node.value, place)
        except LookupError:
            return least, most
        return max(least, own[0]), min(most, own[1])
    if isinstance(node, ast.Assign | ast.Expr):
        return _span(node.value, place)
    raise LookupError(str(place))


def sides_of(place: hooked.Place) -> Span | None:
    """Return the span of both sides of a comparison together; None where it is not known."""
    node = ast.parse(place.text, mode="eval").body
    if not isinstance(node, ast.Compare):
        return None
    try:
        left, right = _span(node.left, place), _span(node.comparators[0], place)
    except LookupError:
        return None
    return min(left[0], right[0]), max(left[1], right[1])


def _constant(name: str) -> int:
    """Return a constant of the reference by name."""
    for module in (ranges, settings, state, signals, outputs, *hooked.MODULES):
        if hasattr(module, name):
            value = getattr(module, name)
            return int(value)
    raise LookupError(name)


def _word(node: ast.Subscript, place: hooked.Place) -> Span:
    array = hooked.ARRAYS.get(ast.unparse(node.value), "")
    if ast.unparse(node.value) == "row":
        column = [row[int(ast.unparse(node.slice))] for row in table.TABLE]
        return min(column), max(column)
    if array not in WORDS:
        raise LookupError(str(place))
    index = ast.unparse(node.slice)
    if index == "seen":
        return READING
    if index == "seen + 1":
        return _most(ranges.STUCK_AFTER)
    if index == "place":  # of a timer that runs down
        return _most(ranges.TRIP_MEMORY)
    first, _, more = index.rpartition(".")[2].partition(" + ")
    return WORDS[array][_constant(first) + int(more or 0)]


def _span(node: ast.expr, place: hooked.Place) -> Span:  # noqa: C901, PLR0911 - a return for each kind of node
    where = f"{place.module}.{place.function}"
    stated = STATED.get(f"{where}: {ast.unparse(node)}")
    if stated is not None:
        return stated
    if isinstance(node, ast.Subscript):
        return _word(node, place)
    if isinstance(node, ast.Constant):
        return int(node.value), int(node.value)  # type: ignore[arg-type]
    if isinstance(node, ast.Name):
        if node.id.isupper():
            return (_constant(node.id),) * 2
        return NAMES[f"{where}.{node.id}"]
    if isinstance(node, ast.Call):
        return RETURNED[ast.unparse(node.func).rpartition(".")[2]]
    if isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.USub):
        low, high = _span(node.operand, place)
        return -high, -low
    if isinstance(node, ast.BinOp):
        name = type(node.op).__name__
        if name == "BitAnd" and isinstance(node.right, ast.Name | ast.Subscript):
            least, most = _span(node.right, place)
            if least >= 0:
                return 0, most
        if name in ("BitAnd", "BitOr"):
            raise LookupError(str(place))
        ends = [hooked.OPERATORS[name](a, b) for a in _span(node.left, place) for b in _span(node.right, place)]
        return min(ends), max(ends)
    raise LookupError(str(place))
