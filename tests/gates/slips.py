"""Realistic slips in a source, one at a time: a bound, a side, an order, a sign, a unit, a default, a dropped argument.

Python is read as a syntax tree and changed in its text, so that a slip is one edit of one place; JavaScript is read token by
token. Texts, annotations and docstrings are left alone, except for words that are compared with: what a reader reads is
for tests of wording, and a wrong word in a comparison is a wrong program.
"""

import ast
import re
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

# An operator -> what somebody might write in its place.
COMPARED: dict[type[ast.cmpop], tuple[str, tuple[str, ...]]] = {
    ast.Lt: ("<", ("<=", ">")),
    ast.LtE: ("<=", ("<",)),
    ast.Gt: (">", (">=", "<")),
    ast.GtE: (">=", (">",)),
    ast.Eq: ("==", ("!=",)),
    ast.NotEq: ("!=", ("==",)),
    ast.Is: ("is", ("is not",)),
    ast.IsNot: ("is not", ("is",)),
    ast.In: ("in", ("not in",)),
    ast.NotIn: ("not in", ("in",)),
}
REACHED: dict[type[ast.operator], tuple[str, str]] = {
    ast.Add: ("+", "-"),
    ast.Sub: ("-", "+"),
    ast.Mult: ("*", "/"),
    ast.Div: ("/", "*"),
    ast.FloorDiv: ("//", "*"),
    ast.Mod: ("%", "+"),
    ast.Pow: ("**", "*"),
    ast.BitAnd: ("&", "|"),
    ast.BitOr: ("|", "&"),
}
NAMES = {"min": "max", "max": "min", "any": "all", "all": "any", "sorted": "list", "reversed": "list", "abs": "+"}
EITHER_WAY = ("min", "max", "minimum", "maximum", "hypot")  # functions of which the order of arguments is nothing
ATTRIBUTES = {
    "low": "high", "high": "low", "minimum": "maximum", "maximum": "minimum", "lower": "upper", "floor": "ceil",
    "deadline_s": "earliest_s", "earliest_s": "deadline_s", "likely_s": "latest_s", "latest_s": "likely_s",
    "cumsum": "sort", "median": "mean", "tuning": "held_out", "held_out": "tuning",
}  # fmt: skip
# In JavaScript the same, by its tokens; the blanks about an operator tell it from a sign.
TOKENS = {
    "<": ("<=", ">"), "<=": ("<",), ">": (">=", "<"), ">=": (">",), "===": ("!==",), "!==": ("===",), "&&": ("||",), "||": ("&&",),
    "+": ("-",), "-": ("+",), "*": ("/",), "/": ("*",), "+=": ("-=", "="), "&": ("|",), ">>": ("<<",), "??": ("&&",),
}  # fmt: skip
TOKEN = re.compile(r"(?<= )(===|!==|<=|>=|&&|\|\||\?\?|\+=|>>|[<>+\-*/&])(?= )")
NUMBER = re.compile(r"(?<![\w.$#\"'`])(\d+(?:\.\d+)?(?:e-?\d+)?)(?![\w.\"'`])")
WORD = re.compile(
    r"(?<=[=(] )\"[a-z_ ]+\"|\bMath\.(?:min|max)\b|\.(?:some|every)\(|\b(?:true|false)\b|(?<=[ (])!(?=\w)"
)
WORDS = {
    "Math.min": "Math.max",
    "Math.max": "Math.min",
    ".some(": ".every(",
    ".every(": ".some(",
    "true": "false",
    "false": "true",
    "!": "",
}


@dataclass(frozen=True, order=True)
class Slip:
    """One edit of a file: text[begin:end] becomes `changed`."""

    file: str
    function: str
    begin: int
    end: int
    changed: str

    def text(self, source: str) -> str:
        """Return the whole source with the slip in it."""
        return source[: self.begin] + self.changed + source[self.end :]

    def shown(self, source: str) -> tuple[str, str, str]:
        """Return (place, line, changed line), by which a list names it: the text, never a number of a line."""
        first, last = source.rfind("\n", 0, self.begin) + 1, source.find("\n", self.end)
        line, changed = source[first:last], source[first : self.begin] + self.changed + source[self.end : last]
        return f"{self.file}: {self.function}", " ".join(line.split()), " ".join(changed.split())


