"""What a machine file says of its machine's duty, and of what befalls it how often: tables `[duty]` and `[faults]`.

What is left out stands at the assumed defaults of `replay.physics.days.Duty` and `replay.physics.befalling`.
"""

from collections.abc import Mapping
from typing import Any

from replay.ground.shape import Read, UnfitError, number, one_of, switch, whole
from replay.ground.units import UnitError, duration_ms
from replay.machine.word import Word
from replay.physics.befalling import PER_YEAR, what_befalls
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
    return Word("duty", key, read, accepted, "", f"{text}; left out: {example}", example)


_SHARE, _KELVIN, _COUNT = number(0.0, 1.0), number(0.0, 20.0), number(0.0, 1000.0)
# fmt: off
DUTY = (
    Word("duty", "control", one_of(*CONTROLS), ", ".join(CONTROLS), "",
         "how it follows the load; left out: by unloading where it has any, by speed where its drive varies it",
         '"unloading"'),
    _row("load_share", _SHARE, "0 to 1", "share of the time it has to run, yearly mean", f"{USUAL.load_share}"),
    _row("season_swing", _SHARE, "0 to 1", "of that share, up in summer and down in winter", f"{USUAL.season_swing}"),
    _row("day_swing", _SHARE, "0 to 1", "likewise, up in the afternoon and down at night", f"{USUAL.day_swing}"),
    _row("cycle_s", _span(LEAST_CYCLE_S, 1.0), "two durations from 330 s on", "from start to start",
         '["20 min", "60 min"]'),
    _row("pump_down_share", _SHARE, "0 to 1", "share of the stops that pump down", f"{USUAL.pump_down_share}"),
    _row("condensing_season_k", _KELVIN, "0 to 20", "condensing temperature, up in summer and down in winter, K",
         f"{USUAL.condensing_season_k}"),
    _row("condensing_day_k", _KELVIN, "0 to 20", "the same over the hours of a day, K", f"{USUAL.condensing_day_k}"),
    _row("condensing_weather_k", _KELVIN, "0 to 20", "the same from day to day, K", f"{USUAL.condensing_weather_k}"),
    _row("room_season_k", _KELVIN, "0 to 20", "the machine room, up in summer and down in winter, K",
         f"{USUAL.room_season_k}"),
    _row("room_least_c", number(-30.0, 40.0), "-30 to 40", "lowest temperature of the machine room, degrees C",
         f"{USUAL.room_least_c}"),
    _row("defrosts_per_day", whole(0, 24), "0 to 24", "hot-gas defrosts a day", f"{USUAL.defrosts_per_day}"),
    _row("defrost_minutes_apart", number(30.0, 1440.0), "30 to 1440", "minutes between two defrosts",
         f"{USUAL.defrost_minutes_apart}"),
    _row("steps_per_hour", number(0.0, 30.0), "0 to 30", "unloader steps or changes of speed while it runs",
         f"{USUAL.steps_per_hour}"),
    _row("neighbours", whole(0, 20), "0 to 20", "machines on the same suction line", f"{USUAL.neighbours}"),
    _row("neighbour_changes_per_hour", number(0.0, 30.0), "0 to 30", "starts and stops of each",
         f"{USUAL.neighbour_changes_per_hour}"),
    _row("neighbour_share", number(0.0, 0.3), "0 to 0.3", "by which one of them moves suction pressure",
         f"{USUAL.neighbour_share}"),
    _row("standstills_per_year", number(0.0, 300.0), "0 to 300", "standstills beyond cycling: weekends, an empty store",
         f"{USUAL.standstills_per_year}"),
    _row("standstill_h", _span(0.0, 3600.0), "two durations", "how long each lasts", '["8 h", "60 h"]'),
    _row("heater", switch, "true or false", "whether the crankcase heater is on meanwhile", "true"),
    _row("callout_h", _hours, "a duration", "until somebody resets a lockout", '"4 h"'),
    _row("repair_h", _hours, "a duration", "down for a bearing repair", '"72 h"'),
)
# fmt: on
FAULTS = tuple(
    Word(
        "faults",
        family,
        number(0.0, MOST_PER_YEAR),
        f"0 to {MOST_PER_YEAR:g}",
        "",
        f"{what_befalls(family)}: times a year; left out: {rate:g}",
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
