"""Differential campaign: the compiled reference and the C port on the same random and adversarial steps.

The inputs of each step are drawn against the state the reference is in: at
thresholds, at the very end of a timer, late, out of range, and now and then any
32-bit integer at all. Settings are drawn anew every ten thousand steps, to the
ends of their ranges. Every word of state and outputs of every step is compared.
"""

import sys
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import click
import numpy as np

from protect import outputs, ranges, settings, state
from protect.protection import step
from replay.engine import c_port
from replay.port import adversary
from replay.port.conform import INPUT_NAMES, STEP_NAMES
from tests.campaigns.runtimes import RuntimePort
from tests.campaigns.structured_text import StructuredTextPort
from tests.results import close, record_option
from tests.support.by_numba import compiled

CHUNK = 10_000  # steps with one set of settings
MOOD_STEPS = 500  # steps with one mood
ODD_INPUTS = 128  # once in so many steps one input is any integer at all
WORDS = state.STATE_SIZE + outputs.OUTPUTS_SIZE
PORTS: dict[str, Callable[[], Any]] = {
    "c": lambda: c_port.load(c_port.build()),
    "structured-text": StructuredTextPort,
    "micropython": lambda: RuntimePort("micropython"),
    "wasm": lambda: RuntimePort("wasm"),
}


def chunk_kernel(rng: Any, values: Any, memory: Any, drawn: Any, trail: Any) -> None:
    """Draw the inputs of a whole chunk against the reference and note what it does.

    rng int64[1], values int64[25], memory int64[16]; drawn int64[n, 6] and trail
    int64[n, 25] are filled.
    """
    mood = np.zeros(adversary.MOOD_SIZE, np.int64)
    inputs = np.zeros(ranges.INPUTS_SIZE, np.int64)
    results = np.zeros(outputs.OUTPUTS_SIZE, np.int64)
    for tick in range(drawn.shape[0]):
        if tick % MOOD_STEPS == 0:
            adversary.draw_mood(rng, mood)
        adversary.draw_inputs(rng, memory, values, mood, inputs)
        # Whatever a broken caller may hand over: any reading, any elapsed time, any truth.
        place = adversary.draw(rng, ODD_INPUTS * ranges.INPUTS_SIZE)
        kept = 0
        if place < ranges.INPUTS_SIZE:
            kept = inputs[place]
            inputs[place] = adversary.draw_any(rng)
        step(memory, values, inputs, results)
        for word in range(ranges.INPUTS_SIZE):
            drawn[tick, word] = inputs[word]
        for word in range(state.STATE_SIZE):
            trail[tick, word] = memory[word]
        for word in range(outputs.OUTPUTS_SIZE):
            trail[tick, state.STATE_SIZE + word] = results[word]
        if place < ranges.INPUTS_SIZE:
            inputs[place] = kept


@dataclass(frozen=True)
class Found:
    """What a campaign came to: steps compared, settings tried, and the first difference as text, or None."""

    steps: int
    settings: int
    difference: str | None
    states: frozenset[int]


