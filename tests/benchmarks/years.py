"""Speed of the closed loop: machine-hours a second on one core, compiled, with long steps, whole years; and the plain loop.

The plain loop calls the compiled plant and the interpreted logic sample by sample. CPU time of this process.
"""

import functools
import resource
import time
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

from replay.forecast.year import Wanted, run_year
from replay.physics.befalling import PER_YEAR, arrays_with
from replay.physics.days import DAY_S, Days, Duty, draw_site_of_year
from replay.physics.drawing import Draw
from replay.physics.simulate import Case, random_of_trace
from replay.settings import Settings, read_settings
from replay.synth.loop import LONG_TAKEN, Running
from tests.support.plain_loop import obey

DEMO = Path(__file__).parents[2] / "fixtures" / "settings.toml"
SITES = 6


def timed(action: Callable[[], object]) -> float:
    """Return the CPU time (s) of an action."""
    begun = time.process_time()
    action()
    return time.process_time() - begun


def run_day(machines: list[Running]) -> None:
    """Run some machines for a day, through their stops."""
    for machine in machines:
        while not machine.run(int(DAY_S * 1000)):
            pass


def run_years(wanted: Wanted, settings: Settings, years: int) -> None:
    """Run some machine-years."""
    for number in range(years):
        run_year(wanted, settings, number)


def main() -> None:
    """Print machine-hours a second, ratios, growth and memory."""
    settings = read_settings(DEMO)
    cases = []
    for number in range(SITES):
        site = draw_site_of_year(Draw(random_of_trace(5, (number,))))
        _, plan = next(iter(Days(Duty(), site, 1, (number,))))
        cases.append(Case(site.machine, site.oil, site.refrigerant, plan, DAY_S, site.start, site.chain))
    short = [replace(case, duration_s=450.0) for case in cases]
    obey(short[0], settings)  # what has to be compiled
    Running(short[0], settings, 1, long_steps=True).run(1000)

    plain = sum(case.duration_s for case in short) / 3600 / timed(lambda: [obey(case, settings) for case in short])
    print(f"plain loop: {plain:.1f} machine-hours/s")
    speeds = {}
    for name, long_steps in (("compiled, every step fine", False), ("compiled, long steps", True)):
        machines = [Running(case, settings, 1, long_steps=long_steps) for case in cases]
        for machine, case in zip(machines, cases, strict=True):
            machine.follow(arrays_with(case.schedule, DAY_S))
        hours = 24.0 * SITES
        speeds[name] = hours / timed(functools.partial(run_day, machines))
        share = sum(int(machine.counts[LONG_TAKEN]) for machine in machines) * 5.0 / 3600 / hours
        print(f"{name}: {speeds[name]:.0f} machine-hours/s, {speeds[name] / plain:.0f} times the plain loop, "
              f"{share:.0%} of the time in long steps")  # fmt: skip

    wanted = Wanted(1, Duty(), PER_YEAR, days=20)
    for years in (2, 8):
        took_s = timed(functools.partial(run_years, wanted, settings, years))
        peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
        hours = years * 24.0 * wanted.days
        print(
            f"{hours:.0f} h of machine-years with all that befalls them: {hours / took_s:.0f} machine-hours/s, peak {peak:.0f} MB"
        )


if __name__ == "__main__":
    main()
