"""The report of `guarantee` for the terminal."""

from math import ceil, floor

from rich.console import Group, RenderableType

from protect import ranges
from replay.display.table import Table
from replay.display.terminal import CAUTION, terms, view
from replay.ground.shown import Units, other_units
from replay.ground.wording import NOTHING
from replay.settings.guarantee import EXACT, METHODS, Depth, Guarantee, Line

LEGEND = {
    "stopped by": "at the latest, on credible readings: from the last one with oil, start grace over, integral empty;"
    " a lower pressure or a fuller integral never takes longer",
    "from a start": "the same with the whole start grace before it",
    "dip": "a dip up to this long never stops, however ticks fall; in a vacuum not by the reload at its end either",
    "share": "pulsing between this pressure and healthy: short of oil for at most this share of the time never stops"
    " (no stretch longer than the dip), for more it always does in the end",
    "again": "after a trip and an immediate restart with the oil still missing: running time until the next stop",
    "*": "no readings within the sensor ranges give this net oil pressure",
}
# These are promised as "at most", so they are never shown longer; all other times never shorter.
HEADS = ("guarantee", "", "method")
# What an owner asks first: by when it stops, what it rides through, lost readings, frozen readings, lockout.
MAIN = ("trips", "no_trip", "missing", "frozen", "lockout")
AT_MOST = {"no_trip", "reload", "restart"}
ROUND = 10  # parts of a second and of a percent that are shown


def guarantee_view(report: Guarantee) -> RenderableType:
    """Return the report: the table of depths, the other guarantees with their method, what is not guaranteed."""
    legend = dict(LEGEND)
    if all(depth.readable for depth in report.depths):
        del legend["*"]
    return view(
        f"settings {report.settings.file}, digest {report.settings.digest[:16]}",
        *(_depths(report, vacuum=vacuum) for vacuum in dict.fromkeys(depth.vacuum for depth in report.depths)),
        terms(legend.items()),
        _lines(report),
        terms(METHODS.items()),
        Group("Not guaranteed:", terms(("-", point) for point in report.not_guaranteed)),
        CAUTION,
    )


def _depths(report: Guarantee, *, vacuum: bool) -> Table:
    units = report.settings.units
    heads = (
        units.difference,
        other_units(units).difference,
        "weight",
        "stopped by s",
        "from a start s",
        "dip s",
        "share %",
        "again s",
    )
    rows = [_cells(depth, units) for depth in report.depths if depth.vacuum == vacuum]
    return Table(f"Short of oil at {_where(report, vacuum=vacuum)}: {EXACT}", ("net oil pressure", *heads), rows)


def _where(report: Guarantee, *, vacuum: bool) -> str:
    if len({depth.vacuum for depth in report.depths}) == 1:
        return "any suction pressure"
    level = report.settings.values[ranges.VACUUM]
    amount = report.settings.units.whole(level, report.settings.altitude_m)
    return f"suction pressure below {amount}" if vacuum else f"suction pressure {amount} or more"


def _cells(depth: Depth, units: Units) -> list[str]:
    mark = "" if depth.readable else " *"
    again = NOTHING if depth.again is None else _at_most(depth.again)
    pressures = (f"{depth.net_pa / each.size_pa:.3f}" for each in (units, other_units(units)))
    levels = (*pressures, f"{depth.weight / 2048:.3f}")
    times = (_at_least(depth.stop), _at_least(depth.start_stop), _at_most(depth.dip), _at_most(depth.share * 100_000))
    return [depth.name + mark, *levels, *times, again]


def _at_least(ms: float) -> str:
    """Return thousandths to a tenth of the whole, never shown smaller than they are."""
    return f"{ceil(ms * ROUND / 1000) / ROUND:.1f}"


def _at_most(ms: float) -> str:
    """Return thousandths to a tenth of the whole, never shown larger than they are."""
    return f"{floor(ms * ROUND / 1000) / ROUND:.1f}"


def _lines(report: Guarantee) -> Table:
    rows = [(line.what, _value(line, report.settings.units), line.method) for line in report.lines]
    return Table("Other guarantees", HEADS, rows, texts=frozenset({2}))


def main_lines(report: Guarantee) -> Table:
    """Return the few lines that an owner asks for first."""
    told = [line for line in report.lines if line.key in MAIN]
    rows = [(line.what, _value(line, report.settings.units), line.method) for line in told]
    return Table("What the logic guarantees with these settings", HEADS, rows, texts=frozenset({2}))


def _value(line: Line, units: Units) -> str:
    if line.value is None:
        return line.unit or "always"
    if line.unit == "ms":
        show = _at_most if line.key in AT_MOST else _at_least
        return f"{show(line.value)} s"
    if line.unit == "Pa":
        return units.net(line.value)
    if line.unit == "share":
        return f"{_at_most(line.value * 100_000)} %"
    return f"{line.value:g}"
