"""Run one benchmark by name, or list them: python -m tests.benchmarks [NAME]."""

import importlib
import pkgutil
import sys

import tests.benchmarks


def run() -> int:
    """Run the benchmark named on the command line; 2 when there is none of that name."""
    names = sorted(m.name for m in pkgutil.iter_modules(tests.benchmarks.__path__) if not m.name.startswith("_"))
    if len(sys.argv) != 2 or sys.argv[1] not in names:
        print(f"python -m tests.benchmarks NAME, with NAME one of: {', '.join(names)}", file=sys.stderr)
        return 2
    importlib.import_module(f"tests.benchmarks.{sys.argv[1]}").main()
    return 0


raise SystemExit(run())
