"""Start the command `lubetrip`, if what it stands on is its own: `python -m lubetrip` and the installed script.

`protect` and `replay` are words that another distribution may bring as well. One of them in the place of ours would
judge by somebody else's code, or end in an import that fails.
"""

import importlib.util
import sys
from pathlib import Path

OWN = {"protect": "table.py", "replay": "cli/group.py", "firmware_ref": "digest.py"}


def clash() -> str | None:
    """Return what is wrong with the packages that would be imported, None if all are those beside this file."""
    here = Path(__file__).resolve().parent
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


def main() -> None:
    """Run the command, or say in one line why it cannot be."""
    wrong = clash()
    if wrong is not None:
        sys.stderr.write(f"lubetrip: {wrong}; accepted: lubetrip installed in an environment of its own\n")
        sys.exit(2)
    from replay.cli import main as command

    command(prog_name="lubetrip")


if __name__ == "__main__":
    main()
