"""Tables of `tune` and `tolerances` for the terminal."""

from typing import Any

from rich.console import Group, RenderableType
from rich.text import Text

from replay.display.score import MANY, VERDICTS
from replay.display.terminal import CAUTION, NOTHING, plain_table, seconds
from replay.score import evidence
from replay.tuning.amounts import amount_text, start_text
from replay.tuning.judge import RULE, Figures
from replay.tuning.levers import Lever
from replay.tuning.results import line_words
from replay.tuning.robustness import MISSED, NUISANCE, Bracket, Found, Robustness
from replay.tuning.tolerance import MonteCarlo
from replay.tuning.tune import BASE, Tuning

MOST_ROWS = 20
WIDE = 120  # columns of a terminal
LIMITS = ("missed\nlimit", "nuis.\nlimit\n/1000 h", "worst\nmargin\ns")


def tuning_view(tuning: Tuning, folder: str) -> RenderableType:
    """Return the report of `tune`: the Pareto set, and the chosen settings on what they were not chosen on."""
    parts: list[RenderableType] = [_counts(tuning), Text(), _pareto(tuning)]
    if len(tuning.front) > MOST_ROWS:
        parts.append(Text(f"and {len(tuning.front) - MOST_ROWS} more, all in {folder}"))
    parts += [Text(), _side_by_side(tuning), Text(), _closing(tuning, folder)]
    return Group(*parts)


def _counts(tuning: Tuning) -> Text:
    judged = f"{len(tuning.lines) - 1} candidates judged over {len(tuning.library.entries)} traces"
    if tuning.left_out:
        judged += f", {tuning.left_out} left out that contradict themselves"
    if tuning.budget is not None and tuning.budget < tuning.space.size:
        judged += f"; searched among {tuning.space.size}, seed {tuning.seed}"
    held = len(tuning.split.held_out)
    parted = f"chosen on {len(tuning.split.tuning)} of them, {held} held out (no machine and family in both parts)"
    if not held:
        parted = "chosen on all of them: too few machines and families to hold a part out"
    return Text(f"{judged}\n{parted}")


def _pareto(tuning: Tuning) -> RenderableType:
    title = "Pareto set: by no other candidate beaten in all three on the tuning part; the same, held out"
    table = plain_table(title=title if tuning.split.held_out else title.partition(";")[0])
    table.add_column("no.", justify="right", no_wrap=True, vertical="bottom")
    table.add_column("settings", min_width=16, overflow="fold", vertical="bottom")
    for column in (*LIMITS, *(LIMITS if tuning.split.held_out else ())):
        table.add_column(column, justify="right", no_wrap=True, vertical="bottom")
    table.add_column("alike", justify="right", no_wrap=True, vertical="bottom")
    for one in tuning.front[:MOST_ROWS]:
        line = tuning.lines[one.candidate]
        held = _limits(line.held_out) if line.held_out else []
        mark = "*" if one == tuning.best else ""
        table.add_row(f"{mark}{line.number}", Text(line_words(line)), *_limits(line.tuning), *held, str(one.alike))
    base = tuning.base
    held = _limits(base.held_out) if base.held_out else []
    table.add_section()
    table.add_row(str(BASE), Text(f"base: {line_words(base)}"), *_limits(base.tuning), *held, "")
    return table


def _limits(figures: Figures) -> list[str]:
    nuisance = figures.nuisance_limit
    rate = "none" if nuisance == float("inf") else f"{nuisance:.0f}" if nuisance >= MANY else f"{nuisance:.4g}"
    return [f"{100 * figures.missed_limit:.3g} %", rate, seconds(figures.totals.worst_margin_s)]


def _side_by_side(tuning: Tuning) -> RenderableType:
    table = plain_table(title=f"chosen (no. {tuning.best.candidate}) and base, side by side")
    table.add_column("on", no_wrap=True)
    table.add_column("", no_wrap=True)
    for column in ("missed", "nui-\nsance", *LIMITS):
        table.add_column(column, justify="right", no_wrap=True, vertical="bottom")
    table.add_column("acceptance", no_wrap=True)
    for title, chosen, base in _parts(tuning):
        table.add_row(title, "chosen", *_cells(chosen))
        table.add_row("", "base", *_cells(base))
    return table


def _parts(tuning: Tuning) -> list[tuple[str, Figures, Figures]]:
    """Return title, chosen and base figures of each part of the library, and of the fresh one."""
    chosen, base = tuning.chosen, tuning.base
    rows = [("tuning part", chosen.tuning, base.tuning)]
    if chosen.held_out is not None and base.held_out is not None:
        rows.append(("held-out part", chosen.held_out, base.held_out))
    rows.append(("whole library", chosen.whole, base.whole))
    if tuning.fresh is not None:
        rows.append(("fresh library", tuning.fresh.figures[1], tuning.fresh.figures[0]))
    return rows


def _cells(figures: Figures) -> list[str]:
    totals = figures.totals
    counts = [f"{totals.missed}/{totals.must_trip}", str(totals.nuisance_trips)]
    return [*counts, *_limits(figures), _short(figures.verdict)]


def _short(verdict: str) -> str:
    return "not enough" if verdict == evidence.NOT_ENOUGH else VERDICTS[verdict]


