"""The reference with a hook at each place where a port may go wrong.

`Hooked` reads the modules of `protect` as they are and compiles them anew with every
value that is read, worked out, compared, decided on, stored or called for passed through one
function. With the plain hook it does what `protect` does; with another it is a wrong port.
"""

import ast
import builtins
import functools
import operator
from collections.abc import Callable, Collection, Iterator
from dataclasses import dataclass
from pathlib import Path
from types import FunctionType, ModuleType
from typing import Any

import protect
from protect import conditions, integral, table, timers

FOLDER = Path(protect.__file__).parent
READ, STORE, OPERATION, COMPARISON, DECISION, CONSTANT, VALUE, CALL = (
    "read", "store", "operation", "comparison", "decision", "constant", "value", "call",
)  # fmt: skip
OPERATORS: dict[str, Callable[[Any, Any], Any]] = {
    "Add": operator.add, "Sub": operator.sub, "Mult": operator.mul, "FloorDiv": operator.floordiv,
    "LShift": operator.lshift, "RShift": operator.rshift,
    "BitAnd": operator.and_, "BitOr": operator.or_, "BitXor": operator.xor,
    "Lt": operator.lt, "LtE": operator.le, "Gt": operator.gt, "GtE": operator.ge, "Eq": operator.eq, "NotEq": operator.ne,
}  # fmt: skip
# What the array parameters of the reference are called, and what each holds.
ARRAYS = {"state": "state", "settings": "settings", "inputs": "inputs", "outputs": "outputs", "results": "outputs"}

# Where a constant may be defined, beside ranges, settings, state, signals and outputs.
MODULES = (conditions, integral, table, timers)

Hook = Callable[[int, Any, Any, Any], Any]


@dataclass(frozen=True)
class Place:
    """A hooked place: what it does, where it stands, its text; the array it reads or stores in, or its operator."""

    kind: str
    module: str
    function: str
    text: str
    of: str = ""

    def __str__(self) -> str:
        return f"{self.module}.{self.function}: {self.text}"


