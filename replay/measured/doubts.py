"""What looks wrong in a measured trace: gauge taken for absolute, a wrong unit, a sentinel, a sensor that stands still.

Nothing is changed here. What is found stands in the report, and only a number that looks like a sentinel
without being declared keeps a file out.
"""

from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from protect.ranges import NO_READING
from replay.ground.wording import absolute, pressure, words
from replay.measured.cells import SUSPECTS

FLAT_MS = 60000  # pressures of a running machine move within a minute (common practice, no source)
FLAT_ROWS = 10
NEAR_ATMOSPHERE = 0.12  # share: weather and sensor error together stay within (common practice, no source)
NEAR_PA = 3000
CLIPPED_SHARE = 0.01
NEARLY_ALL = 0.95  # share of the running rows (assumed)
NO_OIL_PA, OIL_PA, INVERTED = 20_000, 50_000, 0.7  # net oil pressure, and the share of rows (assumed)
MOSTLY = 0.5
NOTHING_PA = 5000  # a pressure that no compressor pulls down to; a dead input reads so (assumed)
LEAST_PA, MOST_PA = 20000, 6000000  # pressures of refrigerating plants seldom leave these (common practice, no source)
HOT_C = 150.0
MINUS_ONE = -1.0
ALONE = 0.1  # of the spread of all other readings, and in the file's unit: how far below them (assumed)


@dataclass
class Readings:
    """What was seen of one channel: count of readings and of rows without, extremes, longest stretch without change.

    at_floor: how often a gauge pressure lies at its atmosphere, where a sensor that cannot see vacuum is cut off;
    at_nothing: how often a pressure lies at hardly anything above absolute zero;
    invalid: raw numbers that no sound sensor gives; below_zero, lowest (Pa): those below absolute zero;
    not_good: those that the file's own mark of quality calls so.
    """

    readings: int = 0
    missing: int = 0
    beyond: int = 0
    least: float = np.inf
    most: float = -np.inf
    flat_ms: int = 0
    at_floor: int = 0
    at_nothing: int = 0
    invalid: int = 0
    below_zero: int = 0
    lowest: float = 0.0
    not_good: int = 0
    suspects: dict[float, int] = field(default_factory=dict)
    source_least: float = np.inf
    source_most: float = -np.inf

    def see_source(self, numbers: NDArray[np.float64]) -> None:
        """Look at the numbers as they stand in the file."""
        least, most = numbers.min(), numbers.max()
        if np.isnan(least):
            known = numbers[~np.isnan(numbers)]
            least, most = (known.min(), known.max()) if len(known) else (np.inf, -np.inf)
        with np.errstate(invalid="ignore"):
            if not (least <= max(s for s in SUSPECTS if s < 0) or most >= min(s for s in SUSPECTS if s > 0)):
                self._see_range(least, most)
                return
            suspect = np.isin(numbers, SUSPECTS)
            rest = numbers[~suspect & ~np.isnan(numbers)]
        values, counts = np.unique(numbers[suspect], return_counts=True)
        for value, count in zip(values, counts, strict=True):
            self.suspects[float(value)] = self.suspects.get(float(value), 0) + int(count)
        if len(rest):
            self._see_range(rest.min(), rest.max())

    def _see_range(self, least: float, most: float) -> None:
        self.source_least = min(self.source_least, float(least))
        self.source_most = max(self.source_most, float(most))

    def sentinel_like(self) -> dict[float, int]:
        """Return numbers that look like sentinels and lie far from all other readings, and how often each stands."""
        most, least = max(self.source_most, 1.0), min(self.source_least, 0.0)
        nothing_else = self.source_least > self.source_most
        found = {
            value: count
            for value, count in self.suspects.items()
            if nothing_else or value > 2 * most or value < 2 * least - 1.0
        }
        return found | self._minus_one()

    def _minus_one(self) -> dict[float, int]:
        """Return -1 where it stands again and again, alone and far below all other readings."""
        count, spread = self.suspects.get(MINUS_ONE, 0), self.source_most - self.source_least
        alone = count > 1 and self.source_least - MINUS_ONE > max(ALONE * spread, ALONE)
        return {MINUS_ONE: count} if alone else {}

    def see(self, values: NDArray[Any], floor_pa: float | None, nothing_pa: float = -np.inf) -> None:
        """Look at the values of kept rows: Pa with NO_READING (floor_pa: 0 gauge), or plain numbers with NaN.

        nothing_pa: up to where a pressure is hardly anything.
        """
        known, least = values, float(values.min())
        if least == NO_READING or np.isnan(least):
            known = values[(values != NO_READING) & ~np.isnan(values)]
            least = float(known.min()) if len(known) else np.inf
        self.readings += len(known)
        self.missing += len(values) - len(known)
        self.least = min(self.least, least)
        self.most = max(self.most, float(known.max()) if len(known) else -np.inf)
        if least <= nothing_pa:
            self.at_nothing += int((known <= nothing_pa).sum())
        if floor_pa is not None and least <= floor_pa + NEAR_PA:
            self.at_floor += int((np.abs(values - floor_pa) < NEAR_PA / 3).sum())