class Campaign:
    """Both sides, and the arrays of one chunk."""

    def __init__(self, port: Any, seed: int) -> None:
        self.port = port
        self.rng = np.array([seed], np.int64)
        self.kernel = compiled(chunk_kernel, adversary)
        self.drawn = np.zeros((CHUNK, ranges.INPUTS_SIZE), np.int64)
        self.trail = np.zeros((CHUNK, WORDS), np.int64)
        self.c_trail = np.zeros((CHUNK, WORDS), np.int32)

    def draw_settings(self) -> list[int]:
        """Draw settings; both sides have to find them right and derive the same."""
        values = [0] * ranges.SETTINGS_SIZE
        numbers = [int(self.rng[0])]
        adversary.draw_settings(numbers, values)
        self.rng[0] = numbers[0]
        return values

    def settings_differ(self, values: list[int]) -> str | None:
        """Compare check and derivation of settings."""
        theirs = np.array(values, np.int32)
        theirs[ranges.SETTING_COUNT :] = 0
        fault = self.port.lubetrip_first_fault(theirs.ctypes.data)
        if fault == settings.ALL_RIGHT:
            self.port.lubetrip_derive(theirs.ctypes.data)
        if fault != settings.ALL_RIGHT or theirs.tolist() != values:
            return f"settings {values}\nC port: fault {fault}, {theirs.tolist()}"
        return None

    def chunk(self, values: list[int], steps: int) -> str | None:
        """Run both sides over a chunk; return the first difference as text."""
        ours, theirs = np.array(values, np.int64), np.array(values, np.int32)
        memory, c_memory = np.zeros(state.STATE_SIZE, np.int64), np.zeros(state.STATE_SIZE, np.int32)
        state.power_up(memory, ours)
        self.port.lubetrip_power_up(c_memory.ctypes.data, theirs.ctypes.data)
        self.kernel(self.rng, ours, memory, self.drawn[:steps], self.trail[:steps])
        inputs = self.drawn[:steps].astype(np.int32)
        arrays = (theirs.ctypes.data, c_memory.ctypes.data, self.c_trail.ctypes.data)
        self.port.lubetrip_run_steps(inputs.ctypes.data, steps, *arrays)
        if np.array_equal(self.trail[:steps], self.c_trail[:steps]):
            return None
        return self.difference(values, steps)

    def difference(self, values: list[int], steps: int) -> str:
        """Tell of the first step that differs, so that it can be done again by hand."""
        wrong = (self.trail[:steps] != self.c_trail[:steps]).any(axis=1)
        tick = int(np.argmax(wrong))
        lines = [f"step {tick} of the walk", f"settings {values}"]
        lines.append("inputs " + ", ".join(f"{n} {v}" for n, v in zip(INPUT_NAMES, self.drawn[tick], strict=True)))
        if tick:
            lines.append(f"before {self.trail[tick - 1, : state.STATE_SIZE].tolist()}")
        for name, ours, theirs in zip(STEP_NAMES, self.trail[tick], self.c_trail[tick], strict=True):
            if ours != theirs:
                lines.append(f"{name}: reference {ours}, port {theirs}")
        return "\n".join(lines)


def run(steps: int, seed: int, folder: Path | None = None, tell: Any = None, port: Any = None) -> Found:
    """Compare so many steps; folder: another C port; port: another port; tell(steps done) is called after each chunk."""
    campaign = Campaign(port or c_port.load(c_port.build(folder)), seed)
    done = tried = 0
    states: set[int] = set()
    while done < steps:
        values = campaign.draw_settings()
        tried += 1
        count = min(CHUNK, steps - done)
        difference = campaign.settings_differ(values) or campaign.chunk(values, count)
        if difference:
            return Found(done, tried, f"seed {seed}, settings number {tried}, {difference}", frozenset(states))
        states |= set(np.unique(campaign.trail[:count, state.STATE]).tolist())
        done += count
        if tell is not None:
            tell(done)
    return Found(done, tried, None, frozenset(states))


@click.group()
def command() -> None:
    """Run a long comparison."""


@command.command()
@click.option("--steps", default=1e7, show_default=True, metavar="N", help="Steps to compare, such as 1e9.")
@click.option("--seed", default=1, show_default=True, help="Start of the random numbers; not 0.")
@click.option("--port", type=click.Choice(list(PORTS)), default="c", show_default=True, help="Which port.")
@record_option
def differential(steps: float, seed: int, port: str, *, record: bool) -> None:
    """Compare the compiled reference and a port. Exit status 0 identical, 1 different."""
    start = time.perf_counter()
    shown = start

    def tell(done: int) -> None:
        nonlocal shown
        if time.perf_counter() - shown > 10:
            shown = time.perf_counter()
            print(f"{done:.3g} steps", file=sys.stderr, flush=True)

    found = run(round(steps), seed, tell=tell, port=PORTS[port]())
    taken = time.perf_counter() - start
    if found.difference:
        print(found.difference)
    compared = f"{port}: compared {found.steps} steps with {found.settings} settings from seed {seed} in {taken:.0f} s"
    close(f"{compared}: {'DIFFERENT' if found.difference else 'identical in every word'}", record=record)
    raise SystemExit(found.difference is not None)
