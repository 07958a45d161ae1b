"""Tables of `tune` and `tolerances`."""

import math
from typing import Any

from rich.console import RenderableType

from replay.display.forecast import FIGURES, figure_text
from replay.display.score import VERDICTS
from replay.display.table import Table
from replay.display.terminal import CAUTION, view
from replay.ground.shown import shown_in
from replay.ground.wording import NOTHING, percent, pressure, rate, sure, tenths, words
from replay.score import evidence
from replay.score.judgement import UNJUDGED
from replay.tuning.judge import RULE, Figures
from replay.tuning.levers import Lever, amount_text, start_text
from replay.tuning.race import CONFIDENCE as SHOWN_AT
from replay.tuning.race import RULE_BY_YEARS, Race
from replay.tuning.results import flat, front_json, given_words
from replay.tuning.robustness import MISSED, NUISANCE, Bracket, Found, Robustness
from replay.tuning.run import Moved, Tuned
from replay.tuning.tolerance import MonteCarlo
from replay.tuning.tune import Tuning

MOST_ROWS = 20
NOT_JUDGED = "nothing to judge"
LIMITS = ("missed limit", "nuisance limit per 1000 h", "worst margin s")
PARTS = {"tuning": "on the tuning part", "held_out": "held out", "whole": "on the whole library"}


def tuning_view(tuned: Tuned, folder: str = "the folder that write_tuning writes") -> RenderableType:
    """Return the report of `tune`: the Pareto set, and the chosen settings on what they were not chosen on."""
    tuning = tuned.tuning
    parts = ("tuning", "held_out") if tuning.split.held_out else ("tuning",)
    pareto = pareto_table(front_json(tuning), parts)
    years = (years_table(tuning, tuning.race),) if tuning.race else ()
    return view(_counts(tuning), pareto, _side_by_side(tuning), *years, _closing(tuning, folder))


def _counts(tuning: Tuning) -> str:
    judged = f"{len(tuning.lines) - 1} candidates judged on {len(tuning.library.entries)} traces"
    if tuning.left_out:
        judged += f", {tuning.left_out} left out because their settings contradict each other"
    if tuning.budget is not None and tuning.budget < tuning.space.size:
        judged += f"; searched among {tuning.space.size}, seed {tuning.seed}"
    held = len(tuning.split.held_out)
    parted = f"chosen on {len(tuning.split.tuning)} of them, {held} held out" if held else "chosen on all of them"
    return f"{judged}\n{parted}\n{tuning.split.apart}"


def pareto_table(report: dict[str, Any], parts: tuple[str, ...]) -> Table:
    """Return the Pareto set of a report of `tune` by limits on these parts, the chosen one first, the base last."""
    lines = sorted(report["pareto"], key=lambda line: line["number"] != report["chosen"])
    rows = [_line(line, " chosen" if line["number"] == report["chosen"] else "", parts) for line in lines[:MOST_ROWS]]
    left = len(lines) - MOST_ROWS
    more = f"; {left} more in the folder of the tuning" if left > 0 else ""
    where = ", then ".join(PARTS[part] for part in parts)
    heads = ("candidate", "settings", *LIMITS * len(parts), "alike", "acceptance, whole library")
    last = len(heads) - 1
    caption = f"Pareto set: no other is as good in all three and better in one {where}{more}"
    foot = _line(report["base_settings"], " base", parts)
    return Table(caption, heads, rows, foot, texts=frozenset({1, last}), wide=frozenset({last}))


def _line(line: dict[str, Any], mark: str, parts: tuple[str, ...]) -> list[str]:
    limits = [cell for part in parts for cell in _limits(line[part])]
    alike, verdict = str(line.get("alike") or NOTHING), line["whole"]["verdict"] or NOTHING
    return [f"{line['number']}{mark}", given_words(line["given"]), *limits, alike, verdict]


def _limits(part: dict[str, Any]) -> list[str]:
    """Return the cells of LIMITS; no number of nuisance trips in a report is no limit."""
    nuisance = part["nuisance_limit_per_1000h"]
    often = rate(math.inf if nuisance is None else nuisance)
    return [percent(part["missed_limit"]), often, tenths(part["worst_margin_s"])]


