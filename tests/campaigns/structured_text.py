"""The Structured Text behind the calls of the C port, compiled, so that a campaign takes it through millions of steps."""

import ctypes
from typing import Any

import numba
import numpy as np

from firmware_ref.generate import STRUCTURED_TEXT
from protect import outputs, ranges, state
from tests.support.structured_text import Program

BLOCK = "(* One machine under protection"  # what stands from here on calls the settings of a site


def words(address: int, *shape: int) -> Any:
    """Return int32 words at an address."""
    return np.frombuffer((ctypes.c_int32 * int(np.prod(shape))).from_address(address), np.int32).reshape(shape)


class StructuredTextPort:
    """What a campaign calls: the names and arguments of the C port, arrays as addresses of int32 words."""

    def __init__(self, text: str = "") -> None:
        """Compile the text of the reference, or another one; that takes half a minute."""
        text = text or STRUCTURED_TEXT.read_text(encoding="utf-8")
        self.program = Program(text[: text.index(BLOCK)], numba.njit)
        step = self.program["LT_protection_step"]

        @numba.njit
        def run_steps(inputs: Any, settings: Any, memory: Any, trail: Any) -> None:
            for number in range(inputs.shape[0]):
                out = trail[number]
                step(memory, settings, inputs[number], out[memory.size :])
                out[: memory.size] = memory

        self.run_steps = run_steps

    def lubetrip_first_fault(self, settings: int) -> int:
        """Check settings."""
        return int(self.program["LT_settings_first_fault"](words(settings, ranges.SETTINGS_SIZE)))

    def lubetrip_derive(self, settings: int) -> None:
        """Fill the derived places."""
        self.program["LT_settings_derive"](words(settings, ranges.SETTINGS_SIZE))

    def lubetrip_power_up(self, memory: int, settings: int) -> None:
        """Set the state of power-up."""
        self.program["LT_state_power_up"](words(memory, state.STATE_SIZE), words(settings, ranges.SETTINGS_SIZE))

    def lubetrip_run_steps(self, inputs: int, steps: int, settings: int, memory: int, trail: int) -> None:
        """Take steps; note state and outputs of each."""
        self.run_steps(
            words(inputs, steps, ranges.INPUTS_SIZE),
            words(settings, ranges.SETTINGS_SIZE),
            words(memory, state.STATE_SIZE),
            words(trail, steps, state.STATE_SIZE + outputs.OUTPUTS_SIZE),
        )
