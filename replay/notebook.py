"""What a notebook shows of traces, settings and results: small, without a script, all text escaped.

Data does not know its picture: how the types show themselves is registered with IPython, by `import replay` where
one runs, or by `%load_ext replay.notebook`.
"""

from collections import Counter
from collections.abc import Callable
from importlib import import_module
from typing import TYPE_CHECKING, Any

import numpy as np
from markupsafe import Markup

if TYPE_CHECKING:
    from replay.drawing.picture import Picture
    from replay.library import Library
    from replay.score import Score
    from replay.settings import Settings
    from replay.trace import Trace

WIDTH, HEIGHT = 700.0, 250.0
LEFT, RIGHT = 60.0, 690.0
PANELS = ((8.0, 110.0), (122.0, 208.0))
LONG_STEPS = 5  # a step in time so many times the usual one is a gap


def trace_svg(trace: "Trace") -> str:
    """Return net oil pressure and suction pressure over time; without settings there are no levels."""
    from replay.drawing import svg
    from replay.drawing.decimation import polyline
    from replay.drawing.looks import BLUE, CURVE, INK, time_axis
    from replay.drawing.picture import in_kpa, net_kpa
    from replay.drawing.svg import Scale

    seconds = trace.start_s + trace.time_ms / 1000.0
    unit, size = time_axis(float(seconds[-1] - seconds[0]))
    time = Scale(float(seconds[0]) / size, float(seconds[-1]) / size, LEFT, RIGHT)
    steps = np.diff(trace.time_ms)
    gaps = np.flatnonzero(steps > LONG_STEPS * np.median(steps)) + 1
    root = svg.drawing(WIDTH, HEIGHT, f"Net oil pressure and suction pressure of {trace.name}")
    curves = ((net_kpa(trace), CURVE, "net oil kPa"), (in_kpa(trace.suction_pa), BLUE, "suction kPa abs"))
    for (values, colour, name), (top, bottom) in zip(curves, PANELS, strict=True):
        real = np.append(values[np.isfinite(values)], (0.0, 1.0))
        scale = Scale(float(real.min()), float(real.max()) * 1.05, bottom, top)
        x, y = polyline(seconds / size, values, gaps, int(RIGHT - LEFT))
        svg.curve(root, time.at(x), scale.all_at(y), colour)
        svg.box(root, (LEFT, top, RIGHT - LEFT, bottom - top), "none", INK)
        svg.beside(root, scale, LEFT, name, scale.ticks(4))
    svg.below(root, time, PANELS[-1][1], f"time {unit}", time.ticks(8))
    return svg.markup(root)


def trace_html(trace: "Trace") -> str:
    """Return a trace with its length, how much of it ran and was read, and its curves."""
    from protect.ranges import NO_READING

    hours = (trace.time_ms[-1] - trace.time_ms[0]) / 3.6e6
    lost = (trace.oil_pa == NO_READING) | (trace.suction_pa == NO_READING) | (trace.crankcase_pa == NO_READING)
    facts = (
        f"{len(trace)} rows over {hours:.3g} h; running in {100 * trace.running.mean():.0f} % of them; "
        f"{int(lost.sum())} with a pressure missing"
    )
    drawing = Markup(trace_svg(trace))  # noqa: S704 - text in it is escaped
    return Markup("<div><p><strong>{}</strong></p><p>{}</p>{}</div>").format(trace.name, facts, drawing)


def settings_html(settings: "Settings") -> str:
    """Return the settings in both unit systems."""
    from replay.display.settings import settings_table
    from replay.report.templates import table

    head = f"{settings.file}, digest {settings.digest[:12]}"
    return Markup("<div><p>{}</p>{}</div>").format(head, table(settings_table(settings)))


def score_svg(score: "Score") -> str:
    """Return the margins of the hits."""
    from replay.drawing.margins import margins_svg

    return margins_svg(score)


