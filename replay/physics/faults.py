"""Families that are meant to end in damage unless the machine is stopped. What comes of each, the physics says."""

import math
from collections.abc import Callable

from replay.physics.constants import REFERENCE_VISCOSITY_PA_S
from replay.physics.drawing import FOAMING, HEATER_K, STILL, Draw, Site, draw_site
from replay.physics.duty import made, ordinary_duty
from replay.physics.model import Start
from replay.physics.schedule import Channel
from replay.physics.simulate import Case

HEALTHY_S = (120.0, 420.0)  # undisturbed running before a fault
LONG_S = 2400.0  # starved unloaded bearings last up to about half an hour in the optimistic journal
LOADED_S = 720.0  # starved loaded ones up to about 7
RELOAD_AFTER_S = (60.0, 720.0)  # in a vacuum: short of what trips an integral, and beyond


def deep_suction_pa(draw: Draw, site: Site) -> float:
    """Draw a suction pressure under which a pump that has lost prime stays dry, above the limiting vacuum."""
    limit = site.limiting_vacuum_pa
    return draw.between(1.25 * limit, max(0.9 * site.dry_pump_limit_pa, 1.4 * limit))


def standing_sump(draw: Draw, site: Site) -> Start:
    """Return the sump of a machine that has stood with its heater on."""
    return site.rested(site.ambient_c + HEATER_K, draw.between(0.6, 0.95))


def suction_valve_shut(draw: Draw) -> Case:
    """Shut the suction valve within seconds, for good or until several minutes later."""
    site = draw_site(draw, STILL)
    at_s = draw.between(*HEALTHY_S)
    plan = site.schedule().change(Channel.SUCTION_VALVE, at_s, 0.0, draw.between(1.0, 6.0))
    if draw.happens(0.4):
        plan.change(Channel.SUCTION_VALVE, at_s + draw.between(420.0, 620.0), 1.0, draw.between(1.0, 5.0))
    return made(site, plan, at_s + LONG_S)


def liquid_solenoid_stuck(draw: Draw) -> Case:
    """Close the liquid solenoid while the machine runs on: the evaporator is pumped empty into a vacuum."""
    site = draw_site(draw, STILL)
    at_s = draw.between(*HEALTHY_S)
    plan = site.schedule().change(Channel.LIQUID_VALVE, at_s, draw.between(0.0, 0.002), 0.5)
    return made(site, plan, at_s + LONG_S)


def expansion_valve_stuck(draw: Draw) -> Case:
    """Let the expansion valve close to a leak that holds suction in a deep vacuum."""
    site = draw_site(draw, STILL)
    at_s = draw.between(*HEALTHY_S)
    plan = site.schedule()
    opening = site.liquid_opening(plan, deep_suction_pa(draw, site))
    plan.change(Channel.LIQUID_VALVE, at_s, opening, draw.between(5.0, 60.0))
    return made(site, plan, at_s + LONG_S)


def liquid_valve_left_shut(draw: Draw) -> Case:
    """Start a machine after service with the liquid valve still shut."""
    site = draw_site(draw, STILL)
    at_s = draw.between(20.0, 60.0)
    plan = site.schedule(running=False).change(Channel.LIQUID_VALVE, 0.0, 0.0).change(Channel.RUN, at_s, 1.0)
    return made(site, plan, at_s + LONG_S, standing_sump(draw, site))


def long_pump_down(draw: Draw) -> Case:
    """Pump down with a low-pressure switch that does not stop the machine; the liquid valve seeps."""
    site = draw_site(draw, STILL)
    at_s = draw.between(*HEALTHY_S)
    plan = site.schedule().change(Channel.LIQUID_VALVE, at_s, 0.05, draw.between(20.0, 60.0))
    plan.change(Channel.LIQUID_VALVE, at_s + 90.0, draw.between(0.0, 0.002), 5.0)
    return made(site, plan, at_s + LONG_S)


def suction_throttled(draw: Draw) -> Case:
    """Throttle suction, from a deep vacuum up to about atmospheric pressure, and leave it so."""
    site = draw_site(draw, STILL)
    at_s = draw.between(*HEALTHY_S)
    plan = site.schedule()
    wanted = draw.between(101e3, 80e3) if draw.happens(0.3) else deep_suction_pa(draw, site)
    plan.change(
        Channel.SUCTION_VALVE,
        at_s,
        site.throttle_opening(plan, wanted),
        draw.between(2.0, 20.0),
    )
    return made(site, plan, at_s + LONG_S)


