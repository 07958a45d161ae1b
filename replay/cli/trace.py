"""The commands of one trace: `explain` in words, `show` as a picture. Attached by `cli`."""

from pathlib import Path
from typing import Any

import click

from replay.cli.options import JSON, SETTINGS, check_output, chosen_settings, give_report
from replay.cli.refusing import refusing


@click.command(short_help="Show the decisions over one TRACE as a timeline.")
@click.argument("trace_file", metavar="TRACE", type=click.Path(path_type=Path))
@SETTINGS
@JSON
@refusing
def explain(trace_file: Path, settings_file: Path | None, json_file: Path | None) -> None:
    """Show the decisions over one TRACE (CSV or Parquet) as a timeline."""
    from replay.display.course import explain_view
    from replay.display.terminal import console
    from replay.engine import engine_named
    from replay.library import find_entry
    from replay.score import judge
    from replay.score.explaining import explain_json
    from replay.trace import read_trace

    check_output(json_file)
    trace = read_trace(trace_file)
    found = find_entry(trace_file)
    library, entry = found or (None, None)
    settings = chosen_settings(settings_file, library, trace_file)
    engine = engine_named("portable")
    replay = engine.replay(trace, settings)
    verdict = judge(entry, trace, replay) if entry else None
    give_report(
        json_file,
        explain_json(trace, replay, settings, engine, verdict),
        lambda: console().print(explain_view(trace, replay, settings, entry, verdict)),
    )


@click.command(short_help="Draw one TRACE: pressures, integral, states, stops, label.")
@click.argument("trace_file", metavar="TRACE", type=click.Path(path_type=Path))
@click.option(
    "-o", "--out", type=click.Path(path_type=Path), required=True, metavar="FILE", help="FILE.png, .svg or .pdf."
)
@SETTINGS
@refusing
def show(trace_file: Path, out: Path, settings_file: Path | None) -> None:
    """Draw one TRACE: pressures with the levels of the settings, integral, states, stops and label."""
    from replay.drawing.plot import check_plot, save_plot
    from replay.library import find_entry
    from replay.trace import read_trace

    check_plot(out)
    trace = read_trace(trace_file)
    found = find_entry(trace_file)
    library, entry = found or (None, None)
    save_plot(out, trace, chosen_settings(settings_file, library, trace_file), entry)
    click.echo(str(out))


COMMANDS: tuple[Any, ...] = (explain, show)
