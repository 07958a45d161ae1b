"""The seal: a word of state or settings that was changed from outside leads to a stop, never to a machine that runs on."""

import ctypes
import functools
import itertools
import subprocess
import tempfile
from collections.abc import Iterator
from pathlib import Path

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from protect import outputs, ranges, saved, seal, state
from protect.protection import step
from tests.support.protection import MISSING, PROFILE, Machine, admit
from tests.support.strategies import any_settings, lively, memories, readings
from tests.support.toolchain import C_FOLDER, WARNINGS, need

STATE_WORDS, SETTINGS_WORDS = state.STATE_SIZE, ranges.SETTINGS_SIZE
words_of_32_bits = st.integers(-(1 << 31), (1 << 31) - 1)
halves = st.integers(0, 0xFFFF)


def signed(word: int) -> int:
    """Return the 32-bit pattern of a word as a signed integer."""
    return (word + (1 << 31)) % (1 << 32) - (1 << 31)


def words_of(parts: list[int]) -> list[int]:
    """Return the words of these halves, the low one of each first."""
    return [signed(low | high << 16) for low, high in zip(parts[::2], parts[1::2], strict=True)]


def sums(words: list[int]) -> tuple[int, int]:
    """Return plain and weighted sum as the code works them out."""
    return seal.plain_sum(words, len(words)), seal.weighted_sum(words, len(words))


@functools.cache
def port() -> ctypes.CDLL:
    """Return the C port of the seal."""
    folder = Path(tempfile.mkdtemp())
    command = [need("gcc"), *WARNINGS, "-O2", "-shared", "-fPIC", "-o", folder / "seal.so"]
    subprocess.run([*command, C_FOLDER / "lubetrip.c", C_FOLDER / "lubetrip_seal.c"], check=True)
    return ctypes.CDLL(str(folder / "seal.so"))


def as_c(values: list[int]) -> "ctypes.Array[ctypes.c_int32]":
    """Return integers as the C port takes them."""
    return (ctypes.c_int32 * len(values))(*values)


class Sealed(Machine):
    """A machine that takes sealed steps."""

    def __init__(self, **changes: int) -> None:
        super().__init__(**changes)
        self.seals = [0] * seal.SEALS_SIZE
        seal.seal_settings(self.settings, self.seals)
        seal.seal_state(self.state, self.seals)

    def tick(self, *arguments: int, **inputs: int) -> "Sealed":
        """Take a sealed step."""
        before = list(self.state)
        super().tick(*arguments, **inputs)
        self.state[:] = before
        seal.sealed_step(self.state, self.settings, self.inputs, self.results, self.seals)
        return self


def every_place(machine: Sealed) -> Iterator[tuple[list[int], int, int]]:
    """Yield (array, place, bit) of every bit of state, settings and seals."""
    for array in (machine.state, machine.settings, machine.seals):
        for place, bit in itertools.product(range(len(array)), range(32)):
            yield array, place, bit


@pytest.mark.parametrize(
    ("words", "plain", "weighted"),
    [
        ([], 1, 1),
        ([0] * 25, 1, 1),
        ([0x00020001, -1], 1 + 1 + 2 + 2 * 65_535, 1 + 1 * 1 + 2 * 2 + (3 + 4) * 65_535),
        ([-(1 << 31)], 1 + 32_768, 1 + 2 * 32_768),
        ([-1] * 29, 3_801_031, 112_130_386),
    ],
)
def test_the_sums_are_those_of_the_halves(words: list[int], plain: int, weighted: int) -> None:
    """Catches another order of halves or weights, a sign carried into a half, and sums past 2^30; worked out by hand."""
    assert sums(words) == (plain, weighted)
    assert weighted < 1 << 30


@pytest.mark.slow("tries many cases of a large space")
def test_every_single_flip_of_state_settings_and_seals_is_found() -> None:
    """Catches a bit that neither sum hears of: all 1568, in the reference and in the C port."""
    machine = Sealed().start()
    assert seal.seals_hold(machine.state, machine.settings, machine.seals)
    count = 0
    for array, place, bit in every_place(machine):
        array[place] = signed(array[place] ^ 1 << bit)
        arrays = (machine.state, machine.settings, machine.seals)
        assert not seal.seals_hold(*arrays), (len(array), place, bit)
        assert port().lubetrip_seals_hold(*map(as_c, arrays)) == 0, (len(array), place, bit)
        array[place] = signed(array[place] ^ 1 << bit)
        count += 1

    assert count == 32 * (16 + 29 + 4)
    assert seal.seals_hold(machine.state, machine.settings, machine.seals)


