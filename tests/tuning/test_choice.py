"""What `tune` chooses: the order of its ranks, its ties, what the choice may see, and what is judged on a fresh library.

Nothing is swept here: verdicts are made up for each candidate and trace, so that what follows from them can be said by hand.
"""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from replay.engine import Replay, Stop
from replay.engine.workers import one_by_one
from replay.library import Entry, Library, read_library
from replay.score import Verdict, judge
from replay.settings import Settings
from replay.synth import recipe
from replay.trace import Trace
from replay.tuning import fresh
from replay.tuning import tune as tuning
from replay.tuning.fresh import Fresh
from replay.tuning.holdout import split
from replay.tuning.judge import Figures, figures
from replay.tuning.pareto import Choice
from replay.tuning.results import tuning_json
from replay.tuning.tune import Tuning, tune
from replay.tuning.vary import read_space
from tests.judge.account import acceptance_of, claims_of, totals_of, verdict_on
from tests.support.tuning import write_library

TIME = np.arange(0, 301) * 1000
NOTHING = np.zeros(len(TIME), np.int64)
TRACE = Trace("t", 0.0, TIME, NOTHING, NOTHING, NOTHING, np.ones(len(TIME), np.uint8), NOTHING.astype(np.uint8))
HOURS = 400  # of each trace
EARLY, NEVER = 30.0, None  # stops; every window of the library begins at 60 s
Stops = Sequence[float | None]  # of one candidate: when it stops each trace


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a library of four faults and four harmless traces, half of them held out; each tells something of its own."""
    made_in = write_library(tmp_path_factory.mktemp("choice") / "library")
    for number, file in enumerate(sorted(made_in.glob("*.csv"))):
        file.write_text(f"{file.read_text()}{301 + number},420.0,300.0,1\n")
    return made_in


def verdict(entry: Entry, stop_s: float | None) -> Verdict:
    """Return the verdict on a trace that is stopped then."""
    stops = () if stop_s is None else (Stop(round(stop_s * 1000), 1),)
    return judge(entry, TRACE, Replay((), stops, HOURS * 3_600_000, late=0, locked_out=False))


Varied = tuple[str, ...]


def made(
    folder: Path,
    stops: Callable[[int], Stops],
    varied: Varied = ("trip_delay=60s..240s/3",),
    rules: str = "",
    **more: Any,
) -> Tuning:
    """Tune with these stops of each candidate, by its number; 0 is the base settings. rules: lines of [acceptance]."""
    library, path = read_library(folder), folder / f"{abs(hash(rules))}.toml"
    text = (folder / "settings.toml").read_text().split("[acceptance]")[0]
    path.write_text(
        text + (rules or '[acceptance]\nmax_missed = 0\nmax_nuisance_per_1000h = 0.0\nmin_margin = "0 s"\n')
    )
    counted = iter(range(10**6))

    def judge_all(
        entries: Sequence[Entry], candidates: Sequence[Settings], _each: object, _tick: object
    ) -> list[tuple[Verdict, ...]]:
        assert tuple(entries) == library.entries
        return [tuple(map(verdict, entries, stops(next(counted)))) for _ in candidates]

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(tuning, "judge_all", judge_all)
        return tune(library, read_space(path, varied, open_ranges=False), one_by_one, lambda: None, **more)


def on_parts(library: Library, tuning_part: Stops, held_out: Stops) -> list[float | None]:
    """Return stops for the whole library: of each part, those of its faults (2), then those of its harmless traces (2)."""
    stops: list[float | None] = [None] * len(library.entries)
    parts = split(library.entries)
    for places, own in ((parts.tuning, tuning_part), (parts.held_out, held_out)):
        faults = [place for place in places if library.entries[place].windows]
        rides = [place for place in places if not library.entries[place].windows]
        assert (len(faults), len(rides)) == (2, 2)
        for place, at in zip([*faults, *rides], own, strict=True):
            stops[place] = at
    return stops


GOOD: Stops = (70.0, 70.0, None, None)
# The better one on the tuning part, and the worse. Of the two faults the first has the earlier deadline.
CASES: dict[str, tuple[Stops, Stops]] = {
    "the larger of two worst margins": ((70.0, 70.0, None, None), (100.0, 70.0, None, None)),
    "the worst margin, not the best": ((80.0, 80.0, None, None), (100.0, 61.0, None, None)),
    "a fault found, whatever the margin": ((100.0, 104.0, None, None), (70.0, NEVER, None, None)),
    "a fault found before a nuisance avoided": ((100.0, 104.0, 5.0, 5.0), (100.0, NEVER, None, None)),
    "fewer nuisance trips before margin": ((100.0, 104.0, None, None), (61.0, 61.0, None, 5.0)),
    "an early stop finds no fault": ((100.0, 104.0, None, None), (EARLY, 61.0, None, None)),
    "a trace ridden through before one stopped": ((100.0, 104.0, None, 5.0), (61.0, 61.0, 5.0, 5.0)),
}


@pytest.mark.parametrize("place", [0, 1, 2])
@pytest.mark.parametrize("name", CASES)
def test_the_better_candidate_is_chosen_wherever_it_stands(name: str, place: int, folder: Path) -> None:
    """Catches a sign: the least margin chosen for the greatest, the most missed faults, the most nuisance; and an order of them."""
    library, (better, worse) = read_library(folder), CASES[name]
    stops = lambda number: on_parts(library, better if number == place + 1 else worse, GOOD)  # noqa: E731
    found = made(folder, stops)

    assert found.best.candidate == place + 1
    assert found.chosen is found.lines[place + 1]
    assert found.front[0] == found.best
    assert found.gains


def test_the_choice_does_not_see_the_held_out_part(folder: Path) -> None:
    """Catches a choice by the whole library, or by the part that is to show whether the choice was luck."""
    library = read_library(folder)
    bad: Stops = (NEVER, NEVER, 5.0, 5.0)
    best = (61.0, 61.0, None, None)
    found = made(
        folder,
        lambda number: (
            on_parts(library, GOOD, bad) if number == 2 else on_parts(library, (71.0, 71.0, None, None), best)
        ),
    )

    assert found.best.candidate == 2
    assert found.chosen.held_out is not None
    assert (found.chosen.held_out.totals.missed, found.chosen.held_out.totals.nuisance_trips) == (2, 2)
    assert (found.chosen.tuning.totals.missed, found.chosen.whole.totals.missed) == (0, 2)


@pytest.mark.slow("tries many cases of a large space")
@given(st.data())
@settings(max_examples=30)
def test_what_stands_in_the_held_out_part_changes_nothing_of_the_choice(folder: Path, data: st.DataObject) -> None:
    """Catches any use of the held-out verdicts before the choice is made: drawn anew, the Pareto set is the same."""
    library = read_library(folder)
    some = st.tuples(*[st.sampled_from([EARLY, 61.0, 70.0, 100.0, NEVER])] * 4)
    own = [data.draw(some) for _ in range(4)]
    others = [[data.draw(some) for _ in range(4)] for _ in range(2)]
    first, second = (made(folder, lambda n, held=held: on_parts(library, own[n], held[n])) for held in others)

    assert (first.best, first.front, first.gains) == (second.best, second.front, second.gains)


WITH_LIMITS = """[acceptance]
max_missed = 9
max_nuisance_per_1000h = {rate}
min_margin = "0 s"
confidence = 0.6
max_missed_probability = 0.9999
min_margin_coverage = 0.0001
"""


def test_not_enough_evidence_never_ranks_above_met_nor_below_not_met(folder: Path) -> None:
    """Catches verdicts compared as words, or in another order: here each worse verdict has the better limits of missed faults.

    At a confidence of 0.6 no stop in 800 h is at most 1.15 per 1000 h, one at most 2.53 and two at most 3.88, seen 2.5.
    """
    library = read_library(folder)
    candidates = {
        "met": (100.0, NEVER, None, None),
        "not enough": (70.0, 70.0, None, 5.0),
        "not met": (61.0, 61.0, 5.0, 5.0),
    }
    rules = WITH_LIMITS.format(rate=2.0)
    for names in (
        ("not met", "not enough", "met"),
        ("met", "not enough", "not met"),
        ("not met", "not met", "not enough"),
    ):
        stops = lambda n, names=names: on_parts(library, candidates[names[n - 1]], GOOD)  # noqa: E731
        found = made(folder, stops, rules=rules)
        verdicts = [line.tuning.verdict for line in found.lines[1:]]

        assert [{"not enough evidence": "not enough"}.get(told, told) for told in verdicts] == list(names)
        best = next(name for name in ("met", "not enough", "not met") if name in names)
        assert names[found.best.candidate - 1] == best
        assert found.chosen.tuning.missed_limit >= min(line.tuning.missed_limit for line in found.lines)


def test_among_equals_the_one_nearest_to_their_middle_is_chosen_on_every_axis(folder: Path) -> None:
    """Catches a plateau left at its edge, an axis that weighs more because it has larger numbers, a tie that goes to the last.

    Of a grid of 5 by 3, numbered from 1 row by row: good are rows 2 to 4. The middle of 4 to 12 is 8; of 1 and 2 it is 1, the first.
    """
    library, varied = read_library(folder), ("trip_delay=60s..240s/5", "trips_to_lockout=2,3,4")
    plateau = made(
        folder, lambda n: on_parts(library, GOOD if 4 <= n <= 12 else (90.0, 90.0, None, None), GOOD), varied
    )
    pair = made(folder, lambda n: on_parts(library, GOOD if n in (1, 2) else (90.0, 90.0, None, None), GOOD), varied)
    bent = made(
        folder, lambda n: on_parts(library, GOOD if n in (2, 3, 10, 13) else (90.0, 90.0, None, None), GOOD), varied
    )

    assert plateau.best == Choice(8, 9)
    assert pair.best == Choice(1, 2)
    # In steps instead of shares of each axis another one would stand nearest.
    assert bent.best == Choice(nearest_to_middle((2, 3, 10, 13), 5, 3), 4)


def nearest_to_middle(numbers: Sequence[int], rows: int, columns: int) -> int:
    """Return the number of a grid nearest to the mean of some, each axis running from 0 to 1; the first of equals."""
    places = {n: ((n - 1) // columns / (rows - 1), (n - 1) % columns / (columns - 1)) for n in numbers}
    mean = [sum(place[axis] for place in places.values()) / len(places) for axis in (0, 1)]
    apart = {n: round(sum((place[axis] - mean[axis]) ** 2 for axis in (0, 1)), 9) for n, place in places.items()}
    return min(numbers, key=lambda n: (apart[n], n))


@pytest.mark.slow("tries many cases of a large space")
def figures_of(nuisance_limit: float, margin_s: float) -> Figures:
    """Return figures of 22 faults without a miss, by their nuisance limit and worst margin."""
    claims: Any = (SimpleNamespace(upper=0.127), SimpleNamespace(upper=nuisance_limit))
    totals: Any = SimpleNamespace(worst_margin_s=margin_s)
    return Figures(totals, claims, ())


def test_a_second_of_running_less_is_no_better_nuisance_limit() -> None:
    """Catches ten seconds of margin given up for the same nuisance trips in a second more of running."""
    slower, quicker, noisier = figures_of(748.01, 40.3), figures_of(748.04, 50.3), figures_of(751.0, 60.0)
    assert quicker.objectives < slower.objectives < noisier.objectives
    assert figures_of(float("inf"), 1.0).objectives[1] == float("inf")


@given(st.data())
@settings(max_examples=40)
def test_the_choice_is_that_of_sorting_by_the_rule(folder: Path, data: st.DataObject) -> None:
    """Catches a choice that differs from the stated rule anywhere: verdict, missed limit, nuisance limit, margin, middle.

    Limits and verdicts of the sorted candidates are those of the second account (tests/judge/account.py).
    """
    library = read_library(folder)
    some = st.tuples(*[st.sampled_from([61.0, 100.0, NEVER])] * 2, *[st.sampled_from([None, None, 5.0])] * 2)
    own = [data.draw(some) for _ in range(7)]
    rules = WITH_LIMITS.format(rate=data.draw(st.sampled_from([0.5, 1.2, 2.0, 3.0, 1e5])))
    found = made(
        folder, lambda n: on_parts(library, own[n], GOOD), ("trip_delay=60s..240s/3", "trips_to_lockout=2,3"), rules
    )
    acceptance = acceptance_of(folder / f"{abs(hash(rules))}.toml")
    places = split(library.entries).tuning
    ranks = {}
    for number in range(1, 7):
        stops = on_parts(library, own[number], GOOD)
        rows = [plain(library.entries[place], stops[place]) for place in places]
        total = totals_of(rows)
        claims = claims_of(total, acceptance, acceptance["confidence"])
        verdict_rank = ("met", "not enough evidence", "not met").index(verdict_on(total, claims, acceptance))
        worst = total["worst_margin_s"]
        limits = (round(claims[0]["upper"], 9), round(claims[1]["upper"], 9), np.inf if worst is None else -worst)
        ranks[number] = (verdict_rank, *limits)
    best = [number for number, rank in ranks.items() if rank == min(ranks.values())]

    assert found.best == Choice(nearest_to_middle(best, 3, 2), len(best))


def plain(entry: Entry, stop_s: float | None) -> dict[str, Any]:
    """Return the row of a trace that is stopped then, for the second account."""
    row: dict[str, Any] = {
        "family": entry.family,
        "run_hours": float(HOURS),
        "repeats": 0,
        "sensor_fails": False,
        "windows": [],
        "nuisance_trips": 0,
    }
    if not entry.windows:
        met = {"rode_through": 0, "stopped": 0, "stood": 0, "stops_outside": 0, "hours_outside": float(HOURS)}
        stops = int(stop_s is not None)
        return row | {"outcome": "nuisance" if stops else "rode_through", "nuisance_trips": stops, "upsets": met}
    (window,) = entry.windows
    hit = stop_s is not None and stop_s <= window.deadline_s
    margin = None if stop_s is None else window.deadline_s - stop_s
    told = {
        "outcome": "hit" if hit else "missed",
        "margin_s": margin,
        "likely_margin_s": None,
        "late": None if hit else "no stop",
        "cause": "oil" if hit else None,
    }
    return row | {"outcome": told["outcome"], "windows": [told], "upsets": None}


def test_better_than_the_base_means_strictly_better_by_the_rule(folder: Path) -> None:
    """Catches settings called better that are as good, or worse."""
    library = read_library(folder)
    for base, gains in (
        ((70.0, 70.0, None, None), False),
        ((61.0, 70.0, None, None), False),
        ((71.0, 70.0, None, None), True),
    ):
        found = made(folder, lambda n, base=base: on_parts(library, GOOD if n else base, GOOD))
        worse = made(folder, lambda n, base=base: on_parts(library, (90.0, 90.0, None, None) if n else base, GOOD))

        assert found.gains is gains
        assert found.best.candidate != 0  # the base is set beside, and is no candidate
        assert worse.gains is False
        assert tuning_json(found)["better_than_base"] is gains


def test_a_better_verdict_is_a_gain_whatever_the_limits() -> None:
    """Catches settings that meet the acceptance called no better than such that break it on a lower missed-trip limit."""
    line = lambda verdict, missed: SimpleNamespace(  # noqa: E731
        tuning=SimpleNamespace(rank=(verdict, missed, 1.0, 1.0), objectives=(missed, 1.0, 1.0))
    )
    told = SimpleNamespace(race=None, chosen=line(0, 0.2), base=line(2, 0.1))
    turned = SimpleNamespace(race=None, chosen=line(2, 0.1), base=line(0, 0.2))

    assert Tuning.gains.fget(told) is True  # type: ignore[attr-defined]
    assert Tuning.gains.fget(turned) is False  # type: ignore[attr-defined]


def test_the_fresh_library_judges_the_base_and_the_chosen_once_each(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Catches a fresh library that judges one of them twice, the two exchanged, or a candidate that was not chosen."""
    library, wanted = read_library(folder), recipe("pump-drive-broken", 1, 5, None, "csv")
    asked: list[tuple[Any, tuple[Settings, ...]]] = []

    def on_fresh(given_recipe: Any, pair: Sequence[Settings], tick: Callable[[], object]) -> Fresh:
        tick()
        asked.append((given_recipe, tuple(pair)))
        return Fresh(
            7,
            11,
            tuple(
                figures([verdict(library.entries[0], at)], one.acceptance)
                for at, one in zip((70.0, 80.0), pair, strict=True)
            ),
        )

    monkeypatch.setattr(tuning, "on_fresh_library", on_fresh)
    found = made(folder, lambda n: on_parts(library, GOOD if n == 3 else (90.0, 90.0, None, None), GOOD), fresh=wanted)
    told = tuning_json(found)["fresh"]
    margins = [
        entry.windows[0].deadline_s - at for entry, at in ((library.entries[0], 70.0), (library.entries[0], 80.0))
    ]

    assert asked == [(wanted, (found.space.base, found.lines[3].candidate.settings))]
    assert found.chosen.candidate.settings.digest != found.space.base.digest
    assert (told["seed"], told["traces"]) == (7, 11)
    assert [told[name]["worst_margin_s"] for name in ("base", "chosen")] == margins


