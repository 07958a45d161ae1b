"""The logic as code of LLVM, lowered from the text of `protect` itself: one source of truth, nothing of Python left.

What `protect` may be written in is small (its house rules), and so is this lowering; what it does not know it refuses.
A general compiler of Python has to ask at every place what an array is, where it ends and who holds it; here that is
known beforehand:

    int, bool          a 64-bit integer and a bit; no value of a step passes 2**30, so none is cut off
    list[int]          a pointer to 64-bit integers; so is numpy int64[n], and uint8[n] one to bytes. What is written
                       overlaps nothing else
    list[list[int]]    rows of one length in one piece: pointer, count of rows, length of a row
    NamedTuple, tuple  gone: its parts stand for themselves; a function gives a tuple of integers and bits back
    table of numbers   gone: a loop over its rows is written out, each row with its own numbers

Every function goes into its callers, so a step is one stretch of code with its levels in registers. What works on whole
traces (`replay.engine.obeying`, `replay.sweep`) is written in the same language.
"""

import ast
import contextlib
import importlib
import inspect
import operator
import typing
from collections.abc import Callable, Iterator
from types import FunctionType
from typing import Any, NamedTuple

import numpy as np
from llvmlite import ir
from numpy.typing import NDArray

WORD, BYTE, BIT, NOTHING = ir.IntType(64), ir.IntType(8), ir.IntType(1), ir.VoidType()
WORDS, BYTES = WORD.as_pointer(), BYTE.as_pointer()
KINDS: dict[Any, Any] = {
    int: WORD,
    bool: BIT,
    type(None): NOTHING,
    list[int]: WORDS,
    NDArray[np.int64]: WORDS,
    NDArray[np.uint8]: BYTES,
}
OPERATORS: dict[type, tuple[str, Callable[[int, int], int]]] = {
    ast.Add: ("add", operator.add),
    ast.Sub: ("sub", operator.sub),
    ast.Mult: ("mul", operator.mul),
    ast.BitAnd: ("and_", operator.and_),
    ast.BitOr: ("or_", operator.or_),
    ast.BitXor: ("xor", operator.xor),
    ast.LShift: ("shl", operator.lshift),
    ast.RShift: ("ashr", operator.rshift),
}
COMPARED = {ast.Eq: "==", ast.NotEq: "!=", ast.Lt: "<", ast.LtE: "<=", ast.Gt: ">", ast.GtE: ">="}


class UnknownFormError(ValueError):
    """A function holds something that this lowering does not know."""


def _unknown(node: ast.AST, why: str = "not known") -> UnknownFormError:
    return UnknownFormError(f"line {getattr(node, 'lineno', '?')}: {ast.unparse(node)}: {why}")


class Rows(NamedTuple):
    """A list[list[int]]."""

    words: Any
    count: Any
    length: Any


def parts_of(hint: Any) -> tuple[Any, ...] | None:
    """Return of what a tuple or a NamedTuple consists, None for anything else."""
    if typing.get_origin(hint) is tuple:
        return typing.get_args(hint)
    if isinstance(hint, type) and issubclass(hint, tuple):
        return tuple(typing.get_type_hints(hint).values())
    return None


def flat(hint: Any) -> list[Any]:
    """Return the kinds of the arguments that stand for one of a type."""
    if hint == list[list[int]]:
        return [WORDS, WORD, WORD]
    parts = parts_of(hint)
    return [KINDS[hint]] if parts is None else [kind for part in parts for kind in flat(part)]


def _gathered(hint: Any, given: Iterator[Any]) -> Any:
    """Return what arguments stand for: a value, rows, or a tuple of them."""
    if hint == list[list[int]]:
        return Rows(next(given), next(given), next(given))
    parts = parts_of(hint)
    if parts is None:
        return next(given)
    whole = [_gathered(part, given) for part in parts]
    return hint(*whole) if hasattr(hint, "_fields") else tuple(whole)


