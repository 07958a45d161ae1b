"""`protect` is what a machine runs: it imports nothing, knows no floats and allocates nothing in a step."""

import ast
import subprocess
import sys
from pathlib import Path

import pytest

import protect

FOLDER = Path(protect.__file__).parent
MODULES = {path.stem: ast.parse(path.read_text(encoding="utf-8")) for path in sorted(FOLDER.glob("*.py"))}
ALLOCATING = (
    ast.List,
    ast.Dict,
    ast.Set,
    ast.Tuple,
    ast.ListComp,
    ast.DictComp,
    ast.SetComp,
    ast.GeneratorExp,
    ast.JoinedStr,
    ast.Lambda,
    ast.FunctionDef,
    ast.ClassDef,
    ast.Starred,
    ast.Slice,
    ast.Yield,
    ast.Global,
    ast.Try,
    ast.Raise,
    ast.With,
)

each_module = pytest.mark.parametrize("name", MODULES)


def functions(tree: ast.Module) -> dict[str, ast.FunctionDef]:
    """Return the functions of a module by name."""
    return {node.name: node for node in tree.body if isinstance(node, ast.FunctionDef)}


def called(node: ast.AST) -> set[str]:
    """Return the names that are called within a node, without the module they are called from."""
    calls = [call.func for call in ast.walk(node) if isinstance(call, ast.Call)]
    return {func.attr if isinstance(func, ast.Attribute) else func.id for func in calls}  # type: ignore[attr-defined]


def functions_of_a_step() -> dict[str, list[ast.FunctionDef]]:
    """Return all functions that a step, bare or sealed, may call, by name; a name that two modules share counts for both."""
    found: dict[str, list[ast.FunctionDef]] = {}
    names = {"sealed_step", "step"}
    while names:
        name = names.pop()
        found[name] = [known[name] for tree in MODULES.values() if name in (known := functions(tree))]
        names |= {more for function in found[name] for more in called(function)} - set(found)
    return {name: nodes for name, nodes in sorted(found.items()) if nodes}


def runtime(function: ast.FunctionDef) -> list[ast.AST]:
    """Return the nodes of a function's body that run when it is called: no annotations, no docstring."""
    return [node for statement in function.body for node in ast.walk(statement)]


STEP = functions_of_a_step()


def test_the_step_is_made_of_the_known_parts() -> None:
    """Catches a search that looks at nothing."""
    assert {"observe", "update", "weight", "accumulate", "evaluate", "settle", "apply_effect", "percent"} <= set(STEP)
    assert {"plain_sum", "weighted_sum", "withhold", "come_up_locked_out", "power_up"} <= set(STEP)
    assert {"derive", "first_fault", "recall"}.isdisjoint(STEP)
    assert len(STEP["update"]) == 2


@each_module
def test_imports_nothing_but_itself(name: str) -> None:
    """Catches an import that no target has."""
    for node in ast.walk(MODULES[name]):
        assert not isinstance(node, ast.Import)
        if isinstance(node, ast.ImportFrom):
            assert node.level == 0
            assert (node.module or "").split(".")[0] == "protect"


@each_module
def test_knows_integers_only(name: str) -> None:
    """Catches a float, a true division or a power that would make one."""
    for node in ast.walk(MODULES[name]):
        assert not isinstance(node, (ast.Div, ast.Pow)), ast.unparse(node)
        if isinstance(node, ast.Constant):
            assert isinstance(node.value, (int, str, type(None))), node.value
        if isinstance(node, ast.Name):
            assert node.id not in {"float", "complex", "round", "divmod", "pow"}


@each_module
def test_constants_are_small_integers(name: str) -> None:
    """Catches a constant that a 32-bit target keeps on its heap."""
    for node in ast.walk(MODULES[name]):
        if isinstance(node, ast.Constant) and isinstance(node.value, int):
            assert abs(node.value) < 1 << 30


@pytest.mark.parametrize("name", STEP)
def test_a_step_allocates_nothing(name: str) -> None:
    """Catches a list, a tuple, a string or a closure made while a step runs, and an exception that could leave it."""
    for function in STEP[name]:
        for node in runtime(function):
            assert not isinstance(node, ALLOCATING), ast.unparse(node)


@pytest.mark.parametrize("name", STEP)
def test_a_step_calls_its_own_functions_only(name: str) -> None:
    """Catches a library call in a step; `range` is a loop, not a call, on the targets."""
    for function in STEP[name]:
        assert called(function) <= set(STEP) | {"range"}


@each_module
def test_keeps_no_state_of_its_own(name: str) -> None:
    """Catches a module-level list, dictionary or set: two machines would share it."""
    for statement in MODULES[name].body:
        if isinstance(statement, (ast.Assign, ast.AnnAssign, ast.AugAssign)) and statement.value:
            for node in ast.walk(statement.value):
                assert not isinstance(node, (ast.List, ast.Dict, ast.Set, ast.Call)), ast.unparse(statement)
        for node in ast.walk(statement):
            assert not isinstance(node, ast.Global)


