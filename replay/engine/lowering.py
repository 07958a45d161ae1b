"""The logic as code of LLVM, lowered from the text of `protect` itself: one source of truth, nothing of Python left.

What `protect` may be written in is small (its house rules), and so is this lowering; what it does not know it refuses.
A general compiler of Python has to ask at every place what an array is, where it ends and who holds it; here that is
known beforehand:

    int, bool          a 64-bit integer and a bit; no value of a step passes 2**30, so none is cut off
    list[int]          a pointer to 64-bit integers; the arrays of a call never overlap
    list[list[int]]    rows of one length in one piece: pointer, count of rows, length of a row
    table of numbers   gone: a loop over its rows is written out, each row with its own numbers

Every function goes into its callers, so a step is one stretch of code with its levels in registers.
"""

import ast
import importlib
import inspect
from collections.abc import Callable, Sequence
from types import FunctionType
from typing import Any

from llvmlite import ir

Function = Callable[..., Any]

WORD, BIT, NOTHING = ir.IntType(64), ir.IntType(1), ir.VoidType()
WORDS = WORD.as_pointer()
ROWS = (WORDS, WORD, WORD)  # the arguments that stand for a list[list[int]]
KINDS: dict[str, Any] = {"int": WORD, "bool": BIT, "None": NOTHING, "list[int]": WORDS}
TABLE = "list[list[int]]"

OPERATORS = {
    ast.Add: "add",
    ast.Sub: "sub",
    ast.Mult: "mul",
    ast.BitAnd: "and_",
    ast.BitOr: "or_",
    ast.BitXor: "xor",
    ast.LShift: "shl",
    ast.RShift: "ashr",
}
COMPARED = {ast.Eq: "==", ast.NotEq: "!=", ast.Lt: "<", ast.LtE: "<=", ast.Gt: ">", ast.GtE: ">="}


class UnknownFormError(ValueError):
    """A function holds something that this lowering does not know."""


def _unknown(node: ast.AST, why: str = "not known") -> UnknownFormError:
    return UnknownFormError(f"line {getattr(node, 'lineno', '?')}: {ast.unparse(node)}: {why}")


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
            kinds = {argument.arg: ast.unparse(argument.annotation or node) for argument in node.args.args}
            flat = [kind for said in kinds.values() for kind in (ROWS if said == TABLE else (KINDS[said],))]
            form = ir.FunctionType(KINDS[ast.unparse(node.returns or node)], flat)
            made = ir.Function(self.module, form, f"{function.__module__}.{function.__name__}")
            made.attributes.add("alwaysinline")
            made.attributes.add("nounwind")
            for argument in made.args:
                if argument.type == WORDS:
                    argument.add_attribute("noalias")
            self.functions[function] = made
            _Body(self, function, node, made, kinds)
        return self.functions[function]


