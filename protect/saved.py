"""The saved record: what has to survive a power loss, as 88 bytes that are whole or do not count.

Two records are kept, written in turn, so that a power loss while one is written
leaves the other. A record holds its content and, behind it, the complement of
every byte of it:

    byte  0   number of the record, 0 .. 65535, and the form of the record
          4   CRC-32 of the settings it was made under
          8   eight words of the state, in the order of `KEPT` and two more
         40   CRC-32 of bytes 0 .. 39
         44   bytes 0 .. 43 again, each as its complement

A flipped bit breaks the complement, unless its twin in the other half has
flipped too, and then the CRC-32 finds it. With no good record the machine comes
up locked out: an integral that was lost is never taken for an empty one, and a
person looks at the machine before it starts. Time that passed without power is
not known and relaxes nothing: restart delay and start grace begin anew, the
integral, the counted trips and the counted resets stay: switching off and on gives no reset more.

Nothing here belongs to a step. Numbers of 32 bits are kept as bytes or as two
halves, so that no value passes 2^30. The CRC is the common one (reflected,
polynomial 0xEDB88320, begun and ended with all ones; check value 0xCBF43926).
"""

from protect.ranges import FAULT_DELAY, ONE, RESETS_MOST, SETTINGS_SIZE, TRIP_DELAY, TRIP_MEMORY, TRIPS_TO_LOCKOUT
from protect.signals import DOUBTS
from protect.state import (
    CAUSE,
    FAULT_DECLARED,
    FAULT_TIME,
    FLAGS,
    INTEGRAL,
    INTEGRAL_FRACTION,
    LOCKED_OUT,
    MEMORY_LEFT,
    RESETS,
    RESETS_CAUSE,
    RESETS_SHIFT,
    STATE,
    TRIPPED,
    TRIPS,
    power_up,
)

FORM = 2  # of the record; another layout gets another number
NUMBERS = 65536  # record numbers, counted around
SETTINGS_CRC_AT = 4
WORDS_AT = 8
CRC_AT = 40
COPY_SIZE = 44
RECORD_SIZE = 88
NO_RECORD = -1
BYTE = 0xFF
TOO_LARGE = 0x40  # top byte of a word of 2^30, which no record holds

KEPT = (INTEGRAL, INTEGRAL_FRACTION, MEMORY_LEFT, TRIPS, FAULT_TIME, CAUSE)
KEPT_COUNT = 6
KEPT_FLAGS = FAULT_DECLARED | RESETS
STOP_AT = WORDS_AT + 4 * KEPT_COUNT  # TRIPPED, LOCKED_OUT or 0
FLAGS_AT = STOP_AT + 4  # the flags of KEPT_FLAGS


def begin_crc(crc: list[int]) -> None:
    """Begin a CRC-32 that is kept as its low and its high half."""
    crc[0] = 0xFFFF
    crc[1] = 0xFFFF


def add_byte(crc: list[int], byte: int) -> None:
    """Add one byte to a CRC-32."""
    low = crc[0] ^ byte
    high = crc[1]
    for _ in range(8):
        carry = low & 1
        low = (low >> 1) | ((high & 1) << 15)
        high >>= 1
        if carry:
            low ^= 0x8320
            high ^= 0xEDB8
    crc[0] = low
    crc[1] = high


def crc_byte(crc: list[int], place: int) -> int:
    """Return byte 0 .. 3 of a finished CRC-32, the lowest first."""
    return ((crc[place >> 1] ^ 0xFFFF) >> (8 * (place & 1))) & BYTE


def put_crc(record: list[int], at: int, crc: list[int]) -> None:
    """Put a finished CRC-32 into four bytes, the lowest first."""
    for place in range(4):
        record[at + place] = crc_byte(crc, place)


def put_word(record: list[int], at: int, word: int) -> None:
    """Put a word of 0 .. 2^30 into four bytes, the lowest first."""
    for place in range(4):
        record[at + place] = (word >> (8 * place)) & BYTE


def word_at(record: list[int], at: int) -> int:
    """Return the word of four bytes, or -1 for one that no record holds."""
    if record[at + 3] >= TOO_LARGE:
        return -1
    return record[at] | (record[at + 1] << 8) | (record[at + 2] << 16) | (record[at + 3] << 24)


def crc_of_content(record: list[int], crc: list[int]) -> None:
    """Work out the CRC-32 of what stands before it in a record."""
    begin_crc(crc)
    for place in range(CRC_AT):
        add_byte(crc, record[place])


def crc_of_settings(settings: list[int], crc: list[int]) -> None:
    """Work out the CRC-32 of all settings, each as four bytes, derived places included."""
    begin_crc(crc)
    for place in range(SETTINGS_SIZE):
        for shift in range(0, 32, 8):
            add_byte(crc, (settings[place] >> shift) & BYTE)


