"""A library as such: `demo` writes one to try everything on, `label` changes what is known of a trace."""

from pathlib import Path
from typing import TYPE_CHECKING

import click

from replay.cli.group import main
from replay.cli.options import PATH
from replay.ground.refusal import refusal, visible

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
@click.argument("identity", metavar="ID")
@click.option(
    "--must-trip",
    "window",
    nargs=2,
    metavar="EARLIEST DEADLINE",
    help='The first stop has to lie between: seconds of the trace\'s time_s, or "5 min".',
)
@click.option("--ride-through", is_flag=True, help="It has to come through without a stop.")
@click.option("--undecided", is_flag=True, help="Not known: counted apart, judged neither way.")
@click.option("--note", "why", metavar="TEXT", help="Why: how the label is known.")
@click.option("--by", "who", metavar="WHO", help="Who says so; without it, the name you are logged in by.")
def label(
    folder: Path,
    identity: str,
    window: tuple[str, str] | None,
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
    """
    from replay.library import label_text
    from replay.library.labels import relabel

    wanted = _wanted(window, ride_through=ride_through, undecided=undecided)
    edit = relabel(folder, identity, wanted, who or None, why or "no reason given")
    click.echo(f"{visible(identity)}: was {label_text(edit.before)}, now {label_text(edit.after)}")
    for line in edit.after.note.splitlines():
        click.echo(f"  {visible(line)}")


def _wanted(window: tuple[str, str] | None, *, ride_through: bool, undecided: bool) -> "MustTrip | str":
    from replay.library import MustTrip

    given = [window is not None, ride_through, undecided]
    if sum(given) != 1:
        accepted = "one of --must-trip EARLIEST DEADLINE, --ride-through, --undecided"
        raise refusal("label", "", f"{sum(given)} labels given", accepted)
    if window is None:
        return "ride_through" if ride_through else "undecided"
    return MustTrip(_seconds(window[0]), _seconds(window[1]))


def _seconds(text: str) -> float:
    """Return seconds from a plain number or from text such as "5 min"."""
    from replay.ground.units import UnitError, duration_ms

    try:
        return float(text)
    except ValueError:
        pass
    try:
        return duration_ms(text) / 1000
    except UnitError as error:
        raise refusal("label", "--must-trip", str(error), 'seconds, or text such as "5 min"', text) from None