def spread(value: Any) -> Iterator[Any]:
    """Yield the single values of what may be a tuple of tuples."""
    if isinstance(value, tuple):
        for part in value:
            yield from spread(part)
    else:
        yield value


def is_whole(value: Any) -> bool:
    """Say whether something is an array or a tuple, and no single value."""
    return isinstance(value, tuple) or getattr(value, "type", None) in (WORDS, BYTES)


class Program:
    """Functions that were lowered, with all that they call; `module` is their code."""

    def __init__(self) -> None:
        self.module = ir.Module("protect")
        self.functions: dict[FunctionType, ir.Function] = {}

    def function(self, function: Any) -> ir.Function:
        """Return the code of a function, lowered if it was not yet. Raises UnknownFormError."""
        if function not in self.functions:
            node = ast.parse(inspect.getsource(function)).body[0]
            if not isinstance(node, ast.FunctionDef):
                raise _unknown(node)
            hints = typing.get_type_hints(function)
            given = hints.pop("return")
            several = parts_of(given)
            result = KINDS[given] if several is None else ir.LiteralStructType([KINDS[part] for part in several])
            form = ir.FunctionType(result, [kind for hint in hints.values() for kind in flat(hint)])
            made = ir.Function(self.module, form, f"{function.__module__}.{function.__name__}")
            made.attributes.add("alwaysinline")
            made.attributes.add("nounwind")
            for argument in made.args:
                if argument.type in (WORDS, BYTES):
                    argument.add_attribute("noalias")
            self.functions[function] = made
            _Body(self, function, node, made, hints)
        return self.functions[function]