def _closing(tuning: Tuning, folder: str) -> Text:
    lines = [f"rule of choice: {RULE}", "among alike ones, the one in the middle of what is varied"]
    if not tuning.gains:
        lines.append("no candidate is better than the base settings by that rule")
    if tuning.fresh is not None:
        lines.append(f"fresh library: the same recipe with seed {tuning.fresh.seed}, {tuning.fresh.traces} traces")
    else:
        lines.append("no fresh library: it was not asked for, or this library was not synthesised")
    lines += [f"settings, all candidates, report and plots: {folder}", CAUTION]
    return Text("\n".join(lines))


def tolerances_view(robust: Robustness, drawn: MonteCarlo, width: int, names: tuple[str, ...] = ()) -> RenderableType:
    """Return the report of `tolerances`: how far each lever moves, and the Monte Carlo.

    width: columns of the terminal; a wide one has room for the family that goes wrong first. names: families shown too.
    """
    parts: list[RenderableType] = [_levers(robust, robust.found, "all families", named=width >= WIDE)]
    for name in names:
        parts += [Text(), _levers(robust, robust.families.get(name, {}), name, named=False)]
    parts += [_unmoved(robust), Text(), _drawn(drawn), Text(), Text("\n".join([*_left_out(robust), CAUTION]))]
    return Group(*parts)


def _levers(robust: Robustness, found: Found, title: str, *, named: bool) -> RenderableType:
    table = plain_table(title=f"how far from here to the first missed and the first nuisance trip, {title}")
    table.add_column("what moves", overflow="fold", min_width=14)
    table.add_column("from", no_wrap=True, justify="right")
    table.add_column("way", no_wrap=True)
    for event in (MISSED, NUISANCE):
        table.add_column(f"first {event} at", justify="right", no_wrap=True)
        if named:
            table.add_column("in", overflow="fold")
    for number in sorted({number for number, _ in found}):
        lever = robust.levers[number]
        cells = []
        for event in (MISSED, NUISANCE):
            cells.append(_bracket(lever, found.get((number, event))))
            if named:
                cells.append(_first_family(robust, number, event))
        table.add_row(lever.name, start_text(lever), _way(lever), *cells)
    return table


def _first_family(robust: Robustness, number: int, event: str) -> str:
    """Return the family that the bracket of all comes from, the first by name of several."""
    whole = robust.found.get((number, event))
    alike = [
        name for name, found in robust.families.items() if whole and found.get((number, event), whole).bad == whole.bad
    ]
    return next((name for name in alike if (number, event) in robust.families[name]), NOTHING)


def _way(lever: Lever) -> str:
    return "up" if lever.sign > 0 else "down"


def _bracket(lever: Lever, bracket: Bracket | None) -> str:
    if bracket is None:
        return f"none to {amount_text(lever, lever.reach)}"
    return amount_text(lever, bracket.good, bracket.bad) + ("~" if bracket.again else "")


def _unmoved(robust: Robustness) -> Text:
    """Say which levers lead to nothing, and how far they were moved."""
    moved = {number for number, _ in robust.found}
    still = [
        f"{lever.name} {_way(lever)} by {amount_text(lever, lever.reach)}"
        for number, lever in enumerate(robust.levers)
        if number in robust.tried and number not in moved
    ]
    return Text("none within range: " + "; ".join(still) if still else "")


def _left_out(robust: Robustness) -> list[str]:
    lines = ["amounts: good to, bad at; each is moved by itself, tried at doubling distances, then bisected"]
    if any(bracket.again for bracket in robust.found.values()):
        lines.append("~ some trace comes good again further on")
    if robust.left_out:
        told = ", ".join(f"{count} {outcome}" for outcome, count in sorted(robust.left_out.items()))
        lines.append(f"left out, wrong to begin with: {told}")
    return lines


def _drawn(drawn: MonteCarlo) -> RenderableType:
    table = plain_table(title=f"{drawn.draws} installations drawn within the tolerances, seed {drawn.seed}")
    table.add_column("with at least one", no_wrap=True)
    for column in ("draws", "share", "interval", "at most"):
        table.add_column(column, justify="right", no_wrap=True)
    table.add_column("families", overflow="fold")
    for event, claim in drawn.shares.items():
        low, high = claim.interval
        names = [f"{name} {counts[event]}" for name, counts in drawn.families.items() if counts[event]]
        shares = (_share(claim.point or 0.0), f"{_share(low)} to {_share(high)}", _share(claim.upper))
        table.add_row(f"{event} trip", str(claim.events), *shares, ", ".join(names) or NOTHING)
    return Group(table, *(Text(line) for line in _stated(drawn)))


def _share(share: float) -> str:
    return f"{100 * share:.3g} %"


def _stated(drawn: MonteCarlo) -> list[str]:
    lines = []
    for channel, error in drawn.tolerances.items():
        words: list[Any] = [channel.replace("_", " "), f"offset within {error.offset_pa / 1000:g} kPa either way,"]
        words += [f"gain within {100 * error.gain:g} %, lag up to {error.lag_s:g} s"]
        lines.append(" ".join(words))
    return lines
