"""Each limit of a doubt and of a worse period at its very bound, on findings made up: which side of it is which."""

from collections import Counter
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from protect.ranges import CUT_OUT
from replay.settings import Settings, read_settings
from replay.triage import kernel
from replay.triage.doubts import doubts_about
from replay.triage.events import STARVED
from replay.triage.exposure import rates
from replay.triage.findings import Findings, Gaps
from replay.triage.overlaps import Overlap
from replay.triage.periods import compared, worse
from replay.triage.ranking import ADVICE

HOUR, MINUTE = 3_600_000, 60_000
DAY = 24 * HOUR


@pytest.fixture
def site(settings_file: Path) -> Settings:
    """Return the settings that the tests share."""
    return read_settings(settings_file)


def found(*days: dict[str, int], **values: Any) -> Findings:
    """Return a machine that ran for ten hours on each of these days, with settled rest at zero unless they say otherwise."""
    usual = {
        "DAY_LOGGED": DAY,
        "DAY_RUN": 10 * HOUR,
        "DAY_REST_MS": HOUR,
        "DAY_NET_MS": 10 * HOUR,
        "DAY_NET": 10 * HOUR * 120_000,
    }
    given = {"run_ms": 10 * HOUR * len(days), "seen_ms": 10 * HOUR * len(days), "doubts": ()}
    machine = Findings("m", (), **(given | values))
    for number, day in enumerate(days):
        sums = np.zeros((1, kernel.DAY_SIZE), np.int64)
        for name, value in (usual | day).items():
            sums[0, getattr(kernel, name)] = value
        machine.days.add(number, sums)
    return machine


def rest(pascals: int, ms: int = HOUR) -> dict[str, int]:
    """Return a day whose standstill zero is this."""
    return {"DAY_REST_MS": ms, "DAY_REST": ms * pascals}


def net(pascals: float) -> dict[str, int]:
    """Return a day whose net oil pressure of settled running is this."""
    return {"DAY_NET": round(10 * HOUR * pascals)}


def told(machine: Findings, site: Settings) -> list[tuple[str, str]]:
    """Return the advice and the first words of each doubt."""
    return [(ADVICE[doubt.advice], " ".join(doubt.text.split()[:4])) for doubt in doubts_about(machine, site)]


@pytest.mark.parametrize(
    ("never", "built", "advice"),
    [(2, 2, None), (3, 57, "watch"), (3, 58, None), (3, 4, "watch"), (3, 3, "open next"), (30, 0, "open next")],
)
def test_starts_that_stopped_before_oil_came(never: int, built: int, advice: str | None, site: Settings) -> None:
    """Catches fewer than three told, one in twenty not told, and half of them that are no reason to open the machine."""
    said = told(found({"DAY_NEVER": never, "DAY_BUILT": built}), site)
    assert said == ([] if advice is None else [(advice, f"{never} of {never + built} starts")])


@pytest.mark.parametrize(
    ("starts", "hours", "doubted"), [(12, 1, False), (13, 1, True), (11, 0.5, False), (12, 0.9, True)]
)
def test_so_many_starts_an_hour_are_a_chattering_status(
    starts: int, hours: float, doubted: bool, site: Settings
) -> None:
    """Catches twelve an hour of the log, which makers allow, and eleven in all, that are doubted."""
    machine = found({"DAY_LOGGED": int(hours * HOUR), "DAY_RUN": 0}, starts=starts)
    assert [advice for advice, _ in told(machine, site)] == ["check the sensors"] * doubted


@pytest.mark.parametrize(
    ("zeros", "said"),
    [
        ((20_000,), []),
        ((20_001,), ["net oil pressure reads"]),
        ((-20_001,), ["net oil pressure reads"]),
        ((0, -25_000, 9_000), ["net oil pressure reads", "standstill zero of net"]),
        ((0, 0, 9_999), []),
        ((0, 0, 10_000), ["standstill zero of net"]),
        ((-5_000, 5_000, 0), ["standstill zero of net"]),
        ((-4_999, 5_000, 0), []),
        ((0, 0, 0, 0, 0, 25_000), ["net oil pressure reads"]),  # one day, which is no trend
        (tuple(range(0, 10_000, 1_000)), []),
        (tuple(range(0, 11_000, 1_000)), ["standstill zero of net"]),
        (tuple(range(0, -11_000, -1_000)), ["standstill zero of net"]),
    ],
)
def test_a_standstill_zero_is_doubted_from_its_limits_on(
    zeros: tuple[int, ...], said: list[str], site: Settings
) -> None:
    """Catches a limit on the other side, a sign that is lost, and a drift of few days that nobody looks at."""
    assert [words for _, words in told(found(*map(rest, zeros)), site)] == said