# Operators from the one that binds most to the one that binds least, in C; in Python & ^ | bind more than comparisons.
IN_C: tuple[tuple[type[ast.AST], ...], ...] = (
    (ast.Not, ast.USub, ast.Invert),
    (ast.Mult, ast.FloorDiv, ast.Mod),
    (ast.Add, ast.Sub),
    (ast.LShift, ast.RShift),
    (ast.Lt, ast.LtE, ast.Gt, ast.GtE),
    (ast.Eq, ast.NotEq),
    (ast.BitAnd,),
    (ast.BitXor,),
    (ast.BitOr,),
    (ast.And,),
    (ast.Or,),
)
RANK_IN_C = {operator: rank for rank, operators in enumerate(IN_C) for operator in operators}


def operands(node: ast.AST) -> tuple[list[ast.AST], list[ast.expr]]:
    """Return the operators of an expression and what they are applied to; nothing of one that is none."""
    if isinstance(node, ast.UnaryOp):
        return [node.op], [node.operand]
    if isinstance(node, ast.BinOp):
        return [node.op], [node.left, node.right]
    if isinstance(node, ast.BoolOp):
        return [node.op], node.values
    if isinstance(node, ast.Compare):
        return list(node.ops), [node.left, *node.comparators]
    return [], []


def bracketed(source: str, node: ast.expr) -> bool:
    """Say whether an operand stands in brackets of its own."""
    lines = source.splitlines(keepends=True)
    begin = sum(map(len, lines[: node.lineno - 1])) + node.col_offset
    end = begin + len(ast.get_source_segment(source, node) or "")
    return source[:begin].rstrip().endswith("(") and source[end:].lstrip().startswith(")")


def read_otherwise_in_c(source: str) -> list[str]:
    """Return the expressions that C, copied letter by letter, would take apart in another way."""
    found = []
    for node in ast.walk(ast.parse(source)):
        operators, parts = operands(node)
        inner = [op for part in parts if not bracketed(source, part) for op in operands(part)[0]]
        if len(operators) > 1 or any(RANK_IN_C[type(op)] > RANK_IN_C[type(operators[0])] for op in inner):
            found.append(ast.unparse(node))
    return found


@each_module
def test_expressions_mean_the_same_in_c(name: str) -> None:
    """Catches `a & b == c`, `not a & b` and `a <= b <= c`: C reads them as `a & (b == c)`, `(!a) & b`, `(a <= b) <= c`."""
    assert read_otherwise_in_c((FOLDER / f"{name}.py").read_text(encoding="utf-8")) == []


@pytest.mark.parametrize(
    ("expression", "other"),
    [
        ("a & b == c", True),
        ("(a & b) == c", False),
        ("f(a & b == c)", True),
        ("a != b ^ c", True),
        ("not a & b", True),
        ("not (a & b)", False),
        ("not a == b", True),
        ("a <= b <= c", True),
        ("a <= b and b <= c", False),
        ("a + b << c", False),
        ("a < b >> 1", False),
        ("-a & b", False),
        ("not a[b & c]", False),
    ],
)
def test_the_look_at_expressions_knows_both_languages(expression: str, *, other: bool) -> None:
    """Catches a look that lets an expression through, or refuses one that is the same in both."""
    assert bool(read_otherwise_in_c(expression)) == other


def test_the_name_of_a_constant_means_one_thing() -> None:
    """Catches a place, a bit or a code that has the name of another in another module: a port has one file for all."""
    named: dict[str, list[str]] = {}
    for module, tree in MODULES.items():
        for statement in tree.body:
            for target in statement.targets if isinstance(statement, ast.Assign) else []:
                named.setdefault(ast.unparse(target), []).append(module)

    assert {name: modules for name, modules in named.items() if len(modules) > 1} == {}


BLOCKED = """
import sys

class Blocked:
    def find_spec(self, name, path=None, target=None):
        if name.split(".")[0] != "protect":
            raise ImportError(name)

sys.modules["numpy"] = None
sys.path.insert(0, sys.argv[1])
sys.meta_path.insert(0, Blocked())
before = set(sys.modules)
for name in sys.argv[2:]:
    __import__("protect." + name)
print(*sorted({name.split(".")[0] for name in set(sys.modules) - before}))
"""


def test_imports_with_everything_else_blocked() -> None:
    """Catches an import in a function or a branch that only a look at a running interpreter can find."""
    names = [name for name in MODULES if name != "__init__"]
    run = subprocess.run(
        [sys.executable, "-I", "-S", "-c", BLOCKED, FOLDER.parent, *names],
        capture_output=True,
        text=True,
        check=False,
        timeout=60,
    )

    assert (run.returncode, run.stdout.strip()) == (0, "protect"), run.stderr