LOOKED_AT = (  # what may hold something to change: no operators, and no names of arguments
    ast.expr, ast.stmt, ast.comprehension, ast.keyword, ast.arguments, ast.excepthandler, ast.withitem, ast.match_case, ast.pattern,
)  # fmt: skip


class _Python:
    """The slips of a Python source."""

    def __init__(self, file: str, source: str) -> None:
        self.file, self.source = file, source
        self.lines = [0]
        for line in source.encode().splitlines(keepends=True):
            self.lines.append(self.lines[-1] + len(line))
        self.bytes = source.encode()

    def at(self, line: int, column: int) -> int:
        """Return the place of a line and column (bytes) as a place in the text."""
        place = self.lines[line - 1] + column
        return place if len(self.bytes) == len(self.source) else len(self.bytes[:place].decode())

    def span(self, node: ast.AST) -> tuple[int, int]:
        """Return where a node begins and ends."""
        return self.at(node.lineno, node.col_offset), self.at(node.end_lineno, node.end_col_offset)  # type: ignore[attr-defined]

    def of(self, node: ast.AST) -> str:
        """Return the text of a node."""
        begin, end = self.span(node)
        return self.source[begin:end]

    def between(self, left: ast.AST, right: ast.AST, old: str) -> tuple[int, int] | None:
        """Return where an operator stands between two nodes."""
        begin, end = self.span(left)[1], self.span(right)[0]
        found = re.search(rf"(?<![<>=!*/]){re.escape(old)}(?![<>=*/])", self.source[begin:end])
        return None if found is None else (begin + found.start(), begin + found.end())

    def walk(self, node: ast.AST, function: str) -> Iterator[Slip]:
        """Yield the slips of a node and of all below it."""
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef | ast.ClassDef):
            function = f"{function}.{node.name}".lstrip(".")
        if isinstance(node, ast.Raise | ast.JoinedStr | ast.Import | ast.ImportFrom) or (
            isinstance(node, ast.If) and self.of(node.test) == "TYPE_CHECKING"
        ):
            return
        for (begin, end), changed in self.changes(node):
            if self.source[begin:end] != changed:
                yield Slip(self.file, function or "(module)", begin, end, changed)
        for name, value in ast.iter_fields(node):
            if name in ("annotation", "returns", "decorator_list", "type_params", "bases"):
                continue
            for child in value if isinstance(value, list) else [value]:
                if isinstance(child, LOOKED_AT) and not _is_text(child):
                    yield from self.walk(child, function)

    def changes(self, node: ast.AST) -> Iterator[tuple[tuple[int, int], str]]:  # noqa: C901, PLR0912 - a list of slips
        """Yield what may be changed of a node itself."""
        if isinstance(node, ast.Compare):
            for left, operator, right in zip([node.left, *node.comparators], node.ops, node.comparators, strict=False):
                old, others = COMPARED[type(operator)]
                place = self.between(left, right, old)
                yield from ((place, other) for other in others if place)
                for side in (left, right):
                    if isinstance(side, ast.Constant) and isinstance(side.value, str):
                        yield self.span(side), repr(f"{side.value}?")
        elif isinstance(node, ast.BinOp) and type(node.op) in REACHED:
            old, other = REACHED[type(node.op)]
            if place := self.between(node.left, node.right, old):
                yield place, other
        elif isinstance(node, ast.BoolOp):
            old = "and" if isinstance(node.op, ast.And) else "or"
            for left, right in zip(node.values, node.values[1:], strict=False):
                if place := self.between(left, right, old):
                    yield place, "or" if old == "and" else "and"
        elif isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.Not | ast.USub):
            yield self.span(node), self.of(node.operand)
        elif isinstance(node, ast.Constant):
            yield from ((self.span(node), other) for other in _other_constants(node.value))
        elif isinstance(node, ast.Name) and isinstance(node.ctx, ast.Load) and node.id in NAMES:
            yield self.span(node), NAMES[node.id]
        elif isinstance(node, ast.Attribute) and node.attr in ATTRIBUTES:
            begin, end = self.span(node)
            yield (end - len(node.attr), end), ATTRIBUTES[node.attr]
        elif isinstance(node, ast.IfExp):
            yield self.span(node), f"{self.of(node.orelse)} if {self.of(node.test)} else {self.of(node.body)}"
        elif isinstance(node, ast.If | ast.While):
            yield self.span(node.test), f"not ({self.of(node.test)})"
        elif isinstance(node, ast.comprehension):
            for test in node.ifs:
                yield self.span(test), "True"
        elif isinstance(node, ast.AugAssign):
            yield self.span(node), f"{self.of(node.target)} = {self.of(node.value)}"
            yield self.span(node), "pass"
        elif isinstance(node, ast.Expr) and isinstance(node.value, ast.Call):
            yield self.span(node), "pass"
        elif isinstance(node, ast.Tuple) and isinstance(node.ctx, ast.Load) and len(node.elts) in (2, 3):
            one, two = node.elts[:2]
            if not any(isinstance(part, ast.Starred | ast.Constant) for part in (one, two)):
                (begin, middle), (then, end) = self.span(one), self.span(two)
                yield (begin, end), self.of(two) + self.source[middle:then] + self.of(one)
        if isinstance(node, ast.Call):
            yield from self.calls(node)

    def calls(self, node: ast.Call) -> Iterator[tuple[tuple[int, int], str]]:
        """Yield a call without one of its keywords, and one with two arguments exchanged."""
        for keyword in node.keywords:
            begin, end = self.span(keyword)
            after = re.match(r"\s*,\s*", self.source[end:])
            if after:
                yield (begin, end + after.end()), ""
            else:
                before = re.search(r",\s*$", self.source[:begin])
                yield (before.start() if before else begin, end), ""
        if self.of(node.func).rpartition(".")[2] in EITHER_WAY:
            return
        for one, two in zip(node.args, node.args[1:], strict=False):
            if not any(isinstance(part, ast.Starred | ast.Constant | ast.GeneratorExp) for part in (one, two)):
                (begin, middle), (then, end) = self.span(one), self.span(two)
                yield (begin, end), self.of(two) + self.source[middle:then] + self.of(one)


