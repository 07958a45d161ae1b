"""The report of `machine sensitivity` for the terminal."""

from rich.console import Group, RenderableType

from replay.display.table import Table
from replay.display.terminal import CAUTION, terms, view
from replay.fitting.measuring import Told
from replay.fitting.sensitivity import Sensitivity
from replay.ground.wording import tenths

SHOWN = 15


def sensitivity_view(found: Sensitivity) -> RenderableType:
    """Return the values that labels hang on, and what to measure next."""
    rows = [
        (one.moved.path, f"{one.moved.factor:g}", str(one.flips), str(one.undecided), tenths(one.median_s))
        for one in found.effects[:SHOWN]
        if one.changed or one.median_s > 0.0
    ]
    heads = ("value", "factor", "labels flipped", "into or out of undecided", "deadlines move by s, median")
    still = sum(not one.changed and not one.failed for one in found.effects)
    failed = {one.moved.path: one.failed for one in found.effects if one.failed}
    its = found.measuring
    next_ = [("-", f"{one.name}: {_settles(one)}") for one in its.told]
    head = (
        f"What to measure next: of {its.cases} labels {its.open} are open over all machines that may be yours. "
        f"At most {100 * its.most:.0f} % of these could be settled; the rest lies in the band of the bearings."
    )
    closing: list[RenderableType] = [Group(head, terms(next_))]
    if failed:
        closing.append(Group("Could not be moved in every case:", terms(failed.items())))
    return view(
        f"{found.machine.file}: {found.machine.name}, {found.cases} cases, {found.undecided} undecided as they are",
        Table("Assumed values moved by 30 %, the worst first", heads, rows),
        f"{still} of {len(found.effects)} moves change no label.",
        *closing,
        CAUTION,
    )


def _settles(one: Told) -> str:
    low, high = (max(0.0, one.settles + way * one.error) for way in (-1.0, 1.0))
    return f"would settle {100 * max(0.0, one.settles):.0f} % ({100 * low:.0f} to {100 * high:.0f})"
