"""What a port is asked of saved records and seals: lines of the protocol with the answers of the reference.

The records are whole, damaged at every byte, alike damaged in both halves, out of range in every word, of other
settings, and numbered around the wrap; the sealed steps are taken on whole words and with one bit flipped in each.

How to add a question: a method of `_Reference` with the answer, a line in `exchanges`, a row in firmware_ref/README.md.
"""

from collections.abc import Iterator, Sequence
from typing import NamedTuple

from protect import outputs, ranges, saved, seal, signals, state
from protect import settings as settings_rules
from protect.protection import step

Words = list[int]
NUMBERS = (
    *((5, 6), (20000, 0), (6, 5), (65535, 0), (0, 65535), (7, 7), (0, 32767), (0, 32768), (32768, 0), (40000, 300)),
    *((32767, 0), (32769, 0), (0, 32769)),
)
FOLLOWED = (0, 1, 127, 128, 254, 255, 256, 16383, 32767, 32768, 49151, 65279, 65534, 65535)
LIMITS = (0, 1, 2, 3, 4, 5, 6, 15, 16, 17, (1 << 30) - 1, 1 << 30)
BITS = 30  # of a word, in which a flipped bit keeps it within what any target holds


class Exchange(NamedTuple):
    """A line to a port, and the line that it has to answer."""

    asked: str
    answer: str


def hexadecimal(record: Sequence[int]) -> str:
    """Return the bytes of a record as the protocol writes them."""
    return bytes(record).hex()


def said(word: str, *numbers: int) -> str:
    """Return a line of a word and numbers."""
    return " ".join([word, *map(str, numbers)])


class _Reference:
    """The reference behind the protocol's words for records and seals."""

    def __init__(self, settings: Sequence[int]) -> None:
        self.settings, self.state = list(settings), [0] * state.STATE_SIZE
        self.seals, self.outputs = [0] * seal.SEALS_SIZE, [0] * outputs.OUTPUTS_SIZE
        state.power_up(self.state, self.settings)

    def power_up(self) -> Exchange:
        state.power_up(self.state, self.settings)
        return Exchange(said("set", *self.settings), said("state", *self.state))

    def step(self, inputs: Sequence[int]) -> Exchange:
        step(self.state, self.settings, list(inputs), self.outputs)
        return Exchange(said("step", *inputs), said("done", *self.state, *self.outputs))

    def save(self, number: int) -> Exchange:
        return Exchange(said("save", number), f"saved {hexadecimal(record_of(number, self.settings, self.state))}")

    def recall(self, first: Sequence[int], second: Sequence[int]) -> Exchange:
        number = saved.recall(self.state, self.settings, list(first), list(second))
        asked = f"recall {hexadecimal(first)} {hexadecimal(second)}"
        return Exchange(asked, said("recalled", number, *self.state))

    def seal(self) -> Exchange:
        seal.seal_state(self.state, self.seals)
        seal.seal_settings(self.settings, self.seals)
        return Exchange("seal", said("seals", *self.seals))

    def flip(self, array: int, place: int, bit: int) -> Exchange:
        (self.state, self.settings, self.seals)[array][place] ^= 1 << bit
        return Exchange(
            said("flip", array, place, bit), said("holds", int(seal.seals_hold(self.state, self.settings, self.seals)))
        )

    def sealed(self, inputs: Sequence[int]) -> Exchange:
        seal.sealed_step(self.state, self.settings, list(inputs), self.outputs, self.seals)
        return Exchange(said("sealed", *inputs), said("passed", *self.state, *self.outputs, *self.seals))


def record_of(number: int, settings: Words, memory: Words) -> Words:
    """Return the record of a state."""
    record = [0] * saved.RECORD_SIZE
    saved.fill(record, number, settings, memory)
    return record


def sealed_again(record: Words) -> Words:
    """Return a changed record with its checksum and its second half put right."""
    crc = [0, 0]
    saved.crc_of_content(record, crc)
    saved.put_crc(record, saved.CRC_AT, crc)
    record[saved.COPY_SIZE :] = [saved.BYTE ^ byte for byte in record[: saved.COPY_SIZE]]
    return record


