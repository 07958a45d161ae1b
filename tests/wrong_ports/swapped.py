"""Wrong order: each function of a step with two neighbouring statements the other way round."""

import ast
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from types import FunctionType, ModuleType

from tests.wrong_ports import hooked


@dataclass(frozen=True)
class Swap:
    """Two statements of a function, the number of the pair in it, and their first lines."""

    module: str
    function: str
    number: int
    text: str

    @property
    def place(self) -> str:
        """Return where the mistake stands, as the list has it."""
        return f"{self.module}.{self.function}: order"


def blocks(node: ast.AST) -> Iterator[list[ast.stmt]]:
    """Yield the lists of statements within a function, the outer first."""
    for inner in ast.walk(node):
        for name in ("body", "orelse"):
            block = getattr(inner, name, None)
            if isinstance(block, list) and len(block) > 1:
                yield block


def neighbours(node: ast.FunctionDef) -> list[tuple[list[ast.stmt], int]]:
    """Return (block, place of the first) of all neighbouring statements of a function, its docstring left alone."""
    return [
        (block, at)
        for block in blocks(node)
        for at in range(len(block) - 1)
        if not (isinstance(block[at], ast.Expr) and isinstance(block[at].value, ast.Constant))  # type: ignore[attr-defined]
    ]


def definition(module: str, function: str) -> ast.FunctionDef:
    """Return a function of the reference as a tree of its own."""
    tree = ast.parse((hooked.FOLDER / f"{module}.py").read_text(encoding="utf-8"))
    return next(node for node in hooked.functions(tree) if node.name == function)


def swaps(modules: tuple[str, ...]) -> Iterator[Swap]:
    """Yield all swaps of the functions of some modules."""
    for module in modules:
        tree = ast.parse((hooked.FOLDER / f"{module}.py").read_text(encoding="utf-8"))
        for node in hooked.functions(tree):
            seen: Counter[str] = Counter()
            for number, (block, at) in enumerate(neighbours(node)):
                heads = [ast.unparse(statement).partition("\n")[0] for statement in block[at : at + 2]]
                text = f"{heads[1]} before {heads[0]}"
                seen[text] += 1
                yield Swap(module, node.name, number, text if seen[text] == 1 else f"{text} ({seen[text]})")


def with_swap(module: ModuleType, swap: Swap) -> FunctionType:
    """Return the function of a swap with its statements swapped, at home in a module."""
    node = definition(swap.module, swap.function)
    block, at = neighbours(node)[swap.number]
    block[at], block[at + 1] = block[at + 1], block[at]
    made = dict(vars(module))
    exec(compile(ast.fix_missing_locations(ast.Module([node], [])), swap.module, "exec"), made)  # noqa: S102 - the logic itself
    code = made[swap.function].__code__
    return FunctionType(code, vars(module), swap.function)
