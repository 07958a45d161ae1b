"""The saved record: whole or not counted, never a mix, and never an integral that was lost and taken for empty."""

import binascii
import ctypes
import functools
import itertools
import subprocess
import tempfile
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from protect import ranges, saved, state
from protect.ranges import NO_READING as MISSING
from protect.signals import STANDSTILL
from replay.port.questions import sealed_again
from tests.support.protection import admit
from tests.support.strategies import any_settings, memories
from tests.support.toolchain import C_FOLDER, WARNINGS, need

SETTINGS = [0] * ranges.SETTINGS_SIZE
for _name, _value in {
    "TRIP_DELAY": 120_000,
    "TRIP_MEMORY": 3_600_000,
    "TRIPS_TO_LOCKOUT": 3,
    "FAULT_DELAY": 10_000,
    "START_GRACE": 30_000,
    "RESTART_DELAY": 60_000,
    "OIL_LEAST": -20_000,
    "RESETS_MOST": 3,
}.items():
    SETTINGS[getattr(ranges, _name)] = _value
NOTHING = [0] * saved.RECORD_SIZE


def remembered(**words: int) -> list[int]:
    """Return a state with some words set."""
    memory = [0] * state.STATE_SIZE
    for name, value in words.items():
        memory[getattr(state, name)] = value
    return memory


OLDER = remembered(INTEGRAL=80_000, INTEGRAL_FRACTION=7, TRIPS=1, MEMORY_LEFT=1_000_000, CAUSE=1)
NEWER = remembered(STATE=4, INTEGRAL=120_000, TRIPS=2, MEMORY_LEFT=3_600_000, FAULT_TIME=10_000, FLAGS=84, CAUSE=2)


def record(number: int, memory: list[int], settings: list[int] = SETTINGS) -> list[int]:
    """Return a record of a state."""
    bytes_ = [0] * saved.RECORD_SIZE
    saved.fill(bytes_, number, settings, memory)
    return bytes_


def recalled(first: list[int], second: list[int]) -> tuple[int, list[int]]:
    """Return number and state after a power-up with these two records."""
    memory = [0] * state.STATE_SIZE
    return saved.recall(memory, SETTINGS, first, second), memory


def kept(memory: list[int]) -> list[int]:
    """Return what a record has to keep of a state."""
    stop = memory[state.STATE] if memory[state.STATE] >= state.TRIPPED else 0
    return [*(memory[place] for place in saved.KEPT), stop, memory[state.FLAGS] & (16 | 7 << 5)]


@functools.cache
def port() -> ctypes.CDLL:
    """Return the C port of the record."""
    folder = Path(tempfile.mkdtemp())
    command = [need("gcc"), *WARNINGS, "-O2", "-shared", "-fPIC", "-o", folder / "saved.so"]
    subprocess.run([*command, C_FOLDER / "lubetrip.c", C_FOLDER / "lubetrip_saved.c"], check=True)
    return ctypes.CDLL(str(folder / "saved.so"))


def words(values: list[int]) -> "ctypes.Array[ctypes.c_int32]":
    """Return integers as the C port takes them."""
    return (ctypes.c_int32 * len(values))(*values)


@pytest.mark.outside(
    computation="CRC-32 of the saved record",
    source="catalogue of parametrised CRCs, CRC-32/ISO-HDLC, check value CBF43926; zlib",
    status="consulted",
    agreement="equal",
)
@given(st.binary(max_size=64))
def test_checksum_is_the_common_crc_32(data: bytes) -> None:
    """Catches a CRC of one's own making.

    Oracle: zlib's, by way of binascii; published check value of "123456789" (CRC-32/ISO-HDLC in the catalogue of parametrised CRCs).
    """
    for text, wanted in ((data, binascii.crc32(data)), (b"123456789", 0xCBF43926)):
        crc = [0, 0]
        saved.begin_crc(crc)
        for byte in text:
            saved.add_byte(crc, byte)
        assert bytes(saved.crc_byte(crc, place) for place in range(4)) == wanted.to_bytes(4, "little")


@pytest.mark.slow("tries many cases of a large space")
@given(st.data())
def test_what_has_to_survive_comes_back(data: st.DataObject) -> None:
    """Catches a word that is lost, cut or put into another's place, whatever the settings and the history."""
    named = data.draw(any_settings())
    settings = admit(named)
    memory = data.draw(memories(named, (MISSING, MISSING, MISSING)))
    number = data.draw(st.integers(0, saved.NUMBERS - 1))
    back = [0] * state.STATE_SIZE

    assert saved.recall(back, settings, record(number, memory, settings), NOTHING) == number
    assert kept(back) == kept(memory)
    assert (back[state.GRACE_LEFT], back[state.RESTART_LEFT]) == (named["start_grace"], named["restart_delay"])


