"""Structured Text as Python: the part of IEC 61131-3 that the logic is written in, parsed by tree-sitter's grammar.

DINT and UDINT wrap at 32 bits, DWORD and BYTE take the operators of bits, SHL and SHR fill with zeros, a quotient is cut
towards zero. Stricter than the language: both operands of an operator have one type and nothing is converted unasked,
both sides of AND and OR are worked out, every index is checked, every parameter is given, and what is not known here is an error.
"""

import re
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

import tree_sitter
import tree_sitter_iec61131_3_st

Node = tree_sitter.Node
WORD = 0xFFFFFFFF
LITERAL = "a literal without a type"
SECTIONS = ("var_input", "var_output", "var_in_out", "var_block")


def dint(value: int) -> int:
    """Wrap into DINT."""
    return ((value + 0x80000000) & WORD) - 0x80000000


def quotient(over: int, under: int) -> int:
    """Divide DINT, cut towards zero."""
    if under == 0:
        raise ZeroDivisionError("division by zero")
    size = abs(over) // abs(under)
    whole = size if (over < 0) == (under < 0) else -size
    return ((whole + 0x80000000) & WORD) - 0x80000000


def at(place: int, least: int, most: int) -> int:
    """Return the distance of an index from the least one. Raises IndexError outside the array."""
    if place < least or place > most:
        raise IndexError("outside the array")
    return place - least


def shl(word: int, places: int) -> int:
    """Shift a DWORD to the left, zeros in."""
    if places < 0 or places > 31:
        raise ValueError("shift")
    return (word << places) & WORD


def shr(word: int, places: int) -> int:
    """Shift a DWORD to the right, zeros in."""
    if places < 0 or places > 31:
        raise ValueError("shift")
    return word >> places


def unsigned_fits(value: int) -> int:
    """Return a UDINT that a DINT can hold."""
    if value > 0x7FFFFFFF:
        raise OverflowError("UDINT_TO_DINT")
    return value


HELPERS = {f.__name__: f for f in (dint, quotient, at, shl, shr, unsigned_fits)}
CONVERSIONS = {
    "DINT_TO_DWORD": f"({{}} & {WORD})",
    "DWORD_TO_DINT": "dint({})",
    "BYTE_TO_DINT": "({})",
    "BYTE_TO_DWORD": "({})",
    "DINT_TO_BYTE": "({} & 255)",
    "DWORD_TO_BYTE": "({} & 255)",
    "BOOL_TO_DINT": "int({})",
    "UDINT_TO_DINT": "unsigned_fits({})",
}
WRAPS = {"DINT": "dint({})", "UDINT": f"(({{}}) & {WORD})"}
COMPARED = {"=": "==", "<>": "!=", "<": "<", "<=": "<=", ">": ">", ">=": ">="}
BITWISE = {"AND": "&", "OR": "|", "XOR": "^"}


@dataclass(frozen=True)
class Kind:
    """A type: its name, and the bounds of an array of it."""

    name: str
    bounds: tuple[tuple[int, int], ...] = ()

    @property
    def size(self) -> int:
        """Return how many elements an array has."""
        size = 1
        for least, most in self.bounds:
            size *= most - least + 1
        return size


@dataclass
class Variable:
    """A variable: its type, its section, whether it is constant, and the values it begins with."""

    kind: Kind
    section: str
    constant: bool
    values: list[int]


@dataclass
class Unit:
    """A function or a function block: its variables by name in small letters, and its Python text."""

    name: str
    node: Node
    kind: str = ""
    variables: dict[str, Variable] = field(default_factory=dict)

    def of(self, section: str) -> dict[str, Variable]:
        """Return the variables of a section, in their order."""
        return {name: v for name, v in self.variables.items() if v.section == section}


def text_of(node: Node | None) -> str:
    """Return the source of a node."""
    assert node is not None
    return (node.text or b"").decode()


def wrong(node: Node, why: str) -> SyntaxError:
    """Return an error that tells the line."""
    return SyntaxError(f"line {node.start_point[0] + 1}: {text_of(node)[:80]}: {why}")


def number(text: str) -> int:
    """Return the value of an integer literal."""
    sign, digits = (-1, text[1:]) if text.startswith("-") else (1, text)
    base, _, rest = digits.rpartition("#")
    return sign * int(rest.replace("_", ""), int(base) if base else 10)


