"""The command `synth`: traces made by physics. Attached by `cli`."""

import os
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from replay.cli.options import JSON, SETTINGS, check_output, chosen_settings, give_report
from replay.cli.progress import Progress
from replay.cli.refusing import refusing
from replay.cli.working import working
from replay.ground.refusal import refusal

if TYPE_CHECKING:
    from replay.synth import Recipe


@click.command(short_help="Synthesise traces by physics, as a library.")
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
    from replay.engine.workers import one_by_one, workers
    from replay.synth import recipe, synthesise

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
    from replay.display.course import closed_loop_view
    from replay.display.terminal import console
    from replay.synth import closed_loop

    if folder is not None:
        raise refusal("synth", "OUT", "--closed-loop writes no library", "--json FILE for its report", str(folder))
    check_output(json_file)
    settings = chosen_settings(settings_file, None, Path("synth"))
    with Progress(wanted.count, "running") as progress:
        courses = closed_loop.run(wanted.traces(), wanted.seed, wanted.hours, settings, progress.advance)
    report = closed_loop.as_json(courses, settings, wanted.as_table())
    give_report(json_file, report, lambda: console().print(closed_loop_view(report)))


COMMANDS: tuple[Any, ...] = (synth,)
