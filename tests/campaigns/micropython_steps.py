"""What a campaign asks of the logic on MicroPython: 32-bit words in the file ASKED, words in ANSWERED for them."""

from array import array

from protect import outputs, ranges, settings, state
from protect.protection import step

ASKED, ANSWERED = "/asked", "/answered"
FIRST_FAULT, DERIVE, POWER_UP, RUN_STEPS = range(4)  # as in runtimes.py


def run_steps(given: "array[int]") -> "array[int]":
    """Take steps: settings, state, the inputs of each; return state and outputs of each."""
    values = list(given[: ranges.SETTINGS_SIZE])
    memory = list(given[ranges.SETTINGS_SIZE : ranges.SETTINGS_SIZE + state.STATE_SIZE])
    begin, results, inputs = len(values) + len(memory), [0] * outputs.OUTPUTS_SIZE, [0] * ranges.INPUTS_SIZE
    count = (len(given) - begin) // ranges.INPUTS_SIZE
    trail, at = array("i", bytes(4 * count * (state.STATE_SIZE + outputs.OUTPUTS_SIZE))), 0
    for number in range(count):
        for place in range(ranges.INPUTS_SIZE):
            inputs[place] = given[begin + number * ranges.INPUTS_SIZE + place]
        step(memory, values, inputs, results)
        for word in memory:
            trail[at] = word
            at += 1
        for word in results:
            trail[at] = word
            at += 1
    return trail


def answer(asked: int) -> None:
    """Answer one question."""
    with open(ASKED, "rb") as file:  # noqa: PTH123 - MicroPython has no pathlib
        given = array("i", file.read())
    if asked == RUN_STEPS:
        made = run_steps(given)
    else:
        values = list(given)
        if asked == FIRST_FAULT:
            made = array("i", [settings.first_fault(values)])
        elif asked == DERIVE:
            settings.derive(values)
            made = array("i", values)
        else:
            memory = [0] * state.STATE_SIZE
            state.power_up(memory, values)
            made = array("i", memory)
    with open(ANSWERED, "wb") as file:  # noqa: PTH123
        file.write(made)
