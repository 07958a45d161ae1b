"""Make the page of the Python interface, `replay/guides/python.md`, from the docstrings: python -m tests.python_page."""

import ast
import dataclasses
import inspect
from importlib import import_module
from pathlib import Path
from types import FunctionType

import replay

PAGE = Path(replay.__file__).with_name("guides") / "python.md"
HEAD = """\
# replay from Python

Made from the docstrings by `python -m tests.python_page`; do not edit. Each name is imported from `replay` itself and costs nothing
until it is used. What a command of `lubetrip` does is one call here, and its options are the arguments; a result has `as_json()`, the
report of `--json`, and shows itself in a notebook.

Not a certified safety device, never the only protection; local codes and licensed practice come first.

Libraries, settings and traces are given by path or as they were read (`GivenLibrary`, `GivenSettings`; settings are left out where
the library names some). Bad input raises `replay.Refusal`, which says in one line what would do. `jobs` is so many new
processes: a script that asks for more than one keeps its own work under `if __name__ == "__main__":`. `progress(total, title)` gives a
context manager with `advance(pieces)`, to be told how far the work has come.

The examples below are one session, in an empty folder; `tests/house/test_face.py` runs them.
"""
# Title, an example, and the names that are told.
SECTIONS = (
    (
        "Reading",
        """\
import replay

replay.write_demo("site")  # the demo library, to try all of this on
library = replay.read_library("site")
settings = replay.read_settings(library.settings)
trace = replay.read_trace(library.entries[0].path)  # or Trace.from_dataframe(table), .from_arrow(table)
""",
        ("read_library", "Library", "read_settings", "Settings", "read_trace", "Trace", "write_demo", "Refusal"),
    ),
    (
        "Judging",
        """\
score = replay.score_library("site")
assert score.met and score.totals.missed == 0
told = replay.explain_trace(library.entries[0].path)
assert told.verdict.outcome == "hit"
assert not replay.compare_scores(score, replay.score_library("site", engine="c")).worse
replay.draw_trace("trace.svg", library.entries[0].path)
replay.write_report("report.html", "site")
replay.write_record("record", library, score)
assert replay.check_record("record").holds
xml = replay.junit(score, library)  # for a build server
""",
        (
            *(
                "score_library",
                "explain_trace",
                "compare_scores",
                "draw_trace",
                "picture",
                "write_report",
                "write_bench",
            ),
            *("junit", "write_record", "check_record", "engine_named", "Engine"),
        ),
    ),
    (
        "Traces by physics",
        """\
few = replay.recipe("pump-drive-broken,normal-start", count=4, seed=1)
replay.synthesise("few", few)
saved = replay.run_closed_loop(few, settings)
assert saved.as_json()["totals"]["damage_prevented"] == 2
year = replay.forecast_years(settings, years=1, seed=1, days=1)  # a whole year without days
assert year.machine_years == 1 / 365
""",
        ("recipe", "synthesise", "run_closed_loop", "forecast_years"),
    ),
    (
        "Your own machine",
        """\
with open("machine.toml", "w", encoding="utf-8") as file:
    file.write(replay.machine_template())
mine = replay.read_machine("machine.toml")
assert "compressor.clearance" in mine.assumed
assert not replay.check_machine(mine, settings).contradictions
replay.synthesise("mine", replay.recipe("pump-drive-broken", count=1, seed=1, machine=mine))
""",
        (
            "read_machine",
            "MachineFile",
            "check_machine",
            "machine_template",
            "fit_machine",
            "save_fit",
            "Fit",
            "find_sensitivity",
            "save_sensitivity",
            "Sensitivity",
        ),
    ),
    (
        "Tuning",
        """\
tuned = replay.tune_settings("few", ["trip_delay=60s,90s"], "site/settings.toml", quick=True)
replay.write_tuning("tuned", tuned)
moved = replay.find_tolerances("few", tuned.chosen, draws=10)
assert moved.drawn.draws == 10
""",
        ("tune_settings", "find_tolerances", "write_tuning"),
    ),
    (
        "Field logs",
        """\
from pathlib import Path

rows = (f"{s},{(400 if s < 60 else 210) + s % 3},{200 + s % 2},1\\n" for s in range(300))
Path("log.csv").write_text("time_s,oil_kpa_abs,suction_kpa_abs,run\\n" + "".join(rows))
draft = replay.draft_profile("log.csv")  # decide every "?" of it; here:
profile = '[time]\\ncolumn = "time_s"\\nform = "elapsed"\\nunit = "s"\\nmax_gap = "3 s"\\n[running]\\ncolumn = "run"\\n'
for name in ("oil", "suction"):
    profile += f'[{name}_pressure]\\ncolumn = "{name}_kpa_abs"\\nunit = "kPa"\\nreference = "absolute"\\n'
Path("profile.toml").write_text(profile)
assert not replay.import_logs(["log.csv"], "logs", "profile.toml").refused
report = replay.triage_logs(["logs"], settings)
assert report.machines[0].starved_ms > 0
replay.write_fleet("fleet.html", report)
replay.relabel("logs", "log", "undecided", "A. Smith", "machine not opened yet")
replay.write_label_page("label.html", "logs", settings, queue="second", who="J. Doe")
Path("table.csv").write_text("id,label,note\\nlog,ride through,came home\\n")
replay.take_labels("logs", "table.csv", "A. Smith")
""",
        (
            "draft_profile",
            "import_logs",
            "triage_logs",
            "write_fleet",
            "relabel",
            "take_labels",
            "write_label_page",
            "remove_traces",
            "MustTrip",
        ),
    ),
    (
        "Settings and ports",
        """\
worst = replay.guarantee(settings)
replay.floor_pressure_pa(0.055, 0.0, 1450.0, 900.0)
Path("settings.h").write_text(replay.export_settings(settings, "c"))
""",
        (
            "guarantee",
            "floor_pressure_pa",
            "export_settings",
            "write_sources",
            "write_vectors",
            "conform_port",
            "conform_questions",
        ),
    ),
)


