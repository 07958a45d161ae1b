"""What every test shares: hypothesis without deadlines, a small complete settings file, a small library."""

import gc
import os
import sys
import tempfile
from collections.abc import Callable, Generator
from pathlib import Path
from typing import Any

import pytest
from hypothesis import Phase, settings

from tests.support import settled, shared
from tests.support.costs import Costs

# As many tests run as there are processors: threads of a library that multiplies matrices only wait for each other.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

# In CI the same cases are drawn each time; while a gate plants mistakes, one case that finds one is enough.
SAME = bool(os.environ.get("CI"))
settings.register_profile("lubetrip", deadline=None, print_blob=True, derandomize=SAME)
settings.register_profile("working", parent=settings.get_profile("lubetrip"), max_examples=25)
settings.register_profile("gate", deadline=None, derandomize=True, phases=(Phase.explicit, Phase.generate))
settings.load_profile("lubetrip")


def no_machine_code(dispatcher: Any, _signature: object) -> None:
    """Refuse to compile, or to load what was compiled: without what is kept on disk it takes half a minute."""
    raise AssertionError(f"{dispatcher.py_func.__qualname__} is compiled in a test that is not marked slow")


def pytest_addoption(parser: pytest.Parser) -> None:
    """Let tests tell what they cost."""
    parser.addoption("--costs", action="store_true", help="Print the CPU seconds of files and tests.")


def pytest_configure(config: pytest.Config) -> None:
    """Give all workers of a run one folder for what is made once; let quick tests draw few cases and wait for no machine code."""
    if config.option.markexpr == "not slow":
        settings.load_profile("working")
        if hasattr(config, "workerinput") or not config.getoption("numprocesses", 0):  # who leads workers runs no test
            from numba.core.dispatcher import Dispatcher

            Dispatcher.compile = no_machine_code
    if hasattr(config, "cache"):  # without it, as in the gates, sources may change faster than bytecode is told apart
        sys.dont_write_bytecode = False
        os.environ.pop("PYTHONDONTWRITEBYTECODE", None)
    config.pluginmanager.register(settled)
    if config.option.costs:
        config.pluginmanager.register(Costs())
    if workerinput := getattr(config, "workerinput", None):
        shared.folder = Path(workerinput["shared"])
        return
    folder = tempfile.TemporaryDirectory(prefix="lubetrip-tests-")
    config.add_cleanup(folder.cleanup)
    shared.folder = Path(folder.name)


@pytest.hookimpl(wrapper=True)
def pytest_collection() -> Generator[None, Any, Any]:
    """Search for no garbage while tests are collected, and leave what was collected out of every later search."""
    gc.disable()
    try:
        return (yield)
    finally:
        gc.freeze()
        gc.enable()


@pytest.hookimpl(optionalhook=True)
def pytest_configure_node(node: Any) -> None:
    """Tell a worker of pytest-xdist where that folder is."""
    node.workerinput["shared"] = str(shared.folder)


def pytest_ignore_collect(collection_path: Path, config: pytest.Config) -> bool | None:
    """Do not even import a file that is left out as a whole: what it imports may take seconds."""
    if config.option.markexpr != "not slow" or not collection_path.match("test_*.py"):
        return None
    return True if "\npytestmark = pytest.mark.slow(" in collection_path.read_text(encoding="utf-8") else None


# Restated here on purpose: a settings file a controls engineer might write, with
# round numbers that are easy to follow by hand.
SETTINGS = """
[net_oil_pressure]
cut_out = "60 kPa"
cut_in = "80 kPa"
floor = "30 kPa"
[integral]
trip_delay = "60 s"
floor_weight = 2.0
vacuum_weight = 1.5
recovery = 1.0
stopped_recovery = 0.25
[suction]
vacuum = "80 kPa abs"
reload = "100 kPa abs"
reload_fraction = 0.5
[sequence]
start_grace = "10 s"
restart_delay = "60 s"
trips_to_lockout = 3
trip_memory = "1 h"
[sensors]
oil_range = ["0 kPa abs", "2000 kPa abs"]
suction_range = ["0 kPa abs", "1600 kPa abs"]
max_gap = "3 s"
stuck_after = "10 min"
fault_delay = "10 s"
[site]
altitude = "0 m"
[acceptance]
max_missed = 0
max_nuisance_per_1000h = 0.0
min_margin = "30 s"
"""


@pytest.fixture
def settings_file(tmp_path: Path) -> Path:
    """Return a settings file with every key."""
    path = tmp_path / "settings.toml"
    path.write_text(SETTINGS, encoding="utf-8")
    return path


def trace_csv(
    seconds: int,
    net_kpa: Callable[[int], float],
    suction_kpa: Callable[[int], float] = lambda s: 300.0,
    *,
    every_s: int = 1,
) -> str:
    """Return a trace of a running machine; a ripple of 0.1 kPa (at an odd step) keeps the sensors from looking stuck."""
    lines = ["time_s,oil_pressure_kpa,suction_pressure_kpa,running"]
    for second in range(0, seconds + 1, every_s):
        suction = suction_kpa(second) + second % 2 * 0.1
        lines.append(f"{second},{suction + net_kpa(second):.1f},{suction:.1f},1")
    return "\n".join(lines) + "\n"


def entry(identity: str, label: str, family: str = "family", file: str = "") -> str:
    """Return one [[trace]] table."""
    return (
        f'[[trace]]\nid = "{identity}"\nfile = "{file or identity + ".csv"}"\nfamily = "{family}"\n'
        f'machine = "m"\noil = "o"\norigin = "synthetic: by hand"\n{label}\n'
    )


@pytest.fixture
def library(tmp_path: Path, settings_file: Path) -> Path:
    """Return a library of one fault that begins at 100 s and one quiet hour."""
    assert settings_file.parent == tmp_path
    (tmp_path / "fault.csv").write_text(trace_csv(400, lambda s: 120.0 if s < 100 else 5.0), encoding="utf-8")
    (tmp_path / "quiet.csv").write_text(
        trace_csv(3600, lambda s: 120.0, every_s=3), encoding="utf-8"
    )  # as max_gap admits
    text = 'settings = "settings.toml"\n'
    text += entry("fault", "must_trip = { earliest_s = 100.0, deadline_s = 250.0 }", "starved")
    text += entry("quiet", "ride_through = true", "steady")
    (tmp_path / "library.toml").write_text(text, encoding="utf-8")
    return tmp_path
