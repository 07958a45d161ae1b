"""The report of `score`: families, what went wrong, plain logics beside, limits, the verdict."""

import math

from rich import box
from rich.console import Group, RenderableType
from rich.table import Table
from rich.text import Text

from replay.display.terminal import CAUTION, NOTHING, plain_table, seconds
from replay.score import Score, Totals, Verdict, evidence
from replay.score.scoring import Failure

MANY = 1000  # nuisance trips per 1000 h, from which fractions are left out
ALWAYS_PER_1000H = 1e6  # a stop for every few seconds of running
RULES = {
    "max_missed": "missed trips",
    "max_nuisance_per_1000h": "nuisance trips per 1000 run hours",
    "min_margin": "s worst margin",
    evidence.MISSED: "(share missed)",
    evidence.NUISANCE: "nuisance trips per 1000 run hours",
    evidence.MARGIN: "(share with less margin)",
}
VERDICTS = {
    evidence.MET: "met",
    evidence.NOT_MET: "NOT MET",
    evidence.NOT_ENOUGH: "NOT ENOUGH EVIDENCE",
}


def score_view(score: Score) -> RenderableType:
    """Return the report of `score`: families, what went wrong, the verdict."""
    parts: list[RenderableType] = [_families(score)]
    if score.wrong:
        parts += [Text(), _traces("missed, early and nuisance", score.wrong)]
    if score.undecided:
        parts += [Text(), _traces("undecided, judged neither way", score.undecided)]
    parts += [Text(), _baselines(score), Text(), _claims(score), Text(), _verdict(score)]
    return Group(*parts)


def _baselines(score: Score) -> Table:
    table = plain_table(title="beside plain logics on the same traces")
    table.add_column("logic", no_wrap=True)
    for title in ("hit", "missed", "early", "worst\nmargin s", "nui-\nsance", "per\n1000 h"):
        table.add_column(title, justify="right", no_wrap=True, vertical="bottom")
    for name, part in {"these settings": score.totals, **score.baselines}.items():
        rate = part.nuisance_per_1000h
        often = "always" if rate >= ALWAYS_PER_1000H else f"{rate:.1f}"
        counts = (part.hit, part.missed, part.early)
        table.add_row(name, *map(str, counts), seconds(part.worst_margin_s), str(part.nuisance_trips), often)
    return table


def _claims(score: Score) -> Table:
    limits = score.settings.acceptance
    table = plain_table(title="what these traces show")
    table.add_column("", no_wrap=True)
    for title in ("seen", f"at most,\n{100 * limits.shown_confidence:g} % sure", "wanted\nat most", "would take\nmore"):
        table.add_column(title, justify="right", no_wrap=True, vertical="bottom")
    names = ("missed-trip probability", "nuisance trips per 1000 h", f"margin under {limits.min_margin_s:g} s")
    for name, claim in zip(names, score.claims, strict=True):
        table.add_row(name, *_claim_cells(claim))
    return table


def _claim_cells(claim: evidence.Claim) -> list[str]:
    rate = claim.rule == evidence.NUISANCE
    seen = f"{claim.events} in {claim.of:.2f} h" if rate else f"{claim.events} of {claim.of:g}"
    show = _rate if rate else _percent
    more = claim.further if claim.verdict == evidence.NOT_ENOUGH else None
    return [seen, show(claim.upper), NOTHING if claim.wanted is None else show(claim.wanted), _more(more, hours=rate)]


def _percent(share: float) -> str:
    return f"{100 * share:.3g} %"


def _rate(per_1000h: float) -> str:
    if per_1000h == float("inf"):
        return "no limit"
    return f"{per_1000h:.0f}" if per_1000h >= MANY else f"{per_1000h:.4g}"


def _more(further: float | None, *, hours: bool) -> str:
    """Return how much more it would take, never rounded down."""
    if further is None:
        return NOTHING
    return f"{math.ceil(10 * further) / 10:g} h" if hours else f"{math.ceil(further)} traces"


