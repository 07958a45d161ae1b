"""Lists of mutants that nothing can tell from the original: by their text, never by a line number, each with its reason."""

import tomllib
from pathlib import Path

Change = tuple[str, str, str]  # function, line, changed line


def reasons(path: Path) -> dict[Change, str]:
    """Return change -> reason of a list."""
    with path.open("rb") as file:
        rows = tomllib.load(file)["equivalent"]
    return {
        (row["function"], row["line"], changed): row.get("reason", "") for row in rows for changed in row["changed"]
    }


def judged(alive: set[Change], known: dict[Change, str]) -> list[str]:
    """Return what is wrong: survivors not listed, listed ones that do not survive, listed ones without a reason."""
    lines = [f"survived: {f}: `{line}` -> `{changed}`" for f, line, changed in sorted(alive - known.keys())]
    lines += [f"listed, but does not survive: {f}: `{line}` -> `{c}`" for f, line, c in sorted(known.keys() - alive)]
    return lines + [
        f"listed without a reason: {f}: `{line}` -> `{c}`" for (f, line, c), why in known.items() if not why
    ]
