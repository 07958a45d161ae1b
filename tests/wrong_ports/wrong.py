"""Wrong programs: what a fresh port in another language gets wrong, each one mistake at one place of the reference.

A mistake changes one value that a hooked place (`hooked`) gives on: kept in too few bits, wrapped or held at the end, as
a single float, rounded otherwise, compared otherwise, read from another place, taken from before the step, a 0
taken for nothing, two statements the other way round (`swapped`), and so on. `Hunt` takes right steps, finds out in each which mistakes would have made a
value other than it is, and takes the same step with each of these once more: one that comes to another state or
other outputs is found. Since a vector holds the whole state after every step, a port goes wrong exactly
where its step differs from the reference's on a state of the reference.

How to add a kind of mistake: a function here that yields `Wrong` values for a place, named in `mistakes`.
"""

import functools
import struct
from collections import Counter
from collections.abc import Callable, Collection, Iterator, Sequence
from dataclasses import dataclass
from typing import Any

from protect import conditions, outputs, ranges, state, table
from tests.wrong_ports import hooked, spans, swapped
from tests.wrong_ports.hooked import Hooked, Place

Change = Callable[[Any, Any, Any], Any]  # (value, what it was made from) -> the wrong value
Words = list[int]
BIG = (1 << 30) - 1
STEP_MODULES = ("signals", "integral", "timers", "conditions", "table", "outputs", "protection")
ALL_BITS = (1 << len(conditions.NAMES)) - 1
WIDTHS = range(1, 32)
OFTEN, SELDOM = 10, 16  # a patient hunt tries a mistake so often in one walk, then in one step of so many


@dataclass(eq=False)
class Mistake:
    """One mistake: where, what, and the change; `quiet` is the span of values that it leaves as they are."""

    number: int
    place: str
    what: str
    change: Change
    quiet: tuple[int, int] | None = None
    loud: bool = False  # has to be tried without a look at the value first
    tries: int = 0

    @property
    def name(self) -> str:
        """Return place and mistake as one text."""
        return f"{self.place} [{self.what}]"


def single(value: float) -> float:
    """Return a number as a single float holds it."""
    return struct.unpack("f", struct.pack("f", value))[0]


def narrowed() -> Iterator[tuple[str, Change, tuple[int, int]]]:
    """Yield too narrow words: wrapped and held, signed and unsigned, of every width."""
    for bits in WIDTHS:
        most, half = (1 << bits) - 1, 1 << (bits - 1)
        yield f"wraps in {bits} bits, signed", lambda v, *_, h=half, m=most: ((v + h) & m) - h, (-half, half - 1)
        yield f"wraps in {bits} bits, unsigned", lambda v, *_, m=most: v & m, (0, most)
        yield f"held in {bits} bits, signed", lambda v, *_, h=half: max(-h, min(h - 1, v)), (-half, half - 1)
        yield f"held in {bits} bits, unsigned", lambda v, *_, m=most: max(0, min(m, v)), (0, most)
    yield "wraps in 32 bits, unsigned", lambda v, *_: v & 0xFFFFFFFF, (0, 0x7FFFFFFF)


