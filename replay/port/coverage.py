"""What a step of the logic went through: the yardstick of the vector set.

`Watcher.step` takes a step and names what it saw: rows
of the cause-and-effect table and what just kept a row from applying, condition
bits both ways, clamps, wraps, and every comparison at its limit and one to each
side. What is wanted is worked out from the tables of `protect`, so a new row or
a new bit is wanted at once.
"""

from collections.abc import Iterator

from protect import conditions, integral, outputs, ranges, settings, signals, state, table
from protect.outputs import CREDIBLE, DOUBTED, NET_OIL_PRESSURE, SEEN
from protect.protection import measure

Item = tuple[str, ...]

BITS = {name: 1 << number for number, name in enumerate(conditions.NAMES)}
SIDES = {-1: "-1", 0: "0", 1: "+1"}
COMPARED = (
    "net, cut_in in weight",
    "net, cut_out in weight",
    "net, floor in weight",
    "suction, vacuum in weight",
    "net, cut_in in conditions",
    "net, cut_out in conditions",
    "suction, vacuum in the spell",
    "suction, reload in the guard",
    "integral, reload_level in the guard",
    "oil, oil_least",
    "oil, oil_most",
    "suction, suction_least",
    "suction, suction_most",
    "crankcase, suction_least",
    "crankcase, suction_most",
    "elapsed, 0",
    "elapsed, most counted",
    "elapsed, max_gap",
    "elapsed, max_gap at standstill",
    "oil unmoved, stuck_after",
    "suction unmoved, stuck_after",
    "crankcase unmoved, stuck_after",
    "seen, grace_left",
    "doubted, grace_left",
    "grace_left regained at standstill, start_grace",
    "elapsed, restart_left",
    "seen, memory_left",
    "seen, fault_time",
    "doubt, fault_delay",
    "integral, trip_delay",
    "integral drained running, 0",
    "integral drained at standstill, 0",
    "trips + 1, trips_to_lockout",
    "elapsed, time until settled at rest",
    "net, rest_most at rest",
    "net, -rest_most at rest",
    "standstill since the press, reset_hold",
)
EVENTS = (
    "fraction carries",
    "fraction borrows",
    "full with a fraction over",
    "weight rounds up",
    "weight rounds down",
    "ramp ends below the floor weight",
    "vacuum weight rounds up",
    "vacuum weight just rounds up",
    "vacuum weight rounds down",
    "vacuum in suction pressure alone weighs",
    "vacuum in crankcase pressure alone does not weigh",
    "healthy in grace drains",
    "late at standstill keeps the restart delay",
    "trips forgotten in time",
    "doubt keeps the trip memory",
    "no memory run down while a tripped machine runs",
    "fault declared",
    "fault cleared",
    "reset held over power-up",
    "reset pressed in the step of a lockout",
    "vacuum seen",
    "vacuum remembered on healthy oil pressure",
    "vacuum forgotten as the debt drains",
    "reload guard on healthy oil pressure",
    "spell ends healthy",
    "spell ends at standstill",
    "oil alone is stuck",
    "suction alone is stuck",
    "crankcase alone is stuck",
    "unmoved time kept at standstill",
    "a stuck channel stays stuck at standstill",
    "a stuck channel moves at standstill",
    "the age kept while a reading is missing",
    "a stuck channel is missing",
    "integral full in grace",
    "largest elapsed",
    "negative elapsed",
    "alarm by doubt alone",
    "0 %",
    "99 %",
    "100 %",
    "percent put right",
    "at rest, a channel is stuck longer than the zero is violated",
    "at rest, the zero is violated longer than a channel is stuck",
    "late at rest, the zero violated",
    "press begun",
    "press let go too soon",
    "press held while the machine runs",
    "press held through a late tick",
    "reset on after its press was taken",
    "resets forgotten in time",
    "resets at three bits",
    "cause of a sensor stop with several doubts",
)
EXCLUSIVE = "low", "healthy"  # conditions that never stand together
# Of each channel its name and its sensor's, and its places in inputs, settings (least, then most) and state.
CHANNELS = (
    ("oil", "oil", ranges.OIL_PRESSURE, ranges.OIL_LEAST, state.OIL_SEEN),
    ("suction", "suction", ranges.SUCTION_PRESSURE, ranges.SUCTION_LEAST, state.SUCTION_SEEN),
    ("crankcase", "suction", ranges.CRANKCASE_PRESSURE, ranges.SUCTION_LEAST, state.CRANKCASE_SEEN),
)