def _side_by_side(tuning: Tuning) -> Table:
    rows = []
    for title, chosen, base in _parts(tuning):
        rows += [(title, "chosen", *_cells(chosen)), ("", "base", *_cells(base))]
    heads = ("on", "", "missed", "nuisance trips", *LIMITS, "acceptance")
    caption = f"Chosen (no. {tuning.best.candidate}) and base, side by side"
    return Table(caption, heads, rows, texts=frozenset({1, 7}))


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
    verdict = "not enough" if figures.verdict == evidence.NOT_ENOUGH else VERDICTS[figures.verdict]
    return [f"{totals.missed}/{totals.must_trip}", str(totals.nuisance_trips), *_limits(flat(figures)), verdict]


def years_table(tuning: Tuning, race: Race) -> Table:
    """Return what a year costs under each candidate that ran, and by how much more than under the chosen one."""
    best = tuning.best.candidate
    priced = {figure: cost for figure, cost in race.asked.prices.items() if cost}
    rows = []
    for number in sorted(race.ranking, key=lambda one: one != best)[:MOST_ROWS]:
        told = [figure_text(value) if math.isfinite(value) else NOTHING for value in race.dearer(number)]
        dearer = [NOTHING] * 2 if number == best else [told[0], " to ".join(told[1:])]
        mark = " chosen" if number == best else " base" if number == tuning.racing_base else ""
        about = (f"{number}{mark}", given_words(tuning.lines[number].candidate.given), str(len(race.costs[number])))
        cells = (figure_text(race.figure(number, figure)) for figure in priced)
        rows.append((*about, figure_text(race.cost(number)), *dearer, *cells))
    left = len(race.costs) - MOST_ROWS
    stated = ", ".join(f"{FIGURES.get(figure, words(figure))} {cost:g}" for figure, cost in priced.items())
    caption = f"What a year costs; costs as stated: {stated}{f'; {left} more in the report' if left > 0 else ''}"
    names = (FIGURES.get(figure, words(figure)) for figure in priced)
    heads = ("candidate", "settings", "years", "cost", "dearer by", f"at {percent(SHOWN_AT)}", *names)
    return Table(caption, heads, rows, texts=frozenset({1}))


def _raced(tuning: Tuning, race: Race) -> list[str]:
    """Return what was chosen by, how sure that is, and what more years would tell."""
    best, base = tuning.best.candidate, tuning.racing_base
    years = len(race.costs[best])
    ran = f"{len(race.costs)} with that verdict ran the same machine-years"
    lines = [f"rule of choice: {RULE_BY_YEARS}; {ran}"]
    close = [number for number in race.ranking if number not in race.alike and not race.told_apart(number)]
    if close:
        wanted = [needed for number in close[:1] if (needed := race.years_wanted(number)) is not None]
        more = f"; some {max(wanted[0] - years, 1.0):.0f} machine-years more would tell {close[0]}" if wanted else ""
        named = ", ".join(map(str, sorted(close)))
        lines.append(f"not told from the chosen one in {years} machine-years: {named}{more}")
    if len(race.alike) > 1:
        lines.append(f"alike in every year: {', '.join(map(str, race.alike))}; the one in the middle of what is varied")
    if base is None:
        lines.append("the base settings did not run: the library's verdict on them is worse")
    elif base in race.alike:
        lines.append("the base settings cost as little as any candidate")
    elif not race.told_apart(base):
        lines.append("the base settings cannot be told from the chosen ones with these years: no reason to change them")
    return lines


def _closing(tuning: Tuning, folder: str) -> str:
    if tuning.race is not None:
        lines = _raced(tuning, tuning.race)
    else:
        lines = [f"rule of choice: {RULE}", "among equals, the one in the middle of what is varied"]
    if tuning.at_an_end:
        ends = {key: value for key, value in tuning.chosen.candidate.given.items() if key in tuning.at_an_end}
        lines.append(f"at the end of what was varied: {given_words(ends)}; values beyond it were not tried")
    lines += [f"NOT JUDGED, {name}: {UNJUDGED[name]}" for name in tuning.chosen.whole.unjudged]
    if not tuning.gains and tuning.race is None:
        lines.append("no candidate is better than the base settings by that rule")
    if tuning.fresh is not None:
        lines.append(f"fresh library: the same recipe with seed {tuning.fresh.seed}, {tuning.fresh.traces} traces")
    else:
        lines.append("no fresh library: it was not asked for, or this library was not synthesised")
    lines += [f"settings, all candidates, report and plots: {folder}", CAUTION]
    return "\n".join(lines)


