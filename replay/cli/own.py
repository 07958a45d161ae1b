"""Is what the command stands on its own? `replay` and `protect` are words that another distribution may bring too.

One of them in the place of ours would judge by somebody else's code, or end in an import that fails: before ours on
the path, or laid over ours in the same folder, where the last to be installed wins. Only a whole `replay` before ours
is not told here, since Python asks that one for the command: it says that `replay.cli` is missing.
"""

import importlib.util
from pathlib import Path

# How our packages begin.
OWN = {
    "replay": '"""The host-side verifier:',
    "protect": '"""Lubrication protection:',
    "firmware_ref": '"""What a firmware team takes:',
}


def clash() -> str | None:
    """Return what is wrong with the packages that would be imported, None if all are those beside this one."""
    here = Path(__file__).resolve().parents[2]
    for package, begin in OWN.items():
        spec = importlib.util.find_spec(package)
        found = Path(spec.origin).resolve() if spec is not None and spec.origin else None
        if found is None or found.parent.parent != here or not found.read_bytes().startswith(begin.encode()):
            return f"'{package}' is not that of lubetrip but {found or 'missing'}{_from(package)}"
    return None


def _from(package: str) -> str:
    """Name the distributions that bring a package besides this one."""
    import importlib.metadata

    others = sorted({*importlib.metadata.packages_distributions().get(package, ())} - {"lubetrip"})
    return f" (from {', '.join(others)})" if others else ""
