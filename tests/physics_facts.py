"""Facts of the trade as the model predicts them: `python -m tests.physics_facts [--sites N] [--quiet]`.

Every fact is put to every machine, oil and refrigerant, in figures and with pass or FAIL. The constants of the pump's
inlet and of the sump were chosen on the machines `FITTED` at one design point (250 kPa suction, 45 degrees C in the
sump). The other machines are called predicted, though the ranges over all four, with sumps of 38 to 58 C and starts at
150 kPa, were in view while the constants were chosen. The two design points of `ELSEWHERE` and the drawn sites were run
only when the constants stood, and none was changed after. All facts: common practice, no source.
"""

import argparse
from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np

from replay.physics import MACHINES, OILS, REFRIGERANTS, Case, Channel, Result, Schedule, SensorChain, Start, simulate
from replay.physics.drawing import Draw, draw_site
from replay.physics.model import throttle_opening
from replay.physics.simulate import random_of_trace
from tests.support.physics_scenarios import CUT_OUT_PA, PSI, between

FITTED = ("granite", "pebble")
HOME = (250e3, 45.0)  # suction in Pa, sump in degrees C
ELSEWHERE = ((320e3, 52.0), (200e3, 40.0))
AT_S = 60.0  # when something is done
GRACE_S = 30.0  # of a start, before oil pressure counts
HEATER_K = 20.0
STANDING_RATIO = 1.8  # pressure of a standing machine over its design suction
FIFTEEN_INHG_PA = 101325.0 - 15.0 * 3386.389


@dataclass(frozen=True)
class Figures:
    """What net oil pressure did in a window: psi and seconds; times count from what was done."""

    lowest: float
    below_9_s: float
    below_floor_s: float
    pulses: int  # dips under 15 psi that came back over 17
    height: float  # of those, on average
    period_s: float
    recovered_s: float  # last moment under 15 psi; infinite if still there at the end
    lost_s: float  # first moment from which on it stayed below the floor; infinite if it did not
    deficit: float  # psi s short of 15

    def __str__(self) -> str:
        """One line of a table."""
        pulses = f"{self.pulses:3d} of {self.height:4.1f} every {self.period_s:4.0f} s" if self.pulses else f"{'-':>22}"
        ends = f"lost from {self.lost_s:4.0f} s" if np.isfinite(self.lost_s) else f"last low {self.recovered_s:5.0f} s"
        return (
            f"low {self.lowest:5.1f}  <9 {self.below_9_s:5.0f} s  <floor {self.below_floor_s:5.0f} s  {pulses}  {ends}"
        )


def figures(result: Result, from_s: float, to_s: float) -> Figures:
    """Return the figures of a window of a trace sampled every half second."""
    net = between(result, result.net_oil_pa, from_s, to_s) / PSI
    floor = between(result, result.floor_pa, from_s, to_s) / PSI
    dips: list[tuple[int, float]] = []
    lowest, where = 99.0, 0
    for i, value in enumerate(net.tolist()):
        if value < min(lowest, 15.0):
            lowest, where = value, i
        elif value > 17.0 and lowest < 15.0:
            dips.append((where, 20.0 - lowest))
            lowest = 99.0
    low = np.flatnonzero(net < 15.0)
    up = np.flatnonzero(net >= floor)
    return Figures(
        float(net.min()),
        0.5 * float((net < CUT_OUT_PA / PSI).sum()),
        0.5 * float((net < floor).sum()),
        len(dips),
        float(np.mean([height for _, height in dips])) if dips else 0.0,
        0.5 * (dips[-1][0] - dips[0][0]) / (len(dips) - 1) if len(dips) > 1 else 0.0,
        np.inf if net[-1] < 15.0 else 0.5 * float(low[-1]) if low.size else 0.0,
        0.5 * float(up[-1] + 1) if net[-1] < floor[-1] and up.size else np.inf,
        0.5 * float(np.maximum(15.0 - net, 0.0).sum()),
    )


