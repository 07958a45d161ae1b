"""The model driven by a run: it is made to follow the suction that was read, and tells the oil pressure to be read.

Nothing is assumed of valve, load or capacity, which nobody logged: whatever they did, the crankcase felt it as
suction. What the model does with it, its pump, its oil and its sensors answer for.
"""

from dataclasses import replace
from functools import lru_cache
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from replay.fitting.runs import Run
from replay.fitting.unknowns import RunStart
from replay.physics import layout as at
from replay.physics.constants import LARGEST_FRACTION
from replay.physics.drawing import Site
from replay.physics.kernel import compiled_record
from replay.physics.model import Start, equilibrium_fraction, first_state, solubility_table
from replay.physics.schedule import Schedule
from replay.physics.sensors import SENSOR_STATES, Sensor, compiled_read_trace
from replay.physics.simulate import Case

Vector = NDArray[np.float64]

LEAST_PA = 600.0  # of a suction that its sensor's offset would make a vacuum beyond any
KEPT = 32  # simulations: all dampings of a pass of a fit to four runs
BLIND = Sensor()


class Driven(NamedTuple):
    """oil_pa: what the oil sensor would read but for noise and digits, float64[n]; net_pa: true."""

    oil_pa: Vector
    net_pa: Vector


def drive(site: Site, start: RunStart, run: Run) -> Driven:
    """Run a site's machine through a run. Raises ValueError for a machine that cannot run so."""
    blind = replace(site, chain=replace(site.chain, oil=BLIND))
    oil, net = _simulated(blind, start, run)
    return Driven(_read(site.chain.oil, oil, run.time_s), net)


@lru_cache(KEPT)
def _simulated(site: Site, start: RunStart, run: Run) -> tuple[Vector, Vector]:
    """Return true oil pressure and net oil pressure of a site's machine, whatever its oil sensor makes of them.

    A fit moves each unknown by itself, and neither the oil sensor's nor those of another run's start change them: those
    it moves first, as long as the simulations from which it moves are kept.
    """
    suction = true_suction_pa(site.chain.suction, run)
    schedule, begin = _beginning(site, start, run, float(suction[0]))
    case = Case(
        site.machine, site.oil, site.refrigerant, schedule, float(run.time_s[-1]), begin, behaviour=site.behaviour
    )
    p = case.parameters
    p[at.B_ONSET_SHARE] = p[at.P_LEAST_SOMMERFELD] = 0.0  # the journals are left out: nothing starves or touches
    s = first_state(site.machine, site.oil, site.refrigerant, schedule, begin, p)
    rows = np.zeros((run.time_s.size, at.RECORDS))
    table = solubility_table(site.oil, site.refrigerant)
    compiled_record(s, p, table, *_inputs(schedule, suction, run), run.time_s, np.zeros(at.INPUTS), rows)
    return rows[:, at.R_OIL_PA].copy(), rows[:, at.R_OIL_PA] - rows[:, at.R_CRANKCASE_PA]


def true_suction_pa(sensor: Sensor, run: Run) -> Vector:
    """Return the suction pressure behind a run's readings by a sensor's offset, gain and lag."""
    read = run.suction_pa + sensor.lag_s * run.suction_slope
    return np.maximum((read - sensor.offset_pa) / sensor.gain, LEAST_PA)


def _beginning(site: Site, start: RunStart, run: Run, suction_pa: float) -> tuple[Schedule, Start]:
    ambient_c = start.oil_c - site.behaviour.running_rise_k
    speed = run.speed_rpm or site.speed_rpm
    schedule = Schedule(speed, site.suction_pa, site.discharge_pa, site.load_pa, ambient_c, run.begins_running)
    whole = equilibrium_fraction(site.oil, site.refrigerant, round(start.oil_c, 2), round(suction_pa, -2))
    return schedule, Start(start.oil_c, min(start.share * whole, LARGEST_FRACTION))


def _inputs(
    schedule: Schedule, suction_pa: Vector, run: Run
) -> tuple[Vector, NDArray[np.float64], NDArray[np.float64], NDArray[np.bool_]]:
    """Return the kernel's schedule: everything as at the beginning but suction and whether it runs."""
    values = np.repeat(schedule.arrays()[1], run.time_s.size, axis=0)
    slopes = np.zeros_like(values)
    values[:, at.U_SUCTION_PA] = suction_pa
    slopes[:-1, at.U_SUCTION_PA] = np.diff(suction_pa) / np.diff(run.time_s)
    values[:, at.U_RUN] = run.running
    return run.time_s, values, slopes, np.zeros(run.time_s.size, dtype=np.bool_)


def _read(sensor: Sensor, true_pa: Vector, time_s: Vector) -> Vector:
    """Return what a sensor without noise and with fine digits reads."""
    fine = replace(sensor, noise_pa=0.0, resolution_pa=1.0, dead_band_pa=0.0, spike_chance=0.0, lost_chance=0.0)
    readings = np.empty(true_pa.size, dtype=np.int64)
    held, never, still = np.zeros(SENSOR_STATES), np.ones(true_pa.size), np.zeros(true_pa.size)
    compiled_read_trace(fine.parameters(), held, np.ascontiguousarray(true_pa), time_s, still, never, readings)
    return readings.astype(np.float64)
