"""Families that a machine comes through by itself. If the physics says otherwise, its word counts, not the name's.

Each takes the length of its trace in seconds; what happens in it is repeated until then, where it can be.
"""

from dataclasses import replace

from replay.physics.drawing import ANY, FOAMING, Draw, Site, draw_site
from replay.physics.faults import made
from replay.physics.model import Start, equilibrium_fraction, liquid_opening, throttle_opening
from replay.physics.schedule import Channel
from replay.physics.simulate import Case

QUIET_S = 90.0  # after the last event, so that every trace ends at rest


def normal_start(draw: Draw, length_s: float) -> Case:
    """Start a machine that has stood overnight, heater on: the sump has taken up what the standing pressure gives."""
    site = draw_site(draw)
    plan = site.schedule(running=False).change(Channel.RUN, draw.between(20.0, 90.0), 1.0)
    rest = equilibrium_fraction(site.oil, site.refrigerant, site.oil_temperature_c, site.load_pa)
    return made(site, plan, length_s, Start(site.oil_temperature_c, rest * draw.between(0.7, 1.0)))


def flooded_start_that_clears(draw: Draw, length_s: float) -> Case:
    """Start with much refrigerant in a warm sump, some liquid still coming; it boils off."""
    site = draw_site(draw, FOAMING)
    at_s = draw.between(20.0, 60.0)
    plan = site.schedule(running=False).change(Channel.RUN, at_s, 1.0)
    liquid = 0.02 * site.machine.oil_charge_m3 * site.oil.density_kg_m3 / 30.0
    plan.change(Channel.LIQUID_KG_S, at_s, liquid * draw.between(0.3, 1.0))
    plan.change(Channel.LIQUID_KG_S, at_s + 30.0, 0.0)
    return made(site, plan, length_s, Start(draw.between(25.0, 40.0), draw.between(0.14, 0.26)))


def pump_down_and_stop(draw: Draw, length_s: float) -> Case:
    """Pump down until suction is low, stop, stand, feed again, start: the usual cycle."""
    site = draw_site(draw)
    plan = site.schedule()
    for at_s in draw.moments(draw.between(120.0, 240.0), (700.0, 1500.0), length_s - 420.0):
        low = liquid_opening(site.machine, site.refrigerant, plan, draw.between(0.5, 0.7) * site.suction_pa)
        plan.change(Channel.LIQUID_VALVE, at_s, low, 2.0)
        off_s = at_s + draw.between(15.0, 40.0)
        on_s = off_s + draw.between(120.0, 260.0)
        plan.change(Channel.LIQUID_VALVE, off_s, 0.0, 1.0).change(Channel.RUN, off_s + 1.0, 0.0)
        plan.change(Channel.LIQUID_VALVE, on_s - 5.0, 1.0, 2.0).change(Channel.RUN, on_s, 1.0)
    return made(site, plan, length_s)


def service_valve_shut_briefly(draw: Draw, length_s: float) -> Case:
    """Shut the suction service valve for some ten seconds, as for a gauge check."""
    site = draw_site(draw, ANY)
    plan = site.schedule()
    for at_s in draw.moments(draw.between(120.0, 300.0), (600.0, 1800.0), length_s - QUIET_S):
        plan.change(Channel.SUCTION_VALVE, at_s, 0.0, 1.0)
        plan.change(Channel.SUCTION_VALVE, at_s + draw.between(6.0, 16.0), 1.0, 2.0)
    return made(site, plan, length_s)


def foaming_oil_recovers(draw: Draw, length_s: float) -> Case:
    """Shut suction on a foaming oil: it recovers in the vacuum; reopened after some minutes."""
    site = draw_site(draw, FOAMING)
    at_s = draw.between(120.0, 240.0)
    plan = site.schedule().change(Channel.SUCTION_VALVE, at_s, 0.0, draw.between(1.0, 4.0))
    plan.change(Channel.SUCTION_VALVE, at_s + draw.between(300.0, 480.0), 1.0, draw.between(2.0, 6.0))
    return made(site, plan, length_s)


def throttled_foaming_oil(draw: Draw, length_s: float) -> Case:
    """Throttle suction of a foaming oil to about 0 psi gauge for some minutes."""
    site = draw_site(draw, FOAMING)
    plan = site.schedule()
    at_s = draw.between(120.0, 240.0)
    opening = throttle_opening(site.machine, site.refrigerant, plan, draw.between(98e3, 110e3))
    plan.change(Channel.SUCTION_VALVE, at_s, opening, draw.between(1.0, 5.0))
    plan.change(Channel.SUCTION_VALVE, at_s + draw.between(200.0, 460.0), 1.0, 3.0)
    return made(site, plan, length_s)


