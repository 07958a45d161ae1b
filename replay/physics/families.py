"""Families of traces and their labels. The label is the physics' own: what the bearings suffered, and from when on.

must_trip     a starved spell spoils all three columns of journals. earliest_s: the spell begins, or a sensor fails before
              it; deadline_s, likely_s, latest_s: the pessimistic, the likely and the optimistic journal is spoilt, less
              what it takes to stop: the honest band. A list of windows where several spells do: each is judged as if the
              machine had been stopped in time at those before.
ride_through  no journal is spoilt or came near it, and the trace does not end in a starved spell.
undecided     in any one spell some are spoilt and some are not, or the pessimistic journals came near harm and got away;
              or the end is open; or the label hangs on the step of the integration.

A family's name says what was meant; a trace that turns out otherwise is labelled as it turned out.
"""

import zlib
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from replay.physics import faults, harmless
from replay.physics import layout as at
from replay.physics.drawing import Draw
from replay.physics.sensors import NEVER_S
from replay.physics.simulate import Case, Result, random_of_trace, simulate

STOPPING_ALLOWANCE_S = 3.0  # contactor, coasting down and one late sample
HARMLESS_S = 900.0  # length of a harmless trace unless hours are given
OPEN_END_RESERVE = 0.8  # a trace that ends starved with less than this reserve left has an open end
EDGE_RESERVE = 0.45  # assumed: a pessimistic journal with less oil left (about a half of its time gone under full load)
EDGE_HEAT = 0.3  # or hotter than this share of what spoils it has come near harm
CLEAR_RESERVE, CLEAR_HEAT = 0.8, 0.1  # what stays this side of both is not integrated again at half the step
TOLERANCE_S, TOLERANCE = (
    2.0,
    0.02,
)  # edges of windows that may move by this, or by this share of their distance from the
# window's beginning, as the step is halved
HALVINGS = 3  # of the step, before a label is given up as hanging on it

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
    """A synthesised trace as a library holds it.

    label: one of {'must_trip': window or list of windows}, {'ride_through': True}, {'undecided': True}; a window has
    earliest_s, deadline_s, likely_s and latest_s.
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
    near = damage.least_reserve < EDGE_RESERVE or damage.most_heat > EDGE_HEAT
    if near or damage.untold or (_ends_starved(result) and not _ends_spoilt(result)):
        return {"undecided": True}
    windows: list[dict[str, float]] = []
    for spell in damage.spells:
        times = [time - STOPPING_ALLOWANCE_S for time in spell.times_s if time is not None]
        if spell.certainty != "certain" or spell.starved_s is None or times[0] <= spell.starved_s:
            return {"undecided": True}
        before_s = windows[-1]["latest_s"] if windows else 0.0
        earliest = sensor_fault_s if before_s <= sensor_fault_s < spell.starved_s else spell.starved_s
        edges = zip(("earliest_s", "deadline_s", "likely_s", "latest_s"), (earliest, *times), strict=True)
        windows.append({name: round(edge, 1) for name, edge in edges})
    if not windows:
        return {"ride_through": True}
    return {"must_trip": windows[0] if len(windows) == 1 else windows}


def _ends_starved(result: Result) -> bool:
    """Tell whether a trace ends running below the floor pressure on a film already drained in part."""
    starved = result.running[-1] and result.net_oil_pa[-1] < result.floor_pa[-1]
    return bool(starved and result.rows[-1, at.R_RESERVE_LOW] < OPEN_END_RESERVE)


def _ends_spoilt(result: Result) -> bool:
    """Tell whether the last spell that spoilt everything was still on at the end of the trace."""
    spells = result.damage.spells
    return bool(spells) and spells[-1].certainty == "certain" and result.damage.unfinished


def settled_label(case: Case, result: Result) -> dict[str, Any]:
    """Return the label of a simulated case that stays as the step is halved; undecided if none does.

    A trace that nowhere came near harm is not simulated again.
    """
    damage = result.damage
    if not damage.spells and damage.least_reserve >= CLEAR_RESERVE and damage.most_heat <= CLEAR_HEAT:
        return label_of(result, case.chain.fault_s)
    label = label_of(result, case.chain.fault_s)
    for halving in range(1, HALVINGS + 1):
        finer = label_of(simulate(replace(case, step_s=case.step_s / 2**halving)), case.chain.fault_s)
        if same_label(label, finer):
            return label
        label = finer
    return {"undecided": True}


def same_label(one: dict[str, Any], other: dict[str, Any]) -> bool:
    """Tell whether two labels are of one kind, with as many windows, no edge further apart than the tolerances."""
    if one.keys() != other.keys():
        return False
    if "must_trip" not in one:
        return True
    pairs = [label["must_trip"] for label in (one, other)]
    windows, others = ([found] if isinstance(found, dict) else found for found in pairs)
    return len(windows) == len(others) and all(
        abs(window[edge] - again[edge]) <= max(TOLERANCE_S, TOLERANCE * (window[edge] - window["earliest_s"]))
        for window, again in zip(windows, others, strict=True)
        for edge in window
    )


def generate(family: str, index: int, seed: int, hours: float | None = None) -> SynthTrace:
    """Simulate and label one trace; see `case_of`. Same arguments, same bytes."""
    case = case_of(family, index, seed, hours)
    return trace_of(family, index, case, simulate(case))


def trace_of(family: str, index: int, case: Case, result: Result) -> SynthTrace:
    """Return a simulated case as a trace of a library, labelled."""
    name = f"{family}-{index:05d}"
    return SynthTrace(
        id=name,
        family=family,
        machine=case.machine.name,
        oil=case.oil.name,
        origin=f"synthetic: seed {case.seed}, scenario {name}, {case.refrigerant.name}",
        label=settled_label(case, result),
        time_ms=result.time_ms,
        oil_pa=result.oil_pa,
        suction_pa=result.suction_pa,
        crankcase_pa=result.crankcase_pa,
        running=result.running,
        oil_temperature_c=result.oil_temperature_c,
        speed_rpm=result.speed_rpm,
    )
