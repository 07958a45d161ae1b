"""What installs an optional package: a command that works wherever this program came from."""

import re


def install(extra: str) -> str:
    """Return the command that installs what an extra of this program needs.

    It names the packages themselves: whether this program stands in an index, and under its name, is not known here.
    """
    import importlib.metadata  # late: it takes longer than a short command has

    try:
        required = importlib.metadata.requires("lubetrip") or []
    except importlib.metadata.PackageNotFoundError:  # run from a folder
        required = []
    marked = re.compile(rf"extra\s*==\s*['\"]{extra}['\"]")
    needed = [text.partition(";")[0].strip() for text in required if marked.search(text)]
    if not needed:
        return f"the packages of the extra '{extra}' in pyproject.toml"
    return "python -m pip install " + " ".join(f"'{text}'" for text in needed)