def test_without_a_good_record_the_machine_comes_up_locked_out() -> None:
    """Catches a lost integral that is taken for an empty one."""
    assert (recalled(NOTHING, NOTHING)[0], recalled(NOTHING, NOTHING)[1][state.STATE]) == (-1, state.LOCKED_OUT)
    erased = [0xFF] * saved.RECORD_SIZE
    assert (recalled(erased, erased)[0], recalled(erased, erased)[1][state.STATE]) == (-1, state.LOCKED_OUT)


@pytest.mark.parametrize(
    ("first", "second", "newest"),
    [(6, 7, 7), (8, 7, 8), (65_534, 65_535, 65_535), (0, 65_535, 0), (65_534, 1, 1), (5, 5, 5)],
)
def test_the_newer_record_is_taken_around_the_end_of_the_numbers(first: int, second: int, newest: int) -> None:
    """Catches a comparison that takes the older record for ever once the number has wrapped."""
    assert recalled(record(first, OLDER), record(second, OLDER))[0] == newest


@pytest.mark.parametrize("number", [0, 32_767, 65_535])
def test_every_number_counts_by_itself(number: int) -> None:
    """Catches a number at an end that is taken for none, which the other record hides."""
    assert recalled(record(number, OLDER), NOTHING)[0] == recalled(NOTHING, record(number, OLDER))[0] == number


@pytest.mark.parametrize("form", [0, 1, 3])
@pytest.mark.parametrize("number", [0, 1, 65_535])
def test_a_record_of_another_form_does_not_count(form: int, number: int) -> None:
    """Catches words that are taken for others, as another layout has them, of whatever number."""
    other = record(number, OLDER)
    saved.put_word(other, 0, number | (form << 16))

    assert saved.number_of(sealed_again(other), SETTINGS) == saved.NO_RECORD


def test_words_of_more_than_24_bits_come_back() -> None:
    """Catches the highest byte of a word that is lost or shifted elsewhere: a week of trip memory, the last of the doubts."""
    week = [*SETTINGS]
    week[ranges.TRIP_MEMORY] = 604_800_000
    memory, back = remembered(STATE=4, MEMORY_LEFT=604_800_000, CAUSE=3 | STANDSTILL), [0] * state.STATE_SIZE

    assert saved.recall(back, week, record(4, memory, week), NOTHING) == 4
    assert (back[state.MEMORY_LEFT], back[state.CAUSE]) == (604_800_000, 3 | STANDSTILL)


def test_numbers_go_to_the_two_places_in_turn() -> None:
    """Catches a number after which the only good record is the one being written over."""
    numbers = [saved.NO_RECORD]
    for _ in range(saved.NUMBERS + 2):
        numbers.append(saved.next_number(numbers[-1]))

    assert all((one ^ two) & 1 for one, two in itertools.pairwise(numbers[1:]))
    assert (numbers[1], numbers[saved.NUMBERS], numbers[saved.NUMBERS + 1]) == (0, 65_535, 0)


def test_a_record_of_other_settings_does_not_count() -> None:
    """Catches an integral carried over into settings in which it means something else: any bit of any setting."""
    for place, bit in itertools.product(range(ranges.SETTINGS_SIZE), (0, 7, 15, 29)):
        others = list(SETTINGS)
        others[place] ^= 1 << bit
        assert saved.number_of(record(3, OLDER, others), SETTINGS) == saved.NO_RECORD


@pytest.mark.parametrize(
    "impossible",
    [
        {"INTEGRAL": 120_001},
        {"INTEGRAL_FRACTION": 2048},
        {"MEMORY_LEFT": 3_600_001},
        {"TRIPS": 4},
        {"FAULT_TIME": 10_001},
        {"CAUSE": 5},
        {"CAUSE": 3 | 1 << 15},
        {"CAUSE": 3 | 1 << 27},
        {"FLAGS": 4 << 5},
        {"STATE": 6},
    ],
)
def test_a_sealed_record_of_an_impossible_state_does_not_count(impossible: dict[str, int]) -> None:
    """Catches a state past the bounds that the step relies on, brought in with a correct checksum."""
    assert saved.number_of(record(3, remembered(**impossible)), SETTINGS) == saved.NO_RECORD