def coarse() -> Iterator[tuple[str, Change]]:
    """Yield values kept coarsely, as floats or in another unit, moved by one, without sign, a 0 taken for something."""
    yield "as a single float", lambda v, *_: int(single(v))
    for bits in (1, 2, 3, 4, 5, 8):
        yield f"without its lowest {bits} bits", lambda v, *_, b=bits: (v >> b) << b
    for unit in (10, 100, 1000):
        yield f"in units of {unit}", lambda v, *_, u=unit: v // u * u
        yield f"in units of {unit}, rounded", lambda v, *_, u=unit: (v + u // 2) // u * u
    yield "one more", lambda v, *_: v + 1
    yield "one less", lambda v, *_: v - 1
    yield "negated", lambda v, *_: -v
    yield "without its sign", lambda v, *_: abs(v)
    yield "nothing", lambda v, *_: 0
    yield "0 taken as off", lambda v, *_: v or BIG
    yield "0 taken as off, downwards", lambda v, *_: v or -BIG
    yield "0 taken as 1", lambda v, *_: v or 1
    yield "0 or less taken for no reading", lambda v, *_: v if v > 0 else ranges.NO_READING
    yield "below 0 taken for no reading", lambda v, *_: v if v >= 0 else ranges.NO_READING
    yield "0 taken for no reading", lambda v, *_: v or ranges.NO_READING
    yield "no reading taken as 0", lambda v, *_: 0 if v == ranges.NO_READING else v
    yield "no reading taken as -1", lambda v, *_: -1 if v == ranges.NO_READING else v


SPECIMENS = (0, 1, -1, (1 << 24) + 1, -(1 << 24) - 1, ranges.NO_READING)
FEW = 4096


def submasks(mask: int) -> Iterator[int]:
    """Yield all numbers that have no bits beside those of a mask."""
    bits = mask
    while bits:
        yield bits
        bits = (bits - 1) & mask
    yield 0


def values_of(place: Place) -> list[int] | None:
    """Return all that a place of few bits can hold; None for any other."""
    mask = spans.mask_of(place)
    return None if mask is None else [bits for bits in submasks(mask) if not spans.always_on(place) & ~bits]


def differs(change: Change, held: spans.Span, chosen: Sequence[int] | None = None) -> bool:
    """Tell whether a coarse value is another one somewhere in a span; where the span is long, at its ends or a specimen.

    chosen: all values there are, where they are known one by one.
    """
    if chosen is not None:
        return any(change(value, None, None) != value for value in chosen)
    least, most = held
    values = range(least, most + 1) if most - least < FEW else (least, most, *SPECIMENS)
    return any(change(value, None, None) != value for value in values if least <= value <= most)


@functools.cache
def narrower(held: spans.Span, chosen: tuple[int, ...] | None) -> list[tuple[str, Change, tuple[int, int]]]:
    """Return the words that are too narrow for a span, or for all values there are."""
    return [
        (what, change, quiet)
        for what, change, quiet in narrowed()
        if not quiet[0] <= held[0] <= held[1] <= quiet[1]
        and (chosen is None or any(change(value, None, None) != value for value in chosen))
    ]


@functools.cache
def coarser(held: spans.Span, chosen: tuple[int, ...] | None) -> list[tuple[str, Change]]:
    """Return how what lies in a span, or is one of all values there are, comes out as another by being kept coarsely."""
    return [(what, change) for what, change in coarse() if differs(change, held, chosen)]


def shifted(value: int, number: int, bits: int) -> Iterator[tuple[str, int]]:
    """Yield a number shifted right, rounded in other ways."""
    half, rest = (1 << bits) >> 1, number & ((1 << bits) - 1)
    yield "rounded up", value + (rest > 0)
    yield "rounded to the nearest", value + (rest >= half)
    yield "without the half", (number - half) >> bits
    yield "half rounded down", (number - 1) >> bits
    yield "half rounded to even", value - (rest == 0 and value & 1)
    yield "towards nothing", -(-number >> bits) if number < 0 else value
    yield "shifted one more", number >> (bits + 1)
    yield "shifted one less", number >> max(bits - 1, 0)
    yield "divided as single floats", int(single(single(number) / (1 << bits)))


def operation(of: str) -> Iterator[tuple[str, Change]]:
    """Yield the mistakes of an operator."""
    for name, other in hooked.OPERATORS.items():
        alike = {"Add", "Sub", "Mult"} if of in ("Add", "Sub", "Mult") else {"BitAnd", "BitOr", "BitXor"}
        if name in alike and name != of:
            yield f"{name} for {of}", lambda v, x, y, o=other: o(x, y)
    yield "left side only", lambda v, x, y: x
    yield "right side only", lambda v, x, y: y
    if of == "Sub":
        yield "the other way round", lambda v, x, y: y - x
        yield "not below nothing", lambda v, x, y: max(v, 0)
        yield "the distance", lambda v, x, y: abs(v)
    if of in ("Add", "Sub", "Mult"):
        yield "in single floats", lambda v, x, y: int(single(hooked.OPERATORS[of](single(x), single(y))))
    if of == "RShift":
        for number, (what, _) in enumerate(shifted(0, 0, 1)):
            yield what, lambda v, x, y, n=number: list(shifted(v, x, y))[n][1]
    if of == "FloorDiv":
        yield "divided rounding up", lambda v, x, y: -(-x // y)
        yield "divided to the nearest", lambda v, x, y: (x + y // 2) // y
        yield "divided as single floats", lambda v, x, y: int(single(single(x) / single(y)))


def comparison(of: str) -> Iterator[tuple[str, Change]]:
    """Yield the mistakes of a comparison."""
    for name in ("Lt", "LtE", "Gt", "GtE", "Eq", "NotEq"):
        if name != of:
            yield f"{name} for {of}", lambda v, x, y, o=hooked.OPERATORS[name]: o(x, y)
    own = hooked.OPERATORS[of]
    yield "always", lambda v, x, y: True
    yield "never", lambda v, x, y: False
    yield "compared unsigned", lambda v, x, y: own(x & 0xFFFFFFFF, y & 0xFFFFFFFF)
    yield "compared as single floats", lambda v, x, y: own(single(x), single(y))
    for bits in (8, 16, 24):
        yield f"compared in {bits} bits", lambda v, x, y, m=(1 << bits) - 1: own(x & m, y & m)
    for off in (-2, 2, 1000, -1000):
        yield f"compared {off} off", lambda v, x, y, o=off: own(x, y + o)


FAMILIES = (
    {
        name: value
        for name, value in vars(conditions).items()
        if name.isupper() and isinstance(value, int) and name in map(str.upper, conditions.NAMES)
    },
    {
        name: value
        for name, value in vars(state).items()
        if name
        in ("FRESH", "RESET_HELD", "IN_SPELL", "VACUUM_SEEN", "FAULT_DECLARED", "ONE_RESET", "RESETS", "RESET_PRESSED")
    },
    {name: value for name, value in vars(state).items() if name.endswith("_CAUSE")},
    {
        name: value
        for name, value in vars(state).items()
        if name in ("STOPPED", "PRIMING", "LUBRICATED", "STARVED", "TRIPPED", "LOCKED_OUT")
    },
    {
        name: value
        for name, value in vars(table).items()
        if name in ("NONE", "STOP_ON_OIL", "STOP_ON_RELOAD", "STOP_ON_SENSOR", "FORGET_TRIPS", "REFUSE_RESET")
    },
)


def constant(of: str) -> Iterator[tuple[str, Change]]:
    """Yield the mistakes of a constant: a neighbour, or another one of its family."""
    yield "one more", lambda v, *_: v + 1
    yield "one less", lambda v, *_: v - 1
    yield "doubled", lambda v, *_: v * 2
    yield "halved", lambda v, *_: v // 2
    for family in FAMILIES:
        if of in family:
            for name, value in family.items():
                if name != of:
                    yield f"{name} for {of}", lambda v, *_, w=value: w


def decision() -> Iterator[tuple[str, Change]]:
    """Yield the mistakes of a choice."""
    yield "always", lambda *_: True
    yield "never", lambda *_: False
    yield "the other way", lambda v, *_: not v


class Hunt:
    """Right steps, one after the other, and the mistakes that they have not yet found.

    patience: a mistake that made a value wrong so often and never showed is left alone; 0 goes on for ever.
    known: names of mistakes that are left out from the beginning, as they are listed.
    """

    def __init__(self, *, patience: int = 0, known: Collection[str] = ()) -> None:
        self.program, self.patience = Hooked(), patience
        self.watched, self.hooked = self.program, set(range(len(self.program.places)))  # takes the steps; its hooks
        self.right = Hooked(hooks=False)
        self.steps = self.right.modules["protection"]
        self.mistakes: list[Mistake] = []
        self.labels: Counter[str] = Counter()
        self.narrow: dict[int, list[Mistake]] = {}
        self.quiet: dict[int, tuple[int, int]] = {}
        self.other: dict[int, list[Mistake]] = {}
        self.words: dict[tuple[str, int], list[Mistake]] = {}
        self.tables: list[Mistake] = []
        self.pairs: dict[tuple[int, int], list[Mistake]] = {}
        self.swaps: dict[int, tuple[Mistake, swapped.Swap]] = {}
        self.swapped: dict[int, Callable[..., Any]] = {}
        self.before: dict[int, Words] = {}
        self.found: set[int] = set()
        self.left_alone: set[int] = set()
        self.infected: dict[int, tuple[int, Mistake]] = {}
        self.of_settings = {
            n for n, p in enumerate(self.program.places) if p.kind == hooked.READ and p.of == "settings"
        }
        self.with_one_hook: dict[int, Callable[..., Any]] = {}
        self.asked: set[int] = set()  # which settings this step has read
        self.in_walk: Counter[int] = Counter()
        self.taken = 0
        self.latest = ""  # the name of the mistake that was found last
        sizes = {"settings": ranges.SETTINGS_SIZE, "state": state.STATE_SIZE, "inputs": ranges.INPUTS_SIZE}
        for number, place in enumerate(self.program.places):
            if place.module in STEP_MODULES:
                self._add_place(number, place, sizes)
        for array, size in {**sizes, "outputs": 9}.items():
            read = {
                index_name(place)
                for place in self.program.places
                if place.kind == hooked.READ and place.module in STEP_MODULES
            }
            for word in range(size):
                if array == "settings" and not any(getattr(ranges, name, -1) == word for name in read):
                    continue  # worked out from in `settings.derive` alone
                whole = spans.LEFT.get((array, word), spans.WORDS[array][word])
                self._add_values(-1, f"{array}[{word}] as a whole", self.words.setdefault((array, word), []), whole)
        self._add_tables()
        for swap in swapped.swaps(STEP_MODULES):
            made = self._new(swap.place, swap.text, lambda v, *_: v)
            self.swaps[made.number] = made, swap
        self.left_alone = {mistake.number for mistake in self.mistakes if mistake.name in known}
        self._forget_found()

    def _new(self, place: str, what: str, change: Change, **more: Any) -> Mistake:
        made = Mistake(len(self.mistakes), place, what, change, **more)
        self.mistakes.append(made)
        return made

    def _label(self, place: Place) -> str:
        """Name a place by its text, and by which of its kind it is where the function has several."""
        self.labels[str(place)] += 1
        return f"{place}" if self.labels[str(place)] == 1 else f"{place} ({self.labels[str(place)]})"

    def _add_values(
        self, number: int, where: str, narrow: list[Mistake], held: spans.Span, chosen: Sequence[int] | None = None
    ) -> None:
        all_there_are = None if chosen is None else tuple(chosen)
        narrow += [self._new(where, what, change, quiet=quiet) for what, change, quiet in narrower(held, all_there_are)]
        others = self.other.setdefault(number, []) if number >= 0 else narrow
        others += [self._new(where, what, change) for what, change in coarser(held, all_there_are)]

    def _add_place(self, number: int, place: Place, sizes: dict[str, int]) -> None:  # noqa: C901 - a branch for each kind
        where, others = self._label(place), self.other.setdefault(number, [])

        def add(named: Iterator[tuple[str, Change]], **more: Any) -> None:
            others.extend(self._new(where, what, change, **more) for what, change in named)

        held = span(place)
        if held is not None:
            self._add_values(number, where, self.narrow.setdefault(number, []), held, values_of(place))
        if place.kind == hooked.OPERATION:
            add(operation(place.of))
        elif place.kind == hooked.COMPARISON:
            sides = spans.sides_of(place) or spans.WORD
            add((what, change) for what, change in comparison(place.of) if not _harmless(what, sides))
        elif place.kind == hooked.DECISION or (place.kind == hooked.VALUE and held is None):
            add(decision())
        elif place.kind == hooked.CONSTANT:
            own = spans.constant_of(place)
            add((what, change) for what, change in constant(place.of) if change(own, None, None) != own)
        elif place.kind == hooked.CALL:
            add(iter((("left out", lambda v, *_: 0), ("done twice", lambda v, *_: 2))), loud=True)
        elif place.kind == hooked.READ:
            size = sizes.get(place.of, 0)
            own = spans.own_index(place)
            add((f"place {p} instead", lambda v, x, y, p=p: x[p]) for p in range(size) if p != own)
            if place.of in ("state", "outputs"):
                add(iter((("as before the step", self._stale),)))
        elif place.kind == hooked.STORE:
            size = sizes.get(place.of, 0)
            add(iter((("left out", lambda v, x, y: x[y]), ("added", lambda v, x, y: x[y] + v))))
            add(iter((("the larger", lambda v, x, y: max(x[y], v)), ("the smaller", lambda v, x, y: min(x[y], v)))))
            own = spans.own_index(place)
            add(
                (
                    (f"in place {p} instead", lambda v, x, y, p=p: _elsewhere(v, x, y, p))
                    for p in range(size)
                    if p != own
                ),
                loud=True,
            )

    def _stale(self, value: Any, array: Any, index: Any) -> Any:
        held = self.before.get(id(array))
        return value if held is None else held[index]

    def _add_tables(self) -> None:
        for what, rows, most in wrong_tables(list(table.TABLE)):
            self.tables.append(self._new("table", what, lambda v, *_, r=rows, m=most: (r, m)))

    # ---- the watch ----

    def _watch(self, number: int, value: Any, first: Any, second: Any) -> Any:
        if number in self.of_settings:
            self.asked.add(second)
        quiet = self.quiet.get(number)
        if quiet is not None and not quiet[0] <= value <= quiet[1]:
            for mistake in self.narrow[number]:
                if not mistake.quiet[0] <= value <= mistake.quiet[1] and not self._tired(mistake):  # type: ignore[index]
                    self.infected[mistake.number] = (number, mistake)
        for mistake in self.other.get(number, ()):
            if (
                mistake.number not in self.infected
                and not self._tired(mistake)
                and (mistake.loud or mistake.change(value, first, second) != value)
            ):
                self.infected[mistake.number] = (number, mistake)
        return value

    def _tired(self, mistake: Mistake) -> bool:
        """Tell whether a mistake was tried often in this walk and may be passed over in this step."""
        return (
            self.patience > 0 and self.in_walk[mistake.number] > OFTEN and (mistake.number + self.taken) % SELDOM != 0
        )

    def begin_walk(self, start: Words) -> int:
        """Begin a walk from a state that is told: what was tried often is tried again; return how many mistakes that state finds."""
        self.in_walk = Counter()
        told = [(start[word], some) for (array, word), some in self.words.items() if array == "state"]
        found = sum(
            self._tried(mistake, differs=True)
            for word, some in told
            for mistake in some
            if mistake.change(word, None, None) != word
        )
        if found:
            self._forget_found()
        return found

    def _make_quiet(self) -> None:
        self.quiet = {
            number: (max(m.quiet[0] for m in pending), min(m.quiet[1] for m in pending))  # type: ignore[index]
            for number, pending in self.narrow.items()
            if pending
        }

    def step(self, memory: Words, values: Words, inputs: Words, results: Words) -> int:
        """Take a right step in place; return how many mistakes it found."""
        start, earlier = list(memory), list(results)
        self.before = {id(memory): start, id(results): earlier}
        self.infected, self.asked = {}, set()
        self.taken += 1
        if not self.quiet:
            self._make_quiet()
        self.watched.hook = self._watch
        self.watched.protection.step(memory, values, inputs, results)
        moving, bits = start[state.STATE], results[outputs.CONDITIONS] & ALL_BITS  # only the table changes the state
        right = (memory[:], results[:])
        found = 0
        for number, mistake in self.infected.values():
            found += self._tried(
                mistake, differs=self._with_hook(number, mistake, start, values, inputs, earlier) != right
            )
        found += self._words(start, values, inputs, earlier, right)
        found += self._with_tables(moving, bits, start, values, inputs, earlier, right)
        found += self._with_swaps(start, values, inputs, earlier, right)
        if found:
            self._forget_found()
        return found

    def _tried(self, mistake: Mistake, *, differs: bool) -> bool:
        mistake.tries += 1
        self.in_walk[mistake.number] += 1
        if differs:
            self.found.add(mistake.number)
            self.latest = mistake.name
        elif self.patience and mistake.tries >= self.patience:
            self.left_alone.add(mistake.number)
        return differs

    def _run(self, start: Words, values: Words, inputs: Words, earlier: Words) -> tuple[Words, Words] | None:
        memory, results = list(start), list(earlier)
        self.before = {id(memory): start, id(results): earlier}
        try:
            self.steps.step(memory, values, inputs, results)
        except (ArithmeticError, LookupError, NameError, ValueError, TypeError, struct.error):
            return None
        return memory, results

    def _with_hook(
        self, number: int, mistake: Mistake, start: Words, values: Words, inputs: Words, earlier: Words
    ) -> tuple[Words, Words] | None:
        change, place = mistake.change, self.program.places[number]
        if number not in self.with_one_hook:
            own = place.module, place.function
            first = next(n for n, p in enumerate(self.program.places) if (p.module, p.function) == own)
            self.with_one_hook[number] = self.right.with_one_hook(number, place, first)
        module = self.right.modules[place.module]
        whole = getattr(module, place.function)
        setattr(module, place.function, self.with_one_hook[number])
        self.right.hook = lambda _, v, x, y: change(v, x, y)
        try:
            return self._run(start, list(values), list(inputs), earlier)
        finally:
            setattr(module, place.function, whole)

    def _words(self, start: Words, values: Words, inputs: Words, earlier: Words, right: tuple[Words, Words]) -> int:
        """Try words kept wrongly as a whole: settings and inputs before the step, state around it, outputs after it."""
        found = 0
        for (array, word), pending in self.words.items():
            if array == "settings" and word not in self.asked:
                continue
            for mistake in pending:
                change = mistake.change
                if array in ("state", "outputs"):
                    words = right[array == "outputs"]
                    if change(words[word], None, None) != words[word]:
                        found += self._tried(mistake, differs=True)
                    continue
                given = [list(values), list(inputs)]
                words = given[array == "inputs"]
                wrong = change(words[word], None, None)
                if wrong != words[word]:
                    words[word] = wrong
                    found += self._tried(mistake, differs=self._run(start, given[0], given[1], earlier) != right)
        return found

    def _with_tables(
        self,
        moving: int,
        bits: int,
        start: Words,
        values: Words,
        inputs: Words,
        earlier: Words,
        right: tuple[Words, Words],
    ) -> int:
        found = 0
        pair = moving, bits
        if pair not in self.pairs:
            well = settled(table.TABLE, table.MOST_MOVES, moving, bits)
            left = [mistake for mistake in self.tables if mistake.number not in self.found]
            self.pairs[pair] = [m for m in left if settled(*m.change(0, 0, 0), moving, bits) != well]
        module = self.right.table
        good = module.TABLE, module.MOST_MOVES
        for mistake in self.pairs[pair]:
            if mistake.number not in self.found and mistake.number not in self.left_alone:
                module.TABLE, module.MOST_MOVES = mistake.change(0, 0, 0)
                found += self._tried(mistake, differs=self._run(start, values, inputs, earlier) != right)
        module.TABLE, module.MOST_MOVES = good
        return found

    def _with_swaps(
        self, start: Words, values: Words, inputs: Words, earlier: Words, right: tuple[Words, Words]
    ) -> int:
        found = 0
        for number, (mistake, swap) in self.swaps.items():
            module = self.right.modules[swap.module]
            if number not in self.swapped:
                self.swapped[number] = swapped.with_swap(module, swap)
            whole = getattr(module, swap.function)
            setattr(module, swap.function, self.swapped[number])
            found += self._tried(mistake, differs=self._run(start, list(values), list(inputs), earlier) != right)
            setattr(module, swap.function, whole)
        return found

    def _forget_found(self) -> None:
        gone = self.found | self.left_alone
        self.swaps = {number: held for number, held in self.swaps.items() if number not in gone}
        self.tables = [m for m in self.tables if m.number not in self.left_alone]
        self.pairs = {} if not self.taken else self.pairs
        for lists in (self.narrow, self.other, self.words):
            for key, pending in lists.items():
                if any(m.number in gone for m in pending):
                    lists[key] = [m for m in pending if m.number not in gone]  # type: ignore[index]
        self._make_quiet()
        pending_at = {number for lists in (self.narrow, self.other) for number, some in lists.items() if some}
        if any(some for (array, _), some in self.words.items() if array == "settings"):
            pending_at |= self.of_settings
        if len(pending_at) < len(self.hooked) / 2:  # a hook that has nothing to look for takes its time all the same
            self.watched, self.hooked = Hooked(only=pending_at), pending_at

    def pending(self) -> list[Mistake]:
        """Return what has not been found."""
        gone = self.found | self.left_alone if not self.patience else self.found
        return [mistake for mistake in self.mistakes if mistake.number not in gone]


def _harmless(what: str, sides: spans.Span) -> bool:
    """Tell whether a comparison of such sides in fewer digits comes out as the right one."""
    if what == "compared as single floats":
        return max(-sides[0], sides[1]) <= 1 << 24
    if what == "compared unsigned":
        return sides[0] >= 0
    bits = what.removeprefix("compared in ").removesuffix(" bits")
    return bits.isdigit() and 0 <= sides[0] <= sides[1] < 1 << int(bits)


def index_name(place: Place) -> str:
    """Return the name by which a place reads its array."""
    return place.text.partition("[")[2].rstrip("]").rpartition(".")[2]


def _elsewhere(value: Any, array: Any, index: Any, place: int) -> Any:
    array[place] = value
    return value if place == index else array[index]


Row = tuple[int, int, int, int, int]
Rows = Sequence[Row]


def settled(rows: Rows, most: int, now: int, bits: int) -> tuple[int, tuple[int, ...]]:
    """Return where a table leads from a state with these bits, and the effects on the way."""
    effects = []
    for _ in range(most):
        row = next((row for row in rows if row[0] == now and bits & row[1] == row[2]), None)
        if row is None:
            break
        now = row[3]
        effects.append(row[4])
        if row[4] != table.NONE:
            break
    return now, tuple(effects)


def wrong_tables(rows: list[Row]) -> Iterator[tuple[str, Rows, int]]:
    """Yield tables with one field changed, a bit more or less, rows lost, swapped, doubled or moved, and the moves miscounted."""
    most, count = table.MOST_MOVES, len(rows)
    states, effects = range(state.LOCKED_OUT + 1), range(table.REFUSE_RESET + 1)
    yield "read once only", rows, 1
    yield "read twice at most", rows, 2
    yield "from the last row up", rows[::-1], most
    for n, row in enumerate(rows):
        rest = rows[:n], rows[n + 1 :]

        def changed(what: str, *new: Row, at: int = n, rest: Any = rest) -> tuple[str, Rows, int]:
            return f"row {at}: {what}", [*rest[0], *new, *rest[1]], most

        now, mask, value, then, effect = row
        yield changed("lost")
        yield from (changed(f"of state {s}", (s, mask, value, then, effect)) for s in states if s != now)
        yield from (changed(f"to state {s}", (now, mask, value, s, effect)) for s in states if s != then)
        yield from (changed(f"effect {e}", (now, mask, value, then, e)) for e in effects if e != effect)
        for number in range(len(conditions.NAMES)):
            bit, name = 1 << number, conditions.NAMES[number]
            if mask & bit:
                yield changed(f"does not look at {name}", (now, mask & ~bit, value & ~bit, then, effect))
                yield changed(f"wants {name} otherwise", (now, mask, value ^ bit, then, effect))
            else:
                yield changed(f"wants {name} off", (now, mask | bit, value, then, effect))
                yield changed(f"wants {name} on", (now, mask | bit, value | bit, then, effect))
        for keep in range(1, 16):
            cut = (1 << keep) - 1
            if mask & ~cut:
                yield changed(f"in {keep} bits", (now, mask & cut, value & cut, then, effect))
        for other in range(count):
            if other == n:
                continue
            yield f"row {n} a copy of row {other}", [*rest[0], rows[other], *rest[1]], most
            if other > n:
                swapped = list(rows)
                swapped[n], swapped[other] = rows[other], row
                yield f"rows {n} and {other} swapped", swapped, most
            moved = [*rest[0], *rest[1]]
            moved.insert(other, row)
            yield f"row {n} moved to {other}", moved, most


CHOICES = ("within", "plausible", "reload_guard")  # functions that answer yes or no


def span(place: Place) -> spans.Span | None:
    """Return the span of a place that holds a number; None for one that holds bits, a choice or a constant."""
    if place.kind == hooked.VALUE and place.text.partition("(")[0] in CHOICES:
        return None
    bitwise = place.kind == hooked.OPERATION and place.of in ("BitAnd", "BitOr", "BitXor")
    held = (hooked.READ, hooked.STORE, hooked.VALUE, hooked.OPERATION)
    return None if bitwise or place.kind not in held or place.module not in STEP_MODULES else spans.span_of(place)