def _families(score: Score) -> Table:
    table = Table(box=box.HORIZONTALS, show_edge=False, show_footer=True, padding=0, pad_edge=False)
    titles = ("must\ntrip", "hit", "missed", "early", "median\nmargin\ns", "worst\nmargin\ns")
    table.add_column("family", "all", min_width=12, overflow="fold")
    for title, text in zip((*titles, "ride-\nthr.\nrun h", "nui-\nsance"), _counts(score.totals), strict=True):
        table.add_column(title, text, justify="right", no_wrap=True, vertical="bottom")
    for name, part in score.families.items():
        table.add_row(Text(name), *_counts(part))
    return table


def _counts(part: Totals) -> list[str]:
    tripping = [str(part.must_trip), str(part.hit), str(part.missed), str(part.early)]
    if part.must_trip == 0:
        tripping = [NOTHING] * 4
    hours = f"{part.ride_through_run_hours:.2f}" if part.ride_through else NOTHING
    nuisance = str(part.nuisance_trips) if part.ride_through or part.early else NOTHING
    return [*tripping, seconds(part.median_margin_s), seconds(part.worst_margin_s), hours, nuisance]


def _traces(title: str, verdicts: list[Verdict] | tuple[Verdict, ...]) -> Table:
    table = plain_table(title=title)
    table.add_column("trace", min_width=10, overflow="fold")
    for column in ("outcome", "first stop s", "cause", "deadline s", "stops"):
        table.add_column(column, justify="left" if column in ("outcome", "cause") else "right")
    for verdict in verdicts:
        table.add_row(
            Text(verdict.id),
            verdict.outcome.replace("_", " "),
            seconds(verdict.first_trip_s),
            verdict.cause or NOTHING,
            seconds(verdict.deadline_s),
            str(verdict.trips),
        )
    return table


def _verdict(score: Score) -> Text:
    whole = score.totals
    hours = whole.ride_through_run_hours
    often = f"{whole.nuisance_per_1000h:.1f} per 1000 h" if hours else "no hours to count them over"
    judged_on = "on the counts" if all(claim.wanted is None for claim in score.claims) else "on counts and limits"
    lines = [
        *_apart(score),
        f"{len(score.verdicts)} traces judged, {len(score.undecided)} undecided; settings {score.settings.file}",
        f"missed {whole.missed} of {whole.must_trip} must-trip traces",
        f"nuisance trips {whole.nuisance_trips} in {hours:.2f} run hours: {often}",
        f"Acceptance: {VERDICTS[score.verdict]}, judged {judged_on}.",
    ]
    lines.extend(_failure(failure) for failure in score.failures)
    if not score.failures:
        lines.extend(_lack(claim) for claim in score.lacking)
    lines.append(CAUTION)
    return Text("\n".join(lines), style="")


def _apart(score: Score) -> list[str]:
    """Return what the limits over all traces would hide."""
    lines = []
    late = [verdict for verdict in (*score.verdicts, *score.undecided) if verdict.late_ticks]
    if late:
        rows = sum(verdict.late_ticks for verdict in late)
        lines += [f"{rows} rows of {len(late)} traces come more than max_gap after the one before: they count as doubt"]
    if score.worst_family is not None:
        claim = score.family_claims[score.worst_family][0]
        shown = f"missed {claim.events} of {claim.of:g}, at most {_percent(claim.upper)}"
        lines.append(f"least is known of {score.worst_family}: {shown}")
    if score.mix is not None:
        lines.append(f"missed in the stated mix {_percent(score.mix.missed_probability)}, ")
        lines[-1] += f"at most {_percent(score.mix.upper)}"
    if score.margin_limit_s is not None:
        sure = 100 * score.settings.acceptance.shown_confidence
        lines.append(f"nine such faults in ten leave {seconds(score.margin_limit_s)} s or more, {sure:g} % sure")
    return lines


def _lack(claim: evidence.Claim) -> str:
    _, upper, wanted, more = _claim_cells(claim)
    good = "without a stop" if claim.rule == evidence.NUISANCE else "all of them good"
    needs = f"; needs {more} more, {good}" if more != NOTHING else ""
    return f"  {claim.rule}: at most {upper} shown, {wanted} wanted{needs}"


def _failure(failure: Failure) -> str:
    got = (
        f"{RULES[failure.rule]}, no hours to count them over"
        if failure.got is None
        else f"{failure.got:g} {RULES[failure.rule]}"
    )
    side = "at least" if failure.rule == "min_margin" else "at most"
    return f"  {failure.rule}: {got}, wanted {side} {failure.limit:g}"