@pytest.mark.slow("tries many cases of a large space")
@pytest.mark.parametrize("memory", [OLDER, NEWER])
def test_every_single_and_double_bit_flip_is_detected(memory: list[int]) -> None:
    """Catches a checksum or a complement that two flips can pass: all 704, and all 247456 pairs in the C port."""
    good = record(0x5A5A, memory)
    bits = range(8 * saved.RECORD_SIZE)
    buffer = (ctypes.c_uint8 * saved.RECORD_SIZE)(*good)
    settings, number = words(SETTINGS), port().lubetrip_record_number
    assert number(buffer, settings) == saved.number_of(good, SETTINGS) == 0x5A5A

    for bit in bits:
        flipped = list(good)
        flipped[bit >> 3] ^= 1 << (bit & 7)
        assert saved.number_of(flipped, SETTINGS) == saved.NO_RECORD, bit
    half = 8 * saved.COPY_SIZE
    for bit in range(half):  # the pairs that pass the complement: left to the CRC
        flipped = list(good)
        for twin in (bit, bit + half):
            flipped[twin >> 3] ^= 1 << (twin & 7)
        assert saved.number_of(flipped, SETTINGS) == saved.NO_RECORD, bit
    for one, two in itertools.combinations(bits, 2):
        buffer[one >> 3] ^= 1 << (one & 7)
        buffer[two >> 3] ^= 1 << (two & 7)
        assert number(buffer, settings) == saved.NO_RECORD, (one, two)
        buffer[one >> 3] ^= 1 << (one & 7)
        buffer[two >> 3] ^= 1 << (two & 7)


@pytest.mark.parametrize("erased", [None, 0x00, 0xFF])
def test_power_lost_at_every_byte_of_a_save_leaves_the_older_or_the_newer_record(erased: int | None) -> None:
    """Catches a mix of two records, or an integral emptied by a save that was cut off.

    Written over the record before last in place (None), or after an erase to all zeros or all ones.
    """
    before_last, last, new = record(6, remembered(INTEGRAL=1)), record(7, OLDER), record(8, NEWER)
    seen = set()
    for written in range(saved.RECORD_SIZE + 1):
        rest = before_last[written:] if erased is None else [erased] * (saved.RECORD_SIZE - written)
        number, memory = recalled(new[:written] + rest, last)
        assert (number, kept(memory)) in ((7, kept(OLDER)), (8, kept(NEWER))), written
        seen.add(number)

    assert seen == {7, 8}


@pytest.mark.slow("builds the vectors, or goes through all of them")
@given(st.data())
def test_the_c_port_writes_and_reads_the_same_bytes(data: st.DataObject) -> None:
    """Catches another order of bytes, another bound or another choice between two records in the port."""
    settings = [data.draw(st.integers(-(1 << 30), 1 << 30)) for _ in range(ranges.SETTINGS_SIZE)]
    for place in (ranges.TRIP_DELAY, ranges.TRIP_MEMORY, ranges.TRIPS_TO_LOCKOUT, ranges.FAULT_DELAY):
        settings[place] = data.draw(st.sampled_from([2, 100, 1_000_000]))
    settings[ranges.RESETS_MOST] = data.draw(st.integers(1, 7))
    memory = [
        data.draw(st.sampled_from([0, 1, 2, 3, 4, 5, 16, 84, 224, 256, 2047, 65_539, 1_000_000, 134_152_196]))
        for _ in range(16)
    ]
    numbers = data.draw(st.tuples(st.integers(0, 65_535), st.integers(0, 65_535)))
    records = [(ctypes.c_uint8 * saved.RECORD_SIZE)() for _ in numbers]
    for number, buffer in zip(numbers, records, strict=True):
        port().lubetrip_write_record(buffer, number, words(settings), words(memory))
        assert list(buffer) == record(number, memory, settings)
    if data.draw(st.booleans()):
        records[data.draw(st.integers(0, 1))][data.draw(st.integers(0, 87))] ^= data.draw(st.integers(0, 255))
    back, c_back = [0] * state.STATE_SIZE, words([0] * state.STATE_SIZE)

    number = saved.recall(back, settings, list(records[0]), list(records[1]))
    assert port().lubetrip_recall(c_back, words(settings), *records) == number
    assert list(c_back) == back
    assert port().lubetrip_next_number(number) == saved.next_number(number)
