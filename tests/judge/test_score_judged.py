"""The score of drawn libraries, in every form it is told, against a second account of it (account.py)."""

import json
import math
import tempfile
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from replay.engine import Replay, Stop, engine_named
from replay.engine.baselines import BASELINES
from replay.engine.scan import grid_of
from replay.library import Entry, Library, MustTrip
from replay.score import judge, score_library
from replay.score.once import Once
from replay.score.scoring import Judged, score_of
from replay.settings import Settings, read_settings
from replay.trace import Trace
from tests.judge.account import Lived, acceptance_of, account, enough_more, laws_account, summed, verdict_of
from tests.judge.libraries import FAMILIES, libraries, settings_texts, written


def near(value: Any) -> Any:
    """Return what a figure of a report is compared with: None for one that JSON cannot hold."""
    if value is None or value in (float("inf"), float("-inf")):
        return None
    return pytest.approx(value, rel=1e-7, abs=1e-6)


def alike(value: Any) -> Any:
    """Return what a part of a report is compared with: floats are given the last digit that the report rounds to."""
    if isinstance(value, dict):
        return {key: alike(part) for key, part in value.items()}
    if isinstance(value, list | tuple):
        return [alike(part) for part in value]
    return pytest.approx(value, rel=1e-7, abs=1.1e-6) if isinstance(value, float) else value


def claim_rows(claims: list[dict[str, Any]], sure: float) -> list[dict[str, Any]]:
    """Return claims of the account as a report has them."""
    return [
        {
            **{key: claim[key] for key in ("rule", "events", "verdict")},
            **{key: near(claim[key]) for key in ("of", "point", "upper", "wanted")},
            "interval": [near(limit) for limit in claim["interval"]],
            "further": near(enough_more(claim, sure)),
        }
        for claim in claims
    ]


def counted(total: dict[str, Any]) -> dict[str, Any]:
    """Return totals of the account as a report has them."""
    return {key: alike(value) for key, value in total.items() if key not in ("margins", "nuisance_per_1000h")}


def as_told(row: dict[str, Any]) -> dict[str, Any]:
    """Return a row as a report has it: a doubt where there is one, causes of windows where they are several."""
    told = {key: value for key, value in row.items() if key != "sensor_fails" and (key != "doubt" or value)}
    several = len(row["windows"]) > 1
    return told | {"windows": [{k: v for k, v in w.items() if several or k != "cause"} for w in row["windows"]]}


