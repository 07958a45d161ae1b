"""The logic as IEC 61131-3 Structured Text, translated from the source of `protect`: one source of truth.

What `protect` may be written in is small (its house rules), and so is this translation; what it does not know it
refuses, so that nothing is left out in silence. Every function becomes a FUNCTION, in the order of use:

    int                DINT, and DWORD under the operators of bits, converted by the standard's functions
    bool               BOOL; a number taken as a truth is compared with 0
    list[int]          VAR_IN_OUT of an array of its size; a record is of BYTE; a function that takes arrays of
                       several sizes comes once for each
    name of a number   VAR CONSTANT of the function that uses it, K_NAME as DINT, W_NAME as DWORD
    table of numbers   VAR CONSTANT array, without the columns that hold text

Identifiers of the language do not tell capitals from small letters; the prefixes keep constants and variables apart.
Both sides of AND and OR may be worked out, which in `protect` makes no difference.
"""

import ast
import importlib
import inspect
import textwrap
from dataclasses import dataclass, field
from types import ModuleType
from typing import Any

from protect import outputs, ranges, saved, seal, state

WORDS = {
    "state": state.STATE_SIZE,
    "settings": ranges.SETTINGS_SIZE,
    "inputs": ranges.INPUTS_SIZE,
    "outputs": outputs.OUTPUTS_SIZE,
    "seals": seal.SEALS_SIZE,
    "record": saved.RECORD_SIZE,
    "crc": 2,
}
# What a parameter of an entry is, where its name is not that of its array.
ALIASES = {"results": "outputs", "first": "record", "second": "record"}
BYTES = frozenset({"record"})
# Words of the language, and of its standard functions, that `protect` uses as names of variables.
RESERVED = frozenset({"at", "byte", "left", "word"})
WIDTH = 120
TYPES = {"D": "DINT", "W": "DWORD", "B": "BOOL", "Y": "BYTE"}
CONVERTED = {
    "DW": "DINT_TO_DWORD({})",
    "WD": "DWORD_TO_DINT({})",
    "YD": "BYTE_TO_DINT({})",
    "YW": "BYTE_TO_DWORD({})",
    "DY": "DINT_TO_BYTE({})",
    "WY": "DWORD_TO_BYTE({})",
    "DB": "({} <> 0)",
    "WB": "({} <> DWORD#16#0)",
}
ARITHMETIC = {ast.Add: "+", ast.Sub: "-", ast.Mult: "*", ast.FloorDiv: "/"}
BITWISE = {ast.BitAnd: "AND", ast.BitOr: "OR", ast.BitXor: "XOR"}
SHIFTS = {ast.LShift: "SHL", ast.RShift: "SHR"}
COMPARED = {ast.Eq: "=", ast.NotEq: "<>", ast.Lt: "<", ast.LtE: "<=", ast.Gt: ">", ast.GtE: ">="}


class UnknownFormError(ValueError):
    """`protect` holds something that this translation does not know."""


def _unknown(node: ast.AST, why: str = "") -> UnknownFormError:
    return UnknownFormError(f"line {getattr(node, 'lineno', '?')}: {ast.unparse(node)}: {why or 'not known'}")


def _kind(annotation: ast.expr | None) -> str:
    """Return the kind of an annotation: D for int, B for bool, nothing for None."""
    return {"int": "D", "bool": "B", "None": ""}[ast.unparse(annotation) if annotation else "None"]


@dataclass
class Text:
    """The functions that were translated, in the order of use, and what each one gives back."""

    functions: dict[str, str] = field(default_factory=dict)
    kinds: dict[str, str] = field(default_factory=dict)

    def call(self, function: Any, arrays: tuple[str, ...]) -> tuple[str, str]:
        """Return (name, kind of its value) of a function for these arrays, translated if it was not yet."""
        module = importlib.import_module(function.__module__)
        node = ast.parse(inspect.getsource(function)).body[0]
        if not isinstance(node, ast.FunctionDef):
            raise _unknown(node)
        kind = _kind(node.returns)
        lists = [argument.arg for argument in node.args.args if ast.unparse(argument.annotation or node) == "list[int]"]
        given = dict(zip(lists, arrays, strict=True))
        other = [array for name, array in given.items() if ALIASES.get(name, name) != array]
        of = ("of", *other) if other else ()
        name = "_".join(("LT", module.__name__.rpartition(".")[2], function.__name__, *of))
        if name not in self.kinds:
            self.kinds[name] = kind
            self.functions[name] = _Function(self, module, node, name, given).text()
        return name, kind


