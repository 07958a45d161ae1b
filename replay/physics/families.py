"""Families of traces and their labels. The label is the physics' own: what the bearings suffered, and from when on.

must_trip     all three journals fail within the trace. earliest_s: the starved spell begins, or a sensor
              fails before it; deadline_s: the pessimistic journal fails, less what it takes to stop.
ride_through  none fails, and the trace does not end in a starved spell.
undecided     some fail and some do not, or the end is open.

A family's name says what was meant; a trace that turns out otherwise is labelled as it turned out.
"""

import zlib
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from replay.physics import faults, harmless
from replay.physics import layout as at
from replay.physics.drawing import Draw
from replay.physics.sensors import NEVER_S
from replay.physics.simulate import Case, Result, random_of_trace, simulate, simulate_pieces

STOPPING_ALLOWANCE_S = 3.0  # contactor, coasting down and one late sample
HARMLESS_S = 900.0  # length of a harmless trace unless hours are given
OPEN_END_RESERVE = 0.8  # a trace that ends starved with less than this reserve left has an open end

FaultFamily = Callable[[Draw], Case]
HarmlessFamily = Callable[[Draw, float], Case]

FAULTS: dict[str, FaultFamily] = {
    "suction-valve-shut": faults.suction_valve_shut,
    "liquid-solenoid-stuck": faults.liquid_solenoid_stuck,
    "expansion-valve-stuck": faults.expansion_valve_stuck,
    "liquid-valve-left-shut": faults.liquid_valve_left_shut,
    "long-pump-down": faults.long_pump_down,
    "suction-throttled": faults.suction_throttled,
    "oil-lost-slowly": faults.oil_lost_slowly,
    "flooded-start-oil-carried-out": faults.flooded_start_oil_carried_out,
    "screen-clogging": faults.screen_clogging,
    "pump-drive-broken": faults.pump_drive_broken,
    "relief-stuck-open": faults.relief_stuck_open,
    "repeated-starved-spells": faults.repeated_starved_spells,
    "reload-before-film": faults.reload_before_film,
    "oil-sensor-stuck": faults.oil_sensor_stuck,
    "oil-sensor-drifting": faults.oil_sensor_drifting,
    "oil-sensor-open": faults.oil_sensor_open,
    "oil-sensor-shorted": faults.oil_sensor_shorted,
    "rotation-reversed": faults.rotation_reversed,
}
HARMLESS: dict[str, HarmlessFamily] = {
    "normal-start": harmless.normal_start,
    "flooded-start-that-clears": harmless.flooded_start_that_clears,
    "pump-down-and-stop": harmless.pump_down_and_stop,
    "service-valve-shut-briefly": harmless.service_valve_shut_briefly,
    "foaming-oil-recovers": harmless.foaming_oil_recovers,
    "throttled-foaming-oil": harmless.throttled_foaming_oil,
    "unloader-steps": harmless.unloader_steps,
    "defrost-swings": harmless.defrost_swings,
    "speed-ramps": harmless.speed_ramps,
    "cold-start-thick-oil": harmless.cold_start_thick_oil,
    "noisy-sensors": harmless.noisy_sensors,
    "lagging-sensors": harmless.lagging_sensors,
    "offset-sensors": harmless.offset_sensors,
    "short-dropouts": harmless.short_dropouts,
    "power-dip": harmless.power_dip,
}
FAMILIES: Mapping[str, FaultFamily | HarmlessFamily] = {**FAULTS, **HARMLESS}


@dataclass(frozen=True)
class SynthTrace:
    """A synthesised trace as a library holds it, or a stretch of one.

    label: one of {'must_trip': {'earliest_s', 'deadline_s'}}, {'ride_through': True}, {'undecided': True}.
    Arrays of one length: time_ms int64 from 0; pressures int64 Pa, NO_READING where none came; running uint8;
    temperature and speed float64.
    """

    id: str
    family: str
    machine: str
    oil: str
    origin: str
    label: dict[str, Any]
    time_ms: NDArray[np.int64]
    oil_pa: NDArray[np.int64]
    suction_pa: NDArray[np.int64]
    crankcase_pa: NDArray[np.int64] | None
    running: NDArray[np.uint8]
    oil_temperature_c: NDArray[np.float64]
    speed_rpm: NDArray[np.float64]


def case_of(family: str, index: int, seed: int, hours: float | None = None) -> Case:
    """Return the case of one trace: the index-th of a family under a seed.

    hours: length of a harmless trace, at least that of `HARMLESS_S`; a fault's trace is as long as the fault needs.
    Raises KeyError for an unknown family. Families do not share random numbers, nor do traces.
    """
    key = (zlib.crc32(family.encode()), index)
    draw = Draw(random_of_trace(seed, (*key, 0)))
    if family in FAULTS:
        case = FAULTS[family](draw)
    else:
        case = HARMLESS[family](draw, HARMLESS_S if hours is None else max(HARMLESS_S, 3600.0 * hours))
    return replace(case, seed=seed, key=(*key, 1))


def label_of(result: Result, sensor_fault_s: float = NEVER_S) -> dict[str, Any]:
    """Return the label of a simulated trace, from its bearings alone.

    A sensor that failed before the bearings were starved moves earliest_s there: to stop on it was right.
    """
    damage = result.damage
    if damage.certainty == "certain" and damage.damage_s is not None and damage.starved_s is not None:
        deadline = damage.damage_s - STOPPING_ALLOWANCE_S
        if deadline > damage.starved_s:
            return {
                "must_trip": {
                    "earliest_s": round(min(damage.starved_s, sensor_fault_s), 1),
                    "deadline_s": round(deadline, 1),
                }
            }
        return {"undecided": True}
    if damage.certainty == "possible" or _ends_starved(result):
        return {"undecided": True}
    return {"ride_through": True}


def _ends_starved(result: Result) -> bool:
    """Tell whether a trace ends running below the floor pressure on a film already drained in part."""
    starved = result.running[-1] and result.net_oil_pa[-1] < result.floor_pa[-1]
    return bool(starved and result.rows[-1, at.R_RESERVE_LOW] < OPEN_END_RESERVE)


def generate(family: str, index: int, seed: int, hours: float | None = None) -> SynthTrace:
    """Simulate and label one trace; see `case_of`. Same arguments, same bytes."""
    case = case_of(family, index, seed, hours)
    return trace_of(family, index, case, simulate(case))


def generate_pieces(family: str, index: int, seed: int, hours: float | None = None) -> Iterator[SynthTrace]:
    """Yield what `generate` returns in stretches of bounded size; the label of the last is that of the trace."""
    case = case_of(family, index, seed, hours)
    for result in simulate_pieces(case):
        yield trace_of(family, index, case, result)


def trace_of(family: str, index: int, case: Case, result: Result) -> SynthTrace:
    """Return a simulated case as a trace of a library, labelled."""
    name = f"{family}-{index:05d}"
    return SynthTrace(
        id=name,
        family=family,
        machine=case.machine.name,
        oil=case.oil.name,
        origin=f"synthetic: seed {case.seed}, scenario {name}, {case.refrigerant.name}",
        label=label_of(result, case.chain.fault_s),
        time_ms=result.time_ms,
        oil_pa=result.oil_pa,
        suction_pa=result.suction_pa,
        crankcase_pa=result.crankcase_pa,
        running=result.running,
        oil_temperature_c=result.oil_temperature_c,
        speed_rpm=result.speed_rpm,
    )