class _Hooks(ast.NodeTransformer):
    """Puts a hook around each place of one module, or around some of them only."""

    def __init__(self, module: str, places: list[Place], only: Collection[int] | None = None) -> None:
        self.module, self.places, self.only = module, places, only
        self.function = ""

    def hook(
        self,
        name: str,
        kind: str,
        node: ast.AST,
        arguments: list[ast.expr],
        of: str = "",
        *,
        bare: ast.expr | None = None,
    ) -> ast.expr:
        """Return the call of a hook for a new place; `bare`: what stands there without one, the first argument if not given."""
        number = len(self.places)
        self.places.append(Place(kind, self.module, self.function, ast.unparse(node), of))
        if self.only is not None and number not in self.only:
            return arguments[0] if bare is None else bare
        return ast.Call(ast.Name(name, ast.Load()), [ast.Constant(number), *arguments], [])

    def visit_FunctionDef(self, node: ast.FunctionDef) -> ast.FunctionDef:
        self.function = node.name
        node.body = [made for statement in node.body for made in self.statement(statement)]
        self.function = ""
        return node

    def statement(self, node: ast.stmt) -> list[ast.stmt]:
        made = self.visit(node)
        return made if isinstance(made, list) else [made]

    def visit_Expr(self, node: ast.Expr) -> ast.stmt:
        if not isinstance(node.value, ast.Call):
            return node  # a docstring
        call = ast.Expr(ast.Call(node.value.func, [self.visit(a) for a in node.value.args], []))
        times = self.hook("_k", CALL, node, [], bare=ast.parse("(1,)", mode="eval").body)
        return ast.For(ast.Name("_again", ast.Store()), times, [call], [], lineno=node.lineno)

    def visit_Assign(self, node: ast.Assign) -> ast.stmt:
        if not self.function:
            return node
        target = node.targets[0]
        value = self.visit(node.value)
        if isinstance(target, ast.Subscript) and isinstance(target.value, ast.Name):
            of = ARRAYS.get(target.value.id, target.value.id)
            value = self.hook("_h", STORE, node, [value, ast.Name(target.value.id, ast.Load()), target.slice], of)
        elif isinstance(target, ast.Name) and isinstance(node.value, ast.Name | ast.UnaryOp):
            value = self.hook("_v", VALUE, node, [value])
        return ast.Assign(node.targets, value, lineno=node.lineno)

    def visit_AugAssign(self, node: ast.AugAssign) -> ast.stmt:
        held = ast.parse(ast.unparse(node.target), mode="eval").body
        return self.visit_Assign(ast.Assign([node.target], ast.BinOp(held, node.op, node.value), lineno=node.lineno))

    def visit_Return(self, node: ast.Return) -> ast.stmt:
        if node.value is not None:
            value = self.visit(node.value)
            if isinstance(node.value, ast.Name | ast.UnaryOp):
                value = self.hook("_v", VALUE, node, [value])
            node.value = value
        return node

    def visit_For(self, node: ast.For) -> ast.stmt:
        node.body = [made for statement in node.body for made in self.statement(statement)]
        return node

    def visit_If(self, node: ast.If) -> ast.stmt:
        node.test = self.decision(node.test)
        node.body = [made for statement in node.body for made in self.statement(statement)]
        node.orelse = [made for statement in node.orelse for made in self.statement(statement)]
        return node

    def decision(self, node: ast.expr) -> ast.expr:
        made = self.visit(node)
        if isinstance(node, ast.Compare | ast.BoolOp) or (
            isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.Not)
        ):
            return made
        return self.hook("_v", DECISION, node, [made])

    def visit_BoolOp(self, node: ast.BoolOp) -> ast.expr:
        return ast.BoolOp(node.op, [self.decision(part) for part in node.values])

    def visit_UnaryOp(self, node: ast.UnaryOp) -> ast.expr:
        if isinstance(node.op, ast.Not):
            return ast.UnaryOp(node.op, self.decision(node.operand))
        return ast.UnaryOp(node.op, self.visit(node.operand))

    def visit_Compare(self, node: ast.Compare) -> ast.expr:
        name = type(node.ops[0]).__name__
        sides = [self.visit(node.left), self.visit(node.comparators[0])]
        return self.hook(
            "_o",
            COMPARISON,
            node,
            [ast.Name(f"_{name}", ast.Load()), *sides],
            name,
            bare=ast.Compare(sides[0], node.ops, [sides[1]]),
        )

    def visit_BinOp(self, node: ast.BinOp) -> ast.expr:
        name = type(node.op).__name__
        sides = [self.visit(node.left), self.visit(node.right)]
        return self.hook(
            "_o",
            OPERATION,
            node,
            [ast.Name(f"_{name}", ast.Load()), *sides],
            name,
            bare=ast.BinOp(sides[0], node.op, sides[1]),
        )

    def visit_Subscript(self, node: ast.Subscript) -> ast.expr:
        if not isinstance(node.value, ast.Name) or node.value.id.isupper():
            return node
        of = ARRAYS.get(node.value.id, node.value.id)
        again = ast.parse(ast.unparse(node.slice), mode="eval").body
        return self.hook("_h", READ, node, [node, ast.Name(node.value.id, ast.Load()), again], of)

    def visit_Name(self, node: ast.Name) -> ast.expr:
        if node.id.isupper() and isinstance(node.ctx, ast.Load):
            return self.hook("_v", CONSTANT, node, [node], node.id)
        return node

    def visit_Constant(self, node: ast.Constant) -> ast.expr:
        if type(node.value) is int and self.function:
            return self.hook("_v", CONSTANT, node, [node])
        return node

    def visit_Call(self, node: ast.Call) -> ast.expr:
        if isinstance(node.func, ast.Name) and node.func.id in ("range", "len"):
            return node
        arguments = [argument if isinstance(argument, ast.Name) else self.visit(argument) for argument in node.args]
        return self.hook("_v", VALUE, node, [ast.Call(node.func, arguments, [])])


