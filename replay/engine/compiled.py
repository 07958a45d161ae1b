"""Whole traces through the unchanged source of `protect`, compiled by numba.

`replay_trace` gives what `replay.engine.portable.replay_trace` gives, tick for tick. The
machine code is kept on disk under the digest of the logic and of this file, so a
changed logic is compiled anew and never met by old code. numba is imported by
the first replay only.
"""

import functools
import hashlib
import importlib.metadata
import types
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from protect import conditions, integral, outputs, protection, ranges, signals, state, table, timers
from protect.protection import step
from replay.engine.portable import Change, Replay, Stop, elapsed_ms, logic_digest
from replay.ground.cache import project_cache
from replay.settings import Settings
from replay.trace import Trace

Array = NDArray[np.int64]

# Rows of the columns of a trace: its time, then the inputs in their order.
TIME = 0
FIRST_INPUT = 1

# Places of a change of state, of a stop, and of what is carried from one call of a kernel to the next.
CHANGE_TIME, BEFORE, AFTER, CHANGE_CAUSE, NET, SUCTION, PERCENT = range(7)
CHANGE_SIZE = 7
STOP_SIZE = 2
POSITION, RUN_MS, PERMITTED, FELT, LOCKED_OUT, CHANGES, STOPS = range(7)
CARRY_SIZE = 7
ROOM = 4096  # changes and stops of one call; a kernel returns early when either is full

# Ticks from which a compiled replay is worth its wait: with the code on disk it
# waits for the import of numba, without it for the compiler as well.
PAYS_FROM = 150_000
PAYS_FROM_COMPILING = 2_000_000


def trace_kernel(
    columns: Any, values: Any, memory: Any, results: Any, changes: Any, stops: Any, carry: Any, trail: Any
) -> None:
    """Run on from carry[POSITION] until the end or until changes or stops are full.

    columns int64[7, n]; values[25], memory[16], results[9] as in `protect`;
    changes int64[ROOM, 7], stops int64[ROOM, 2], carry int64[7]; trail int64[n, 25]
    takes state and outputs of every tick, and int64[0, 25] takes nothing.
    The machine obeys as told in `replay.engine.portable`.
    """
    inputs: Any = np.zeros(ranges.INPUTS_SIZE, np.int64)
    carry[CHANGES] = 0
    carry[STOPS] = 0
    while carry[POSITION] < columns.shape[1] and carry[CHANGES] < changes.shape[0] and carry[STOPS] < stops.shape[0]:
        tick = carry[POSITION]
        for place in range(ranges.INPUTS_SIZE):
            inputs[place] = columns[FIRST_INPUT + place, tick]
        wants_to_run = inputs[ranges.RUNNING]
        inputs[ranges.RUNNING] = wants_to_run & carry[PERMITTED]
        before = memory[state.STATE]
        step(memory, values, inputs, results)

        if inputs[ranges.RUNNING] != 0 and inputs[ranges.ELAPSED] <= values[ranges.MAX_GAP]:
            carry[RUN_MS] += inputs[ranges.ELAPSED]
        carry[PERMITTED] = results[outputs.RUN_PERMISSION]
        if carry[PERMITTED] != 0:
            carry[FELT] = 0
        elif wants_to_run != 0 and carry[FELT] == 0:
            carry[FELT] = 1
            stops[carry[STOPS], 0] = columns[TIME, tick]
            stops[carry[STOPS], 1] = memory[state.CAUSE]
            carry[STOPS] += 1
        after = memory[state.STATE]
        if after != before:
            row = changes[carry[CHANGES]]
            row[CHANGE_TIME] = columns[TIME, tick]
            row[BEFORE] = before
            row[AFTER] = after
            row[CHANGE_CAUSE] = results[outputs.STOP_CAUSE]
            row[NET] = results[outputs.NET_OIL_PRESSURE]
            if results[outputs.CREDIBLE] == 0:
                row[NET] = ranges.NO_READING
            row[SUCTION] = inputs[ranges.SUCTION_PRESSURE]
            row[PERCENT] = results[outputs.INTEGRAL_PERCENT]
            carry[CHANGES] += 1
            if after == state.LOCKED_OUT:
                carry[LOCKED_OUT] = 1
        if trail.shape[0] > 0:
            trail[tick, : state.STATE_SIZE] = memory
            trail[tick, state.STATE_SIZE :] = results
        carry[POSITION] += 1


