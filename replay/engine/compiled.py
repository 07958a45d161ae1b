"""Whole traces through the unchanged source of `protect`, lowered to machine code.

`replay_trace` gives what `replay.engine.portable.replay_trace` gives, tick for tick; `native` makes machine code of
other functions in the language of `protect`. It is kept on disk under the digest of the logic, of this file and of
those that make it, so a changed logic is compiled anew and never met by old code. LLVM is imported late.
"""

import functools
import importlib.metadata
import types
from collections.abc import Callable
from pathlib import Path
from typing import Any, TypeVar

import numpy as np

from firmware_ref.digest import logic_digest
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


def is_on_disk(function: Callable[..., Any] = obeying.obey, *beside: types.ModuleType) -> bool:
    """Tell whether the machine code of a function, that of a replay without one, would be found and not be made."""
    return read_kept(_object_file(function, *beside)) is not None


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


def machine(settings: Settings) -> Machine:
    """Return a machine that obeys the compiled logic; trails are int64[n, 25] in C order."""
    return Machine(settings, native(obeying.obey), np.ascontiguousarray)


def replay_trace(trace: AnyTrace, settings: Settings) -> Replay:
    """Run the compiled logic over a trace from power-up of a machine at rest."""
    return machine(settings).replay(trace)
