"""The peers of the sweep engine: the same question answered the plain ways, all with the same result.

A peer takes a trace and settings int64[candidates, 25] and returns for each candidate
(stops as (time in ms, cause), run time in ms, late ticks, whether it was locked out).
"""

import shutil
import subprocess
import tempfile
from collections.abc import Callable
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from protect import conditions, outputs, ranges, state, table
from replay.engine import c_port, compiled, obeying, portable
from replay.engine.portable import columns_of
from replay.settings import Settings
from replay.sweep import table_facts
from replay.trace import Trace

Array = NDArray[np.int64]
Outcome = tuple[tuple[tuple[int, int], ...], int, int, bool]
Peer = Callable[[Trace, Array], list[Outcome]]


def outcome(replay: portable.Replay) -> Outcome:
    """Return what is compared of a replay: causes without the doubts of a sensor stop."""
    return (
        tuple((stop.time_ms, stop.cause & state.CAUSE_CODE) for stop in replay.stops),
        replay.run_ms,
        replay.late,
        replay.locked_out,
    )


def interpreted(trace: Trace, values: Array) -> list[Outcome]:
    """Replay candidate after candidate by the interpreted reference."""
    return [outcome(portable.replay_trace(trace, Settings("", tuple(row), 0.0, None))) for row in values.tolist()]


def _collected(trace: Trace, values: Array, run_on: Callable[..., object]) -> list[Outcome]:
    """Call run_on(values, columns, changes, stops, carry) for each candidate; nothing is made of changes of state."""
    columns = columns_of(trace)
    changes = np.zeros((len(trace), obeying.CHANGE_SIZE), np.int64)
    stops = np.zeros((len(trace), obeying.STOP_SIZE), np.int64)
    late = int((columns[1] > values[0, ranges.MAX_GAP]).sum())
    found = []
    for row in values:
        carry = np.zeros(obeying.CARRY_SIZE, np.int64)
        carry[obeying.PERMITTED] = 1
        run_on(row, columns, changes, stops, carry)
        rows = stops[: carry[obeying.STOPS]].tolist()
        felt = tuple((time_ms, cause & state.CAUSE_CODE) for time_ms, cause in rows if cause != obeying.MAY_RUN)
        found.append((felt, int(carry[obeying.RUN_MS]), late, bool(carry[obeying.LOCKED])))
    return found


def compiled_peer() -> Peer:
    """Return the plain compiled loop: `replay.engine.obeying.obey` for one candidate after another."""
    kernel = compiled.native(obeying.obey)
    nothing = np.zeros((0, obeying.TRAIL_SIZE), np.int64)
    inputs = np.zeros(ranges.INPUTS_SIZE, np.int64)

    def run_on(row: Array, columns: Array, changes: Array, stops: Array, carry: Array) -> None:
        memory, results = np.zeros(state.STATE_SIZE, np.int64), np.zeros(outputs.OUTPUTS_SIZE, np.int64)
        state.power_up(memory, row)
        kernel(columns, row, memory, inputs, results, changes, stops, carry, nothing)

    return lambda trace, values: _collected(trace, values, run_on)


def c_peer() -> Peer:
    """Return the plain C loop: the C port that ships, built with -O3 for this very machine."""
    folder = Path(tempfile.mkdtemp(prefix="lubetrip-bench-"))
    library = folder / "port.so"
    port, runner = c_port.sources()
    flags = ("-std=c99", "-O3", "-march=native", "-shared", "-fPIC")
    subprocess.run(["gcc", *flags, f"-I{port.parent}", str(port), str(runner), "-o", str(library)], check=True)
    port = c_port.load(library)
    shutil.rmtree(folder)

    def run_on(row: Array, columns: Array, changes: Array, stops: Array, carry: Array) -> None:
        settings, memory = row.astype(np.int32), np.zeros(state.STATE_SIZE, np.int32)
        port.lubetrip_power_up(memory.ctypes.data, settings.ctypes.data)
        count = columns.shape[1]
        arrays = (changes.ctypes.data, stops.ctypes.data, carry.ctypes.data, None)
        given = (columns.ctypes.data, count, count, settings.ctypes.data, memory.ctypes.data, count)
        port.lubetrip_run_trace(*given, *arrays)

    return lambda trace, values: _collected(trace, values, run_on)