def tolerances_view(moved: Moved, names: tuple[str, ...] = ()) -> RenderableType:
    """Return the report of `tolerances`: how far each lever moves, and the Monte Carlo. names: families shown too."""
    with shown_in(moved.robust.settings.units):
        return _tolerances(moved, names)


def _tolerances(moved: Moved, names: tuple[str, ...]) -> RenderableType:
    robust, drawn = moved.robust, moved.drawn
    tables = [_levers(robust, robust.found, "all families")]
    tables += [_levers(robust, robust.families.get(name, {}), name) for name in names]
    missing = [f"NOT JUDGED, {event} trips: {why}" for event, why in moved.unjudged.items()]
    closing = "\n".join([*_stated(drawn), *_left_out(robust), *missing, CAUTION])
    return view(*tables, _unmoved(robust), _drawn(drawn, robust.settings.acceptance.shown_confidence), closing)


def _levers(robust: Robustness, found: Found, title: str) -> Table:
    """Return how far each lever moves; where all families are looked at, a wide table says which goes wrong first."""
    named = found is robust.found
    rows = []
    for number in sorted({number for number, _ in found}):
        lever = robust.levers[number]
        cells = []
        for event in (MISSED, NUISANCE):
            judged = robust.judged[event] if named else [name for name in robust.judged[event] if name == title]
            told = _bracket(lever, found.get((number, event))) if judged else NOT_JUDGED
            cells += [told, *[_first_family(robust, number, event)] * named]
        rows.append((lever.name, start_text(lever), _way(lever), *cells))
    events = [head for event in (MISSED, NUISANCE) for head in (f"first {event} at", *["in"] * named)]
    caption = f"How far from here to the first missed and the first nuisance trip, {title}"
    texts, wide = (frozenset({2, 4, 6}), frozenset({4, 6})) if named else (frozenset({2}), frozenset[int]())
    return Table(caption, ("what moves", "from", "way", *events), rows, texts=texts, wide=wide)


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
    return amount_text(lever, bracket.good, bracket.bad) + ("~" if bracket.good_again else "")


def _unmoved(robust: Robustness) -> str:
    """Say which levers lead to nothing, and how far they were moved."""
    moved = {number for number, _ in robust.found}
    still = [
        f"{lever.name} {_way(lever)} by {amount_text(lever, lever.reach)}"
        for number, lever in enumerate(robust.levers)
        if number in robust.tried and number not in moved
    ]
    judged = [event for event, families in robust.judged.items() if families]
    alone = f" ({', '.join(judged) or 'nothing'} judged alone)" if len(judged) < len(robust.judged) else ""
    return f"none within range{alone}: " + ("; ".join(still) or NOTHING)


def _left_out(robust: Robustness) -> list[str]:
    lines = ["A to B: judged right at A, wrong at B; each is moved alone, by doubling, then bisection"]
    if any(bracket.good_again for bracket in robust.found.values()):
        lines.append("~ a trace is judged right again further on")
    if robust.left_out:
        told = ", ".join(f"{count} {outcome}" for outcome, count in sorted(robust.left_out.items()))
        lines.append(f"left out, wrong from the start: {told}")
    return lines


def _drawn(drawn: MonteCarlo, confidence: float) -> Table:
    rows = []
    for event, claim in drawn.shares.items():
        names = [f"{name} {counts[event]}" for name, counts in drawn.families.items() if counts[event]]
        shares = (percent(claim.point), percent(claim.upper))
        drew = f"{claim.events}" if claim.of else NOT_JUDGED
        rows.append((f"{event} trip", drew, *shares, ", ".join(names) or NOTHING))
    heads = ("with at least one", "draws", "share", f"at most, {sure(confidence)}", "families")
    caption = f"{drawn.draws} installations drawn within the tolerances, seed {drawn.seed}"
    return Table(caption, heads, rows, texts=frozenset({4}))


def _stated(drawn: MonteCarlo) -> list[str]:
    lines = []
    for channel, error in drawn.tolerances.items():
        told = [words(channel), f"offset within {pressure(error.offset_pa)} either way,"]
        told += [f"gain within {100 * error.gain:g} %, lag up to {error.lag_s:g} s"]
        lines.append(" ".join(told))
    return lines
