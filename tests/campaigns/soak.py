"""Soak campaign: ten simulated years of one machine, tick by tick, through the compiled reference and the C port.

A free-running 32-bit millisecond counter wraps every 49.7 days; both sides take
its difference themselves, each in its own way. The machine cycles, obeys the run
permission, gets short of oil, pulls into vacuum and is loaded again, loses
sensors and ticks, and is reset by a person some time after each lockout. Every
word of every tick is compared, and the invariants are watched at each.
"""

import ctypes
import subprocess
import sys
import tempfile
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import click
import numpy as np

from protect import outputs, ranges, state
from protect.protection import step
from replay.engine import c_port
from replay.port import adversary
from replay.settings import read_settings
from tests.results import close, record_option
from tests.support.by_numba import compiled

ROOT = Path(__file__).parents[2]
YEAR_MS = 365 * 24 * 3600 * 1000
CHUNK = 100_000  # ticks of one call
WORDS = state.STATE_SIZE + outputs.OUTPUTS_SIZE
WRAP = 1 << 32

# Places of the machine: what goes on in it, between two calls.
NOW, BEFORE, ELAPSED_SUM, WRAPS, DEMAND, LEFT, STORY, STORY_LEFT, RESET_IN, PERMITTED = range(10)
STARTS, TRIPS, LOCKOUTS, LATE, DOUBTS, BROKEN, FIRST_BROKEN, TICKS = range(10, 18)
MACHINE_SIZE = 18
WELL, SHORT, VACUUM, RELOADED, BLIND = range(5)  # stories


def soak_kernel(
    rng: Any, period: int, values: Any, memory: Any, machine: Any, drawn: Any, ticks: Any, trail: Any
) -> None:
    """Run on by the length of `ticks`: fill the inputs drawn, the counter of each tick, and the trail of the reference."""
    inputs = np.zeros(ranges.INPUTS_SIZE, np.int64)
    results = np.zeros(outputs.OUTPUTS_SIZE, np.int64)
    for tick in range(ticks.shape[0]):
        live(rng, period, values, machine, inputs)
        if machine[NOW] < machine[BEFORE]:
            machine[WRAPS] += 1
        elapsed = (
            machine[NOW] - machine[BEFORE] if machine[NOW] >= machine[BEFORE] else machine[NOW] + WRAP - machine[BEFORE]
        )
        machine[BEFORE] = machine[NOW]
        machine[ELAPSED_SUM] += elapsed
        inputs[ranges.ELAPSED] = elapsed
        was, held, flags = memory[state.STATE], memory[state.INTEGRAL], memory[state.FLAGS]
        step(memory, values, inputs, results)
        broken = invariants_broken(was, held, flags, inputs, values, memory, results)
        if broken != 0 and machine[BROKEN] == 0:
            machine[BROKEN], machine[FIRST_BROKEN] = broken, machine[TICKS]
        note(was, inputs, values, memory, results, machine)
        ticks[tick] = machine[NOW]
        drawn[tick, :] = inputs
        trail[tick, : state.STATE_SIZE] = memory
        trail[tick, state.STATE_SIZE :] = results