def held_equal(report: dict[str, Any], own: dict[str, Any]) -> None:
    """Hold the JSON report of a score equal to an account of it."""
    sure = own["confidence"]
    told = {
        row["id"]: {k: v for k, v in row.items() if k != "doubts"} for row in (*report["traces"], *report["undecided"])
    }
    assert told == {row["id"]: alike(as_told(row)) for row in own["rows"]}
    assert [row["id"] for row in report["undecided"]] == [r["id"] for r in own["rows"] if r["outcome"] == "undecided"]
    rate = {"nuisance_per_1000h": near(own["total"]["nuisance_per_1000h"])}
    assert report["totals"] == counted(own["total"]) | rate | {"undecided": len(report["undecided"])}
    assert report["evidence"]["claims"] == claim_rows(own["claims"], sure)
    assert list(report["families"]) == list(own["families"])
    for name, part in report["families"].items():
        assert part == counted(own["families"][name]) | {"claims": claim_rows(own["family_claims"][name], sure)}
    assert report["evidence"]["worst_family"] == own["worst_family"]
    assert report["evidence"]["margin_of_nine_in_ten_s"] == near(own["margin_of_nine_in_ten_s"])
    outside, mix = report["evidence"]["outside_upsets"], report["evidence"]["mix"]
    assert (outside is None) == (own["outside"] is None)
    if outside:
        point, interval, upper = own["outside"]
        assert (outside["point"], outside["upper"]) == (near(point), near(upper))
        assert outside["interval"] == [near(limit) for limit in interval]
    assert (mix is None) == (own["mix"] is None)
    if mix:
        assert mix["shares"] == {name: near(share) for name, share in own["mix"]["shares"].items()}
        assert (mix["missed_probability"], mix["upper"]) == (
            near(own["mix"]["missed_probability"]),
            near(own["mix"]["upper"]),
        )
    for name, part in report["baselines"].items():
        wanted = {"nuisance_per_1000h": near(own["plain"][name]["nuisance_per_1000h"])}
        assert part == counted(own["plain"][name]) | wanted | {"rules_not_met": own["plain_broken"][name]}
    said = report["acceptance"]
    assert {failure["rule"]: failure["got"] for failure in said["failures"]} == {
        k: near(v) for k, v in own["broken"].items()
    }
    assert (said["verdict"], said["met"]) == (own["verdict"], own["verdict"] == "met")
    assert [claim["rule"] for claim in said["lacking"]] == own["lacking"]
    assert list(said["unjudged"]) == own["unjudged"]
    if "by_machine" in own:
        assert report["labels_rest"] == own["rests"]
        machines = report["evidence"]["by_machine"]
        assert (machines["unit"], machines["machines"]) == (own["by_machine"]["unit"], own["by_machine"]["machines"])
        for claim, (events, of, point, interval, upper) in zip(
            machines["claims"], own["by_machine"]["limits"], strict=True
        ):
            assert (claim["events"], claim["of"], claim["verdict"]) == (events, of, "not judged")
            assert (claim["point"], claim["upper"]) == (near(point), near(upper))
            assert claim["interval"] == [near(limit) for limit in interval]
    by_id = lambda pairs: sorted(pairs, key=lambda pair: (pair["first"], pair["second"]))  # noqa: E731
    assert by_id(report["told_twice"]) == alike(by_id(own.get("twice", [])))


@settings(max_examples=15)
@given(libraries())
def test_the_score_is_that_of_the_second_account(files: dict[str, str]) -> None:
    """Catches whatever is counted, bounded, judged or left out otherwise than the words of the report say."""
    with tempfile.TemporaryDirectory() as place:
        folder = written(files, Path(place))
        held_equal(json.loads(json.dumps(score_library(folder).as_json())), account(folder, folder / "settings.toml"))


@pytest.mark.slow("tries many cases of a large space")
@settings(max_examples=3)
@given(libraries())
def test_plain_laws_at_their_best_are_those_of_the_second_account(files: dict[str, str]) -> None:
    """Catches a law that is flattered or slandered: figures of another point, or a better one that is passed over."""
    with tempfile.TemporaryDirectory() as place:
        folder = written(files, Path(place))
        report = json.loads(json.dumps(score_library(folder).as_json()))
        come_to = laws_account(folder, folder / "settings.toml")
        grid = grid_of(read_settings(folder / "settings.toml"))
        own = report["totals"]
        for law in report["comparators"]:
            best = [law[name] for name in ("no_more_missed", "no_more_nuisance", "as_good", "thinner") if law[name]]
            for point in (*law["curve"][:2], law["curve"][-1], *best):
                found = come_to(law["law"], point["cut_out_pa"], point["delay_ms"])
                assert {name: point[name] for name in found} == alike(found), (law["law"], point)
            assert law["as_good"] is None or as_good(law["as_good"], own)
            if law["law"] == "unweighted integrator":
                continue  # some hundred replays
            every = [
                come_to(law["law"], cut_out, delay) for cut_out in grid.cut_outs[::3] for delay in grid.delays[::4]
            ]
            front = law["curve"]
            assert all(
                any(p["missed"] <= its["missed"] and p["nuisance_trips"] <= its["nuisance_trips"] for p in front)
                for its in every
            )
            for rule, bound, aim in (
                ("no_more_missed", "missed", "nuisance_trips"),
                ("no_more_nuisance", "nuisance_trips", "missed"),
            ):
                within = [(its[aim], its[bound], *thinness(its)) for its in every if its[bound] <= own[bound]]
                chosen = law[rule]
                assert not within or (chosen[aim], chosen[bound], *thinness(chosen)) <= min(within)
            assert law["as_good"] or not any(as_good(its, own) for its in every)
            ties = [its for its in every if not_worse(its, own)]
            assert law["as_good"] or not ties or thinness(law["thinner"]) <= min(map(thinness, ties))


