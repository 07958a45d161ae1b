"""Families of traces and their labels. The label is the physics' own: what the bearings suffered, and from when on.

must_trip     a starved spell spoils all three columns of journals. earliest_s: the spell begins, or a sensor fails
              before it; deadline_s, likely_s, latest_s: the pessimistic, the likely and the optimistic journal is
              spoilt, less what it takes to stop: the honest band. A list of windows where several spells do: each is
              judged as if the machine had been stopped in time at those before.
ride_through  no journal is spoilt or came near it, and the trace does not end in a starved spell.
undecided     in any one spell some are spoilt and some are not, or the pessimistic journals came near harm and got
              away; or the end is open; or the label hangs on the step of the integration.

A family's name says what was meant; a trace that turns out otherwise is labelled as it turned out.
"""

import zlib
from collections import deque
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from replay.physics import faults, harmless, starting
from replay.physics import layout as at
from replay.physics.agreeing import agreed
from replay.physics.drawing import FOAMING, STILL, Draw, Sites
from replay.physics.duty import Harmless, Length
from replay.physics.sensors import NEVER_S
from replay.physics.simulate import Case, Result, random_of_trace, simulate, simulate_pieces

STOPPING_ALLOWANCE_S = 3.0  # contactor, coasting down and one late sample
HARMLESS_S = 900.0  # length of a harmless trace unless hours are given
UPSETS_PER_HOUR = 4.0  # of harmless traces, unless the recipe says otherwise: one in that length
LEAST_UPSETS_PER_HOUR = 0.001
MOST_UPSETS_PER_HOUR = 4.0  # so that each is over before the next
FIELD_PERIODS_MS = (5000, 10000, 15000, 30000, 60000)  # of loggers that are there to be read, not to protect
LOGGERS = ("controller", "field")
OPEN_END_RESERVE = 0.8  # a trace that ends starved with less than this reserve left has an open end
EDGE_RESERVE = 0.40  # assumed: with less oil left, surfaces of a pessimistic journal touch under a full load,
EDGE_HEAT = 0.3  # and one hotter than this share of what spoils it has come near harm
CLEAR_RESERVE, CLEAR_HEAT = 0.8, 0.1  # what stays this side of both is not integrated again at half the step
# Edges of windows may move by this as the step is halved, or by this share of the time since the window's beginning.
TOLERANCE_S, TOLERANCE = 2.0, 0.02
HALVINGS = 3  # of the step, before a label is given up as hanging on it

FaultFamily = Callable[[Draw], Case]
HarmlessFamily = Callable[[Draw, Length], Case]

FAULTS: dict[str, FaultFamily] = {
    "suction-valve-shut": faults.suction_valve_shut,
    "liquid-solenoid-stuck": faults.liquid_solenoid_stuck,
    "expansion-valve-stuck": faults.expansion_valve_stuck,
    "liquid-valve-left-shut": faults.liquid_valve_left_shut,
    "long-pump-down": faults.long_pump_down,
    "suction-throttled": faults.suction_throttled,
    "foaming-oil-lost": faults.foaming_oil_lost,
    "repeated-starved-spells": faults.repeated_starved_spells,
    "reload-before-film": faults.reload_before_film,
    "reload-by-degrees": faults.reload_by_degrees,
    "oil-lost-slowly": faults.oil_lost_slowly,
    "oil-drawn-to-neighbour": faults.oil_drawn_to_neighbour,
    "flooded-start-foaming-on": faults.flooded_start_foaming_on,
    "screen-clogging": faults.screen_clogging,
    "pump-drive-broken": faults.pump_drive_broken,
    "relief-stuck-open": faults.relief_stuck_open,
    "rotation-reversed": faults.rotation_reversed,
    "oil-sensor-stuck": faults.oil_sensor_stuck,
    "oil-sensor-drifting": faults.oil_sensor_drifting,
    "oil-sensor-loop-fails": faults.oil_sensor_loop_fails,
    "two-faults-in-a-day": faults.two_faults_in_a_day,
}
HARMLESS: dict[str, HarmlessFamily] = {
    "normal-start": starting.out_of(starting.with_heater, starting.start).case,
    "start-without-heater": starting.out_of(starting.without_heater, starting.start_unfed).case,
    "flooded-start-that-clears": starting.out_of(starting.flooded, starting.start_with_liquid, FOAMING).case,
    "low-ambient-start": starting.out_of(starting.bitter_cold, starting.start_in_the_cold).case,
    "low-voltage-start": starting.out_of(starting.with_heater, starting.start_on_low_voltage).case,
    "power-dip": Harmless(starting.power_dip, 70.0).case,
    "pump-down-and-stop": Harmless(harmless.pump_down_and_stop, 370.0).case,
    "pump-down-in-time": Harmless(harmless.pump_down_in_time, 480.0).case,
    "service-valve-shut-briefly": Harmless(harmless.service_valve_shut_briefly, 80.0).case,
    "suction-reopened-in-time": Harmless(harmless.suction_reopened_in_time, 220.0, STILL).case,
    "expansion-valve-hunts": Harmless(harmless.expansion_valve_hunts, 260.0).case,
    "foaming-oil-recovers": Harmless(harmless.foaming_oil_recovers, 550.0, FOAMING).case,
    "suction-throttled-for-a-while": Harmless(harmless.suction_throttled_for_a_while, 470.0).case,
    "defrost-swings": Harmless(harmless.defrost, 430.0).case,
    "floating-head": Harmless(harmless.floating_head, 490.0).case,
    "unloader-steps": Harmless(harmless.unloader_steps, 280.0).case,
    "speed-ramps": Harmless(harmless.speed_ramps, 400.0).case,
    "speed-low-for-a-while": Harmless(harmless.speed_low_for_a_while, 290.0).case,
    "valve-plate-broken": Harmless(harmless.valve_plate_broken, 490.0).case,
    "liquid-slug": Harmless(harmless.liquid_slug, 270.0).case,
    "oil-returns-in-a-slug": Harmless(harmless.oil_returns_in_a_slug, 330.0).case,
    "level-shifts": Harmless(harmless.level_shifts, 450.0).case,
    "screen-bypass": Harmless(harmless.screen_bypass, 430.0).case,
    "short-dropouts": harmless.short_dropouts,
}
FAMILIES: Mapping[str, FaultFamily | HarmlessFamily] = {**FAULTS, **HARMLESS}