@dataclass(frozen=True)
class Site:
    """One combination at one design point."""

    machine: str
    oil: str
    refrigerant: str
    suction_pa: float = HOME[0]
    sump_c: float = HOME[1]

    @property
    def foaming(self) -> bool:
        """Whether the oil foams."""
        return OILS[self.oil].foaming

    def plan(self, *, running: bool = True) -> Schedule:
        """Return the site before anything happens; ambient 25 K under the running sump."""
        return Schedule(
            MACHINES[self.machine].rated_speed_rpm,
            self.suction_pa,
            load_pa=STANDING_RATIO * self.suction_pa,
            ambient_c=self.sump_c - 25.0,
            running=running,
        )

    def run(self, plan: Schedule, duration_s: float, standing_c: float | None = None) -> Result:
        """Simulate a plan, the sump in equilibrium at the start."""
        return simulate(
            Case(
                MACHINES[self.machine],
                OILS[self.oil],
                REFRIGERANTS[self.refrigerant],
                plan,
                duration_s,
                start=Start(self.sump_c if standing_c is None else standing_c),
                chain=SensorChain(period_ms=500),
            )
        )

    def started(self, heater_k: float) -> Figures:
        """Start after a night: in equilibrium with the standing pressure, heater_k over ambient."""
        plan = self.plan(running=False).change(Channel.HEATER_K, 0.0, heater_k).change(Channel.RUN, AT_S, 1.0)
        return figures(self.run(plan, 900.0, self.sump_c - 25.0 + heater_k), AT_S + GRACE_S, 900.0)

    def throttled(self, pressure_pa: float) -> Figures:
        """Throttle suction to a pressure for ten minutes."""
        plan = self.plan()
        opening = throttle_opening(MACHINES[self.machine], REFRIGERANTS[self.refrigerant], plan, pressure_pa)
        return figures(self.run(plan.change(Channel.SUCTION_VALVE, AT_S, opening, 5.0), 660.0), AT_S, 660.0)

    def shut(self, reopen_s: float = np.inf, duration_s: float = 900.0) -> Result:
        """Shut suction, and reopen it reopen_s later."""
        plan = self.plan().change(Channel.SUCTION_VALVE, AT_S, 0.0, 1.0)
        if np.isfinite(reopen_s):
            plan.change(Channel.SUCTION_VALVE, AT_S + reopen_s, 1.0, 2.0)
        return self.run(plan, duration_s)


Told = tuple[str, bool | None]


def runs(site: Site) -> Told:
    """Hold 18.5 to 21.5 psi in steady running."""
    net = site.run(site.plan(), 600.0).net_oil_pa / PSI
    return f"{net.min():.1f} to {net.max():.1f} psi", bool(net.min() >= 18.5 and net.max() <= 21.5)


def starts_in_the_morning(site: Site) -> Told:
    """After 30 s of grace less than 10 s below 9 psi in 15 minutes, and well at the end."""
    told = site.started(HEATER_K)
    return str(told), told.below_9_s <= 10.0 and told.recovered_s < np.inf


def starts_without_heater(site: Site) -> Told:
    """No claim: a flooded start may lose its oil pressure."""
    return str(site.started(0.0)), None


def a_little_throttled(site: Site) -> Told:
    """To 0.8 of design suction: never below 18 psi."""
    told = site.throttled(0.8 * site.suction_pa)
    return str(told), told.lowest >= 18.0


def well_above_atmosphere(site: Site) -> Told:
    """To 180 kPa absolute, 11 psi gauge: never below 15 psi."""
    told = site.throttled(180e3)
    return str(told), told.lowest >= 15.0


def at_atmosphere(site: Site) -> Told:
    """To 0 psi gauge: still oil dips in part, twice at least, foaming oil perhaps; never to the floor, and it is over."""
    told = site.throttled(101325.0)
    return str(told), told.below_floor_s == 0.0 and told.recovered_s < 300.0 and (site.foaming or told.pulses > 1)


def at_fifteen_inches(site: Site) -> Told:
    """To 15 inHg of vacuum: still oil is a minute and more below 9 psi; foaming oil is back within three minutes."""
    told = site.throttled(FIFTEEN_INHG_PA)
    return str(told), told.recovered_s < 180.0 if site.foaming else told.below_9_s >= 60.0


def shut_for_good(site: Site) -> Told:
    """Still oil is lost for good 10 to 180 s after; foaming oil falls below 9 psi and is back by itself in 300 s."""
    told = figures(site.shut(), AT_S, 900.0)
    if site.foaming:
        return str(told), told.lowest < 9.0 and told.recovered_s < 300.0
    return str(told), 10.0 <= told.lost_s <= 180.0


def around_the_floor(site: Site) -> Told:
    """Foaming oil of a larger machine dips to the floor's neighbourhood: from a half to twice the floor."""
    if not site.foaming or site.machine not in ("granite", "basalt"):
        return "", None
    result = site.shut()
    lowest, floor = float(result.net_oil_pa.min()) / PSI, float(result.floor_pa[0]) / PSI
    return f"low {lowest:.1f} psi, floor {floor:.1f} psi", 0.5 * floor <= lowest <= 2.0 * floor


def shut_for_ten_seconds(site: Site) -> Told:
    """Shut for ten seconds: well within a minute of the reopening, and no harm."""
    result = site.shut(reopen_s=10.0, duration_s=300.0)
    told = figures(result, AT_S, 300.0)
    return str(told), told.recovered_s < 70.0 and result.damage.certainty == "none"