@functools.cache
def cache_folder(*beside: types.ModuleType) -> Path:
    """Return where the machine code of this logic, this file and this numba is kept, and of modules beside them."""
    files = [__file__, *(str(module.__file__) for module in beside)]
    sources = [Path(file).read_text(encoding="utf-8") for file in files]
    text = " ".join([logic_digest(), importlib.metadata.version("numba"), *sources])
    return project_cache() / f"numba-{hashlib.sha256(text.encode()).hexdigest()[:16]}"


def is_on_disk() -> bool:
    """Tell whether a replay would find its machine code instead of compiling it."""
    return any(cache_folder().rglob("*trace_kernel*.nbc"))


def pays(ticks: int) -> bool:
    """Tell whether a compiled replay of so many ticks is likely to be quicker than the interpreted one."""
    return ticks >= (PAYS_FROM if is_on_disk() else PAYS_FROM_COMPILING)


@functools.cache
def _register(module: types.ModuleType) -> None:
    """Let numba compile the functions of a module, from their own source, where compiled code calls them."""
    from numba.extending import register_jitable

    for function in vars(module).values():
        if isinstance(function, types.FunctionType) and function.__module__ == module.__name__:
            register_jitable(function)


def compiled(function: Callable[..., Any], *beside: types.ModuleType) -> Callable[..., Any]:
    """Compile a function that calls `protect` and perhaps other modules beside it.

    The machine code is kept on disk.
    """
    import numba

    for module in (signals, integral, timers, conditions, table, outputs, protection, *beside):
        _register(module)
    config: Any = numba.config
    before = config.CACHE_DIR
    config.CACHE_DIR = str(cache_folder(*beside))
    try:
        return numba.njit(cache=True)(function)  # type: ignore[no-any-return,unused-ignore]
    finally:
        config.CACHE_DIR = before


@functools.cache
def _kernel() -> Callable[..., Any]:
    return compiled(trace_kernel)


def columns_of(trace: Trace) -> Array:
    """Return time and inputs of a trace as int64[7, n]."""
    columns = (trace.running, trace.reset, trace.oil_pa, trace.suction_pa, trace.crankcase_pa)
    return np.stack([trace.time_ms, elapsed_ms(trace), *columns]).astype(np.int64)


def fresh_carry() -> Array:
    """Return what a kernel carries before the first tick."""
    carry = np.zeros(CARRY_SIZE, np.int64)
    carry[PERMITTED] = 1
    return carry


def collect(columns: Array, settings: Settings, run_on: Callable[[Array, Array, Array], object]) -> Replay:
    """Call run_on(changes, stops, carry) until all ticks are done and put the results together."""
    changes, stops = np.zeros((ROOM, CHANGE_SIZE), np.int64), np.zeros((ROOM, STOP_SIZE), np.int64)
    carry = fresh_carry()
    found: list[Change] = []
    felt: list[Stop] = []
    while carry[POSITION] < columns.shape[1]:
        run_on(changes, stops, carry)
        found += [_change(*row) for row in changes[: carry[CHANGES]].tolist()]
        felt += [Stop(*row) for row in stops[: carry[STOPS]].tolist()]
    late = int(np.count_nonzero(columns[FIRST_INPUT + ranges.ELAPSED] > settings.values[ranges.MAX_GAP]))
    return Replay(tuple(found), tuple(felt), int(carry[RUN_MS]), late, bool(carry[LOCKED_OUT]))


def _change(time_ms: int, before: int, after: int, cause: int, net: int, suction: int, percent: int) -> Change:
    net_pa = None if net == ranges.NO_READING else net
    suction_pa = None if suction == ranges.NO_READING else suction
    return Change(time_ms, before, after, cause, net_pa, suction_pa, percent)


def replay_trace(trace: Trace, settings: Settings, trail: Array | None = None) -> Replay:
    """Run the compiled logic over a trace from power-up of a machine at rest.

    A trail, int64[n, 25], is filled with state[16] and outputs[9] of every tick.
    """
    values = np.array(settings.values, np.int64)
    memory = np.zeros(state.STATE_SIZE, np.int64)
    state.power_up(memory, values)  # type: ignore[arg-type]
    results = np.zeros(outputs.OUTPUTS_SIZE, np.int64)
    columns, kernel = columns_of(trace), _kernel()
    noted = np.zeros((0, state.STATE_SIZE + outputs.OUTPUTS_SIZE), np.int64) if trail is None else trail
    return collect(
        columns,
        settings,
        lambda changes, stops, carry: kernel(columns, values, memory, results, changes, stops, carry, noted),
    )
