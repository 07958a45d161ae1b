"""Machines that were made up for a fit to find out: what a user could write of one, and runs of what it really is.

Dimensions, oil, behaviour, sensors and what is done to it are drawn anew for each seed. The description states what a
maker's sheet tells; all else is hidden, the behaviour drawn wider than any trace of `lubetrip synth` has it.
"""

from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from replay.fitting.runs import Run, run_of
from replay.fitting.unknowns import OF_BEHAVIOUR, OF_MACHINE, OF_OIL
from replay.library.editing import entry_text
from replay.machine import MachineFile, machine_from
from replay.physics.behaviour import TABLE
from replay.physics.drawing import FOAMING, STILL, Draw, Site
from replay.physics.families import SynthTrace
from replay.physics.model import Start
from replay.physics.schedule import Channel, Schedule
from replay.physics.sensors import NEVER_S
from replay.physics.simulate import Case, random_of_trace, simulate
from replay.synth.libraries import write_trace
from replay.trace import Trace

LENGTH_S = 900.0
BENCH, THROTTLED, STUCK = RUNS = ("bench-valve-shut", "throttled", "liquid-valve-stuck")
WITHIN = 0.7  # of the ranges of a fit, what is hidden lies in
FACTOR = (0.7, 1.0 / 0.7)  # of the usual behaviour
HIDDEN = tuple(name for name in OF_BEHAVIOUR if name != "pocket_limit")  # which is drawn as for any trace
REFRIGERANTS = ("R134a", "R134a", "R404A", "R407C", "R22", "R152a")


@dataclass(frozen=True)
class Made:
    """A made machine: its description, what it is, and the cases of `RUNS`."""

    text: str
    described: MachineFile
    site: Site
    cases: dict[str, Case]

    def library(self, folder: Path, names: tuple[str, ...] = RUNS) -> Path:
        """Write runs as a library of measured traces."""
        (folder / "traces").mkdir(parents=True)
        entries = []
        for name in names:
            file = f"traces/{name}.csv"
            with (folder / file).open("wb") as stream:
                write_trace(stream, iter([self.trace(name)]), "csv")
            told = {"id": name, "file": file, "family": name, "machine": "made", "oil": "its own"}
            entries.append(entry_text({**told, "origin": "recorded: on the bench", "undecided": True}))
        (folder / "library.toml").write_text("\n".join(entries), encoding="utf-8")
        return folder

    def trace(self, name: str) -> SynthTrace:
        """Simulate a run."""
        case = self.cases[name]
        result = simulate(case)
        return SynthTrace(
            name, name, "made", "its own", "recorded: on the bench", {"undecided": True}, result.time_ms, result.oil_pa,
            result.suction_pa, result.crankcase_pa, result.running, result.oil_temperature_c, result.speed_rpm, [],
        )  # fmt: skip


def made_machine(
    seed: int, *, foaming: bool | None = None, still_running: bool = False, described_as: str | None = None
) -> Made:
    """Make the machine of a seed. still_running: its runs show nothing happen; described_as: what its user wrote of it."""
    draw = Draw(random_of_trace(21, (seed,)))
    foams = draw.happens(0.4)
    foams = foams if foaming is None else foaming
    text = _description(draw, foams) if described_as is None else described_as
    described = machine_from("machine.toml", text)
    site = _hidden(draw, described, foams)
    cases = {}
    for number, name in enumerate(RUNS):
        plan = site.schedule()
        at_s = draw.between(60.0, 120.0)
        if not still_running:
            _do(name, draw, site, plan, at_s)
        start = Start(site.oil_temperature_c + draw.between(-4.0, 4.0))
        cases[name] = Case(
            site.machine, site.oil, site.refrigerant, plan, LENGTH_S, start, site.chain, seed, (number,),
            behaviour=site.behaviour,
        )  # fmt: skip
    return Made(text, described, site, cases)


def run_from(made: Made, name: str) -> Run:
    """Return a run as its sensors tell it, without a file."""
    told = made.trace(name)
    crankcase = told.suction_pa if told.crankcase_pa is None else told.crankcase_pa
    reset = np.zeros_like(told.running)
    return run_of(Trace(name, 0.0, told.time_ms, told.oil_pa, told.suction_pa, crankcase, told.running, reset))


def _description(draw: Draw, foams: bool) -> str:
    evaporating, condensing = draw.between(-18.0, -3.0), draw.between(24.0, 38.0)
    return f"""name = "made"

[compressor]
displacement = "{3600 * draw.log_between(0.01, 0.08):.1f} m3/h"
rated_speed = "{draw.one_of((1450, 1750))} rpm"
clearance = {draw.between(0.03, 0.05):.3f}
healthy_net_pressure = ["100 kPa", "200 kPa"]

[oil]
grade = {draw.one_of((32, 46, 68))}
behaviour = "{"foaming" if foams else "still"}"

[refrigerant]
name = "{draw.one_of(REFRIGERANTS)}"

[site]
evaporating = "{evaporating:.1f} C"
condensing = "{condensing:.1f} C"
"""


def _hidden(draw: Draw, described: MachineFile, foams: bool) -> Site:
    """Draw what the machine really is, with sensors that may have errors but tell no untruth that grows."""
    site = described.site(draw, FOAMING if foams else STILL)
    while site.chain.fault_s < NEVER_S:
        site = described.site(draw, FOAMING if foams else STILL)
    return unlike(draw, site, foams=foams)


def unlike(draw: Draw, site: Site, *, foams: bool) -> Site:
    """Draw a site whose pump, oil and behaviour are others, the behaviour wider than any trace of `lubetrip synth` has it."""
    oil = {name: _drawn(draw, *_narrowed(*ends)) for name, ends in OF_OIL[foams].items()}
    pump = {name: getattr(site.machine, name) * _drawn(draw, *_narrowed(*ends)) for name, ends in OF_MACHINE.items()}
    behaviour = {}
    for name in HIDDEN:
        told = TABLE[name]
        behaviour[name] = min(max(getattr(site.behaviour, name) * draw.log_between(*FACTOR), told.low), told.high)
    return replace(
        site,
        oil=replace(site.oil, **oil),
        machine=replace(site.machine, **pump),
        behaviour=replace(site.behaviour, **behaviour),
    )


def _do(name: str, draw: Draw, site: Site, plan: Schedule, at_s: float) -> None:
    if name == BENCH:
        plan.change(Channel.SUCTION_VALVE, at_s, 0.0, draw.between(2.0, 6.0))
        plan.change(Channel.SUCTION_VALVE, at_s + draw.between(60.0, 240.0), 1.0, 3.0)
    elif name == THROTTLED:
        wanted = draw.between(0.3, 0.5) * site.suction_pa
        plan.change(Channel.SUCTION_VALVE, at_s, site.throttle_opening(plan, wanted), draw.between(2.0, 20.0))
        plan.change(Channel.SUCTION_VALVE, at_s + draw.between(300.0, 600.0), 1.0, 5.0)
    else:
        plan.change(Channel.LIQUID_VALVE, at_s, draw.between(0.0, 0.002), 1.0)


def _drawn(draw: Draw, low: float, high: float) -> float:
    return draw.log_between(low, high) if low > 0.0 and high > 3.0 * low else draw.between(low, high)


def _narrowed(low: float, high: float) -> tuple[float, float]:
    if low > 0.0 and high > 3.0 * low:
        middle, half = np.sqrt(low * high), (high / low) ** (0.5 * WITHIN)
        return float(middle / half), float(middle * half)
    middle, half = 0.5 * (low + high), 0.5 * WITHIN * (high - low)
    return middle - half, middle + half
