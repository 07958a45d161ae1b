"""The facts of the trade as one page of plots and tables, for a browser without a network and for paper.

A figure a fact: a column a machine, a row an oil, a line a refrigerant. Net oil pressure above, suction below it in the
same panel on its own scale; floor and cut-out are drawn. Lines are thinned by `replay.drawing.decimation`.
"""

import html
import io
from typing import Any

import numpy as np

from replay.drawing.decimation import polyline
from replay.drawing.looks import BLUE, GREEN, GREY, INK, PURPLE, VERMILLION
from replay.physics import MACHINES, OILS, REFRIGERANTS
from tests.physics_facts import AT_S, FACTS, HOME, KINDS, Row, counted
from tests.support.physics_scenarios import CUT_OUT_PA, PSI

LINES: dict[str, tuple[str, Any]] = dict(
    zip(REFRIGERANTS, ((BLUE, "-"), (VERMILLION, (0, (6, 2))), (GREEN, (0, (2, 1.5)))), strict=False)
)
STRETCHES = 220
HIGHEST_PSI = 25.0
STYLE = """
body { font: 10pt/1.35 sans-serif; color: #1a1a1a; margin: 1.2em auto; max-width: 62em; padding: 0 1em }
h1 { font-size: 16pt } h2 { font-size: 12pt; margin: 1.6em 0 .3em } svg { width: 100%; height: auto }
table { border-collapse: collapse; font-size: 8.5pt } td, th { padding: .1em .6em; text-align: left; border-bottom: 1px solid #ccc }
td.n { text-align: right } .FAIL { font-weight: bold; color: #a03000 } details { margin: .4em 0 }
@media print { h2 { break-before: page } details[open] summary { display: none } body { max-width: none } }
"""


def page(found: list[Row]) -> str:
    """Return the page: counts, then each fact with its claim, its plots and its figures."""
    head = "".join(f"<th>{kind}</th>" for kind in ("fact", *KINDS))
    counts = "".join(
        "<tr>" + "".join(f"<td>{cell.replace('_', ' ')}</td>" for cell in cells) + "</tr>" for cells in counted(found)
    )
    parts = [
        f"<!doctype html><html lang=en><meta charset=utf-8><title>Facts of the trade</title><style>{STYLE}</style>",
        "<h1>Facts of the trade, as the model has them</h1>",
        "<p>Fitted: the constants were chosen on these machines at this design point. Predicted: other machines, though "
        "their ranges were in view. Elsewhere: other design points, run when the constants stood. Fresh: design points "
        "and drawn sites on which no number was chosen. All facts: common practice, no source.</p>",
        f"<table><tr>{head}</tr>{counts}</table>",
    ]
    for fact in FACTS:
        rows = [row for row in found if row.fact == fact]
        drawn = [row for row in rows if (row.site.suction_pa, row.site.sump_c) == HOME]
        parts.append(f"<h2>{fact.replace('_', ' ')}</h2><p>{html.escape(FACTS[fact].__doc__ or '')}</p>")
        parts.append(figure(drawn))
        failing = [row for row in rows if row.told.passed is False]
        if failing:
            parts.append("<p>Falls short:</p>" + table(failing))
        parts.append(f"<details><summary>all {len(rows)} in figures</summary>{table(rows)}</details>")
    return "\n".join(parts) + "\n"


def table(rows: list[Row]) -> str:
    """Return rows in figures: psi and s."""
    names = (
        "kind suction sump machine oil refrigerant low &lt;15 &lt;9 &lt;7 &lt;floor pulses height period back lost told"
    )
    head = "".join(f"<th>{name}</th>" for name in names.split())
    return f"<table><tr>{head}<th></th></tr>{''.join(map(_row, rows))}</table>"


