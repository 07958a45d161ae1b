"""A second account of a scored library, from its files alone: small, plain, and nothing of replay/score in it.

Decisions come from `protect.protection.step`, tick by tick; what they are worth is restated here from the words of the
README and of `replay/score`, with tomllib, pandas and scipy.stats. Only the integers of the settings are the product's
(`read_settings`), which has tests of its own. Outcomes, totals, limits and verdict of a report are held equal to these.
"""

import bisect
import functools
import itertools
import math
import statistics
import tomllib
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pandas as pd
import scipy  # whose parts are imported when they are first used

from protect import outputs, protection, ranges, state
from protect import settings as rules
from replay.settings import read_settings

AGAIN_S, AFTER_S = 600.0, 300.0
CAUSES = {1: "oil", 2: "reload", 3: "sensor", 4: "resets"}
WRONG = ("missed", "early", "nuisance")
NEITHER = ("undecided", "counted already")
Span = tuple[float, float]


# ------------------------------------------------------------------------------------------ what a machine lives through


@dataclass
class Lived:
    """A trace as the machine lived it: stops as [at, may run again at, reason word] in s of the trace, and counts."""

    stops: list[list[float]] = field(default_factory=list)
    run_ms: int = 0
    late: int = 0
    locked_out: bool = False
    spans: list[tuple[float, float]] = field(default_factory=list)  # s between rows in which the trace runs


def rows_of(file: Path) -> pd.DataFrame:
    """Return the rows of a trace file: ms since its first, whole Pa, flags."""
    read = pd.read_csv(file)
    rows = pd.DataFrame({"at_s": read.time_s, "ms": ((read.time_s - read.time_s[0]) * 1000).round().astype(int)})
    for channel, column in (("oil", "oil_pressure_kpa"), ("suction", "suction_pressure_kpa")):
        rows[channel] = (read[column] * 1000).round().fillna(ranges.NO_READING).astype(int)
    rows["running"] = read.running.astype(int)
    rows["reset"] = read.reset.fillna(0).astype(int) if "reset" in read else 0
    rows["elapsed"] = rows.ms.diff().fillna(0).astype(int)
    return rows


def lived(rows: pd.DataFrame, values: tuple[int, ...]) -> Lived:
    """Let the machine obey: it stands while it may not run, and feels a stop when it would run and may not."""
    memory, results, own = [0] * state.STATE_SIZE, [0] * outputs.OUTPUTS_SIZE, list(values)
    state.power_up(memory, own)
    found, may_run, feels = Lived(), True, False
    for row in rows.itertuples():
        runs = row.running and may_run
        own[ranges.REST_MOST] = ranges.REST_OFF if row.running and not may_run else values[ranges.REST_MOST]
        protection.step(memory, own, [row.elapsed, int(runs), row.reset, row.oil, row.suction, row.suction], results)
        if row.elapsed > own[ranges.MAX_GAP]:
            found.late += 1
        elif runs:
            found.run_ms += row.elapsed
        may_run = bool(results[outputs.RUN_PERMISSION])
        found.locked_out |= memory[state.STATE] == state.LOCKED_OUT
        if may_run and feels:
            found.stops[-1][1] = round(row.at_s, 3)
            feels = False
        elif not may_run and row.running and not feels:
            found.stops.append([round(row.at_s, 3), math.inf, memory[state.CAUSE]])
            feels = True
    return found


def plain_logics(rows: pd.DataFrame, values: tuple[int, ...]) -> dict[str, Lived]:
    """Return what never stopping, stopping at once and a plain timer come to."""
    found = {name: Lived() for name in ("never stops", "always stops, at the start", "plain timer")}
    short_ms = 0
    for row in rows.itertuples():
        unread = ranges.NO_READING in (row.oil, row.suction)
        low = row.running and (unread or row.oil - row.suction < values[ranges.CUT_OUT])
        short_ms = short_ms + row.elapsed if low else 0
        stop = {"always stops, at the start": row.running, "plain timer": low and short_ms >= values[ranges.TRIP_DELAY]}
        for name, one in found.items():
            if one.stops:
                continue
            one.run_ms += row.elapsed * row.running
            if stop.get(name):
                one.stops, one.locked_out = [[round(row.at_s, 3), math.inf, 1]], True
    return found


