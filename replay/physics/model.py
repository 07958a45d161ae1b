"""From a machine, an oil, a refrigerant and a schedule to the kernel's parameters and first state."""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from replay.physics import constants as c
from replay.physics import layout as at
from replay.physics.arithmetic import power
from replay.physics.behaviour import USUAL, Behaviour
from replay.physics.crankshaft import floor_pressure_pa, mean_effective_pressure_pa
from replay.physics.gas import volumetric_efficiency
from replay.physics.journal import films_of, least_sommerfeld
from replay.physics.kernel import compiled_advance
from replay.physics.machines import Machine, Oil, Refrigerant
from replay.physics.schedule import Schedule
from replay.physics.sump import henry_pressure_pa
from replay.physics.tables import LOG_PRESSURE_PER_FRACTION
from replay.physics.viscosity import ZERO_CELSIUS_K, walther_constants

STEP_S = 0.1
SLOW_S = 0.5  # how often viscosity and solubility follow the sump's temperature and dilution
UNREAD = -1.0  # no segment of the schedule has been read
SETTLE_S = 30.0  # a trace that begins running has run this long before its first sample


@dataclass(frozen=True)
class Start:
    """The sump at the first sample. dissolved_fraction None: in equilibrium with the pressure over it."""

    oil_temperature_c: float = 45.0
    dissolved_fraction: float | None = None
    level: float = 1.0  # liquid volume, share of the charge
    film_reserve: float = 1.0


def solubility_table(oil: Oil, refrigerant: Refrigerant) -> NDArray[np.float64]:
    """Return ln(p_eq/w) in ln Pa over the table's temperatures (rows) and mass fractions (columns).

    Raises ValueError for a pair without published solubility.
    """
    if oil.solubility:
        return np.array(oil.solubility)
    pair = (refrigerant.name, oil.ester)
    if pair not in LOG_PRESSURE_PER_FRACTION:
        raise ValueError(f"no solubility table for {refrigerant.name} in {oil.name} ({oil.ester})")
    return np.array(LOG_PRESSURE_PER_FRACTION[pair])


@lru_cache(4096)  # a machine file draws an oil of its own for each trace
def equilibrium_fraction(oil: Oil, refrigerant: Refrigerant, temperature_c: float, pressure_pa: float) -> float:
    """Return the mass fraction (-) of refrigerant in the oil at rest at this temperature and pressure."""
    table = solubility_table(oil, refrigerant)
    low, high = 0.0, c.LARGEST_FRACTION
    for _ in range(50):
        middle = 0.5 * (low + high)
        if middle * henry_pressure_pa(table, temperature_c + ZERO_CELSIUS_K, middle) < pressure_pa:
            low = middle
        else:
            high = middle
    return 0.5 * (low + high)


def parameters(
    machine: Machine,
    oil: Oil,
    refrigerant: Refrigerant,
    schedule: Schedule,
    step_s: float = STEP_S,
    behaviour: Behaviour = USUAL,
) -> NDArray[np.float64]:
    """Return the kernel's parameters, in the order of `layout`; step_s divides SLOW_S."""
    p = np.zeros(at.PARAMETERS)
    p[at.P_STEP_S] = step_s
    p[at.P_SLOW_STEPS] = round(SLOW_S / step_s)
    p[at.P_RATED_RPM] = machine.rated_speed_rpm
    for name, place in at.BEHAVIOUR.items():
        value = getattr(behaviour, name)
        p[place : place + np.size(value)] = value
    _set_gas(p, machine, refrigerant, schedule, behaviour)
    _set_oil(p, machine, oil, refrigerant)
    _set_pump(p, machine, oil, behaviour)
    _set_bearing(p, machine, behaviour)
    return p


