"""Is what the command stands on its own? `protect` is a word that another distribution may bring as well.

One of them in the place of ours would judge by somebody else's code, or end in an import that fails. Who brings a
`replay` of its own in front of ours starts that, and this module is never asked.
"""

import importlib.util
from pathlib import Path

OWN = {"protect": "table.py", "firmware_ref": "digest.py"}


def clash() -> str | None:
    """Return what is wrong with the packages that would be imported, None if all are those beside this one."""
    here = Path(__file__).resolve().parents[2]
    for package, file in OWN.items():
        spec = importlib.util.find_spec(package)
        found = Path(spec.origin).resolve() if spec is not None and spec.origin else None
        if found is None or not (found.parent / file).is_file() or found.parent.parent != here:
            return f"'{package}' is not that of lubetrip but {found or 'missing'}{_from(package)}"
    return None


def _from(package: str) -> str:
    """Name the distributions that bring a package besides this one."""
    import importlib.metadata

    others = sorted({*importlib.metadata.packages_distributions().get(package, ())} - {"lubetrip"})
    return f" (from {', '.join(others)})" if others else ""
