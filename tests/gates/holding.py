"""What the logic does, held in a file that held.py compares with: the vectors, saved records, seals and broken ones."""

import json
import shutil
from collections.abc import Iterator
from pathlib import Path

from protect import outputs, ranges, saved, seal, state
from replay.port.vectors import Vectors

HELD = Path(__file__).with_name("held.py")
NUMBERS = ((5, 6), (20000, 0), (6, 5), (65535, 0), (0, 65535), (7, 7), (0, 32767), (0, 32768), (32768, 0))
WORDS = (0, *range(saved.WORDS_AT, saved.CRC_AT, 4))  # where a record holds a word


def hold(vectors: Vectors, folder: Path, name: str = "test_held.py") -> Path:
    """Put held.py and what it holds into a folder, the first under a name that pytest collects."""
    folder.mkdir(exist_ok=True)
    checks = [(check.values, check.fault, check.derived) for check in vectors.checks]
    cases = [(c.settings, c.start, [(t.inputs, t.state, t.outputs) for t in c.ticks]) for c in vectors.cases]
    held = {"checks": checks, "cases": cases, "recalls": list(recalls(vectors)), "fills": list(fills(vectors))}
    held["seals"] = list(sealed_steps(vectors))
    held["next"] = numbers()
    (folder / "held.json").write_text(json.dumps(held))
    shutil.copy(HELD, folder / name)
    return folder / name


def numbers() -> list[tuple[int, int]]:
    """Return pairs of a record's number and the one after it."""
    return [(number, saved.next_number(number)) for number in (0, 1, 32767, 65535)]


def filled(number: int, values: list[int], memory: list[int]) -> list[int]:
    """Return the record of a state."""
    record = [0] * saved.RECORD_SIZE
    saved.fill(record, number, values, memory)
    return record


def sealed_again(record: list[int]) -> list[int]:
    """Return a changed record with its checksum and its second half put right."""
    crc = [0, 0]
    saved.crc_of_content(record, crc)
    saved.put_crc(record, saved.CRC_AT, crc)
    record[saved.COPY_SIZE :] = [saved.BYTE ^ byte for byte in record[: saved.COPY_SIZE]]
    return record


def fills(vectors: Vectors) -> Iterator[tuple[int, list[int], list[int], list[int]]]:
    """Yield (number, settings, state, its record), for the last state of some cases."""
    for number, case in enumerate(vectors.cases[::8]):
        values, memory = list(case.settings), list(case.ticks[-1].state)
        yield 8191 * number % saved.NUMBERS, values, memory, filled(8191 * number % saved.NUMBERS, values, memory)


def slots(values: list[int], memory: list[int]) -> Iterator[tuple[list[int], list[int]]]:
    """Yield pairs of records: numbers around the wrap, nothing, damage at every byte, and every word at its limit."""
    other = [*memory[:2], 3, *memory[3:]]
    for one, two in NUMBERS:
        yield filled(one, values, memory), filled(two, values, other)
    good = filled(1, values, memory)
    for nothing in ([0] * saved.RECORD_SIZE, [255] * saved.RECORD_SIZE):
        yield from ((nothing, nothing), (good, nothing), (nothing, good))
    for place in range(saved.RECORD_SIZE):
        yield (
            [byte ^ (1 << place % 8) if at == place else byte for at, byte in enumerate(good)],
            [0] * saved.RECORD_SIZE,
        )
    for place in range(saved.COPY_SIZE):  # both halves flipped alike, which the complement cannot see
        twin = place + saved.COPY_SIZE
        yield good, [byte ^ (128 >> place % 8) if at in {place, twin} else byte for at, byte in enumerate(good)]
    limits = (ranges.TRIP_DELAY, -1, ranges.TRIP_MEMORY, ranges.TRIPS_TO_LOCKOUT, ranges.FAULT_DELAY, -1)
    ends = [values[place] if place >= 0 else 2047 for place in limits] + [5, 16, 0]
    ends[5] = 3
    for place, end in zip(WORDS, [0x1FFFF, *ends], strict=False):
        resets = [values[ranges.RESETS_MOST] + more << state.RESETS_SHIFT for more in (0, 1)]
        for word in (0, 1, 2, 3, 4, 5, 6, 15, 16, 17, *resets, end - 1, end, end + 1, (1 << 30) - 1, 1 << 30):
            record = list(good)
            saved.put_word(record, place, max(word, 0))
            yield sealed_again(record), [0] * saved.RECORD_SIZE


def recalls(vectors: Vectors) -> Iterator[tuple[list[int], list[int], list[int], int, list[int]]]:
    """Yield (settings, first record, second record, answer, state after it)."""
    for case in (vectors.cases[0], vectors.cases[-1]):
        values, memory = list(case.settings), list(case.ticks[-1].state)
        strange = filled(3, list(vectors.cases[3].settings), memory)  # made under other settings
        for first, second in (*slots(values, memory), (strange, strange)):
            after = [0] * state.STATE_SIZE
            yield values, first, second, saved.recall(after, values, first, second), after


def sealed_steps(vectors: Vectors) -> Iterator[dict[str, object]]:
    """Yield sealed steps of some cases, by name: what goes in, whether the seals hold, what comes out.

    Each with everything whole, and with one bit of the state, the settings or the seals flipped.
    """
    for number, case in enumerate(vectors.cases[::16]):
        whole = [list(case.ticks[0].state), list(case.settings), [0] * seal.SEALS_SIZE]
        seal.seal_state(whole[0], whole[2])
        seal.seal_settings(whole[1], whole[2])
        flips = [(array, place, (7 * place + number) % 30) for array in range(3) for place in range(len(whole[array]))]
        for array, place, bit in ((0, 0, None), *flips):
            arrays = [list(words) for words in whole]
            if bit is not None:
                arrays[array][place] ^= 1 << bit
            inputs, results = list(case.ticks[-1].inputs), [7] * outputs.OUTPUTS_SIZE
            inputs[ranges.RESET] = place & 1
            before = [list(words) for words in arrays]
            hold = seal.seals_hold(*arrays)
            seal.sealed_step(arrays[0], arrays[1], inputs, results, arrays[2])
            yield {"before": before, "inputs": inputs, "hold": hold, "after": arrays, "results": results}
