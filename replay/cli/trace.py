"""The commands of one trace: `explain` in words, `show` as a picture."""

from pathlib import Path
from typing import Any

import click

from replay.cli.group import main
from replay.cli.options import ID, JSON, PICTURE, SETTINGS, TRACE, check_output, give_report


@main.command(short_help="Show the decisions over one TRACE as a timeline.")
@TRACE
@ID
@SETTINGS
@JSON
def explain(trace: Path, identity: str | None, settings: Path | None, json_file: Path | None) -> None:
    """Show the decisions over one TRACE as a timeline.

    TRACE is a file (CSV or Parquet), or a library and the ID of one of its traces.
    """
    from replay.display.course import explain_view
    from replay.library import trace_file
    from replay.score.explaining import explain_trace

    check_output(json_file)
    told = explain_trace(trace_file(trace, identity), settings)
    give_report(json_file, told.as_json(), lambda: explain_view(told))


@main.command(short_help="Draw one TRACE: pressures, integral, states, stops, label.")
@TRACE
@ID
@click.option("-o", "--out", type=PICTURE, required=True, metavar="FILE", help="FILE.png, .svg or .pdf.")
@click.option(
    "--from",
    "from_s",
    metavar="S|TIME",
    help='Draw from this second of the trace\'s time_s on, or "2026-03-01 10:05" by the clock.',
)
@click.option("--to", "to_s", metavar="S|TIME", help="Draw up to this second, or time by the clock.")
@click.option(
    "--event",
    type=click.IntRange(min=1),
    metavar="N",
    help="Draw the Nth stop or spell short of oil, from one minute before it to two after.",
)
@SETTINGS
def show(trace: Path, identity: str | None, out: Path, settings: Path | None, **part: Any) -> None:
    """Draw one TRACE: pressures with the levels of the settings, integral, states, stops and label.

    TRACE is a file (CSV or Parquet), or a library and the ID of one of its traces.
    """
    from replay.drawing.plot import draw_trace
    from replay.library import trace_file

    draw_trace(out, trace_file(trace, identity), settings, **part)
    click.echo(str(out))