def unloader_steps(draw: Draw, length_s: float) -> Case:
    """Unload and load cylinders by thirds or halves."""
    site = draw_site(draw)
    plan = site.schedule()
    for at_s in draw.moments(60.0, (40.0, 240.0), length_s - QUIET_S):
        plan.change(Channel.CAPACITY, at_s, draw.one_of((0.34, 0.5, 0.67, 1.0)), 0.5)
    return made(site, plan, length_s)


def defrost_swings(draw: Draw, length_s: float) -> Case:
    """Swing load and discharge pressure as a hot-gas defrost does."""
    site = draw_site(draw)
    plan = site.schedule()
    for at_s in draw.moments(120.0, (900.0, 1800.0), length_s - 600.0):
        plan.change(Channel.LOAD_PA, at_s, min(1.35 * site.load_pa, 0.95 * site.discharge_pa), draw.between(20.0, 60.0))
        plan.change(Channel.DISCHARGE_PA, at_s, draw.between(0.8, 1.0) * site.discharge_pa, 60.0)
        plan.change(Channel.LOAD_PA, at_s + 300.0, site.load_pa, draw.between(30.0, 120.0))
        plan.change(Channel.DISCHARGE_PA, at_s + 300.0, site.discharge_pa, 60.0)
    return made(site, plan, length_s)


def speed_ramps(draw: Draw, length_s: float) -> Case:
    """Ramp the speed between half and rated speed."""
    site = draw_site(draw)
    plan = site.schedule()
    for at_s in draw.moments(60.0, (90.0, 300.0), length_s - QUIET_S):
        speed_rpm = draw.between(0.55, 1.0) * site.machine.rated_speed_rpm
        plan.change(Channel.SPEED_RPM, at_s, speed_rpm, draw.between(3.0, 30.0))
    return made(site, plan, length_s)


def cold_start_thick_oil(draw: Draw, length_s: float) -> Case:
    """Start with a cold sump that holds little refrigerant: thick oil, slow galleries."""
    site = replace(draw_site(draw), oil_temperature_c=draw.between(4.0, 15.0))
    plan = site.schedule(running=False).change(Channel.RUN, draw.between(20.0, 90.0), 1.0)
    return made(site, plan, length_s, Start(site.oil_temperature_c, draw.between(0.015, 0.045)))


def _steady(draw: Draw, site: Site, length_s: float) -> Case:
    """Return a steady run with some unloading, so that the sensors have something to follow."""
    plan = site.schedule()
    for at_s in draw.moments(120.0, (200.0, 500.0), length_s - QUIET_S):
        plan.change(Channel.CAPACITY, at_s, draw.one_of((0.5, 0.67, 1.0)), 0.5)
    return made(site, plan, length_s)


def noisy_sensors(draw: Draw, length_s: float) -> Case:
    """Read through noise at the limit of the tolerable: 1 to 4 kPa of deviation."""
    return _steady(draw, draw_site(draw).with_both_sensors(noise_pa=draw.between(1e3, 4e3)), length_s)


def lagging_sensors(draw: Draw, length_s: float) -> Case:
    """Read through long impulse lines: 2 to 6 s of lag, on the usual cycle of starts."""
    case = pump_down_and_stop(draw, length_s)
    lag_s = draw.between(2.0, 6.0)
    return replace(
        case,
        chain=replace(
            case.chain, oil=replace(case.chain.oil, lag_s=lag_s), suction=replace(case.chain.suction, lag_s=lag_s)
        ),
    )


def offset_sensors(draw: Draw, length_s: float) -> Case:
    """Read with offsets of up to 12 kPa, opposed, net oil pressure low or high by up to 24."""
    site = draw_site(draw)
    offset = draw.between(-12e3, 12e3)
    chain = replace(
        site.chain,
        oil=replace(site.chain.oil, offset_pa=offset),
        suction=replace(site.chain.suction, offset_pa=-offset),
    )
    return _steady(draw, replace(site, chain=chain), length_s)


def short_dropouts(draw: Draw, length_s: float) -> Case:
    """Lose single readings now and then, and once a stretch of a second or two."""
    site = draw_site(draw)
    at_s = draw.between(60.0, length_s - 60.0)
    return _steady(
        draw,
        site.with_both_sensors(lost_chance=draw.between(0.002, 0.02), lost_s=(at_s, at_s + draw.between(1.0, 2.2))),
        length_s,
    )


def power_dip(draw: Draw, length_s: float) -> Case:
    """Drop the contactor for a moment of a dip in the supply, and close it again."""
    site = draw_site(draw)
    plan = site.schedule()
    for at_s in draw.moments(draw.between(90.0, 240.0), (600.0, 1500.0), length_s - QUIET_S):
        plan.change(Channel.RUN, at_s, 0.0).change(Channel.RUN, at_s + draw.log_between(0.3, 4.0), 1.0)
    return made(site, plan, length_s)