def _set_gas(
    p: NDArray[np.float64], machine: Machine, refrigerant: Refrigerant, schedule: Schedule, behaviour: Behaviour
) -> None:
    suction, discharge, k = schedule.design_suction_pa, schedule.discharge_pa, refrigerant.isentropic_exponent
    rt = c.GAS_CONSTANT_J_KMOL_K / refrigerant.molar_mass_g_mol * behaviour.gas_temperature_k
    ratio = discharge / suction
    volume_ratio = power(ratio, 1.0 / k)
    efficiency = volumetric_efficiency(machine.clearance_ratio, volume_ratio)
    if efficiency <= 0.0:
        raise ValueError(f"{machine.name} moves no gas between {suction:.0f} and {discharge:.0f} Pa")
    flow = machine.displacement_m3_s / rt * efficiency * suction
    p[at.P_GAS_RT] = rt
    p[at.P_EXPONENT] = k
    p[at.P_CLEARANCE] = machine.clearance_ratio
    p[at.P_SWEEP_FLOW] = machine.displacement_m3_s / rt
    p[at.P_DESIGN_FLOW] = flow
    p[at.P_EVAPORATOR_CAPACITY] = machine.evaporator_volume_m3 / rt
    p[at.P_CRANKCASE_CAPACITY] = machine.crankcase_volume_m3 / rt
    p[at.P_VALVE_CONDUCTANCE] = flow / (behaviour.valve_drop * suction)
    p[at.P_LOAD_CONDUCTANCE] = flow / (schedule.load_pa - (1.0 + behaviour.valve_drop) * suction)
    p[at.P_BLOW_BY] = behaviour.blow_by_share * flow / (discharge - suction)
    p[at.P_VENT] = behaviour.vent_drop * suction / (0.1 * flow)
    p[at.P_RATED_MEP] = mean_effective_pressure_pa(suction, ratio, volume_ratio, k, efficiency)


def _set_oil(p: NDArray[np.float64], machine: Machine, oil: Oil, refrigerant: Refrigerant) -> None:
    p[at.P_OIL_DENSITY] = oil.density_kg_m3
    p[at.P_LIQUID_DENSITY] = refrigerant.liquid_density_kg_m3
    p[at.P_LIQUID_VISCOSITY] = refrigerant.liquid_viscosity_mm2_s
    p[at.P_WALTHER_A], p[at.P_WALTHER_B] = walther_constants(oil.viscosity_40_mm2_s, oil.viscosity_100_mm2_s)
    p[at.P_OIL_CHARGE_M3] = machine.oil_charge_m3
    p[at.P_FOAM_SHARE] = oil.foam_share
    p[at.P_FOAM_LIFE_S] = oil.foam_life_s
    p[at.P_RELEASE_S] = oil.release_time_s
    p[at.P_ABSORPTION_S] = oil.absorption_time_s
    p[at.P_HELD_FRACTION] = oil.held_volumes * c.ATMOSPHERE_PA / (p[at.P_GAS_RT] * oil.density_kg_m3)
    p[at.P_BOIL_S] = oil.boil_time_s
    p[at.P_GATHERING] = oil.gathering
    p[at.P_TOUCHING] = oil.touching_void / (1.0 - oil.touching_void)


def _set_pump(p: NDArray[np.float64], machine: Machine, oil: Oil, behaviour: Behaviour) -> None:
    sweep, mu, net = machine.pump_sweep_m3_s, c.REFERENCE_VISCOSITY_PA_S, behaviour.healthy_net_pa
    floor = floor_pressure_pa(
        machine.drilling_inlet_m, machine.drilling_outlet_m, oil.density_kg_m3, machine.rated_speed_rpm
    )
    leakage = behaviour.leakage_share * sweep * mu
    surplus = 1.0 - behaviour.leakage_share - behaviour.slip_share
    setting = net / (1.0 + surplus * behaviour.relief_span)
    p[at.P_PUMP_SWEEP] = sweep
    p[at.P_POCKET_M3] = machine.inlet_pocket_m3
    p[at.P_LIFT_PA] = machine.inlet_lift_pa
    p[at.P_DRILLING_INLET] = machine.drilling_inlet_m
    p[at.P_DRILLING_OUTLET] = machine.drilling_outlet_m
    p[at.P_RELIEF_PA] = setting
    p[at.P_RELIEF_SLOPE] = sweep / (behaviour.relief_span * setting)
    p[at.P_MAIN_LEAK] = (1.0 - behaviour.pin_share) * leakage / net
    p[at.P_PIN_LEAK] = behaviour.pin_share * leakage / (net - floor)
    p[at.P_SLIP] = behaviour.slip_share * sweep * mu / net
    p[at.P_SCREEN] = behaviour.screen_drop_pa / (mu * sweep)
    p[at.P_STUCK_SLOPE] = sweep / behaviour.stuck_relief_pa