def test_on_a_fresh_library_each_is_judged_by_its_own_rules_over_all_its_traces(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Catches figures exchanged between the two, acceptance of the one for both, traces of the fresh library left out."""
    library = read_library(folder)
    base = read_space(folder / "settings.toml", ("trip_delay=60s,70s",), open_ranges=False).base
    strict = replace(base, acceptance=replace(base.acceptance, min_margin_s=1000.0))
    made_of: list[Any] = []
    monkeypatch.setattr(fresh, "synthesise", lambda _, given_recipe: made_of.append(given_recipe))
    monkeypatch.setattr(fresh, "read_library", lambda _: library)
    stops: Iterator[float] = iter((70.0, 80.0))

    def rows(entries: Sequence[Entry], candidates: Sequence[Settings], *_: object) -> list[tuple[Verdict, ...]]:
        return [tuple(verdict(one, at) for one in entries) for _, at in zip(candidates, stops, strict=False)]

    monkeypatch.setattr(fresh, "judge_all", rows)
    wanted = recipe("pump-drive-broken", 1, 5, None, "csv")
    found = fresh.on_fresh_library(wanted, [base, strict], lambda: None)

    assert [one.seed for one in made_of] == [found.seed] == [5]
    assert found.traces == len(library.entries)
    assert [one.totals.must_trip for one in found.figures] == [4, 4]
    assert [one.totals.worst_margin_s for one in found.figures] == [35.0, 25.0]
    assert [[f.rule for f in one.failures][-1] == "min_margin" for one in found.figures] == [False, True]


def test_no_hit_is_the_worst_margin_of_all(folder: Path) -> None:
    """Catches a candidate without a hit that passes for one with room to spare."""
    space = read_space(folder / "settings.toml", ("trip_delay=60s,70s",), open_ranges=False)
    nothing = figures([], space.base.acceptance)

    assert nothing.margin_s == float("-inf")
    assert nothing.objectives == (1.0, float("inf"), float("inf"))
