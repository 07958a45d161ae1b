"""What triage cannot know, or knows beside starved spells: without it a machine would be called healthy too soon.

standstill zero   net oil pressure of a machine that stands is nothing; what it reads there it reads too much running
no standstill     so nobody can tell that
falling           net oil pressure of running against itself, over days and weeks
starts            so many an hour that the running status must chatter; those that stopped before oil pressure came
judged share      hours that were lost, or in which the readings were in doubt
gaps              within a file, beside which the machine ran

All limits below are assumed; each doubt tells its figure.
"""

from collections.abc import Iterator

from protect import ranges
from replay.ground.shown import shown_in
from replay.ground.wording import counted, duration, percent, pressure
from replay.settings import Settings
from replay.triage import kernel
from replay.triage.findings import LEAST_LOST_MS, Doubt, Findings
from replay.triage.trends import Trend, trend

# Places in the advice of `replay.triage.ranking`; a note changes no advice.
NEXT, WATCH, CHECK, CANNOT_TELL, NOTE = 1, 2, 3, 4, 9

ZERO_PA = 20_000  # two sound transmitters of 1600 kPa hardly differ by more
DRIFT_PA = 10_000  # a zero that moves by so much is no longer the one that was set
SMALL_ZERO_PA = 5_000  # below it a zero is not taken off the readings
FALL = 0.15  # share of the net oil pressure at the start of the log
LEAST_DAY_MS = 600_000  # of settled running, for the day to count in a trend
LEAST_REST_MS = 60_000  # of settled rest
STARTS_PER_H = 12.0  # common practice, no source: makers of compressors allow 6 to 10
LEAST_STARTS = 12
NEVER_LEAST, NEVER_SHARE = 3, 0.05
SHARE = 0.8
LEAST_TOLD = 0.01  # of a share in whole percent
MOST_LOSSES = 3  # of a machine, told one by one
MS_PER_H = 3_600_000


def doubts_about(found: Findings, settings: Settings) -> tuple[Doubt, ...]:
    """Return what has to be known of a machine before it is called healthy, the gravest first."""
    with shown_in(settings.units):
        every = [*_refused(found), *_starts(found), *_oil(found, settings), *_zero(found), *_share(found)]
        every += [*_losses(found), *_held(found), *_joining(found)]
    return tuple(sorted(every, key=lambda doubt: doubt.advice))


def _refused(found: Findings) -> Iterator[Doubt]:
    if found.refused:
        yield Doubt(CANNOT_TELL, f"{len(found.refused)} of its logs cannot be read and are left out")


def net_trend(found: Findings) -> Trend | None:
    """Return how net oil pressure of settled running went over the days, in Pa."""
    return _trend_of(found, kernel.DAY_NET, kernel.DAY_NET_MS, LEAST_DAY_MS)


def zero_trend(found: Findings) -> Trend | None:
    """Return how the standstill zero went over the days, in Pa."""
    return _trend_of(found, kernel.DAY_REST, kernel.DAY_REST_MS, LEAST_REST_MS)


def starts_per_h(found: Findings) -> float | None:
    """Return starts an hour of the log."""
    logged = found.days.total()[kernel.DAY_LOGGED]
    return found.starts * MS_PER_H / logged if logged else None


def _trend_of(found: Findings, total: int, over: int, least_ms: int) -> Trend | None:
    return trend([(number, day[total] / day[over]) for number, day in found.days.in_order() if day[over] >= least_ms])


def _starts(found: Findings) -> Iterator[Doubt]:
    whole = found.days.total()
    never, judged = whole[kernel.DAY_NEVER], whole[kernel.DAY_NEVER] + whole[kernel.DAY_BUILT]
    if never >= NEVER_LEAST and never >= NEVER_SHARE * judged:
        dry = duration(whole[kernel.DAY_DRY])
        text = f"{never} of {judged} starts stopped before oil pressure came, {dry} of running"
        yield Doubt(NEXT if 2 * never >= judged else WATCH, text)
    often = starts_per_h(found)
    if often is not None and often > STARTS_PER_H and found.starts >= LEAST_STARTS:
        yield Doubt(CHECK, f"{often:.0f} starts an hour ({found.starts} in all): does the running status chatter?")


def _oil(found: Findings, settings: Settings) -> Iterator[Doubt]:
    went = net_trend(found)
    if went is not None and went.sure and went.change < -FALL * abs(went.first):
        yield Doubt(WATCH, f"net oil pressure of running fell {_went(found, went)}")
    zero, cut_out = found.days.total().rest_pa, settings.values[ranges.CUT_OUT]
    if zero is None or zero < SMALL_ZERO_PA:
        return
    nets = [(day.net_pa, number) for number, day in found.days.in_order() if day[kernel.DAY_NET_MS] >= LEAST_DAY_MS]
    read, number = min(((net, number) for net, number in nets if net is not None), default=(cut_out, 0))
    if cut_out <= read < cut_out + zero:
        less = f"less its standstill zero of {pressure(zero)} it ran at {pressure(read - zero)}"
        yield Doubt(WATCH, f"{less} on {found.days.told(number)}, cut-out is {pressure(cut_out)}")


