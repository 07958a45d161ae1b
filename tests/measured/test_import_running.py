"""Running from a current: two levels, least times, a threshold from the file itself; means; starts an hour."""

import random
import tomllib
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from replay.ground.refusal import Refusal
from replay.measured.block import BETWEEN, UNKNOWN, Block
from replay.measured.guess import draft_profile
from replay.measured.profile import Flag
from replay.measured.steady import Steady
from replay.measured.threshold import find_humps
from tests.support.measured import HEADER, bring_in, profile_with

CURRENT = 'unit = "A"\ncurrent_above = "10 A"\ncurrent_below = "5 A"'


def log(currents: list[float]) -> str:
    """Return a 1 Hz log with these motor currents and a sound oil pressure that moves."""
    rows = (f"{s};{3.5 + s % 7 / 100:.2f};{2 + s % 5 / 100:.2f};{a:g}\n" for s, a in enumerate(currents))
    return HEADER + "".join(rows)


def test_between_the_levels_the_status_stays(tmp_path: Path) -> None:
    """Catches a starved machine, which draws less, called stopped; and a status from nothing at the beginning."""
    report, (trace,) = bring_in(tmp_path, log([7, 7, 12, 7, 7, 4, 7, 7, 12, 5.5]), profile_with(running=CURRENT))

    assert trace.running.tolist() == [1, 1, 1, 0, 0, 0, 1, 1]
    assert report.counts.without_status == 2


def test_a_short_stop_is_none_and_then_a_short_run_is_none(tmp_path: Path) -> None:
    """Catches a status that chatters taken for standing: stops go first, so what flickers counts as running."""
    least = f'{CURRENT}\nleast_run = "4 s"\nleast_stop = "3 s"'
    currents = [0] * 5 + [12, 0] * 6 + [0] * 9 + [12, 12] + [0] * 9
    report, (trace,) = bring_in(tmp_path, log(currents), profile_with(running=least))

    assert trace.running.tolist() == [0] * 5 + [1] * 11 + [0] * 21
    assert any("the running status flickers: 7 rows" in doubt for doubt in report.doubts)


def whole(codes: list[int], times: list[int], least_run: int, least_stop: int) -> list[int]:
    """Return the settled status of a whole log at once, by runs of equal status, by hand."""
    out = list(codes)
    for value, least in ((0, least_stop), (1, least_run)):
        start = 0
        while start < len(out):
            stop = next((i for i in range(start, len(out)) if out[i] != out[start]), len(out))
            if out[start] == value and start > 0 and stop < len(out) and times[stop] - times[start] < least:
                out[start:stop] = [1 - value] * (stop - start)
                start = 0
            else:
                start = stop
    return out


@settings(max_examples=150)
@given(
    codes=st.lists(st.integers(0, 1), min_size=1, max_size=40),
    cuts=st.lists(st.integers(1, 9), min_size=1, max_size=40),
    least=st.tuples(st.integers(0, 6), st.integers(0, 6)),
)
def test_where_a_block_ends_settles_nothing(codes: list[int], cuts: list[int], least: tuple[int, int]) -> None:
    """Catches a flicker kept, or a run lost, because the block ended in it."""
    flag = Flag("running", kind="current", above=1.0, below=1.0, least_run=least[0], least_stop=least[1])
    steady, given_on, done = Steady(flag, 1000), [], 0
    for cut in [*cuts, len(codes)]:
        part = codes[done : done + cut]
        time = np.arange(done, done + len(part))
        block = Block(time, {}, {"running": np.array(part, dtype=np.int8)}, str)
        given_on += [int(c) for out in steady.take(block) for c in out.status["running"]]
        done += len(part)
    given_on += [int(c) for out in steady.finish() for c in out.status["running"]]

    assert given_on == whole(codes, list(range(len(codes))), *least)


def test_a_gap_ends_what_is_between_the_levels() -> None:
    """Catches a status carried over hours in which nobody looked."""
    flag = Flag("running", kind="current", above=2.0, below=1.0)
    steady = Steady(flag, 10)
    block = Block(np.array([0, 5, 100]), {}, {"running": np.array([1, BETWEEN, BETWEEN], dtype=np.int8)}, str)

    assert [int(c) for out in steady.take(block) for c in out.status["running"]] == [1, 1, UNKNOWN]


def starved_log() -> str:
    """Return a log of a machine that draws 40 A, 24 A while it is starved from 2000 s to 2600 s, and 0.3 A at rest."""
    chance = random.Random(5)  # noqa: S311 - the same log each time
    rows = []
    for s in range(4000):
        run, starved = 600 < s < 3400, 2000 <= s < 2600
        amps = (24 if starved else 40) + chance.gauss(0, 1) if run else 0.3 + chance.random() / 10
        oil = 2 + (0.05 if starved else 2.5 if run else 0) + chance.random() / 100
        rows.append(f"{s},{oil:.4f},{2 + chance.random() / 100:.4f},{amps:.2f}\n")
    return "time_s,Oil pressure barg,Suction pressure barg,Motor current (A)\n" + "".join(rows)


