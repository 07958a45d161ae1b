"""Each limit of an import's doubts at its bound: units, gauge for absolute, swapped columns, sentinels, standing still."""

from typing import Any

import numpy as np
import pytest

from protect.ranges import NO_READING
from replay.measured.doubts import (
    FLAT_MS,
    FLAT_ROWS,
    NOTHING_PA,
    Net,
    Readings,
    Stillness,
    of_net,
    of_pressure,
    of_sensor,
)

ATMOSPHERE = 101_325.0
FINE = {"readings": 1000, "least": 250_000.0, "most": 900_000.0}


def told(reference: str = "absolute", held_ms: int = 0, **seen: Any) -> list[str]:
    """Return the last words of each doubt about a channel."""
    found = of_pressure("suction_pressure", reference, Readings(**(FINE | seen)), ATMOSPHERE, held_ms)
    assert all(text.startswith("suction pressure") for text in found)
    return [text.rpartition(": ")[2] for text in found]


@pytest.mark.parametrize(
    ("seen", "said"),
    [
        ({}, []),
        ({"most": 20_000.0, "least": 5_000.0}, []),
        ({"most": 19_999.0, "least": 5_000.0}, ["is its unit right?"]),
        ({"most": 6_000_000.0}, []),
        ({"most": 6_000_001.0}, ["is its unit right?"]),
        ({"at_nothing": 1}, ["a number for no reading? [suction_pressure] valid = [least, most] leaves such out"]),
        ({"lowest": -3000.0}, []),
        ({"lowest": -3001.0}, ["is it gauge?"]),
        ({"readings": 0}, ["no reading at all"]),
        ({"beyond": 7}, ["7 readings that no sensor can give were taken as no reading"]),
        ({"flat_ms": 59_999}, []),
        ({"flat_ms": 60_000}, ["frozen, or too coarse?"]),
        ({"flat_ms": 60_000, "held_ms": 60_000}, []),
        ({"flat_ms": 60_001, "held_ms": 60_000}, ["frozen, or too coarse?"]),
        ({"least": 2 * ATMOSPHERE, "reference": "gauge"}, ["is it absolute?"]),
        ({"least": 1.881 * ATMOSPHERE, "reference": "gauge"}, ["is it absolute?"]),
        ({"least": 1.879 * ATMOSPHERE, "reference": "gauge"}, []),
        ({"least": 2 * ATMOSPHERE}, []),  # as it is stated
        ({"least": ATMOSPHERE + 999.0, "at_floor": 11}, ["the sensor cannot see vacuum, or it is cut off"]),
        ({"least": ATMOSPHERE + 999.0, "at_floor": 10}, []),
        ({"least": ATMOSPHERE + 1000.0, "at_floor": 500}, []),
    ],
)
def test_a_pressure_is_doubted_from_its_limits_on(seen: dict[str, Any], said: list[str]) -> None:
    """Catches a bound on the other side, gauge and absolute exchanged, and a reading that was stated to hold."""
    assert told(**seen) == said


def test_a_doubt_tells_its_figure() -> None:
    """Catches the floor of a gauge told with the atmosphere added to it, and a share of another whole."""
    gauge = Readings(**(FINE | {"least": 2 * ATMOSPHERE}))
    (floor,) = of_pressure("suction_pressure", "gauge", gauge, ATMOSPHERE)
    assert "its floor of 101.3 kPa is the atmosphere" in floor
    cut = Readings(**(FINE | {"least": ATMOSPHERE, "at_floor": 250}))
    (floor,) = of_pressure("suction_pressure", "gauge", cut, ATMOSPHERE)
    assert "lies there in 25 % of its rows" in floor


@pytest.mark.parametrize(
    ("numbers", "sentinels"),
    [
        ([3.0, 4.0, 999.0, 999.0, np.nan], {999.0: 2}),
        ([3.0, 600.0, 999.0], {}),  # not far from all others
        ([3.0, -999.0, np.nan], {-999.0: 1}),
        ([999.0, 999.0], {999.0: 2}),  # and nothing else
        ([3.0, 4.0, -1.0, -1.0], {-1.0: 2}),
        ([3.0, 4.0, -1.0], {}),  # once is no sentinel
        ([-0.89, 0.0, -1.0, -1.0], {-1.0: 2}),
        ([-0.9, 0.0, -1.0, -1.0], {}),
        ([9.0, 109.0, -1.0, -1.0], {}),  # nearer than a tenth of their spread
        ([9.0, 108.9, -1.0, -1.0], {-1.0: 2}),
    ],
)
@pytest.mark.parametrize("pieces", [1, 2])
def test_a_number_that_stands_for_none_lies_far_from_all_others(
    numbers: list[float], sentinels: dict[float, int], pieces: int
) -> None:
    """Catches a sentinel of one block that is forgotten in the next, and a reading taken for one."""
    seen = Readings()
    for part in np.array_split(np.array(numbers), pieces):
        seen.see_source(part)
    assert seen.sentinel_like() == sentinels


def net_of(oil: list[int], crankcase: list[int], running: list[int]) -> Net:
    """Return what is seen of some rows, taken in two blocks."""
    net = Net(atmosphere_pa=ATMOSPHERE)
    for part in (slice(0, 3), slice(3, None)):
        if oil[part]:
            net.see(np.array(oil[part]), np.array(crankcase[part]), np.array(running[part], np.int8))
    return net