def plain_law(rows: pd.DataFrame, values: tuple[int, ...], law: str, cut_out: int, delay: int) -> Lived:
    """Return what a plain law with a cut-out (Pa) and a delay (ms) comes to."""
    if law == "unweighted integrator":
        own = list(values)
        own[ranges.CUT_IN] += cut_out - own[ranges.CUT_OUT]
        own[ranges.CUT_OUT], own[ranges.TRIP_DELAY] = cut_out, delay
        own[ranges.FLOOR] = min(own[ranges.FLOOR], cut_out - 1)
        own[ranges.FLOOR_WEIGHT] = own[ranges.VACUUM_WEIGHT] = 2048
        rules.derive(own)
        return lived(rows, tuple(own))
    found, short_ms = Lived(), 0
    for row in rows.itertuples():
        low = ranges.NO_READING in (row.oil, row.suction) or row.oil - row.suction < cut_out
        if law == "vacuum and low":
            low = low and row.suction != ranges.NO_READING and row.suction < values[ranges.VACUUM]
        short_ms = short_ms + row.elapsed if low and row.running else 0
        found.run_ms += row.elapsed * row.running
        if low and row.running and short_ms >= delay:
            found.stops, found.locked_out = [[round(row.at_s, 3), math.inf, 1]], True
            break
    return found


# -------------------------------------------------------------------------------------------------- what is told twice


def told_twice(entries: list[dict[str, Any]], folder: Path, rows: list[pd.DataFrame]) -> list[dict[str, Any]]:
    """Return pairs of traces that tell the same bytes, or overlap by the clock; write into entries what is told and doubted.

    What two recordings of one machine have in common is here taken from start_utc alone: drawn ones share no rows.
    """
    content = [(folder / entry["file"]).read_bytes() for entry in entries]
    windows = [windows_of(entry) for entry in entries]
    ends = [[w["deadline_s"] for w in some] for some in windows]
    best = sorted(range(len(entries)), key=lambda n: (not ends[n], ends[n], n))
    pairs, by_clock, gone = [], [], set()
    for place, second in enumerate(best):
        first = next((one for one in best[:place] if content[one] == content[second]), None)
        if first is not None:
            gone.add(second)
            pairs.append((first, second, rows[second].at_s.iloc[0], rows[second].at_s.iloc[-1], 0.0))
    dated = sorted((e["start_utc"], n) for n, e in enumerate(entries) if "start_utc" in e and n not in gone)
    for (one, first), (other, second) in itertools.combinations(dated, 2):
        since, begin = (other - one).total_seconds(), rows[second].at_s.iloc[0]
        long = [rows[n].at_s.iloc[-1] - rows[n].at_s.iloc[0] for n in (first, second)]
        if entries[first]["machine"].casefold() == entries[second]["machine"].casefold() and since < long[0]:
            until = begin + min(long[0] - since, long[1])
            by_clock.append((first, second, begin, until, rows[first].at_s.iloc[0] + since - begin))
    found = []
    for first, second, begin, end, ahead in [*pairs, *sorted(by_clock)]:
        kind, spans = common(entries[first], entries[second], (begin, end), ahead, same_bytes=second in gone)
        if kind:
            one, spans = whose(entries, first, second, kind, spans, ahead)
            entries[one].setdefault("told", []).extend(spans)
            ids = {"first": entries[first]["id"], "second": entries[second]["id"]}
            found.append({"kind": kind, **ids, "seconds": end - begin})
        if kind == "contradict":
            for one, other in ((first, second), (second, first)):
                told = f"contradicts {entries[other]['id']} over the same stretch"
                entries[one]["doubt"] = "; ".join(filter(None, [entries[one].get("doubt", ""), told]))
    return found


def whose(
    entries: list[dict[str, Any]], first: int, second: int, kind: str, spans: list[Span], ahead: float
) -> tuple[int, list[Span]]:
    """Return which of two traces tells the stretches no more, and those in its time: the second, or that of the fault."""
    if kind == "overlap" and "ride_through" in entries[second] and "must_trip" in entries[first]:
        return first, [(begin + ahead, end + ahead) for begin, end in spans]
    return second, spans


def windows_of(entry: dict[str, Any]) -> list[dict[str, float]]:
    """Return the windows of a label, none of any other."""
    given = entry.get("must_trip", [])
    return given if isinstance(given, list) else [given]