class _Body(ast.NodeVisitor):
    """The body of one function on its way into code."""

    def __init__(
        self, program: Program, function: FunctionType, node: ast.FunctionDef, made: ir.Function, hints: dict[str, Any]
    ) -> None:
        self.program, self.made, self.module = program, made, importlib.import_module(function.__module__)
        self.code = ir.IRBuilder(made.append_basic_block("entry"))
        self.variables: dict[str, Any] = {}
        self.bound: dict[str, Any] = {}  # what a name stands for throughout: an array, a tuple, a number of a table
        self.fixed: set[str] = set()  # names that may not stand for something else in a part that may be passed over
        self.loops: list[tuple[Any, Any]] = []  # where each of the loops around goes on, and where it ends
        given = iter(made.args)
        for name, hint in hints.items():
            value = _gathered(hint, given)
            if getattr(value, "type", None) in (WORD, BIT):
                self.put(name, value)
            else:
                self.bound[name] = value
        self.block(node.body)
        if not self.code.block.is_terminated:
            if made.function_type.return_type == NOTHING:
                self.code.ret_void()
            else:
                self.code.unreachable()

    def generic_visit(self, node: ast.AST) -> Any:
        """Refuse whatever has no method here."""
        raise _unknown(node)

    # ---- names and values ----

    def known(self, node: ast.expr) -> Any:
        """Return what an expression stands for beforehand: number, table, function, array, tuple; None for the rest."""
        look = getattr(self, f"known_{type(node).__name__.lower()}", None)
        return None if look is None else look(node)

    def known_constant(self, node: ast.Constant) -> Any:
        return node.value

    def known_name(self, node: ast.Name) -> Any:
        if node.id in self.variables:
            return None
        return self.bound[node.id] if node.id in self.bound else getattr(self.module, node.id, None)

    def known_attribute(self, node: ast.Attribute) -> Any:
        whole = self.known(node.value)
        return None if whole is None else getattr(whole, node.attr)

    def known_subscript(self, node: ast.Subscript) -> Any:
        whole, place = self.known(node.value), self.known(node.slice)
        if isinstance(whole, Rows):
            return self.code.gep(whole.words, [self.code.mul(self.value(node.slice, WORD), whole.length)])
        return whole[place] if isinstance(whole, tuple) and isinstance(place, int) else None

    def known_unaryop(self, node: ast.UnaryOp) -> Any:
        number = self.known(node.operand)
        return -number if isinstance(node.op, ast.USub) and type(number) is int else None

    def known_binop(self, node: ast.BinOp) -> Any:
        left, right = self.known(node.left), self.known(node.right)
        numbers = type(left) is int and type(right) is int and type(node.op) in OPERATORS
        return OPERATORS[type(node.op)][1](left, right) if numbers else None

    def value(self, node: ast.expr, kind: Any = None) -> Any:
        """Return the value of an expression, of a kind where one is wanted."""
        kinds = {bool: BIT, int: WORD}
        known = self.known(node)
        value = kinds[type(known)](int(known)) if type(known) in kinds else known
        if getattr(value, "type", None) not in (WORD, BIT):
            value = self.visit(node)
        return value if kind is None else self.as_kind(value, kind)

    def as_kind(self, value: Any, kind: Any) -> Any:
        """Return a value as a truth or as a number."""
        if value.type == kind:
            return value
        return self.code.icmp_signed("!=", value, WORD(0)) if kind == BIT else self.code.zext(value, WORD)

    def slot(self, kind: Any) -> Any:
        """Return room for a variable."""
        with self.code.goto_entry_block():
            return self.code.alloca(kind)

    def put(self, name: str, value: Any) -> None:
        """Give a variable a value; its first one says of what kind it is."""
        if name not in self.variables:
            self.variables[name] = self.slot(value.type)
        place = self.variables[name]
        self.code.store(self.as_kind(value, place.type.pointee), place)

    def place(self, node: ast.Subscript) -> Any:
        """Return the pointer to one word."""
        words = self.known(node.value)
        if getattr(words, "type", None) not in (WORDS, BYTES):
            raise _unknown(node, "no array")
        return self.code.gep(words, [self.value(node.slice, WORD)])

    # ---- expressions ----

    def visit_Name(self, node: ast.Name) -> Any:
        if node.id not in self.variables:
            raise _unknown(node, "no variable")
        return self.code.load(self.variables[node.id])

    def visit_Subscript(self, node: ast.Subscript) -> Any:
        value = self.code.load(self.place(node))
        return self.code.zext(value, WORD) if value.type == BYTE else value

    def visit_BinOp(self, node: ast.BinOp) -> Any:
        if type(node.op) not in OPERATORS:
            raise _unknown(node)
        operate = getattr(self.code, OPERATORS[type(node.op)][0])
        return operate(self.value(node.left, WORD), self.value(node.right, WORD))

    def visit_UnaryOp(self, node: ast.UnaryOp) -> Any:
        if isinstance(node.op, ast.Not):
            return self.code.not_(self.value(node.operand, BIT))
        if not isinstance(node.op, ast.USub | ast.Invert):
            raise _unknown(node)
        value = self.value(node.operand, WORD)
        return self.code.not_(value) if isinstance(node.op, ast.Invert) else self.code.neg(value)

    def visit_BoolOp(self, node: ast.BoolOp) -> Any:
        """Work out one part after the other, as far as it takes; the value is a truth."""
        found, end = self.slot(BIT), self.made.append_basic_block("joined")
        for part in node.values:
            value = self.value(part, BIT)
            self.code.store(value, found)
            following = end if part is node.values[-1] else self.made.append_basic_block("part")
            if following is end:
                self.code.branch(end)
            elif isinstance(node.op, ast.And):
                self.code.cbranch(value, following, end)
            else:
                self.code.cbranch(value, end, following)
            self.code.position_at_end(following)
        return self.code.load(found)

    def visit_IfExp(self, node: ast.IfExp) -> Any:
        """Work out the one part that is asked for."""
        yes, no, end = (self.made.append_basic_block(name) for name in ("yes", "no", "end"))
        found = self.slot(WORD)
        self.code.cbranch(self.value(node.test, BIT), yes, no)
        for begin, part in ((yes, node.body), (no, node.orelse)):
            self.code.position_at_end(begin)
            self.code.store(self.value(part, WORD), found)
            self.code.branch(end)
        self.code.position_at_end(end)
        return self.code.load(found)

    def visit_Compare(self, node: ast.Compare) -> Any:
        if len(node.ops) != 1 or type(node.ops[0]) not in COMPARED:
            raise _unknown(node)
        left, right = self.value(node.left, WORD), self.value(node.comparators[0], WORD)
        return self.code.icmp_signed(COMPARED[type(node.ops[0])], left, right)

    def visit_Call(self, node: ast.Call) -> Any:
        name = node.func.id if isinstance(node.func, ast.Name) else ""
        if name == "len" and isinstance(rows := self.rows_of(node.args[0]), tuple):
            if not isinstance(rows, Rows):
                return WORD(len(rows))
            return rows.length if isinstance(node.args[0], ast.Subscript) else rows.count
        if name in ("min", "max"):
            values = [self.value(part, WORD) for part in node.args]
            found = values[0]
            for value in values[1:]:
                found = self.code.select(self.code.icmp_signed("<>"[name == "max"], found, value), found, value)
            return found
        function = self.known(node.func)
        if not inspect.isfunction(function) or node.keywords:
            raise _unknown(node)
        made = self.program.function(function)
        given: list[Any] = []
        for part in node.args:
            known = self.known(part)
            given += spread(known) if is_whole(known) else [self.value(part, made.args[len(given)].type)]
        arrays = [part for part in given if part.type in (WORDS, BYTES)]
        if len(set(map(id, arrays))) < len(arrays):
            raise _unknown(node, "one array given twice")
        return self.code.call(made, given)

    def rows_of(self, node: ast.expr) -> Any:
        """Return the rows that a name, or a row of a name, belongs to."""
        return self.known(node.value if isinstance(node, ast.Subscript) else node)

    # ---- statements ----

    def block(self, nodes: list[ast.stmt]) -> None:
        """Lower statements up to the first that leaves."""
        for node in nodes:
            if self.code.block.is_terminated:
                return
            if not (isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant)):  # a docstring
                self.visit(node)

    def visit_Expr(self, node: ast.Expr) -> None:
        self.value(node.value)

    def visit_Return(self, node: ast.Return) -> None:
        result = self.made.function_type.return_type
        if node.value is None:
            self.code.ret_void()
        elif isinstance(node.value, ast.Tuple):
            whole = result(ir.Undefined)
            for place, part in enumerate(node.value.elts):
                whole = self.code.insert_value(whole, self.value(part, result.elements[place]), place)
            self.code.ret(whole)
        else:
            self.code.ret(self.value(node.value, result))

    def visit_Assign(self, node: ast.Assign) -> None:
        for target in node.targets:
            if isinstance(target, ast.Tuple):
                for each, value in zip(target.elts, self.several(node.value, len(target.elts)), strict=True):
                    self.assign(each, value)
            else:
                self.assign(target, self.whole(node.value))

    def whole(self, node: ast.expr) -> Any:
        """Return an array or a tuple as it stands, anything else as its value."""
        form = self.known(node.func) if isinstance(node, ast.Call) else None
        if isinstance(node, ast.Call) and isinstance(form, type) and hasattr(form, "_fields"):
            return form(*map(self.whole, node.args))
        known = self.known(node)
        return known if is_whole(known) else self.value(node)

    def several(self, node: ast.expr, count: int) -> list[Any]:
        """Return the values of a tuple, all of them worked out before one is given away."""
        if isinstance(node, ast.Tuple):
            return [self.whole(part) for part in node.elts]
        if isinstance(known := self.known(node), tuple):
            return list(known)
        value = self.value(node)
        return [self.code.extract_value(value, place) for place in range(count)]

    def visit_AugAssign(self, node: ast.AugAssign) -> None:
        self.assign(node.target, self.visit_BinOp(ast.BinOp(node.target, node.op, node.value)))

    def assign(self, target: ast.expr, value: Any) -> None:
        """Give a variable or a word of an array a value, or bind an array or a tuple to its name."""
        if isinstance(target, ast.Name) and is_whole(value) and target.id not in self.fixed | self.variables.keys():
            self.bound[target.id] = value
        elif isinstance(target, ast.Name) and target.id not in self.bound and not is_whole(value):
            self.put(target.id, value)
        elif isinstance(target, ast.Subscript):
            place = self.place(target)
            word = self.as_kind(value, WORD)
            self.code.store(word if place.type == WORDS else self.code.trunc(word, BYTE), place)
        else:
            raise _unknown(target)

    def visit_If(self, node: ast.If) -> None:
        yes, no, end = (self.made.append_basic_block(name) for name in ("yes", "no", "end"))
        self.code.cbranch(self.value(node.test, BIT), yes, no)
        for begin, nodes in ((yes, node.body), (no, node.orelse)):
            self.code.position_at_end(begin)
            with self.inside():
                self.block(nodes)
            self.go_to(end)
        self.code.position_at_end(end)

    @contextlib.contextmanager
    def inside(self) -> Iterator[None]:
        """Hold what names stand for in a part that may be passed over: what is bound in it goes with it."""
        before, self.bound = self.bound, dict(self.bound)
        fixed, self.fixed = self.fixed, set(before)
        yield
        self.bound, self.fixed = before, fixed

    def visit_Break(self, _node: ast.Break) -> None:
        self.code.branch(self.loops[-1][1])

    def visit_Continue(self, _node: ast.Continue) -> None:
        self.code.branch(self.loops[-1][0])

    def visit_While(self, node: ast.While) -> None:
        if node.orelse:
            raise _unknown(node)
        self.loop(lambda: self.value(node.test, BIT), lambda: self.block(node.body))

    def visit_For(self, node: ast.For) -> None:
        if not isinstance(node.target, ast.Name) or node.orelse:
            raise _unknown(node)
        name, table = node.target.id, self.known(node.iter)
        if isinstance(table, tuple):
            self.written_out(name, table, node.body)
        elif isinstance(node.iter, ast.Call) and ast.unparse(node.iter.func) == "range":
            bounds = [self.value(bound, WORD) for bound in node.iter.args]
            begin, end, *step = bounds if len(bounds) > 1 else (WORD(0), *bounds)
            self.counted(name, (begin, end, *(step or [WORD(1)])), node.body)
        else:
            raise _unknown(node)

    def written_out(self, name: str, table: tuple[Any, ...], nodes: list[ast.stmt]) -> None:
        """Lower the body once for each row of a table of numbers."""
        end = self.made.append_basic_block("end")
        for row in table:
            following = self.made.append_basic_block("row")
            self.loops.append((following, end))
            with self.inside():
                self.bound[name] = row
                self.block(nodes)
            self.loops.pop()
            self.go_to(following)
            self.code.position_at_end(following)
        self.go_to(end)
        self.code.position_at_end(end)

    def counted(self, name: str, bounds: tuple[Any, Any, Any], nodes: list[ast.stmt]) -> None:
        """Lower a loop whose variable counts up, or down where its step is known to."""
        turn, (begin, end, step) = self.slot(WORD), bounds
        down = isinstance(step, ir.Constant) and step.constant < 0
        self.code.store(begin, turn)

        def body() -> None:
            now = self.code.load(turn)
            self.put(name, now)
            self.code.store(self.code.add(now, step), turn)
            self.block(nodes)

        self.loop(lambda: self.code.icmp_signed(">" if down else "<", self.code.load(turn), end), body)

    def loop(self, test: Callable[[], Any], body: Callable[[], None]) -> None:
        """Lower a loop: as long as the test holds, the body."""
        head, turn, end = (self.made.append_basic_block(name) for name in ("head", "turn", "end"))
        self.code.branch(head)
        self.code.position_at_end(head)
        self.code.cbranch(test(), turn, end)
        self.loops.append((head, end))
        self.code.position_at_end(turn)
        with self.inside():
            body()
        self.go_to(head)
        self.loops.pop()
        self.code.position_at_end(end)

    def go_to(self, block: Any) -> None:
        """Go on at a block where nothing was left yet."""
        if not self.code.block.is_terminated:
            self.code.branch(block)
