"""The page's own judge on every boundary that the score's tests state: replay/page/judge.js by itself, under node."""

import math
from pathlib import Path
from typing import Any

import pytest

from protect import signals
from replay.engine import told_cause
from replay.library import MustTrip
from tests.score.test_score import OUTCOMES
from tests.score.test_windows import BAND, BANDED, BESIDE, COURSES, FIRST, IN_UPSETS, SECOND, TWO
from tests.support.bench_page import FIXTURES, embedded, page_text, parts, some

pytestmark = pytest.mark.slow("runs a script engine")


@pytest.fixture(scope="module")
def data() -> dict[str, Any]:
    """Return what a page embeds; of its traces nothing is needed here."""
    return embedded(page_text(some(99), FIXTURES / "settings.toml"))


Stop = tuple[float, float]


def asked(
    label: Any, stops: list[Stop], upsets: Any = (), *, start_s: float = 0.0, **told: Any
) -> list[dict[str, Any]]:
    """Return a trace and a run as the page has them. stops: in s of the trace's own time; told: what another trace tells."""
    windows = [vars(window) for window in label] if isinstance(label, tuple) else []
    kind = label if isinstance(label, str) else "must_trip"
    trace = {
        "id": "t",
        "family": "f",
        "start_s": start_s,
        "label": {"kind": kind, "windows": windows, "upsets": upsets, "told": [], "ran": [], "told_whole": False}
        | told,
        "doubt": "",
        "sensor_fails": False,
    }
    ms = lambda second: round((second - start_s) * 1000)  # noqa: E731
    felt = [{"ms": ms(at), "untilMs": None if until == math.inf else ms(until), "cause": 1} for at, until in stops]
    return [trace, {"stops": felt, "count": len(felt), "runMs": 3_600_000}]