def common(
    one: dict[str, Any], other: dict[str, Any], shared: Span, ahead: float, *, same_bytes: bool
) -> tuple[str, list[Span]]:
    """Return what two traces have in common, and what of it the other one tells no more; ahead: of one's time, in s."""
    first, second = windows_of(one), windows_of(other)
    kinds = [next(kind for kind in ("must_trip", "ride_through", "undecided") if kind in e) for e in (one, other)]
    if same_bytes and kinds[0] == kinds[1] and first == second:
        return "same", [shared]
    if kinds[0] == kinds[1] == "ride_through":
        return "overlap", [shared]
    if "undecided" in kinds:
        return ("contradict" if same_bytes else ""), []
    moved = [(w["earliest_s"] - ahead, w["deadline_s"] - ahead) for w in first]
    own = [(w["earliest_s"], w["deadline_s"]) for w in second]
    pairs = [(a, b) for a in moved for b in own if abs(a[0] - b[0]) <= 1.0 and a[1] <= b[1] + 1.0]
    told = [b for b in own if any(b == pair[1] for pair in pairs)]
    alone = [a for a in moved if not any(a == pair[0] for pair in pairs)] + [b for b in own if b not in told]
    if (same_bytes and kinds[0] != kinds[1]) or any(overlaps(*window, [shared]) for window in alone):
        return "contradict", told
    if kinds[0] != kinds[1]:  # a harmless recording, and one of a fault elsewhere
        return "overlap", [shared]
    return ("overlap" if told else ""), told


# ------------------------------------------------------------------------------------------------- against the label


def given_to(
    windows: list[dict[str, float]], stops: list[list[float]], held: list[bool], told: list[Span]
) -> tuple[dict[int, float], dict[int, float], int, int]:
    """Return by window the stop that answers it and the first that came too early, the nuisance trips and the repeats."""
    ends = [max(w[key] for key in ("deadline_s", "likely_s", "latest_s") if key in w) for w in windows]
    answer: dict[int, float] = {}
    before: dict[int, float] = {}
    nuisance = repeats = 0
    past: list[float] = []  # the stop before: at, until, whether of a fault
    for at, until, _ in stops:
        begun = [n for n, w in enumerate(windows) if w["earliest_s"] <= at]
        here, following = (begun[-1] if begun else -1), len(begun)
        last, of_fault = following == len(windows), True
        if begun and here not in answer and not held[here] and (last or at <= ends[here] + AGAIN_S):
            answer[here] = at
        elif not last:
            over = begun and past and past[0] < windows[here]["earliest_s"] and past[1] > windows[here]["deadline_s"]
            again = past and at - past[1] <= AGAIN_S and (past[2] or over)
            of_fault = bool(again or (begun and at <= ends[here]))
            w = windows[here if of_fault else following]
            if not of_fault and overlaps(at, at, told):  # a harmless recording counts it
                past = [at, until, of_fault]
                continue
            if not overlaps(w["earliest_s"], w["deadline_s"], told):  # else it counts where that fault does
                repeats, nuisance = repeats + of_fault, nuisance + (not of_fault)
            if not of_fault:
                before.setdefault(following, at)
        past = [at, until, of_fault]
    return answer, before, nuisance, repeats


def overlaps(begin: float, end: float, spans: list[Span]) -> bool:
    """Say whether a stretch has a moment in common with one of some others."""
    return any(max(begin, since) <= min(end, until) for since, until in spans)


def judged_windows(
    windows: list[dict[str, float]], stops: list[list[float]], told: list[Span]
) -> tuple[list[dict[str, Any]], int, int]:
    """Return what became of each window, and the nuisance trips and the repeats that no other trace tells."""
    causes = {at: CAUSES[int(word) & 7] for at, _, word in stops}
    held = [any(at < w["earliest_s"] and until > w["deadline_s"] for at, until, _ in stops) for w in windows]
    answer, before, nuisance, repeats = given_to(windows, stops, held, told)
    found = []
    for n, w in enumerate(windows):
        stop = before.get(n, None if held[n] else answer.get(n))
        outcome = "missed"
        if n in before:
            outcome = "early"
        elif held[n]:
            outcome = "stood"
        elif stop is not None and stop <= w["deadline_s"]:
            outcome = "hit"
        late = None
        if outcome == "missed":
            late = "no stop" if stop is None else "too late"
            for name, key in (("latest", "latest_s"), ("likely", "likely_s")):
                if stop is not None and stop <= w.get(key, -math.inf):
                    late = name
        less = {
            key: round(w[key] - stop, 3) if key in w and stop is not None else None
            for key in ("deadline_s", "likely_s")
        }
        found.append(
            {key: w.get(key) for key in ("earliest_s", "deadline_s", "likely_s", "latest_s")}
            | {"outcome": outcome, "stop_s": stop, "margin_s": less["deadline_s"], "likely_margin_s": less["likely_s"]}
            | {"late": late, "cause": causes.get(stop)}
        )
    return found, nuisance, repeats