def _set_bearing(p: NDArray[np.float64], machine: Machine, behaviour: Behaviour) -> None:
    ratio = machine.journal_radius_m / machine.journal_clearance_m
    area = 2.0 * machine.journal_radius_m * machine.journal_length_m
    rated_load = machine.piston_area_per_pin_m2 * p[at.P_RATED_MEP]
    p[at.P_SOMMERFELD_SCALE] = ratio * ratio * machine.rated_speed_rpm / 60.0 * area / rated_load
    for column in range(at.COLUMNS):
        least = least_sommerfeld(machine.length_to_diameter, behaviour.least_film_ratio[column])
        p[at.P_LEAST_SOMMERFELD + column] = least
    numbers, flows = films_of(machine.length_to_diameter)
    p[at.P_FILM_S : at.P_FILM_S + at.FILM_POINTS] = numbers
    p[at.P_FILM_FLOW : at.P_FILM_FLOW + at.FILM_POINTS] = flows


def throttle_opening(
    machine: Machine, refrigerant: Refrigerant, schedule: Schedule, suction_pa: float, behaviour: Behaviour = USUAL
) -> float:
    """Return the opening (0..1) of the suction valve that brings suction to suction_pa at full capacity and speed.

    Steady flow through load, valve and pistons; the oil's own gas is left out. Raises ValueError for a suction
    pressure above the design point or below the limiting vacuum.
    """
    p, flow = _steady_flow(machine, refrigerant, schedule, suction_pa, behaviour)
    evaporator = schedule.load_pa - flow / p[at.P_LOAD_CONDUCTANCE]
    drop = min(evaporator - suction_pa, (1.0 - c.CHOKE_RATIO) * evaporator)
    if flow <= 0.0 or drop <= 0.0:
        raise ValueError(f"{machine.name} has no steady suction of {suction_pa:.0f} Pa with this schedule")
    return min(float(flow / (p[at.P_VALVE_CONDUCTANCE] * drop)), 1.0)


def liquid_opening(
    machine: Machine, refrigerant: Refrigerant, schedule: Schedule, suction_pa: float, behaviour: Behaviour = USUAL
) -> float:
    """Return the opening (0..1) of the liquid valve that holds suction at suction_pa; as `throttle_opening`.

    Raises ValueError where no steady flow holds it.
    """
    p, flow = _steady_flow(machine, refrigerant, schedule, suction_pa, behaviour)
    evaporator = suction_pa + max(flow, 0.0) / p[at.P_VALVE_CONDUCTANCE]
    if flow <= 0.0 or evaporator >= schedule.load_pa:
        raise ValueError(f"{machine.name} has no steady suction of {suction_pa:.0f} Pa with this schedule")
    return min(float(flow / (p[at.P_LOAD_CONDUCTANCE] * (schedule.load_pa - evaporator))), 1.0)


def _steady_flow(
    machine: Machine, refrigerant: Refrigerant, schedule: Schedule, suction_pa: float, behaviour: Behaviour
) -> tuple[NDArray[np.float64], float]:
    """Return the gas parameters and what has to be fed (kg/s) to hold suction_pa, negative below the limit."""
    p = np.zeros(at.PARAMETERS)
    _set_gas(p, machine, refrigerant, schedule, behaviour)
    volume_ratio = power(schedule.discharge_pa / suction_pa, 1.0 / p[at.P_EXPONENT])
    speed = schedule.speed_rpm / machine.rated_speed_rpm
    flow = speed * p[at.P_SWEEP_FLOW] * suction_pa * volumetric_efficiency(machine.clearance_ratio, volume_ratio)
    flow = flow - p[at.P_BLOW_BY] * (schedule.discharge_pa - suction_pa)
    return p, float(flow)