def oil_lost_slowly(draw: Draw) -> Case:
    """Lose the oil charge at an even rate over 15 to 40 minutes."""
    site = draw_site(draw)
    at_s, lost_s = draw.between(*HEALTHY_S), draw.between(900.0, 2400.0)
    rate = site.machine.oil_charge_m3 * site.oil.density_kg_m3 / lost_s
    return made(site, site.schedule().change(Channel.OIL_LEAK_KG_S, at_s, rate), at_s + lost_s + LOADED_S)


def flooded_start_foaming_on(draw: Draw) -> Case:
    """Start flooded with half the oil out in the system, the valve hardly open, liquid coming: the oil stays a foam.

    Foam over the brim leaves with the gas, and nothing brings the oil back at so little flow.
    """
    site = draw_site(draw, FOAMING)
    at_s, coming_s = draw.between(20.0, 60.0), draw.between(800.0, 1000.0)
    start = Start(site.ambient_c + draw.between(0.0, 8.0), draw.between(0.30, 0.40), draw.between(0.35, 0.5))
    charge = site.machine.oil_charge_m3 * site.oil.density_kg_m3
    plan = site.schedule(running=False).change(Channel.RUN, at_s, 1.0)
    plan.change(Channel.LIQUID_VALVE, 0.0, draw.between(0.02, 0.08))
    plan.change(Channel.LIQUID_VALVE, at_s + coming_s, 1.0, 30.0)
    plan.change(Channel.LIQUID_KG_S, at_s, draw.between(1.8, 2.5) * charge / coming_s)
    plan.change(Channel.LIQUID_KG_S, at_s + coming_s, 0.0)
    return made(site, plan, at_s + coming_s + LOADED_S, start)


def screen_clogging(draw: Draw) -> Case:
    """Clog the oil suction screen over 8 to 25 minutes."""
    site = draw_site(draw)
    at_s, over_s = draw.between(*HEALTHY_S), draw.between(480.0, 1500.0)
    plan = site.schedule().change(Channel.SCREEN_CLOG, at_s, draw.between(0.85, 0.92), over_s)
    plan.change(Channel.SCREEN_CLOG, at_s + over_s, 0.998, 0.3 * over_s)
    return made(site, plan, at_s + 1.3 * over_s + LOADED_S)


def pump_drive_broken(draw: Draw) -> Case:
    """Break the drive of the oil pump."""
    site = draw_site(draw)
    at_s = draw.between(*HEALTHY_S)
    return made(site, site.schedule().change(Channel.PUMP_DRIVE, at_s, 0.0), at_s + LOADED_S)


def relief_stuck_open(draw: Draw) -> Case:
    """Open the relief valve wide, never to close."""
    site = draw_site(draw)
    at_s = draw.between(*HEALTHY_S)
    plan = site.schedule().change(Channel.RELIEF_STUCK, at_s, draw.between(0.85, 1.0), draw.between(0.2, 5.0))
    return made(site, plan, at_s + LOADED_S)


def repeated_starved_spells(draw: Draw) -> Case:
    """Shut suction again and again, and open it for a moment too short for the oil to reach the journals."""
    site = draw_site(draw, STILL)
    plan = site.schedule()
    moment = draw.between(*HEALTHY_S)
    for _ in range(10):
        plan.change(Channel.SUCTION_VALVE, moment, 0.0, 1.0)
        moment += draw.between(200.0, 300.0)
        plan.change(Channel.SUCTION_VALVE, moment, 1.0, 1.0)
        moment += draw.between(4.0, 7.0)
    return made(site, plan, moment + 60.0)


def reload_before_film(draw: Draw) -> Case:
    """Starve the bearings in a vacuum behind a shut suction valve, then let suction come back within seconds."""
    site = draw_site(draw, STILL)
    at_s = draw.between(*HEALTHY_S)
    plan = site.schedule().change(Channel.SUCTION_VALVE, at_s, 0.0, draw.between(1.0, 3.0))
    back_s = at_s + draw.between(*RELOAD_AFTER_S)
    plan.change(Channel.SUCTION_VALVE, back_s, 1.0, draw.between(0.5, 3.0))
    return made(site, plan, back_s + LOADED_S)


def reload_by_degrees(draw: Draw) -> Case:
    """Starve the bearings in a vacuum, then feed the evaporator again: suction comes back over tens of seconds."""
    site = draw_site(draw, STILL)
    at_s = draw.between(*HEALTHY_S)
    plan = site.schedule().change(Channel.LIQUID_VALVE, at_s, draw.between(0.0, 0.002), 1.0)
    back_s = at_s + draw.between(*RELOAD_AFTER_S)
    plan.change(Channel.LIQUID_VALVE, back_s, draw.between(0.3, 1.0), draw.between(10.0, 60.0))
    return made(site, plan, back_s + LOADED_S)


