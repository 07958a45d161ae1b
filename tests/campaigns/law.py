"""Law campaign: whether another law than the integral of `protect` stops less for nothing, at equal missed risk.

Every law gets as many draws of its numbers from the same ranges (`law_draws`), watches the same synthesised traces
behind the same checks of the sensors (`law_traces`), and stops a machine for good. What counts of a fault is whether it
left less than the site's least margin, of an upset whether it was stopped. For a budget of such faults the numbers with
the fewest stops are chosen on one part; what they come to is shown on another, of another seed, and on machines of
other dimensions, pumps, oils and behaviour. Twice: with one set of numbers for all machines of the site, and with
pressures in shares of each machine's own floor, as whoever sets one machine would have them.

A first stop is not all: machines are started again, and what a stop has saved a restart may lose. So those of the
chosen laws that are settings of `protect` are obeyed too, by machines of faults that no law was chosen on.

What is done is kept in a folder that the sources name, and an interrupted run goes on from there.
"""

import functools
import hashlib
import tempfile
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from statistics import NormalDist
from typing import Any, NamedTuple

import click
import numpy as np
from numpy.typing import NDArray

from replay.engine import logic_digest
from replay.engine.workers import workers
from replay.ground.statistics import mcnemar
from replay.physics.families import FAULTS
from replay.physics.kernel import _DIGEST
from replay.physics.simulate import Certainty
from replay.settings import Settings, read_settings
from tests.campaigns import law_candidates, law_draws, law_traces
from tests.campaigns.law_candidates import NO_STOP
from tests.campaigns.law_draws import LIGHT, NAMES, TOLD, UNWEIGHTED, Drawn, drawn
from tests.campaigns.law_traces import DEMO, FAMILIES, Which
from tests.results import close, record_option
from tests.support import made_machines

IN_USE = "integral"
SURE = 0.95
MOST_PERCENT = 16.0  # of the upsets, that the picture shows
BUDGETS = (0.01, 0.03)  # of faults that are left less than the least margin
# Of a trace and a law: tenths of a second that a fault was left, below 0 for one that was missed, or one of these.
RAN_ON, FOR_NOTHING = np.iinfo(np.int16).min, np.iinfo(np.int16).max
Marks = NDArray[np.int16]
Truths = NDArray[np.bool_]


class Part(NamedTuple):
    """Traces of one seed, each watched by every law. marks, scaled: int16[traces, laws]; see `law_traces.Tried`."""

    name: str
    families: tuple[str, ...]
    faults: Truths
    marks: Marks
    scaled: Marks


def part_of(
    name: str, sites: str, seed: int, each: int, settings: Settings, laws: Drawn, jobs: int, work: Path
) -> Part:
    """Make so many traces of each family and let every law watch them; what cannot be judged is left out."""
    with workers(jobs, None) as share:
        found = list(share(functools.partial(round_of, work, settings, laws.values, sites, seed), range(each), _silent))
    families, faults, marks, scaled = zip(*found, strict=True)
    names = tuple(str(family) for part in families for family in part)
    return Part(name, names, np.concatenate(faults), np.concatenate(marks), np.concatenate(scaled))


def _silent() -> None:
    """Tell nobody of a round that is done."""


def round_of(
    work: Path, settings: Settings, values: NDArray[np.int64], sites: str, seed: int, index: int
) -> tuple[NDArray[np.str_], Truths, Marks, Marks]:
    """Let every law watch one trace of each family; return families, whether of a fault, and marks of those judged.

    From the work folder if it stands there.
    """
    kept = work / f"{sites}-{seed}-{index}.npz"
    if not kept.exists():
        found = [law_traces.tried(settings, values, Which(sites, family, index, seed)) for family in FAMILIES]
        judged = [one for one in found if one is not None]
        beside = kept.with_suffix(".part.npz")
        np.savez_compressed(
            beside,
            families=np.array([one.which.family for one in judged]),
            faults=np.array([one.window_ms is not None for one in judged]),
            marks=np.array([mark(one.window_ms, one.stops) for one in judged]),
            scaled=np.array([mark(one.window_ms, one.scaled) for one in judged]),
        )
        beside.replace(kept)
    with np.load(kept) as told:
        return told["families"], told["faults"], told["marks"], told["scaled"]


