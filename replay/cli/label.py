"""`label`: what reviewers say of traces goes into a library: by command, from a file; and a page to say it on."""

from pathlib import Path
from typing import Any

import click

from replay.cli.group import main
from replay.cli.options import PATH, SETTINGS, ids, tell_written
from replay.ground.refusal import refusal, visible
from replay.ground.wording import counted

QUEUES = ("unlabelled", "second", "differ", "all")


@main.command(short_help="Label traces of LIBRARY: by command, from a file, on a page.")
@click.argument("folder", metavar="LIBRARY", type=PATH)
@click.argument("identities", metavar="[ID]...", nargs=-1, shell_complete=ids)
@click.option(
    "--must-trip",
    "windows",
    nargs=2,
    multiple=True,
    metavar="EARLIEST DEADLINE",
    help='Window in which a stop has to fall: seconds of time_s, "5 min", or wall-clock "2026-03-01 10:05:30".'
    " Repeat for each further fault.",
)
@click.option(
    "--likely", multiple=True, metavar="TIME", help="When a typical bearing would be spoilt, once for each window."
)
@click.option(
    "--latest", multiple=True, metavar="TIME", help="When the longest-lasting one would be, once for each window."
)
@click.option("--ride-through", is_flag=True, help="The machine has to run on without a stop.")
@click.option("--undecided", is_flag=True, help="Not known: listed separately, judged neither way.")
@click.option("--family", metavar="NAME", help="Label every trace of this family, besides those named.")
@click.option("--inspection", default="", metavar="TEXT", help="What was found when the machine was opened.")
@click.option("--settle", is_flag=True, help="This label settles a disagreement between reviewers.")
@click.option("--note", "why", metavar="TEXT", help="The reason: how you know.")
@click.option("--by", "who", metavar="WHO", help="Who gives the label. Default: your login name.")
@click.option("--from", "file", type=PATH, metavar="FILE", help="Take labels from a page (.json) or a table (.csv).")
@click.option("--page", type=PATH, metavar="FILE.html", help="Write a page for labelling in a browser, offline.")
@click.option(
    "--queue",
    type=click.Choice(QUEUES),
    default=QUEUES[0],
    show_default=True,
    help="Traces the page asks about: unlabelled, labelled by one other person, disputed, or all.",
)
@click.option(
    "--machine",
    type=PATH,
    metavar="FILE",
    help="Machine file whose journals are shown beside the curves of the page. Default: an invented machine.",
)
@SETTINGS
def label(
    folder: Path,
    identities: tuple[str, ...],
    file: Path | None,
    page: Path | None,
    queue: str,
    machine: Path | None,
    settings: Path | None,
    family: str | None,
    **given: Any,
) -> None:
    """Label the traces ID... of LIBRARY in its library.toml, beside the labels of other reviewers.

    With --page, the page asks about these traces only.

    Without ID, --family, --from or --page, prints what the labels rest on, how
    far reviewers agree, and where they differ.

    A label comes from the inspection of the machine or from how the trace was
    made, never from the logic that it judges. Who gave it, when and why is added
    to the trace's note. A trace on which reviewers differ is undecided until one
    of them changes their label or a label is given with --settle.

    The verdict goes by DEADLINE, the cautious figure; --likely and --latest say
    how uncertain it is, and are shown beside it.
    """
    wanted = bool(given["windows"]) + given["ride_through"] + given["undecided"]
    ways = [bool(family or wanted or (identities and page is None)), file is not None, page is not None]
    if sum(ways) > 1:
        accepted = "ID... or --family with a label, --from, or --page with or without ID..."
        raise refusal("label", "", "more than one way to label", accepted)
    if page is not None:
        _page(folder, page, queue, machine, settings, given["who"], identities)
    elif file is not None:
        _take(folder, file, given["who"])
    elif any(ways):
        _give(folder, identities, family, given)
    else:
        from replay.display.labels import labels_view
        from replay.display.terminal import console
        from replay.library import read_library

        console().print(labels_view(read_library(folder)))


def _give(folder: Path, identities: tuple[str, ...], family: str | None, given: dict[str, Any]) -> None:
    from replay.library.labels import relabel

    told = (_wanted(given), given["who"] or None, given["why"] or "no reason given")
    more = {"family": family, "inspection": given["inspection"], "settles": given["settle"]}
    _tell(relabel(folder, list(identities), *told, **more))


def _take(folder: Path, file: Path, who: str | None) -> None:
    from replay.library.label_files import take_labels

    edits = take_labels(folder, file, who or None)
    _tell([edit for edit in edits if edit.before != edit.after])
    same = sum(edit.before == edit.after for edit in edits)
    click.echo(f"{file}: {len(edits) - same} labels taken in" + (f", {same} there already" if same else ""))


def _tell(edits: list[Any]) -> None:
    from replay.display.labels import relabelled

    for edit in edits:
        identity = visible(edit.after.id)
        click.echo(f"{identity}: {relabelled(edit.before, edit.after)}")
        lines = edit.after.note.splitlines() if len(edits) == 1 else edit.after.note.splitlines()[-1:]
        for line in lines:
            click.echo(f"  {visible(line)}")
        if edit.after.differ:
            click.echo("  reviewers differ: undecided until one of them settles it (lubetrip label ... --settle)")


def _page(
    folder: Path,
    page: Path,
    queue: str,
    machine: Path | None,
    settings: Path | None,
    who: str | None,
    ids: tuple[str, ...],
) -> None:
    from replay.cli.working import Progress
    from replay.machine import read_machine
    from replay.page.labelling import write_label_page

    described = None if machine is None else read_machine(machine)
    made = write_label_page(page, folder, settings, queue=queue, who=who, machine=described, ids=ids, progress=Progress)
    told = counted(made.traces, "trace")
    size = len(made.text.encode("utf-8", "backslashreplace")) / 1e6
    tell_written(
        page,
        f"{page}: {told}, {size:.1f} MB; open it in a browser; `label --from` takes its result",
    )


def _wanted(given: dict[str, Any]) -> "str | list[tuple[str | None, ...]]":
    windows = given["windows"]
    labels = [bool(windows), given["ride_through"], given["undecided"]]
    if sum(labels) != 1:
        accepted = "one of --must-trip EARLIEST DEADLINE, --ride-through, --undecided"
        raise refusal("label", "", f"{sum(labels)} labels given", accepted)
    bands = {"--likely": given["likely"], "--latest": given["latest"]}
    for option, times in bands.items():
        if times and len(times) != len(windows):
            rule = f"given {len(times)} times beside {len(windows)} of --must-trip"
            raise refusal("label", option, rule, f"{option} once for each --must-trip, in their order")
    if not windows:
        return "ride_through" if given["ride_through"] else "undecided"
    ends = [times or (None,) * len(windows) for times in bands.values()]
    return [(*pair, *band) for pair, *band in zip(windows, *ends, strict=True)]
