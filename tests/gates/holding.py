"""What the logic does, held in a file that held.py compares with: the vectors, saved records, seals and broken ones."""

import json
import shutil
from collections.abc import Iterator
from pathlib import Path

from protect import outputs, ranges, saved, seal, state
from replay.port.questions import pairs, record_of
from replay.port.vectors import Vectors, remembering

HELD = Path(__file__).with_name("held.py")


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


def fills(vectors: Vectors) -> Iterator[tuple[int, list[int], list[int], list[int]]]:
    """Yield (number, settings, state, its record), for the last state of some cases."""
    for number, case in enumerate(vectors.cases[::8]):
        values, memory = list(case.settings), list(case.ticks[-1].state)
        yield 8191 * number % saved.NUMBERS, values, memory, record_of(8191 * number % saved.NUMBERS, values, memory)


def recalls(vectors: Vectors) -> Iterator[tuple[list[int], list[int], list[int], int, list[int]]]:
    """Yield (settings, first record, second record, answer, state after it)."""
    for case in (vectors.cases[0], vectors.cases[-1], *remembering(vectors.cases)):
        values, memory = list(case.settings), list(case.ticks[-1].state)
        for first, second in pairs(values, memory, list(vectors.cases[3].settings)):
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
