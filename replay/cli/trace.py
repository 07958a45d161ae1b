"""The commands of one trace: `explain` in words, `show` as a picture."""

from pathlib import Path

import click

from replay.cli.group import main
from replay.cli.options import JSON, PATH, PLACE, SETTINGS, check_output, give_report


@main.command(short_help="Show the decisions over one TRACE as a timeline.")
@click.argument("trace", metavar="TRACE", type=PLACE)
@SETTINGS
@JSON
def explain(trace: Path, settings: Path | None, json_file: Path | None) -> None:
    """Show the decisions over one TRACE (CSV or Parquet) as a timeline."""
    from replay.display.course import explain_view
    from replay.score.explaining import explain_trace

    check_output(json_file)
    told = explain_trace(trace, settings)
    give_report(json_file, told.as_json(), lambda: explain_view(told))


@main.command(short_help="Draw one TRACE: pressures, integral, states, stops, label.")
@click.argument("trace", metavar="TRACE", type=PLACE)
@click.option("-o", "--out", type=PATH, required=True, metavar="FILE", help="FILE.png, .svg or .pdf.")
@SETTINGS
def show(trace: Path, out: Path, settings: Path | None) -> None:
    """Draw one TRACE: pressures with the levels of the settings, integral, states, stops and label."""
    from replay.drawing.plot import draw_trace

    draw_trace(out, trace, settings)
    click.echo(str(out))
