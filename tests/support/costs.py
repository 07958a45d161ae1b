"""What tests cost in CPU seconds, which other load on the machine hardly moves: `python -m pytest --costs`.

Of each test its own and its children's, summed by file and by function over all workers; and of the whole run, from the
start of Python on, what is not in any test too: imports, collection, what workers and the one who leads them say to each other.
"""

import json
import os
import resource
from collections import Counter
from collections.abc import Generator
from typing import Any

import pytest

from tests.support import shared

SHOWN = 25


def cpu_s() -> float:
    """Return the CPU seconds of this process and of those of its children that have ended."""
    used = [resource.getrusage(of) for of in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)]
    return sum(one.ru_utime + one.ru_stime for one in used)


class Costs:
    """The plugin: each process notes its tests in a file of the run's folder, and the one that leads adds them up."""

    @pytest.hookimpl(wrapper=True)
    def pytest_runtest_protocol(self, item: pytest.Item) -> Generator[None, Any, Any]:
        """Note what a test costs, its fixtures included."""
        before = cpu_s()
        result = yield
        assert shared.folder is not None
        with (shared.folder / f"costs-{os.getpid()}").open("a", encoding="utf-8") as file:
            file.write(json.dumps([item.nodeid, cpu_s() - before]) + "\n")
        return result

    def pytest_terminal_summary(self, terminalreporter: pytest.TerminalReporter) -> None:
        """Print the costliest files and functions, and the whole run."""
        assert shared.folder is not None
        notes = [json.loads(line) for path in shared.folder.glob("costs-*") for line in path.open(encoding="utf-8")]
        tell = terminalreporter.write_line
        for name, places in (("file", "::"), ("function", "[")):
            costs, tests = Counter[str](), Counter[str]()
            for test, cost in notes:
                costs[test.split(places)[0]] += cost
                tests[test.split(places)[0]] += 1
            terminalreporter.section(f"CPU seconds by {name}")
            for its, cost in costs.most_common(SHOWN):
                tell(f"{cost:8.1f} {tests[its]:5d} {its}")
        tell(f"{cpu_s():.0f} CPU s in all, {sum(cost for _, cost in notes):.0f} of them in {len(notes)} tests")