def ran_within(spans: list[Span], rows: pd.DataFrame, stops: list[list[float]]) -> float:
    """Return how many s of some stretches the machine ran, every moment once."""
    within = 0.0
    for row in rows[rows.running == 1].itertuples():
        if any(at < row.at_s <= until for at, until, _ in stops):
            continue
        reached = row.at_s - row.elapsed / 1000
        for begin, end in sorted(spans):
            begin, end = max(begin, reached), min(end, row.at_s)  # noqa: PLW2901 - what is left of it in this row
            within += max(0.0, end - begin)
            reached = max(reached, end)
    return within


def judged_upsets(upsets: list[list[float]], told: list[Span], rows: pd.DataFrame, one: Lived) -> dict[str, Any]:
    """Return what became of the upsets of a trace that rides through, without what another trace tells."""
    upsets = [upset for upset in upsets if not overlaps(*upset, told)]
    hit, outside = set(), 0
    for at in (at for at, *_ in one.stops if not overlaps(at, at, told)):
        begun = [n for n, (begin, _) in enumerate(upsets) if begin <= at]
        if begun and at <= upsets[begun[-1]][1] + AFTER_S:
            hit.add(begun[-1])
        else:
            outside += 1
    over = [n for n, (b, e) in enumerate(upsets) if any(at < b and until > e for at, until, _ in one.stops)]
    stood = [n for n in over if n not in hit]
    within = ran_within([*((b, e + AFTER_S) for b, e in upsets), *told], rows, one.stops)
    return {
        "rode_through": len(upsets) - len(hit) - len(stood),
        "stopped": len(hit),
        "stood": len(stood),
        "stops_outside": outside,
        "hours_outside": round(max(0.0, one.run_ms / 1000 - within) / 3600, 6),
    }


# What a family is called in which a sensor fails; and what a synthesised origin says of readings that stand still.
SENSORS = (
    *("sensor", "transmitter", "transducer", "probe", "signal", "wire", "wiring", "cable"),
    *("reading", "channel", "dropout", "logger"),
)
CHAIN = ("dead band", "coarse digits", "taken for")


def sensor_fails(entry: dict[str, Any]) -> bool:
    """Say whether family or origin of a trace tells of a sensor that fails."""
    family, origin = entry["family"].casefold(), entry.get("origin", "")
    _, *chain = origin.split("; ") if origin.startswith("synthetic:") else [""]
    return any(word in family for word in SENSORS) or any(word in part for part in chain for word in CHAIN)


def verdict_of(entry: dict[str, Any], rows: pd.DataFrame, one: Lived) -> dict[str, Any]:
    """Return one row of the report. told of an entry: stretches that another trace tells; doubt: why it proves nothing."""
    told = entry.get("told", [])
    windows, nuisance, repeats = judged_windows(windows_of(entry), one.stops, told)
    first = one.stops[0] if one.stops else None
    row: dict[str, Any] = {"id": entry["id"], "family": entry["family"], "deadline_s": None, "margin_s": None}
    left = [w for w in windows if not overlaps(w["earliest_s"], w["deadline_s"], told)]
    upsets = None
    whole = any(begin <= rows.at_s.min() + 0.001 and rows.at_s.max() <= end + 0.001 for begin, end in told)
    if whole or (windows and not left):
        row["outcome"], left, nuisance, repeats = "counted already", [], 0, 0
    elif left:
        order = ("missed", "early", "hit", "stood")
        worst = min(left, key=lambda w: order.index(w["outcome"]))
        row |= {key: worst[key] for key in ("outcome", "deadline_s", "margin_s")}
    elif entry.get("ride_through"):
        nuisance = sum(not overlaps(at, at, told) for at, *_ in one.stops)
        row["outcome"] = "nuisance" if nuisance else "rode_through"
        upsets = judged_upsets(entry.get("upsets", []), told, rows, one)
    else:
        row["outcome"] = "undecided"
    ran_s = max(0.0, one.run_ms / 1000 - ran_within(told, rows, one.stops))
    return row | {
        "first_trip_s": first[0] if first else None,
        "cause": CAUSES[int(first[2]) & 7] if first else None,
        "run_hours": round(ran_s / 3600, 6),
        "trips": len(one.stops),
        "locked_out": one.locked_out,
        "late_ticks": one.late,
        "nuisance_trips": nuisance,
        "repeats": repeats,
        "windows": left,
        "upsets": upsets,
        "doubt": entry.get("doubt", ""),
        "sensor_fails": sensor_fails(entry),
    }