def test_a_short_rest_is_no_zero_of_its_day(site: Settings) -> None:
    """Catches a day of a moment's rest that counts in a drift, and one of a minute that does not."""
    assert told(found(rest(0), rest(12_000, MINUTE - 1)), site) == []
    assert told(found(rest(0), rest(12_000, MINUTE)), site) == [("check the sensors", "standstill zero of net")]
    assert told(found({"DAY_REST_MS": 0}), site) == [("cannot tell", "no standstill of over")]
    assert told(found({"DAY_REST_MS": 0}, run_ms=0), site) == []


@pytest.mark.parametrize(("last", "falls"), [(85_000, False), (84_900, True), (115_100, False)])
def test_net_oil_pressure_that_falls_by_more_than_its_limit(last: int, falls: bool, site: Settings) -> None:
    """Catches a fall of just 15 % that is told, one beyond it that is not, and a rise told as a fall."""
    days = [net(100_000 + (last - 100_000) * day / 10) for day in range(11)]
    assert [words for _, words in told(found(*days), site)] == ["net oil pressure of"] * falls


def test_what_a_zero_lifts_above_cut_out_is_told_between_the_two(site: Settings) -> None:
    """Catches a machine below cut-out told twice, one whose readings less the zero hold, and a zero too small to take off."""
    cut_out = site.values[CUT_OUT]
    for zero, read, lifted in (
        (5_000, cut_out, True),
        (5_000, cut_out + 4_999, True),
        (5_000, cut_out + 5_000, False),
        (5_000, cut_out - 1, False),
        (4_999, cut_out, False),
    ):
        said = told(found(rest(zero) | net(read)), site)
        assert said == ([("watch", "less its standstill zero")] if lifted else []), (zero, read)


def test_judged_on_less_than_four_fifths_is_not_healthy(site: Settings) -> None:
    """Catches a share of what was seen of another whole, and the bound on the other side."""
    assert told(found({}, seen_ms=80, doubted_ms=20), site) == []
    assert told(found({}, seen_ms=799, doubted_ms=201), site) == [("cannot tell", "judged on 79 %")]
    late = {"DAY_LOGGED": 8 * HOUR, "DAY_LATE": 2 * HOUR}
    assert found(late).judged_share == 0.8
    assert found(late, gaps=Gaps(1, HOUR, HOUR, 6 * HOUR)).judged_share == 0.5


@pytest.mark.parametrize(
    ("overlap", "disagrees", "unknown"),
    [
        (Overlap(100, 100, 2), False, False),
        (Overlap(100, 100, 3), True, False),
        (Overlap(1000, 1000, 20), False, False),
        (Overlap(1000, 1000, 21), True, False),
        (Overlap(100, 50, 0), False, False),
        (Overlap(100, 49, 0), False, True),
    ],
)
def test_two_files_disagree_beyond_a_few_rows(overlap: Overlap, disagrees: bool, unknown: bool) -> None:
    """Catches rows at a boundary that are a quarrel, one in fifty that is none, and half compared that says nothing."""
    assert (overlap.disagrees, overlap.unknown) == (disagrees, unknown)


@pytest.mark.parametrize(
    ("now", "before", "said"),
    [
        (net(85_000), net(100_000), []),
        (net(84_000), net(100_000), ["net oil pressure running down by 16 %"]),
        (rest(9_999), rest(0), []),
        (rest(10_000), rest(0), ["standstill zero moved by"]),
        (rest(-10_000), rest(0), ["standstill zero moved by"]),
        ({"DAY_BUILD": 1500, "DAY_BUILT": 1}, {"DAY_BUILD": 1000, "DAY_BUILT": 1}, []),
        (
            {"DAY_BUILD": 1501, "DAY_BUILT": 1}, {"DAY_BUILD": 1000, "DAY_BUILT": 1},
            ["oil pressure comes later after a start"],
        ),
        ({"DAY_BUILD": 5000, "DAY_BUILT": 5}, {"DAY_BUILD": 1000, "DAY_BUILT": 1}, []),
    ],
)  # fmt: skip
def test_a_period_is_worse_from_its_limits_on(now: dict[str, int], before: dict[str, int], said: list[str]) -> None:
    """Catches a limit on the other side, a gain told as worse, and a sum of starts for their mean."""
    (pair,) = compared([found(now)], [found(before)])
    assert [one.startswith(words) for one, words in zip(worse(pair, 0.95), said, strict=True)] == [True] * len(said)
    assert worse(compared([found(now)], [])[0], 0.95) == []


def test_starved_more_often_is_more_than_both_limits() -> None:
    """Catches another confidence than the one that is asked for, and limits that were exchanged."""
    many, few = found({}, events=Counter({STARVED: 20})), found({}, events=Counter({STARVED: 5}))
    low, high = (rates([one], 0.95)[0].interval for one in (many, few))
    assert low is not None
    assert high is not None

    assert low[0] > high[1]
    assert worse(compared([many], [few])[0], 0.95) == ["starved more often"]
    assert worse(compared([many], [few])[0], 0.9999) == []
    assert worse(compared([few], [many])[0], 0.95) == []