def not_worse(point: dict[str, Any], own: dict[str, Any]) -> bool:
    """Say whether a point has no more of either count than the settings."""
    return point["missed"] <= own["missed"] and point["nuisance_trips"] <= own["nuisance_trips"]


def as_good(point: dict[str, Any], own: dict[str, Any]) -> bool:
    """Say whether the settings do not earn their keep beside a point: no worse, and no tie with a thinner margin."""
    tie = point["missed"] == own["missed"] and own["worst_margin_s"] is not None
    worst = point["worst_margin_s"]
    return not_worse(point, own) and not (tie and (worst is None or worst < own["worst_margin_s"]))


def thinness(point: dict[str, Any]) -> tuple[float, float]:
    """Return what is smaller the larger the margins are, worst and median."""
    return tuple(math.inf if point[n] is None else -point[n] for n in ("worst_margin_s", "median_margin_s"))


# ------------------------------------------------------------------------- the judgement alone, over many more courses

STEP_S, END_S, BEGIN_S = 20, 4000, 100
CAUSES = st.sampled_from([1, 2, 3 | 1 << 16, 4])


ORIGINS = ("recorded: x", "recorded: x; dead band", "synthetic: x", "synthetic: x; coarse digits of 5 kPa")


@st.composite
def stories(draw: st.DrawFn) -> dict[str, Any]:
    """Draw a trace's entry as library.toml would have it, what the machine lived through, and its standstill."""
    kind = draw(st.sampled_from(["must_trip", "must_trip", "must_trip", "ride_through", "ride_through", "undecided"]))
    edges = sorted(draw(st.sets(st.integers(BEGIN_S, END_S).map(float), min_size=3, max_size=12)))
    entry: dict[str, Any] = {"id": "", "family": draw(st.sampled_from(FAMILIES)), kind: True}
    if kind == "must_trip":
        size, keys = draw(st.integers(2, 4)), ("earliest_s", "deadline_s", "likely_s", "latest_s")
        groups = [edges[n : n + size] for n in range(0, len(edges) - size + 1, size)] or [edges[:2]]
        entry[kind] = [dict(zip(keys, group, strict=False)) for group in groups]
    elif kind == "ride_through" and draw(st.booleans()):
        entry["upsets"] = [edges[n : n + 2] for n in range(0, len(edges) - 1, 2)]
    near = st.tuples(
        st.sampled_from(edges), st.sampled_from([-1.0, 0.0, 0.001, 60.0, 600.0, 601.0, 300.0, 300.001])
    ).map(sum)
    turns = sorted({t for t in draw(st.lists(near, max_size=6)) if BEGIN_S <= t <= END_S})
    stops = [[at, until, draw(CAUSES)] for at, until in zip(turns[::2], [*turns[1::2], math.inf], strict=False)]
    rest = draw(st.integers(0, 150))
    if kind == "must_trip":  # of a fault its window is told, of any other trace whatever stretch is common
        stretches = [(window["earliest_s"], window["deadline_s"]) for window in entry[kind]]
    else:
        stretches = list(zip(edges[:-1:3], edges[1::3], strict=False))
    whole = [(float(BEGIN_S), float(END_S))]
    told = [span for span in stretches if draw(st.sampled_from([False, False, True]))]
    entry["told"] = draw(st.sampled_from([[], told, told, told, whole]))
    entry["doubt"] = draw(st.sampled_from(["", "", "", "a unit"]))
    entry["origin"] = draw(st.sampled_from(ORIGINS))
    one = Lived(
        [[*map(float, stop[:2]), stop[2]] for stop in stops],
        draw(st.sampled_from([0, *range(END_S, 9 * END_S, 333)])) * 3600,
        draw(st.sampled_from([0, 0, 3])),
        bool(turns),
    )
    return {"entry": entry, "lived": one, "rest": (rest, rest + draw(st.integers(0, 30)))}