@pytest.mark.outside(
    computation="sums that seal state and settings",
    source="none: sums of our own, without a published value; `protect/seal.py` argues what they find, `python -m tests.campaigns proof` proves it",
    status="none",
    agreement="every flip and pair of halves tried",
)
@pytest.mark.slow("tries many cases of a large space")
@given(st.lists(halves, min_size=4, max_size=50).filter(lambda parts: len(parts) % 2 == 0), st.data())
def test_a_change_within_two_halves_is_found(parts: list[int], data: st.DataObject) -> None:
    """Catches sums that two changes cancel in: any two halves to any values, and so any word and any two bits."""
    one, two = data.draw(st.lists(st.integers(0, len(parts) - 1), min_size=2, max_size=2, unique=True))
    changed = list(parts)
    changed[one] = data.draw(halves)
    opposite = parts[two] + parts[one] - changed[one]  # what leaves the plain sum as it is
    changed[two] = data.draw(st.sampled_from([opposite, parts[two]]) | halves) & 0xFFFF
    assume(changed != parts)

    assert sums(words_of(changed)) != sums(words_of(parts))


@given(words_of_32_bits)
def test_words_and_seals_filled_alike_do_not_agree(word: int) -> None:
    """Catches an erased or overwritten RAM that is taken for a good state with good settings."""
    assert not seal.seals_hold([word] * STATE_WORDS, [word] * SETTINGS_WORDS, [word] * seal.SEALS_SIZE)


@pytest.mark.slow("tries many cases of a large space")
@given(st.data())
def test_with_everything_whole_a_sealed_step_is_the_step(data: st.DataObject) -> None:
    """Catches a seal that changes a decision, or that stops a machine on which nothing is wrong; C port included."""
    named = data.draw(any_settings())
    values = admit(named)
    bare = data.draw(memories(named, data.draw(readings(named))))
    memory, results, wanted, seals = list(bare), [0] * 9, [0] * 9, [0] * seal.SEALS_SIZE
    seal.seal_settings(values, seals)
    seal.seal_state(memory, seals)
    c_memory, c_values, c_results, c_seals = as_c(memory), as_c(values), as_c(results), as_c([0] * seal.SEALS_SIZE)
    port().lubetrip_seal_settings(c_values, c_seals)
    port().lubetrip_seal_state(c_memory, c_seals)
    for _ in range(data.draw(st.integers(1, 6))):
        inputs = [data.draw(st.integers(0, named["max_gap"] + 1)), data.draw(st.integers(0, 1))]
        inputs += [data.draw(st.integers(0, 1)), *data.draw(readings(named))]
        step(bare, values, inputs, wanted)
        seal.sealed_step(memory, values, inputs, results, seals)
        port().lubetrip_sealed_step(c_memory, c_values, as_c(inputs), c_results, c_seals)
        assert (memory, results) == (bare, wanted)
        assert (list(c_memory), list(c_results), list(c_seals)) == (bare, wanted, seals)
        assert seal.seals_hold(memory, values, seals)
        assert port().lubetrip_seals_hold(c_memory, c_values, c_seals) == 1


@pytest.mark.slow("builds the vectors, or goes through all of them")
@given(st.data())
def test_the_c_port_does_the_same_with_anything_broken(data: st.DataObject) -> None:
    """Catches a port that finds less, or that goes on from what it found in another way."""
    named = data.draw(lively())
    arrays = [data.draw(memories(named, (MISSING, MISSING, MISSING))), admit(named), [0] * seal.SEALS_SIZE]
    seal.seal_state(arrays[0], arrays[2])
    seal.seal_settings(arrays[1], arrays[2])
    for _ in range(data.draw(st.integers(1, 3))):
        array = data.draw(st.sampled_from(arrays))
        array[data.draw(st.integers(0, len(array) - 1))] = data.draw(words_of_32_bits | st.integers(0, 5))
    inputs = [
        data.draw(st.integers(0, 5_000)),
        *(data.draw(st.integers(0, 1)) for _ in "12"),
        *data.draw(readings(named)),
    ]
    hold = seal.seals_hold(*arrays)
    memory, values, seals = map(as_c, arrays)
    results, c_results = [7] * 9, as_c([7] * 9)

    assert port().lubetrip_seals_hold(memory, values, seals) == int(hold)
    if not hold:
        seal.sealed_step(arrays[0], arrays[1], inputs, results, arrays[2])
        port().lubetrip_sealed_step(memory, values, as_c(inputs), c_results, seals)
        assert [list(memory), list(values), [signed(word) for word in seals]] == arrays
        assert list(c_results) == results
        assert results[: outputs.STOP_CAUSE] == [0, 1]


def test_every_flipped_bit_of_the_state_stops_the_machine_in_that_step() -> None:
    """Catches a grace, a count or a flag that was changed and is gone by: all bits of the state and of the seals."""
    sound = Sealed().start()
    for place, bit in itertools.product(range(STATE_WORDS + seal.SEALS_SIZE), range(32)):
        machine = Sealed()
        machine.state[:], machine.seals[:] = sound.state, sound.seals
        array, place_in = (machine.state, place) if place < STATE_WORDS else (machine.seals, place - STATE_WORDS)
        array[place_in] = signed(array[place_in] ^ 1 << bit)
        machine.tick()
        assert (machine.permitted, machine.alarm, machine.name) == (False, True, "LOCKED_OUT"), (place, bit)