@dataclass(frozen=True)
class SynthTrace:
    """A synthesised trace as a library holds it, or a stretch of one.

    label: one of {'must_trip': window or list of windows}, {'ride_through': True}, {'undecided': True}; a window has
    earliest_s, deadline_s, likely_s and latest_s.
    upsets: (from, to) in s of what was done to a harmless machine that a rule could take for a fault.
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
    upsets: list[tuple[float, float]]


def case_of(
    family: str,
    index: int,
    seed: int,
    hours: float | None = None,
    *,
    upsets_per_hour: float = UPSETS_PER_HOUR,
    loggers: str = LOGGERS[0],
    sites: Sites | None = None,
) -> Case:
    """Return the case of one trace: the index-th of a family under a seed.

    hours: length of a harmless trace, at least that of `HARMLESS_S`; a fault's trace is as long as the fault needs.
    upsets_per_hour: of harmless traces, `LEAST_UPSETS_PER_HOUR` to `MOST_UPSETS_PER_HOUR`. loggers: "controller"
    samples once or twice a second, "field" every 5 to 60 s, too slowly for a protection to judge by. sites: where its
    installation is drawn from, None: the invented ones. Raises KeyError for an unknown family. Families do not share
    random numbers, nor do traces.
    """
    key = (zlib.crc32(family.encode()), index)
    draw = Draw(random_of_trace(seed, (*key, 0)), sites)
    if family in FAULTS:
        case = FAULTS[family](draw)
    else:
        length_s = HARMLESS_S if hours is None else max(HARMLESS_S, 3600.0 * hours)
        case = HARMLESS[family](draw, Length(length_s, 3600.0 / upsets_per_hour))
    if loggers == "field":
        case = replace(case, chain=replace(case.chain, period_ms=draw.one_of(FIELD_PERIODS_MS)))
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
    damage, label = result.damage, label_of(result, case.chain.fault_s)
    if not damage.spells and damage.least_reserve >= CLEAR_RESERVE and damage.most_heat <= CLEAR_HEAT:
        return label
    for halving in range(1, HALVINGS + 1):
        (end,) = deque(simulate_pieces(replace(case, step_s=case.step_s / 2**halving)), maxlen=1)
        finer = label_of(end, case.chain.fault_s)
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


def generate(family: str, index: int, seed: int, hours: float | None = None, **recipe: Any) -> SynthTrace:
    """Simulate and label one trace; see `case_of`. Same arguments, same bytes."""
    case = case_of(family, index, seed, hours, **recipe)
    return trace_of(family, index, case, simulate(case))


def generate_pieces(
    family: str, index: int, seed: int, hours: float | None = None, *, others: Sequence[Sites] = (), **recipe: Any
) -> Iterator[SynthTrace]:
    """Yield what `generate` returns in stretches of bounded size; the last bears the label, those before it none.

    others: sites of other machines that this one may be just as well; the label is what they agree on (`agreed`).
    """
    case = case_of(family, index, seed, hours, **recipe)
    pieces = simulate_pieces(case)
    piece = next(pieces)
    for after in pieces:
        yield _trace(family, index, case, piece, {})
        piece = after
    made = trace_of(family, index, case, piece)
    if others:
        cases = [case_of(family, index, seed, hours, **{**recipe, "sites": sites}) for sites in others]
        ends = (deque(simulate_pieces(its), maxlen=1)[0] for its in cases)
        label, shares = agreed(made.label, [label_of(end, case.chain.fault_s) for end in ends])
        made = replace(made, label=label, origin=f"{made.origin}; {shares}")
    yield made


def trace_of(family: str, index: int, case: Case, result: Result) -> SynthTrace:
    """Return a simulated case as a trace of a library, labelled; result: the trace, or its last piece."""
    label = settled_label(case, result)
    if "ride_through" in label and case.chain.fault_s < NEVER_S:
        label = {"undecided": True}  # a reading was untrue: to stop on it may be right
    return _trace(family, index, case, result, label)


def _trace(family: str, index: int, case: Case, result: Result, label: dict[str, Any]) -> SynthTrace:
    name = f"{family}-{index:05d}"
    told = (
        f"synthetic: seed {case.seed}, scenario {name}, {case.refrigerant.name}",
        *([case.source] if case.source else []),
        *case.chain.errors,
    )
    about = {"machine": case.machine.name, "oil": case.oil.name, "origin": "; ".join(told)}
    return recorded_trace(result, id=name, family=family, label=label, upsets=list(case.upsets), **about)


def recorded_trace(result: Result, **about: Any) -> SynthTrace:
    """Return what was recorded as a trace; about: all else that a trace tells of itself."""
    return SynthTrace(
        time_ms=result.time_ms,
        oil_pa=result.oil_pa,
        suction_pa=result.suction_pa,
        crankcase_pa=result.crankcase_pa,
        running=result.running,
        oil_temperature_c=result.oil_temperature_c,
        speed_rpm=result.speed_rpm,
        **about,
    )
