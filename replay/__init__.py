"""The host-side verifier: traces in, the protection replayed over them, verdicts out.

Rooms stand on floors; a room imports only what stands below it (`tests/house/test_floors.py` holds it).

    ground        refusals, whole files, TOML and JSON, units, exact statistics, locks
    physics       one machine, from crankcase gas to bearings; families of traces
    settings      settings file (TOML) -> checked integers; what they guarantee; floor pressure
    trace         one trace (CSV, Parquet, Arrow) -> integer arrays
    library       library.toml -> traces with their labels; digest, relabelling, the demo library
    engine        the logic of `protect` over whole traces: interpreted, compiled, the C port; who does the work
    measured      loggers' files in, through profiles
    score         verdicts: outcomes, families, totals, evidence, acceptance, comparison
    synth         libraries of synthesised traces; machines that obey: damage prevented
    triage        what unlabelled logs reveal, and which machine to open first
    port          what a port is held against: vectors, driver, exported settings, the emulated Cortex-M
    sweep         many candidate settings over one trace at once
    tuning        which candidate to take, and how far each sensor and setting may move
    display       what is told of results: tables and sentences, once for terminal, page and notebook
    drawing       a trace and a tuning as pictures
    report        a library as one page; JUnit XML; evidence records
    page          settings to move in a browser
    cli           the console command `lubetrip`, a module a topic; nothing imports it
    notebook      what a notebook shows; pytest_plugin, a library as tests

Integers and absolute pascals inside; gauge and other units exist at the edge.
"""

import sys
from typing import Any

if "IPython" in sys.modules and (shell := sys.modules["IPython"].get_ipython()) is not None:
    from replay.notebook import load_ipython_extension

    load_ipython_extension(shell)


def __getattr__(name: str) -> Any:
    """Give out `replay.Trace` without making every command wait for numpy."""
    if name == "Trace":
        from replay.trace import Trace

        return Trace
    raise AttributeError(f"module 'replay' has no attribute '{name}'")
