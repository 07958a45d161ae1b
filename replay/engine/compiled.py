"""Whole traces through the unchanged source of `protect`, compiled by numba.

`replay_trace` gives what `replay.engine.portable.replay_trace` gives, tick for tick. The
machine code is kept on disk under the digest of the logic and of this file and `obeying`, so
a changed logic is compiled anew and never met by old code. numba is imported by
the first replay only.
"""

import functools
import types
from collections.abc import Callable
from pathlib import Path
from typing import Any, TypeVar

import numpy as np

from firmware_ref.digest import logic_digest
from protect import conditions, integral, outputs, protection, signals, table, timers
from replay.engine import obeying
from replay.engine.portable import Machine, Replay
from replay.ground.cache import code_folder
from replay.settings import Settings
from replay.trace import AnyTrace

Function = TypeVar("Function", bound=Callable[..., Any])

# Ticks from which a compiled replay is worth its wait: with the code on disk it
# waits for the import of numba, without it for the compiler as well.
PAYS_FROM = 150_000
PAYS_FROM_COMPILING = 2_000_000


@functools.cache
def cache_folder(*beside: types.ModuleType) -> Path:
    """Return where the machine code of this logic, this file and this numba is kept, and of modules beside them."""
    files = [__file__, str(obeying.__file__), *(str(module.__file__) for module in beside)]
    sources = [Path(file).read_text(encoding="utf-8") for file in files]
    return code_folder(logic_digest(), *sources)


def is_on_disk() -> bool:
    """Tell whether a replay would find its machine code instead of compiling it."""
    return any(cache_folder().rglob("*obey*.nbc"))


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


def compiled(function: Function, *beside: types.ModuleType) -> Function:
    """Compile, once, a function that calls `protect` and perhaps modules beside it; the code is kept on disk."""
    return _compiled(function, *beside)  # type: ignore[no-any-return]


@functools.cache
def _compiled(function: Callable[..., Any], *beside: types.ModuleType) -> Any:
    from replay.ground import machine_code

    for module in (signals, integral, timers, conditions, table, outputs, protection, obeying, *beside):
        _register(module)
    return machine_code.compiled(function, cache_folder(*beside))


def machine(settings: Settings) -> Machine:
    """Return a machine that obeys the compiled logic."""
    return Machine(settings, compiled(obeying.obey), np.asarray)


def replay_trace(trace: AnyTrace, settings: Settings) -> Replay:
    """Run the compiled logic over a trace from power-up of a machine at rest."""
    return machine(settings).replay(trace)
