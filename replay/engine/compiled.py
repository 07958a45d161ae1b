"""Whole traces through the unchanged source of `protect`, lowered to machine code.

`replay_trace` gives what `replay.engine.portable.replay_trace` gives, tick for tick. What others
compile by numba and calls `protect` is compiled by `compiled`, with the same lowered code in it.
The machine code is kept on disk under the digest of the logic, of this file and of those that make it, so
a changed logic is compiled anew and never met by old code. LLVM and numba are imported late.
"""

import functools
import importlib.metadata
import types
from collections.abc import Callable
from pathlib import Path
from typing import Any, TypeVar

import numpy as np

from firmware_ref.digest import logic_digest
from protect import conditions, integral, outputs, protection, signals, state, table, timers
from replay.engine import obeying
from replay.engine.portable import Machine, Replay
from replay.ground.cache import code_folder, keep, read_kept
from replay.settings import Settings
from replay.trace import AnyTrace

Function = TypeVar("Function", bound=Callable[..., Any])

# Ticks from which a compiled replay is worth its wait: for LLVM and, without the code on disk, for its work.
PAYS_FROM = 8_000
PAYS_FROM_COMPILING = 40_000
MAKING = ("lowering.py", "offered.py")  # the files that make code, beside this one


@functools.cache
def cache_folder(*beside: types.ModuleType) -> Path:
    """Return where the machine code of this logic and of what makes it is kept, and of modules beside them."""
    here = Path(__file__)
    files = [here, *(here.with_name(name) for name in MAKING), obeying.__file__, *(m.__file__ for m in beside)]
    sources = [Path(str(file)).read_text(encoding="utf-8") for file in files]
    return code_folder(logic_digest(), importlib.metadata.version("llvmlite"), *sources)


def _object_file(function: Callable[..., Any], *beside: types.ModuleType) -> Path:
    return cache_folder(*beside) / f"{function.__name__}.o"


def is_on_disk() -> bool:
    """Tell whether a replay would find its machine code instead of compiling it."""
    return read_kept(_object_file(obeying.obey)) is not None


def pays(ticks: int) -> bool:
    """Tell whether a compiled replay of so many ticks is likely to be quicker than the interpreted one."""
    return ticks >= (PAYS_FROM if is_on_disk() else PAYS_FROM_COMPILING)


@functools.cache
def native(function: Function, *beside: types.ModuleType) -> Function:
    """Return a function, written in the language of `protect`, as machine code of its own; it is kept on disk.

    It calls `protect`, `obeying` and the modules beside it. Arrays are numpy int64 or uint8 in one piece, and no two of
    those that are written to overlap.
    """
    from replay.engine import native

    place = _object_file(function, *beside)
    made = read_kept(place)
    if made is None:
        made = native.compiled(function)
        keep(place, made)
    return native.load(made, function)  # type: ignore[no-any-return]


@functools.cache
def _register(module: types.ModuleType) -> None:
    """Let numba compile the functions of a module, from their own source, where compiled code calls them."""
    from numba.extending import register_jitable

    for function in vars(module).values():
        if isinstance(function, types.FunctionType) and function.__module__ == module.__name__:
            register_jitable(function)


def compiled(function: Function, *beside: types.ModuleType) -> Function:
    """Compile, once, a function that calls `protect` and perhaps modules beside it; the code is kept on disk."""
    return _compiled(function, *beside)  # type: ignore[no-any-return]


@functools.cache
def _compiled(function: Callable[..., Any], *beside: types.ModuleType) -> Any:
    from replay.engine import offered
    from replay.ground import machine_code

    offered.offer(signals, integral, timers, conditions, table, outputs, protection, state, obeying)
    for module in beside:
        _register(module)
    return machine_code.compiled(function, cache_folder(*beside))


def machine(settings: Settings) -> Machine:
    """Return a machine that obeys the compiled logic; trails are int64[n, 25] in C order."""
    return Machine(settings, native(obeying.obey), np.ascontiguousarray)


def replay_trace(trace: AnyTrace, settings: Settings) -> Replay:
    """Run the compiled logic over a trace from power-up of a machine at rest."""
    return machine(settings).replay(trace)