def parsed(text: str) -> Node:
    """Return the tree of a source text. Raises SyntaxError at the first place that the grammar does not know."""
    tree = tree_sitter.Parser(tree_sitter.Language(tree_sitter_iec61131_3_st.language())).parse(text.encode())
    waiting = [tree.root_node]
    while waiting:
        node = waiting.pop()
        if node.type == "ERROR" or node.is_missing:
            raise wrong(node, "not of the grammar")
        waiting += reversed(node.children)
    return tree.root_node


class Program:
    """The functions and blocks of a source text, each as a Python function or class under its name."""

    def __init__(self, text: str, wrap: Callable[[Any], Any] = lambda function: function) -> None:
        """Take a source text; wrap is put around every function, a compiler for example."""
        self.units: dict[str, Unit] = {}
        self.names: dict[str, Any] = {name: wrap(helper) for name, helper in HELPERS.items()}
        for node in parsed(text).named_children:
            if node.type not in {"function_declaration", "function_block_declaration"}:
                if node.type == "comment":
                    continue
                raise wrong(node, "not a function")
            unit = Unit(text_of(node.child_by_field_name("name")), node)
            if node.type == "function_declaration":
                unit.kind = text_of(node.child_by_field_name("return_type"))
            if unit.name.lower() in self.units:
                raise wrong(node, "a second one of this name")
            self.units[unit.name.lower()] = unit
            declare(unit)
        for unit in self.units.values():
            source = _Writer(self, unit).source()
            exec(compile(source, unit.name, "exec"), self.names)  # noqa: S102 - written here
            if unit.kind:
                self.names[unit.name] = wrap(self.names[unit.name])

    def __getitem__(self, name: str) -> Any:
        return self.names[name]


def declare(unit: Unit) -> None:
    """Read the variables of a unit."""
    for section in unit.node.children:
        if section.type not in SECTIONS:
            continue
        constant = any(text_of(child) == "CONSTANT" for child in section.named_children)
        for row in section.named_children:
            if row.type == "var_qualifier_list":
                continue
            if row.type != "variable_declaration":
                raise wrong(row, "not known")
            kind = kind_of(row.child_by_field_name("type"))
            values = [number(text_of(v)) for v in row.children_by_field_name("initial_value") if v.is_named]
            if constant and len(values) != kind.size:
                raise wrong(row, f"{len(values)} values for {kind.size}")
            limits = {"DINT": (-0x80000000, 0x7FFFFFFF), "DWORD": (0, WORD)}.get(kind.name, (0, 0))
            if any(not limits[0] <= value <= limits[1] for value in values):
                raise wrong(row, "outside its type")
            name = text_of(row.child_by_field_name("names")).lower()
            if name in unit.variables or name == unit.name.lower():
                raise wrong(row, "declared twice")
            unit.variables[name] = Variable(kind, section.type, constant, values)


def kind_of(node: Node | None) -> Kind:
    """Return a type."""
    assert node is not None
    if node.type != "array_type":
        return Kind(text_of(node))
    ranges = [n for n in node.children_by_field_name("range") if n.is_named]
    bounds = tuple(
        (number(text_of(n.child_by_field_name("lower"))), number(text_of(n.child_by_field_name("upper"))))
        for n in ranges
    )
    return Kind(text_of(node.child_by_field_name("element_type")), bounds)