def test_rows_of_net_oil_pressure_are_counted_by_running_and_standing() -> None:
    """Catches rows without a reading that are counted, and a bound of hardly any oil pressure on the other side."""
    oil = [320_000, 319_999, 296_999, 297_000, NO_READING, 300_000, 350_000, 350_001, 400_000]
    run = [1, 1, 1, 1, 1, -1, 0, 0, 1]
    net = net_of(oil, [300_000] * 8 + [NO_READING], run)

    assert (net.run_rows, net.running, net.running_negative, net.without_oil) == (6, 4, 1, 3)
    assert (net.stopped, net.with_oil) == (2, 1)
    quick = net_of([320_000, 319_999, 297_000, 400_000], [300_000] * 4, [1] * 4)
    assert (quick.run_rows, quick.running, quick.running_negative, quick.without_oil) == (4, 4, 0, 2)


@pytest.mark.parametrize(
    ("net", "said"),
    [
        ({"running": 100, "running_negative": 50}, []),
        ({"running": 100, "running_negative": 51}, ["columns swapped, or one gauge and one absolute?"]),
        (
            {"running": 100, "without_oil": 71, "stopped": 10, "with_oil": 8},
            ["is the running status inverted?"],
        ),
        ({"running": 100, "without_oil": 70, "stopped": 10, "with_oil": 8}, []),
        ({"running": 100, "without_oil": 71, "stopped": 10, "with_oil": 7}, []),
        ({"running": 0, "without_oil": 0, "stopped": 10, "with_oil": 10}, []),
        ({"running": 100, "without_oil": 95}, []),
        ({"running": 100, "without_oil": 96}, ["is the unit of both pressures right, and what each counts from?"]),
        (
            {"running": 100, "running_negative": 100, "without_oil": 100},
            ["columns swapped, or one gauge and one absolute?"],
        ),
        ({"stopped": 10, "stopped_off": {"above": 5, "below": 0}}, []),
        ({"stopped": 10, "stopped_off": {"above": 0, "below": 6}}, ["is one of them gauge and the other absolute?"]),
    ],
)
def test_both_pressures_together_are_doubted_from_their_limits_on(net: dict[str, Any], said: list[str]) -> None:
    """Catches half that is called most, and a contrary status found by one of its two signs."""
    assert [text.rpartition(": ")[2] for text in of_net(Net(**net))] == said


@pytest.mark.parametrize(
    ("off", "side"), [(0.881, "above"), (0.879, None), (1.119, "above"), (1.121, None), (-1.0, "below")]
)
def test_one_atmosphere_at_standstill_is_told_by_its_side(off: float, side: str | None) -> None:
    """Catches gauge and absolute mixed up the other way round, and a width that is not a share of the atmosphere."""
    rows = 10
    net = net_of([round(300_000 + off * ATMOSPHERE)] * rows, [300_000] * rows, [0] * rows)

    assert net.stopped_off == {"above": rows * (side == "above"), "below": rows * (side == "below")}
    assert [f" {side} crankcase pressure" in text for text in of_net(net)] == [True] * (side is not None)


def test_what_no_sensor_gives_is_told_by_its_kind() -> None:
    """Catches readings below absolute zero told as outside of what is valid, and a count of the other."""
    assert of_sensor("oil_pressure", Readings()) == []
    told = of_sensor("oil_pressure", Readings(below_zero=2, invalid=3))
    assert [text.split(": ")[1].split(" were")[0] for text in told] == [
        "2 readings below absolute zero",
        "3 readings outside what its sensor gives (valid)",
    ]


def test_readings_are_seen_without_those_that_are_none() -> None:
    """Catches a missing reading taken for the least one, and a floor that is counted wider than it is looked for."""
    seen = Readings()
    seen.see(np.array([NO_READING, 101_325, 102_324, 102_326, 900_000]), ATMOSPHERE)
    seen.see(np.array([500_000, 104_326]), ATMOSPHERE)

    assert (seen.readings, seen.missing, seen.least, seen.most, seen.at_floor) == (6, 1, 101_325.0, 900_000.0, 2)
    plain = Readings()
    plain.see(np.array([np.nan, 4.0, 2.0]), None)
    assert (plain.readings, plain.missing, plain.least, plain.most) == (2, 1, 2.0, 4.0)


@pytest.mark.parametrize("cut", [0, 1, FLAT_ROWS - 1, FLAT_ROWS, 25, 45, 69, 70])
def test_standing_still_is_that_of_running_rows_however_blocks_end(cut: int) -> None:
    """Catches a stretch that ends with a block, one of standstill, of lost readings, or of fewer rows than count."""
    time = np.arange(120) * (FLAT_MS // 40)
    pascals = np.arange(120) * 7
    pascals[20:70] = 5  # 49 steps
    running = np.ones(120, np.int8)

    def longest(pascals: Any, running: Any) -> int:
        still = Stillness()
        for part in (slice(0, cut), slice(cut, None)):
            if len(pascals[part]):
                still.see(time[part], pascals[part], running[part])
        still.end()
        return still.longest_ms

    assert longest(pascals, running) == 49 * FLAT_MS // 40
    stood = running.copy()
    stood[40] = 0
    assert longest(pascals, stood) == 28 * FLAT_MS // 40
    lost = pascals.copy()
    lost[50] = NO_READING
    assert longest(lost, running) == 29 * FLAT_MS // 40
    few = np.arange(120) * 7
    few[20 : 20 + FLAT_ROWS - 1] = 5
    assert longest(few, running) == 0
    few[20 : 20 + FLAT_ROWS] = 5
    assert longest(few, running) == (FLAT_ROWS - 1) * FLAT_MS // 40


@pytest.mark.parametrize(("lowest", "seen"), [(5000, 2), (5001, 0), (0, 2)])
def test_readings_of_hardly_anything_are_counted(lowest: int, seen: int) -> None:
    """Catches a dead input that reads 0 kPa absolute taken for a pressure, and no reading counted as one."""
    readings = Readings()
    readings.see(np.array([300_000, lowest, NO_READING, lowest]), None, NOTHING_PA)

    assert (readings.at_nothing, readings.missing) == (seen, 1)
