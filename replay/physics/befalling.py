"""What befalls a machine in a year beside its duty, how often, and the plan of the hours in which it does.

A family of traces (`families`) tells what is done; here it is done to a machine that is there, at a moment of its duty.
Where the family's case begins with a machine that runs, what it changes is laid over the day's plan from the moment on,
and what it leaves alone goes on: the thermostat stops and starts a machine whose pump has broken. Where it begins with
one that stands, the machine is brought into the state that the case begins with.

Every rate is *assumed*: none was found in print by family, and a site's own records stand above all of them.
"""

import functools
import zlib
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from replay.physics.days import DAY_S
from replay.physics.drawing import Draw, Site, draw_site
from replay.physics.duty import LEAD_S, QUIET_S, Harmless, Length, made
from replay.physics.families import FAULTS, HARMLESS, HARMLESS_S
from replay.physics.machines import OILS
from replay.physics.schedule import Plan, Schedule
from replay.physics.sensors import NEVER_S, Sensor, SensorChain
from replay.physics.simulate import Case, random_of_trace

# Times a year and machine. Assumed, all of them.
UPSETS_PER_YEAR: Mapping[str, float] = {
    "floating-head": 50.0,
    "unloader-steps": 50.0,
    "power-dip": 12.0,
    "pump-down-in-time": 6.0,
    "short-dropouts": 4.0,
    "low-ambient-start": 4.0,
    "speed-ramps": 4.0,
    "expansion-valve-hunts": 3.0,
    "start-without-heater": 2.0,
    "low-voltage-start": 2.0,
    "service-valve-shut-briefly": 2.0,
    "liquid-slug": 2.0,
    "oil-returns-in-a-slug": 1.0,
    "level-shifts": 1.0,
    "flooded-start-that-clears": 0.5,
    "suction-throttled-for-a-while": 0.2,
    "suction-reopened-in-time": 0.2,
    "foaming-oil-recovers": 0.2,
    "speed-low-for-a-while": 0.2,
    "screen-bypass": 0.1,
    "valve-plate-broken": 0.05,
}
FAULTS_PER_YEAR: Mapping[str, float] = {
    "liquid-solenoid-stuck": 0.02,
    "suction-valve-shut": 0.02,
    "expansion-valve-stuck": 0.02,
    "long-pump-down": 0.02,
    "oil-lost-slowly": 0.02,
    "liquid-valve-left-shut": 0.01,
    "suction-throttled": 0.01,
    "oil-drawn-to-neighbour": 0.01,
    "flooded-start-foaming-on": 0.01,
    "screen-clogging": 0.01,
    "reload-before-film": 0.005,
    "reload-by-degrees": 0.005,
    "foaming-oil-lost": 0.005,
    "pump-drive-broken": 0.005,
    "relief-stuck-open": 0.003,
    "rotation-reversed": 0.003,
    "repeated-starved-spells": 0.002,
    "oil-sensor-stuck": 0.0005,
    "oil-sensor-drifting": 0.0005,
    "oil-sensor-loop-fails": 0.0005,
}
SENSOR_LONG_S = 1800.0  # that a failed sensor is followed for


def _sensor_fails(channel: str, draw: Draw) -> Case:
    """Break, short, freeze or let drift one sensor of a machine that is well."""
    site = draw_site(draw)
    at_s = draw.between(30.0, 90.0)
    ways = {
        "broken": {"broken_s": (at_s, NEVER_S)},
        "shorted": {"shorted_s": (at_s, NEVER_S)},
        "stuck": {"stuck_s": (at_s, NEVER_S)},
        "drift": {"drift_from_s": at_s, "drift_pa_s": draw.between(-200.0, 200.0)},
    }
    sensor = replace(getattr(site.chain, channel), **ways[draw.one_of(tuple(ways))])  # type: ignore[arg-type] # its own
    return replace(
        made(site, site.schedule(), SENSOR_LONG_S),
        chain=replace(site.chain, **{channel: sensor}),
    )


# What is no family of traces: nothing is wrong with the machine, so no library could say what is right.
SENSORS: Mapping[str, Callable[[Draw], Case]] = {
    "oil-sensor-fails-alone": functools.partial(_sensor_fails, "oil"),
    "suction-sensor-fails-alone": functools.partial(_sensor_fails, "suction"),
}
SENSORS_PER_YEAR: Mapping[str, float] = dict.fromkeys(SENSORS, 0.03)
PER_YEAR: Mapping[str, float] = {**UPSETS_PER_YEAR, **SENSORS_PER_YEAR, **FAULTS_PER_YEAR}


class _OtherOilError(Exception):
    """A family wants an oil that the machine does not have."""


