"""The logic under node, as WebAssembly and on MicroPython, behind the calls of the C port: words over a pipe (runtimes.mjs)."""

import shutil
import subprocess
from pathlib import Path
from typing import Any

import numpy as np

from protect import outputs, ranges, state
from tests.campaigns.structured_text import words

RUNNER = Path(__file__).with_name("runtimes.mjs")
FIRST_FAULT, DERIVE, POWER_UP, RUN_STEPS = range(4)  # what can be asked


class RuntimePort:
    """What a campaign calls: the names and arguments of the C port, arrays as addresses of int32 words."""

    def __init__(self, name: str, runner: Path = RUNNER) -> None:
        """Start a runtime, "wasm" or "micropython". Raises FileNotFoundError where node is not installed."""
        command = [shutil.which("node") or "node", str(runner), name]
        self.process = subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE)

    def ask(self, asked: int, *given: Any) -> Any:
        """Return the words that answer some words. Raises EOFError when the runtime has ended."""
        sent = np.concatenate([np.asarray(part, np.int32).ravel() for part in given])
        there, back = self.process.stdin, self.process.stdout
        if there is None or back is None:
            raise EOFError(str(self.process.args))
        there.write(np.array([asked, sent.size], np.int32).tobytes() + sent.tobytes())
        there.flush()
        count = np.frombuffer(back.read(4), np.int32)
        if not count.size:
            raise EOFError(str(self.process.args))
        return np.frombuffer(back.read(4 * int(count[0])), np.int32)

    def close(self) -> None:
        """Let the runtime end."""
        self.process.communicate()

    def lubetrip_first_fault(self, settings: int) -> int:
        """Check settings."""
        return int(self.ask(FIRST_FAULT, words(settings, ranges.SETTINGS_SIZE))[0])

    def lubetrip_derive(self, settings: int) -> None:
        """Fill the derived places."""
        values = words(settings, ranges.SETTINGS_SIZE)
        values[:] = self.ask(DERIVE, values)

    def lubetrip_power_up(self, memory: int, settings: int) -> None:
        """Set the state of power-up."""
        words(memory, state.STATE_SIZE)[:] = self.ask(POWER_UP, words(settings, ranges.SETTINGS_SIZE))

    def lubetrip_run_steps(self, inputs: int, steps: int, settings: int, memory: int, trail: int) -> None:
        """Take steps; note state and outputs of each."""
        held, kept = words(memory, state.STATE_SIZE), words(settings, ranges.SETTINGS_SIZE)
        noted = words(trail, steps, state.STATE_SIZE + outputs.OUTPUTS_SIZE)
        noted[:] = self.ask(RUN_STEPS, kept, held, words(inputs, steps, ranges.INPUTS_SIZE)).reshape(noted.shape)
        held[:] = noted[-1, : state.STATE_SIZE]
