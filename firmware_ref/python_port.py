"""The reference itself behind the line protocol: `python -m firmware_ref.python_port`.

It runs the very file that a MicroPython board runs for its conformance run.
"""

import sys
from pathlib import Path

# On a board these files lie flat beside protect/.
sys.path.insert(0, str(Path(__file__).parent / "micropython"))

import line_port


def main() -> None:
    """Answer lines of standard input until `bye` or its end; each answer goes out at once."""
    sys.stdout.reconfigure(line_buffering=True)  # type: ignore[union-attr]
    line_port.main()


if __name__ == "__main__":
    main()
