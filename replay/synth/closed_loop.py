"""The machine obeys: physics and protection in one loop, and what becomes of the bearings.

An open-loop score says when the logic would have stopped a machine. Here the
machine is stopped, stands, is started again and may be locked out, and the
physics says whether its bearings lived. The same machine without a protection
is simulated beside it, with the same random numbers.
"""

import functools
from collections import deque
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np

from protect.ranges import INPUTS, NO_READING, OIL_PRESSURE
from replay.engine import engine_named
from replay.engine.portable import Machine
from replay.engine.workers import Progress, quiet, workers
from replay.library.given import GivenSettings, settings_of
from replay.physics import layout
from replay.physics.families import case_of
from replay.physics.sensors import NO_READING as NOTHING_READ
from replay.physics.sensors import SENSOR_STATES, Draws, read_sensor
from replay.physics.simulate import Case, Certainty, Plant, draws_of, simulate_pieces
from replay.settings import Settings
from replay.synth.libraries import Recipe

SCHEMA = "lubetrip-closed-loop/1"
PRESSURES = (layout.R_OIL_PA, layout.R_SUCTION_PA, layout.R_CRANKCASE_PA)


@dataclass(frozen=True)
class Course:
    """One machine under the protection.

    unprotected, protected: damage without and with it ("none", "possible",
    "certain"); first_stop_s, stops: by the protection; restarts: runs after a stop;
    least_reserve: film reserve (0 .. 1) at its lowest.
    """

    id: str
    family: str
    unprotected: Certainty
    protected: Certainty
    first_stop_s: float | None
    stops: int
    restarts: int
    locked_out: bool
    least_reserve: float
    run_hours: float

    @property
    def prevented(self) -> bool:
        """True when damage that was certain without the protection stayed away with it."""
        return self.unprotected == "certain" and self.protected == "none"


def obey(case: Case, settings: Settings) -> tuple[Machine, Plant, float, int]:
    """Run one machine under the protection.

    Returns the logic and the plant at the end, the least film reserve of the
    likely journal, and how often the machine started again after a stop.
    """
    logic, plant = Machine(settings), Plant(case)
    sensors = [sensor for sensor in (case.chain.oil, case.chain.suction, case.chain.crankcase) if sensor]
    channels = [
        (channel, sensor.parameters(), np.zeros(SENSOR_STATES), place)
        for channel, (sensor, place) in enumerate(zip(sensors, PRESSURES, strict=False))
    ]
    least, restarts, stopped, before = 1.0, 0, 0, 0
    for number, time_ms, draws in _samples(case):
        row = plant.advance(time_ms / 1000.0, permission=logic.permitted)
        readings = [
            _admitted(
                read_sensor(
                    sensor,
                    held,
                    row[place],
                    time_ms / 1000.0,
                    draws.gaussian[channel, number],
                    draws.chance[channel, number],
                )
            )
            for channel, sensor, held, place in channels
        ]
        running = int(row[layout.R_RUNNING])
        # Without a sensor at the crankcase the last one is that of suction, which stands for it.
        logic.tick(time_ms, time_ms - before, running, 0, readings[0], readings[1], readings[-1])
        before = time_ms
        least = min(least, float(row[layout.R_RESERVE]))
        if running and len(logic.stops) > stopped and logic.permitted:
            restarts += 1
            stopped = len(logic.stops)
    return logic, plant, least, restarts


def _samples(case: Case) -> Iterator[tuple[int, int, Draws]]:
    """Yield (place in the draws, ms, draws) of each sample of a case."""
    for draws in draws_of(case):
        for number, time_ms in enumerate(draws.time_ms.tolist()):
            yield number, time_ms, draws


def _admitted(reading: int) -> int:
    """Return a reading as the logic takes it: what no sensor can say is no reading."""
    _, _, least, most = INPUTS[OIL_PRESSURE]
    return reading if reading != NOTHING_READ and least <= reading <= most else NO_READING


def course(wanted: Recipe, settings: Settings, which: tuple[str, int]) -> Course:
    """Run one trace of a recipe (family, number) with the protection in the loop, and once without it."""
    family, index = which
    case = case_of(family, index, wanted.seed, wanted.hours, **wanted.options)
    (end,) = deque(simulate_pieces(case), maxlen=1)
    logic, plant, least, restarts = obey(case, settings)
    return Course(
        id=f"{family}-{index:05d}",
        family=family,
        unprotected=end.damage_certainty,
        protected=plant.damage.certainty,
        first_stop_s=logic.stops[0].time_ms / 1000 if logic.stops else None,
        stops=len(logic.stops),
        restarts=restarts,
        locked_out=logic.locked_out,
        least_reserve=round(least, 3),
        run_hours=round(logic.run_ms / 3.6e6, 6),
    )


def summary(courses: Iterable[Course]) -> dict[str, Any]:
    """Count what became of some machines."""
    some = list(courses)
    return {
        "machines": len(some),
        "lost_unprotected": sum(item.unprotected == "certain" for item in some),
        "lost_protected": sum(item.protected == "certain" for item in some),
        "doubtful_protected": sum(item.protected == "possible" for item in some),
        "damage_prevented": sum(item.prevented for item in some),
        "stops": sum(item.stops for item in some),
        "restarts": sum(item.restarts for item in some),
        "lockouts": sum(item.locked_out for item in some),
        "least_reserve": min((item.least_reserve for item in some), default=None),
        "run_hours": round(sum(item.run_hours for item in some), 6),
    }


@dataclass(frozen=True)
class ClosedLoop:
    """What became of all machines of a recipe."""

    recipe: Recipe
    settings: Settings
    courses: tuple[Course, ...]

    def as_json(self) -> dict[str, Any]:
        """Return the report in the form of its schema."""
        families = sorted({item.family for item in self.courses})
        return {
            "schema": SCHEMA,
            "settings": self.settings.as_json(),
            "logic": engine_named("portable").as_json(),
            "recipe": self.recipe.as_table(),
            "machines": [vars(item) for item in self.courses],
            "families": {name: summary(item for item in self.courses if item.family == name) for name in families},
            "totals": summary(self.courses),
        }


def run_closed_loop(
    wanted: Recipe,
    settings: GivenSettings,
    *,
    jobs: int = 1,
    cluster: str | None = None,
    progress: Progress = quiet,
) -> ClosedLoop:
    """Let the machines of a recipe obey the protection, and tell which damage that prevented.

    jobs, cluster: as in `score_library`. The result is a `ClosedLoop`: `courses`, `as_json()`. Raises Refusal.
    """
    checked = settings_of(settings, None, "synth")
    with workers(jobs, cluster) as each, progress(wanted.count, "running") as stage:
        courses = each(functools.partial(course, wanted, checked), wanted.traces(), stage.advance)
    return ClosedLoop(wanted, checked, tuple(courses))
