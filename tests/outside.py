"""What the computations are held against outside this project: `python -m tests.outside` writes it into OUTSIDE.md.

A check is a mark on the test that makes it; marks are read from the text of the tests, which nobody has to import:

    @pytest.mark.outside(computation="...", source="...", status="...", agreement="...")

A new computation gets a check against a published value or another library, with its mark; or one of status
"none" that says what stands in its place; or, where no test holds it at all, a line in UNCHECKED.
"""

import ast
import os
from dataclasses import dataclass, fields
from itertools import groupby
from pathlib import Path

TESTS = Path(__file__).parent
PAGE = TESTS / "OUTSIDE.md"
STATUSES = {
    "consulted": "the printed value was read in the text that is named, or the library that is named was run",
    "quoted": "it was read as other public texts quote it, not in the source itself",
    "not consulted, recomputed": "the source was not read; an independent calculation agreed with the value it is known for",
    "none": "there is no source, and what stands in its place is said",
}
UNCHECKED = {
    "release, absorption and foam of refrigerant in oil, their rates": "abstracts only: Ortolan and Barbosa 2006 (R-134a mixes into "
    "ester oil by convection, isobutane by diffusion), Purdue compressor conference 2155 (R-134a and ester oil depressurised: "
    "no bubbles at first, then flashing and foam, then decay); no rate in figures; of Drost 1994 only the first page, of Fortkamp 2014 nothing",
}
HEAD = """# Outside checks

Where the computations are held against something that is not of this project. Written by `python -m tests.outside`
from the marks on the tests; a standard is named for the values taken from it, and nothing here is claimed to comply
with one. Agreement is the largest difference that was found, or the one that the test asserts.
"""


@dataclass(frozen=True)
class Check:
    """One mark: what is computed, what it is held against, how far that was read, and how well the two agree."""

    computation: str
    source: str
    status: str
    agreement: str
    file: str
    test: str


MARKED = {field.name for field in fields(Check)} - {"file", "test"}


def checks_in(path: Path) -> list[Check]:
    """Return the checks of a file in their order. Raises ValueError for a mark that does not say all, by file and line."""
    text, found = path.read_text(encoding="utf-8"), []
    if "mark.outside" not in text:
        return []
    for function in (node for node in ast.parse(text).body if isinstance(node, ast.FunctionDef)):
        for mark in function.decorator_list:
            if isinstance(mark, ast.Call) and ast.unparse(mark.func) == "pytest.mark.outside":
                said = {str(key.arg): ast.literal_eval(key.value) for key in mark.keywords}
                where = f"{path}, line {mark.lineno}"
                if mark.args or set(said) != MARKED or not all(said.values()):
                    raise ValueError(f"{where}: a mark says {', '.join(sorted(MARKED))} by name")
                if said["status"] not in STATUSES:
                    raise ValueError(f"{where}: {said['status']!r} is none of {', '.join(STATUSES)}")
                found.append(Check(**said, file=os.path.relpath(path, TESTS), test=function.name))
    if len(found) != text.count("pytest.mark.outside("):
        raise ValueError(f"{path}: a mark stands elsewhere than on a test")
    return found


def page() -> str:
    """Return the whole page: how to read it, then a table for each folder of tests."""
    checks = [check for path in sorted(TESTS.rglob("test_*.py")) for check in checks_in(path)]
    parts = [HEAD, "\n".join(f"- *{status}*: {meaning}" for status, meaning in STATUSES.items()) + "\n"]
    head = "| computation | source | status | agreement | test |\n| --- | --- | --- | --- | --- |\n"
    for folder, held in groupby(checks, lambda check: Path(check.file).parent):
        rows = [
            f"| {check.computation} | {check.source} | {check.status} | {check.agreement} "
            f"| `{Path(check.file).name}::{check.test}` |\n"
            for check in held
        ]
        parts.append(f"## tests/{folder}\n\n{head}{''.join(rows)}")
    rows = [f"| {computation} | {why} |\n" for computation, why in UNCHECKED.items()]
    parts.append(f"## Held by no test\n\n| computation | source |\n| --- | --- |\n{''.join(rows)}")
    return "\n".join(parts)


if __name__ == "__main__":
    PAGE.write_text(page(), encoding="utf-8")