def _row(row: Row) -> str:
    site, f = row.site, row.told.figures
    words = (
        row.kind,
        f"{site.suction_pa / 1e3:.0f} kPa",
        f"{site.sump_c:.0f} C",
        site.machine,
        site.oil,
        site.refrigerant,
    )
    levels = (f.lowest, f.below_15_s, f.below_9_s, f.below_7_s, f.below_floor_s)
    numbers = (*levels, float(f.pulses), f.height, f.period_s, f.recovered_s, f.lost_s)
    cells = "".join(f"<td>{word}</td>" for word in words)
    cells += "".join(
        f"<td class=n>{number:.1f}</td>" if np.isfinite(number) else "<td class=n>-</td>" for number in numbers
    )
    return f"<tr>{cells}<td>{row.told.text}</td><td class={row.verdict or 'none'}>{row.verdict}</td></tr>\n"


def figure(rows: list[Row]) -> str:
    """Return the courses of one fact as an SVG of small panels."""
    from matplotlib.backends.backend_svg import FigureCanvasSVG
    from matplotlib.figure import Figure

    oils = [oil for oil in OILS if any(row.site.oil == oil for row in rows)]
    machines = [machine for machine in MACHINES if any(row.site.machine == machine for row in rows)]
    drawing = Figure(figsize=(11.0, 0.6 + 1.75 * len(oils)), layout="constrained")
    panels = drawing.subplots(len(oils), len(machines), sharex=True, sharey=True, squeeze=False)
    for i, oil in enumerate(oils):
        for j, machine in enumerate(machines):
            _panel(panels[i, j], [row for row in rows if (row.site.oil, row.site.machine) == (oil, machine)])
    for panel in panels[:, 0]:
        panel.set_ylabel("net oil, psi\n(grey: suction, psia / 10)", fontsize=6)
    for panel in panels[-1]:
        panel.set_xlabel("s after it was done", fontsize=6)
    _legend(drawing)
    FigureCanvasSVG(drawing)
    text = io.StringIO()
    drawing.savefig(text, format="svg")
    whole = text.getvalue()
    return whole[whole.index("<svg") :]


def _panel(panel: Any, rows: list[Row]) -> None:
    site = rows[0].site
    failing = [row.site.refrigerant for row in rows if row.told.passed is False]
    verdict = "FAIL " + ", ".join(failing) if failing else "pass" if rows[0].told.passed else ""
    panel.set_title(
        f"{site.machine}, {site.oil}, {rows[0].kind}: {verdict}", fontsize=6.5, color=VERMILLION if failing else INK
    )
    for row in rows:
        colour, dash = LINES[row.site.refrigerant]
        course = row.told.course
        time_s = course.time_ms / 1000.0 - AT_S
        none = np.array([], dtype=np.int64)
        suction = polyline(time_s, course.true_suction_pa / PSI / 10.0, none, STRETCHES)
        panel.plot(*suction, color=GREY, linestyle=dash, linewidth=0.5, alpha=0.8)
        panel.plot(
            *polyline(time_s, course.net_oil_pa / PSI, none, STRETCHES), color=colour, linestyle=dash, linewidth=0.7
        )
    panel.axhline(CUT_OUT_PA / PSI, color=INK, linewidth=0.5, linestyle=(0, (8, 2, 2, 2)))
    panel.axhline(float(rows[0].told.course.floor_pa[-1]) / PSI, color=PURPLE, linewidth=0.7, linestyle=":")
    panel.set_ylim(0.0, HIGHEST_PSI)
    panel.tick_params(labelsize=6, width=0.4, length=2)
    for spine in panel.spines.values():
        spine.set_linewidth(0.4)


def _legend(drawing: Any) -> None:
    from matplotlib.lines import Line2D

    handles = [Line2D([], [], color=colour, linestyle=dash, label=name) for name, (colour, dash) in LINES.items()]
    handles.append(Line2D([], [], color=GREY, linewidth=0.6, label="suction, psia / 10"))
    handles.append(Line2D([], [], color=INK, linestyle=(0, (8, 2, 2, 2)), linewidth=0.6, label="9 psi"))
    handles.append(Line2D([], [], color=PURPLE, linestyle=":", label="floor"))
    drawing.legend(handles=handles, loc="outside upper center", ncols=len(handles), fontsize=6.5, frameon=False)