def judged(data: dict[str, Any], folder: Path, *cases: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """Let the page judge some cases."""
    return list(parts(data, folder, judged=cases)["judged"])


def test_each_window_is_judged_by_itself(data: dict[str, Any], tmp_path: Path) -> None:
    """Catches a page with another side of a window, another time of a repeat, another standstill than the score has."""
    found = judged(data, tmp_path, *(asked((FIRST, SECOND), stops) for stops, *_ in COURSES))
    told = [([w["outcome"] for w in one["windows"]], one["nuisance"], len(one["windows"])) for one in found]

    assert told == [(outcomes, nuisance, 2) for _, outcomes, nuisance, _ in COURSES]


def test_the_band_says_how_late_a_stop_is(data: dict[str, Any], tmp_path: Path) -> None:
    """Catches a miss that the page tells as more or less late than the score, and a margin to another figure."""
    stops = [[] if stop is None else [(stop, stop + 300)] for stop, *_ in BAND]
    found = judged(data, tmp_path, *(asked((BANDED,), one) for one in stops))

    assert [(one["outcome"], one["windows"][0]["late"]) for one in found] == [
        (outcome, late) for _, outcome, late in BAND
    ]
    margins = [None if stop is None else round(BANDED.deadline_s - stop, 3) for stop, *_ in BAND]
    assert [one["marginS"] for one in found] == margins


def test_the_band_keeps_the_stops_of_its_fault(data: dict[str, Any], tmp_path: Path) -> None:
    """Catches a page that ends a fault with its deadline, where its band goes on."""
    long = MustTrip(1000.0, 1100.0, latest_s=5000.0)
    within, behind = ([(1050, 1051), (at, at + 299), (9050, 9350)] for at in (4000, 5001))
    found = judged(data, tmp_path, asked((long, SECOND), within), asked((long, SECOND), behind))

    assert [[w["outcome"] for w in one["windows"]] for one in found] == [["hit", "hit"], ["hit", "early"]]
    assert [one["nuisance"] for one in found] == [0, 1]


def test_what_a_stop_belongs_to_of_upsets(data: dict[str, Any], tmp_path: Path) -> None:
    """Catches an upset that the page ends too soon or too late, counts twice, or counts though the machine stood."""
    found = judged(data, tmp_path, *(asked("ride_through", stops, TWO) for stops, *_ in IN_UPSETS))

    assert [(one["met"]["upsets"], one["met"]["stopped"], one["marked"]) for one in found] == [
        (rode + stopped, stopped, 2) for _, rode, stopped, _, _ in IN_UPSETS
    ]


def test_outcomes_follow_the_first_stop_and_the_label(data: dict[str, Any], tmp_path: Path) -> None:
    """Catches a page on another clock than the trace's own, and a bound of a window on its other side."""
    cases = [
        asked(
            (label,) if isinstance(label, MustTrip) else label,
            [(1000.0 + at, math.inf) for at in stops],
            start_s=1000.0,
        )
        for label, stops, *_ in OUTCOMES
    ]
    found = judged(data, tmp_path, *cases)

    assert [(one["outcome"], one["marginS"]) for one in found] == [
        (outcome, margin) for *_, outcome, margin in OUTCOMES
    ]
    assert [one["runHours"] for one in found] == [1.0] * len(found)


def test_what_another_trace_tells_is_left_to_it(data: dict[str, Any], tmp_path: Path) -> None:
    """Catches a page that counts windows, stops, hours or upsets twice, or leaves out more than the bounds of a stretch."""
    window, stretch = (FIRST.earliest_s, FIRST.deadline_s), {"told": [(50.0, 100.0)], "ran": [(50.0, 100.0)]}
    stop = (FIRST.earliest_s + 1.0, FIRST.earliest_s + 301.0)
    whole = {"told": [(0.0, 9000.0)], "told_whole": True}
    found = judged(
        data,
        tmp_path,
        asked((FIRST, SECOND), [stop], told=[window]),
        asked(
            (FIRST, SECOND), [stop], told=[(0.0, FIRST.earliest_s), (FIRST.deadline_s + 0.1, SECOND.earliest_s - 0.1)]
        ),
        asked((FIRST,), [stop], told=[window]),
        asked("ride_through", [(50.0, 60.0), (100.0, 100.5), (101.0, 102.0)], **stretch),
        asked("ride_through", [(49.999, 60.0)], **stretch),
        asked("ride_through", [(50.0, 60.0), (100.0, 100.5)], **stretch),
        asked("ride_through", [(1300.0, 1350.0)], TWO, told=[(0.0, 1000.0)]),
        asked("ride_through", [(1300.0, 1350.0)], TWO, told=[(0.0, 999.9)]),
        asked("ride_through", [(100.0, 200.0)], **whole),
        asked("undecided", [], **whole),
    )

    assert [(one["outcome"], len(one["windows"]), one["nuisance"]) for one in found] == [
        *(("missed", 1, 0), ("missed", 1, 0), ("counted already", 0, 0)),
        *(("nuisance", 0, 1), ("nuisance", 0, 1), ("rode_through", 0, 0)),
        *(("nuisance", 0, 1), ("nuisance", 0, 1)),
        *(("counted already", 0, 0), ("counted already", 0, 0)),
    ]
    # Less what ran in the stretch: 40 s of it were left after the first stop.
    assert [one["runHours"] for one in found[3:6]] == [round((3600 - 40) / 3600, 6)] * 3
    assert [(one["marked"], one["met"]["upsets"], one["met"]["stopped"]) for one in found[6:8]] == [
        (1, 1, 1),
        (2, 2, 1),
    ]


def test_a_stop_before_a_fault_that_another_trace_tells_is_left_to_it(data: dict[str, Any], tmp_path: Path) -> None:
    """Catches a page that counts it in both traces, and one that leaves out what came before the fault told here alone."""
    first, second = ((window.earliest_s, window.deadline_s) for window in (FIRST, SECOND))
    stops = [(100.0, 101.0), (5000.0, 5001.0)]
    found = judged(data, tmp_path, *(asked((FIRST, SECOND), stops, told=told) for told in ([], [first], [second])))

    assert [one["nuisance"] for one in found] == [2, 1, 1]
    assert [[w["stopS"] for w in one["windows"]] for one in found] == [[100.0, 5000.0], [5000.0], [100.0]]


def test_a_window_has_the_cause_of_the_stop_that_decides_it(data: dict[str, Any], tmp_path: Path) -> None:
    """Catches a hit by a sensor told as one by oil pressure, and the cause of another stop of the trace."""
    stops = [(1050.0, 1060.0), (9050.0, 9060.0), (9080.0, 9085.0)]
    trace, run = asked((FIRST, SECOND), stops)
    for stop, cause in zip(run["stops"], (3, 1, 2), strict=True):
        stop["cause"] = cause
    early, one = asked((FIRST, SECOND), [(500.0, 501.0)])
    one["stops"][0]["cause"] = 3
    found = judged(data, tmp_path, [trace, run], [early, one])

    assert [[window["cause"] for window in each["windows"]] for each in found] == [["sensor", "oil"], ["sensor", None]]
    assert [each["cause"] for each in found] == ["sensor", "sensor"]


def test_a_cause_reads_as_in_the_terminal(data: dict[str, Any], tmp_path: Path) -> None:
    """Catches doubts that page and command word otherwise: one of each channel, and both that the suction sensor stands for."""
    bits = [getattr(signals, name) for name in dir(signals) if name.startswith(("OIL_", "SUCTION_", "CRANKCASE_"))]
    some = [bit for bit in bits if isinstance(bit, int) and bit >= signals.OIL_MISSING]
    pairs = [getattr(signals, f"SUCTION_{kind}") | getattr(signals, f"CRANKCASE_{kind}") for kind in ("RANGE", "STUCK")]
    codes = [3 | doubt for doubt in (*some, *pairs, pairs[1] | signals.OIL_STUCK | signals.LATE)]
    cases = [asked((FIRST,), [(500.0, 501.0)]) for _ in codes]
    for (_, run), code in zip(cases, codes, strict=True):
        run["stops"][0]["cause"] = code

    assert [one["cause"] for one in judged(data, tmp_path, *cases)] == [told_cause(code) for code in codes]
    assert told_cause(codes[-1]) == "sensor: oil stuck, suction and crankcase stuck, late tick"


def test_a_stop_that_a_harmless_recording_tells_is_left_to_it(data: dict[str, Any], tmp_path: Path) -> None:
    """Catches a page that counts it in both, or has other bounds of what that recording tells."""
    told = [(400.0, 600.0)]
    found = judged(data, tmp_path, *(asked((FIRST, SECOND), stops, told=told) for stops, *_ in BESIDE))

    assert [([w["outcome"] for w in one["windows"]], one["nuisance"]) for one in found] == [
        (outcomes, nuisance) for _, outcomes, nuisance, _ in BESIDE
    ]


RULES = {
    "max_missed": 0, "max_nuisance_per_1000h": 10.0, "min_margin_s": 30.0, "confidence": None, "shown_confidence": 0.95,
    "max_missed_probability": 0.1, "min_margin_coverage": 0.9, "max_nuisance_probability": None,
}  # fmt: skip


def verdict(
    outcome: str,
    *,
    margin: float | None = None,
    hours: float = 0.0,
    stops: int = 0,
    met: tuple[int, int] = (0, 0),
    cause: str = "oil",
    **of_trace: Any,
) -> dict[str, Any]:
    """Return a verdict as the page's own judge gives it; of_trace: its doubt, and whether a sensor fails in it."""
    faults = outcome in ("hit", "missed", "early")
    windows = [{"outcome": outcome, "stopS": None, "late": None, "cause": cause, "marginS": margin}] if faults else []
    upsets = {"upsets": met[0], "stopped": met[1]}
    told = {"id": "t", "family": "f", "outcome": outcome, "windows": windows, "runHours": hours, "trips": stops}
    return told | {"nuisance": stops, "marked": met[0], "met": upsets, "doubt": "", "sensorFails": False} | of_trace


HIT, RODE = verdict("hit", margin=50.0), verdict("rode_through", hours=100.0)
SCORED: list[tuple[list[dict[str, Any]], dict[str, Any], list[str], list[str], list[str]]] = [  # verdicts, rules, broken, lacking, unjudged
    ([HIT, RODE], {}, [], [], []),
    ([HIT, RODE, verdict("missed")], {}, ["max_missed"], [], []),
    ([HIT, RODE, verdict("missed")], {"max_missed": 1}, [], [], []),
    ([HIT, verdict("nuisance", hours=100.0, stops=1)], {}, [], [], []),  # 10 per 1000 h: at the limit
    ([HIT, verdict("nuisance", hours=99.9, stops=1)], {}, ["max_nuisance_per_1000h"], [], []),
    ([HIT, verdict("nuisance", hours=0.0, stops=1)], {}, ["max_nuisance_per_1000h"], [], ["max_nuisance_per_1000h"]),  # no hours to count it over
    ([HIT, verdict("rode_through", hours=0.0)], {"max_nuisance_per_1000h": 0.0}, [], [], ["max_nuisance_per_1000h"]),
    ([verdict("hit", margin=30.0), RODE], {}, [], [], []),
    ([verdict("hit", margin=29.9), HIT, RODE], {}, ["min_margin"], [], []),
    ([verdict("early", margin=1.0, stops=1), RODE], {"max_nuisance_per_1000h": 1e3}, [], [], ["max_missed", "min_margin"]),  # margins are of the hits
    ([HIT] * 59 + [RODE] * 3, {"confidence": 0.95, "max_missed_probability": 0.05}, [], [], []),
    ([HIT] * 58 + [RODE] * 3, {"confidence": 0.95, "max_missed_probability": 0.05}, [], ["max_missed_probability"], []),
    ([HIT] * 29 + [RODE] * 3, {"confidence": 0.95, "max_missed_probability": 0.5}, [], [], []),
    ([HIT] * 28 + [RODE] * 3, {"confidence": 0.95, "max_missed_probability": 0.5}, [], ["min_margin_coverage"], []),
    ([HIT] * 28 + [verdict("hit", margin=30.0), *[RODE] * 3], {"confidence": 0.95, "max_missed_probability": 0.5}, [], [], []),
    ([HIT] * 60 + [verdict("rode_through", hours=299.0)], {"confidence": 0.95}, [], ["max_nuisance_per_1000h"], []),
    ([HIT] * 60 + [verdict("rode_through", hours=300.0, met=(28, 0))], {"confidence": 0.95, "max_nuisance_probability": 0.1}, [], ["max_nuisance_probability"], []),
    ([HIT] * 60 + [verdict("rode_through", hours=300.0, met=(29, 0))], {"confidence": 0.95, "max_nuisance_probability": 0.1}, [], [], []),
    ([HIT] * 60 + [verdict("nuisance", hours=9e3, stops=1, met=(9, 1))], {"confidence": 0.95, "max_nuisance_probability": 0.1}, ["max_nuisance_probability"], [], []),
    ([HIT] * 60 + [RODE] * 3 + [verdict("undecided", stops=9)], {"confidence": 0.95}, [], [], []),
    ([RODE], {}, [], [], ["max_missed", "min_margin"]),
    ([HIT], {}, [], [], ["max_nuisance_per_1000h"]),
    ([verdict("missed"), RODE], {"max_missed": 1}, [], [], ["min_margin"]),
    ([verdict("hit", margin=50.0, cause="sensor"), RODE], {}, [], [], ["max_missed"]),
    ([verdict("hit", margin=50.0, cause="sensor", sensorFails=True), RODE], {}, [], [], []),
    ([verdict("hit", margin=50.0, cause="sensor"), HIT, RODE], {}, [], [], []),
    ([verdict("hit", margin=50.0, cause="sensor"), verdict("missed"), RODE], {"max_missed": 1}, [], [], []),
    ([HIT, RODE, verdict("rode_through", hours=1.0, doubt="a unit")], {}, [], [], ["traces in doubt"]),
    ([HIT, RODE, verdict("counted already", doubt="a unit"), verdict("undecided", doubt="a unit")], {}, [], [], []),
    ([], {}, [], [], ["max_missed", "max_nuisance_per_1000h", "min_margin"]),
]  # fmt: skip


def test_rules_are_judged_on_counts_and_limits_at_their_very_bounds(data: dict[str, Any], tmp_path: Path) -> None:
    """Catches 'below' where 'at most' is meant, a limit at another confidence, and a verdict on what nothing was judged on."""
    found = parts(
        data,
        tmp_path,
        scored=[
            (verdicts, RULES | {"shown_confidence": rules.get("confidence") or 0.95} | rules)
            for verdicts, rules, *_ in SCORED
        ],
    )["scored"]

    assert [(one["broken"], one["lacking"], one["unjudged"]) for one in found] == [tuple(case[2:]) for case in SCORED]
    wanted = [
        "not met" if broken else "not enough evidence" if lacking or unjudged else "met"
        for *_, broken, lacking, unjudged in SCORED
    ]
    assert [one["verdict"] for one in found] == wanted


def test_a_limit_that_is_just_what_is_wanted_is_met(data: dict[str, Any], tmp_path: Path) -> None:
    """Catches 'below' for 'at most' where a limit is judged: the very limit that the page works out is asked for."""
    rules = RULES | {
        "confidence": 0.95,
        "max_nuisance_per_1000h": 1e6,
        "min_margin_coverage": 0.0001,
        "max_missed_probability": 0.9999,
    }
    verdicts = [HIT] * 7 + [verdict("rode_through", hours=300.0, met=(5, 0))]
    (first,) = parts(data, tmp_path, scored=[(verdicts, rules)])["scored"]
    just = {one["rule"]: one["upper"] for one in first["claims"]} | {"max_missed": 0}
    less = just | {
        rule: math.nextafter(just[rule], 0.0) for rule in ("max_missed_probability", "max_nuisance_per_1000h")
    }
    told = parts(
        data, tmp_path, scored=[(verdicts, rules | exact | {"min_margin_coverage": 0.0001}) for exact in (just, less)]
    )["scored"]

    assert [[one["verdict"] for one in score["claims"][:2]] for score in told] == [
        ["met"] * 2,
        ["not enough evidence"] * 2,
    ]
    assert [score["claims"][3]["verdict"] for score in told] == ["met", "met"]
