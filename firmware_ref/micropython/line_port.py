"""The logic behind the line protocol of firmware_ref/README.md, on MicroPython and CPython alike.

On a board: `import line_port; line_port.main()` from a main.py used for the
conformance run only, and `lubetrip conform --serial DEVICE` on the host.
"""

import sys

import ticks

from protect import outputs, ranges, settings, state
from protect.protection import step

WRONG = "error not a line of the protocol"


def said(word: str, numbers: list[int]) -> str:
    """Return a line of the protocol."""
    return word + " " + " ".join([str(number) for number in numbers])


class Port:
    """One machine behind the protocol."""

    def __init__(self) -> None:
        self.settings = [0] * ranges.SETTINGS_SIZE
        self.state = [0] * state.STATE_SIZE
        self.outputs = [0] * outputs.OUTPUTS_SIZE

    def answer(self, line: str) -> str:
        """Return the answer to a line; `error ...` to anything that is none of the protocol."""
        words = line.split()
        if words == ["hello"]:
            return "port 30 lubetrip " + sys.implementation.name
        if words == ["bye"]:
            return "bye"
        try:
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
        return WRONG

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
