"""The host-side verifier: traces in, the protection replayed over them, verdicts out.

    errors        how every refusal of bad input reads
    units         pressures, durations and the site's atmosphere, at the edge only
    settings      settings file (TOML) -> checked integers
    trace         one trace (CSV, Parquet, Arrow) -> integer arrays: trace_files reads, trace_rows checks
    library       library.toml -> traces with their labels; labels edits one
    demo_library  the demo library, to try everything on
    triage        what unlabelled logs reveal, and which machine to open first
    engine        the logic of `protect` over one trace
    physics       one machine, from crankcase gas to bearings; families of traces
    synth         libraries of synthesised traces
    closed_loop   the machine obeys: damage prevented
    engines       the interpreted logic, the same compiled (compiled), or the C port (c_engine)
    score         outcomes, families, totals, the verdict against [acceptance]
    floor         floor pressure of a crankshaft drilling
    files         output files, whole or not at all
    statistics    exact limits; evidence, what traces show; baselines, plain logics beside
    comparison    two scores; record, junit and pytest_plugin, a score for others
    measured      loggers' files in, through profiles
    tuning        many candidates at once, and how far each may move
    guarantee     what settings guarantee for every course of readings
    port          what a port is held against: vectors, driver, exported settings
    drawing       a trace and a tuning as pictures; report, a library as one page; page, settings to move in a browser
    notebook      what a notebook shows of a trace, settings and a score
    display       tables for the terminal
    workers       the same work in several processes
    cli           the console command `lubetrip`, a module a topic; nothing imports it

Integers and absolute pascals inside; gauge and other units exist at the edge.
"""

from typing import Any


def __getattr__(name: str) -> Any:
    """Give out `replay.Trace` without making every command wait for numpy."""
    if name == "Trace":
        from replay.trace import Trace

        return Trace
    raise AttributeError(f"module 'replay' has no attribute '{name}'")