def pairs(settings: Words, memory: Words, other: Words) -> Iterator[tuple[Words, Words]]:
    """Yield pairs of records of a state; `other`: settings that these are not."""
    nothing, good = [0] * saved.RECORD_SIZE, record_of(1, settings, memory)
    twin = [*memory[:1], memory[1] ^ 1, *memory[2:]]
    yield from ((record_of(one, settings, memory), record_of(two, settings, twin)) for one, two in NUMBERS)
    yield from ((good, nothing), (nothing, good), (nothing, nothing), ([saved.BYTE] * saved.RECORD_SIZE,) * 2)
    yield (record_of(3, other, memory),) * 2
    yield record_of(saved.NUMBERS - 1, settings, memory), nothing  # the last number by itself
    for form in (saved.FORM - 1, saved.FORM + 1):
        for number in (0, 1, saved.NUMBERS - 1):
            record = list(good)
            saved.put_word(record, 0, number | (form << 16))
            yield sealed_again(record), nothing
    for place in range(saved.RECORD_SIZE):
        yield [byte ^ (1 << place % 8) if at == place else byte for at, byte in enumerate(good)], nothing
    for place in range(saved.COPY_SIZE):  # both halves flipped alike, which the complement cannot see
        both = place, place + saved.COPY_SIZE
        yield nothing, [byte ^ (128 >> place % 8) if at in both else byte for at, byte in enumerate(good)]
    limits = sorted(
        {
            *LIMITS,
            *(
                settings[p] + d
                for p in (ranges.TRIP_DELAY, ranges.TRIP_MEMORY, ranges.TRIPS_TO_LOCKOUT, ranges.FAULT_DELAY)
                for d in (0, 1)
            ),
            *((settings[ranges.RESETS_MOST] + more) << state.RESETS_SHIFT for more in (0, 1)),
            2047,
            2048,
            0x1FFFF,
            0x20000,
        }
    )
    for place in (0, *range(saved.WORDS_AT, saved.CRC_AT, 4)):
        for word in limits:
            record = list(good)
            saved.put_word(record, place, word)
            yield sealed_again(record), nothing


def exchanges(stories: Sequence[tuple[Sequence[int], Sequence[Sequence[int]]]]) -> Iterator[Exchange]:
    """Yield all questions: on every story (settings, inputs of its steps) a record; on the first everything else."""
    for number, (settings, inputs) in enumerate(stories):
        port = _Reference(settings)
        yield port.power_up()
        yield from (port.step(row) for row in inputs)
        yield port.save((8191 * number + 65535) % saved.NUMBERS)
        if number == 0:
            for place, (first, second) in enumerate(pairs(list(settings), list(port.state), list(stories[-1][0]))):
                if place < len(NUMBERS):  # what a record does not hold is that of power-up, whatever was there before
                    yield port.step((1, 1, 1, 1, 2, 3))
                    yield port.step((1000, 1, 0, 2, 3, 4))
                yield port.recall(first, second)
        held = list(port.state)
        record = record_of(number, port.settings, held)
        yield port.recall(record, [0] * saved.RECORD_SIZE)
        yield port.seal()
        # Running, with the reset on, between cut-out and cut-in: no flag of before is put right by what is read.
        held_oil = settings[ranges.RELOAD] + settings[ranges.CUT_OUT]
        yield port.sealed((1000, 1, 1, held_oil, settings[ranges.RELOAD], settings[ranges.RELOAD]))
        yield from (port.sealed(row) for row in inputs[-2:])
    for number in FOLLOWED:
        yield Exchange(said("next", number), said("next", saved.next_number(number)))
    yield from _flipped(*stories[0])
    yield from _flipped_while_stopped(stories[0][0])
    yield from _never_left_together(stories[0][0])
    yield from _heaviest()


def _heavy(least: int, most: int) -> int:
    """Return the number of a range whose halves of 16 bits come to most, or nearly so: its low half all ones."""
    if least < 0:
        return -1
    return most if most < saved.NUMBERS else ((most + 1) >> 16 << 16) - 1