# ---------------------------------------------------------------------------------------------------- totals and limits


def totals_of(rows: list[dict[str, Any]]) -> dict[str, Any]:
    """Count; rows that are undecided or told by another trace count for nothing."""
    rows = [row for row in rows if row["outcome"] not in NEITHER]
    windows = [w for row in rows for w in row["windows"]]
    outcomes = pd.Series([w["outcome"] for w in windows], dtype=str).value_counts()
    hits = [w for w in windows if w["outcome"] == "hit"]
    margins = [w["margin_s"] for w in hits]
    likely = [w["likely_margin_s"] for w in hits if w["likely_margin_s"] is not None]
    rides = [row for row in rows if not row["windows"]]
    hours = round(sum(row["run_hours"] for row in rides), 6)
    met = pd.DataFrame([row["upsets"] for row in rides], columns=list(judged_upsets([], [], rows_none(), Lived())))
    marked = bool(len(met)) and bool((met[["rode_through", "stopped", "stood"]].sum().sum()) > 0)
    nuisance = sum(row["nuisance_trips"] for row in rows)
    causes = pd.Series([w["cause"] for w in hits], dtype=str).value_counts().sort_index()
    by_sensor = [w for row in rows if not row["sensor_fails"] for w in row["windows"] if w["outcome"] == "hit"]
    return {
        "must_trip": len(windows),
        **{name: int(outcomes.get(name, 0)) for name in ("hit", "missed", "early", "stood")},
        "late": {n: sum(w["late"] == n for w in windows) for n in ("likely", "latest", "too late", "no stop")},
        "repeats": sum(row["repeats"] for row in rows),
        "ride_through": len(rides),
        "ride_through_run_hours": hours,
        "nuisance_trips": nuisance,
        "median_margin_s": round(statistics.median(margins), 3) if margins else None,
        "worst_margin_s": min(margins, default=None),
        "worst_likely_margin_s": min(likely, default=None),
        "worst_late_margin_s": min(
            (w["margin_s"] for w in windows if w["late"] not in (None, "no stop")), default=None
        ),
        "upsets": int(met.rode_through.sum() + met.stopped.sum()),
        "upsets_stopped": int(met.stopped.sum()) if marked else None,
        "stops_outside_upsets": int(met.stops_outside.sum()) if marked else None,
        "hours_outside_upsets": round(float(met.hours_outside.sum()), 6) if marked else None,
        "hits_by_cause": {str(cause): int(count) for cause, count in causes.items()},
        "sensor_hits": sum(w["cause"] == "sensor" for w in by_sensor),
        "doubted": sum(bool(row.get("doubt")) for row in rows),
        "margins": margins,
        "nuisance_per_1000h": 0.0 if not nuisance else 1000 * nuisance / hours if hours else math.inf,
    }


def rows_none() -> pd.DataFrame:
    """Return no rows."""
    return pd.DataFrame({"running": [], "at_s": [], "elapsed": []})


@functools.cache
def beta(sure: float, one: float, other: float) -> float:
    """Return a quantile of a beta distribution."""
    return float(scipy.stats.beta.ppf(sure, one, other))


@functools.cache
def probability(events: int, trials: int, sure: float) -> tuple[float | None, list[float], float]:
    """Return value, exact two-sided interval and one-sided upper limit of a probability, by scipy's binomtest."""
    if not trials:
        return None, [0.0, 1.0], 1.0
    both = scipy.stats.binomtest(events, trials).proportion_ci(sure, "exact")
    one = scipy.stats.binomtest(events, trials, alternative="less").proportion_ci(sure, "exact")
    return events / trials, [both.low, both.high], one.high


@functools.cache
def per_1000h(events: int, hours: float, sure: float) -> tuple[float | None, list[float], float]:
    """Return the same of a rate per 1000 h, by quantiles of chi-squared (Garwood)."""
    if not hours:
        return None, [0.0 if not events else math.inf, math.inf], math.inf
    upper = lambda q: 500 * scipy.stats.chi2.ppf(q, 2 * events + 2) / hours  # noqa: E731
    low = 500 * scipy.stats.chi2.ppf((1 - sure) / 2, 2 * events) / hours if events else 0.0
    return 1000 * events / hours, [low, upper((1 + sure) / 2)], upper(sure)


