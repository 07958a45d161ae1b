"""One step of the protection: the six parts in their order, the same in every port.

The readings of a step are applied to the time elapsed since the previous step;
the first step integrates nothing. Settings must have passed
`settings.first_fault` and `settings.derive`, the state must come from
`state.power_up`; all arrays are owned by the caller and written in place.
"""

from protect import conditions, integral, outputs, signals, table, timers


def measure(state: list[int], settings: list[int], inputs: list[int], results: list[int]) -> int:
    """Do parts 1 to 4 with one set of inputs; return the conditions. STATE stays as it is."""
    signals.observe(state, settings, inputs, results)
    integral.update(state, settings, inputs, results)
    timers.update(state, settings, inputs, results)
    bits = conditions.evaluate(state, settings, inputs, results)
    results[outputs.CONDITIONS] = bits
    return bits


def step(state: list[int], settings: list[int], inputs: list[int], results: list[int]) -> None:
    """Advance the state by one set of inputs and fill the results (the outputs array)."""
    bits = measure(state, settings, inputs, results)
    table.settle(state, settings, bits)
    outputs.write(state, settings, results)
