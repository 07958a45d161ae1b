"""Which families of traces make sense on a machine, and why the others do not.

A family is left out where the machine lacks what it is about, or where no draw from the file's ranges could do what it
does. Whether bearings come to harm is never asked here: that is the label's affair.
"""

import itertools
from collections.abc import Callable, Mapping, Sequence
from typing import Any, NoReturn

from replay.machine.draw import VARIED, Figures, Fixed, site_of
from replay.machine.keys import Range
from replay.physics import OILS
from replay.physics.constants import REFERENCE_VISCOSITY_PA_S
from replay.physics.drawing import ANY, Draw, Site
from replay.physics.duty import Length
from replay.physics.families import FAMILIES, FAULTS, HARMLESS

EDGES = (0.0, 1.0)
NEAR_ATMOSPHERE_PA: Range = (80e3, 110e3)  # what families that throttle to about 0 psi gauge draw from


class _AskedError(Exception):
    """Tells which oils a family asks for."""

    def __init__(self, oils: Sequence[str]) -> None:
        """Take the names of the oils."""
        super().__init__(oils)
        self.oils = oils


def oils_of(family: str) -> Sequence[str]:
    """Return the names of the invented oils that a family may be run with."""

    def ask(_draw: Draw, oils: Sequence[str]) -> NoReturn:
        raise _AskedError(oils)

    draw = Fixed(0.5)
    draw.sites = ask
    try:
        if family in FAULTS:
            FAULTS[family](draw)
        else:
            HARMLESS[family](draw, Length(900.0, 900.0))
    except _AskedError as asked:
        return asked.oils
    raise AssertionError(f"{family} draws no site")


def left_out(stated: Mapping[str, Any]) -> dict[str, str]:
    """Return the families that are left out, each with the reason; stated: as a `MachineFile` has it."""
    sites = _corners(stated)
    found: dict[str, str] = {}
    for family in FAMILIES:
        foaming = {OILS[name].foaming for name in oils_of(family)}
        if "oil.behaviour" in stated and foaming != {True, False}:
            wanted = "foaming" if True in foaming else "still"
            if stated["oil.behaviour"] != wanted:
                found[family] = f"the oil is {stated['oil.behaviour']}, and this takes one that is {wanted}"
                continue
        reason = NEEDS[family](stated, sites) if family in NEEDS else ""
        if reason:
            found[family] = reason
    return found


def _corners(stated: Mapping[str, Any]) -> list[Site]:
    """Return sites at the ends of what decides how deep a machine pulls: temperatures, clearance, leakage."""
    found = []
    ranges = Figures(stated, Fixed(0.5))
    paths = ("site.evaporating", "site.condensing", "compressor.clearance")
    for ends in itertools.product((0, 1), repeat=len(paths)):
        at = {path: (ranges.range_of(path)[end],) * 2 for path, end in zip(paths, ends, strict=True)}
        found += [site_of({**stated, **at}, Fixed(share), ANY, "") for share in EDGES]
    return found


Need = Callable[[Mapping[str, Any], list[Site]], str]  # the reason to leave a family out, '' for none


def _holds(sites: list[Site], opening: str, of: Callable[[Site], float]) -> str:
    """Return why suction cannot be held where a family wants it, by the valve of this name."""
    for site in sites:
        wanted = of(site)
        try:
            getattr(site, f"{opening}_opening")(site.schedule(), wanted)
        except ValueError:
            return (
                f"suction of {wanted / 1e3:.0f} kPa absolute cannot be held: the machine runs at "
                f"{site.suction_pa / 1e3:.0f} kPa and pulls no lower than {site.limiting_vacuum_pa / 1e3:.0f} kPa"
            )
    return ""


def _near_atmosphere(_stated: Mapping[str, Any], sites: list[Site]) -> str:
    for pascals in NEAR_ATMOSPHERE_PA:
        if reason := _holds(sites, "throttle", lambda _site, at=pascals: at):  # type: ignore[misc]
            return reason
    return ""


def deepest_pa(site: Site) -> float:
    """Return the lowest suction that the families of a deep vacuum draw."""
    return 1.25 * site.limiting_vacuum_pa


def _deep(_stated: Mapping[str, Any], sites: list[Site]) -> str:
    for site in sites:
        if max(0.9 * site.dry_pump_limit_pa, 1.4 * site.limiting_vacuum_pa) >= 0.95 * site.suction_pa:
            return (
                f"no vacuum: it runs at {site.suction_pa / 1e3:.0f} kPa and pulls no lower "
                f"than {site.limiting_vacuum_pa / 1e3:.0f} kPa"
            )
    return _holds(sites, "liquid", deepest_pa) or _holds(sites, "throttle", deepest_pa)


def _screen(_stated: Mapping[str, Any], sites: list[Site]) -> str:
    for site in sites:
        clean_pa = site.behaviour.screen_drop_pa * site.oil_viscosity_pa_s / REFERENCE_VISCOSITY_PA_S
        if clean_pa > 0.7 * site.behaviour.inlet_share * site.suction_pa:
            return (
                f"its clean oil screen takes {clean_pa / 1e3:.0f} kPa of a suction of {site.suction_pa / 1e3:.0f} kPa"
            )
    return ""


def _pulled_low(_stated: Mapping[str, Any], sites: list[Site]) -> str:
    return _holds(sites, "liquid", lambda site: 0.5 * site.suction_pa)


def _throttled(stated: Mapping[str, Any], sites: list[Site]) -> str:
    return _near_atmosphere(stated, sites) or _deep(stated, sites)


def _unloads(stated: Mapping[str, Any], _sites: list[Site]) -> str:
    return "it has no unloading" if stated.get("compressor.unloading") == () else ""


def _varies_speed(stated: Mapping[str, Any], _sites: list[Site]) -> str:
    if "compressor.speed" not in stated:
        return ""
    low, high = stated["compressor.speed"]
    return "" if low < VARIED * high else "its speed is the mains' own"


def _has_neighbours(stated: Mapping[str, Any], _sites: list[Site]) -> str:
    return "" if stated.get("site.neighbours", True) else "no other machine shares its crankcase line"


def _one_way(stated: Mapping[str, Any], _sites: list[Site]) -> str:
    return "its oil pump delivers either way round" if stated.get("compressor.reversible_pump", False) else ""


NEEDS: dict[str, Need] = {
    "expansion-valve-stuck": _deep,
    "suction-throttled": _throttled,
    "foaming-oil-lost": _screen,
    "oil-drawn-to-neighbour": _has_neighbours,
    "level-shifts": _has_neighbours,
    "rotation-reversed": _one_way,
    "pump-down-and-stop": _pulled_low,
    "suction-throttled-for-a-while": _near_atmosphere,
    "unloader-steps": _unloads,
    "speed-ramps": _varies_speed,
    "speed-low-for-a-while": _varies_speed,
}