def test_a_broken_state_comes_up_as_without_a_good_record() -> None:
    """Catches a second rule beside that of the saved record, and a step that is left out."""
    machine, nothing = Sealed().start(), [0] * saved.RECORD_SIZE
    wanted, results = [0] * STATE_WORDS, [0] * 9
    assert saved.recall(wanted, machine.settings, nothing, nothing) == saved.NO_RECORD
    machine.state[state.GRACE_LEFT] = 1 << 29
    machine.tick()
    step(wanted, machine.settings, machine.inputs, results)

    assert (machine.state, machine.results) == (wanted, results)
    assert seal.seals_hold(machine.state, machine.settings, machine.seals)


def test_a_reset_in_the_step_of_discovery_does_not_release() -> None:
    """Catches a reset edge that frees the machine before anybody could see that it was stopped; nor does one held on."""
    machine = Sealed().start()
    machine.state[state.INTEGRAL] = 5
    machine.tick(reset=1, running=0)
    assert machine.name == "LOCKED_OUT"
    machine.spend(10_000, reset=1, running=0)

    assert (machine.name, machine.permitted) == ("LOCKED_OUT", False)


def test_afterwards_a_person_can_reset_as_after_any_lockout() -> None:
    """Catches a state that is never sealed again, so that the machine stays dead until its supply is switched off."""
    machine = Sealed().start()
    machine.state[state.TRIPS] = 99
    machine.spend(60_000, running=0)
    assert machine.name == "LOCKED_OUT"
    machine.press().spend(60_000, running=0)
    assert (machine.name, machine.permitted) == ("STOPPED", True)
    machine.spend(60_000)

    assert (machine.name, machine.permitted) == ("LUBRICATED", True)


@pytest.mark.slow("tries every place of the settings")
@pytest.mark.parametrize("place", range(SETTINGS_WORDS))
@pytest.mark.parametrize("bit", [0, 13, 30, 31])
def test_broken_settings_lock_out_for_good(place: int, bit: int) -> None:
    """Catches broken settings that a reset or a second pass takes for good, and a step worked out from them."""
    machine = Sealed().start()
    machine.settings[place] = signed(machine.settings[place] ^ 1 << bit)
    seals, memory = list(machine.seals), list(machine.state)
    memory[state.STATE] = state.LOCKED_OUT
    for reset in (0, 1, 0, 1, 1, 0, 1):
        for running in (1, 0):
            machine.tick(60_000, reset=reset, running=running)
            assert machine.results == [0, 1, 0, 0, 0, 0, 0, 0, 0]
            assert (machine.state, machine.seals) == (memory, seals)
            assert not seal.seals_hold(machine.state, machine.settings, machine.seals)


def test_settings_that_come_right_again_still_want_a_person() -> None:
    """Catches a bit that flips to and fro and lets the machine run between."""
    machine = Sealed().start()
    machine.settings[ranges.CUT_OUT] ^= 1 << 4
    machine.tick()
    machine.settings[ranges.CUT_OUT] ^= 1 << 4
    machine.spend(120_000, running=0)
    assert (machine.name, machine.permitted) == ("LOCKED_OUT", False)
    machine.press().spend(60_000, running=0)

    assert (machine.name, machine.permitted) == ("STOPPED", True)


def test_what_was_never_sealed_has_no_permission() -> None:
    """Catches a controller that forgot to seal and runs all the same."""
    for sealing in ((), (seal.seal_settings,), (seal.seal_state,)):
        machine = Sealed()
        machine.seals[:] = [0] * seal.SEALS_SIZE
        for give in sealing:
            give(machine.settings if give is seal.seal_settings else machine.state, machine.seals)
        machine.tick(running=0)
        assert (machine.name, machine.permitted) == ("LOCKED_OUT", False)


def test_every_setting_and_derived_place_is_under_the_seal() -> None:
    """Catches a seal that leaves a word out, or weighs two of them alike."""
    values = admit(PROFILE)
    plain, weighted = sums(values)
    for place in range(SETTINGS_WORDS):
        values[place] += 1
        assert sums(values) == (plain + 1, weighted + 2 * place + 1), place
        values[place] -= 1


def test_settings_that_change_within_a_pass_are_found_in_the_next(monkeypatch: pytest.MonkeyPatch) -> None:
    """Catches a seal of the settings that is renewed with that of the state, and so seals what a fault has made."""
    machine = Sealed().start()

    def astray(memory: list[int], values: list[int], inputs: list[int], results: list[int]) -> None:
        """Take a step and write into the settings."""
        step(memory, values, inputs, results)
        values[ranges.TRIP_DELAY] = 1 << 29

    with monkeypatch.context() as patched:
        patched.setattr(seal, "step", astray)
        machine.tick()
    machine.tick()

    assert (machine.name, machine.permitted) == ("LOCKED_OUT", False)