class _Writer:
    """Writes one unit as Python. Expressions are pairs of text and type."""

    def __init__(self, program: Program, unit: Unit) -> None:
        self.program, self.unit = program, unit
        self.own = "self." if not unit.kind else ""

    def spelled(self, name: str) -> str:
        """Return a variable in Python."""
        variable = self.unit.variables[name]
        return f"c_{self.unit.name}_{name}" if variable.constant else f"{self.own}v_{name}"

    # ---- expressions ----

    def expression(self, node: Node | None) -> tuple[str, str]:
        """Return an expression."""
        assert node is not None
        found: tuple[str, str] = getattr(self, f"of_{node.type}", self.of_unknown)(node)
        return found

    def of_unknown(self, node: Node) -> Any:
        raise wrong(node, f"{node.type} is not known")

    def typed(self, node: Node | None, kind: str) -> str:
        """Return an expression of a type. Raises SyntaxError for one of another."""
        assert node is not None
        text, found = self.expression(node)
        if found not in {kind, LITERAL} or (found == LITERAL and kind not in WRAPS):
            raise wrong(node, f"{found} where {kind} belongs")
        return text

    def of_parenthesized_expression(self, node: Node) -> tuple[str, str]:
        (inner,) = node.named_children
        text, kind = self.expression(inner)
        return f"({text})", kind

    def of_integer_literal(self, node: Node) -> tuple[str, str]:
        return str(number(text_of(node))), LITERAL

    def of_typed_literal(self, node: Node) -> tuple[str, str]:
        return str(number(text_of(node.child_by_field_name("value")))), text_of(node.child_by_field_name("type"))

    def of_boolean_literal(self, node: Node) -> tuple[str, str]:
        return {"TRUE": "True", "FALSE": "False"}[text_of(node)], "BOOL"

    def of_identifier(self, node: Node) -> tuple[str, str]:
        name = text_of(node).lower()
        if name not in self.unit.variables or self.unit.variables[name].kind.bounds:
            raise wrong(node, "no variable of one value")
        return self.spelled(name), self.unit.variables[name].kind.name

    def of_index_expression(self, node: Node) -> tuple[str, str]:
        name = text_of(node.child_by_field_name("object")).lower()
        kind = self.unit.variables[name].kind
        places = [n for n in node.children_by_field_name("index") if n.is_named]
        place = "0"
        for (least, most), given in zip(kind.bounds, places, strict=True):
            place = f"({place}) * {most - least + 1} + at({self.typed(given, 'DINT')}, {least}, {most})"
        return f"{self.spelled(name)}[{place}]", kind.name

    def of_unary_expression(self, node: Node) -> tuple[str, str]:
        operator, operand = text_of(node.child_by_field_name("operator")), node.child_by_field_name("operand")
        text, kind = self.expression(operand)
        if operator == "NOT" and kind in {"BOOL", "DWORD"}:
            return (f"(not {text})" if kind == "BOOL" else f"({text} ^ {WORD})"), kind
        if operator == "-" and kind == "DINT":
            return f"dint(-{text})", kind
        raise wrong(node, f"{operator} of {kind}")

    def of_binary_expression(self, node: Node) -> tuple[str, str]:
        operator = text_of(node.child_by_field_name("operator"))
        left, one = self.expression(node.child_by_field_name("left"))
        right, other = self.expression(node.child_by_field_name("right"))
        kind = other if one == LITERAL else one
        kind = "DINT" if kind == LITERAL else kind
        if {one, other} - {kind, LITERAL} or (LITERAL in {one, other} and kind not in WRAPS):
            raise wrong(node, f"{one} {operator} {other}")
        if operator in COMPARED:
            return f"({left} {COMPARED[operator]} {right})", "BOOL"
        if operator in BITWISE and kind in {"BOOL", "DWORD"}:
            return f"({left} {BITWISE[operator]} {right})", kind
        if operator in {"+", "-", "*"} and kind in WRAPS:
            return WRAPS[kind].format(f"{left} {operator} {right}"), kind
        if operator == "/" and kind == "DINT":
            return f"quotient({left}, {right})", kind
        raise wrong(node, f"{operator} of {kind}")

    def of_call_expression(self, node: Node) -> tuple[str, str]:
        name = text_of(node.child_by_field_name("function"))
        arguments = node.child_by_field_name("arguments")
        assert arguments is not None
        given = arguments.named_children
        if name in CONVERSIONS:
            (one,) = given
            before, _, after = name.partition("_TO_")
            return CONVERSIONS[name].format(self.typed(one, before)), after
        named = {}
        for argument in given:
            if argument.type != "named_argument":
                raise wrong(argument, "without its name")
            named[text_of(argument.child_by_field_name("name")).lower()] = argument.child_by_field_name("value")
        if name in {"SHL", "SHR"}:
            word, places = self.typed(named.pop("in"), "DWORD"), self.typed(named.pop("n"), "DINT")
            return f"{name.lower()}({word}, {places})", "DWORD"
        unit = self.program.units.get(name.lower())
        if unit is None or not unit.kind or unit.name != name:
            raise wrong(node, "no function of this name")
        texts = []
        for parameter, variable in (unit.of("var_input") | unit.of("var_in_out")).items():
            value = named.pop(parameter, None)
            if value is None:
                raise wrong(node, f"{parameter} is not given")
            texts.append(
                self.reference(value, variable)
                if variable.section == "var_in_out"
                else self.typed(value, variable.kind.name)
            )
        if named:
            raise wrong(node, f"no parameter {sorted(named)}")
        return f"{name}({', '.join(texts)})", unit.kind

    def reference(self, node: Node, parameter: Variable) -> str:
        """Return an array that is handed on."""
        name = text_of(node).lower()
        if (
            name not in self.unit.variables
            or self.unit.variables[name].kind != parameter.kind
            or self.unit.variables[name].constant
        ):
            raise wrong(node, "not an array of the size and the type of the parameter")
        return self.spelled(name)

    # ---- statements ----

    def block(self, nodes: list[Node]) -> list[str]:
        """Return statements as lines, never none."""
        lines = ["pass"]
        for node in nodes:
            if node.is_named and node.type not in {"comment", "empty_statement"}:
                lines += getattr(self, f"do_{node.type}", self.of_unknown)(node)
        return [f"    {line}" for line in lines]

    def do_assignment_statement(self, node: Node) -> list[str]:
        target, value = node.child_by_field_name("left"), node.child_by_field_name("right")
        assert target is not None
        name = text_of(target).lower()
        if self.unit.kind and name == self.unit.name.lower():
            return [f"result = {self.typed(value, self.unit.kind)}"]
        place, kind = self.expression(target)
        base = re.match(r"\w+", name)
        variable = self.unit.variables[base[0] if base else ""]
        if variable.constant or variable.section == "var_input":
            raise wrong(node, "may not be written")
        return [f"{place} = {self.typed(value, kind)}"]

    def do_if_statement(self, node: Node) -> list[str]:
        lines = [f"if {self.typed(node.child_by_field_name('condition'), 'BOOL')}:"]
        lines += self.block(node.children_by_field_name("consequence"))
        for other in node.children:
            if other.type == "elsif_clause":
                lines.append(f"elif {self.typed(other.child_by_field_name('condition'), 'BOOL')}:")
                lines += self.block(other.children_by_field_name("body"))
            elif other.type == "else_clause":
                lines += ["else:", *self.block(other.children_by_field_name("body"))]
        return lines

    def do_for_statement(self, node: Node) -> list[str]:
        control, kind = self.expression(node.child_by_field_name("control"))
        start, end = (self.typed(node.child_by_field_name(name), kind) for name in ("start", "end"))
        by = node.child_by_field_name("step")
        step = 1 if by is None else number(text_of(by))
        if step < 1:
            raise wrong(node, "a step that is not up")
        return [
            f"for {control} in range({start}, {end} + 1, {step}):",
            *self.block(node.children_by_field_name("body")),
        ]

    def do_exit_statement(self, node: Node) -> list[str]:
        del node
        return ["break"]

    def do_return_statement(self, node: Node) -> list[str]:
        del node
        return ["return result" if self.unit.kind else "return"]

    # ---- the whole ----

    def begun(self, variable: Variable) -> str:
        """Return what a variable begins with."""
        nothing = "False" if variable.kind.name == "BOOL" else "0"
        if not variable.kind.bounds:
            return str(variable.values[0]) if variable.values else nothing
        return f"[{nothing}] * {variable.kind.size}"

    def source(self) -> str:
        """Return the unit in Python."""
        unit, lines = self.unit, []
        for name, variable in unit.variables.items():
            if variable.constant:
                values = tuple(variable.values)
                lines.append(f"{self.spelled(name)} = {values if variable.kind.bounds else values[0]}")
        own = [f"{self.spelled(n)} = {self.begun(v)}" for n, v in unit.of("var_block").items() if not v.constant]
        body = self.block(unit.node.children_by_field_name("body"))
        given = [f"v_{name}" for name in (*unit.of("var_input"), *unit.of("var_in_out"))]
        if unit.kind:
            own.append(f"result = {'False' if unit.kind == 'BOOL' else 0}")
            head = f"def {unit.name}({', '.join(given)}):"
            return "\n".join([*lines, head, *(f"    {line}" for line in own), *body, "    return result"])
        own += [f"{self.spelled(n)} = {self.begun(v)}" for n, v in unit.of("var_output").items()]
        lines += [f"class {unit.name}:", "    def __init__(self):", *(f"        {line}" for line in own)]
        lines += [f"    def __call__(self, {', '.join(given)}):"]
        lines += [f"        self.{name} = {name}" for name in given]
        return "\n".join([*lines, *(f"    {line}" for line in body)])