def claims_of(total: dict[str, Any], acceptance: dict[str, Any], sure: float) -> list[dict[str, Any]]:
    """Return the four claims: rule, counts, value, limits, what is wanted, verdict."""
    judged = "confidence" in acceptance
    trials = total["hit"] + total["missed"]
    thin = total["missed"] + sum(margin < acceptance["min_margin_s"] for margin in total["margins"])
    stopped, hours = total["upsets_stopped"] or 0, total["ride_through_run_hours"]
    rows = [
        ("max_missed_probability", total["missed"], trials, acceptance.get("max_missed_probability", 0.1)),
        ("max_nuisance_per_1000h", total["nuisance_trips"], hours, acceptance["max_nuisance_per_1000h"]),
        ("min_margin_coverage", thin, trials, 1 - acceptance.get("min_margin_coverage", 0.9)),
        ("max_nuisance_probability", stopped, total["upsets"], acceptance.get("max_nuisance_probability")),
    ]
    found = []
    for rule, events, of, limit in rows:
        limits = per_1000h if rule == "max_nuisance_per_1000h" else probability
        point, interval, upper = limits(events, of, sure)
        wanted = limit if judged else None
        verdict = "not judged"
        if wanted is not None:
            verdict = (
                "met"
                if upper <= wanted
                else "not met"
                if point is not None and point > wanted
                else "not enough evidence"
            )
        row = {"rule": rule, "events": events, "of": of, "point": point, "interval": interval, "upper": upper}
        found.append(row | {"wanted": wanted, "verdict": verdict})
    return found


def failures_of(total: dict[str, Any], claims: list[dict[str, Any]], acceptance: dict[str, Any]) -> dict[str, Any]:
    """Return what is broken: rule -> what was got."""
    broken = {}
    if total["missed"] > acceptance["max_missed"]:
        broken["max_missed"] = total["missed"]
    if total["nuisance_per_1000h"] > acceptance["max_nuisance_per_1000h"]:
        broken["max_nuisance_per_1000h"] = total["nuisance_per_1000h"] if total["ride_through_run_hours"] else None
    if total["worst_margin_s"] is not None and total["worst_margin_s"] < acceptance["min_margin_s"]:
        broken["min_margin"] = total["worst_margin_s"]
    for claim in claims:
        if claim["verdict"] == "not met":
            broken.setdefault(claim["rule"], claim["point"])
    return broken


def unjudged_of(total: dict[str, Any]) -> list[str]:
    """Return the rules that nothing was judged on, and whether traces are in doubt.

    A hit by a sensor where none is said to fail shows nothing of how faults are found.
    """
    shown = total["hit"] - total["sensor_hits"] + total["missed"]
    something = {
        "max_missed": shown,
        "max_nuisance_per_1000h": total["ride_through_run_hours"],
        "min_margin": total["hit"],
        "traces in doubt": not total["doubted"],
    }
    return [name for name, there in something.items() if not there]


def verdict_on(total: dict[str, Any], claims: list[dict[str, Any]], acceptance: dict[str, Any]) -> str:
    """Return the verdict: a broken rule goes before missing evidence, and nothing is met that nothing shows."""
    if failures_of(total, claims, acceptance):
        return "not met"
    lacking = any(claim["verdict"] == "not enough evidence" for claim in claims)
    return "not enough evidence" if lacking or unjudged_of(total) else "met"


def margin_of_nine_in_ten(total: dict[str, Any], sure: float) -> float | None:
    """Return the largest order statistic that nine in ten exceed so surely; a missed fault has the least margin of all."""
    ordered = sorted([-math.inf] * total["missed"] + total["margins"])
    good = [value for k, value in enumerate(ordered) if scipy.stats.binom.cdf(k, len(ordered), 0.1) <= 1 - sure + 1e-12]
    return good[-1] if good and math.isfinite(good[-1]) else None


