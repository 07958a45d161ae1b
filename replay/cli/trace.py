"""The commands of one trace: `explain` in words, `show` as a picture. Attached by `cli`."""

from pathlib import Path
from typing import Any

import click

from replay.cli.options import JSON, SETTINGS, check_output, give_report
from replay.cli.refusing import refusing


@click.command(short_help="Show the decisions over one TRACE as a timeline.")
@click.argument("trace", metavar="TRACE", type=click.Path(path_type=Path))
@SETTINGS
@JSON
@refusing
def explain(trace: Path, settings: Path | None, json_file: Path | None) -> None:
    """Show the decisions over one TRACE (CSV or Parquet) as a timeline."""
    from replay.display.course import explain_view
    from replay.score.explaining import explain_trace

    check_output(json_file)
    told = explain_trace(trace, settings)
    view = (told.trace, told.replay, told.settings, told.entry, told.verdict)
    give_report(json_file, told.as_json(), lambda: explain_view(*view))


@click.command(short_help="Draw one TRACE: pressures, integral, states, stops, label.")
@click.argument("trace", metavar="TRACE", type=click.Path(path_type=Path))
@click.option(
    "-o", "--out", type=click.Path(path_type=Path), required=True, metavar="FILE", help="FILE.png, .svg or .pdf."
)
@SETTINGS
@refusing
def show(trace: Path, out: Path, settings: Path | None) -> None:
    """Draw one TRACE: pressures with the levels of the settings, integral, states, stops and label."""
    from replay.drawing.plot import draw_trace

    draw_trace(out, trace, settings)
    click.echo(str(out))


COMMANDS: tuple[Any, ...] = (explain, show)
