"""Amounts of a lever in the words of the trade: what moves is shown in units that the settings file uses."""

from protect import ranges
from replay.tuning.levers import GAIN, LAG, SETTING, Lever


def amount_text(lever: Lever, *amounts: float) -> str:
    """Return an amount with its unit, without its sign; of two amounts "this to that" and the unit once."""
    size, unit = _unit(lever, max(amounts))
    return " to ".join(_short(amount / size) for amount in amounts) + unit


def _short(number: float) -> str:
    """Return a number to three digits, and no digit before the point left out."""
    return f"{number:.0f}" if number >= 100 else f"{number:.3g}"  # noqa: PLR2004 - three digits


def _unit(lever: Lever, amount: float) -> tuple[float, str]:
    """Return the size of the unit that an amount of a lever is shown in, and its name."""
    if lever.unit == "Pa":
        return 1000.0, " kPa"
    if lever.kind == GAIN:
        return 0.01, " %"
    if lever.unit == "ms":
        return _duration(amount)
    return (float(ranges.ONE), "") if lever.unit == "weight" else (1.0, " s" if lever.kind == LAG else "")


def start_text(lever: Lever) -> str:
    """Return what a setting stands at; nothing for a sensor."""
    if lever.kind != SETTING:
        return ""
    size, unit = _unit(lever, abs(lever.start))
    return f"{lever.start / size:.4g}{unit}"


def _duration(ms: float) -> tuple[float, str]:
    """Return the unit that suits a duration: seconds up to ten minutes."""
    for least, size, name in ((86_400_000, 86_400_000, " d"), (3_600_000, 3_600_000, " h"), (600_000, 60_000, " min")):
        if ms >= least:
            return float(size), name
    return 1000.0, " s"