def live(rng: Any, period: int, values: Any, machine: Any, inputs: Any) -> None:
    """Let the machine live until the next tick: clock, demand, story, reset, readings."""
    passed = period - 2 + adversary.draw(rng, 5)
    if adversary.draw(rng, 20_000) == 0:  # ticks were lost
        passed += adversary.draw(rng, 2 * values[ranges.MAX_GAP])
    machine[NOW] = (machine[NOW] + passed) % WRAP
    machine[LEFT] -= passed
    if machine[LEFT] < 0:  # demand comes and goes
        machine[DEMAND] = 1 - machine[DEMAND]
        machine[LEFT] = 60_000 + adversary.draw(rng, 2_400_000)
    machine[STORY_LEFT] -= passed
    if machine[STORY_LEFT] < 0:  # mostly well; else a fault of up to some minutes
        kind = adversary.draw(rng, 64)
        machine[STORY] = kind if kind <= BLIND else WELL
        machine[STORY_LEFT] = adversary.draw(rng, 14_400_000 if machine[STORY] == WELL else 300_000)
    machine[RESET_IN] -= passed
    inputs[ranges.RESET] = 1 if -3000 < machine[RESET_IN] <= 0 else 0
    inputs[ranges.RUN_FEEDBACK] = machine[DEMAND] & machine[PERMITTED]
    suction = values[ranges.RELOAD] + 50_000 + adversary.draw(rng, 4_000)
    net = values[ranges.CUT_IN] + 20_000 + adversary.draw(rng, 4_000)
    if machine[STORY] == VACUUM:
        suction = values[ranges.VACUUM] - 1 - adversary.draw(rng, 4_000)
    if machine[STORY] == SHORT or machine[STORY] == VACUUM:
        net = values[ranges.CUT_OUT] - 1 - adversary.draw(rng, values[ranges.CUT_OUT])
    if machine[STORY] == RELOADED:
        net = adversary.draw(rng, values[ranges.FLOOR])
        if adversary.draw(rng, 2) == 0:
            suction = values[ranges.VACUUM] - 1
    inputs[ranges.SUCTION_PRESSURE] = suction
    inputs[ranges.CRANKCASE_PRESSURE] = suction
    inputs[ranges.OIL_PRESSURE] = suction + net if inputs[ranges.RUN_FEEDBACK] else suction + adversary.draw(rng, 100)
    if machine[STORY] == BLIND and adversary.draw(rng, 4) != 0:
        inputs[ranges.OIL_PRESSURE + adversary.draw(rng, 3)] = ranges.NO_READING


def invariants_broken(was: Any, held: Any, flags: Any, inputs: Any, values: Any, memory: Any, results: Any) -> int:
    """Return the number of the first invariant that a step broke, or 0."""
    if not 0 <= memory[state.INTEGRAL] <= values[ranges.TRIP_DELAY]:
        return 1
    if results[outputs.RUN_PERMISSION] != (1 if memory[state.STATE] < state.TRIPPED else 0):
        return 2
    pressed = inputs[ranges.RESET] != 0 and flags & state.RESET_PRESSED != 0
    if was == state.LOCKED_OUT and memory[state.STATE] != state.LOCKED_OUT and not pressed:
        return 3
    if results[outputs.SEEN] == 0 and memory[state.INTEGRAL] < held:
        return 4
    for place in range(state.STATE_SIZE):
        if not -(1 << 30) < memory[place] < 1 << 30:
            return 5
    return 0


def note(was: Any, inputs: Any, values: Any, memory: Any, results: Any, machine: Any) -> None:
    """Count what happened, and let a person come some time after a lockout."""
    now = memory[state.STATE]
    machine[TICKS] += 1
    machine[PERMITTED] = results[outputs.RUN_PERMISSION]
    machine[STARTS] += 1 if was == state.STOPPED and now not in (state.STOPPED, state.TRIPPED, state.LOCKED_OUT) else 0
    machine[TRIPS] += 1 if was < state.TRIPPED <= now else 0
    machine[LATE] += 1 if inputs[ranges.ELAPSED] > values[ranges.MAX_GAP] else 0
    machine[DOUBTS] += 1 if results[outputs.CREDIBLE] == 0 else 0
    if now == state.LOCKED_OUT and was != state.LOCKED_OUT:
        machine[LOCKOUTS] += 1
        machine[RESET_IN] = 3_600_000
    elif now == state.LOCKED_OUT and machine[RESET_IN] < -60_000:
        machine[RESET_IN] = 600_000  # the reset was not taken: again


@dataclass(frozen=True)
class Soaked:
    """What a soak came to; broken is the number of an invariant, difference the first tick that differs or -1."""

    machine: dict[str, int]
    broken: int
    difference: int


COUNTED = {"ticks": TICKS, "wraps": WRAPS, "starts": STARTS, "stops": TRIPS, "lockouts": LOCKOUTS, "late": LATE}
COUNTED |= {"doubted": DOUBTS, "elapsed_ms": ELAPSED_SUM}


