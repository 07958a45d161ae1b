"""What laws are tried on: synthesised traces as a law gets to see them, behind the checks of the sensors.

The checks and the start grace are those of `protect`, which runs over each trace with no weights and the longest trip
delay; a stop on a sensor stops every law. Ticks of a machine in full health are taken a few seconds together.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from protect import outputs, ranges, state
from protect import settings as rules
from replay.engine import compiled, obeying
from replay.engine.portable import columns_of
from replay.physics.crankshaft import floor_pressure_pa
from replay.physics.drawing import Draw, Site, Sites, invented_site
from replay.physics.families import FAULTS, HARMLESS, SynthTrace, case_of, trace_of
from replay.physics.simulate import Case, Certainty, simulate
from replay.settings import Settings, read_settings
from replay.synth.loop import NEVER_MS, Running
from replay.trace import Trace
from tests.campaigns import law_candidates as laws
from tests.support.made_machines import unlike

Array = NDArray[np.int64]
DEMO = Path(__file__).parents[2] / "fixtures" / "settings.toml"

# Left out: what the checks of the sensors are for, and a trace of two faults, of which a law that stops for good sees one.
LEFT_OUT = ("oil-sensor-stuck", "oil-sensor-drifting", "oil-sensor-loop-fails", "two-faults-in-a-day")
FAMILIES = tuple(family for family in (*FAULTS, *HARMLESS) if family not in LEFT_OUT)
HEALTHY_PA = 80_000  # above every cut-in that is drawn
TOGETHER_MS = 5_000
OWN_SIZE = ("drilling_outlet_m", "drilling_inlet_m", "displacement_m3_s", "evaporator_volume_m3", "oil_charge_m3")
SIZE = (0.8, 1.25)  # assumed


def other_site(draw: Draw, oils: Sequence[str]) -> Site:
    """Draw an installation that is none of the invented ones: dimensions, pump, oil and behaviour are others."""
    site = invented_site(draw, oils)
    size = {name: getattr(site.machine, name) * draw.log_between(*SIZE) for name in OWN_SIZE}
    return unlike(draw, replace(site, machine=replace(site.machine, **size)), foams=site.oil.foaming)


SITES: dict[str, Sites | None] = {"invented": None, "other": other_site}


class Which(NamedTuple):
    """One trace: of which sites, family, number within it, seed."""

    sites: str
    family: str
    index: int
    seed: int


@dataclass(frozen=True)
class Tried:
    """One trace: its window in ms (None: the machine comes through) and the stop of each law in ms, NO_STOP where none.

    stops: the laws as they stand; scaled: the same ones, pressures in shares of the machine's own floor. int64[laws].
    """

    which: Which
    oil: str
    window_ms: tuple[int, int] | None
    stops: Array
    scaled: Array


def made(which: Which) -> tuple[Case, SynthTrace]:
    """Simulate and label one trace."""
    case = case_of(which.family, which.index, which.seed, sites=SITES[which.sites])
    return case, trace_of(which.family, which.index, case, simulate(case))


def as_trace(made: SynthTrace) -> Trace:
    """Return a synthesised trace as the engines take it."""
    crankcase = made.suction_pa if made.crankcase_pa is None else made.crankcase_pa
    reset = np.zeros_like(made.running)
    return Trace(made.id, 0.0, made.time_ms, made.oil_pa, made.suction_pa, crankcase, made.running, reset)


def checking(settings: Settings) -> Settings:
    """Return settings with the same checks and grace, and an integral that stops nothing that any law would not."""
    values = list(settings.values)
    values[ranges.FLOOR_WEIGHT] = values[ranges.VACUUM_WEIGHT] = ranges.ONE
    values[ranges.TRIP_DELAY] = ranges.SETTINGS[ranges.TRIP_DELAY][3]
    values[ranges.RELOAD] = values[ranges.SUCTION_MOST]
    rules.derive(values)
    return replace(settings, values=tuple(values))


class Ticks(NamedTuple):
    """What a law sees: rows int64[TICK_ROWS, n], the time of each in ms; checked_ms: of a stop on a sensor."""

    rows: Array
    time_ms: Array
    checked_ms: int | None


def ticks_of(trace: Trace, settings: Settings) -> Ticks:
    """Return the ticks of a trace up to the first stop by what is no law's affair."""
    machine = compiled.machine(checking(settings))
    columns = columns_of(trace)
    trail: Any = np.zeros((columns.shape[1], obeying.TRAIL_SIZE), np.int64)
    machine.take(columns, trail)
    stop = machine.stops[0] if machine.stops else None
    checked_ms = stop.time_ms if stop and stop.cause & state.CAUSE_CODE == state.SENSOR_CAUSE else None
    end = columns.shape[1] if stop is None else int(np.searchsorted(trace.time_ms, stop.time_ms)) + 1
    told = trail[:end, state.STATE_SIZE :]
    seen, doubted = told[:, outputs.SEEN], told[:, outputs.DOUBTED]
    start_grace = settings.values[ranges.START_GRACE]
    grace = np.concatenate(([start_grace], trail[: end - 1, state.GRACE_LEFT]))
    rows = np.empty((laws.TICK_ROWS, end), np.int64)
    rows[laws.RUNNING] = trace.running[:end]
    rows[laws.NET] = told[:, outputs.NET_OIL_PRESSURE]
    rows[laws.SUCTION] = trace.suction_pa[:end]
    rows[laws.SEEN] = seen
    rows[laws.COUNTED] = np.maximum(seen - grace, 0)
    rows[laws.DOUBTED] = np.maximum(doubted - np.maximum(grace - seen, 0), 0)
    rows[laws.ELAPSED] = seen + doubted
    return Ticks(rows, trace.time_ms[:end], checked_ms)