def resting() -> NDArray[np.bool_]:
    """Return where no row of the table applies: bool[states, conditions]."""
    bits = np.arange(1 << len(conditions.NAMES))
    found = np.ones((table_facts.STATES, len(bits)), bool)
    for place, mask, value, *_ in table.TABLE:
        found[place, bits & mask == value] = False
    return found


class Numpy:
    """The logic with an array over candidates for every word of state, as a user of numpy would write it."""

    def __init__(self, values: Array) -> None:
        self.set = {row[0]: column for row, column in zip(ranges.SETTINGS, values.T, strict=False)}
        self.slope, self.level = values[:, ranges.SLOPE], values[:, ranges.RELOAD_LEVEL]
        self.full = self.set["trip_delay"] << ranges.WEIGHT_BITS
        count = len(values)
        self.place, self.amount, self.memory_left, self.trips, self.doubt, self.cause = np.zeros((6, count), np.int64)
        self.grace, self.restart_left = self.set["start_grace"].copy(), self.set["restart_delay"].copy()
        self.declared, self.in_spell, self.vacuum_seen = np.zeros((3, count), bool)
        self.last, self.ages = [ranges.NO_READING] * 3, np.zeros((3, count), np.int64)
        self.fresh = True
        self.resting = resting()

    def observe(
        self,
        elapsed: int,
        running: NDArray[np.bool_],
        at_rest: bool,
        pressures: tuple[int, int, int],
    ) -> None:
        """Check the readings: seen, doubted, credible, net. at_rest: the trace itself stands."""
        named = self.set
        for channel in range(3):
            unmoved = self.ages[channel] if pressures[channel] == self.last[channel] else 0
            ages = running | (unmoved == named["stuck_after"])
            unmoved = np.where(ages, unmoved + elapsed, unmoved)
            self.doubted = np.maximum(unmoved - named["stuck_after"], self.doubted if channel else 0)
            self.ages[channel] = np.minimum(unmoved, named["stuck_after"])
        self.last = list(pressures)
        stuck = (self.ages == named["stuck_after"]).any(axis=0)
        oil, suction, crankcase = pressures
        sound = (elapsed <= named["max_gap"]) & (named["oil_least"] <= oil) & (oil <= named["oil_most"])
        for reading in (suction, crankcase):
            sound &= (named["suction_least"] <= reading) & (reading <= named["suction_most"])
        settled = elapsed - np.maximum(self.restart_left - named["restart_delay"] + named["rest_settle"], 0)
        violated = at_rest & sound & (settled >= 0) & (abs(oil - crankcase) > named["rest_most"])
        self.doubted = np.where(violated, np.maximum(self.doubted, settled), self.doubted)
        self.doubted = np.where(sound, self.doubted, elapsed)
        self.seen = elapsed - self.doubted
        self.credible = sound & ~stuck & ~violated
        self.net = np.where(sound, oil - crankcase, 0)

    def weight(self, suction: int) -> Array:
        """Return the weight of this moment."""
        named, net = self.set, self.net
        ramp = ranges.ONE + (((named["cut_out"] - net) * self.slope + (1 << 15)) >> 16)
        gain = np.where(net < named["floor"], named["floor_weight"], ramp)
        heavy = (gain * named["vacuum_weight"] + (ranges.ONE >> 1)) >> ranges.WEIGHT_BITS
        gain = np.where(suction < named["vacuum"], heavy, gain)
        gain = np.where(net >= named["cut_out"], 0, gain)
        return np.where(net >= named["cut_in"], -named["recovery"], gain)

    def integrate(self, running: NDArray[np.bool_], suction: int) -> None:
        """Move the integral and the grace."""
        gain = self.weight(suction)
        left = self.grace - self.seen
        counted = np.where(gain < 0, self.seen, np.maximum(-left, 0))
        amount = np.clip(self.amount + gain * counted, 0, self.full)
        left = np.maximum(left, 0) - self.doubted
        amount = np.minimum(amount + ranges.ONE * np.maximum(-left, 0), self.full)
        drained = np.maximum(self.amount - self.set["stopped_recovery"] * self.seen, 0)
        self.amount = np.where(running, amount, drained)
        regained = np.minimum(self.grace + self.seen, self.set["start_grace"])
        self.grace = np.where(running, np.maximum(left, 0), regained)

    def count_down(self, elapsed: int, running: NDArray[np.bool_]) -> None:
        """Move the other timers."""
        named = self.set
        standing = np.where(elapsed <= named["max_gap"], np.maximum(self.restart_left - elapsed, 0), self.restart_left)
        self.restart_left = np.where(running, named["restart_delay"], standing)
        forgets = ~(running & (self.place >= state.TRIPPED))
        self.memory_left = np.where(forgets, np.maximum(self.memory_left - self.seen, 0), self.memory_left)
        self.trips[forgets & (self.memory_left == 0)] = 0
        doubt = np.maximum(self.doubt - self.seen, 0)
        self.declared &= doubt != 0
        doubt = doubt + self.doubted
        self.declared |= doubt >= named["fault_delay"]
        self.doubt = np.minimum(doubt, named["fault_delay"])

    def conditions(self, running: NDArray[np.bool_], suction: int) -> Array:
        """Return the bits of this tick."""
        named = self.set
        healthy = self.credible & (self.net >= named["cut_in"])
        low = ~self.credible | (self.net < named["cut_out"])
        open_still = running & ~healthy
        self.in_spell = open_still & (self.in_spell | low)
        vacuum = self.in_spell & self.credible & (suction < named["vacuum"])
        self.vacuum_seen = open_still & (self.vacuum_seen | vacuum)
        reload = self.vacuum_seen & self.credible & (suction >= named["reload"]) & (self.net < named["floor"])
        reload &= (self.amount >> ranges.WEIGHT_BITS) >= self.level
        flags = (
            running,
            self.grace > 0,
            low,
            healthy,
            self.amount >= self.full,
            reload,
            self.restart_left == 0,
            self.trips + 1 >= named["trips_to_lockout"],
            np.zeros(len(low), bool),  # no trace of the benchmark presses the reset
            self.credible,
            self.declared,
            np.zeros(len(low), bool),
        )
        return sum(flag.astype(np.int64) << place for place, flag in enumerate(flags))

    def settle(self, bits: Array) -> None:
        """Read the table for the few candidates to which a row applies."""
        moving = np.flatnonzero(~self.resting[self.place, bits])
        for _ in range(table.MOST_MOVES):
            still = []
            for who in moving:
                for row in table.TABLE:
                    if row[0] == self.place[who] and bits[who] & row[1] == row[2]:
                        self.place[who] = row[3]
                        self.apply(who, row[4])
                        if row[4] == table.NONE:
                            still.append(who)
                        break
            moving = still

    def apply(self, who: int, effect: int) -> None:
        """Do what a row says beside the change of state."""
        if effect in (table.STOP_ON_OIL, table.STOP_ON_RELOAD):
            self.trips[who] += 1
            self.memory_left[who] = self.set["trip_memory"][who]
        if effect in (table.STOP_ON_OIL, table.STOP_ON_RELOAD, table.STOP_ON_SENSOR):
            self.cause[who] = effect

    def tick(self, elapsed: int, running: NDArray[np.bool_], wants: int, pressures: tuple[int, int, int]) -> None:
        """Take one set of readings for all candidates."""
        counted = 0 if self.fresh else min(elapsed, ranges.ELAPSED_MOST)
        self.fresh = False
        self.observe(counted, running, not wants, pressures)
        self.integrate(running, pressures[1])
        self.count_down(counted, running)
        self.settle(self.conditions(running, pressures[1]))