def first_state(
    machine: Machine, oil: Oil, refrigerant: Refrigerant, schedule: Schedule, start: Start, p: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Return the kernel's state at the first sample, float64[STATES], settled if the schedule begins running.

    p: of `parameters`. Raises ValueError for more dissolved refrigerant than the solubility table holds.
    """
    s = np.zeros(at.STATES)
    pressure = schedule.design_suction_pa if schedule.running else schedule.load_pa
    fraction = start.dissolved_fraction
    if fraction is None:
        fraction = equilibrium_fraction(oil, refrigerant, start.oil_temperature_c, pressure)
    if not 0.0 <= fraction <= c.LARGEST_FRACTION:
        raise ValueError(f"dissolved refrigerant must be 0 .. {c.LARGEST_FRACTION} of the mass, got {fraction}")
    volume = start.level * machine.oil_charge_m3
    mass = volume / (fraction / refrigerant.liquid_density_kg_m3 + (1.0 - fraction) / oil.density_kg_m3)
    s[at.S_EVAPORATOR_PA] = pressure * (1.0 + (p[at.B_VALVE_DROP] if schedule.running else 0.0))
    s[at.S_SUCTION_PA] = s[at.S_CRANKCASE_PA] = pressure
    s[at.S_OIL_KG] = (1.0 - fraction) * mass
    s[at.S_DISSOLVED_KG] = fraction * mass
    s[at.S_SYSTEM_OIL_KG] = p[at.B_CIRCULATION] * p[at.P_DESIGN_FLOW] * p[at.B_RETURN_TIME_S]
    s[at.S_SYSTEM_DISSOLVED_KG] = s[at.S_SYSTEM_OIL_KG] * fraction / (1.0 - fraction)
    s[at.S_PRIMED] = s[at.S_FILL] = s[at.S_WET] = 1.0
    s[at.S_TEMPERATURE_K] = start.oil_temperature_c + ZERO_CELSIUS_K
    s[at.S_SPEED] = schedule.speed_rpm / machine.rated_speed_rpm if schedule.running else 0.0
    s[at.S_NET_PA] = p[at.B_HEALTHY_NET_PA] if schedule.running else 0.0
    s[at.S_LEVEL] = start.level
    clear_bearing(s, 1.0)
    s[at.S_SEGMENT] = UNREAD
    if schedule.running:
        s[at.S_STEP] = -round(SETTLE_S / p[at.P_STEP_S])
        compiled_advance(
            s,
            p,
            solubility_table(oil, refrigerant),
            *schedule.arrays(),
            1.0,
            0.0,
            np.zeros(at.INPUTS),
            np.zeros(at.RECORDS),
        )
        s[at.S_STEP] = 0.0
    s[at.S_SEGMENT] = UNREAD
    clear_bearing(s, start.film_reserve)
    return s


def clear_bearing(s: NDArray[np.float64], reserve: float) -> None:
    """Make the journals cool, with this oil left, and forget every spell."""
    s[at.S_ONSET_S] = at.NEVER
    s[at.S_RESERVE : at.S_HEAT] = reserve
    s[at.S_HEAT : at.S_PASSAGE] = 0.0
    s[at.S_PASSAGE : at.S_WHOLE] = 1.0
    s[at.S_WHOLE] = 1.0 if reserve >= 1.0 else 0.0
    s[at.S_SPELLS] = s[at.S_SPOILING] = s[at.S_SPELL_HEAT] = s[at.S_MOST_HEAT] = 0.0
    s[at.S_SPELL_RESERVE] = s[at.S_LEAST_RESERVE] = 1.0