def as_product(number: int, story: dict[str, Any]) -> tuple[Entry, Trace, Replay]:
    """Return a story as the product holds it."""
    entry, one = story["entry"], story["lived"]
    label = tuple(MustTrip(**window) for window in entry["must_trip"]) if "must_trip" in entry else None
    named = label or ("ride_through" if "ride_through" in entry else "undecided")
    held = Entry(
        entry["id"],
        Path(f"{number}.csv"),
        entry["family"],
        "m",
        "o",
        entry.get("origin", "recorded: x"),
        named,
        "",
        tuple(map(tuple, entry.get("upsets", ()))),
        told=tuple(entry.get("told", ())),
        doubt=entry.get("doubt", ""),
    )
    ms = lambda second: round((second - BEGIN_S) * 1000)  # noqa: E731
    stops = tuple(Stop(ms(at), cause, None if until == math.inf else ms(until)) for at, until, cause in one.stops)
    time = np.arange(0, END_S - BEGIN_S + 1, STEP_S) * 1000
    running = np.ones(len(time), np.uint8)
    running[slice(*story["rest"])] = 0
    none = np.zeros(len(time), np.int64)
    trace = Trace("t", float(BEGIN_S), time, none, none, none, running, none.astype(np.uint8))
    return held, trace, Replay((), stops, one.run_ms, one.late, one.locked_out)


@st.composite
def judgements(draw: st.DrawFn) -> tuple[list[dict[str, Any]], str]:
    """Draw stories, at times a library of many good ones, and the settings' text."""
    some = draw(st.lists(stories(), min_size=1, max_size=8))
    hit = {"id": "", "family": "alpha", "must_trip": [{"earliest_s": 500.0, "deadline_s": 600.0, "likely_s": 640.0}]}
    for number in range(draw(st.sampled_from([0, 0, 10, 35, 60]))):
        stop = [[510.0 + number, math.inf, 1]]
        some.append({"entry": dict(hit), "lived": Lived(stop, 3_600_000), "rest": (0, 0)})
    for number in range(draw(st.sampled_from([0, 5]))):
        quiet = {"id": "", "family": "beta", "ride_through": True, "upsets": [[500.0, 600.0], [700.0 + number, 800.0]]}
        some.append({"entry": quiet, "lived": Lived([], 360_000_000), "rest": (0, 0)})
    for number, story in enumerate(some):
        story["entry"]["id"] = f"t{number:02d}"
    return some, draw(settings_texts())


@pytest.fixture(scope="module")
def place(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a folder with files for the digest of a library, each another."""
    folder = tmp_path_factory.mktemp("judged")
    for number in range(80):
        (folder / f"{number}.csv").write_text(str(number))
    (folder / "library.toml").write_text("")
    return folder


@pytest.mark.slow("tries many cases of a large space")
@settings(max_examples=60)
@given(judgements())
def test_whatever_a_machine_lived_through_is_judged_as_the_second_account_has_it(
    place: Path, drawn: tuple[list[dict[str, Any]], str]
) -> None:
    """Catches a side of a window, a restart, a standstill or an upset that is taken otherwise, and every count and limit of it."""
    drawn_stories, text = drawn
    (place / "settings.toml").write_text(text)
    checked: Settings = read_settings(place / "settings.toml")
    rows, judged, entries = [], [], []
    for number, story in enumerate(drawn_stories):
        entry, trace, replay = as_product(number, story)
        frame = pd.DataFrame(
            {"at_s": BEGIN_S + trace.time_ms / 1000, "running": trace.running, "elapsed": STEP_S * 1000}
        )
        frame.loc[0, "elapsed"] = 0
        rows.append(verdict_of(story["entry"], frame, story["lived"]))
        verdict = judge(entry, trace, replay)
        judged.append(Judged(verdict, dict.fromkeys(BASELINES, verdict)))
        entries.append(Entry(**{**vars(entry), "path": place / f"{number}.csv"}))
    library = Library(place, tuple(entries), None)
    report = json.loads(
        json.dumps(score_of(Once(library, (), {}), checked, engine_named("portable"), judged).as_json())
    )

    held_equal(report, summed(rows, dict.fromkeys(BASELINES, rows), acceptance_of(place / "settings.toml"), None))
