"""What analysers say of the C port: cppcheck with its MISRA C:2012 add-on, gcc -fanalyzer, clang-tidy.

Nothing may be found but the MISRA deviations of firmware_ref/README.md: a table of
number, rule, functions and reason. A finding outside it, a deviation without number
or reason, and one that nothing needs any more shut the gate.
"""

import functools
import hashlib
import re
import sys
import tempfile
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from tests.gates.port import C_FOLDER, FUNCTION, PORT, Verdict, run, tool
from tests.support.shared import once

README = C_FOLDER.parent / "README.md"
FORMAT = "{id}\t{line}\t{file}\t{message}"
TIDY = "-*,bugprone-*,cert-*,clang-analyzer-*,misc-*,-bugprone-easily-swappable-parameters,-misc-include-cleaner"
# The check of adjacent parameters of one type would ask for a struct for each array; the house rule is flat arguments.


@dataclass(frozen=True)
class Deviation:
    """A row of the table: number, rule, where it is needed, and why."""

    number: str
    rule: str
    places: frozenset[str]
    reason: str


def deviations(readme: Path) -> list[Deviation]:
    """Return the MISRA deviations of a porting guide, as they stand there."""
    rows = re.findall(r"^\| (D?\d*) \| (\d+\.\d+) \| (.*?) \| (.*?) \|$", readme.read_text(), re.MULTILINE)
    return [Deviation(n, rule, frozenset(re.findall(r"`(\w+)`", places)), why) for n, rule, places, why in rows]


def place_of(source: Path, line: int) -> str:
    """Return the function of a line, or the name that is defined there outside of any."""
    text = source.read_text()
    for function in FUNCTION.finditer(text):
        first = text.count("\n", 0, function.start()) + 1
        if first <= line <= first + function[0].count("\n"):
            return function[1]
    named = re.search(r"#define (\w+)|(\w+)\[", text.splitlines()[line - 1])
    return named[1] or named[2] if named else f"line {line}"


def misra_findings(folder: Path) -> tuple[set[tuple[str, str]], list[str]]:
    """Return (rule, place) of each MISRA finding in the port of a folder, and what else cppcheck found."""
    command = [Path(sys.executable).with_name("cppcheck"), "--addon=misra", "--enable=all", "--inconclusive"]
    command += ["--std=c99", "--check-level=exhaustive", f"--template={FORMAT}", "--quiet"]
    # Not about the code: system headers it does not read, and functions that only callers elsewhere use.
    told = ("missingIncludeSystem", "unusedFunction", "staticFunction", "checkersReport")
    command += [f"--suppress={name}" for name in told]
    said = run([*command, f"-I{folder}", *(folder / name for name in PORT)]).stderr.decode()
    rules, others = set(), []
    for row in said.splitlines():
        name, line, file, message = (*row.split("\t"), "", "", "")[:4]
        if name.startswith("misra-c2012-"):
            rules.add((name.removeprefix("misra-c2012-"), place_of(folder / Path(file).name, int(line))))
        elif name:
            others.append(f"cppcheck: {name} in line {line} of {Path(file).name}: {message}")
    return rules, others


def judged_by_misra(folder: Path, readme: Path) -> list[str]:
    """Return what cppcheck found beyond the deviations, and what is wrong with those."""
    found, lines = misra_findings(folder)
    table = deviations(readme)
    allowed = {(row.rule, place) for row in table for place in row.places}
    lines += [f"MISRA C:2012 rule {rule} in {place}: no deviation" for rule, place in sorted(found - allowed)]
    lines += [f"deviation that nothing needs: rule {rule} in {place}" for rule, place in sorted(allowed - found)]
    lines += [f"deviation without a number: rule {row.rule}" for row in table if not re.fullmatch(r"D\d+", row.number)]
    lines += [f"deviation without a reason: {row.number}" for row in table if len(row.reason.split()) < 3]
    if len({row.number for row in table}) < len(table):
        lines.append("two deviations have one number")
    return lines


def once_a_text(judge: Callable[[Path], list[str]]) -> Callable[[Path], list[str]]:
    """Let an analyser read each text, with the headers beside it, once a run of the tests."""

    @functools.wraps(judge)
    def judged(source: Path) -> list[str]:
        texts = [path.read_text() for path in (source, *sorted(source.parent.glob("*.h")))]
        digest = hashlib.sha256(repr(texts).encode()).hexdigest()
        found: list[str] = once(f"{judge.__name__}-{digest}", lambda: judge(source))
        return found

    return judged


@once_a_text
def judged_by_gcc(source: Path) -> list[str]:
    """Return what gcc's analyser warns of."""
    with tempfile.TemporaryDirectory() as folder:
        flags = ["-std=c99", "-O2", "-fanalyzer", "-Wall", "-Wextra", f"-I{source.parent}"]
        done = run([tool("gcc"), *flags, "-c", source, "-o", Path(folder) / "port.o"])
    return [f"gcc: {line}" for line in done.stderr.decode().splitlines() if "warning:" in line or "error:" in line]


@once_a_text
def judged_by_tidy(source: Path) -> list[str]:
    """Return what clang-tidy warns of."""
    done = run([tool("clang-tidy"), f"--checks={TIDY}", source, "--", "-std=c99", f"-I{source.parent}"])
    said = done.stdout.decode()
    return [f"clang-tidy: {line}" for line in said.splitlines() if "warning:" in line or "error:" in line]


def judge(folder: Path = C_FOLDER, readme: Path = README) -> Verdict:
    """Judge the port of a folder by all of them."""
    lines = judged_by_misra(folder, readme)
    for name in PORT:
        lines += judged_by_gcc(folder / name) + judged_by_tidy(folder / name)
    known = len(deviations(readme))
    return Verdict(not lines, (*lines, f"{len(lines)} findings beside {known} MISRA deviations with number and reason"))
