"""Loops around `protect` that numba compiles, for tools that draw as they go: the lowered logic is called in them."""

import functools
import types
from collections.abc import Callable
from typing import Any

from protect import conditions, integral, outputs, protection, signals, state, table, timers
from replay.engine import obeying
from replay.engine.compiled import cache_folder
from replay.engine.offered import offer
from replay.ground import machine_code


@functools.cache
def _register(module: types.ModuleType) -> None:
    """Let numba compile the functions of a module, from their own source, where compiled code calls them."""
    from numba.extending import register_jitable

    for function in vars(module).values():
        if isinstance(function, types.FunctionType) and function.__module__ == module.__name__:
            register_jitable(function)


@functools.cache
def compiled(function: Callable[..., Any], *beside: types.ModuleType) -> Any:
    """Compile, once, a function that calls `protect` and perhaps modules beside it; the code is kept on disk."""
    offer(signals, integral, timers, conditions, table, outputs, protection, state, obeying)
    for module in beside:
        _register(module)
    return machine_code.compiled(function, cache_folder(*beside))