def reachable_ends(place: int = -1, value: int = 0) -> list[tuple[int, int]]:
    """Return (least, most) of each setting that some admitted settings have, by all relations together.

    With a place, of those settings only that have this value there.
    """
    ends = [(row[2], row[3]) for row in ranges.SETTINGS]
    if place >= 0:
        ends[place] = (value, value)
    for _ in settings.RELATIONS:  # one round moves an end along one relation at least
        for lower, higher, gap in settings.RELATIONS:
            ends[lower] = (ends[lower][0], min(ends[lower][1], ends[higher][1] - gap))
            ends[higher] = (max(ends[higher][0], ends[lower][0] + gap), ends[higher][1])
    return ends


def _near_misses(number: int) -> set[Item]:
    """Return what may keep a row from applying all by itself."""
    _, mask, value, _, _ = table.TABLE[number]
    names = {name for name, bit in BITS.items() if mask & bit}
    for name, other in (EXCLUSIVE, EXCLUSIVE[::-1]):
        if value & mask & BITS[other]:
            names.discard(name)
    return {("near miss", str(number), name) for name in names}


def wanted() -> set[Item]:
    """Return every item that a complete vector set has to go through."""
    items: set[Item] = {("row", str(number)) for number in range(len(table.TABLE))}
    for number in range(len(table.TABLE)):
        items |= _near_misses(number)
    items |= {("bit", name, way) for name in BITS for way in ("off", "on")}
    items |= {("moves", str(count)) for count in range(table.MOST_MOVES + 1)}
    items |= {("limit", name, side) for name in COMPARED for side in SIDES.values()}
    items |= {("event", name) for name in EVENTS}
    items |= {("doubt", name) for name in signals.DOUBT_NAMES}
    return items | {("setting", row[0], end) for row in ranges.SETTINGS for end in ("least", "most")}


def settings_items(values: list[int]) -> set[Item]:
    """Return the items that settings alone stand for."""
    found: set[Item] = set()
    for (name, *_), (least, most), value in zip(ranges.SETTINGS, reachable_ends(), values, strict=False):
        if value == least:
            found.add(("setting", name, "least"))
        if value == most:
            found.add(("setting", name, "most"))
    return found


def rows_met(before: int, bits: int, after: int) -> Iterator[Item]:
    """Yield the rows that apply from a state with these bits, and the near misses on the way.

    Raises RuntimeError when this reading of the table does not end in the state
    that `table.settle` came to.
    """
    now, moves, effect = before, 0, table.NONE
    while moves < table.MOST_MOVES and effect == table.NONE:
        for number, (row_state, mask, value, following, row_effect) in enumerate(table.TABLE):
            if row_state != now:
                continue
            differing = (bits ^ value) & mask
            if differing == 0:
                yield ("row", str(number))
                now, moves, effect = following, moves + 1, row_effect
                break
            if differing & (differing - 1) == 0:
                name = next(name for name, bit in BITS.items() if bit == differing)
                yield ("near miss", str(number), name)
        else:
            break
    yield ("moves", str(moves))
    if now != after:
        raise RuntimeError(f"the table is read otherwise: from {before} with {bits} to {now}, not to {after}")


