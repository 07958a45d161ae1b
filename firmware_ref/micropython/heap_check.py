"""Take every step of vectors.txt, sealed, with the heap locked and compare every word; runs on MicroPython only.

With the heap locked an allocation raises MemoryError, and any integer that
leaves the small-integer range of a 32-bit port is one. gc.mem_alloc() is
compared as well, before and after each case. Behind the last step of each case a
broken state and broken settings are sealed off in the same way. A case with a
reading outside of that range, which no sensor gives, is taken with the heap open:
its words are compared, its bytes are not counted.
"""

import gc

import micropython

from protect import outputs, ranges, seal, state

# Places in the numbers of a step line: inputs, state, outputs.
STATE_START = ranges.INPUTS_SIZE
OUTPUTS_START = ranges.INPUTS_SIZE + state.STATE_SIZE

# Kept in a word of 32 bits; an integer beyond lies on the heap, and so does -2^30 when it was read from text.
SMALLEST, LARGEST = 1 - (1 << 30), (1 << 30) - 1

memory = [0] * state.STATE_SIZE
results = [0] * outputs.OUTPUTS_SIZE
seals = [0] * seal.SEALS_SIZE


def is_small(steps: list[list[int]]) -> bool:
    """Tell whether every number of a case is a small integer."""
    return all(SMALLEST <= number <= LARGEST for numbers in steps for number in numbers)


def take(settings: list[int], inputs: list[int], *, locked: bool) -> None:
    """Do one step, with the heap locked if wanted. Raises MemoryError."""
    if locked:
        micropython.heap_lock()
    try:
        seal.sealed_step(memory, settings, inputs, results, seals)
    finally:
        if locked:
            micropython.heap_unlock()


def same(words: list[int], numbers: list[int], start: int) -> bool:
    """Compare words with the numbers of a line from a place on, and allocate nothing."""
    for place in range(len(words)):  # noqa: SIM110 - all() of a generator would allocate
        if words[place] != numbers[start + place]:
            return False
    return True


def broken_seals_differ(settings: list[int], inputs: list[int], *, locked: bool) -> int:
    """Return how many of two memory faults, one in the state and one in the settings, leave run permission."""
    memory[state.GRACE_LEFT] ^= 1 << 20
    take(settings, inputs, locked=locked)
    different = results[outputs.RUN_PERMISSION]
    settings[ranges.CUT_OUT] ^= 1 << 20
    take(settings, inputs, locked=locked)
    settings[ranges.CUT_OUT] ^= 1 << 20
    return different + results[outputs.RUN_PERMISSION]


def run_case(settings: list[int], steps: list[list[int]]) -> tuple[int, int]:
    """Return (bytes allocated where none may be, steps that differ) of a case."""
    state.power_up(memory, settings)
    seal.seal_settings(settings, seals)
    seal.seal_state(memory, seals)
    different = 0
    locked = is_small(steps)
    gc.collect()
    before = gc.mem_alloc()
    for numbers in steps:
        take(settings, numbers, locked=locked)
        if not (same(memory, numbers, STATE_START) and same(results, numbers, OUTPUTS_START)):
            different += 1
    different += broken_seals_differ(settings, steps[-1], locked=locked)
    return (gc.mem_alloc() - before if locked else 0), different


def main() -> None:
    """Go through the vector file and print what was found."""
    settings, steps, total, allocated, different = [], [], 0, 0, 0
    with open("vectors.txt") as stream:
        for line in stream:
            words = line.split()
            if words[0] == "step":
                steps.append([int(word) for word in words[1:]])
                continue
            if words[0] == "settings":
                settings = [int(word) for word in words[1:]]
            elif steps:  # the first line behind the steps of a case
                found = run_case(settings, steps)
                total, allocated, different = total + len(steps), allocated + found[0], different + found[1]
                steps = []
    print("steps", total, "bytes allocated", allocated, "steps different", different)


main()
