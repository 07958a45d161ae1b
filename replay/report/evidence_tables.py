"""What a score shows, as tables and sentences; every figure is that of `replay.score.scoring`."""

import math
from pathlib import Path

from replay.display.score import RULES
from replay.report.parts import NOTHING, Table, dash, percent, rate
from replay.score import Score, Totals, evidence

ALWAYS_PER_1000H = 1e6  # a stop for every few seconds of running
CLAIMS = {
    evidence.MISSED: "missed-trip probability",
    evidence.NUISANCE: "nuisance trips per 1000 h",
    evidence.MARGIN: "share of faults with too small a margin",
}


def reasons(score: Score) -> list[str]:
    """Return what is broken, or else what is not shown."""
    said = []
    for failure in score.failures:
        side = "at least" if failure.rule == "min_margin" else "at most"
        got = "no hours to count over" if failure.got is None else f"{failure.got:.4g}"
        said.append(f"{failure.rule}: {got} {RULES[failure.rule]}, wanted {side} {failure.limit:.4g}")
    for claim in score.lacking if not score.failures else ():
        show = rate if claim.rule == evidence.NUISANCE else percent
        said.append(f"{claim.rule}: at most {show(claim.upper)} shown, {show(claim.wanted)} wanted{_further(claim)}")
    return said


def _further(claim: evidence.Claim) -> str:
    if claim.further is None or claim.verdict != evidence.NOT_ENOUGH:
        return ""
    if claim.rule == evidence.NUISANCE:
        return f"; {math.ceil(10 * claim.further) / 10:g} h more without a stop would show it"
    return f"; {math.ceil(claim.further)} traces more, all of them good, would show it"


def summary(score: Score) -> list[tuple[str, str]]:
    """Return the counts that stand under the verdict."""
    whole = score.totals
    return [
        ("missed trips", f"{whole.missed} of {whole.must_trip} traces that had to be stopped"),
        ("early stops", f"{whole.early}"),
        ("nuisance trips", f"{whole.nuisance_trips} in {whole.ride_through_run_hours:.2f} run hours"),
        ("worst margin", NOTHING if whole.worst_margin_s is None else f"{whole.worst_margin_s:.1f} s"),
        ("traces", f"{len(score.verdicts)} judged, {len(score.undecided)} undecided"),
        ("settings", f"{Path(score.settings.file).name}, digest {score.settings.digest[:12]}"),
    ]


def claims_table(score: Score) -> Table:
    """Return what all traces show, with limits and what is wanted."""
    sure = f"{100 * score.settings.acceptance.shown_confidence:g} %"
    heads = ("quantity", "seen", "value", f"{sure} interval", f"at most, {sure} sure", "wanted at most", "verdict")
    rows = []
    for claim in score.claims:
        hours = claim.rule == evidence.NUISANCE
        show = rate if hours else percent
        seen = f"{claim.events} in {claim.of:.2f} h" if hours else f"{claim.events} of {claim.of:g}"
        verdict = claim.verdict + _further(claim)
        limits = (show(claim.point), _interval(claim), show(claim.upper), show(claim.wanted))
        rows.append((CLAIMS[claim.rule], seen, *limits, verdict))
    return Table("What these traces show", heads, rows, texts=frozenset({6}))


def _interval(claim: evidence.Claim) -> str:
    show = rate if claim.rule == evidence.NUISANCE else percent
    return f"{show(claim.interval[0])} to {show(claim.interval[1])}"


def apart(score: Score) -> list[str]:
    """Return what the limits over all traces would hide."""
    said = []
    if score.worst_family is not None:
        claim = score.family_claims[score.worst_family][0]
        said.append(
            f"Least is known of {score.worst_family}: missed {claim.events} of {claim.of:g}, "
            f"at most {percent(claim.upper)}."
        )
    if score.mix is not None:
        said.append(
            f"Missed in the stated mix of faults: {percent(score.mix.missed_probability)}, "
            f"at most {percent(score.mix.upper)}."
        )
    if score.margin_limit_s is not None:
        sure = 100 * score.settings.acceptance.shown_confidence
        said.append(f"Nine such faults in ten leave {score.margin_limit_s:.1f} s or more, {sure:g} % sure.")
    return said


def families_table(score: Score) -> Table:
    """Return counts, margins and limits of each family and of all."""
    sure = f"{100 * score.settings.acceptance.shown_confidence:g} %"
    heads = (
        *("family", "must trip", "hit", "missed", "early", f"missed-trip probability, {sure} interval"),
        *("median margin s", "worst margin s", "ride-through run h", "nuisance trips"),
        f"nuisance trips per 1000 h, {sure} interval",
    )
    rows = [_family(name, part, score.family_claims[name]) for name, part in score.families.items()]
    return Table("Evidence by family", heads, rows, _family("all", score.totals, score.claims))


def _family(name: str, part: Totals, claims: tuple[evidence.Claim, ...]) -> list[str]:
    tripping = [NOTHING] * 5
    if part.must_trip:
        tripping = [str(part.must_trip), str(part.hit), str(part.missed), str(part.early), _interval(claims[0])]
    riding = [NOTHING] * 3
    if part.ride_through or part.early:
        hours = f"{part.ride_through_run_hours:.2f}"
        riding = [hours, str(part.nuisance_trips), _interval(claims[1]) if part.ride_through else NOTHING]
    return [name, *tripping, dash(part.median_margin_s), dash(part.worst_margin_s), *riding]


def baselines_table(score: Score) -> Table:
    """Return what plain logics do on the same traces."""
    heads = ("logic", "hit", "missed", "early", "worst margin s", "nuisance trips", "per 1000 h")
    rows = []
    for name, part in {"these settings": score.totals, **score.baselines}.items():
        often = part.nuisance_per_1000h
        shown = "always" if often >= ALWAYS_PER_1000H else f"{often:.1f}"
        counts = (str(part.hit), str(part.missed), str(part.early))
        rows.append((name, *counts, dash(part.worst_margin_s), str(part.nuisance_trips), shown))
    return Table("Beside plain logics on the same traces", heads, rows)
