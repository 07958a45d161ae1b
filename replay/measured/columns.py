"""The columns a profile names, found in a source; and the unit of each, from profile and source together."""

import difflib
from collections.abc import Callable
from pathlib import Path

from replay.ground.refusal import LONGEST, refusal
from replay.ground.units import UnitError
from replay.measured.profile import Channel, Flag, Profile
from replay.measured.profile_keys import Column
from replay.measured.unit_text import PRESSURE, Unit, differing, factor_in, read_unit, unit_in_name, without_factor


def find(path: Path, profile: Profile, names: list[str], column: Column) -> int:
    """Return the place of a column, from 0. Raises Refusal that says which columns there are."""
    if isinstance(column, int):
        if column > len(names):
            raise refusal(path, f"column {column}", "no such column", f"1 to {len(names)}")
        return column - 1
    places = [place for place, name in enumerate(names) if name == column]
    if len(places) == 1:
        return places[0]
    if places:
        numbers = " or ".join(str(place + 1) for place in places)
        raise refusal(
            path, "header", f"column '{column}' appears {len(places)} times", f"its number: column = {numbers}"
        )
    close = difflib.get_close_matches(column, names, 1, 0.5)
    known = ", ".join(name or "(no name)" for name in names)
    hint = f"'{close[0]}'? " if close else ""
    accepted = f"{hint}The file has: {known[: 4 * LONGEST]}"
    raise refusal(path, "header", f"no column '{column}', which {profile.path.name} names", accepted)


def places(path: Path, profile: Profile, names: list[str]) -> dict[str, int]:
    """Return the place of each signal's column. Raises Refusal."""
    return {signal: find(path, profile, names, column) for signal, column in profile.columns.items()}


def units(path: Path, profile: Profile, named: Callable[[str], tuple[str, str]]) -> dict[str, Unit]:
    """Return the unit of each channel; named: the name of its column, and its unit in the source or "".

    Raises Refusal.
    """
    kinds = profile.kinds.items()
    return {signal: _unit_of(path, profile, profile.signals[signal], kind, *named(signal)) for signal, kind in kinds}


def _unit_of(path: Path, profile: Profile, channel: Channel | Flag, kind: str, name: str, own: str) -> Unit:
    """Return the unit of a channel, with its reference where it is a pressure.

    name: the column's name; own: what the unit row or the source says of it, or "". Raises Refusal where profile
    and source contradict each other, or neither says it.
    """
    where = f"[{channel.signal}]"
    factor = factor_in(name) or factor_in(own)
    if factor and isinstance(channel, Channel) and channel.scale is None:
        rule = f"missing, and {path.name} says \"{factor}\" beside the unit of column '{name}'"
        raise refusal(
            profile.path, f"{where} scale", rule, "what one count is in the unit, such as 0.1; 1 if it is one"
        )
    in_name = unit_in_name(name, kind)
    own = without_factor(own) or in_name
    try:
        seen = read_unit(own, kind) if own else None
    except UnitError:
        seen = None
    if seen and in_name and differing(seen, read_unit(in_name, kind)):
        if not channel.unit:
            rule = f"missing, and {path.name} has two for column '{name}': {in_name} in the name, {own} beside it"
            raise refusal(profile.path, f"{where} unit", rule, f'"{in_name}" or "{own}"')
        if not differing(read_unit(channel.unit, kind), read_unit(in_name, kind)):
            seen = None
    below = getattr(channel, "below_zero", None)
    if below and channel.unit and seen and not differing(read_unit(below, kind), seen):
        seen = None  # of the two units of a compound gauge the name ends with this one
    stated = read_unit(channel.unit, kind) if channel.unit else None
    if stated and seen and differing(stated, seen):
        rule = f"contradicts {path.name}, where column '{name}' is in {own}"
        raise refusal(profile.path, f"{where} unit", rule, f'"{own}", or another column', channel.unit)
    unit = stated or seen
    if unit is None:
        rule = f"neither stated nor seen in {path.name} for column '{name}'"
        raise refusal(profile.path, f"{where} unit", rule, f"a unit of {kind}")
    return _with_reference(path, profile, channel, unit, seen) if kind == PRESSURE else unit


def _with_reference(path: Path, profile: Profile, channel: Channel | Flag, unit: Unit, seen: Unit | None) -> Unit:
    """Complete a pressure unit with what it counts from."""
    where = f"[{channel.signal}] reference"
    stated = getattr(channel, "reference", None)
    marked = unit.reference or (seen.reference if seen else "")
    if stated and marked and stated != marked:
        rule = f"contradicts {path.name}, whose unit is marked {marked}"
        raise refusal(profile.path, where, rule, f'"{marked}", or another column', stated)
    reference = stated or marked
    if not reference:
        accepted = '"gauge", "absolute" or "vacuum"' + (', or "difference"' if channel.signal == "oil_pressure" else "")
        rule = f"neither stated nor marked in {path.name}: gauge or absolute"
        raise refusal(profile.path, where, rule, accepted)
    if reference == "difference" and channel.signal != "oil_pressure":
        raise refusal(profile.path, where, "only an oil pressure is logged as a difference", "another column")
    if reference in ("gauge", "vacuum") and profile.altitude_m is None:
        rule = f"missing: {channel.signal} is {reference} and counts from the atmosphere of the site"
        raise refusal(profile.path, "[site] altitude", rule, 'text such as "40 m"')
    return Unit(unit.kind, unit.scale, unit.offset, reference, _below_zero(profile, channel, reference))


def _below_zero(profile: Profile, channel: Channel | Flag, reference: str) -> float:
    """Return the scale of the readings below zero of a compound gauge; 0 where they are like the others."""
    stated = getattr(channel, "below_zero", None)
    if not stated:
        return 0.0
    where, below = f"[{channel.signal}] below_zero", read_unit(stated, PRESSURE)
    if reference != "gauge":
        rule = f"the pressure is {reference}, and only a gauge pressure goes below zero into vacuum"
        raise refusal(profile.path, where, rule, 'reference = "gauge", or no such key', stated)
    if below.reference not in ("", "gauge", "vacuum"):
        raise refusal(profile.path, where, f"{below.reference} cannot be below zero", '"inHg"', stated)
    return below.scale
