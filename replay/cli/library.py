"""Libraries: `demo` writes one to try everything on, `synth` one made by physics, `label` changes a label."""

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from replay.cli.group import main
from replay.cli.options import JSON, PATH, SETTINGS, check_output, families, give_report, ids
from replay.cli.working import working
from replay.ground.refusal import refusal, visible
from replay.ground.wording import counted

if TYPE_CHECKING:
    from replay.library import MustTrip


@main.command()
@click.argument("folder", metavar="OUT", type=PATH)
def demo(folder: Path) -> None:
    """Write the demo library into OUT, to try the commands on.

    Its site, machines, traces and settings are invented: take no value of them over.
    """
    from replay.library.demo import write_demo

    write_demo(folder)
    click.echo(f"{folder}: the demo library; `lubetrip score {folder}` judges its settings")


@main.command(short_help="Give a trace of LIBRARY another label.")
@click.argument("folder", metavar="LIBRARY", type=PATH)
@click.argument("identity", metavar="ID", shell_complete=ids)
@click.option(
    "--must-trip",
    "windows",
    nargs=2,
    multiple=True,
    metavar="EARLIEST DEADLINE",
    help='A stop has to lie between: seconds of the trace\'s time_s, or "5 min". Again for each further fault.',
)
@click.option("--likely", multiple=True, metavar="TIME", help="By when a likely bearing would be spoilt: one a window.")
@click.option("--latest", multiple=True, metavar="TIME", help="By when the most lasting one would be: one a window.")
@click.option("--ride-through", is_flag=True, help="It has to come through without a stop.")
@click.option("--undecided", is_flag=True, help="Not known: counted apart, judged neither way.")
@click.option("--note", "why", metavar="TEXT", help="Why: how the label is known.")
@click.option("--by", "who", metavar="WHO", help="Who says so; without it, the name you are logged in by.")
def label(
    folder: Path,
    identity: str,
    windows: tuple[tuple[str, str], ...],
    likely: tuple[str, ...],
    latest: tuple[str, ...],
    why: str | None,
    who: str | None,
    *,
    ride_through: bool,
    undecided: bool,
) -> None:
    """Give the trace ID of LIBRARY another label in its library.toml.

    A label comes from the inspection of the machine or from how the trace was
    made, never from the logic that it judges. Who says so and why is added to
    the trace's note, with the day. Look at the trace with `lubetrip show`.

    A verdict goes by DEADLINE, the careful figure; --likely and --latest say how
    sure it is, and are told beside it.
    """
    from replay.library import label_text
    from replay.library.labels import relabel

    wanted = _wanted(windows, likely, latest, ride_through=ride_through, undecided=undecided)
    edit = relabel(folder, identity, wanted, who or None, why or "no reason given")
    click.echo(f"{visible(identity)}: was {label_text(edit.before)}, now {label_text(edit.after)}")
    for line in edit.after.note.splitlines():
        click.echo(f"  {visible(line)}")


def _wanted(
    windows: tuple[tuple[str, str], ...],
    likely: tuple[str, ...],
    latest: tuple[str, ...],
    *,
    ride_through: bool,
    undecided: bool,
) -> "tuple[MustTrip, ...] | str":
    from replay.library import MustTrip

    given = [bool(windows), ride_through, undecided]
    if sum(given) != 1:
        accepted = "one of --must-trip EARLIEST DEADLINE, --ride-through, --undecided"
        raise refusal("label", "", f"{sum(given)} labels given", accepted)
    bands = {"--likely": likely, "--latest": latest}
    for option, times in bands.items():
        if times and len(times) != len(windows):
            rule = f"given {len(times)} times beside {len(windows)} of --must-trip"
            raise refusal("label", option, rule, f"{option} once for each --must-trip, in their order")
    if not windows:
        return "ride_through" if ride_through else "undecided"
    pairs = [(_second("--must-trip", earliest), _second("--must-trip", deadline)) for earliest, deadline in windows]
    ends = [(_seconds(option, times) or [None] * len(windows)) for option, times in bands.items()]
    return tuple(MustTrip(*pair, *band) for pair, *band in zip(pairs, *ends, strict=True))


def _seconds(option: str, texts: tuple[str, ...]) -> list[float | None]:
    return [_second(option, text) for text in texts]


def _second(option: str, text: str) -> float:
    """Return seconds from a plain number or from text such as "5 min"."""
    from replay.ground.units import UnitError, duration_ms

    try:
        return float(text)
    except ValueError:
        pass
    try:
        return duration_ms(text) / 1000
    except UnitError as error:
        raise refusal("label", option, str(error), 'seconds, or text such as "5 min"', text) from None


@main.command(short_help="Remove traces from a library.")
@click.argument("library", type=PATH)
@click.argument("identities", metavar="ID...", nargs=-1, required=True, shell_complete=ids)
@click.option("--by", "who", metavar="WHO", help="Who says so; the name of the login without it.")
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
@click.option("--format", "form", type=click.Choice(["csv", "parquet"]), default="csv", show_default=True)
@click.option(
    "--closed-loop", is_flag=True, help="Write no library: let the machines obey and tell what becomes of them."
)
@SETTINGS
@JSON
@working
def synth(
    folder: Path | None, settings: Path | None, json_file: Path | None, *, closed_loop: bool, **options: Any
) -> None:
    """Synthesise traces by physics and write them as a library into OUT.

    Labels come from what the bearings suffered, never from the logic. An
    interrupted run is taken up where it stopped; a folder with other files is
    refused. With --closed-loop (and --settings) each machine obeys the run
    permission instead, and the report says which damage was prevented.
    """
    from replay.synth import recipe, run_closed_loop, synthesise

    wanted = recipe(
        **{name: options.pop(name) for name in ("families", "count", "seed", "hours", "form")},
        **{name: options.pop(name) for name in ("upsets_per_hour", "loggers")},
    )
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
    told = counted(wanted.count, "trace") if made else "this very library is already there"
    click.echo(f"{folder}: {told}")
