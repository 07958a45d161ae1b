"""Scripted logs, of which every event is known beforehand: what triage finds in them, in one file or in several."""

import datetime as dt
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from replay.settings import Settings, read_settings
from replay.trace import Trace
from replay.triage.events import AT_START, DOUBT, STARVED, VACUUM, Event
from replay.triage.logs import Part
from replay.triage.run import examine
from tests.conftest import SETTINGS
from tests.support.triage_logs import NO_READING, found, pieces, write

# Of SETTINGS: cut-out 60, cut-in 80, floor 30, vacuum 80, reload 100 kPa; trip delay 60 s, which fills at a weight of 2 below
# the floor, 1.5 half way to it and 1.5 times as much in a vacuum; the reload guard acts from half of it on; start grace
# 10 s; a sensor fault is declared after 10 s.
DELAY_S, GRACE_S, FAULT_S = 60, 10, 10
WEIGHTS = {5: 2.0, 45: 1.5}
CALM_S = 200  # between two events: whatever was filled has drained


@dataclass
class Script:
    """A log row by row, a row a second, and the events that are in it."""

    net_kpa: list[float] = field(repr=False, default_factory=lambda: [120.0])
    suction_kpa: list[float] = field(repr=False, default_factory=lambda: [300.0])
    running: list[int] = field(repr=False, default_factory=lambda: [1])
    read: list[bool] = field(repr=False, default_factory=lambda: [True])
    events: list[dict[str, Any]] = field(default_factory=list)
    starts: int = 0

    @property
    def now(self) -> int:
        """Return the ms of the last row."""
        return 1000 * (len(self.net_kpa) - 1)

    def go_on(
        self, seconds: int, net: float = 120.0, suction: float = 300.0, *, runs: int = 1, read: bool = True
    ) -> None:
        """Add rows."""
        self.net_kpa += [net] * seconds
        self.suction_kpa += [suction] * seconds
        self.running += [runs] * seconds
        self.read += [read] * seconds

    def tell(self, kind: str, start_ms: int, **figures: Any) -> None:
        """Note an event."""
        usual = {"low_ms": 0, "full_at_ms": None, "reload_at_ms": None, "reload_ms": 0, "vacuum_ms": 0, "doubt_ms": 0}
        self.events.append({"kind": kind, "start_ms": start_ms, **usual, **figures})

    def dip(self, net: int, seconds: int, between: int = 0) -> None:
        """Go short of oil, then perhaps between cut-out and cut-in, which is short no longer and ends no spell."""
        begin, gain = self.now, WEIGHTS[net]
        self.go_on(seconds, net)
        self.go_on(between, 70.0)
        filled = min(gain * seconds, DELAY_S)
        full = begin + 1000 * int(-(-DELAY_S // gain)) if filled == DELAY_S else None
        told = {"end_ms": self.now, "low_ms": 1000 * seconds, "full_at_ms": full, "net_least_pa": 1000 * net}
        self.tell(STARVED, begin, integral_percent=int(100 * filled // DELAY_S), **told)

    def vacuum(self, seconds: int) -> None:
        """Run in a vacuum with enough oil."""
        begin = self.now
        self.go_on(seconds, suction=50.0)
        told = {"end_ms": self.now, "vacuum_ms": 1000 * seconds, "net_least_pa": 120_000, "integral_percent": 0}
        self.tell(VACUUM, begin, **told)

    def reload(self, vacuum_s: int, loaded_s: int) -> None:
        """Run dry in a vacuum, be loaded again before the oil is back: the guard acts at once, full or not."""
        begin = self.now
        self.go_on(vacuum_s, 5, 50.0)
        before = self.now
        self.go_on(loaded_s, 5, 110.0)
        filled = min(3 * vacuum_s + 2 * loaded_s, DELAY_S)
        if 3 * vacuum_s >= DELAY_S:
            full: int | None = begin + 20_000
        else:
            left = DELAY_S - 3 * vacuum_s
            full = before + 1000 * -(-left // 2) if 2 * loaded_s >= left else None
        self.tell(
            STARVED,
            begin,
            end_ms=self.now,
            low_ms=1000 * (vacuum_s + loaded_s),
            vacuum_ms=1000 * vacuum_s,
            integral_percent=int(100 * filled // DELAY_S),
            net_least_pa=5000,
            full_at_ms=full,
            reload_at_ms=before + 1000,
            reload_ms=1000 * (loaded_s + filled - DELAY_S // 2),
        )
        told = {"end_ms": before, "vacuum_ms": 1000 * vacuum_s, "low_ms": 1000 * vacuum_s, "net_least_pa": 5000}
        self.tell(VACUUM, begin, integral_percent=0, **told)

    def start(self, rest_s: int, dry_s: int) -> None:
        """Stand, start, and have no oil pressure for a while, of which the grace is no part."""
        self.go_on(rest_s, 0.0, runs=0)
        begin = self.now
        self.starts += 1
        self.go_on(dry_s, 5)
        low = dry_s - GRACE_S
        if low > 0:
            filled = min(2 * low, DELAY_S)
            full = begin + 1000 * (GRACE_S + DELAY_S // 2) if filled == DELAY_S else None
            told = {"end_ms": self.now, "low_ms": 1000 * low, "full_at_ms": full, "net_least_pa": 5000}
            self.tell(AT_START, begin, integral_percent=100 * filled // DELAY_S, **told)

    def lose(self, seconds: int, again: int = 0) -> None:
        """Lose the oil pressure's readings for a while, and once more before that doubt has drained, which is the same doubt."""
        begin = self.now
        self.go_on(seconds, read=False)
        if again:
            self.go_on(min(seconds, FAULT_S) - 1)
            self.go_on(again, read=False)
        self.tell(DOUBT, begin, end_ms=self.now, doubt_ms=1000 * (seconds + again), integral_percent=0)

    def trace(self) -> Trace:
        """Return the log; a ripple of 1 Pa keeps the sensors from looking stuck, where the least is looked at it is none."""
        count = len(self.net_kpa)
        suction = np.array([round(1000 * kpa) for kpa in self.suction_kpa], np.int64) + np.arange(count) % 2
        oil = suction + np.array([round(1000 * kpa) for kpa in self.net_kpa], np.int64)
        oil[~np.array(self.read)] = NO_READING
        flags = np.array(self.running, np.uint8)
        return Trace("script", 0.0, np.arange(count, dtype=np.int64) * 1000, oil, suction, suction, flags, 0 * flags)


ACTS = st.one_of(
    st.tuples(
        st.just("dip"),
        st.sampled_from([5, 45]),
        st.sampled_from([1, 29, 30, 31, 39, 40, 41, 90]),
        st.sampled_from([0, 12]),
    ),
    st.tuples(st.just("vacuum"), st.sampled_from([1, 30, 90])),
    st.tuples(st.just("reload"), st.sampled_from([10, 11, 19, 20, 45]), st.sampled_from([1, 2, 15])),
    st.tuples(st.just("start"), st.sampled_from([60, 90]), st.sampled_from([5, 10, 11, 39, 40, 41, 80])),
    st.tuples(st.just("lose"), st.sampled_from([2, 5, 10, 30]), st.sampled_from([0, 1, 4])),
)


@st.composite
def scripts(draw: st.DrawFn) -> Script:
    """Draw a log of some events."""
    script = Script()
    script.go_on(CALM_S)
    for name, *amounts in draw(st.lists(ACTS, min_size=1, max_size=4)):
        getattr(script, name)(*amounts)
        script.go_on(CALM_S)
    return script


@pytest.fixture(scope="module")
def site(tmp_path_factory: pytest.TempPathFactory) -> Settings:
    """Return the settings that the tests share."""
    path = tmp_path_factory.mktemp("site") / "settings.toml"
    path.write_text(SETTINGS, encoding="utf-8")
    return read_settings(path)


def told(event: Event, keys: list[str]) -> dict[str, Any]:
    """Return some figures of an event."""
    return {key: getattr(event, key) for key in keys}


def held(events: tuple[Event, ...], script: Script) -> None:
    """Hold what was found equal to what is in a script."""
    order = lambda one: (one["start_ms"], one["kind"])  # noqa: E731
    wanted = sorted(script.events, key=order)
    by_time = sorted(events, key=lambda event: (event.start_ms, event.kind))
    assert [event.kind for event in by_time] == [one["kind"] for one in wanted]
    for event, one in zip(by_time, wanted, strict=True):
        keys = list(one)
        assert told(event, keys) == one
        stops = [at for at in (one["full_at_ms"], one["reload_at_ms"]) if at is not None]
        assert event.stop_at_ms == min(stops, default=None)
        assert event.ran_on_ms == (one["end_ms"] - min(stops) if stops else 0)
        assert not event.ends_with_log


@settings(max_examples=25)
@given(scripts())
def test_every_event_of_a_script_is_found_with_its_figures_and_no_other(site: Settings, script: Script) -> None:
    """Catches a side of a level, a grace, a weight, a time full, a reload before it is full, an end, and an event made of nothing."""
    findings = found(script.trace(), site)

    held(findings.gravest.all(), script)
    assert findings.starved_ms == sum(one["low_ms"] for one in script.events if one["kind"] != VACUUM)
    assert findings.vacuum_ms == sum(one["vacuum_ms"] for one in script.events if one["kind"] == VACUUM)
    assert findings.run_ms == 1000 * sum(script.running[1:])
    assert findings.seen_ms == 1000 * sum(
        r for r, seen in zip(script.running[1:], script.read[1:], strict=True) if seen
    )
    assert findings.starts == script.starts


@pytest.mark.slow("tries many cases of a large space")
@settings(max_examples=25)
@given(scripts())
def test_the_gravest_stands_first(site: Settings, script: Script) -> None:
    """Catches an order that puts a long vacuum above a machine that was loaded dry, or the least of a kind above the worst."""

    def rank(event: Event) -> tuple[int, ...]:
        if event.reload_at_ms is not None:
            return 0, -event.reload_ms
        if event.full_at_ms is not None:
            return 1, event.full_at_ms - event.end_ms
        if event.kind in (STARVED, AT_START):
            return 2, -event.integral_percent
        return (3, -event.doubt_ms) if event.kind == DOUBT else (4, -event.low_ms, -event.vacuum_ms)

    ranks = [rank(event) for event in found(script.trace(), site).gravest.all()]
    assert ranks == sorted(ranks)


@settings(max_examples=15)
@given(scripts(), st.lists(st.floats(0.05, 0.95), min_size=1, max_size=2), st.sampled_from([0.0, 5000.0]))
def test_a_log_in_several_files_shows_what_it_shows_in_one(
    site: Settings, tmp_path_factory: pytest.TempPathFactory, script: Script, cuts: list[float], begin_s: float
) -> None:
    """Catches an event that is lost, doubled or cut at the edge of a file, or booked on the file in which it does not begin."""
    folder = tmp_path_factory.mktemp("logs")
    in_several_files_as_in_one(site, folder, script, [int(share * len(script.net_kpa)) for share in cuts], begin_s)


def test_an_event_is_booked_on_the_file_of_its_first_row(site: Settings, tmp_path: Path) -> None:
    """Catches one that is booked on the file before, in whose last second it begins and of which no row shows it."""
    script = Script()
    script.go_on(CALM_S)
    script.vacuum(1)
    script.go_on(CALM_S)
    in_several_files_as_in_one(site, tmp_path, script, [CALM_S + 1], 0.0)


def in_several_files_as_in_one(site: Settings, folder: Path, script: Script, cuts: list[int], begin_s: float) -> None:
    """Hold what a log shows that is cut before some rows."""
    parts = pieces(script.trace(), cuts)
    files = []
    for number, part in enumerate(parts):
        own = Trace(
            "p",
            0.0,
            part.time_ms - part.time_ms[0],
            part.oil_pa,
            part.suction_pa,
            part.crankcase_pa,
            part.running,
            part.reset,
        )
        files.append(Part(write(folder / f"{number}.csv", own, begin_s + part.time_ms[0] / 1000)))
    events = examine(site, ("m", tuple(files[::-1])), fast=False).gravest.all()

    held(events, script)
    for event in events:
        holds = [file for file, part in zip(files, parts, strict=True) if part.time_ms[0] <= event.start_ms + 1000]
        assert event.file == str(holds[-1].path)
        assert event.seconds(event.start_ms) == begin_s + event.start_ms / 1000


UTC = dt.datetime(2026, 3, 1, tzinfo=dt.UTC)


@pytest.mark.parametrize("dated", [False, True])
def test_a_gap_between_two_files_ends_what_is_under_way(dated: bool, site: Settings, tmp_path: Path) -> None:
    """Catches a spell that goes on over hours nobody saw, and one that is lost where the log breaks off."""
    script = Script()
    script.go_on(CALM_S)
    script.go_on(25, 5)
    first, at_s = script.trace(), (0.0, 10_000.0)
    files = [
        Part(write(tmp_path / f"{n}.csv", first, begin), UTC + dt.timedelta(seconds=begin) if dated else None)
        for n, begin in enumerate(at_s)
    ]
    findings = examine(site, ("m", tuple(files)), fast=False)
    events = sorted(findings.gravest.all(), key=lambda event: event.file)

    assert [(e.kind, e.file, e.low_ms, e.integral_percent, e.ends_with_log) for e in events] == [
        (STARVED, str(part.path), 25_000, 83, True) for part in files
    ]
    assert [e.seconds(e.start_ms) for e in events] == [200.0, 10_200.0]
    assert (findings.run_ms, findings.logs) == (2 * 225_000, 2)


@pytest.mark.parametrize(("gap_s", "percent"), [(60.0, 100), (3600.0, 100), (3600.001, 20)])
def test_over_a_gap_the_logic_goes_on_as_long_as_it_remembers(
    gap_s: float, percent: int, site: Settings, tmp_path: Path
) -> None:
    """Catches an integral that drains over a gap, one that is kept for ever, and an hour that is not just an hour."""
    first, second = Script(), Script(net_kpa=[5.0])
    first.go_on(CALM_S)
    first.go_on(25, 5)
    second.go_on(16, 5)  # of which a logic that begins anew gives 10 s to the grace
    second.go_on(CALM_S)
    begin = 225.0 + gap_s
    files = [
        Part(write(tmp_path / "a.csv", first.trace()), UTC),
        Part(write(tmp_path / "b.csv", second.trace()), UTC + dt.timedelta(seconds=begin)),
    ]
    events = examine(site, ("m", tuple(files)), fast=False).gravest.all()
    (after,) = [event for event in events if event.file.endswith("b.csv")]

    assert (after.integral_percent, after.full_at_ms is not None) == (percent, percent == 100)


@pytest.mark.parametrize(
    ("levels", "kinds"),
    [
        ([(60.0, 300.0)], []),  # net oil pressure, suction; cut-out itself is enough
        ([(59.999, 300.0)], [STARVED]),
        ([(45.0, 300.0), (79.999, 300.0), (45.0, 300.0)], [STARVED]),  # below cut-in the spell goes on
        ([(45.0, 300.0), (80.0, 300.0), (45.0, 300.0)], [STARVED, STARVED]),
        ([(120.0, 80.0)], []),  # the vacuum level itself is none
        ([(120.0, 79.998)], [VACUUM]),
        ([(120.0, 50.0), (120.0, 99.998), (120.0, 50.0)], [VACUUM]),  # below reload the vacuum goes on
        ([(120.0, 50.0), (120.0, 100.0), (120.0, 50.0)], [VACUUM, VACUUM]),
    ],
)
def test_each_level_counts_on_its_very_edge(
    levels: list[tuple[float, float]], kinds: list[str], site: Settings
) -> None:
    """Catches a cut-out, cut-in, vacuum or reload level that is taken on its other side."""
    script = Script()
    script.go_on(CALM_S)
    for net, suction in levels:
        script.go_on(10, net, suction)
    script.go_on(CALM_S)

    assert sorted(event.kind for event in found(script.trace(), site).gravest.all()) == kinds


@pytest.mark.parametrize(("gap_s", "logs"), [(1.0, 1), (3.0, 1), (3.001, 2), (3600.0, 2)])
def test_files_go_on_with_each_other_up_to_max_gap(gap_s: float, logs: int, site: Settings, tmp_path: Path) -> None:
    """Catches a gap of just max_gap that parts a log, and one of a ms more that does not."""
    script = Script()
    script.go_on(60)
    files = [Part(write(tmp_path / f"{n}.csv", script.trace(), n * (60.0 + gap_s))) for n in range(2)]
    findings = examine(site, ("m", tuple(files)), fast=False)

    assert findings.logs == logs
    assert findings.run_ms == 120_000 + (round(1000 * gap_s) if logs == 1 else 0)


def test_rows_that_two_files_tell_count_once(site: Settings, tmp_path: Path) -> None:
    """Catches an overlap of two logs counted twice, by one row more or less."""
    script = Script()
    script.go_on(CALM_S)
    script.dip(45, 30)
    script.go_on(CALM_S)
    trace = script.trace()
    first, _ = pieces(trace, [240])
    second = pieces(trace, [220])[1]
    own = Trace(
        "p", 0.0, second.time_ms - second.time_ms[0], second.oil_pa, second.suction_pa, second.suction_pa,
        second.running, second.reset,
    )  # fmt: skip
    utc = dt.datetime(2026, 3, 1, tzinfo=dt.UTC)
    files = [
        Part(write(tmp_path / "a.csv", first), utc),
        Part(write(tmp_path / "b.csv", own), utc + dt.timedelta(seconds=220)),
    ]
    findings = examine(site, ("m", tuple(files)), fast=False)

    held(findings.gravest.all(), script)
    assert (findings.run_ms, findings.overlap_ms, findings.rows) == (1000 * (len(trace) - 1), 19_000, len(trace))