def load(folder: Path | None, work: Path) -> Any:
    """Build the C port, or another one in a folder, with soak.c beside it."""
    source = folder or c_port.firmware_folder() / "c"
    library = work / "soak.so"
    files = [str(source / "lubetrip.c"), str(Path(__file__).with_name("soak.c"))]
    subprocess.run(["cc", "-std=c99", "-O2", "-shared", "-fPIC", f"-I{source}", *files, "-o", str(library)], check=True)
    run_on = ctypes.CDLL(str(library))
    run_on.soak_run.argtypes = [ctypes.c_void_p, ctypes.c_void_p, ctypes.c_int64, *[ctypes.c_void_p] * 4]
    return run_on


def run(years: float, period: int, seed: int, folder: Path | None = None) -> Soaked:
    """Live so many years with ticks every `period` ms; folder: another C port. Stops at the first thing wrong."""
    values = read_settings(ROOT / "fixtures" / "settings.toml").values
    ours, theirs = np.array(values, np.int64), np.array(values, np.int32)
    memory, c_memory = np.zeros(state.STATE_SIZE, np.int64), np.zeros(state.STATE_SIZE, np.int32)
    state.power_up(memory, ours)
    c_memory[:] = memory
    machine, before = np.zeros(MACHINE_SIZE, np.int64), np.zeros(1, np.uint32)
    machine[NOW] = machine[BEFORE] = WRAP - 86_400_000  # a day before the first wrap
    machine[PERMITTED] = 1
    before[0] = machine[BEFORE]
    rng, kernel = np.array([seed], np.int64), compiled(soak_kernel, adversary, sys.modules[__name__])
    drawn, trail = np.zeros((CHUNK, ranges.INPUTS_SIZE), np.int64), np.zeros((CHUNK, WORDS), np.int64)
    ticks, c_trail = np.zeros(CHUNK, np.int64), np.zeros((CHUNK, WORDS), np.int32)
    difference = -1
    with tempfile.TemporaryDirectory() as work:
        port = load(folder, Path(work))
        while machine[ELAPSED_SUM] < years * YEAR_MS and difference < 0 and not machine[BROKEN]:
            kernel(rng, period, ours, memory, machine, drawn, ticks, trail)
            inputs, counter = drawn.astype(np.int32), ticks.astype(np.uint32)
            inputs[:, ranges.ELAPSED] = 0  # the port takes the difference itself
            arrays = (before.ctypes.data, theirs.ctypes.data, c_memory.ctypes.data, c_trail.ctypes.data)
            port.soak_run(counter.ctypes.data, inputs.ctypes.data, CHUNK, *arrays)
            if not np.array_equal(trail, c_trail):
                difference = int(machine[TICKS]) - CHUNK + int(np.argmax((trail != c_trail).any(axis=1)))
    return Soaked({name: int(machine[place]) for name, place in COUNTED.items()}, int(machine[BROKEN]), difference)


@click.command()
@click.option("--years", default=10.0, show_default=True, help="Simulated years.")
@click.option("--period", default=1000, show_default=True, help="Time from tick to tick, ms.")
@click.option("--seed", default=1, show_default=True, help="Start of the random numbers; not 0.")
@record_option
def soak(years: float, period: int, seed: int, *, record: bool) -> None:
    """Live some years through reference and C port. Exit status 0 identical and sound, 1 not."""
    done = run(years, period, seed)
    shown = ", ".join(f"{number} {name}" for name, number in done.machine.items() if name != "elapsed_ms")
    verdict = "identical in every word, every invariant holds"
    if done.broken or done.difference >= 0:
        verdict = f"invariant {done.broken} broken" if done.broken else f"tick {done.difference} differs"
    lived = f"{done.machine['elapsed_ms'] / YEAR_MS:.2f} years at {period} ms from seed {seed}"
    close(f"{lived}: {shown}: {verdict}", record=record)
    raise SystemExit(bool(done.broken or done.difference >= 0))
