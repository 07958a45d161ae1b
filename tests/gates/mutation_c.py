"""Mutants of the C port, those of a file compiled into one switched library, against the vectors and what is held beside them.

Every function of a file is copied once for each change of one operator,
constant, place or statement in it; a dispatcher under its old name picks the copy
by a switch. A mutant that nothing tells from the port has to stand in
equivalent_c.toml with the reason why nothing could tell it, named by its text.
"""

import re
import tempfile
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

from firmware_ref import generate
from tests.gates.port import C_FOLDER, PORT, Verdict, build_driver, run, vector_input
from tests.gates.reasons import judged, reasons

EQUIVALENT = Path(__file__).with_name("equivalent_c.toml")
FUNCTION = re.compile(r"^(?P<head>[\w ]+?\**(?P<name>\w+)\([^;{]*\))\n\{\n(?P<body>.*?)^\}\n", re.DOTALL | re.MULTILINE)
FATES = ("killed", "crashed", "timeout", "trapped", "survived")
WATCHED = ("-fsanitize=address,undefined", "-fno-sanitize-recover=all")

# An operator as a token of its own -> what takes its place.
OPERATORS = {
    "<": ("<=", ">="), "<=": ("<", ">"), ">": (">=", "<"), ">=": (">", "<"), "==": ("!=",), "!=": ("==",),
    "&&": ("||",), "||": ("&&",), "+": ("-",), "-": ("+",), "*": ("+",), "/": ("*",), "<<": (">>",), ">>": ("<<",),
    "&": ("|",), "|": ("&",), "+=": ("-=", "="), "-=": ("+=", "="), "|=": ("&=", "="), "++": (" += 0",), "!": ("",), "~": ("",),
}  # fmt: skip
BINARY = re.compile(r"(?<= )(<<|>>|<=|>=|==|!=|&&|\|\||\+=|-=|\|=|[<>+\-*/&|])(?= )|\+\+|(?<=[( ])[!~](?=[\w(])")
NUMBER = re.compile(r"(?<![\w.])(\d+)(U?)(?![\w.])")
NEGATION = re.compile(r"(?<=[=(,] )-(?=\w)|(?<=\()-(?=\w)")
PLACE = re.compile(
    r"\bLT_(?:SET|IN|ST|OUT|FLAG|BIT|EFFECT)_\w+|\bLT_\w+_CAUSE\b|\bLT_(?:STOPPED|PRIMING|LUBRICATED|STARVED|TRIPPED|LOCKED_OUT)\b"
)
CONDITION = re.compile(r"^(\s*(?:\} else )?if )\((.*)\) \{$")
STATEMENT = re.compile(r"^\s+(?!return|int|uint|const|static|break|/\*)[\w*].*;( /\*.*\*/)?$")


@dataclass(frozen=True)
class Mutant:
    """One change: function, line as it stands and as it becomes (both without blanks around), number of the line."""

    function: str
    line: str
    changed: str
    number: int


def next_places() -> dict[str, str]:
    """Return each named place, flag, bit, cause and state of the header -> the one after it in its list."""
    header = generate.generated()
    lists = re.findall(r"^enum \{\n(.*?)^\};", header, re.DOTALL | re.MULTILINE)
    names = [
        [name for name in re.findall(r"(LT_\w+) =", text) if not name.endswith(("_COUNT", "_SIZE"))] for text in lists
    ]
    names += [re.findall(rf"#define (LT_{kind}_\w+) ", header) for kind in ("FLAG", "BIT")]
    return {name: group[(at + 1) % len(group)] for group in names for at, name in enumerate(group)}


def part_changes(code: str, places: dict[str, str]) -> Iterator[tuple[re.Match[str], str]]:
    """Yield each operator, number, sign and place of a line of code with what takes its place."""
    for match in BINARY.finditer(code):
        yield from ((match, other) for other in OPERATORS[match[0]])
    for match in NUMBER.finditer(code):
        yield from ((match, f"{number}{match[2]}") for number in (int(match[1]) + 1, int(match[1]) - 1) if number >= 0)
    yield from ((match, "") for match in NEGATION.finditer(code))
    yield from ((match, places[match[0]]) for match in PLACE.finditer(code) if match[0] in places)


def changes(line: str, places: dict[str, str]) -> Iterator[str]:
    """Yield a line of code with one thing in it changed, once for each thing."""
    if line.lstrip().startswith("case "):
        yield re.sub(r"case \w+", "case 99", line)
        return
    for match, text in part_changes(line.split("/*", maxsplit=1)[0], places):
        yield line[: match.start()] + text + line[match.end() :]
    if condition := CONDITION.match(line):
        yield from (f"{condition[1]}({truth}) {{" for truth in (1, 0))
    if STATEMENT.match(line) and line.count("(") == line.count(")"):
        yield line[: len(line) - len(line.lstrip())] + ";"