def _is_text(node: ast.AST) -> bool:
    """Say whether a node is a docstring or a text by itself."""
    return isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant)


def _other_constants(value: object) -> list[str]:
    if isinstance(value, bool):
        return [str(not value)]
    if isinstance(value, int):
        return [str(value + 1), *([str(value - 1)] if value > 0 else [])]
    if isinstance(value, float):
        return [repr(value * 1.25 if value else 1.0), *([repr(value * 1000)] if value >= 1 else [])]  # a unit
    return []


def of_python(file: str, source: str) -> list[Slip]:
    """Return all slips of a Python source, in its order."""
    return sorted(set(_Python(file, source).walk(ast.parse(source), "")))


def of_script(file: str, source: str) -> list[Slip]:
    """Return all slips of a JavaScript source, in its order; the function is the last one that began."""
    found, function, begin = [], "(module)", 0
    for line in source.splitlines(keepends=True):
        if named := re.match(r"(?:    )?(?:async )?(?:function )?(\w+)\(.*\{$", line.rstrip()):
            function = named[1]
        code = line.split("//", maxsplit=1)[0]
        if code.strip() and not code.lstrip().startswith(('"use', "for (let")):
            for match, others in _tokens(code):
                found += [Slip(file, function, begin + match.start(), begin + match.end(), other) for other in others]
        begin += len(line)
    return sorted(set(found))


def _tokens(code: str) -> Iterator[tuple[re.Match[str], tuple[str, ...]]]:
    for match in TOKEN.finditer(code):
        yield match, TOKENS[match[0]]
    for match in NUMBER.finditer(code):
        number = float(match[1])
        yield match, tuple(f"{other:g}" for other in ((number + 1, number - 1) if number > 0 else (1,)))
    for match in WORD.finditer(code):
        yield match, (WORDS.get(match[0], match[0][:-1] + '?"'),)


def slips(root: Path, file: str) -> list[Slip]:
    """Return all slips of a file of a checkout."""
    source = (root / file).read_text(encoding="utf-8")
    return (of_script if file.endswith(".js") else of_python)(file, source)