def _heaviest() -> Iterator[Exchange]:
    """Yield seals of settings and a state whose halves are all but the largest, for sums that are kept too narrow."""
    values = [_heavy(least, most) for *_, least, most in ranges.SETTINGS]
    values[ranges.OIL_MOST] = values[ranges.SUCTION_MOST] = values[ranges.RELOAD]
    for lower, higher, gap in reversed(settings_rules.RELATIONS):
        while values[lower] + gap > values[higher]:
            values[lower] -= 1 << 16
    values += [0] * (ranges.SETTINGS_SIZE - ranges.SETTING_COUNT)
    settings_rules.derive(values)
    port = _Reference(values)
    yield port.power_up()
    yield port.step((1, 1, 0, -1, -1, -1))  # a reading of which all bits are on
    yield port.seal()
    yield port.sealed((65535, 1, 0, -1, -1, -1))


def _flipped(settings: Sequence[int], inputs: Sequence[Sequence[int]]) -> Iterator[Exchange]:
    """Yield a flipped bit in each word of state, settings and seals, each followed by sealed steps with resets."""
    sizes = state.STATE_SIZE, ranges.SETTINGS_SIZE, seal.SEALS_SIZE
    reset = list(inputs[-1])
    for array, size in enumerate(sizes):
        for place in range(size):
            port = _Reference(settings)
            yield port.power_up()
            yield from (port.step(row) for row in inputs[:2])
            yield port.seal()
            yield port.flip(array, place, (7 * place + 13 * array) % BITS)
            for pressed in (1, 0, 1):
                reset[ranges.RESET] = pressed
                yield port.sealed(reset)


def _flipped_while_stopped(settings: Sequence[int]) -> Iterator[Exchange]:
    """Yield flipped bits in a machine that is tripped or locked out; settings are put right again at last."""
    reload = settings[ranges.RELOAD]
    flips = [(0, place, 3) for place in (0, 1, 6, 8, 10)] + [(1, ranges.CUT_OUT, 11), (2, 0, 5), (2, 3, 2)]
    for stop in (state.TRIPPED, state.LOCKED_OUT):
        memory = _much(settings, stop)
        for array, place, bit in flips:
            port = _Reference(settings)
            yield port.power_up()
            yield port.recall(record_of(1, port.settings, memory), [0] * saved.RECORD_SIZE)
            yield port.step((0, 0, 0, reload, reload, reload))
            yield port.seal()
            yield port.flip(array, place, bit)
            for running, reset in ((1, 1), (0, 0), (0, 1)):
                yield port.sealed((1, running, reset, reload + running, reload + reset, reload + reset))
            if array == 1:
                yield port.flip(array, place, bit)
                yield port.sealed((1, 0, 0, reload, reload, reload))


def _much(settings: Sequence[int], stop: int) -> Words:
    """Return the state of a stopped machine in which nothing that a record keeps is nothing."""
    memory = [0] * state.STATE_SIZE
    memory[state.STATE], memory[state.CAUSE] = stop, state.SENSOR_CAUSE | signals.OIL_STUCK
    memory[state.INTEGRAL], memory[state.INTEGRAL_FRACTION] = settings[ranges.TRIP_DELAY] // 2, 1025
    memory[state.MEMORY_LEFT], memory[state.TRIPS] = settings[ranges.TRIP_MEMORY] // 2, 1
    memory[state.FAULT_TIME], memory[state.FLAGS] = settings[ranges.FAULT_DELAY], state.FAULT_DECLARED | state.ONE_RESET
    return memory


def _never_left_together(settings: Sequence[int]) -> Iterator[Exchange]:
    """Yield steps after good records of what no step leaves together, and what is saved of them."""
    reload = settings[ranges.RELOAD]
    held = reload + settings[ranges.CUT_OUT]
    for changes in (
        {state.INTEGRAL: settings[ranges.TRIP_DELAY]},
        {state.MEMORY_LEFT: 0},
        {state.FAULT_TIME: 0},
        {state.FLAGS: state.ONE_RESET},
        {state.TRIPS: 0},
    ):
        memory = _much(settings, state.STOPPED)
        for place, word in changes.items():
            memory[place] = word
        port = _Reference(settings)
        yield port.power_up()
        yield port.recall(record_of(2, port.settings, memory), [0] * saved.RECORD_SIZE)
        for n, beat in enumerate((0, 0, 1)):
            yield port.step((beat, 1, 0, held + n, reload + n, reload + n))
            yield port.save(n)