def _zero(found: Findings) -> Iterator[Doubt]:
    whole = found.days.total()
    zero = whole.rest_pa
    if zero is None:
        if found.run_ms:
            logged = duration(whole[kernel.DAY_LOGGED])
            text = f"no standstill of over a minute with readings in {logged}: zero of the oil pressure not checked"
            yield Doubt(CANNOT_TELL, text)
        return
    rested = [
        (number, day.rest_pa) for number, day in found.days.in_order() if day[kernel.DAY_REST_MS] >= LEAST_REST_MS
    ]
    zeros = [(read, number) for number, read in rested if read is not None]
    worst, number = max(zeros, key=lambda one: abs(one[0]), default=(zero, None))
    if abs(worst) > ZERO_PA:
        read, when = (zero, "") if abs(zero) > ZERO_PA or number is None else (worst, f" on {found.days.told(number)}")
        rule = "true oil pressure is that much lower" if read > 0 else "true oil pressure is that much higher"
        yield Doubt(
            CHECK, f"net oil pressure reads {pressure(read)} at standstill{when}, where it should read zero: {rule}"
        )
    went = zero_trend(found)
    if went is not None and went.sure and abs(went.change) >= DRIFT_PA:
        yield Doubt(CHECK, f"standstill zero of net oil pressure moved {_went(found, went)}")
    elif went is None and zeros:
        least, most = min(zeros)[0], max(zeros)[0]
        if most - least >= DRIFT_PA:
            moved = f"between {pressure(least)} and {pressure(most)} in {len(zeros)} days"
            yield Doubt(CHECK, f"standstill zero of net oil pressure moved {moved}")


def _share(found: Findings) -> Iterator[Doubt]:
    if found.judged_share < SHARE:
        yield Doubt(CANNOT_TELL, f"judged on {judged_told(found.judged_share)} of its hours")


def judged_told(share: float) -> str:
    """Return the share of the hours that was judged, in whole percent; never more than it is."""
    return "less than 1 %" if share < LEAST_TOLD else percent(int(100 * share) / 100)


def _losses(found: Findings) -> Iterator[Doubt]:
    """Tell once a file what its import lost; of many files how many, and the worst."""
    parts = [piece.placed.part for piece in found.pieces]
    lost = {(part.source, part.losses): part.judged_share for part in parts if part.losses}
    few = len(lost) <= MOST_LOSSES
    for source, losses in lost if few else [min(lost, key=lost.__getitem__)]:
        told = "import of" if few else f"{len(lost)} files lost much in their import, most of all"
        yield Doubt(NOTE, f"{told} {source or 'a file'}: {'; '.join(losses)}")


def _held(found: Findings) -> Iterator[Doubt]:
    """Tell that readings were written on change, and what that keeps from being seen."""
    hold = max((piece.hold_ms for piece in found.pieces), default=0)
    if hold:
        still = f"standing still for up to {duration(hold)} is taken as held, not stuck"
        yield Doubt(NOTE, f"pressures were written on change: {still}")


def _joining(found: Findings) -> Iterator[Doubt]:
    gaps = found.gaps
    if gaps.running:
        told = f"{duration(gaps.running_ms)} lost in {counted(gaps.running, 'gap')} of over {duration(LEAST_LOST_MS)}"
        yield Doubt(CANNOT_TELL, f"{told} beside which it ran: nobody saw whether it was short of oil then")
    if gaps.count:
        lost = f", {duration(gaps.lost_ms)} of them lost within a file" if gaps.lost_ms else ""
        text = f"{counted(gaps.count, 'gap')} of {duration(gaps.ms)} together, the longest {duration(gaps.longest_ms)}"
        yield Doubt(NOTE, f"{text}{lost}")
    if found.overlap_ms:
        yield Doubt(NOTE, f"{duration(found.overlap_ms)} recorded in two files, counted once")
    yield from _overlap(found)
    loose = sum(piece.placed.clock.utc_s is None for piece in found.pieces)
    if loose and len(found.pieces) > 1:
        yield Doubt(NOTE, f"{loose} of {len(found.pieces)} files do not say when they began: not joined in time")


def _overlap(found: Findings) -> Iterator[Doubt]:
    """Tell that two files of the same times do not agree, or that nobody can say."""
    overlap = found.overlap
    if overlap.disagrees:
        share, most = percent(int(100 * overlap.different / overlap.compared) / 100), pressure(overlap.most_pa)
        apart = f"in {share} of the rows told twice, oil pressure by up to {most}"
        text = f"two files DISAGREE {apart}: are both of this machine, and both clocks right? The earlier file is taken"
        yield Doubt(CANNOT_TELL, text, first=True)
    elif overlap.unknown:
        yield Doubt(CANNOT_TELL, "two files cover the same times with rows too far apart to compare", first=True)


def _went(found: Findings, went: Trend) -> str:
    days = f"{found.days.told(went.first_day)} to {found.days.told(went.last_day)}"
    return f"from {pressure(went.first)} to {pressure(went.last)} in {went.days} days, {days}"