class Watcher:
    """Runs steps and collects what they went through in `found`."""

    def __init__(self) -> None:
        self.found: set[Item] = set()

    def event(self, name: str, happened: object) -> None:
        """Note an event."""
        if happened:
            self.found.add(("event", name))

    def limit(self, name: str, value: int, limit: int, *, counts: object = True) -> None:
        """Note a comparison whose two sides differ by at most one, where it decides something."""
        side = SIDES.get(value - limit)
        if side and counts:
            self.found.add(("limit", name, side))

    def step(self, memory: list[int], values: list[int], inputs: list[int], results: list[int]) -> None:
        """Do one step of the logic; each part of it leaves to the others what they remember."""
        start = list(memory)
        bits = measure(memory, values, inputs, results)
        self._signals(start, memory, values, inputs, results)
        self._integral(start, memory, values, inputs, results)
        self._timers(start, memory, values, inputs, results)
        self._conditions(start, memory, values, inputs, results, bits)
        before_settling = memory[state.STATE]
        table.settle(memory, values, bits)
        self.found.update(rows_met(before_settling, bits, memory[state.STATE]))
        # From STARVED, so that a port which wrongly reads on has a move left to show it.
        new_lockout = before_settling == state.STARVED and memory[state.STATE] == state.LOCKED_OUT
        edge = inputs[ranges.RESET] and not start[state.FLAGS] & state.RESET_HELD
        self.event("reset pressed in the step of a lockout", new_lockout and edge)
        self._resets(start, memory, values, inputs)
        cause = memory[state.CAUSE] & signals.DOUBTS
        self.event("cause of a sensor stop with several doubts", cause & (cause - 1))
        outputs.write(memory, values, results)
        self._outputs(memory, values, results)

    def _signals(
        self, before: list[int], after: list[int], values: list[int], inputs: list[int], results: list[int]
    ) -> None:
        elapsed, fresh = results[SEEN] + results[DOUBTED], before[state.FLAGS] & state.FRESH
        self.limit("elapsed, 0", inputs[ranges.ELAPSED], 0, counts=not fresh)
        self.limit("elapsed, most counted", inputs[ranges.ELAPSED], ranges.ELAPSED_MOST, counts=not fresh)
        self.event("largest elapsed", inputs[ranges.ELAPSED] == ranges.INPUTS[ranges.ELAPSED][3])
        self.event("negative elapsed", inputs[ranges.ELAPSED] < 0)
        on_time = elapsed <= values[ranges.MAX_GAP]
        self.limit("elapsed, max_gap", elapsed, values[ranges.MAX_GAP], counts=signals.plausible(values, inputs))
        stuck = []
        for name, sensor, place, least, seen in CHANNELS:
            others = list(inputs)
            others[place] = values[least]
            alone = on_time and signals.plausible(values, others)
            self.limit(f"{name}, {sensor}_least", inputs[place], values[least], counts=alone)
            self.limit(f"{name}, {sensor}_most", inputs[place], values[least + 1], counts=alone)
            moved, gathered = inputs[place] != before[seen], before[seen + 1]
            if inputs[place] == ranges.NO_READING:
                self.event("the age kept while a reading is missing", 0 < gathered < values[ranges.STUCK_AFTER])
                self.event("a stuck channel is missing", gathered == values[ranges.STUCK_AFTER])
            elif inputs[ranges.RUN_FEEDBACK]:
                unmoved = elapsed + (0 if moved else gathered)
                self.limit(f"{name} unmoved, stuck_after", unmoved, values[ranges.STUCK_AFTER], counts=on_time)
            elif gathered == values[ranges.STUCK_AFTER]:
                self.event("a stuck channel moves at standstill", on_time and moved and elapsed)
                self.event("a stuck channel stays stuck at standstill", on_time and not moved and elapsed)
            else:
                self.event("unmoved time kept at standstill", on_time and not moved and gathered)
            if after[seen + 1] == values[ranges.STUCK_AFTER]:
                stuck.append(name)
        if len(stuck) == 1:
            self.event(f"{stuck[0]} alone is stuck", on_time and signals.plausible(values, inputs))
        for number, name in enumerate(signals.DOUBT_NAMES):
            if results[outputs.CONDITIONS] & signals.OIL_MISSING << number:
                self.found.add(("doubt", name))
        if not inputs[ranges.RUN_FEEDBACK] and signals.plausible(values, inputs):
            self._rest(before, after, values, inputs, results)

    def _rest(
        self, before: list[int], after: list[int], values: list[int], inputs: list[int], results: list[int]
    ) -> None:
        elapsed, most = results[SEEN] + results[DOUBTED], values[ranges.REST_MOST]
        net = inputs[ranges.OIL_PRESSURE] - inputs[ranges.CRANKCASE_PRESSURE]
        settled = signals.settled_part(before, values, elapsed)
        late = elapsed > values[ranges.MAX_GAP]
        self.event("late at rest, the zero violated", late and abs(net) > most)
        if late:
            return
        self.limit("elapsed, time until settled at rest", settled, 0, counts=abs(net) > most)
        self.limit("net, rest_most at rest", net, most, counts=settled >= 0)
        self.limit("net, -rest_most at rest", net, -most, counts=settled >= 0)
        if abs(net) > most and settled > 0:
            still = [
                elapsed
                for _, _, place, _, seen in CHANNELS
                if before[seen + 1] == after[seen + 1] == values[ranges.STUCK_AFTER] and inputs[place] == before[seen]
            ]
            self.event("at rest, a channel is stuck longer than the zero is violated", still and settled < elapsed)
            self.event("at rest, the zero is violated longer than a channel is stuck", not still and results[DOUBTED])

    def _resets(self, start: list[int], memory: list[int], values: list[int], inputs: list[int]) -> None:
        was, now = start[state.FLAGS], memory[state.FLAGS]
        on, pressed = inputs[ranges.RESET], was & state.RESET_PRESSED
        self.event("press begun", now & state.RESET_PRESSED and not pressed)
        self.event("press let go too soon", pressed and not on)
        self.event("press held while the machine runs", pressed and on and inputs[ranges.RUN_FEEDBACK])
        elapsed = inputs[ranges.ELAPSED]
        self.event("press held through a late tick", pressed and on and elapsed > values[ranges.MAX_GAP])
        locked = start[state.STATE] == state.LOCKED_OUT
        self.event("reset on after its press was taken", locked and on and was & state.RESET_HELD and not pressed)
        self.event("resets forgotten in time", was & state.RESETS > now & state.RESETS)
        count = (now & state.RESETS) >> state.RESETS_SHIFT
        self.event("resets at three bits", count > 3)  # noqa: PLR2004
        if pressed and on:
            stood = values[ranges.RESTART_DELAY] - memory[state.RESTART_LEFT]
            hold = values[ranges.RESET_HOLD]
            self.limit("standstill since the press, reset_hold", stood, hold, counts=locked)

    def _integral(
        self, start: list[int], memory: list[int], values: list[int], inputs: list[int], results: list[int]
    ) -> None:
        net, suction, seen = results[NET_OIL_PRESSURE], inputs[ranges.SUCTION_PRESSURE], results[SEEN]
        if not inputs[ranges.RUN_FEEDBACK]:
            self._drain("at standstill", start, memory, values[ranges.STOPPED_RECOVERY] * seen)
            left, whole = start[state.GRACE_LEFT], values[ranges.START_GRACE]
            self.limit("grace_left regained at standstill, start_grace", left + seen, whole, counts=left < whole)
            return
        gain = integral.weight(values, net, suction)
        self.limit("seen, grace_left", seen, start[state.GRACE_LEFT])
        counted = max(seen - start[state.GRACE_LEFT], 0)
        self.event("healthy in grace drains", gain < 0 and counted < seen and start[state.INTEGRAL] > 0)
        self.limit("net, cut_in in weight", net, values[ranges.CUT_IN], counts=seen and counted)
        self.limit("net, cut_out in weight", net, values[ranges.CUT_OUT], counts=counted)
        self.limit("net, floor in weight", net, values[ranges.FLOOR], counts=counted)
        if gain < 0:
            self._drain("running", start, memory, -gain * seen)
        if gain > 0 and counted:
            if memory[state.INTEGRAL] < values[ranges.TRIP_DELAY]:  # beyond it no rounding shows
                self._weighing(values, net, inputs)
            self._filling(start, memory, values, gain * counted, results[DOUBTED])
        left = max(start[state.GRACE_LEFT] - seen, 0)
        self.limit("doubted, grace_left", results[DOUBTED], left, counts=results[DOUBTED])

    def _weighing(self, values: list[int], net: int, inputs: list[int]) -> None:
        """Note how the weight of a deficit is rounded, and by which pressure it counts as in vacuum."""
        suction, crankcase = inputs[ranges.SUCTION_PRESSURE], inputs[ranges.CRANKCASE_PRESSURE]
        gain = values[ranges.FLOOR_WEIGHT]
        if net >= values[ranges.FLOOR]:
            product = (values[ranges.CUT_OUT] - net) * values[ranges.SLOPE]
            rest = product & ((1 << settings.SLOPE_BITS) - 1)
            half = 1 << (settings.SLOPE_BITS - 1)
            gain = ranges.ONE + ((product + half) >> settings.SLOPE_BITS)
            self.event("weight rounds up", rest >= half)
            self.event("weight rounds down", 0 < rest < half)
            short = net == values[ranges.FLOOR] and gain < values[ranges.FLOOR_WEIGHT]
            self.event("ramp ends below the floor weight", short)
        vacuum, weighs = values[ranges.VACUUM], values[ranges.VACUUM_WEIGHT] != ranges.ONE
        self.limit("suction, vacuum in weight", suction, vacuum, counts=weighs)
        self.event("vacuum in suction pressure alone weighs", weighs and suction < vacuum <= crankcase)
        self.event("vacuum in crankcase pressure alone does not weigh", weighs and crankcase < vacuum <= suction)
        if suction < vacuum:
            rest = (gain * values[ranges.VACUUM_WEIGHT]) & (ranges.ONE - 1)
            half, quarter = ranges.ONE >> 1, ranges.ONE >> 2
            self.event("vacuum weight rounds up", rest >= half)
            self.event("vacuum weight just rounds up", half <= rest < half + quarter)
            self.event("vacuum weight rounds down", 0 < rest < ranges.ONE >> 1)

    def _filling(self, start: list[int], memory: list[int], values: list[int], added: int, doubted: int) -> None:
        full = start[state.INTEGRAL] * ranges.ONE + start[state.INTEGRAL_FRACTION] + added
        whole, rest = divmod(full, ranges.ONE)
        self.limit("integral, trip_delay", whole, values[ranges.TRIP_DELAY], counts=not doubted)
        self.event("full with a fraction over", whole == values[ranges.TRIP_DELAY] and rest)
        carried = start[state.INTEGRAL_FRACTION] + (added & (ranges.ONE - 1)) >= ranges.ONE
        self.event("fraction carries", carried and memory[state.INTEGRAL] < values[ranges.TRIP_DELAY])

    def _drain(self, when: str, start: list[int], memory: list[int], drained: int) -> None:
        held = start[state.INTEGRAL] * ranges.ONE + start[state.INTEGRAL_FRACTION]
        left = (held - drained) // ranges.ONE
        self.limit(f"integral drained {when}, 0", left, 0, counts=held and drained)
        borrowed = start[state.INTEGRAL_FRACTION] < drained & (ranges.ONE - 1)
        self.event("fraction borrows", borrowed and memory[state.INTEGRAL] > 0)

    def _timers(
        self, start: list[int], memory: list[int], values: list[int], inputs: list[int], results: list[int]
    ) -> None:
        seen, doubted = results[SEEN], results[DOUBTED]
        elapsed, gap, running = seen + doubted, values[ranges.MAX_GAP], inputs[ranges.RUN_FEEDBACK]
        waiting = start[state.RESTART_LEFT] > 0 and not running
        self.limit("elapsed, max_gap at standstill", elapsed, gap, counts=waiting)
        self.event("late at standstill keeps the restart delay", waiting and elapsed > gap)
        if elapsed <= gap:
            self.limit("elapsed, restart_left", elapsed, start[state.RESTART_LEFT], counts=waiting)
        held = start[state.MEMORY_LEFT] > 0
        down = running and start[state.STATE] >= state.TRIPPED
        self.event("no memory run down while a tripped machine runs", held and down and seen)
        if not down:
            self.limit("seen, memory_left", seen, start[state.MEMORY_LEFT], counts=held)
            self.event("doubt keeps the trip memory", held and doubted and elapsed <= gap)
        self.event("trips forgotten in time", start[state.TRIPS] > memory[state.TRIPS])
        self.limit("seen, fault_time", seen, start[state.FAULT_TIME], counts=start[state.FAULT_TIME])
        drained = max(start[state.FAULT_TIME] - seen, 0)
        self.limit("doubt, fault_delay", drained + doubted, values[ranges.FAULT_DELAY], counts=doubted)
        was, now = start[state.FLAGS] & state.FAULT_DECLARED, memory[state.FLAGS] & state.FAULT_DECLARED
        self.event("fault declared", now and not was)
        self.event("fault cleared", was and not now)

    def _conditions(
        self, start: list[int], memory: list[int], values: list[int], inputs: list[int], results: list[int], bits: int
    ) -> None:
        for name, bit in BITS.items():
            self.found.add(("bit", name, "on" if bits & bit else "off"))
        net, suction = results[NET_OIL_PRESSURE], inputs[ranges.SUCTION_PRESSURE]
        credible, healthy = results[CREDIBLE], bits & BITS["healthy"]
        self.event("integral full in grace", bits & BITS["integral_full"] and bits & BITS["in_grace"])
        self.limit("net, cut_in in conditions", net, values[ranges.CUT_IN], counts=credible)
        self.limit("net, cut_out in conditions", net, values[ranges.CUT_OUT], counts=credible)
        self.limit("trips + 1, trips_to_lockout", memory[state.TRIPS] + 1, values[ranges.TRIPS_TO_LOCKOUT])
        held = start[state.FLAGS] & state.RESET_HELD
        self.event("reset held over power-up", start[state.FLAGS] & state.FRESH and held and inputs[ranges.RESET])
        in_spell = start[state.FLAGS] & state.IN_SPELL
        self.event("spell ends healthy", in_spell and bits & BITS["healthy"])
        self.event("spell ends at standstill", in_spell and not bits & BITS["running"])
        opening = memory[state.FLAGS] & state.IN_SPELL and not start[state.FLAGS] & state.VACUUM_SEEN
        self.limit("suction, vacuum in the spell", suction, values[ranges.VACUUM], counts=opening and credible)
        self.event("vacuum seen", opening and memory[state.FLAGS] & state.VACUUM_SEEN)
        remembered = memory[state.FLAGS] & state.VACUUM_SEEN
        self.event("vacuum remembered on healthy oil pressure", remembered and healthy)
        forgotten = start[state.FLAGS] & state.VACUUM_SEEN and not remembered
        self.event("vacuum forgotten as the debt drains", forgotten and healthy and bits & BITS["running"])
        self.event("reload guard on healthy oil pressure", bits & BITS["reload_guard"] and healthy)
        if not (remembered and credible):
            return
        loaded = suction >= values[ranges.RELOAD]
        worn = memory[state.INTEGRAL] >= values[ranges.RELOAD_LEVEL]
        self.limit("suction, reload in the guard", suction, values[ranges.RELOAD], counts=worn)
        self.limit(
            "integral, reload_level in the guard",
            memory[state.INTEGRAL],
            values[ranges.RELOAD_LEVEL],
            counts=loaded,
        )

    def _outputs(self, memory: list[int], values: list[int], results: list[int]) -> None:
        for number in (0, 99, 100):
            self.event(f"{number} %", results[outputs.INTEGRAL_PERCENT] == number)
        rounded = (memory[state.INTEGRAL] * values[ranges.PERCENT_SCALE]) >> settings.PERCENT_BITS
        self.event("percent put right", rounded < results[outputs.INTEGRAL_PERCENT] < 100)  # noqa: PLR2004
        self.event("alarm by doubt alone", results[outputs.ALARM] and memory[state.STATE] < state.STARVED)