def plain(number: int, value: Any, first: Any, second: Any) -> Any:
    """Give a value on as it is: the hook of a right port."""
    del number, first, second
    return value


class Hooked:
    """The modules of `protect` compiled anew, with hooks or without; `change` may alter the tree of a module first.

    only: the numbers of the places that have a hook, where not all have.
    """

    def __init__(
        self,
        *,
        hooks: bool = True,
        only: Collection[int] | None = None,
        change: Callable[[str, ast.Module], None] | None = None,
    ) -> None:
        self.modules: dict[str, ModuleType] = {}
        self.places: list[Place] = []
        self.hooks, self.only, self.change = hooks, only, change
        self.builtins = {**vars(builtins), "__import__": self._imported}
        self.builtins |= {f"_{name}": function for name, function in OPERATORS.items()}
        self.hook = plain
        for path in sorted(FOLDER.glob("[a-z]*.py")):
            self._load(path.stem)

    @property
    def hook(self) -> Hook:
        """What every place passes its value through: (number of the place, value, and what it was made from)."""
        return self._hook

    @hook.setter
    def hook(self, hook: Hook) -> None:
        self._hook = hook
        self.builtins["_h"] = hook
        self.builtins["_v"] = lambda number, value: hook(number, value, None, None)
        self.builtins["_o"] = lambda number, function, a, b: hook(number, function(a, b), a, b)
        self.builtins["_k"] = lambda number: range(hook(number, 1, None, None))

    def with_one_hook(self, number: int, place: Place, first: int) -> FunctionType:
        """Return the function of a place with a hook at this place only; `first`: the number of the first place in it."""
        source = ast.parse(_text_of(place.module, place.function))
        _Hooks(place.module, [place] * first, only={number}).visit(source.body[0])
        made = dict(vars(self.modules[place.module]))
        exec(compile(ast.fix_missing_locations(source), place.module, "exec"), made)  # noqa: S102 - the logic itself
        code = made[place.function].__code__
        return FunctionType(code, vars(self.modules[place.module]), place.function)

    def __getattr__(self, name: str) -> ModuleType:
        try:
            return self.__dict__["modules"][name]
        except KeyError:
            raise AttributeError(name) from None

    def _imported(self, name: str, *arguments: Any) -> Any:
        if name == "protect":
            package = ModuleType("protect")
            for wanted in arguments[2]:
                setattr(package, wanted, self._load(wanted))
            return package
        if name.startswith("protect."):
            return self._load(name.partition(".")[2])
        return builtins.__import__(name, *arguments)

    def _load(self, name: str) -> ModuleType:
        if name not in self.modules:
            module = ModuleType(f"hooked.{name}")
            self.modules[name] = module
            tree = ast.parse((FOLDER / f"{name}.py").read_text(encoding="utf-8"))
            if self.change is not None:
                self.change(name, tree)
            if self.hooks:
                for node in tree.body:
                    if isinstance(node, ast.FunctionDef):
                        _Hooks(name, self.places, self.only).visit(node)
            module.__dict__["__builtins__"] = self.builtins
            exec(compile(ast.fix_missing_locations(tree), name, "exec"), module.__dict__)  # noqa: S102 - the logic itself
        return self.modules[name]


@functools.cache
def _text_of(module: str, function: str) -> str:
    """Return the source of a function of the reference."""
    text = (FOLDER / f"{module}.py").read_text(encoding="utf-8")
    (node,) = [node for node in functions(ast.parse(text)) if node.name == function]
    return ast.get_source_segment(text, node) or ""


def functions(tree: ast.Module) -> Iterator[ast.FunctionDef]:
    """Yield the functions of a module."""
    yield from (node for node in tree.body if isinstance(node, ast.FunctionDef))
