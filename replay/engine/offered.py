"""The functions of `protect`, lowered, offered to code that numba compiles: there they are called by their own names.

numba compiles what stands around them. Their arrays may be int64[n] in one piece, or pointers; a call hands on where
the words are and nothing else.
"""

import functools
import inspect
from types import FunctionType, ModuleType
from typing import Any

from llvmlite import binding as llvm
from numba.core import cgutils, imputils, types
from numba.core.typing.templates import AbstractTemplate, infer_global, signature

from replay.engine.lowering import BIT, NOTHING, WORD, WORDS, Program

# numba has no types.
_Template: Any = AbstractTemplate
_signature: Any = signature
_infer_global: Any = infer_global
_insert: Any = cgutils.get_or_insert_function
_lower: Any = imputils.lower_builtin
_any: Any = types.VarArg
_pointer: Any = types.CPointer

KINDS: dict[Any, Any] = {WORD: types.int64, BIT: types.boolean, NOTHING: types.none}


@functools.cache
def offer(*modules: ModuleType) -> None:
    """Offer all functions of some modules that take words and arrays of them; once, before something is compiled."""
    program = Program()
    for module in modules:
        for function in vars(module).values():
            if isinstance(function, FunctionType) and function.__module__ == module.__name__ and _is_plain(function):
                program.function(function)
    code = functools.cache(lambda context: _library(context, str(program.module)))
    for function, made in program.functions.items():
        _offer(function, made, code)


def _is_plain(function: FunctionType) -> bool:
    said = {str(inspect.formatannotation(p.annotation)) for p in inspect.signature(function).parameters.values()}
    return said <= {"int", "bool", "list[int]"}


def _library(context: Any, text: str) -> Any:
    """Return the code as a library that numba links."""
    library: Any = context.codegen().create_library("protect")
    library.add_llvm_module(llvm.parse_assembly(text))
    library.finalize()
    return library


def _offer(function: FunctionType, made: Any, code: Any) -> None:
    """Tell numba what a function takes and gives, and how it is called."""
    kinds = [argument.type for argument in made.args]
    result = made.function_type.return_type

    class Template(_Template):  # type: ignore[misc]
        key = function

        def generic(self, given: Any, named: Any) -> Any:
            if named or len(given) != len(kinds) or not all(map(_fits, given, kinds)):
                return None
            own = [each if kind == WORDS else KINDS[kind] for each, kind in zip(given, kinds, strict=True)]
            return _signature(KINDS[result], *own)

    _infer_global(function)(Template)

    def call(context: Any, builder: Any, form: Any, given: Any) -> Any:
        context.active_code_library.add_linking_library(code(context))
        words = [
            context.make_array(kind)(context, builder, each).data if isinstance(kind, types.Array) else each
            for kind, each in zip(form.args, given, strict=True)
        ]
        callee = _insert(builder.module, made.function_type, made.name)
        value = builder.call(callee, words)
        return context.get_dummy_value() if result == NOTHING else value

    _lower(function, _any(types.Any))(call)


def _fits(given: Any, kind: Any) -> bool:
    """Say whether what is given can be taken for words, or for a word."""
    if kind != WORDS:
        return isinstance(given, types.Integer | types.Boolean)
    if isinstance(given, types.Array):
        return bool(given.dtype == types.int64 and given.ndim == 1 and given.layout == "C")
    return bool(given == _pointer(types.int64))
