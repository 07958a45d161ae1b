"""The report of `guarantee` for the terminal."""

from math import ceil, floor

from rich.console import Group, RenderableType
from rich.table import Table
from rich.text import Text

from protect import ranges
from replay.display.terminal import CAUTION, NOTHING, plain_table
from replay.ground.units import PSI_PA
from replay.settings.guarantee import EXACT, METHODS, Depth, Guarantee, Line

LEGEND = {
    "stopped by": "at the latest, on credible readings: from the last one with oil, start grace over, integral empty;"
    " a lower pressure or a fuller integral never takes longer",
    "from a start": "the same with the whole start grace before it",
    "dip": "a dip up to this long never stops, however ticks fall",
    "share": "pulsing between this pressure and healthy: short of oil for at most this share of the time never stops"
    " (no stretch longer than the dip), for more it always does in the end",
    "again": "after a trip and a restart at once, the oil still missing: run until the next stop",
    "*": "the sensor ranges leave no reading of this net oil pressure",
}
# These are promised as "at most", so they are never shown longer; all other times never shorter.
AT_MOST = {"no_trip", "reload", "restart"}
ROUND = 10  # parts of a second and of a percent that are shown


def guarantee_view(report: Guarantee) -> RenderableType:
    """Return the report: the table of depths, the other guarantees with their method, what is not guaranteed."""
    legend = dict(LEGEND)
    if all(depth.readable for depth in report.depths):
        del legend["*"]
    tables = [_depths(report, vacuum=vacuum) for vacuum in dict.fromkeys(d.vacuum for d in report.depths)]
    parts: list[RenderableType] = [Text(f"settings {report.settings.file}, digest {report.settings.digest[:16]}")]
    for table in tables:
        parts += [Text(), table]
    parts += [_terms(legend), Text(), _lines(report), _terms(METHODS), Text(), Text("Not guaranteed:")]
    parts += [_terms(dict.fromkeys(report.not_guaranteed, "")), Text(), Text(CAUTION)]
    return Group(*parts)


def _depths(report: Guarantee, *, vacuum: bool) -> Table:
    table = plain_table(title=f"short of oil at {_where(report, vacuum=vacuum)}: {EXACT}")
    table.add_column("net oil\npressure", no_wrap=True)
    titles = ("\nkPa", "\npsi", "\nweight", "stopped\nby s", "from a\nstart s", "dip\ns", "share\n%", "again\ns")
    for title in titles:
        table.add_column(title, justify="right", no_wrap=True, vertical="bottom")
    for depth in report.depths:
        if depth.vacuum == vacuum:
            table.add_row(*_cells(depth))
    return table


def _where(report: Guarantee, *, vacuum: bool) -> str:
    if len({depth.vacuum for depth in report.depths}) == 1:
        return "any suction pressure"
    level = report.settings.values[ranges.VACUUM]
    amount = f"{level / 1000:.1f} kPa ({level / PSI_PA:.1f} psi) absolute"
    return f"suction pressure below {amount}" if vacuum else f"suction pressure {amount} or more"


def _cells(depth: Depth) -> list[str]:
    mark = "" if depth.readable else " *"
    again = NOTHING if depth.again is None else _at_most(depth.again)
    return [
        depth.name + mark,
        f"{depth.net_pa / 1000:.3f}",
        f"{depth.net_pa / PSI_PA:.2f}",
        f"{depth.weight / 2048:.3f}",
        _at_least(depth.stop),
        _at_least(depth.start_stop),
        _at_most(depth.dip),
        _at_most(depth.share * 100_000),
        again,
    ]


def _at_least(ms: float) -> str:
    """Return thousandths to a tenth of the whole, never shown smaller than they are."""
    return f"{ceil(ms * ROUND / 1000) / ROUND:.1f}"


def _at_most(ms: float) -> str:
    """Return thousandths to a tenth of the whole, never shown larger than they are."""
    return f"{floor(ms * ROUND / 1000) / ROUND:.1f}"


def _lines(report: Guarantee) -> Table:
    table = plain_table(title="beside the depths")
    table.add_column("guarantee", overflow="fold")
    table.add_column("", justify="right", no_wrap=True)
    table.add_column("method", no_wrap=True)
    for line in report.lines:
        table.add_row(line.what, _value(line), line.method)
    return table


def _value(line: Line) -> str:
    if line.value is None:
        return line.unit or "always"
    if line.unit == "ms":
        show = _at_most if line.key in AT_MOST else _at_least
        return f"{show(line.value)} s"
    if line.unit == "share":
        return f"{_at_most(line.value * 100_000)} %"
    return f"{line.value:g}"


def _terms(told: dict[str, str]) -> Table:
    """Return words and what they mean, or points of a list where they mean no more."""
    table = Table.grid(padding=(0, 1, 0, 0))
    for word, meaning in told.items():
        table.add_row(*((word, meaning) if meaning else ("-", word)))
    return table