def together(ticks: Ticks) -> Ticks:
    """Take ticks in full health that follow each other as one, of some seconds: what runs by time alone is summed up."""
    rows, time_ms = ticks.rows, ticks.time_ms
    healthy = (rows[laws.RUNNING] != 0) & (rows[laws.NET] >= HEALTHY_PA) & (rows[laws.SEEN] == rows[laws.ELAPSED])
    alone = ~(healthy & np.concatenate((healthy[1:], [False])))  # the last of those that go together
    ends = np.flatnonzero(alone | np.diff(time_ms // TOGETHER_MS, append=-1).astype(bool))
    found = rows[:, ends]
    summed = np.cumsum(rows[[laws.SEEN, laws.COUNTED, laws.DOUBTED, laws.ELAPSED]], axis=1)[:, ends]
    found[[laws.SEEN, laws.COUNTED, laws.DOUBTED, laws.ELAPSED]] = np.diff(summed, axis=1, prepend=0)
    return Ticks(np.ascontiguousarray(found), time_ms[ends], ticks.checked_ms)


def stops_on(ticks: Ticks, values: Array) -> Array:
    """Return when each law (int64[n, LAW_SIZE]) stops the machine, in ms; a stop on a sensor stops all."""
    found = np.empty(len(values), np.int64)
    memory = np.zeros(laws.MEMORY_SIZE, np.int64)
    first_stops = compiled.native(laws.first_stops, laws)
    first_stops(ticks.rows, np.ascontiguousarray(values), memory, found)
    stops = np.where(found == laws.NO_STOP, laws.NO_STOP, ticks.time_ms[found])
    if ticks.checked_ms is not None:
        stops[(stops == laws.NO_STOP) | (stops > ticks.checked_ms)] = ticks.checked_ms
    return stops


def floor_of(case: Case) -> float:
    """Return the floor pressure (Pa) that whoever sets this machine would reckon, at its rated speed."""
    its = case.machine
    return floor_pressure_pa(its.drilling_inlet_m, its.drilling_outlet_m, case.oil.density_kg_m3, its.rated_speed_rpm)


def tried(settings: Settings, values: Array, which: Which) -> Tried | None:
    """Let every law watch one trace; None for one that cannot be judged."""
    case, trace = made(which)
    if "undecided" in trace.label:
        return None
    window_ms = None
    if "must_trip" in trace.label:
        found = trace.label["must_trip"]
        if isinstance(found, list):
            return None
        window_ms = round(1000 * found["earliest_s"]), round(1000 * found["deadline_s"])
    ticks = ticks_of(as_trace(trace), settings)
    own = ticks.rows.copy()
    own[laws.NET] = np.rint(own[laws.NET] * (settings.values[ranges.FLOOR] / floor_of(case))).astype(np.int64)
    stops, scaled = (stops_on(together(ticks._replace(rows=rows)), values) for rows in (ticks.rows, own))
    return Tried(which, case.oil.name, window_ms, stops, scaled)


def fate_of(values: Array, which: Which) -> Certainty:
    """Let a machine obey the settings of a law that is the integral's; return what its bearings came to."""
    settings = replace(read_settings(DEMO), values=tuple(values[: ranges.SETTINGS_SIZE].tolist()))
    machine = Running(case_of(which.family, which.index, which.seed, sites=SITES[which.sites]), settings)
    while not machine.run(NEVER_MS):
        pass
    return machine.damage.certainty