def code_lines(body: str) -> list[str]:
    """Return the lines of a function with statements that run over several lines joined, comments of their own left out."""
    body = re.sub(r"^\s*/\*.*?\*/\n", "", body, flags=re.DOTALL | re.MULTILINE)
    return re.sub(r"\n\s+(?=[&|]{2} |\? )", " ", re.sub(r",\n\s+(?=[\w&])", ", ", body)).splitlines()


def mutants(text: str) -> list[Mutant]:
    """Return all one-line mutants of a port's source, in its order."""
    places = next_places()
    found = []
    for function in FUNCTION.finditer(text):
        for number, line in enumerate(code_lines(function["body"])):
            seen = {line}
            for changed in changes(line, places):
                if changed not in seen:
                    seen.add(changed)
                    found.append(Mutant(function["name"], line.strip(), changed.strip(), number))
    return found


def switched(text: str, found: list[Mutant]) -> str:
    """Return the source with every mutant in it and `lubetrip_mutant` as the switch; 0 is the port as it is."""
    numbered = list(enumerate(found, start=1))

    def copies(function: re.Match[str]) -> str:
        name, head, lines = function["name"], function["head"], code_lines(function["body"])
        own = [(number, mutant) for number, mutant in numbered if mutant.function == name]
        plain = head if head.startswith("static ") else f"static {head}"
        parts, arguments = [], ", ".join(re.findall(r"(\w+)(?:\[\w*\])?(?=[,)])", head.split("(", maxsplit=1)[1]))
        for number, mutant in [(0, None), *own]:
            body = list(lines)
            if mutant is not None:
                body[mutant.number] = mutant.changed
            parts.append(plain.replace(f"{name}(", f"{name}__{number}(") + "\n{\n" + "\n".join(body) + "\n}\n")
        answer = "" if re.match(r"(static )?void ", head) else "return "
        cases = "".join(f"    case {n}: {answer}{name}__{n}({arguments}); break;\n" for n, _ in own)
        parts.append(
            f"{head}\n{{\n    switch (lubetrip_mutant) {{\n{cases}    default: {answer}{name}__0({arguments}); break;\n    }}\n}}\n"
        )
        return "\n".join(parts)

    return FUNCTION.sub(copies, text).replace(
        '#include "lubetrip.h"\n', '#include "lubetrip.h"\n\nint lubetrip_mutant;\n', 1
    )


def fates(source: Path, found: list[Mutant], *more: str) -> list[str]:
    """Run every mutant of a port over the vectors; return of each killed, survived, crashed or timeout.

    more: flags of the compiler.
    """
    with tempfile.TemporaryDirectory() as folder:
        work = Path(folder)
        mutated = work / source.name
        mutated.write_text(switched(source.read_text(), found))
        program = build_driver(work, mutated, flags=("-O0", "-w", "-DMUTANTS", *more))
        plain = run([program], vector_input())
        if plain.returncode:
            raise SystemExit(f"the port as it is does not pass the vectors: {plain.stdout.decode()}")
        said = run([program, "1", str(len(found))], vector_input()).stdout.decode().split()
    return said[1::2]


def ends_of(source: Path, found: list[Mutant]) -> list[str]:
    """Return the fate of every mutant of a file; what lived is run once more with every access and overflow watched."""
    ends = fates(source, found)
    left = [number for number, fate in enumerate(ends) if fate == "survived"]
    for number, fate in zip(left, fates(source, [found[number] for number in left], *WATCHED), strict=True):
        ends[number] = fate if fate == "survived" else "trapped"
    return ends


def judge(folder: Path = C_FOLDER, functions: Sequence[str] = ()) -> Verdict:
    """Judge what is held by the mutants of the port in a folder that it lets live; functions: mutants of those alone."""
    known = {change: why for change, why in reasons(EQUIVALENT).items() if not functions or change[0] in functions}
    found: list[Mutant] = []
    ends: list[str] = []
    for source in (folder / name for name in PORT):
        own = [mutant for mutant in mutants(source.read_text()) if not functions or mutant.function in functions]
        if own:
            found, ends = found + own, ends + ends_of(source, own)
    alive = {(m.function, m.line, m.changed) for m, fate in zip(found, ends, strict=True) if fate == "survived"}
    lines = judged(alive, known)
    counts = ", ".join(f"{ends.count(fate)} {fate}" for fate in FATES)
    told = f"{len(found)} mutants: {counts}; {len(known)} listed as equivalent, each with its reason"
    return Verdict(not lines, (*lines, told))
