"""Lowered functions as machine code of their own, by LLVM: made, loaded and called without numba."""

import ctypes
import functools
from collections.abc import Callable, Iterator
from typing import Any

import numpy as np
from llvmlite import binding as llvm

from replay.engine.lowering import Program

SPEED = 3  # the optimisation level of compilers of C


@functools.cache
def _begin() -> None:
    llvm.initialize_native_target()
    llvm.initialize_native_asmprinter()


def _target() -> Any:
    """Return what code is made for: this kind of machine, so that it may be kept and met again on another of them."""
    _begin()
    return llvm.Target.from_default_triple().create_target_machine(opt=SPEED, jit=True)


def compiled(function: Any) -> bytes:
    """Return a function, and all that it calls, as an object file."""
    program = Program()
    entry = program.function(function)
    for made in program.functions.values():
        made.linkage = "external" if made is entry else "internal"
    module = llvm.parse_assembly(str(program.module))
    module.verify()
    tuning = llvm.create_pipeline_tuning_options(speed_level=SPEED)
    target = _target()
    builder = llvm.create_pass_builder(target, tuning)
    builder.getModulePassManager().run(module, builder)
    return bytes(target.emit_object(module))


def load(made: bytes, function: Callable[..., Any]) -> Any:
    """Return the machine code of a function as it is called: with arrays, tuples of them, and integers."""
    engine = llvm.create_mcjit_compiler(llvm.parse_assembly(""), _target())  # which is the engine's from now on
    engine.add_object_file(llvm.ObjectFileRef.from_data(made))
    engine.finalize_object()
    address = engine.get_function_address(f"{function.__module__}.{function.__name__}")
    code = ctypes.CFUNCTYPE(ctypes.c_int64 if function.__annotations__["return"] is int else None)(address)

    @functools.wraps(function)
    def call(*given: Any) -> Any:
        return code(*map(ctypes.c_int64, words(given)))

    call.engine = engine  # type: ignore[attr-defined]  # the code goes with its engine
    return call


def words(given: Any) -> Iterator[int]:
    """Yield the words that stand for arrays, tuples of them, and integers."""
    for part in given:
        if isinstance(part, tuple):
            yield from words(part)
        elif isinstance(part, np.ndarray):
            yield part.ctypes.data
            if part.ndim > 1:
                yield from part.shape
        else:
            yield int(part)
