"""The machine obeys: physics and protection in one loop, and what becomes of the bearings.

An open-loop score says when the logic would have stopped a machine. Here the
machine is stopped, stands, is started again and may be locked out, and the
physics says whether its bearings lived. The same machine without a protection
is simulated beside it, with the same random numbers.
"""

import functools
from collections import deque
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from replay.engine import engine_named
from replay.engine.obeying import RUN_MS
from replay.engine.workers import Progress, quiet, workers
from replay.library.given import GivenSettings, settings_of
from replay.physics.families import case_of
from replay.physics.simulate import Certainty, simulate_pieces
from replay.settings import Settings
from replay.synth.libraries import Recipe
from replay.synth.loop import LOCKOUTS, NEVER_MS, RESTARTS, Running

SCHEMA = "lubetrip-closed-loop/1"


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


def course(wanted: Recipe, settings: Settings, which: tuple[str, int]) -> Course:
    """Run one trace of a recipe (family, number) with the protection in the loop, and once without it."""
    family, index = which
    case = case_of(family, index, wanted.seed, wanted.hours, **wanted.options)
    (end,) = deque(simulate_pieces(case), maxlen=1)
    machine = Running(case, settings)
    stops_ms = []
    while not machine.run(NEVER_MS):
        stops_ms.append(machine.last_tick_ms)
    return Course(
        id=f"{family}-{index:05d}",
        family=family,
        unprotected=end.damage_certainty,
        protected=machine.damage.certainty,
        first_stop_s=stops_ms[0] / 1000 if stops_ms else None,
        stops=len(stops_ms),
        restarts=int(machine.counts[RESTARTS]),
        locked_out=bool(machine.counts[LOCKOUTS]),
        least_reserve=round(float(machine.least[0]), 3),
        run_hours=round(int(machine.carry[RUN_MS]) / 3.6e6, 6),
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
