"""A machine file looked through, for the terminal."""

from rich.console import Group, RenderableType

from replay.display.table import Table
from replay.display.terminal import CAUTION, terms, view
from replay.ground.shown import asked, shown_in
from replay.ground.wording import duration
from replay.machine.check import ABSOLUTE, FITTED, HIGH, LOW, SHARE, Checked, Derived
from replay.machine.draw import solubility_told
from replay.machine.refrigerants import SOURCE

MEGA = 1e7  # Pa from which on they are shown as MPa
LONG_S = 120.0  # from which on a time is told in minutes
MANY, THOUSAND = 10, 1000.0
STATUSES = ("measured", "published", FITTED, "assumed")


def machine_view(checked: Checked) -> RenderableType:
    """Return the report of `machine check`, in the units of the settings where there are any."""
    with shown_in(asked() if checked.settings is None else checked.settings.units):
        return _view(checked)


def _view(checked: Checked) -> RenderableType:
    machine = checked.machine
    rows = [
        (one.name, *(_figure(one, value, machine.altitude_m) for value in (one.low, one.middle, one.high)), one.text)
        for one in checked.derived
    ]
    heads = ("figure", f"{LOW:g} %", "50 %", f"{HIGH:g} %", "what it is")
    parts = [Table("What follows, over the machines drawn", heads, rows, texts=frozenset({4}), wide=frozenset({4}))]
    keys = {its: [path for path, found in checked.status.items() if found == its] for its in STATUSES}
    told = [(its, _keys(paths)) for its, paths in keys.items() if paths or its != FITTED]
    closing: list[RenderableType] = [Group("Where the values come from:", terms(told))]
    if checked.left_out:
        closing.append(Group("Families left out:", terms(checked.left_out.items())))
    if checked.settings is not None:
        faults = [("-", fault) for fault in checked.contradictions]
        closing.append(Group(f"Against {checked.settings.file}:", terms(faults or [("-", "no contradiction found")])))
    head = f"{machine.file}: {machine.name}, digest {machine.digest[:12]}"
    return view(
        f"{head}\nrefrigerant by {SOURCE}\nsolubility by {solubility_told(machine.stated)}", *parts, *closing, CAUTION
    )


def _keys(paths: list[str]) -> str:
    """Return keys in words; behaviour that is wholly left out in one."""
    behaviour = [path for path in paths if path.startswith("behaviour.")]
    rest = [path for path in paths if path not in behaviour]
    return ", ".join(rest + (behaviour if len(behaviour) < MANY else [f"{len(behaviour)} of [behaviour]"])) or "none"


def _figure(one: Derived, value: float, altitude_m: float) -> str:
    if one.unit == ABSOLUTE:
        return asked().suction(value, altitude_m)
    if one.unit == "Pa":
        return f"{value / 1e6:.3g} MPa" if value >= MEGA else asked().net(value)
    if one.unit == "Pa s":
        return f"{1e3 * value:.3g} mPa s"
    if one.unit == "s" and value >= LONG_S:
        return duration(1000.0 * value)
    if one.unit == SHARE:
        return f"{100.0 * value:.1f} %"
    number = f"{value:.3g}" if value < THOUSAND else f"{value:.0f}"
    return f"{number} {one.unit}".rstrip()
