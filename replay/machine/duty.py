"""What a machine file says of its machine's duty, and of what befalls it how often: tables `[duty]` and `[faults]`.

What is left out stands at the assumed defaults of `replay.physics.days.Duty` and `replay.physics.befalling`.
"""

from collections.abc import Mapping
from typing import Any

from replay.ground.shape import Read, UnfitError, number, one_of, switch, whole
from replay.ground.units import UnitError, duration_ms
from replay.machine.word import Word
from replay.physics.befalling import PER_YEAR
from replay.physics.days import CONTROLS, Duty

USUAL = Duty()
PAIR = 2
MOST_PER_YEAR = 1000.0
LEAST_CYCLE_S = 330.0  # below it there is no room for running, pumping down and standing


def _span(least_s: float, per_s: float) -> Read:
    """Return what reads two durations, the shorter first, as so many of a unit of per_s."""

    def read(value: Any) -> tuple[float, float]:
        if not isinstance(value, list) or len(value) != PAIR:
            raise UnfitError("must be two durations, the shorter first")
        try:
            low, high = (duration_ms(one) / 1000.0 for one in value)
        except UnitError as error:
            raise UnfitError(str(error)) from None
        if not least_s <= low <= high:
            raise UnfitError("must be two durations, the shorter first")
        return low / per_s, high / per_s

    return read


def _hours(value: Any) -> float:
    try:
        return duration_ms(value) / 3.6e6
    except UnitError as error:
        raise UnfitError(str(error)) from None


def _row(key: str, read: Read, accepted: str, text: str, example: str) -> Word:
    return Word("duty", key, read, accepted, "", f"{text}; if left out: {example}", example)