def test_the_drafted_threshold_keeps_a_starved_spell(tmp_path: Path) -> None:
    """Catches a threshold between starved and sound, with which the spell vanished; and a gap that is not shown."""
    (tmp_path / "log.csv").write_text(starved_log())
    text = draft_profile(tmp_path / "log.csv")
    running = tomllib.loads(text)["running"]
    report, _ = bring_in(tmp_path, starved_log(), text.replace('altitude = "?"', 'altitude = "0 m"'))

    assert 0.4 < float(running["current_below"].split()[0]) < float(running["current_above"].split()[0]) < 20
    assert "30 % of the rows lie up to 0." in text
    assert "70 % from 2" in text
    assert report.counts.starts == 1
    assert report.doubts == []
    assert abs(sum(part.run_ms for part in report.counts.parts) - 2799000) <= 2000


def test_one_hump_gives_no_threshold() -> None:
    """Catches a threshold laid through the readings of a machine that never stood."""
    assert find_humps(np.random.default_rng(1).normal(40, 2, 5000)) is None
    assert find_humps(np.full(500, 3.0)) is None


def test_a_lower_hump_far_from_zero_is_a_question(tmp_path: Path) -> None:
    """Catches a machine that runs unloaded, or starved, taken for one at rest."""
    currents = "".join(f"{s},4.5,2.0,{25 + s % 3 if s < 300 else 40 + s % 3}\n" for s in range(900))
    (tmp_path / "log.csv").write_text("time_s,Oil barg,Suction barg,Current (A)\n" + currents)

    assert tomllib.loads(draft_profile(tmp_path / "log.csv"))["running"]["current_above"] == "?"


def test_many_starts_an_hour_are_a_doubt(tmp_path: Path) -> None:
    """Catches thousands of starts in a few hours that go through without a word."""
    report, _ = bring_in(tmp_path, log([12, 0, 12, 0, 12, 0] * 600), profile_with(running=CURRENT))
    sound, _ = bring_in(tmp_path, log([12] * 2000 + [0] * 1600), profile_with(running=CURRENT))

    assert any(doubt.startswith("1799 starts in 1.0 h, 1799 an hour") for doubt in report.doubts)
    assert report.as_json()["starts"] == 1799
    assert not any("starts" in doubt for doubt in sound.doubts)


MEANS = HEADER + "0;3.5;2;0\n1;3.5;2;0.417\n2;3.5;2;1\n3;3.5;2;0.05\n4;3.5;2;0\n"


def test_running_as_a_mean_over_the_row_is_understood(tmp_path: Path) -> None:
    """Catches a row in which the machine ran for a part of the time counted as standing, or refused for ever."""
    form = {"file": 'decimal = "."'}
    with pytest.raises(Refusal, match=r"mean_above = 0, if it is the share of the row"):
        bring_in(tmp_path, MEANS, profile_with(**form))
    report, (trace,) = bring_in(tmp_path, MEANS, profile_with(running="mean_above = 0", **form))

    assert trace.running.tolist() == [0, 1, 1, 1, 0]
    assert "running is a mean: in 2 rows the machine ran for a part of the time" in report.doubts


@pytest.mark.parametrize(
    ("keys", "said"),
    [
        ('current_above = "5 A"\ncurrent_below = "6 A"', "above current_above"),
        ('current_below = "6 A"', "current_above: current_below is the level below which it stands"),
        ('current_above = "5 A"\nspeed_below = "100 rpm"', "speed_above: speed_below is the level"),
        ('current_above = "5 A"\nmean_above = 0.5', "a mean and a threshold"),
        ("mean_above = 1", "no share from 0 to below 1"),
    ],
)
def test_levels_that_contradict_each_other_are_refused(keys: str, said: str, tmp_path: Path) -> None:
    """Catches an off level above the on level, and a key that does nothing."""
    with pytest.raises(Refusal, match=said):
        bring_in(tmp_path, log([1, 2]), profile_with(running=keys))


@pytest.mark.parametrize(("on", "doubted"), [("1", False), ("0", True)])
def test_a_status_that_means_the_contrary_is_doubted(on: str, doubted: bool, tmp_path: Path) -> None:
    """Catches a contact that opens as the machine runs, by which the machine has oil pressure only while it stands."""
    rows = [(s, 2.0 + 2.0 * (20 <= s < 50) + s % 3 / 100, int(20 <= s < 50)) for s in range(80)]
    text = HEADER + "".join(f"{s};{oil:.2f};2.0{s % 4};{run}\n" for s, oil, run in rows)
    words = f'on = ["{on}"]\noff = ["{1 - int(on)}"]'
    report, _ = bring_in(tmp_path, text, profile_with(file='decimal = "."', running=words))

    assert any("is the running status inverted?" in doubt for doubt in report.doubts) == doubted
