"""What a forecast says of a year, as tables and sentences."""

from rich.console import RenderableType

from replay.display.table import Table
from replay.display.terminal import CAUTION, view
from replay.forecast import Forecast
from replay.forecast.rates import CONFIDENCE, Rate
from replay.ground.wording import percent

# Figures of a year and what they are called; after them of what the figure is to be told.
FIGURES = {
    "nuisance_stops": "nuisance trips",
    "justified_stops": "justified stops",
    "doubtful_stops": "stops in doubt",
    "sensor_stops": "stops on a failed sensor",
    "lockouts": "lockouts",
    "down_h": "hours down",
    "lost_without": "machines lost without",
    "lost_with": "machines lost with",
    "doubtful_with": "machines in doubt with",
}
OF_FAMILIES = ("nuisance_stops", "justified_stops", "lost_without", "lost_with")
RARE = 0.001


def forecast_view(told: Forecast) -> RenderableType:
    """Return the report of `forecast`."""
    run_h = sum(year.run_h for year in told.years)
    machine = told.machine.name if told.machine else "the demo site's machines"
    head = f"{told.machine_years:.3g} machine-years of {machine}, {run_h:.0f} h running; settings {told.settings.file}"
    parts: list[Table | str] = [head, _years(told), _families(told)]
    if told.other is not None:
        parts.append(_against(told))
    return view(*parts, "\n".join([*_sentences(told), CAUTION]))


def _years(told: Forecast) -> Table:
    """Return the figures of a year with limits: of duty with its upsets, and of faults."""
    rows = [
        (words, *(cell for families in told.groups.values() for cell in _limited(told.rate(figure, families))))
        for figure, words in FIGURES.items()
    ]
    title = f"Per machine-year, limits at {percent(CONFIDENCE)}"
    return Table(title, ("", "duty, upsets", "limits", "faults", "limits"), rows)


def _families(told: Forecast) -> Table:
    """Return what each family brings, those that bring something."""
    heads = ("family", "a year", "sampled", "nuisance trips", "justified stops", "lost without", "lost with")
    rows = []
    for family in told.families:
        rates = [told.rate(figure, (family,)).per_year for figure in OF_FAMILIES]
        if any(rates):
            often = told.wanted.per_year.get(family)
            rows.append(
                (family, "-" if often is None else f"{often:g}", str(told.befell(family)), *map(figure_text, rates))
            )
    return Table("What brings them, per machine-year", heads, rows)


def _against(told: Forecast) -> Table:
    """Return both settings beside each other, and the paired difference."""
    rows = []
    for figure, words in FIGURES.items():
        pair = told.difference(figure)
        ends = [figure_text(value) if value is not None else "-" for value in pair.values()]
        both = (told.rate(figure).per_year, told.rate(figure, years=told.against).per_year)
        rows.append((words, *map(figure_text, both), *ends))
    name = told.other.file if told.other else ""
    alike = ", which sets the same values" if told.other and told.other.values == told.settings.values else ""
    heads = ("", "these", "others", "difference", "from", "to")
    return Table(f"The same machines under {name}{alike}, limits at {percent(CONFIDENCE)}", heads, rows)


def _bare(told: Forecast) -> bool:
    """Say whether some difference has no limits."""
    return any(told.difference(figure)["lower"] is None for figure in FIGURES)


def _sentences(told: Forecast) -> list[str]:
    """Return what a nuisance is, what was missed, what dominates, and what more years would narrow."""
    faults = told.missed()
    seen = f"{faults['sampled']} sampled faults would have spoilt a machine; it was lost under the protection in"
    lines = [
        "a nuisance trip: the machine of that moment, run on unprotected for an hour, takes no harm",
        f"{seen} {faults['missed']} ({percent(faults['lower'])} to {percent(faults['upper'])})",
    ]
    if (most := told.dominates("nuisance_stops")) is not None:
        wanted = told.years_wanted("nuisance_stops")
        lines.append(f"{100 * most[1]:.0f} % of the nuisance trips come from {most[0]}")
        if wanted is not None and wanted > told.machine_years:
            lines.append(f"some {_rounded(wanted)} machine-years would narrow that to a fifth either way")
    else:
        lines.append("no nuisance trip seen: the upper limit falls as the machine-years grow")
    if told.other and told.other.values != told.settings.values and _bare(told):
        lines.append("-: all machine-years came out alike, so what comes more rarely than they tell is not bounded")
    if told.kept:
        lines.append(f"{told.kept} traces of what went wrong are kept")
    return [*lines, "duty and rates are assumed: give your own"]


def _rounded(years: float) -> str:
    """Return a number of years in two digits."""
    return f"{float(f'{years:.2g}'):.0f}"


def _limited(rate: Rate) -> tuple[str, str]:
    return figure_text(rate.per_year), f"{figure_text(rate.lower)}-{figure_text(rate.upper)}"


def figure_text(value: float) -> str:
    """Return a rate in three digits at most; what is rarer than once in a thousand years says so."""
    if 0.0 < abs(value) < RARE:
        return f"<{RARE:g}"
    return "0" if value == 0.0 else f"{value:.3f}" if abs(value) < 1.0 else f"{value:.2f}"