def foaming_oil_lost(draw: Draw) -> Case:
    """Shut suction on a foaming oil behind a dirty screen, which lets enough oil through but in a vacuum."""
    site = draw_site(draw, FOAMING)
    at_s = draw.between(*HEALTHY_S)
    drop_pa = site.behaviour.inlet_share * site.suction_pa / draw.between(1.02, 1.25)
    clean_pa = site.behaviour.screen_drop_pa * site.oil_viscosity_pa_s / REFERENCE_VISCOSITY_PA_S
    plan = site.schedule().change(Channel.SCREEN_CLOG, 0.0, 1.0 - math.sqrt(clean_pa / drop_pa))
    plan.change(Channel.SUCTION_VALVE, at_s, 0.0, draw.between(1.0, 6.0))
    return made(site, plan, at_s + LONG_S)


def oil_drawn_to_neighbour(draw: Draw) -> Case:
    """Lose oil within a minute or two to a neighbour on the same crankcase line, which does not stop."""
    site = draw_site(draw)
    at_s, over_s = draw.between(*HEALTHY_S), draw.between(30.0, 150.0)
    rate = draw.between(0.82, 0.95) * site.machine.oil_charge_m3 * site.oil.density_kg_m3 / over_s
    plan = site.schedule().change(Channel.OIL_LEAK_KG_S, at_s, rate).change(Channel.OIL_LEAK_KG_S, at_s + over_s, 0.0)
    return made(site, plan, at_s + over_s + LOADED_S)


def two_faults_in_a_day(draw: Draw) -> Case:
    """Lose suction for too long, and about an hour after that the oil pump: two windows in one trace."""
    site = draw_site(draw, STILL)
    plan = site.schedule()
    at_s = draw.between(*HEALTHY_S)
    back_s = at_s + draw.between(600.0, 900.0)
    plan.change(Channel.SUCTION_VALVE, at_s, 0.0, draw.between(1.0, 6.0)).change(
        Channel.SUCTION_VALVE, back_s, 1.0, 2.0
    )
    second_s = back_s + draw.between(2700.0, 4500.0)
    ordinary_duty(draw, site, plan, back_s + 600.0, second_s)
    plan.change(Channel.PUMP_DRIVE, second_s, 0.0)
    return made(site, plan, second_s + LOADED_S)


def oil_sensor_stuck(draw: Draw) -> Case:
    """Hold the oil sensor at a healthy reading; within a minute the pump's drive breaks."""
    return _pump_fails_unseen(
        draw, draw.between(-60.0, -2.0), lambda site, at_s: site.with_oil_sensor(stuck_s=(at_s, 1e9))
    )


def oil_sensor_drifting(draw: Draw) -> Case:
    """Let the oil sensor read ever higher; within a minute the pump's drive breaks."""
    drift_pa_s = draw.between(120.0, 400.0)
    return _pump_fails_unseen(
        draw,
        draw.between(-60.0, 0.0),
        lambda site, at_s: site.with_oil_sensor(drift_from_s=at_s, drift_pa_s=drift_pa_s),
    )


def oil_sensor_loop_fails(draw: Draw) -> Case:
    """Break the pump's drive and, in the same mishap, break or short the oil sensor's loop."""
    loop = draw.one_of(("broken_s", "shorted_s"))
    return _pump_fails_unseen(
        draw, draw.between(1.0, 30.0), lambda site, at_s: site.with_oil_sensor(**{loop: (at_s, 1e9)})
    )


def _pump_fails_unseen(draw: Draw, after_s: float, spoil: Callable[[Site, float], Site]) -> Case:
    """Return a broken pump drive with an oil sensor that is spoilt after_s later (negative: before)."""
    site = draw_site(draw)
    broken_s = draw.between(*HEALTHY_S)
    plan = site.schedule().change(Channel.PUMP_DRIVE, broken_s, 0.0)
    return made(spoil(site, broken_s + after_s), plan, broken_s + LOADED_S)


def rotation_reversed(draw: Draw) -> Case:
    """Start a machine whose motor turns the wrong way round."""
    site = draw_site(draw)
    at_s = draw.between(20.0, 60.0)
    plan = site.schedule(running=False).change(Channel.ROTATION, 0.0, -1.0).change(Channel.RUN, at_s, 1.0)
    return made(site, plan, at_s + LOADED_S, standing_sump(draw, site))