def mix_of(shares: dict[str, float], rows: list[dict[str, Any]], sure: float) -> dict[str, Any]:
    """Return the stated mix of families: shares, missed probability seen, and its limit with Bonferroni's correction."""
    whole, seen, upper = sum(shares.values()), 0.0, 0.0
    for name, share in shares.items():
        own = totals_of([row for row in rows if row["family"] == name])
        trials = own["hit"] + own["missed"]
        seen += share / whole * (own["missed"] / trials if trials else 0.0)
        upper += share / whole * probability(own["missed"], trials, 1 - (1 - sure) / len(shares))[2]
    return {"shares": {n: s / whole for n, s in shares.items()}, "missed_probability": seen, "upper": upper}


# ------------------------------------------------------------------------------------- what labels and limits rest on


def alike_labels(one: dict[str, Any], other: dict[str, Any]) -> bool:
    """Say whether two labels are of one kind, with as many windows that share half of the time or more of what they cover."""
    kinds = [
        next(kind for kind in ("must_trip", "ride_through", "undecided") if kind in label) for label in (one, other)
    ]
    pairs = list(itertools.zip_longest(windows_of(one), windows_of(other)))
    if kinds[0] != kinds[1] or any(None in pair for pair in pairs):
        return False
    for a, b in pairs:
        ends = sorted([a["earliest_s"], a["deadline_s"], b["earliest_s"], b["deadline_s"]])
        apart = a["deadline_s"] < b["earliest_s"] or b["deadline_s"] < a["earliest_s"]
        if ends[0] != ends[3] and (apart or ends[2] - ends[1] < (ends[3] - ends[0]) / 2):
            return False
    return True


def rests_of(entries: list[dict[str, Any]]) -> dict[str, int]:
    """Count what labels that are decided rest on: those who say the same, else how the trace came about."""
    found = dict.fromkeys(
        ("inspection", "two reviewers", "one reviewer", "physics", "nobody named", "reviewers differ"), 0
    )
    for entry in entries:
        words = entry.get("labels", [])
        if "undecided" in entry:
            found["reviewers differ"] += any("undecided" not in word for word in words)
            continue
        same = [word for word in words if alike_labels(word, entry)]
        made = "physics" if entry["origin"].startswith("synthetic:") else "nobody named"
        by = {0: made, 1: "one reviewer"}.get(len({word["by"] for word in same}), "two reviewers")
        found["inspection" if any("inspection" in word for word in same) else by] += 1
    return found


def machines_of(
    entries: list[dict[str, Any]], rows: list[dict[str, Any]], acceptance: dict[str, Any]
) -> dict[str, Any]:
    """Return the limits whose trials are machines: a recorded one by its name, a synthesised trace by itself."""
    sure, could, did = (
        acceptance.get("confidence", 0.95),
        [set[str]() for _ in range(4)],
        [set[str]() for _ in range(4)],
    )
    judged = [(e, r) for e, r in zip(entries, rows, strict=True) if r["outcome"] not in NEITHER]
    names = []
    for entry, row in judged:
        made = entry["origin"].startswith("synthetic:")
        name = "made " + entry["id"] if made else "of " + " ".join(entry["machine"].casefold().split())
        names.append(name)
        found = [w for w in row["windows"] if w["outcome"] in ("hit", "missed")]
        upsets = row["upsets"] or {"stopped": 0, "rode_through": 0}
        late = any(w["outcome"] == "missed" for w in found)
        thin = any(w["outcome"] == "hit" and w["margin_s"] < acceptance["min_margin_s"] for w in found)
        runs = (not row["windows"] and row["run_hours"] > 0) or row["nuisance_trips"]
        met = upsets["stopped"] + upsets["rode_through"]
        for place, (tried, came) in enumerate(
            [(found, late), (runs, row["nuisance_trips"]), (found, late or thin), (met, upsets["stopped"])]
        ):
            could[place] |= {name} if tried else set()
            did[place] |= {name} if came else set()
    limits = [
        (len(came), len(tried), *probability(len(came), len(tried), sure))
        for came, tried in zip(did, could, strict=True)
    ]
    return {
        "unit": "machine" if len(set(names)) < len(names) else "trace",
        "machines": len(set(names)),
        "limits": limits,
    }


def acceptance_of(settings_file: Path) -> dict[str, Any]:
    """Return [acceptance] as the file has it; min_margin in s."""
    found = tomllib.loads(settings_file.read_text(encoding="utf-8"))["acceptance"]
    found["min_margin_s"] = float(found.pop("min_margin").removesuffix(" s"))
    return dict(found)


