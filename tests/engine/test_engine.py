"""The logic over whole traces: what is counted as a stop, who obeys, which hours count."""

from pathlib import Path

import numpy as np
import pytest

from protect.signals import OIL_MISSING
from replay.engine import Replay, doubt_words, logic_digest, replay_trace, told_cause
from replay.settings import Settings, read_settings
from replay.trace import Trace

NO_READING = -1000000000
OIL, RELOAD, SENSOR = 1, 2, 3


@pytest.fixture
def settings(settings_file: Path) -> Settings:
    """Return the settings that the tests share."""
    return read_settings(settings_file)


def trace(
    net_kpa: list[float], running: list[int] | None = None, step_ms: int = 1000, suction_kpa: float = 300
) -> Trace:
    """Return a trace with one row a step; None... a net of -1 means that oil pressure was not read."""
    count = len(net_kpa)
    suction = np.array([suction_kpa * 1000 + row % 2 * 100 for row in range(count)], dtype=np.int64)
    net = np.array(net_kpa) * 1000
    return Trace(
        name="made",
        start_s=0.0,
        time_ms=np.arange(count, dtype=np.int64) * step_ms,
        oil_pa=np.where(net < 0, NO_READING, suction + net).astype(np.int64),
        suction_pa=suction,
        crankcase_pa=suction,
        running=np.array(running or [1] * count, dtype=np.uint8),
        reset=np.zeros(count, dtype=np.uint8),
    )


def stops(replay: Replay) -> list[tuple[int, int]]:
    """Return (whole seconds, cause) of each stop."""
    return [(stop.time_ms // 1000, stop.cause) for stop in replay.stops]


def test_a_healthy_trace_has_no_stops_and_all_its_hours(settings: Settings) -> None:
    """Catches a logic that stops at a start, and hours counted by rows instead of time."""
    replay = replay_trace(trace([120.0] * 3601), settings)

    assert (stops(replay), replay.run_ms, replay.locked_out) == ([], 3600000, False)


def test_the_trip_comes_when_the_integral_is_full(settings: Settings) -> None:
    """Catches a definite delay where the weight should shorten it: below the floor 60 s at weight 2 are 30 s.

    Suction 300 kPa is no vacuum. The first low row is row 100, which stands for the second before it.
    """
    replay = replay_trace(trace([120.0] * 100 + [5.0] * 60), settings)
    assert stops(replay) == [(129, OIL)]


def test_vacuum_shortens_it_further(settings: Settings) -> None:
    """Catches a vacuum weight that is added, or left out: 60 s at weight 2 * 1.5 are 20 s."""
    replay = replay_trace(trace([120.0] * 100 + [5.0] * 60, suction_kpa=50), settings)
    assert stops(replay) == [(119, OIL)]


def test_a_stopped_machine_obeys_and_starts_again_after_the_restart_delay(settings: Settings) -> None:
    """Catches a replay that stays dead after its first stop or counts one stop at every row.

    Trip at 129 s, restart due at 189 s, running again from 190 s; the integral kept
    60 s less 60 s at 0.25 = 45 s; grace until 199 s; 15 s at weight 2: trip at 207 s.
    """
    replay = replay_trace(trace([120.0] * 100 + [5.0] * 110), settings)

    assert stops(replay) == [(129, OIL), (207, OIL)]
    assert replay.run_ms == 129000 + (207 - 189) * 1000


def test_the_third_trip_locks_out_and_nothing_but_a_reset_ends_it(settings: Settings) -> None:
    """Catches a lockout that runs out by itself: no fourth stop in three more hours without oil."""
    replay = replay_trace(trace([120.0] * 100 + [5.0] * 10800), settings)

    assert [cause for _, cause in stops(replay)] == [OIL] * 3
    assert replay.locked_out


def test_a_start_that_is_not_permitted_is_a_stop_too(settings: Settings) -> None:
    """Catches a plant held at standstill by a dead sensor that counts as no harm done.

    Standing without a reading, declared after 10 s; the plant wants to run at 60 s.
    """
    replay = replay_trace(trace([-1.0] * 80, running=[0] * 60 + [1] * 20), settings)
    assert stops(replay) == [(60, SENSOR | OIL_MISSING)]
    assert told_cause(replay.stops[0].cause) == "sensor: oil missing"


@pytest.mark.parametrize(
    ("doubts", "words"),
    [
        (
            ("oil stuck", "suction stuck", "crankcase stuck", "late tick"),
            "oil stuck, suction and crankcase stuck, late tick",
        ),
        (("suction out of range", "crankcase out of range"), "suction and crankcase out of range"),
        (("suction missing", "crankcase stuck"), "suction missing, crankcase stuck"),
    ],
)
def test_one_pressure_read_for_two_channels_is_told_once(doubts: tuple[str, ...], words: str) -> None:
    """Catches a crankcase sensor that is stuck on a machine that has none; the page says the same (its own test)."""
    assert doubt_words(doubts) == words


def test_a_machine_that_stops_by_itself_was_not_stopped(settings: Settings) -> None:
    """Catches a pump-down that ends normally being booked as a trip."""
    replay = replay_trace(trace([120.0] * 50 + [70.0] * 20 + [0.0] * 50, running=[1] * 70 + [0] * 50), settings)
    assert stops(replay) == []


def test_time_that_nobody_saw_is_no_run_hour(settings: Settings) -> None:
    """Catches exposure that is claimed for gaps longer than max_gap."""
    made = trace([120.0] * 10)
    made.time_ms[5:] += 4000
    replay = replay_trace(made, settings)
    assert (replay.run_ms, replay.late) == (8000, 1)


def test_a_gap_longer_than_any_integer_of_the_logic_is_just_very_late(settings: Settings) -> None:
    """Catches an overflow in a recording that was interrupted for weeks."""
    made = trace([120.0] * 30)
    made.time_ms[5:] += 10**11
    assert stops(replay_trace(made, settings))[0][1] & 7 == SENSOR


@pytest.mark.parametrize("block", [1, 7, 64])
def test_the_size_of_the_blocks_changes_no_result(
    block: int, settings: Settings, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Catches a row lost or read twice, or a memory forgotten, between two blocks of a long trace."""
    made = trace([120.0] * 100 + [5.0] * 110)
    whole = replay_trace(made, settings)
    monkeypatch.setattr("replay.engine.portable.BLOCK", block)
    assert replay_trace(made, settings) == whole


def test_digest_of_the_logic_changes_with_its_source(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Catches a digest that a changed decision leaves alone."""
    import shutil

    import protect

    base = logic_digest()
    copy = Path(shutil.copytree(Path(protect.__file__).parent, tmp_path / "protect"))
    monkeypatch.setattr(protect, "__file__", str(copy / "__init__.py"))
    logic_digest.cache_clear()
    assert logic_digest() == base
    table = copy / "table.py"
    table.write_text(table.read_text().replace("MOST_MOVES = 3", "MOST_MOVES = 2"))
    logic_digest.cache_clear()
    assert logic_digest() != base
    logic_digest.cache_clear()
