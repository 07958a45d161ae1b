"""The files that a maker's engineer has at hand when the story of the guide begins; nothing in them is the demo's.

`described.toml` is what he can state of his machine. What it really is (behaviour, oil, pump, sensors and their errors) is
drawn wider than any trace of `lubetrip synth` has it, and stands in no file. Its bench logger writes bar gauge with decimal commas;
the loggers of five such machines in the field write psig and dates with the month first, an hour at each visit of a year.

    python -m tests.support.story FOLDER
"""

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime, timedelta
from pathlib import Path

import click
import numpy as np

from replay.physics.schedule import Channel, Schedule
from replay.physics.simulate import Case, Result, simulate
from tests.support.made_machines import RUNS, Made, made_machine

SEED = 8207
ATMOSPHERE_PA = 101325 * (1 - 2.25577e-5 * 12.0) ** 5.25588  # at 12 m, restated
PSI_PA = 6894.757
PERIOD_MS = 500  # of what is simulated; the bench logs each second, the field every other
UNITS = ("A", "B", "C", "D", "E")
VISITS, VISIT_S = 26, 3600.0  # in a year, and the length of each log
STARVED, TOUCHED = (("C", 8), ("C", 17)), ("E", 13)  # unit and visit in which something happens
DESCRIBED = """name = "ice works 4-82"

[compressor]
bore = "82 mm"
stroke = "64 mm"
cylinders = 4
rated_speed = "1460 rpm"
healthy_net_pressure = ["150 kPa", "190 kPa"]

[oil]
grade = 46
behaviour = "still"

[refrigerant]
name = "R404A"

[site]
altitude = "12 m"
evaporating = ["-18 C", "-12 C"]
condensing = ["28 C", "36 C"]

[origin]
published = ["compressor.bore", "compressor.stroke"]

[[inspection]]
what = "bench, suction valve shut and opened again; big ends looked at after it"
ran_dry = "2.5 min"
reloaded = true
found = "scuffed"
"""


def story_machine() -> Made:
    """Return the machine of the story: what is stated of it, and what it is."""
    return made_machine(SEED, foaming=False, described_as=DESCRIBED)


def write_story(folder: Path, visits: Sequence[int] = range(VISITS), bench_s: float = 900.0) -> None:
    """Write the files of the story: `described.toml`, `bench/`, a folder of `field/` for each unit, and `teardown.txt`."""
    made = story_machine()
    (folder / "bench").mkdir(parents=True)
    (folder / "described.toml").write_text(DESCRIBED, encoding="utf-8")
    for name, file in zip(RUNS, ("valve-shut", "throttled", "solenoid-shut"), strict=True):
        (folder / "bench" / f"{file}.csv").write_text(_bench(simulate(made.cases[name]), bench_s), encoding="utf-8")
    for number, unit in enumerate(UNITS):
        (folder / "field" / unit).mkdir(parents=True)
        for visit in visits:
            result, begin = _visit(made, number, visit)
            (folder / "field" / unit / f"{begin:%Y%m%d}.csv").write_text(_field(result, begin), encoding="utf-8")
    (folder / "teardown.txt").write_text(
        "Unit C, opened after a year: big end 3 wiped, 2 scored. Oil clean, strainer clean.\n", encoding="utf-8"
    )


def _bench(result: Result, length_s: float) -> str:
    lines = ["Prüfstand 2;;;", "Zeit [s];Öldruck [bar(g)];Saugdruck [bar(g)];Läuft"]
    for each in range(0, int(1000 * length_s) // PERIOD_MS, 1000 // PERIOD_MS):
        oil, suction = (
            f"{1e-5 * (pressure - ATMOSPHERE_PA):.3f}".replace(".", ",")
            for pressure in (result.oil_pa[each], result.suction_pa[each])
        )
        lines.append(f"{result.time_ms[each] // 1000};{oil};{suction};{int(result.running[each])}")
    return "\n".join(lines) + "\n"


def _field(result: Result, begin: datetime) -> str:
    lines = ["Date,Time,Oil disch psig,Suction psig,Motor"]
    for each in range(0, len(result.time_ms), 2000 // PERIOD_MS):
        at = begin + timedelta(milliseconds=int(result.time_ms[each]))
        oil, suction = ((p[each] - ATMOSPHERE_PA) / PSI_PA for p in (result.oil_pa, result.suction_pa))
        lines.append(f"{at:%m/%d/%Y},{at:%H:%M:%S},{oil:.2f},{suction:.2f},{'RUN' if result.running[each] else 'OFF'}")
    return "\n".join(lines) + "\n"


def _visit(made: Made, number: int, visit: int) -> tuple[Result, datetime]:
    """Simulate an hour of a unit: duty, and in three of them something else."""
    site, unit = made.site, UNITS[number]
    random = np.random.default_rng((SEED, number, visit))
    plan = site.schedule()
    if (unit, visit) in STARVED:
        _starved_and_loaded(plan, random)
    elif (unit, visit) == TOUCHED:
        _valve_touched(plan, random)
    else:
        _duty(plan, random)
    chain = replace(site.chain, oil=replace(site.chain.oil, offset_pa=float(random.normal(0.0, 1e3))))
    case = Case(
        site.machine, site.oil, site.refrigerant, plan, VISIT_S, site.start, chain, SEED, (number, visit),
        behaviour=site.behaviour,
    )  # fmt: skip
    begin = datetime(2025, 1, 7 + number, 9, 12) + timedelta(days=14 * visit, minutes=17 * number)  # noqa: DTZ001
    return simulate(case), begin


def _duty(plan: Schedule, random: np.random.Generator) -> None:
    """Stop once by pump-down, stand, and start again."""
    at_s = float(random.uniform(0.3, 0.5)) * VISIT_S
    plan.change(Channel.RUN, at_s, 0.0).change(Channel.RUN, at_s + 240.0, 1.0)


def _starved_and_loaded(plan: Schedule, random: np.random.Generator) -> None:
    """Let the liquid solenoid fail shut, and somebody open it again."""
    at_s = 0.25 * VISIT_S
    plan.change(Channel.LIQUID_VALVE, at_s, 0.0005, 1.0)
    plan.change(Channel.LIQUID_VALVE, at_s + float(random.uniform(480.0, 540.0)), 1.0, 2.0)


def _valve_touched(plan: Schedule, random: np.random.Generator) -> None:
    """Let a hand close the suction valve for the time of a look at the gauge."""
    at_s = 0.4 * VISIT_S
    plan.change(Channel.SUCTION_VALVE, at_s, 0.0, 4.0)
    plan.change(Channel.SUCTION_VALVE, at_s + float(random.uniform(20.0, 30.0)), 1.0, 4.0)


@click.command()
@click.argument("folder", type=click.Path(path_type=Path))
def main(folder: Path) -> None:
    """Write the files of the story into FOLDER."""
    write_story(folder)


if __name__ == "__main__":
    main()