def numpy_peer(trace: Trace, values: Array) -> list[Outcome]:
    """Replay all candidates at once, a tick at a time."""
    logic = Numpy(values)
    count = len(values)
    permitted, felt, locked = np.ones(count, bool), np.zeros(count, bool), np.zeros(count, bool)
    run_ms, stops = np.zeros(count, np.int64), [[] for _ in range(count)]
    gap = logic.set["max_gap"]
    late = np.zeros(count, np.int64)
    for time, elapsed, wants, _, *pressures in columns_of(trace).T.tolist():
        running = permitted if wants else np.zeros(count, bool)
        logic.tick(elapsed, running, wants, tuple(pressures))
        run_ms += np.where(running & (elapsed <= gap), elapsed, 0)
        late += elapsed > gap
        permitted = logic.place < state.TRIPPED
        locked |= logic.place == state.LOCKED_OUT
        felt &= ~permitted
        if wants and not permitted.all():
            for who in np.flatnonzero(~permitted & ~felt):
                stops[who].append((time, int(logic.cause[who])))
            felt |= ~permitted
    rows = zip(stops, run_ms.tolist(), late.tolist(), locked.tolist(), strict=True)
    return [(tuple(felt_stops), ran, count_late, lock) for felt_stops, ran, count_late, lock in rows]
