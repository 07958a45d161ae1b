"""Settings in both unit systems: kPa, bar and m; psi, inHg and ft."""

from protect import ranges
from replay.display.table import Table
from replay.ground.shown import Units
from replay.ground.units import atmosphere_pa, quantity
from replay.ground.wording import NOTHING
from replay.settings import Settings
from replay.settings.file import KEYS, PLACES, key_of

DURATIONS = ((86_400_000, "d"), (3_600_000, "h"), (60_000, "min"), (1000, "s"))


def settings_table(settings: Settings) -> Table:
    """Return every setting the logic runs with, in the order of the file, and the altitude of the site."""
    atmosphere = atmosphere_pa(settings.altitude_m)
    rows = []
    for section, keys in KEYS.items():
        for key in keys:
            stem = key.removesuffix("range")
            places = [PLACES[name] for name in (key, stem + "least", stem + "most") if name in PLACES]
            if places:
                shown = [_both(section, place, settings.values[place], atmosphere) for place in places]
                rows.append((f"{section}.{key}", *(" to ".join(side) for side in zip(*shown, strict=True))))
    rows.append(("site.altitude", f"{settings.altitude_m:g} m", f"{_in('m', settings.altitude_m, 'foot'):.0f} ft"))
    rows.append(("site.(atmosphere there)", *_pressure(round(atmosphere), None)))
    heads = ("setting", "kPa, bar, m", "psi, inHg, ft")
    return Table("Settings in both unit systems", heads, rows, texts=frozenset({1, 2}))


def acceptance_table(settings: Settings) -> Table:
    """Return the rules of [acceptance] with what they want."""
    limits = vars(settings.acceptance).items()
    rows = [(name, "not stated" if value is None else f"{value:g}") for name, value in limits]
    return Table("Rules of acceptance", ("rule", "value"), rows)


def value_told(name: str, value: float | None, units: Units, altitude_m: float) -> str:
    """Return one setting as the logic has it, or the altitude (m), in words; nothing where it is not known."""
    if value is None:
        return NOTHING
    if name not in PLACES:
        return f"{value:g} m"
    section, place, number = key_of(name)[0], PLACES[name], int(value)
    if ranges.SETTINGS[place][1] != "Pa":
        return _both(section, place, number, 0.0)[0]
    return units.whole(number, altitude_m) if section == "suction" else units.net(number)


def _both(section: str, place: int, value: int, atmosphere: float) -> tuple[str, str]:
    unit = ranges.SETTINGS[place][1]
    if unit == "Pa":
        return _pressure(value, atmosphere if section == "suction" else None)
    plain = {"ms": _duration(value), "weight": f"{value / ranges.ONE:.4g}"}.get(unit, str(value))
    return plain, plain


def _pressure(pascals: int, atmosphere: float | None) -> tuple[str, str]:
    """Return a pressure in both systems; with an atmosphere (Pa) it is absolute and given as gauge too."""
    metric, psi = f"{pascals / 1000:.2f} kPa, {pascals / 1e5:.4f} bar", f"{_in('Pa', pascals, 'psi'):.2f} psi"
    if atmosphere is not None:
        gauge = pascals - round(atmosphere)
        above = f"{_in('Pa', gauge, 'psi'):.2f} psi gauge"
        if gauge < 0:
            above = f"{_in('Pa', -gauge, 'inHg'):.2f} inHg vacuum"
        metric, psi = f"{metric} abs ({gauge / 1000:.2f} kPa gauge)", f"{psi} abs ({above})"
    return metric, psi


def _duration(milliseconds: int) -> str:
    for size, name in DURATIONS:
        if milliseconds >= size and milliseconds % size == 0:
            return f"{milliseconds // size} {name}"
    return f"{milliseconds / 1000:g} s"


def _in(unit: str, number: float, wanted: str) -> float:
    return quantity(f"{number:.12g} {unit}", wanted, "")