_SHARE, _KELVIN, _COUNT = number(0.0, 1.0), number(0.0, 20.0), number(0.0, 1000.0)
# fmt: off
DUTY = (
    Word("duty", "control", one_of(*CONTROLS), ", ".join(CONTROLS), "",
         "how it follows the load; if left out: by unloading where it has any, by speed where its drive varies it",
         '"unloading"'),
    _row("load_share", _SHARE, "0 to 1", "share of the time it has to run, yearly mean", f"{USUAL.load_share}"),
    _row("season_swing", _SHARE, "0 to 1", "swing of that share over the year: up in summer, down in winter",
         f"{USUAL.season_swing}"),
    _row("day_swing", _SHARE, "0 to 1", "its swing over the day: up in the afternoon, down at night",
         f"{USUAL.day_swing}"),
    _row("cycle_s", _span(LEAST_CYCLE_S, 1.0), "two durations from 330 s on", "time from start to start",
         '["20 min", "60 min"]'),
    _row("pump_down_share", _SHARE, "0 to 1", "share of the stops that pump down", f"{USUAL.pump_down_share}"),
    _row("condensing_season_k", _KELVIN, "0 to 20", "swing of the condensing temperature over the year, K",
         f"{USUAL.condensing_season_k}"),
    _row("condensing_day_k", _KELVIN, "0 to 20", "its swing over the day, K", f"{USUAL.condensing_day_k}"),
    _row("condensing_weather_k", _KELVIN, "0 to 20", "its change from day to day, K", f"{USUAL.condensing_weather_k}"),
    _row("room_season_k", _KELVIN, "0 to 20", "swing of the machine room temperature over the year, K",
         f"{USUAL.room_season_k}"),
    _row("room_least_c", number(-30.0, 40.0), "-30 to 40", "lowest temperature of the machine room, degrees C",
         f"{USUAL.room_least_c}"),
    _row("defrosts_per_day", whole(0, 24), "0 to 24", "hot-gas defrosts a day", f"{USUAL.defrosts_per_day}"),
    _row("defrost_minutes_apart", number(30.0, 1440.0), "30 to 1440", "minutes between two defrosts",
         f"{USUAL.defrost_minutes_apart}"),
    _row("steps_per_hour", number(0.0, 30.0), "0 to 30", "unloader steps or changes of speed while it runs",
         f"{USUAL.steps_per_hour}"),
    _row("neighbours", whole(0, 20), "0 to 20", "machines on the same suction line", f"{USUAL.neighbours}"),
    _row("neighbour_changes_per_hour", number(0.0, 30.0), "0 to 30", "starts and stops of each per hour",
         f"{USUAL.neighbour_changes_per_hour}"),
    _row("neighbour_share", number(0.0, 0.3), "0 to 0.3", "share by which each of them moves suction pressure",
         f"{USUAL.neighbour_share}"),
    _row("standstills_per_year", number(0.0, 300.0), "0 to 300", "standstills beyond cycling: weekends, an empty store",
         f"{USUAL.standstills_per_year}"),
    _row("standstill_h", _span(0.0, 3600.0), "two durations", "how long each lasts", '["8 h", "60 h"]'),
    _row("heater", switch, "true or false", "whether the crankcase heater is on meanwhile", "true"),
    _row("callout_h", _hours, "a duration", "time until somebody resets a lockout", '"4 h"'),
    _row("repair_h", _hours, "a duration", "downtime for a bearing repair", '"72 h"'),
)
# fmt: on
# What each family does to a machine, for the reader of its file.
HAPPENS = {
    "floating-head": "head pressure floats down and up as condenser fans cycle on a cool day",
    "unloader-steps": "cylinders unload and load in quick turn, by thirds or halves",
    "power-dip": "the contactor drops for a moment in a dip of the supply, and closes again",
    "pump-down-in-time": "a pump-down deep into a vacuum, the low-pressure switch set low or slow, that stops in time",
    "short-dropouts": "oil and suction readings are lost for a second or two",
    "low-ambient-start": "a start on a cold morning: thick oil, and a head that stays low until the condenser is warm",
    "speed-ramps": "the drive ramps between half and rated speed, or over what it can do",
    "expansion-valve-hunts": "the expansion valve closes to a trickle and opens again within minutes",
    "start-without-heater": "a start after a night or a weekend without crankcase heater, the expansion valve late",
    "low-voltage-start": "a start on a weak supply or a soft starter: 4 to 20 s to full speed",
    "service-valve-shut-briefly": "the suction service valve is shut for some ten seconds, as for a gauge check",
    "liquid-slug": "the machine swallows liquid refrigerant for some seconds: a tenth to a third of its oil's mass",
    "oil-returns-in-a-slug": "oil stays out in the system for minutes and comes back at once, with liquid refrigerant",
    "level-shifts": "oil goes to a neighbour on the crankcase line, and comes back when that one stops",
    "flooded-start-that-clears": "a start with a warm sump into which refrigerant has run; the foam clears",
    "suction-throttled-for-a-while": "suction is throttled to about 0 psi gauge for some minutes",
    "suction-reopened-in-time": "suction is shut for 30 to 90 s on an oil that does not foam; longer may hurt bearings",
    "foaming-oil-recovers": "suction is shut for some minutes on a foaming oil, which recovers in the vacuum",
    "speed-low-for-a-while": "the drive runs down to where the pump hardly holds its pressure, and up again",
    "screen-bypass": "the oil suction screen clogs until its bypass opens",
    "valve-plate-broken": "a broken valve plate takes a cylinder bank's capacity; hot gas warms the sump",
    "oil-sensor-fails-alone": "the oil pressure sensor of a sound machine breaks, shorts, freezes or drifts",
    "suction-sensor-fails-alone": "the suction pressure sensor of a sound machine breaks, shorts, freezes or drifts",
    "liquid-solenoid-stuck": "the liquid solenoid closes while the machine runs on: the evaporator is pumped empty",
    "suction-valve-shut": "the suction valve is shut within seconds, for good or for several minutes",
    "expansion-valve-stuck": "the expansion valve sticks almost shut: suction stays in a deep vacuum",
    "long-pump-down": "a pump-down that does not end: the low-pressure switch fails, the liquid valve seeps",
    "oil-lost-slowly": "the oil charge is lost at an even rate over 15 to 40 minutes",
    "liquid-valve-left-shut": "a start after service with the liquid valve still shut",
    "suction-throttled": "suction is throttled, to a deep vacuum or up to about atmospheric pressure, and left so",
    "oil-drawn-to-neighbour": "oil goes within a minute or two to a neighbour on the crankcase line, which runs on",
    "flooded-start-foaming-on": "a flooded start with half the oil out in the system and liquid coming: it foams on",
    "screen-clogging": "the oil suction screen clogs over 8 to 25 minutes",
    "reload-before-film": "bearings starve in a vacuum behind a shut suction valve; suction is back within seconds",
    "reload-by-degrees": "bearings starve in a vacuum; the evaporator is fed again, suction back in tens of seconds",
    "foaming-oil-lost": "suction is shut on a foaming oil behind a dirty screen, which starves the pump in the vacuum",
    "pump-drive-broken": "the drive of the oil pump breaks",
    "relief-stuck-open": "the oil pressure relief valve sticks wide open",
    "rotation-reversed": "a start with the motor turning the wrong way round",
    "repeated-starved-spells": "suction is shut again and again, and opened too briefly for oil to reach the journals",
    "oil-sensor-stuck": "the oil pressure sensor sticks at a healthy reading; within a minute the pump drive breaks",
    "oil-sensor-drifting": "the oil pressure sensor drifts upwards; within a minute the pump drive breaks",
    "oil-sensor-loop-fails": "the pump drive breaks, and with it the oil pressure sensor's loop opens or shorts",
}
FAULTS = tuple(
    Word(
        "faults",
        family,
        number(0.0, MOST_PER_YEAR),
        f"0 to {MOST_PER_YEAR:g}",
        "",
        f"{HAPPENS[family]}: times a year; if left out: {rate:g}",
        f"{rate:g}",
    )
    for family, rate in PER_YEAR.items()
)


def duty_of(stated: Mapping[str, Any], *, unloads: bool, varies: bool) -> Duty:
    """Return the duty that a machine file states; unloads, varies: what its machine can do."""
    given = {row.key: stated[row.path] for row in DUTY if row.path in stated}
    control = "speed" if varies else "unloading" if unloads else "cycling"
    return Duty(**{"control": control, **given})


def per_year_of(stated: Mapping[str, Any], left_out: Mapping[str, str]) -> dict[str, float]:
    """Return how often each family befalls the machine in a year; never those that make no sense on it."""
    rates = {row.key: float(stated.get(row.path, PER_YEAR[row.key])) for row in FAULTS}
    return {family: rate for family, rate in rates.items() if family not in left_out}
