"""The logic behind the line protocol of firmware_ref/README.md, on MicroPython and CPython alike.

On a board: `import line_port; line_port.main()` from a main.py used for the
conformance run only, and `lubetrip conform --serial DEVICE` on the host.
"""

import sys

import ticks

from protect import outputs, ranges, saved, seal, settings, state
from protect.protection import step

try:
    from logic import DIGEST as LOGIC
except ImportError:
    LOGIC = ""
try:
    from board_settings import DIGEST as SETTINGS
except ImportError:
    SETTINGS = ""

WRONG = "error not a line of the protocol"


def said(word: str, numbers: list[int]) -> str:
    """Return a line of the protocol."""
    return word + " " + " ".join([str(number) for number in numbers])


def about(word: str) -> str:
    """Return what the board is made of, in answer to a word of one line; `none` where it does not know."""
    known = {"logic": LOGIC, "settings": SETTINGS, "build": sys.version.replace("\n", " ")}[word]
    return f"{word} {known}" if known else "none"


def record_of(text: str) -> list[int]:
    """Return the bytes of a record. Raises ValueError for anything else."""
    if len(text) != 2 * saved.RECORD_SIZE:
        raise ValueError
    return [int(text[at : at + 2], 16) for at in range(0, len(text), 2)]


class Port:
    """One machine behind the protocol."""

    def __init__(self) -> None:
        self.settings = [0] * ranges.SETTINGS_SIZE
        self.state = [0] * state.STATE_SIZE
        self.outputs = [0] * outputs.OUTPUTS_SIZE
        self.seals = [0] * seal.SEALS_SIZE

    def answer(self, line: str) -> str:
        """Return the answer to a line; `error ...` to anything that is none of the protocol."""
        words = line.split()
        if words == ["hello"]:
            return "port 30 lubetrip " + sys.implementation.name
        if words == ["bye"]:
            return "bye"
        if len(words) == 1 and words[0] in ("logic", "settings", "build"):
            return about(words[0])
        try:
            if len(words) == 3 and words[0] == "recall":  # noqa: PLR2004
                return self.recall(record_of(words[1]), record_of(words[2]))
            numbers = [int(word) for word in words[1:]]
        except ValueError:
            return WRONG
        return self.answer_numbers("".join(words[:1]), numbers)

    def answer_numbers(self, word: str, numbers: list[int]) -> str:
        """Return the answer to a word with numbers."""
        if word == "set" and len(numbers) == ranges.SETTINGS_SIZE:
            self.settings = numbers
            state.power_up(self.state, self.settings)
            return said("state", self.state)
        if word == "step" and len(numbers) == ranges.INPUTS_SIZE:
            step(self.state, self.settings, numbers, self.outputs)
            return said("done", self.state + self.outputs)
        if word == "check" and len(numbers) == ranges.SETTING_COUNT:
            return self.check(numbers + [0] * (ranges.SETTINGS_SIZE - ranges.SETTING_COUNT))
        if word == "ticks" and len(numbers) == 2:  # noqa: PLR2004
            return said("elapsed", [ticks.elapsed_ms(numbers[0], numbers[1])])
        return self.answer_kept(word, numbers)

    def answer_kept(self, word: str, numbers: list[int]) -> str:
        """Return the answer to a word on saved records and seals."""
        if word == "save" and len(numbers) == 1:
            record = [0] * saved.RECORD_SIZE
            saved.fill(record, numbers[0], self.settings, self.state)
            return "saved " + "".join(["%02x" % byte for byte in record])  # noqa: UP031 - MicroPython formats so
        if word == "next" and len(numbers) == 1:
            return said("next", [saved.next_number(numbers[0])])
        if word == "seal" and not numbers:
            seal.seal_state(self.state, self.seals)
            seal.seal_settings(self.settings, self.seals)
            return said("seals", self.seals)
        if word == "flip" and len(numbers) == 3:  # noqa: PLR2004
            return self.flip(numbers[0], numbers[1], numbers[2])
        if word == "sealed" and len(numbers) == ranges.INPUTS_SIZE:
            seal.sealed_step(self.state, self.settings, numbers, self.outputs, self.seals)
            return said("passed", self.state + self.outputs + self.seals)
        return WRONG

    def recall(self, first: list[int], second: list[int]) -> str:
        """Recall the newer good record."""
        number = saved.recall(self.state, self.settings, first, second)
        return said("recalled", [number] + self.state)  # noqa: RUF005 - MicroPython has no star here

    def flip(self, array: int, place: int, bit: int) -> str:
        """Flip a bit of the state (array 0), the settings (1) or the seals (2), as a fault in RAM does."""
        arrays = (self.state, self.settings, self.seals)
        if not 0 <= array < len(arrays) or not 0 <= place < len(arrays[array]):
            return WRONG
        arrays[array][place] ^= 1 << bit
        return said("holds", [int(seal.seals_hold(self.state, self.settings, self.seals))])

    def check(self, values: list[int]) -> str:
        """Check settings and derive the rest from good ones."""
        fault = settings.first_fault(values)
        if fault == settings.ALL_RIGHT:
            settings.derive(values)
        return said("checked", [fault] + values[ranges.SETTING_COUNT :])  # noqa: RUF005 - MicroPython has no star here


def main() -> None:
    """Answer lines of standard input until `bye` or its end."""
    port = Port()
    while True:
        line = sys.stdin.readline()
        if not line:
            return
        answer = port.answer(line)
        sys.stdout.write(answer + "\n")
        if answer == "bye":
            return