@dataclass(frozen=True)
class Befalling:
    """What befalls a machine: a case whose time 0 is the moment; ends_s: when it is over, of a fault never."""

    family: str
    case: Case
    ends_s: float

    @property
    def at_start(self) -> bool:
        """Whether it begins with a machine that stands, in the case's own state."""
        return not self.case.schedule.running


def befall(family: str, site: Site, seed: int, key: tuple[int, ...]) -> Befalling | None:
    """Draw what a family does to the machine of a site; None where it befalls no machine with such an oil."""

    def this_one(_draw: Draw, oils: Sequence[str]) -> Site:
        if all(OILS[name].foaming != site.oil.foaming for name in oils):
            raise _OtherOilError
        return site

    draw = Draw(random_of_trace(seed, (*key, zlib.crc32(family.encode()))), this_one)
    try:
        if family in FAULTS or family in SENSORS:
            case = (FAULTS[family] if family in FAULTS else SENSORS[family])(draw)
            return Befalling(family, case, NEVER_S)
        case = HARMLESS[family](draw, Length(*2 * (_length_s(family),)))
    except _OtherOilError:
        return None
    return Befalling(family, case, case.upsets[-1][1] if case.upsets else case.duration_s)


def _length_s(family: str) -> float:
    """Return the length of a trace with one upset and no room for other duty beside it."""
    its = getattr(HARMLESS[family], "__self__", None)
    if isinstance(its, Harmless) and its.first is None:
        return LEAD_S + its.longest_s + QUIET_S
    return HARMLESS_S


def laid_over(plan: Schedule, befalling: Befalling, at_s: float) -> Schedule:
    """Return a plan from at_s on, its time beginning anew there, with what befalls the machine laid over it."""
    laid = replace(plan, knots={channel: _from(knots, at_s) for channel, knots in plan.knots.items()})
    for channel, changes in befalling.case.schedule.knots.items():
        if len(changes) == 1:
            continue
        after = [knot for knot in laid.knots[channel] if knot[0] > befalling.ends_s]
        if befalling.ends_s < NEVER_S:
            home = _value(laid.knots[channel], befalling.ends_s)
            ended = max(befalling.ends_s, changes[-1][0])
            after = [(ended, home), *(knot for knot in after if knot[0] > ended)]
        laid.knots[channel] = [*changes, *after]
    return laid


def _from(knots: list[tuple[float, float]], at_s: float) -> list[tuple[float, float]]:
    """Return the knots from a moment on, which becomes 0."""
    return [(0.0, _value(knots, at_s)), *((moment - at_s, value) for moment, value in knots if moment > at_s)]


def _value(knots: list[tuple[float, float]], at_s: float) -> float:
    """Return the value at a moment: of several knots there the last."""
    before = [knot for knot in knots if knot[0] <= at_s]
    after = next((knot for knot in knots if knot[0] > at_s), None)
    if not before or after is None:
        return (before or knots)[-1][1] if before else knots[0][1]
    (left_s, left), (right_s, right) = before[-1], after
    return left + (right - left) * (at_s - left_s) / (right_s - left_s)


def arrays_with(plan: Schedule, *moments_s: float) -> Plan:
    """Return the arrays of a plan with a row at each of these moments too, where nothing changes."""
    times, values, slopes, steady = plan.arrays()
    for moment in sorted(moments_s):
        if moment >= NEVER_S or moment <= times[0] or moment in times:
            continue
        place = int(np.searchsorted(times, moment))
        there = values[place - 1] + slopes[place - 1] * (moment - times[place - 1])
        times = np.insert(times, place, moment)
        values = np.insert(values, place, there, axis=0)
        slopes = np.insert(slopes, place, slopes[place - 1], axis=0)
        steady = np.insert(steady, place, steady[place - 1])
    return times, values, slopes, steady


def arrays_joined(plan: Plan, after: Plan) -> Plan:
    """Return the arrays of a day's plan with those of the next behind them; see `days.joined`."""
    today = plan[0] < DAY_S
    times = np.concatenate([plan[0][today], after[0] + DAY_S])
    values, slopes, steady = (np.concatenate([its[today], then]) for its, then in zip(plan[1:], after[1:], strict=True))
    return times, values, slopes, steady


def moments_of_sensors(chain: SensorChain) -> list[float]:
    """Return when a sensor of a chain begins or ends to tell an untruth, or is lost."""
    found: list[float] = []
    for sensor in (chain.oil, chain.suction, chain.crankcase):
        if isinstance(sensor, Sensor):
            spans = (sensor.stuck_s, sensor.broken_s, sensor.shorted_s, *sensor.lost)
            found += [sensor.drift_from_s, *(moment for span in spans for moment in span)]
    return [moment for moment in found if 0.0 < moment < NEVER_S]
