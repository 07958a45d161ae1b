"""Speed of the trace simulation: model samples a second and hours of operation a second, on one core.

A model sample is one integration step of the whole machine (0.1 s of operation). Peers: the same kernel without
the compiler, and the gas equations alone in numpy, vectorised over machines.
CPU time of this process, best of several runs: other load on the machine hardly counts.
"""

import time
from collections.abc import Callable

import numba
import numpy as np

from replay.physics import MACHINES, OILS, REFRIGERANTS, Case, Channel, Schedule, SensorChain, Start, layout, simulate
from replay.physics.gas import gas_step
from replay.physics.kernel import compiled_record, record
from replay.physics.model import STEP_S, first_state, parameters, solubility_table

HOURS = 5.0
INTERPRETED_S = 120.0


def best(action: Callable[[], object], runs: int = 5) -> float:
    """Return the least CPU time (s) of an action over some runs, after one to warm up."""
    action()
    times = []
    for _ in range(runs):
        begun = time.process_time()
        action()
        times.append(time.process_time() - begun)
    return min(times)


def bench_case(oil: str, duration_s: float) -> Case:
    """Return a machine that runs an hour, then has its suction shut."""
    plan = Schedule(1450.0).change(Channel.SUCTION_VALVE, 3600.0, 0.0, 1.0)
    return Case(MACHINES["granite"], OILS[oil], REFRIGERANTS["R134a"], plan, duration_s, chain=SensorChain())


def kernel_time(function: Callable[..., object], case: Case, sample_s: float, runs: int) -> float:
    """Return the CPU time (s) of one form of the kernel over a case, without sensors."""
    p = parameters(case.machine, case.oil, case.refrigerant, case.schedule)
    table = solubility_table(case.oil, case.refrigerant)
    first = first_state(case.machine, case.oil, case.refrigerant, case.schedule, Start(), p)
    sample = np.arange(0.0, case.duration_s, sample_s)
    rows = np.zeros((sample.size, layout.RECORDS))
    return best(
        lambda: function(first.copy(), p, table, *case.schedule.arrays(), sample, np.zeros(layout.INPUTS), rows), runs
    )


@numba.njit(error_model="numpy")
def compiled_gas(s, p, u, steps):
    """Run the gas equations alone."""
    for _ in range(steps):
        gas_step(s, p, u, STEP_S)


def gas_steps_per_s(steps: int = 500_000) -> float:
    """Return steps a second of the compiled gas equations alone, during the pull-down and in the vacuum after it."""
    case = bench_case("still-68", 100.0)
    p = parameters(case.machine, case.oil, case.refrigerant, case.schedule)
    s = first_state(case.machine, case.oil, case.refrigerant, case.schedule, Start(), p)
    u = case.schedule.arrays()[1][-1]
    return steps / best(lambda: compiled_gas(s.copy(), p, u, steps))


def numpy_steps_per_s(machines: int = 2000, steps: int = 50) -> float:
    """Return steps a second of the gas equations alone, numpy over many machines at once."""
    suction, evaporator = np.full(machines, 250e3), np.full(machines, 255e3)
    clearance, exponent, conductance = 0.035, 1.09, 1e-4
    capacity, sweep, dt = 1.7e-6, 2.3e-6, STEP_S

    def run() -> None:
        nonlocal suction, evaporator
        for _ in range(steps):
            volume_ratio = (900e3 / suction) ** (1.0 / exponent)
            efficiency = np.maximum(1.0 + clearance - clearance * volume_ratio, 0.0)
            slope = sweep * (1.0 + clearance - clearance * (1.0 - 1.0 / exponent) * volume_ratio)
            choked = suction <= 0.5 * evaporator
            valve = conductance * np.where(choked, 0.5 * evaporator, evaporator - suction)
            by_suction = np.where(choked, 0.0, -conductance)
            a11, a12 = 1.3e-5 + dt * (2e-6 + conductance), dt * by_suction
            a22 = capacity + dt * (slope - by_suction)
            b1 = dt * (2e-6 * (450e3 - evaporator) - valve)
            b2 = dt * (valve - sweep * efficiency * suction)
            determinant = a11 * a22 + a12 * dt * conductance
            evaporator = evaporator + (b1 * a22 - a12 * b2) / determinant
            suction = np.maximum(suction + (a11 * b2 + dt * conductance * b1) / determinant, 500.0)

    return machines * steps / best(run)


def main() -> None:
    """Print speeds and ratios."""
    for oil in ("still-68", "foaming-68"):
        case = bench_case(oil, HOURS * 3600.0)
        for sample_s in (1.0, STEP_S):
            seconds = kernel_time(compiled_record, case, sample_s, 5)
            steps, samples = case.duration_s / STEP_S, case.duration_s / sample_s
            print(
                f"kernel, {oil}, a record every {sample_s:g} s: {steps / seconds / 1e6:.2f} million model samples/s/core, "
                f"{samples / seconds / 1e6:.2f} million records/s/core, {HOURS / seconds:.0f} h of operation/s"
            )
    whole = best(lambda: simulate(bench_case("still-68", 1800.0)), 10)
    print(f"a 30 min trace with sensors, 1 s samples: {whole * 1e3:.1f} ms, {0.5 / whole:.0f} h of operation/s")

    short = bench_case("still-68", INTERPRETED_S)
    compiled = kernel_time(compiled_record, short, 1.0, 20)
    plain = kernel_time(record, short, 1.0, 1)
    print(
        f"same kernel interpreted: {INTERPRETED_S / STEP_S / plain:.0f} model samples/s, "
        f"compiled is {plain / compiled:.0f} times as fast"
    )
    plan = Schedule(1450.0)
    for i in range(5143):  # one every 140 s, as the family of unloader steps has it on average
        plan.change(Channel.CAPACITY, 140.0 * (i + 1), 0.5 + 0.5 * (i % 2), 0.5)
    print(f"arrays of a schedule with 200 h of unloader steps: {best(plan.arrays) * 1e3:.0f} ms")
    print(f"gas equations only, compiled: {gas_steps_per_s() / 1e6:.2f} million machine steps/s")
    print(f"numpy over 2000 machines, the same equations: {numpy_steps_per_s() / 1e6:.2f} million machine steps/s")


if __name__ == "__main__":
    main()