class _Body(ast.NodeVisitor):
    """The body of one function on its way into code."""

    def __init__(
        self, program: Program, function: FunctionType, node: ast.FunctionDef, made: ir.Function, kinds: dict[str, str]
    ) -> None:
        self.program, self.made, self.module = program, made, importlib.import_module(function.__module__)
        self.code = ir.IRBuilder(made.append_basic_block("entry"))
        self.arrays: dict[str, Sequence[Any]] = {}  # name -> its pointer, and of a table rows and length beside it
        self.variables: dict[str, Any] = {}
        self.rows: dict[str, Any] = {}  # name -> the row of a table of numbers that it stands for
        self.ends: list[Any] = []  # of the loops around
        given = iter(made.args)
        for name, said in kinds.items():
            if said == TABLE:
                self.arrays[name] = (next(given), next(given), next(given))
            elif KINDS[said] == WORDS:
                self.arrays[name] = (next(given),)
            else:
                self.put(name, next(given))
        self.block(node.body)
        if not self.code.block.is_terminated:
            self.code.ret_void()

    def generic_visit(self, node: ast.AST) -> Any:
        """Refuse whatever has no method here."""
        raise _unknown(node)

    # ---- names and values ----

    def known(self, node: ast.expr) -> Any:
        """Return what is known of an expression beforehand: a number, a table of numbers, a function; else None."""
        if isinstance(node, ast.Constant):
            return node.value
        if isinstance(node, ast.Name):
            if node.id in self.rows:
                return self.rows[node.id]
            own = node.id in self.variables or node.id in self.arrays
            return None if own else getattr(self.module, node.id, None)
        if isinstance(node, ast.Attribute) and isinstance(node.value, ast.Name):
            return getattr(getattr(self.module, node.value.id), node.attr)
        if isinstance(node, ast.Subscript) and isinstance(node.slice, ast.Constant):
            row = self.known(node.value)
            return None if row is None else row[node.slice.value]
        return None

    def value(self, node: ast.expr, kind: Any = None) -> Any:
        """Return the value of an expression, of a kind where one is wanted."""
        known = self.known(node)
        kinds = {bool: BIT, int: WORD}
        value = kinds[type(known)](int(known)) if type(known) in kinds else self.visit(node)
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

    def words(self, node: ast.expr) -> Any:
        """Return the pointer to the words of an array, or of a row of a table."""
        if isinstance(node, ast.Name) and len(self.arrays.get(node.id, ())) == 1:
            return self.arrays[node.id][0]
        if isinstance(node, ast.Subscript) and isinstance(node.value, ast.Name):
            table = self.arrays.get(node.value.id, ())
            if len(table) == len(ROWS):
                return self.code.gep(table[0], [self.code.mul(self.value(node.slice, WORD), table[2])])
        raise _unknown(node, "no array")

    def place(self, node: ast.Subscript) -> Any:
        """Return the pointer to one word."""
        return self.code.gep(self.words(node.value), [self.value(node.slice, WORD)])

    # ---- expressions ----

    def visit_Name(self, node: ast.Name) -> Any:
        if node.id not in self.variables:
            raise _unknown(node, "no variable")
        return self.code.load(self.variables[node.id])

    def visit_Subscript(self, node: ast.Subscript) -> Any:
        return self.code.load(self.place(node))

    def visit_BinOp(self, node: ast.BinOp) -> Any:
        if type(node.op) not in OPERATORS:
            raise _unknown(node)
        operate = getattr(self.code, OPERATORS[type(node.op)])
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

    def visit_Compare(self, node: ast.Compare) -> Any:
        if len(node.ops) != 1 or type(node.ops[0]) not in COMPARED:
            raise _unknown(node)
        left, right = self.value(node.left, WORD), self.value(node.comparators[0], WORD)
        return self.code.icmp_signed(COMPARED[type(node.ops[0])], left, right)

    def visit_Call(self, node: ast.Call) -> Any:
        function = self.known(node.func)
        if isinstance(node.func, ast.Name) and node.func.id == "len":
            return self.length(node.args[0])
        if not inspect.isfunction(function) or node.keywords:
            raise _unknown(node)
        made = self.program.function(function)
        given: list[Any] = []
        for part in node.args:
            kind = made.args[len(given)].type
            given.append(self.words(part) if kind == WORDS else self.value(part, kind))
        return self.code.call(made, given)

    def length(self, node: ast.expr) -> Any:
        """Return how many rows a table has, or words one of its rows."""
        whole = node.value if isinstance(node, ast.Subscript) else node
        table = self.arrays.get(whole.id, ()) if isinstance(whole, ast.Name) else ()
        if len(table) != len(ROWS):
            raise _unknown(node, "of no known length")
        return table[1 if whole is node else 2]

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
        if node.value is None:
            self.code.ret_void()
        else:
            self.code.ret(self.value(node.value, self.made.function_type.return_type))

    def visit_Assign(self, node: ast.Assign) -> None:
        (target,) = node.targets
        self.assign(target, self.value(node.value))

    def visit_AugAssign(self, node: ast.AugAssign) -> None:
        self.assign(node.target, self.visit_BinOp(ast.BinOp(node.target, node.op, node.value)))

    def assign(self, target: ast.expr, value: Any) -> None:
        """Give a variable or a word of an array a value."""
        if isinstance(target, ast.Name) and target.id not in self.arrays:
            self.put(target.id, value)
        elif isinstance(target, ast.Subscript):
            self.code.store(self.as_kind(value, WORD), self.place(target))
        else:
            raise _unknown(target)

    def visit_If(self, node: ast.If) -> None:
        yes, no, end = (self.made.append_basic_block(name) for name in ("yes", "no", "end"))
        self.code.cbranch(self.value(node.test, BIT), yes, no)
        for begin, nodes in ((yes, node.body), (no, node.orelse)):
            self.code.position_at_end(begin)
            self.block(nodes)
            self.go_to(end)
        self.code.position_at_end(end)

    def visit_Break(self, _node: ast.Break) -> None:
        self.code.branch(self.ends[-1])

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
        elif isinstance(node.iter, ast.Call) and ast.unparse(node.iter.func) == "range" and len(node.iter.args) == 1:
            self.counted(name, self.value(node.iter.args[0], WORD), node.body)
        else:
            raise _unknown(node)

    def written_out(self, name: str, table: tuple[Any, ...], nodes: list[ast.stmt]) -> None:
        """Lower the body once for each row of a table of numbers."""
        end = self.made.append_basic_block("end")
        self.ends.append(end)
        for self.rows[name] in table:
            self.block(nodes)
        self.ends.pop()
        del self.rows[name]
        self.go_to(end)
        self.code.position_at_end(end)

    def counted(self, name: str, count: Any, nodes: list[ast.stmt]) -> None:
        """Lower a loop whose variable counts up from 0."""
        turn = self.slot(WORD)
        self.code.store(WORD(0), turn)

        def body() -> None:
            now = self.code.load(turn)
            self.put(name, now)
            self.code.store(self.code.add(now, WORD(1)), turn)
            self.block(nodes)

        self.loop(lambda: self.code.icmp_signed("<", self.code.load(turn), count), body)

    def loop(self, test: Callable[[], Any], body: Callable[[], None]) -> None:
        """Lower a loop: as long as the test holds, the body."""
        head, turn, end = (self.made.append_basic_block(name) for name in ("head", "turn", "end"))
        self.code.branch(head)
        self.code.position_at_end(head)
        self.code.cbranch(test(), turn, end)
        self.ends.append(end)
        self.code.position_at_end(turn)
        body()
        self.go_to(head)
        self.ends.pop()
        self.code.position_at_end(end)

    def go_to(self, block: Any) -> None:
        """Go on at a block where nothing was left yet."""
        if not self.code.block.is_terminated:
            self.code.branch(block)