class Stillness:
    """The longest stretch of one channel without any change while the machine runs, carried over blocks."""

    def __init__(self) -> None:
        self.value: int | None = None
        self.since_ms = 0
        self.until_ms = 0
        self.rows = 0
        self.longest_ms = 0

    def see(self, time_ms: NDArray[np.int64], pascals: NDArray[np.int64], running: NDArray[np.int8]) -> None:
        """Look at the next rows of the same trace.

        Where a block holds no stretch of FLAT_ROWS, only its ends can belong to one, together with the blocks beside.
        """
        ends = 2 * FLAT_ROWS
        equal = (pascals[1:] == pascals[:-1]).tobytes()
        if len(pascals) > 2 * ends and b"\1" * (FLAT_ROWS - 1) not in equal:
            self._see_all(time_ms[:ends], pascals[:ends], running[:ends])
            self.end()
            self._see_all(time_ms[-ends:], pascals[-ends:], running[-ends:])
        else:
            self._see_all(time_ms, pascals, running)

    def _see_all(self, time_ms: NDArray[np.int64], pascals: NDArray[np.int64], running: NDArray[np.int8]) -> None:
        counted = (running == 1) & (pascals != NO_READING)
        changed = np.empty(len(pascals), dtype=bool)
        changed[0] = self.value is None or pascals[0] != self.value
        np.not_equal(pascals[1:], pascals[:-1], out=changed[1:])
        changed |= ~counted
        changed[1:] |= ~counted[:-1]
        starts = np.flatnonzero(changed)
        first = int(starts[0]) if len(starts) else len(pascals)
        if first:
            self.until_ms, self.rows = int(time_ms[first - 1]), self.rows + first
        if len(starts):
            self._close()
            ends = np.append(starts[1:], len(pascals))
            spans = np.where(ends - starts >= FLAT_ROWS, time_ms[ends - 1] - time_ms[starts], 0)
            self.longest_ms = max(self.longest_ms, int(spans.max()))
            self.since_ms, self.until_ms = int(time_ms[starts[-1]]), int(time_ms[-1])
            self.rows = len(pascals) - int(starts[-1])
        self.value = int(pascals[-1]) if counted[-1] else None

    def end(self) -> None:
        """End the trace at hand."""
        self._close()
        self.value, self.rows = None, 0

    def _close(self) -> None:
        if self.value is not None and self.rows >= FLAT_ROWS:
            self.longest_ms = max(self.longest_ms, self.until_ms - self.since_ms)


@dataclass
class Net:
    """How net oil pressure lies, running and stopped: rows in all, rows below zero, rows one atmosphere off.

    run_rows: all rows in which the machine runs, also those without net oil pressure. without_oil, with_oil: rows of
    running with hardly any net oil pressure, and of standing with that of a machine that runs.
    """

    atmosphere_pa: float = 0.0
    run_rows: int = 0
    running: int = 0
    running_negative: int = 0
    without_oil: int = 0
    stopped: int = 0
    with_oil: int = 0
    stopped_off: dict[str, int] = field(default_factory=lambda: {"above": 0, "below": 0})

    def see(self, oil: NDArray[np.int64], crankcase: NDArray[np.int64], running: NDArray[np.int8]) -> None:
        """Look at rows with both pressures."""
        net = oil - crankcase
        self.run_rows += int((running == 1).sum())
        # With oil pressure in every row, a missing crankcase pressure shows as a net one that no machine has.
        if running.all() and oil.min() > NO_READING and net.min() >= -NEAR_PA and net.max() < -NO_READING // 2:
            self.running += len(net)
            self.without_oil += int((net < NO_OIL_PA).sum())
            return
        both = (oil != NO_READING) & (crankcase != NO_READING)
        run = both & (running == 1)
        rest = both & (running == 0)
        self.running += int(run.sum())
        self.running_negative += int((run & (net < -NEAR_PA)).sum())
        self.without_oil += int((run & (net < NO_OIL_PA)).sum())
        if not rest.any():
            return
        self.stopped += int(rest.sum())
        self.with_oil += int((rest & (net > OIL_PA)).sum())
        width = self.atmosphere_pa * NEAR_ATMOSPHERE
        self.stopped_off["above"] += int((rest & (np.abs(net - self.atmosphere_pa) < width)).sum())
        self.stopped_off["below"] += int((rest & (np.abs(net + self.atmosphere_pa) < width)).sum())