def reopened_after_minutes(site: Site) -> Told:
    """Still oil shut for 390 s: every journal is spoilt within 30 s of the reopening, none before it."""
    if site.foaming:
        return "", None
    damage = site.shut(reopen_s=390.0).damage
    times = [time - AT_S - 390.0 for time in damage.times_s if time is not None]
    return f"spoilt {[round(time, 1) for time in times]} s after", len(times) == 3 and all(
        0.0 <= t < 30.0 for t in times
    )


def more_dissolved(site: Site) -> Told:
    """Foaming oil: the dip from 350 kPa of suction is smaller than that from 150."""
    if not site.foaming:
        return "", None
    found = [
        figures(Site(site.machine, site.oil, site.refrigerant, suction, site.sump_c).shut(), AT_S, 900.0).deficit
        for suction in (150e3, 250e3, 350e3)
    ]
    return "deficit " + " > ".join(f"{deficit:.0f}" for deficit in found) + " psi s", found[2] < found[0]


FACTS: dict[str, Callable[[Site], Told]] = {
    fact.__name__: fact
    for fact in (
        runs,
        starts_in_the_morning,
        starts_without_heater,
        a_little_throttled,
        well_above_atmosphere,
        at_atmosphere,
        at_fifteen_inches,
        shut_for_good,
        around_the_floor,
        shut_for_ten_seconds,
        reopened_after_minutes,
        more_dissolved,
    )
}


def combinations(suction_pa: float, sump_c: float) -> Iterator[Site]:
    """Yield every machine, oil and refrigerant at a design point."""
    for machine in MACHINES:
        for oil in OILS:
            for refrigerant in REFRIGERANTS:
                yield Site(machine, oil, refrigerant, suction_pa, sump_c)


def standing(site: Site) -> str:
    """Say whether the constants were chosen on a combination."""
    return "fitted" if site.machine in FITTED and (site.suction_pa, site.sump_c) == HOME else "predicted"


def morning_starts(count: int, seed: int) -> list[Figures]:
    """Start drawn sites with still oil after a night with the heater on, at their own pressures; see `draw_site`."""
    found = []
    for i in range(count):
        site = draw_site(Draw(random_of_trace(seed, (i,))), tuple(oil for oil in OILS if not OILS[oil].foaming))
        plan = site.schedule(running=False).change(Channel.RUN, AT_S, 1.0)
        start, chain = Start(site.oil_temperature_c - 5.0), SensorChain(period_ms=500)
        case = Case(site.machine, site.oil, site.refrigerant, plan, 900.0, start, chain)
        found.append(figures(simulate(case), AT_S + GRACE_S, 900.0))
    return found


def main() -> None:
    """Print every fact for every combination, then the counts."""
    parser = argparse.ArgumentParser(prog="python -m tests.physics_facts", description=__doc__)
    parser.add_argument("--sites", type=int, default=40, metavar="N", help="drawn sites started in the morning")
    parser.add_argument("--quiet", action="store_true", help="print what fails and the counts only")
    options = parser.parse_args()
    counts: dict[tuple[str, str], list[int]] = {}
    for suction_pa, sump_c in (HOME, *ELSEWHERE):
        for name, fact in FACTS.items():
            print(f"\n{name}, design {suction_pa / 1e3:.0f} kPa, {sump_c:.0f} C: {fact.__doc__}")
            for site in combinations(suction_pa, sump_c):
                told, passed = fact(site)
                if not told:
                    continue
                verdict = {True: "pass", False: "FAIL", None: ""}[passed]
                if passed is not None:
                    kind = standing(site) if (suction_pa, sump_c) == HOME else "elsewhere"
                    of = counts.setdefault((name, kind), [0, 0])
                    of[0] += passed
                    of[1] += 1
                if not options.quiet or passed is False:
                    print(
                        f"{site.machine:8s} {site.oil:11s} {site.refrigerant:6s} {standing(site):9s} {told}  {verdict}"
                    )
    found = morning_starts(options.sites, 1)
    held = sum(one.below_9_s <= 10.0 and one.recovered_s < np.inf for one in found)
    print(f"\n{'fact':24s} {'fitted':>10s} {'predicted':>10s} {'elsewhere':>10s}")
    for name in FACTS:
        row = [counts.get((name, kind)) for kind in ("fitted", "predicted", "elsewhere")]
        print(f"{name:24s} " + " ".join(f"{f'{of[0]} of {of[1]}' if of else '-':>10s}" for of in row))
    print(f"drawn still-oil sites that start and hold: {held} of {len(found)}, longest below 9 psi", end=" ")
    print(f"{max(one.below_9_s for one in found):.1f} s")


if __name__ == "__main__":
    main()