class _Function(ast.NodeVisitor):
    """One function on its way into the other language."""

    def __init__(
        self, whole: Text, module: ModuleType, node: ast.FunctionDef, name: str, arrays: dict[str, str]
    ) -> None:
        self.whole, self.module, self.node, self.name, self.arrays = whole, module, node, name, dict(arrays)
        self.kind = whole.kinds[name]
        self.inputs = {a.arg: _kind(a.annotation) for a in node.args.args if a.arg not in arrays}
        self.locals: dict[str, str] = {}
        self.own_arrays: list[str] = []
        self.constants: dict[str, str] = {}
        self.rows: dict[str, tuple[str, str]] = {}  # variable -> (table, index), for rows of a table

    def generic_visit(self, node: ast.AST) -> Any:
        """Refuse whatever has no method here."""
        raise _unknown(node)

    # ---- names ----

    def value_of(self, node: ast.expr) -> Any:
        """Return what a name of a module stands for, or None for a variable."""
        if isinstance(node, ast.Attribute) and isinstance(node.value, ast.Name):
            return getattr(getattr(self.module, node.value.id), node.attr)
        if isinstance(node, ast.Name) and node.id not in self.locals and node.id not in self.inputs:
            return getattr(self.module, node.id, None)
        return None

    def variable(self, name: str) -> str:
        return {"_": "turn"}.get(
            name, f"the_{name}" if name in RESERVED and name not in self.arrays else self.array(name)
        )

    def array(self, name: str) -> str:
        return f"the_{name}" if name in RESERVED else name

    def constant(self, name: str, value: int, want: str) -> str:
        spelled = f"{'W' if want == 'W' else 'K'}_{name}"
        if want == "W":
            self.constants[spelled] = f"DWORD := 16#{value & 0xFFFFFFFF:08X}"
        else:
            self.constants[spelled] = f"DINT := {value}"
        return spelled

    def table(self, name: str, rows: tuple[Any, ...]) -> str:
        """Declare a table of numbers, or rows of them without their text; return its name."""
        spelled = f"K_{name}"
        if isinstance(rows[0], int):
            self.constants[spelled] = f"ARRAY[0..{len(rows) - 1}] OF DINT := [{', '.join(map(str, rows))}]"
        else:
            columns = number_columns(rows)
            last = len(rows) - 1
            lines = [
                f"        {', '.join(str(row[column]) for column in columns)}{',' * (number < last)} (* {said} *)"
                for number, (row, said) in enumerate(zip(rows, said_of_rows(self.module, name), strict=True))
            ]
            size = f"0..{last}, 0..{len(columns) - 1}"
            self.constants[spelled] = "\n".join([f"ARRAY[{size}] OF DINT := [", *lines, "    ]"])
        return spelled

    # ---- expressions ----

    def as_kind(self, node: ast.expr, want: str) -> str:
        """Return an expression of the kind that is wanted."""
        value = self.value_of(node)
        if isinstance(value, int) and not isinstance(value, bool):
            name = node.attr if isinstance(node, ast.Attribute) else node.id  # type: ignore[attr-defined]
            if want in "DW":
                return self.constant(name, value, want)
        if isinstance(node, ast.Constant) and type(node.value) is int and want == "W":
            return f"DWORD#16#{node.value & 0xFFFFFFFF:X}"
        text, kind = self.expression(node)
        if kind == want:
            return text
        if kind + want not in CONVERTED:
            raise _unknown(node, f"{kind} for {want}")
        pattern = CONVERTED[kind + want]
        return pattern.format(text if pattern.startswith("(") else bare(text))

    def bare(self, node: ast.expr, want: str) -> str:
        """Return an expression of the kind that is wanted, where nothing else stands beside it."""
        return bare(self.as_kind(node, want))

    def expression(self, node: ast.expr) -> tuple[str, str]:
        """Return an expression and its kind."""
        value = self.value_of(node)
        if isinstance(value, int) and not isinstance(value, bool):
            name = node.attr if isinstance(node, ast.Attribute) else node.id  # type: ignore[attr-defined]
            return self.constant(name, value, "D"), "D"
        found: tuple[str, str] = self.visit(node)
        return found

    def visit_Constant(self, node: ast.Constant) -> tuple[str, str]:
        if isinstance(node.value, bool):
            return str(node.value).upper(), "B"
        return str(node.value), "D"

    def visit_Name(self, node: ast.Name) -> tuple[str, str]:
        if node.id in self.inputs:
            return self.variable(node.id), self.inputs[node.id]
        if node.id not in self.locals:
            raise _unknown(node, "no variable")
        return self.variable(node.id), self.locals[node.id]

    def visit_BinOp(self, node: ast.BinOp) -> tuple[str, str]:
        operator = type(node.op)
        if operator in ARITHMETIC:
            return f"({self.as_kind(node.left, 'D')} {ARITHMETIC[operator]} {self.as_kind(node.right, 'D')})", "D"
        if operator in BITWISE:
            return f"({self.as_kind(node.left, 'W')} {BITWISE[operator]} {self.as_kind(node.right, 'W')})", "W"
        if operator in SHIFTS:
            return (
                f"{SHIFTS[operator]}(IN := {self.as_kind(node.left, 'W')}, N := {self.as_kind(node.right, 'D')})",
                "W",
            )
        raise _unknown(node)

    def visit_UnaryOp(self, node: ast.UnaryOp) -> tuple[str, str]:
        if isinstance(node.op, ast.Not):
            return f"(NOT {self.as_kind(node.operand, 'B')})", "B"
        if isinstance(node.op, ast.Invert):
            return f"(NOT {self.as_kind(node.operand, 'W')})", "W"
        if isinstance(node.op, ast.USub):
            return f"(-{self.as_kind(node.operand, 'D')})", "D"
        raise _unknown(node)

    def visit_BoolOp(self, node: ast.BoolOp) -> tuple[str, str]:
        joined = " AND " if isinstance(node.op, ast.And) else " OR "
        return f"({joined.join(self.as_kind(value, 'B') for value in node.values)})", "B"

    def visit_Compare(self, node: ast.Compare) -> tuple[str, str]:
        if len(node.ops) != 1:
            raise _unknown(node, "a chain")
        left, right = self.as_kind(node.left, "D"), self.as_kind(node.comparators[0], "D")
        return f"({left} {COMPARED[type(node.ops[0])]} {right})", "B"

    def visit_Subscript(self, node: ast.Subscript) -> tuple[str, str]:
        if isinstance(node.value, ast.Name):
            name = node.value.id
            if name in self.arrays:
                kind = "Y" if self.arrays[name] in BYTES else "D"
                return f"{self.array(name)}[{self.bare(node.slice, 'D')}]", kind
            if name in self.rows and isinstance(node.slice, ast.Constant) and isinstance(node.slice.value, int):
                table, place = self.rows[name]
                columns = number_columns(getattr(self.module, table.removeprefix("K_")))
                return f"{table}[{place}, {columns.index(node.slice.value)}]", "D"
        value = self.value_of(node.value)
        if isinstance(value, tuple) and isinstance(node.value, ast.Name) and isinstance(value[0], int):
            return f"{self.table(node.value.id, value)}[{self.bare(node.slice, 'D')}]", "D"
        raise _unknown(node)

    def visit_Call(self, node: ast.Call) -> tuple[str, str]:
        if isinstance(node.func, ast.Name) and node.func.id == "len":
            return str(len(self.value_of(node.args[0]))), "D"
        function = self.value_of(node.func)
        if not inspect.isfunction(function) or node.keywords:
            raise _unknown(node)
        parameters = inspect.signature(function).parameters.items()
        given = dict(zip((n for n, _ in parameters), node.args, strict=True))
        arrays = {n: a.id for n, a in given.items() if isinstance(a, ast.Name) and a.id in self.arrays}
        name, kind = self.whole.call(function, tuple(self.arrays[array] for array in arrays.values()))
        kinds = {n: _kind(ast.parse(p.annotation.__name__, mode="eval").body) for n, p in parameters if n not in arrays}
        texts = {n: self.array(arrays[n]) if n in arrays else self.bare(a, kinds[n]) for n, a in given.items()}
        return f"{name}({', '.join(f'{self.parameter(n)} := {text}' for n, text in texts.items())})", kind

    def parameter(self, name: str) -> str:
        return f"the_{name}" if name in RESERVED else name

    # ---- statements ----

    def block(self, nodes: list[ast.stmt], depth: int) -> list[str]:
        """Return statements as lines."""
        lines: list[str] = []
        for node in nodes:
            if isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant):
                continue  # the docstring
            lines += ["    " * depth + line for line in self.visit(node)]
        return lines

    def visit_Expr(self, node: ast.Expr) -> list[str]:
        text, kind = self.expression(node.value)
        if kind:
            raise _unknown(node, "a value that is not used")
        self.locals["done"] = "B"
        return [f"done := {text};"]

    def visit_Assign(self, node: ast.Assign) -> list[str]:
        (target,) = node.targets
        if isinstance(target, ast.Tuple) and isinstance(node.value, ast.Subscript):
            table, place = self.row_of(node.value)
            names = [element.id for element in target.elts if isinstance(element, ast.Name)]
            self.locals |= dict.fromkeys(names, "D")
            return [f"{self.variable(name)} := {table}[{place}, {column}];" for column, name in enumerate(names)]
        if isinstance(target, ast.Name) and isinstance(node.value, ast.List):
            self.arrays[target.id] = target.id
            if target.id not in self.own_arrays:
                self.own_arrays.append(target.id)
            values = [self.as_kind(value, "D") for value in node.value.elts]
            return [f"{self.array(target.id)}[{place}] := {value};" for place, value in enumerate(values)]
        if isinstance(target, ast.Name) and isinstance(node.value, ast.Subscript) and self.is_row(node.value):
            self.rows[target.id] = self.row_of(node.value)
            return []
        return [self.assigned(target, node.value)]

    def is_row(self, node: ast.Subscript) -> bool:
        value = self.value_of(node.value)
        return isinstance(value, tuple) and isinstance(value[0], tuple)

    def row_of(self, node: ast.Subscript) -> tuple[str, str]:
        if not isinstance(node.value, ast.Name):
            raise _unknown(node)
        return self.table(node.value.id, self.value_of(node.value)), self.as_kind(node.slice, "D")

    def assigned(self, target: ast.expr, value: ast.expr) -> str:
        if isinstance(target, ast.Name):
            if target.id in self.inputs:
                raise _unknown(target, "an input that is assigned")
            kind = self.locals.setdefault(target.id, {"B": "B"}.get(self.expression(value)[1], "D"))
            return f"{self.variable(target.id)} := {self.bare(value, kind)};"
        place, kind = self.expression(target)
        return f"{place} := {self.bare(value, kind)};"

    def visit_AugAssign(self, node: ast.AugAssign) -> list[str]:
        return [self.assigned(node.target, ast.BinOp(node.target, node.op, node.value))]

    def visit_If(self, node: ast.If) -> list[str]:
        lines = [f"IF {self.bare(node.test, 'B')} THEN", *self.block(node.body, 1)]
        other = node.orelse
        while len(other) == 1 and isinstance(other[0], ast.If):
            lines += [f"ELSIF {self.bare(other[0].test, 'B')} THEN", *self.block(other[0].body, 1)]
            other = other[0].orelse
        if other:
            lines += ["ELSE", *self.block(other, 1)]
        return [*lines, "END_IF;"]

    def visit_For(self, node: ast.For) -> list[str]:
        if not isinstance(node.target, ast.Name):
            raise _unknown(node)
        rows = self.value_of(node.iter)
        if isinstance(rows, tuple) and isinstance(node.iter, ast.Name):
            place = f"{node.target.id}_number"
            self.locals[place] = "D"
            self.rows[node.target.id] = (self.table(node.iter.id, rows), place)
            return [f"FOR {place} := 0 TO {len(rows) - 1} DO", *self.block(node.body, 1), "END_FOR;"]
        if not (isinstance(node.iter, ast.Call) and ast.unparse(node.iter.func) == "range"):
            raise _unknown(node)
        given = [self.as_kind(argument, "D") for argument in node.iter.args]
        start, end, by = ("0", *given, "1") if len(given) == 1 else (*given, "1")[:3]
        self.locals["turn" if node.target.id == "_" else node.target.id] = "D"
        head = f"FOR {self.variable(node.target.id)} := {start} TO {end} - 1{f' BY {by}' if by != '1' else ''} DO"
        return [head, *self.block(node.body, 1), "END_FOR;"]

    def visit_Break(self, node: ast.Break) -> list[str]:
        del node
        return ["EXIT;"]

    def visit_Return(self, node: ast.Return) -> list[str]:
        if node.value is None:
            return [f"{self.name} := TRUE;", "RETURN;"]
        return [f"{self.name} := {self.bare(node.value, self.kind)};", "RETURN;"]

    # ---- the whole ----

    def text(self) -> str:
        """Return the function."""
        parameters = [argument.arg for argument in self.node.args.args]
        in_out = [name for name in parameters if name in self.arrays]
        body = self.block(self.node.body, 1)
        if not self.kind:
            body.append(f"    {self.name} := TRUE;")
        elif body[-1] == "    RETURN;":
            body.pop()
        told = (ast.get_docstring(self.node) or "").splitlines()[0]
        lines = [f"(* {told} *)", f"FUNCTION {self.name} : {TYPES[self.kind or 'B']}"]
        lines += section("VAR_INPUT", {self.parameter(name): TYPES[kind] for name, kind in self.inputs.items()})
        lines += section("VAR_IN_OUT", {self.parameter(name): array_type(self.arrays[name]) for name in in_out})
        own = {self.variable(name): TYPES[kind] for name, kind in self.locals.items()}
        lines += section("VAR", own | {self.array(name): array_type(name) for name in self.own_arrays})
        lines += section("VAR CONSTANT", self.constants)
        return "\n".join([*lines, *(part for line in body for part in wrapped(line)), "END_FUNCTION"]) + "\n"


