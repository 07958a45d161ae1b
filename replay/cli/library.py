"""Libraries: `demo` writes one to try everything on, `synth` one made by physics, `remove` takes traces out."""

from pathlib import Path
from typing import Any

import click

from replay.cli.group import main
from replay.cli.options import JSON, PATH, SETTINGS, check_output, families, give_report, ids
from replay.cli.working import working
from replay.ground.refusal import refusal


@main.command()
@click.argument("folder", metavar="OUT", type=PATH)
def demo(folder: Path) -> None:
    """Write the demo library into OUT, to try the commands on.

    Its site, machines, traces and settings are invented: do not copy its values.
    """
    from replay.library.demo import write_demo

    write_demo(folder)
    click.echo(f"{folder}: the demo library; `lubetrip score {folder}` judges its settings")


@main.command(short_help="Remove traces from a library.")
@click.argument("library", type=PATH)
@click.argument("identities", metavar="ID...", nargs=-1, required=True, shell_complete=ids)
@click.option("--by", "who", metavar="WHO", help="Who says so; without it, your login name.")
@click.option("--note", "why", required=True, metavar="TEXT", help="Why.")
def remove(library: Path, identities: tuple[str, ...], **options: Any) -> None:
    """Remove the traces ID... of a LIBRARY, their files included.

    What their labels and notes were, who removed them and why, is kept in LIBRARY/removed.toml.
    """
    from replay.library.removal import remove_traces

    for entry in remove_traces(library, identities, **options):
        click.echo(f"{library}: {entry.id} removed, its label kept in removed.toml")


@main.command(short_help="Synthesise traces by physics, as a library.")
@click.argument("folder", metavar="[OUT]", required=False, type=PATH)
@click.option(
    "--families",
    default="all",
    show_default=True,
    metavar="NAME,...",
    shell_complete=families,
    help="Families of traces, in turn.",
)
@click.option("--count", required=True, type=int, metavar="N", help="Number of traces.")
@click.option("--seed", required=True, type=int, metavar="S", help="Same recipe and seed, same bytes.")
@click.option("--hours", type=float, metavar="H", help="Length of each harmless trace; 15 minutes without it.")
@click.option(
    "--upsets-per-hour",
    type=float,
    default=4.0,
    show_default=True,
    metavar="U",
    help="How often something that a rule could take for a fault is done to a harmless machine; ordinary duty between.",
)
@click.option(
    "--loggers",
    type=click.Choice(["controller", "field"]),
    default="controller",
    show_default=True,
    help="Who samples: field loggers do so every 5 to 60 s, too slowly to judge a protection by.",
)
@click.option("--machine", type=PATH, metavar="FILE", help="Machine file: all traces are of that machine.")
@click.option("--format", "form", type=click.Choice(["csv", "parquet"]), default="csv", show_default=True)
@click.option(
    "--closed-loop", is_flag=True, help="Write no library: let the machines obey, and report what becomes of them."
)
@SETTINGS
@JSON
@working
def synth(
    folder: Path | None, settings: Path | None, json_file: Path | None, *, closed_loop: bool, **options: Any
) -> None:
    """Synthesise traces by physics and write them as a library into OUT.

    Labels come from what the bearings suffered, never from the logic. An
    interrupted run carries on where it stopped; a folder with other files is
    refused. With --closed-loop (and --settings) each machine obeys the run
    permission instead, and the report says which damage was prevented.
    """
    from replay.display.labels import labelled
    from replay.library import read_library
    from replay.synth import recipe, run_closed_loop, synthesise

    wanted = recipe(
        **{name: options.pop(name) for name in ("families", "count", "seed", "hours", "form")},
        **{name: options.pop(name) for name in ("upsets_per_hour", "loggers", "machine")},
    )
    if wanted.machine is not None:
        for family, reason in wanted.machine.left_out().items():
            click.echo(f"left out: {family}: {reason}", err=True)
    if closed_loop:
        from replay.display.course import closed_loop_view

        if folder is not None:
            raise refusal("synth", "OUT", "--closed-loop writes no library", "--json FILE for its report", str(folder))
        check_output(json_file)
        obeyed = run_closed_loop(wanted, settings, **options)
        give_report(json_file, obeyed.as_json(), lambda: closed_loop_view(obeyed))
        return
    if folder is None:
        raise refusal("synth", "OUT", "no folder to write the library into", "a new or empty folder")
    if settings is not None or json_file is not None:
        raise refusal("synth", "", "--settings and --json go with --closed-loop", "one or the other")
    made = synthesise(folder, wanted, **options)
    there = "" if made else "this very library is already there: "
    click.echo(f"{folder}: {there}{labelled(read_library(folder))}")