def score_html(score: "Score") -> str:
    """Return the verdict, what the traces show, the counts by family and the margins."""
    from replay.display.score import claims_table, families_table, said
    from replay.report.templates import table

    tables = table(claims_table(score)) + table(families_table(score))
    drawing = Markup(score_svg(score))  # noqa: S704 - text in it is escaped
    return Markup("<div><p><strong>{}</strong></p>{}{}</div>").format(said(score), tables, drawing)


def picture_svg(picture: "Picture") -> str:
    """Return the drawing of a picture as it stands in a report."""
    from replay.drawing.trace_plot import trace_svg as drawn

    return drawn(picture, "Trace with its levels, integral and states")


def library_html(library: "Library") -> str:
    """Return how many traces of each family there are, by label."""
    from replay.library.label import LABELS

    families: dict[str, Counter[str]] = {}
    for entry in library.entries:
        label = entry.label if isinstance(entry.label, str) else "must_trip"
        families.setdefault(entry.family, Counter())[label] += 1
    cells = Markup("<tr><th>{}</th><td>{}</td><td>{}</td><td>{}</td></tr>")
    rows = [cells.format(name, *(counts[label] for label in LABELS)) for name, counts in sorted(families.items())]
    head = Markup("<tr><th>family</th><th>{}</th><th>{}</th><th>{}</th></tr>").format(
        *(label.replace("_", " ") for label in LABELS)
    )
    table = Markup("<table>{}{}</table>").format(head, Markup().join(rows))
    return Markup("<div><p><strong>{}</strong></p>{}</div>").format(repr(library), table)


def report_text(result: Any) -> str:
    """Return the report on a result as the command prints it."""
    from replay.display.terminal import plain

    room, _, name = REPORTS[type(result).__module__, type(result).__name__].partition(".")
    return plain(getattr(import_module(f"replay.display.{room}"), name)(result))


def report_html(result: Any) -> str:
    """Return the same for a page."""
    return Markup("<pre>{}</pre>").format(report_text(result))


# Results that show as the report of their command: where the type stands, its name, and what of `display` tells it.
REPORTS = {
    ("replay.score.comparison", "Comparison"): "comparison.comparison_view",
    ("replay.score.explaining", "Explanation"): "course.explain_view",
    ("replay.synth.closed_loop", "ClosedLoop"): "course.closed_loop_view",
    ("replay.settings.guarantee", "Guarantee"): "guarantee.guarantee_view",
    ("replay.triage.report", "Triage"): "triage.triage_view",
    ("replay.tuning.run", "Tuned"): "tuning.tuning_view",
    ("replay.tuning.run", "Moved"): "tuning.tolerances_view",
}
HTML, SVG, TEXT = "text/html", "image/svg+xml", "text/plain"
# Where a type stands, its name, and what shows it in which form.
SHOWN: tuple[tuple[str, str, str, Callable[[Any], str]], ...] = (
    ("replay.trace.trace", "Trace", HTML, trace_html),
    ("replay.trace.trace", "Trace", SVG, trace_svg),
    ("replay.settings.file", "Settings", HTML, settings_html),
    ("replay.library.library", "Library", HTML, library_html),
    ("replay.score.scoring", "Score", HTML, score_html),
    ("replay.score.scoring", "Score", SVG, score_svg),
    ("replay.drawing.picture", "Picture", SVG, picture_svg),
    *((*kind, form, show) for kind in REPORTS for form, show in ((HTML, report_html), (TEXT, report_text))),
)


def load_ipython_extension(shell: Any) -> None:
    """Tell an IPython how to show the types; none of them is imported for it."""
    for module, name, form, function in SHOWN:
        shown = _told(function) if form == TEXT else function
        shell.display_formatter.formatters[form].for_type_by_name(module, name, shown)


def _told(function: Callable[[Any], str]) -> Callable[..., None]:
    """Return a function as IPython wants it for plain text."""
    return lambda thing, printer, _: printer.text(function(thing))