def fill(record: list[int], number: int, settings: list[int], state: list[int]) -> None:
    """Fill a record with what has to survive of a state."""
    crc = [0, 0]
    put_word(record, 0, number | (FORM << 16))
    crc_of_settings(settings, crc)
    put_crc(record, SETTINGS_CRC_AT, crc)
    for place in range(KEPT_COUNT):
        put_word(record, WORDS_AT + 4 * place, state[KEPT[place]])
    stop = 0
    if state[STATE] >= TRIPPED:
        stop = state[STATE]
    put_word(record, STOP_AT, stop)
    put_word(record, FLAGS_AT, state[FLAGS] & KEPT_FLAGS)
    crc_of_content(record, crc)
    put_crc(record, CRC_AT, crc)
    for place in range(COPY_SIZE):
        record[COPY_SIZE + place] = BYTE ^ record[place]


def holds_crc(record: list[int], at: int, crc: list[int]) -> bool:
    """Tell whether a finished CRC-32 stands at a place of a record."""
    for place in range(4):
        if record[at + place] != crc_byte(crc, place):
            return False
    return True


def is_sealed(record: list[int]) -> bool:
    """Tell whether the halves of a record and its CRC-32 agree."""
    for place in range(COPY_SIZE):
        if (record[place] ^ record[COPY_SIZE + place]) != BYTE:
            return False
    crc = [0, 0]
    crc_of_content(record, crc)
    return holds_crc(record, CRC_AT, crc)


def is_of(record: list[int], settings: list[int]) -> bool:
    """Tell whether a record was made under these settings."""
    crc = [0, 0]
    crc_of_settings(settings, crc)
    return holds_crc(record, SETTINGS_CRC_AT, crc)


def within(word: int, most: int) -> bool:
    """Tell whether a word lies in 0 .. most."""
    return word >= 0 and word <= most


def is_possible(record: list[int], settings: list[int]) -> bool:
    """Tell whether the words of a record are such as a state under these settings may hold."""
    stop = word_at(record, STOP_AT)
    flags = word_at(record, FLAGS_AT)
    cause = word_at(record, WORDS_AT + 20)
    return (
        within(word_at(record, WORDS_AT), settings[TRIP_DELAY])
        and within(word_at(record, WORDS_AT + 4), ONE - 1)
        and within(word_at(record, WORDS_AT + 8), settings[TRIP_MEMORY])
        and within(word_at(record, WORDS_AT + 12), settings[TRIPS_TO_LOCKOUT])
        and within(word_at(record, WORDS_AT + 16), settings[FAULT_DELAY])
        and cause >= 0
        and (cause | DOUBTS) <= (RESETS_CAUSE | DOUBTS)
        and (stop == 0 or stop == TRIPPED or stop == LOCKED_OUT)
        and flags >= 0
        and (flags | KEPT_FLAGS) == KEPT_FLAGS
        and (flags & RESETS) <= (settings[RESETS_MOST] << RESETS_SHIFT)
    )


def number_of(record: list[int], settings: list[int]) -> int:
    """Return the number of a good record made under these settings, or NO_RECORD."""
    if not is_sealed(record) or not is_of(record, settings) or not is_possible(record, settings):
        return NO_RECORD
    number = word_at(record, 0) - (FORM << 16)
    if not within(number, NUMBERS - 1):
        return NO_RECORD
    return number


def is_newer(number: int, than: int) -> bool:
    """Tell which of two record numbers came later, around the end of the numbers."""
    ahead = (number - than) & (NUMBERS - 1)
    return ahead != 0 and ahead < NUMBERS >> 1


def put_back(state: list[int], record: list[int]) -> None:
    """Put what survived into the state of power-up."""
    for place in range(KEPT_COUNT):
        state[KEPT[place]] = word_at(record, WORDS_AT + 4 * place)
    state[FLAGS] |= word_at(record, FLAGS_AT)
    if word_at(record, STOP_AT) != 0:
        state[STATE] = word_at(record, STOP_AT)


def come_up_locked_out(state: list[int], settings: list[int]) -> None:
    """Set the state of a machine of which nothing is known: a person has to look at it before it starts."""
    power_up(state, settings)
    state[STATE] = LOCKED_OUT


def recall(state: list[int], settings: list[int], first: list[int], second: list[int]) -> int:
    """Set the state at power-up from the newer good record; return its number.

    With no good record the state is LOCKED_OUT and NO_RECORD is returned.
    """
    one = number_of(first, settings)
    two = number_of(second, settings)
    if one == NO_RECORD and two == NO_RECORD:
        come_up_locked_out(state, settings)
        return NO_RECORD
    power_up(state, settings)
    if two == NO_RECORD or (one != NO_RECORD and is_newer(one, two)):
        put_back(state, first)
        return one
    put_back(state, second)
    return two


def next_number(number: int) -> int:
    """Return the number of the next record; even ones go to the first place, odd ones to the second."""
    return (number + 1) & (NUMBERS - 1)