def work_folder(settings: Settings, laws: Drawn) -> Path:
    """Return the folder of what is done, which all that it follows from names."""
    modules = (law_candidates, law_traces, made_machines)
    sources = [Path(str(module.__file__)).read_bytes() for module in modules]
    told = hashlib.sha256(b"".join([*sources, laws.values.tobytes(), (settings.digest + logic_digest()).encode()]))
    work = Path(tempfile.gettempdir()) / f"lubetrip-law-{_DIGEST:x}-{told.hexdigest()[:16]}"
    work.mkdir(parents=True, exist_ok=True)
    return work


def mark(window_ms: tuple[int, int] | None, stops_ms: NDArray[np.int64]) -> Marks:
    """Return what each law's stop is worth."""
    ran_on = stops_ms == NO_STOP
    if window_ms is None:
        return np.where(ran_on, RAN_ON, FOR_NOTHING).astype(np.int16)
    earliest, deadline = window_ms
    margin = np.clip((deadline - stops_ms) // 100, RAN_ON + 1, FOR_NOTHING - 1)
    return np.where(ran_on, RAN_ON, np.where(stops_ms < earliest, FOR_NOTHING, margin)).astype(np.int16)


@dataclass(frozen=True)
class Seen:
    """What some laws come to on a part: bool[traces, laws] each; margins in tenths of a second."""

    marks: Marks
    faults: Truths
    least: int

    @property
    def stopped(self) -> Truths:
        """Stops for nothing: in an upset, or before a fault."""
        return np.asarray(self.marks == FOR_NOTHING)

    @property
    def thin(self) -> Truths:
        """Faults that are left less than the least margin, or missed."""
        return np.asarray((self.marks < self.least) & self.faults[:, None])

    @property
    def missed(self) -> Truths:
        """Faults that are missed."""
        return np.asarray((self.marks < 0) & self.faults[:, None])

    def margins(self, law: int) -> NDArray[np.float64]:
        """Return the margins (s) of the faults that one law hit."""
        its = self.marks[:, law]
        return its[self.faults & (its >= 0) & (its != FOR_NOTHING)] / 10.0


def seen(part: Part, form: str, places: Sequence[int] | NDArray[np.int64], settings: Settings) -> Seen:
    """Return what laws come to on a part; form: "marks" or "scaled"."""
    least = round(10 * settings.acceptance.min_margin_s)
    return Seen(getattr(part, form)[:, places], part.faults, least)


def choose(part: Part, form: str, laws: Drawn, name: str, budget: int, settings: Settings) -> int | None:
    """Return the law of a name with the fewest stops for nothing of those within a budget of thin faults.

    Of equals the one with fewer thin and then fewer missed faults, then the one with the larger margins. None where none
    is within it.
    """
    places = laws.of(name)
    its = seen(part, form, places, settings)
    thin, stopped = its.thin.sum(axis=0), its.stopped.sum(axis=0)
    within = np.flatnonzero(thin <= budget)
    if not len(within):
        return None
    fewest = within[stopped[within] == stopped[within].min()]
    for lost in (thin, its.missed.sum(axis=0)):
        fewest = fewest[lost[fewest] == lost[fewest].min()]
    best = max(fewest.tolist(), key=lambda law: float(np.median(its.margins(law))))
    return int(places[best])


class Difference(NamedTuple):
    """A paired difference of two shares, its interval, and the exact McNemar p-value."""

    value: float
    low: float
    high: float
    p: float


def difference(one: Truths, other: Truths) -> Difference:
    """Return the share of one less that of the other, over the same traces.

    The interval is Wald's with a half added to each of the four cells (Agresti and Min 2005; from memory).
    """
    only_one, only_other = int((one & ~other).sum()), int((other & ~one).sum())
    size = len(one) + 2
    value = (only_one - only_other) / size
    wide = NormalDist().inv_cdf((1 + SURE) / 2) * max(only_one + only_other + 1 - size * value**2, 0.0) ** 0.5 / size
    return Difference((only_one - only_other) / len(one), value - wide, value + wide, mcnemar(only_one, only_other))


@dataclass(frozen=True)
class Row:
    """One law with the numbers that were chosen, on a part: counts, margins in s, differences to the law in use."""

    name: str
    words: str
    faults: int
    upsets: int
    missed: int
    thin: int
    stopped: int
    early: int
    worst_s: float
    tenth_s: float
    median_s: float
    fewer_stops: Difference
    fewer_thin: Difference


def row_of(part: Part, form: str, laws: Drawn, place: int, used: int, settings: Settings) -> Row:
    """Return what a law comes to on a part beside the one in use."""
    its = seen(part, form, [place, used], settings)
    upsets = ~part.faults
    margins = its.margins(0)
    # Each over the traces that could show it: all that may be stopped for nothing, and all faults.
    stops = difference(*its.stopped.T)
    thin = difference(*its.thin[part.faults].T)
    return Row(
        laws.names[place],
        law_draws.words(laws.values[place]),
        int(part.faults.sum()),
        int(upsets.sum()),
        int(its.missed[:, 0].sum()),
        int(its.thin[:, 0].sum()),
        int(its.stopped[upsets, 0].sum()),
        int(its.stopped[part.faults, 0].sum()),
        float(margins.min()),
        float(np.quantile(margins, 0.1)),
        float(np.median(margins)),
        stops,
        thin,
    )


@dataclass(frozen=True)
class Table:
    """What was chosen within one budget on the first part, on another part."""

    part: str
    form: str
    budget: float
    rows: tuple[Row, ...]


FORMS = {"marks": "one set of numbers for all machines", "scaled": "pressures in shares of each machine's own floor"}
SHORT = {"marks": "one set of numbers", "scaled": "own floors"}
# Which parts are shown in which form; the first part is the one that is chosen on.
SHOWN = (("marks", 1), ("scaled", 1), ("scaled", 2))


def tables_of(parts: Sequence[Part], laws: Drawn, settings: Settings) -> list[Table]:
    """Return a table for each form, part and budget; the budget of the settings' own law comes first."""
    found = []
    for form, number in SHOWN:
        first, part = parts[0], parts[number]
        faults = int(first.faults.sum())
        own = int(seen(first, form, [0], settings).thin.sum())
        for share in (own / faults, *BUDGETS):
            budget = round(share * faults)
            used = choose(first, form, laws, IN_USE, budget, settings)
            if used is None:
                continue
            chosen = [choose(first, form, laws, name, budget, settings) for name in NAMES]
            places = [0, *(place for place in chosen if place is not None)]
            rows = tuple(row_of(part, form, laws, place, used, settings) for place in places)
            found.append(Table(part.name, form, share, rows))
    return found


def lines(table: Table) -> list[str]:
    """Return a table as text."""
    one = table.rows[0]
    head = (
        f"\n{table.part}, {FORMS[table.form]}: chosen with at most {100 * table.budget:.2f} % of faults left less than "
        f"the least margin\n{one.faults} faults, {one.upsets} upsets\n"
        f"{'law':33s} missed  thin  stops early  worst  tenth median s | stops against the law in use | thin"
    )
    told = []
    for number, row in enumerate(table.rows):
        name = "these settings" if number == 0 else TOLD[row.name]
        told.append(
            f"{name:33s} {row.missed:6d} {row.thin:5d} {row.stopped:6d} {row.early:5d} {row.worst_s:6.1f} "
            f"{row.tenth_s:6.1f} {row.median_s:6.1f}   | {percents(row.fewer_stops)} | {percents(row.fewer_thin)}"
            f" | {row.words}"
        )
    shown = {row.name for row in table.rows[1:]}
    return [head, *told, *(f"{TOLD[name]:33s} none within the budget" for name in NAMES if name not in shown)]


def percents(its: Difference) -> str:
    """Return a difference in percent with its interval."""
    return f"{100 * its.value:+6.2f} ({100 * its.low:+.2f} to {100 * its.high:+.2f})"


def wins(tables: Sequence[Table]) -> list[str]:
    """Return the laws that stop less than the one in use in every part and form, at its budget, beyond chance.

    Beyond chance: the whole interval of the stops below nothing, and that of the thin faults not above it.
    """
    found = []
    for name in NAMES:
        own = [table for table in tables if table is _first_of(tables, table)]
        rows = [next((row for row in table.rows[1:] if row.name == name), None) for table in own]
        if rows and all(row and row.fewer_stops.high < 0.0 and row.fewer_thin.low <= 0.0 for row in rows):
            found.append(TOLD[name])
    return found


def summary(tables: Sequence[Table]) -> str:
    """Return what all comes to, in a line."""
    told = []
    for table in tables:
        rows = {row.name: row for row in table.rows[1:]}
        if table is not _first_of(tables, table) or UNWEIGHTED not in rows:
            continue
        used, bare = rows[IN_USE], rows[UNWEIGHTED]
        best = min(rows.values(), key=lambda row: row.stopped + row.early)
        told.append(
            f"{table.part}, {SHORT[table.form]}: {used.faults} faults, {used.upsets} upsets: weighted {used.thin} thin, "
            f"{used.stopped} stops; unweighted {bare.thin} thin, {bare.stopped} stops ({percents(bare.fewer_stops).strip()} %); "
            f"fewest: {TOLD[best.name]} {best.thin} thin, {best.stopped} stops ({percents(best.fewer_stops).strip()} %)"
        )
    better = ", ".join(wins(tables)) or "none"
    return f"{'; '.join(told)}; by first stops better than the law in use everywhere: {better}"


def _first_of(tables: Sequence[Table], table: Table) -> Table:
    return next(its for its in tables if (its.part, its.form) == (table.part, table.form))


def families_apart(part: Part, form: str, laws: Drawn, rows: Sequence[int], settings: Settings) -> list[str]:
    """Return, for each family in which some laws do not come to the same, thin faults or stops of each."""
    its = seen(part, form, rows, settings)
    names = np.array(part.families)
    told = []
    for family in sorted(set(part.families)):
        of = names == family
        thin, stopped = its.thin[of].sum(axis=0), its.stopped[of].sum(axis=0)
        if len({*zip(thin.tolist(), stopped.tolist(), strict=True)}) > 1:
            cells = "  ".join(f"{lost:4d} {stops:4d}" for lost, stops in zip(thin, stopped, strict=True))
            told.append(f"  {family:32s} {int(of.sum()):5d} | {cells}")
    heads = "  ".join(f"{laws.names[row][:9]:>9s}" for row in rows)
    return [f"  {'family':32s} {'of':>5s} | {heads}   (thin faults, stops for nothing)", *told]


def curve(parts: Sequence[Part], form: str, number: int, laws: Drawn, name: str, settings: Settings) -> Any:
    """Return (percent thin, stops in 100 upsets) on a part, of what was chosen on the first within each budget."""
    points = []
    most = int(0.06 * parts[0].faults.sum())
    for budget in sorted({round(most * share**2 / 400) for share in range(1, 21)}):
        place = choose(parts[0], form, laws, name, budget, settings)
        if place is not None:
            its, upsets = seen(parts[number], form, [place], settings), ~parts[number].faults
            thin = 100 * its.thin[parts[number].faults, 0].mean()
            points.append((float(thin), float(100 * its.stopped[upsets, 0].mean())))
    return np.array(points).reshape(-1, 2)


def draw(path: Path, parts: Sequence[Part], laws: Drawn, settings: Settings) -> None:
    """Draw the trade-off of each law on what it was not chosen on, these settings marked."""
    import matplotlib as mpl

    mpl.use("Agg")
    import matplotlib.pyplot as plt

    figure, axes = plt.subplots(1, len(SHOWN), figsize=(14.0, 6.4), sharey=True, layout="constrained")
    colours = mpl.colormaps["tab20"].colors
    for axis, (form, number) in zip(axes, SHOWN, strict=True):
        for place, name in enumerate(NAMES):
            points = curve(parts, form, number, laws, name, settings)
            shown = {"ls": "-", "lw": 2.6} if name in (IN_USE, UNWEIGHTED, LIGHT) else {"ls": "--", "lw": 1.1}
            colour = colours[2 * place % 20 + place // 10] if place else "black"
            axis.plot(*points.T, marker=".", color=colour, label=TOLD[name], **shown)
        its, upsets = seen(parts[number], form, [0], settings), ~parts[number].faults
        own = 100 * its.thin[~upsets, 0].mean(), 100 * its.stopped[upsets, 0].mean()
        axis.plot(*own, "X", ms=12, color="crimson", label="these settings")
        axis.set_title(f"{parts[number].name}\n{FORMS[form]}", fontsize=10)
        axis.set_xlabel(f"faults left less than {settings.acceptance.min_margin_s:g} s, %")
        axis.set_xlim(left=0.0)
        axis.set_ylim(0.0, MOST_PERCENT)
        axis.grid(alpha=0.3)
    axes[0].set_ylabel("upsets stopped for nothing, %")
    figure.legend(*axes[0].get_legend_handles_labels(), loc="outside lower center", ncols=5, fontsize=9)
    figure.savefig(path)
    plt.close(figure)


def obeyed(laws: Drawn, places: Sequence[int], machines: int, seed: int, jobs: int) -> list[list[Certainty]]:
    """Return, for each law, what the bearings of machines that obey it came to; so many of each family of faults."""
    wanted = [Which("invented", family, n, seed) for family in FAMILIES if family in FAULTS for n in range(machines)]
    with workers(jobs, None) as share:
        return [
            list(share(functools.partial(law_traces.fate_of, laws.values[place]), wanted, _silent)) for place in places
        ]


def told_obeyed(laws: Drawn, places: Sequence[int], fates: Sequence[Sequence[Certainty]]) -> list[str]:
    """Return a line for each law: of machines that obey it, how many are lost, doubtful, and more harmed than the first's."""
    first = np.array(fates[0]) != "none"
    told = []
    for number, (place, its) in enumerate(zip(places, fates, strict=True)):
        name = "these settings" if number == 0 else TOLD[laws.names[place]]
        harmed = np.array(its) != "none"
        lost, doubtful = its.count("certain"), its.count("possible")
        told.append(
            f"{name:33s} {lost:4d} lost {doubtful:4d} doubtful of {len(its)} | {percents(difference(harmed, first))} "
            f"| {law_draws.words(laws.values[place])}"
        )
    return told


@click.command("law")
@click.option("--each", type=click.IntRange(2), default=150, show_default=True, help="Traces of each family and part.")
@click.option("--laws", "count", type=click.IntRange(2), default=600, show_default=True, help="Draws of each law.")
@click.option("--seed", type=int, default=2211, show_default=True, help="Of the part that is chosen on.")
@click.option("--jobs", type=click.IntRange(1), default=1, show_default=True)
@click.option(
    "--obeying", type=click.IntRange(1), default=8, show_default=True, help="Machines of each family of faults."
)
@click.option("--plot", type=click.Path(path_type=Path), help="Where to draw the trade-off: SVG or PNG by the name.")
@record_option
def law(each: int, count: int, seed: int, jobs: int, obeying: int, plot: Path | None, *, record: bool) -> None:
    """Look for a law that stops less for nothing than the weighted integral, at equal missed risk."""
    settings = read_settings(DEMO)
    laws = drawn(settings, count, seed)
    parts = [
        part_of(name, sites, seed + number, each, settings, laws, jobs, work_folder(settings, laws))
        for number, (name, sites) in enumerate(
            (("chosen on", "invented"), ("fresh traces of the same site", "invented"), ("other machines", "other"))
        )
    ]
    tables = tables_of(parts, laws, settings)
    for table in tables:
        click.echo("\n".join(lines(table)))
    budget = int(seen(parts[0], "marks", [0], settings).thin.sum())
    picked = [choose(parts[0], "marks", laws, name, budget, settings) for name in (IN_USE, UNWEIGHTED, LIGHT)]
    places = [0, *(place for place in picked if place is not None)]
    form, number = SHOWN[0]
    click.echo(f"\n{parts[number].name}, {FORMS[form]}: families that differ")
    click.echo("\n".join(families_apart(parts[number], form, laws, places, settings)))
    fates = obeyed(laws, places, obeying, seed + 1, jobs)
    click.echo("\nmachines that obey; last, how many more are harmed than under these settings, %")
    click.echo("\n".join(told_obeyed(laws, places, fates)))
    if plot is not None:
        draw(plot, parts, laws, settings)
    harmed = ", ".join(
        f"{name} {len(its) - its.count('none')}"
        for name, its in zip(["these settings", *(laws.names[place] for place in places[1:])], fates, strict=True)
    )
    close(f"law: {summary(tables)}; harmed of {len(fates[0])} machines that obey: {harmed}", record=record)