def said_of_rows(module: ModuleType, table: str) -> list[str]:
    """Return the rows of a table as they stand in the source, by the names in them, whatever module it stands in."""
    for node in ast.parse(inspect.getsource(module)).body:
        if isinstance(node, ast.Assign) and ast.unparse(node.targets[0]) == table and isinstance(node.value, ast.Tuple):
            return [ast.unparse(row)[1:-1].replace("'", "").replace("*)", "* )") for row in node.value.elts]
        if isinstance(node, ast.ImportFrom) and node.module and table in (alias.name for alias in node.names):
            return said_of_rows(importlib.import_module(node.module), table)
    raise UnknownFormError(f"{table}: no table of this name")


def wrapped(line: str) -> list[str]:
    """Return a statement as lines of bounded length."""
    if len(line) <= WIDTH:
        return [line]
    indent = " " * (len(line) - len(line.lstrip()) + 8)
    return textwrap.wrap(line, WIDTH, subsequent_indent=indent, break_long_words=False, break_on_hyphens=False)


def bare(text: str) -> str:
    """Return an expression without brackets around the whole of it."""
    depth = 0
    for place, sign in enumerate(text):
        depth += {"(": 1, ")": -1}.get(sign, 0)
        if depth == 0:
            return text[1:-1] if text[0] == "(" and place == len(text) - 1 else text
    return text


def number_columns(rows: tuple[Any, ...]) -> list[int]:
    """Return the columns of a table that hold numbers."""
    return [column for column, value in enumerate(rows[0]) if isinstance(value, int)]


def array_type(name: str) -> str:
    """Return the type of an array by what it holds."""
    return f"ARRAY[0..{WORDS[name] - 1}] OF {'BYTE' if name in BYTES else 'DINT'}"


def section(head: str, rows: dict[str, str]) -> list[str]:
    """Return the lines of a section of declarations, none for an empty one."""
    return [head, *(f"    {name} : {kind};" for name, kind in rows.items()), "END_VAR"] if rows else []