def account(folder: Path, settings_file: Path) -> dict[str, Any]:
    """Return the account of a library under a settings file: traces, label and acceptance are read here."""
    library = tomllib.loads((folder / "library.toml").read_text(encoding="utf-8"))
    _, values, *_ = vars(read_settings(settings_file)).values()
    rows: list[dict[str, Any]] = []
    plain: dict[str, list[dict[str, Any]]] = {}
    traces = [rows_of(folder / entry["file"]) for entry in library["trace"]]
    twice = told_twice(library["trace"], folder, traces)
    for entry, trace in zip(library["trace"], traces, strict=True):
        rows.append(verdict_of(entry, trace, lived(trace, values)))
        for name, one in plain_logics(trace, values).items():
            plain.setdefault(name, []).append(verdict_of(entry, trace, one))
    own = summed(rows, plain, acceptance_of(settings_file), library.get("mix"))
    machines = machines_of(library["trace"], rows, acceptance_of(settings_file))
    return own | {"twice": twice, "rests": rests_of(library["trace"]), "by_machine": machines}


def laws_account(folder: Path, settings_file: Path) -> Callable[[str, int, int], dict[str, float | None]]:
    """Return a function that says what a law with a cut-out and a delay comes to: counts and margins of the hits."""
    library = tomllib.loads((folder / "library.toml").read_text(encoding="utf-8"))
    _, values, *_ = vars(read_settings(settings_file)).values()
    traces = [rows_of(folder / entry["file"]) for entry in library["trace"]]
    told_twice(library["trace"], folder, traces)

    def come_to(law: str, cut_out: int, delay: int) -> dict[str, float | None]:
        found = [
            verdict_of(entry, trace, plain_law(trace, values, law, cut_out, delay))
            for entry, trace in zip(library["trace"], traces, strict=True)
        ]
        total = totals_of(found)
        return {name: total[name] for name in ("missed", "nuisance_trips", "worst_margin_s", "median_margin_s")}

    return come_to


def summed(
    rows: list[dict[str, Any]],
    plain: dict[str, list[dict[str, Any]]],
    acceptance: dict[str, Any],
    mix: dict[str, float] | None,
) -> dict[str, Any]:
    """Return the account of a library from its rows and those of the plain laws."""
    sure = acceptance.get("confidence", 0.95)
    decided = [row for row in rows if row["outcome"] != "undecided"]
    total = totals_of(rows)
    claims = claims_of(total, acceptance, sure)
    broken = failures_of(total, claims, acceptance)
    lacking = [claim["rule"] for claim in claims if claim["verdict"] == "not enough evidence"]
    families = {
        name: totals_of([r for r in decided if r["family"] == name]) for name in sorted({r["family"] for r in decided})
    }
    by_family = {name: claims_of(own, acceptance, sure) for name, own in families.items()}
    tried = [name for name, own in families.items() if own["must_trip"]]
    outside = None
    if total["upsets_stopped"] is not None:
        outside = per_1000h(total["stops_outside_upsets"], total["hours_outside_upsets"], sure)
    return {
        "rows": rows,
        "total": total,
        "claims": claims,
        "broken": broken,
        "lacking": lacking,
        "unjudged": unjudged_of(total),
        "verdict": verdict_on(total, claims, acceptance),
        "families": families,
        "family_claims": by_family,
        "worst_family": max(tried, key=lambda name: (by_family[name][0]["upper"], name), default=None),
        "margin_of_nine_in_ten_s": margin_of_nine_in_ten(total, sure),
        "outside": outside,
        "mix": mix_of(mix, decided, sure) if mix else None,
        "plain": {name: totals_of(own) for name, own in plain.items()},
        "plain_broken": {name: list(failures_of(totals_of(own), [], acceptance)) for name, own in plain.items()},
        "confidence": sure,
    }


def enough_more(claim: dict[str, Any], sure: float) -> float | None:
    """Return how many more trials or hours without an event would show what is wanted, by trying; None where none is asked."""
    wanted, events = claim["wanted"], claim["events"]
    if wanted is None or not claim["upper"] > wanted > 0:
        return None
    if claim["rule"] == "max_nuisance_per_1000h":
        return float(500 * scipy.stats.chi2.ppf(sure, 2 * events + 2) / wanted - claim["of"])
    tried = range(max(events + 1, claim["of"]), 10**7)
    place = bisect.bisect_left(tried, -wanted, key=lambda trials: -beta(sure, events + 1, trials - events))
    return float(tried[place] - claim["of"])