def of_pressure(signal: str, reference: str, seen: Readings, atmosphere_pa: float, held_ms: int = 0) -> list[str]:
    """Return what is doubtful in one pressure channel; held_ms: for how long it may stand still, as on change."""
    name, found = words(signal), []
    if reference == "absolute" and seen.lowest < -NEAR_PA:
        found.append(f"{name} is taken as absolute and falls to {pressure(seen.lowest)}: is it gauge?")
    if not seen.readings:
        return [*found, f"{name}: no reading at all"]
    least, most = seen.least, seen.most
    if reference == "gauge" and abs(least - 2 * atmosphere_pa) < NEAR_ATMOSPHERE * atmosphere_pa:
        floor = pressure(least - atmosphere_pa)
        found.append(f"{name} is taken as gauge and its floor of {floor} is the atmosphere: is it absolute?")
    if abs(least - atmosphere_pa) < NEAR_PA / 3 and seen.at_floor > CLIPPED_SHARE * seen.readings:
        share = 100 * seen.at_floor / seen.readings
        found.append(
            f"{name} never falls below 0 gauge and lies there in {share:.0f} % of its rows:"
            " the sensor cannot see vacuum, or it is cut off"
        )
    if seen.at_nothing:
        nothing = f"{name} reads {absolute(NOTHING_PA)} or less in {seen.at_nothing} rows, which no machine reaches:"
        found.append(f"{nothing} a number for no reading? [{signal}] valid = [least, most] leaves such out")
    if not LEAST_PA <= most <= MOST_PA:
        found.append(f"{name} reaches {absolute(most)} at most: is its unit right?")
    if seen.beyond:
        found.append(f"{name}: {seen.beyond} readings that no sensor can give were taken as no reading")
    if seen.flat_ms >= FLAT_MS and seen.flat_ms > held_ms:
        found.append(f"{name} stands still for {seen.flat_ms / 1000:.0f} s of running: frozen, or too coarse?")
    return found


def of_sensor(signal: str, seen: Readings) -> list[str]:
    """Return what became of readings that are none."""
    name, found = words(signal), []
    if seen.below_zero:
        found.append(f"{name}: {seen.below_zero} readings below absolute zero were taken as no reading")
    if seen.invalid:
        found.append(f"{name}: {seen.invalid} readings outside what its sensor gives (valid) were taken as no reading")
    return found


def of_net(net: Net) -> list[str]:
    """Return what is doubtful in oil and crankcase pressure together."""
    found = []
    if net.running and net.running_negative > MOSTLY * net.running:
        share = 100 * net.running_negative / net.running
        found.append(
            f"oil pressure lies below crankcase pressure in {share:.0f} % of the running rows:"
            " columns swapped, or one gauge and one absolute?"
        )
    if net.with_oil > INVERTED * net.stopped and net.without_oil > INVERTED * net.running and net.running:
        found.append(
            "net oil pressure is there while the machine stands and gone while it runs: is the running status inverted?"
        )
    elif net.running and net.without_oil > NEARLY_ALL * net.running and not found:
        share = 100 * net.without_oil / net.running
        found.append(
            f"net oil pressure lies under {pressure(NO_OIL_PA)} in {share:.0f} % of the running rows:"
            " is the unit of both pressures right, and what each counts from?"
        )
    for side, count in net.stopped_off.items():
        if net.stopped and count > MOSTLY * net.stopped:
            found.append(
                f"at standstill oil pressure reads about one atmosphere {side} crankcase pressure:"
                " is one of them gauge and the other absolute?"
            )
    return found
