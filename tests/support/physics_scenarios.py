"""Scenarios of the trade's facts, shared by the physics tests. Numbers are restated, not read from the package."""

import numpy as np

from replay.physics import MACHINES, OILS, REFRIGERANTS, Case, Channel, Result, Schedule, SensorChain, Start, simulate
from replay.physics.model import throttle_opening

PSI = 6894.757
ATMOSPHERE_PA = 101325.0
CLOSE_S = 60.0
CUT_OUT_PA = 60e3  # what the tests call short of oil


def schedule(machine: str, suction_pa: float = 250e3, **design) -> Schedule:
    """Return the plan of a machine at its rated speed, running, suction 250 kPa, discharge 900 kPa."""
    return Schedule(MACHINES[machine].rated_speed_rpm, design_suction_pa=suction_pa, load_pa=1.8 * suction_pa, **design)


def run(
    machine: str,
    oil: str,
    plan: Schedule,
    duration_s: float,
    *,
    start: Start | None = None,
    period_ms: int = 500,
    refrigerant: str = "R134a",
    **case,
) -> Result:
    """Simulate the plan with a plain sensor chain."""
    return simulate(
        Case(
            MACHINES[machine],
            OILS[oil],
            REFRIGERANTS[refrigerant],
            plan,
            duration_s,
            start=start or Start(),
            chain=SensorChain(period_ms=period_ms),
            **case,
        )
    )


def shut(
    machine: str, oil: str, reopen_s: float | None = None, duration_s: float = 900.0, suction_pa: float = 250e3, **case
) -> Result:
    """Suction shut within a second at 60 s, reopened within two if told."""
    plan = schedule(machine, suction_pa).change(Channel.SUCTION_VALVE, CLOSE_S, 0.0, 1.0)
    if reopen_s is not None:
        plan.change(Channel.SUCTION_VALVE, reopen_s, 1.0, 2.0)
    return run(machine, oil, plan, duration_s, **case)


def throttled(machine: str, oil: str, reopen_s: float, duration_s: float, **case) -> Result:
    """Suction throttled at 60 s to about 0 psi gauge, then reopened."""
    plan = schedule(machine)
    opening = throttle_opening(MACHINES[machine], REFRIGERANTS["R134a"], plan, ATMOSPHERE_PA)
    plan.change(Channel.SUCTION_VALVE, CLOSE_S, opening, 1.0).change(Channel.SUCTION_VALVE, reopen_s, 1.0, 2.0)
    return run(machine, oil, plan, duration_s, **case)


def between(result: Result, values: np.ndarray, from_s: float, to_s: float) -> np.ndarray:
    """Return the values sampled in from_s <= t < to_s."""
    time_s = result.time_ms / 1000.0
    return values[(time_s >= from_s) & (time_s < to_s)]


def first_time_s(result: Result, holds: np.ndarray) -> float:
    """Return the first sample time at which holds is true; infinity if none."""
    hits = np.flatnonzero(holds)
    return float(result.time_ms[hits[0]]) / 1000.0 if hits.size else float("inf")


def pulses(values: np.ndarray, low: float, high: float) -> int:
    """How often the values rise through high after having been under low."""
    count, under = 0, False
    for value in values:
        if value < low:
            under = True
        elif value > high and under:
            count, under = count + 1, False
    return count