def text() -> str:
    """Return the page."""
    parts = [HEAD]
    results: dict[str, type] = {}
    for title, example, names in SECTIONS:
        parts.append(f"## {title}\n\n```python\n{example}```\n")
        for name in dict.fromkeys(names):
            thing = getattr(replay, name)
            parts.append(_function(name, thing) if isinstance(thing, FunctionType) else _class(thing))
            if isinstance(thing, FunctionType):
                made = thing.__annotations__["return"]
                if dataclasses.is_dataclass(made) and made.__name__ not in replay.__all__:
                    results[made.__name__] = made
    parts.append("## What comes back\n")
    parts += [_class(made) for _, made in sorted(results.items())]
    return "\n".join(parts)


def _function(name: str, function: FunctionType) -> str:
    """Return a function with its arguments as its source tells them."""
    tree = ast.parse(inspect.getsource(function)).body[0]
    assert isinstance(tree, ast.FunctionDef)
    for defaults in (tree.args.defaults, tree.args.kw_defaults):
        for place, default in enumerate(defaults):
            if isinstance(default, ast.Name) and isinstance(value := function.__globals__.get(default.id), int):
                defaults[place] = ast.Constant(value)
    for argument in (*tree.args.args, *tree.args.kwonlyargs):
        if isinstance(quoted := argument.annotation, ast.Constant):  # a type that is imported for checkers alone
            argument.annotation = ast.parse(str(quoted.value), mode="eval").body
    returned = ast.unparse(tree.returns) if tree.returns else "None"
    call = f"{name}({ast.unparse(tree.args)}) -> {returned}"
    return f"### {name}\n\n```\n{call}\n```\n\n{inspect.getdoc(function)}\n"


def _class(kind: type) -> str:
    """Return a class with what it holds and offers."""
    lines = [f"### {kind.__name__}\n\n{inspect.getdoc(kind)}\n"]
    if dataclasses.is_dataclass(kind):
        lines.append("Holds " + ", ".join(f"`{field.name}`" for field in dataclasses.fields(kind)) + ".\n")
    members = {name: member for base in reversed(kind.__mro__) for name, member in vars(base).items()}
    for name, member in members.items():
        inner = getattr(member, "fget", None) or getattr(member, "__func__", member)
        if not name.startswith("_") and isinstance(inner, FunctionType) and inner.__doc__:
            call = "" if isinstance(member, property) else "()"
            lines.append(f"- `{name}{call}`: {inner.__doc__.splitlines()[0]}")
    return "\n".join(lines).rstrip() + "\n"


def examples() -> str:
    """Return the examples of the page as one program."""
    return "\n".join(example for _, example, _ in SECTIONS)


def names() -> set[str]:
    """Return every name that the page tells."""
    return {name for _, _, told in SECTIONS for name in told}


if __name__ == "__main__":
    for module in replay.FACE:
        import_module(module)
    PAGE.write_text(text(), encoding="utf-8")
