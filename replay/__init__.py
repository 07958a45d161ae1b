"""The host-side verifier: traces in, the protection replayed over them, verdicts out.

Rooms stand on floors; a room imports only what stands below it (`tests/house/test_floors.py` holds it).

    ground        refusals, whole files, TOML and JSON, units, exact statistics, locks, what is kept on a machine
    physics       one machine, from crankcase gas to bearings; families of traces
    settings      settings file (TOML) -> checked integers; what they guarantee; floor pressure
    trace         one trace (CSV, Parquet, Arrow) -> integer arrays
    library       library.toml -> traces with their labels; digest, relabelling, the demo library
    machine       the user's own machine: its file, what is left out drawn, which families suit it
    engine        the logic of `protect` over whole traces: interpreted, compiled, the C port; who does the work
    measured      loggers' files in, through profiles
    fitting       a machine file fitted to measured runs: an ensemble, what the runs do not tell, held-out runs
    score         verdicts: outcomes, families, totals, evidence, acceptance, comparison
    synth         libraries of synthesised traces; machines that obey: damage prevented
    triage        what unlabelled logs reveal, and which machine to open first
    port          what a port is held against: vectors, driver, exported settings, the emulated Cortex-M
    sweep         many candidate settings over one trace at once
    forecast      machine-years: what settings cost and save in ordinary duty
    tuning        which candidate to take, and how far each sensor and setting may move
    display       what is told of results: tables and sentences, once for terminal, page and notebook
    drawing       a trace and a tuning as pictures
    report        a library as one page; JUnit XML; evidence records
    page          settings to move in a browser
    cli           the console command `lubetrip`, a module a topic; nothing imports it
    notebook      what a notebook shows; pytest_plugin, a library as tests

Integers and absolute pascals inside; gauge and other units exist at the edge.

What a notebook or a test bench needs is given out here by name, each imported when it is first asked for;
`guides/python.md` tells all of it. The names are verbs and types, never that of a room, since importing `replay.score`
puts that room under the name `score`.
"""

import sys
from importlib import import_module
from typing import Any

FACE: dict[str, tuple[str, ...]] = {
    "replay.library": ("read_library", "Library", "MustTrip"),
    "replay.settings": ("read_settings", "Settings"),
    "replay.trace": ("read_trace", "Trace"),
    "replay.engine": ("engine_named", "Engine"),
    "replay.ground.refusal": ("Refusal",),
    "replay.score": ("score_library",),
    "replay.score.explaining": ("explain_trace",),
    "replay.score.comparison": ("compare_scores",),
    "replay.drawing.plot": ("draw_trace",),
    "replay.drawing.picture": ("picture",),
    "replay.report.write": ("write_report",),
    "replay.report.fleet": ("write_fleet",),
    "replay.report.junit": ("junit",),
    "replay.report.record": ("write_record", "check_record"),
    "replay.page.bench": ("write_bench",),
    "replay.forecast": ("forecast_years",),
    "replay.tuning.run": ("tune_settings", "find_tolerances"),
    "replay.report.tuning_folder": ("write_tuning",),
    "replay.triage.report": ("triage_logs",),
    "replay.measured.importing": ("import_logs",),
    "replay.measured.guess": ("draft_profile",),
    "replay.library.labels": ("relabel",),
    "replay.library.label_files": ("take_labels",),
    "replay.page.labelling": ("write_label_page",),
    "replay.library.removal": ("remove_traces",),
    "replay.machine": ("read_machine", "MachineFile"),
    "replay.machine.check": ("check_machine",),
    "replay.machine.template": ("machine_template",),
    "replay.synth": ("recipe", "synthesise", "run_closed_loop"),
    "replay.fitting": ("fit_machine", "find_sensitivity", "Fit", "Sensitivity"),
    "replay.drawing.plot_fit": ("save_fit",),
    "replay.drawing.plot_sensitivity": ("save_sensitivity",),
    "replay.settings.guarantee": ("guarantee",),
    "replay.settings.floor": ("floor_pressure_pa",),
    "replay.port.vectors": ("write_vectors",),
    "replay.port.conform": ("conform_port", "conform_questions"),
    "replay.port.export": ("export_settings",),
    "replay.port.sources": ("write_sources",),
    "replay.library.demo": ("write_demo",),
}
_PLACES = {name: module for module, names in FACE.items() for name in names}
__all__ = list(_PLACES)

if "IPython" in sys.modules and (shell := sys.modules["IPython"].get_ipython()) is not None:
    from replay.notebook import load_ipython_extension

    load_ipython_extension(shell)


def __getattr__(name: str) -> Any:
    """Give out a name of `FACE` without making every command wait for what stands behind the others."""
    if name not in _PLACES:
        raise AttributeError(f"module 'replay' has no attribute '{name}'")
    found = globals()[name] = getattr(import_module(_PLACES[name]), name)
    return found


def __dir__() -> list[str]:
    """Tell the names that are given out, for completion."""
    return sorted({*globals(), *_PLACES})
