"""The console command `lubetrip`: a thin layer over functions of `replay`.

Exit status: 0 done (score: acceptance met), 1 score: acceptance not met, 2 bad input, 3 score: not enough evidence.
"""

import os
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from replay import cli_bench, cli_firmware, cli_guarantee, cli_import, cli_label, cli_report, cli_triage, cli_tune
from replay.cli_options import JSON, LIBRARY, SETTINGS, check_output, give_report, settings_path
from replay.cli_workers import working
from replay.errors import refusal, refusing
from replay.progress import Progress

if TYPE_CHECKING:
    from replay.library import Library
    from replay.settings import Settings
    from replay.synth import Recipe


@click.group(context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(package_name="lubetrip")
def main() -> None:
    """Replay the lubrication protection over traces of reciprocating compressors.

    Not a certified safety device and never the only protection: local codes and
    licensed practice come first; never defeat a factory safety.
    """


@main.command()
@LIBRARY
@SETTINGS
@JSON
@click.option(
    "--engine",
    type=click.Choice(["portable", "compiled", "c"]),
    help="What replays: the interpreted logic, the same compiled, or the C port. Without it, what is done soonest.",
)
@click.option(
    "--junit",
    "junit_file",
    type=click.Path(path_type=Path),
    metavar="FILE",
    help="Write JUnit XML too: a case a trace.",
)
@click.option(
    "--plots",
    "plots_folder",
    type=click.Path(path_type=Path),
    metavar="DIR",
    help="Draw each missed, early and nuisance trace into DIR.",
)
@click.option(
    "--record", "record_folder", type=click.Path(path_type=Path), metavar="DIR", help="Keep an evidence record in DIR."
)
@working
@refusing
def score(
    library_folder: Path,
    settings_file: Path | None,
    json_file: Path | None,
    engine: str | None,
    junit_file: Path | None,
    plots_folder: Path | None,
    record_folder: Path | None,
    address: str | None,
    local: int | None,
) -> None:
    """Score all traces of LIBRARY (a folder with library.toml).

    Prints a table by family and the verdict against [acceptance] of the
    settings: exit status 0 met, 1 not met, 2 bad input, 3 not enough evidence.
    """
    from replay import display, engines
    from replay.library import read_library
    from replay.score import score as score_library
    from replay.workers import workers

    check_output(json_file)
    check_output(junit_file)
    if record_folder is not None:
        from replay.files import check_free_folder

        check_free_folder(record_folder)
    library = read_library(library_folder)
    settings = _settings(settings_file, library, library_folder)
    engine = engine or engines.fitting(library)
    run = engines.replayer(engine)
    with workers(address, local) as each, Progress(len(library.entries), "replaying") as progress:
        result = score_library(library, settings, progress.advance, run, engines.logic_as_json(engine), each)
    plots = {}
    if plots_folder is not None:
        from replay.plot import save_plots

        plots = save_plots(plots_folder, library, settings, [verdict.id for verdict in result.wrong])
    if junit_file is not None:
        from replay.files import write_text
        from replay.junit import junit

        write_text(junit_file, junit(result, library, plots, run))
    if record_folder is not None:
        from replay.record import write_record

        write_record(record_folder, library, result)
    give_report(json_file, result.as_json(), lambda: display.console().print(display.score_view(result)))
    if not result.met:
        raise SystemExit(1 if result.failures else 3)


@main.command()
@click.argument("trace_file", metavar="TRACE", type=click.Path(path_type=Path))
@SETTINGS
@JSON
@refusing
def explain(trace_file: Path, settings_file: Path | None, json_file: Path | None) -> None:
    """Show the decisions over one TRACE (CSV or Parquet) as a timeline."""
    from replay import display
    from replay.engine import replay_trace
    from replay.library import find_entry
    from replay.score import explain_json, judge
    from replay.trace import read_trace

    check_output(json_file)
    trace = read_trace(trace_file)
    found = find_entry(trace_file)
    library, entry = found or (None, None)
    settings = _settings(settings_file, library, trace_file)
    replay = replay_trace(trace, settings)
    verdict = judge(entry, trace, replay) if entry else None
    give_report(
        json_file,
        explain_json(trace, replay, settings, verdict),
        lambda: display.console().print(display.explain_view(trace, replay, settings, entry, verdict)),
    )


@main.command()
@click.argument("folder", metavar="[OUT]", required=False, type=click.Path(path_type=Path))
@click.option("--families", default="all", show_default=True, metavar="NAME,...", help="Families of traces, in turn.")
@click.option("--count", required=True, type=int, metavar="N", help="Number of traces.")
@click.option("--seed", required=True, type=int, metavar="S", help="Same recipe and seed, same bytes.")
@click.option("--hours", type=float, metavar="H", help="Length of each harmless trace; 15 minutes without it.")
@click.option("--format", "form", type=click.Choice(["csv", "parquet"]), default="csv", show_default=True)
@click.option(
    "--jobs", type=click.IntRange(1, 256), metavar="J", help="Traces made side by side; one a processor without it."
)
@click.option(
    "--closed-loop", is_flag=True, help="Write no library: let the machines obey and tell what becomes of them."
)
@SETTINGS
@JSON
@working
@refusing
def synth(
    folder: Path | None,
    families: str,
    count: int,
    seed: int,
    hours: float | None,
    form: str,
    jobs: int | None,
    settings_file: Path | None,
    json_file: Path | None,
    address: str | None,
    local: int | None,
    *,
    closed_loop: bool,
) -> None:
    """Synthesise traces by physics and write them as a library into OUT.

    Labels come from what the bearings suffered, never from the logic. An
    interrupted run is taken up where it stopped; a folder with other files is
    refused. With --closed-loop (and --settings) each machine obeys the run
    permission instead, and the report says which damage was prevented.
    """
    from replay.synth import recipe, synthesise
    from replay.workers import one_by_one, workers

    wanted = recipe(families, count, seed, hours, form)
    if closed_loop:
        if address is not None or local is not None:
            raise refusal("synth", "", "--closed-loop runs in this process", "no --cluster and no --local-workers")
        _closed_loop(folder, wanted, settings_file, json_file)
        return
    if folder is None:
        raise refusal("synth", "OUT", "no folder to write the library into", "a new or empty folder")
    if settings_file is not None or json_file is not None:
        raise refusal("synth", "", "--settings and --json go with --closed-loop", "one or the other")
    with workers(address, local) as each, Progress(wanted.count, "synthesising") as progress:
        spread = None if each is one_by_one else each
        made = synthesise(folder, wanted, jobs or os.cpu_count() or 1, progress.advance, spread)
    click.echo(f"{folder}: {wanted.count} traces" if made else f"{folder}: this very library is already there")


def _closed_loop(folder: Path | None, wanted: "Recipe", settings_file: Path | None, json_file: Path | None) -> None:
    from replay import closed_loop, display

    if folder is not None:
        raise refusal("synth", "OUT", "--closed-loop writes no library", "--json FILE for its report", str(folder))
    check_output(json_file)
    settings = _settings(settings_file, None, Path("synth"))
    with Progress(wanted.count, "running") as progress:
        courses = closed_loop.run(wanted.traces(), wanted.seed, wanted.hours, settings, progress.advance)
    report = closed_loop.as_json(courses, settings, wanted.as_table())
    give_report(json_file, report, lambda: display.console().print(display.closed_loop_view(report)))


@main.command()
@click.argument("trace_file", metavar="TRACE", type=click.Path(path_type=Path))
@click.option(
    "-o", "--out", type=click.Path(path_type=Path), required=True, metavar="FILE", help="FILE.png, .svg or .pdf."
)
@SETTINGS
@refusing
def show(trace_file: Path, out: Path, settings_file: Path | None) -> None:
    """Draw one TRACE: pressures with the levels of the settings, integral, states, stops and label."""
    from replay.library import find_entry
    from replay.plot import check_plot, save_plot
    from replay.trace import read_trace

    check_plot(out)
    trace = read_trace(trace_file)
    found = find_entry(trace_file)
    library, entry = found or (None, None)
    save_plot(out, trace, _settings(settings_file, library, trace_file), entry)
    click.echo(str(out))


@main.command()
@click.option("--outer-radius", required=True, metavar="LENGTH", help='Largest radius oil has to reach: "55 mm".')
@click.option("--inner-radius", default="0 mm", show_default=True, metavar="LENGTH", help="Radius of entry.")
@click.option("--speed", required=True, metavar="SPEED", help='Shaft speed: "1450 rpm".')
@click.option("--density", default="900 kg/m^3", show_default=True, metavar="DENSITY", help="Of the oil.")
@refusing
def floor(outer_radius: str, inner_radius: str, speed: str, density: str) -> None:
    """Print the floor pressure of a crankshaft drilling.

    That is the net oil pressure below which the centrifugal head of the oil in
    the drilling keeps oil from the crankpins.
    """
    from replay.floor import floor_pressure_pa
    from replay.units import PSI_PA

    outer = _quantity("--outer-radius", outer_radius, "metre", '"55 mm"')
    inner = _quantity("--inner-radius", inner_radius, "metre", '"8 mm"')
    rpm = _quantity("--speed", speed, "revolution/minute", '"1450 rpm"')
    rho = _quantity("--density", density, "kilogram/metre**3", '"900 kg/m^3"')
    try:
        pascals = floor_pressure_pa(outer, inner, rpm, rho)
    except ValueError as error:
        raise refusal(
            "floor", "", str(error), "0 <= inner radius <= outer radius, speed and density not below 0"
        ) from None
    click.echo(f"floor pressure {pascals / 1000:.3f} kPa = {pascals / PSI_PA:.3f} psi = {pascals:.0f} Pa")


def _quantity(option: str, text: str, unit: str, example: str) -> float:
    from replay.units import UnitError, quantity

    try:
        return quantity(text, unit, example)
    except UnitError as error:
        raise refusal("floor", option, str(error), f"text such as {example}", text) from None


@main.command()
@click.argument("first", metavar="A", type=click.Path(path_type=Path))
@click.argument("second", metavar="B", type=click.Path(path_type=Path))
@click.option(
    "--library",
    "folder",
    type=click.Path(path_type=Path),
    metavar="LIBRARY",
    help="Library to score settings files on.",
)
@JSON
@refusing
def compare(first: Path, second: Path, folder: Path | None, json_file: Path | None) -> None:
    """Compare two scores A and B: JSON reports of `score`, or settings files and --library.

    Exit status 1 when B is worse: it misses a trace that A does not miss, has
    more nuisance trips in all, or a worse verdict on its acceptance. 0
    otherwise, 2 bad input.
    """
    from replay import comparison, display_comparison
    from replay.display import console

    check_output(json_file)
    reports = [_score_report(path, folder) for path in (first, second)]
    result = comparison.compare(reports[0], reports[1], (str(first), str(second)))
    view = display_comparison.comparison_view(result, str(first), str(second))
    give_report(json_file, result.as_json(), lambda: console().print(view))
    if result.worse:
        raise SystemExit(1)


def _score_report(path: Path, folder: Path | None) -> dict[str, Any]:
    """Return a score report that was written before, or that of a settings file on the library."""
    from replay.comparison import read_report

    if path.suffix.lower() != ".toml":
        return read_report(path)
    from replay.library import read_library
    from replay.score import score as score_library
    from replay.settings import read_settings

    if folder is None:
        raise refusal(path, "", "settings without a library to score them on", "--library LIBRARY, or two JSON reports")
    library, settings = read_library(folder), read_settings(path)
    with Progress(len(library.entries), "replaying") as progress:
        return score_library(library, settings, progress.advance).as_json()


@main.group()
def record() -> None:
    """Work with evidence records, which `score --record DIR` writes."""


@record.command("check")
@click.argument("folder", metavar="DIR", type=click.Path(path_type=Path))
@click.option(
    "--library", "library_folder", type=click.Path(path_type=Path), metavar="LIBRARY", help="Where its traces are now."
)
@refusing
def record_check(folder: Path, library_folder: Path | None) -> None:
    """Recompute the record in DIR and say whether it still holds, byte for byte.

    Exit status 0 it holds, 1 it does not, 2 bad input.
    """
    from replay.record import check_record

    found = check_record(folder, library_folder)
    for note in found.notes:
        click.echo(f"{folder}: {note}")
    for fault in found.broken:
        click.echo(f"{folder}: {fault}")
    click.echo(f"{folder}: " + ("the record holds, byte for byte" if found.holds else "the record does NOT hold"))
    if not found.holds:
        raise SystemExit(1)


for command in (
    *cli_firmware.COMMANDS,
    *cli_label.COMMANDS,
    *cli_guarantee.COMMANDS,
    *cli_triage.COMMANDS,
    *cli_import.COMMANDS,
    *cli_report.COMMANDS,
    *cli_bench.COMMANDS,
    *cli_tune.COMMANDS,
):
    main.add_command(command)


def _settings(given: Path | None, library: "Library | None", subject: Path) -> "Settings":
    """Return the settings named on the command line or by the library."""
    from replay.settings import read_settings

    return read_settings(settings_path(given, library, subject))
