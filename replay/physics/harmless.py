"""Upsets of a running machine that it comes through. If the physics says otherwise, its word counts, not the name's.

Each does one upset to a plan from a moment on and returns when it began and was over (`duty`); what it changes it
brings back, so that the machine is at its design point again. Starts are in `starting`.
"""

from dataclasses import replace

from replay.physics.drawing import Draw
from replay.physics.duty import Harmless, Length, Scene
from replay.physics.schedule import Channel
from replay.physics.sensors import Span
from replay.physics.simulate import Case

RECOVERY_S = 60.0  # after what was done, until its traces in the oil are gone


# --- suction ------------------------------------------------------------------------------------------------------
def pump_down_and_stop(scene: Scene) -> Span:
    """Pump down until suction is low, stop, stand, feed again, start: the usual cycle."""
    draw, site, plan = scene.draw, scene.site, scene.plan
    low = site.liquid_opening(plan, draw.between(0.5, 0.7) * site.suction_pa)
    plan.change(Channel.LIQUID_VALVE, scene.at_s, low, 2.0)
    return _stop_and_start(scene, scene.at_s + draw.between(15.0, 40.0))


def pump_down_in_time(scene: Scene) -> Span:
    """Pump down deep into a vacuum with a low-pressure switch that is set low or slow, and stop in time."""
    scene.plan.change(Channel.LIQUID_VALVE, scene.at_s, 0.0, 2.0)
    return _stop_and_start(scene, scene.at_s + scene.draw.between(50.0, 150.0))


def _stop_and_start(scene: Scene, off_s: float) -> Span:
    """Stop, stand for some minutes, feed and start; over when the machine has run for a while."""
    on_s = off_s + scene.draw.between(120.0, 260.0)
    scene.plan.change(Channel.LIQUID_VALVE, off_s, 0.0, 1.0).change(Channel.RUN, off_s + 1.0, 0.0)
    scene.plan.change(Channel.LIQUID_VALVE, on_s - 5.0, 1.0, 2.0).change(Channel.RUN, on_s, 1.0)
    return scene.at_s, on_s + RECOVERY_S


def _suction_shut(scene: Scene, to: float, over_s: float, shut_s: float) -> Span:
    """Bring the suction valve to an opening, and open it again after shut_s."""
    scene.plan.change(Channel.SUCTION_VALVE, scene.at_s, to, over_s)
    scene.plan.change(Channel.SUCTION_VALVE, scene.at_s + shut_s, 1.0, 3.0)
    return scene.at_s, scene.at_s + shut_s + RECOVERY_S


def service_valve_shut_briefly(scene: Scene) -> Span:
    """Shut the suction service valve for some ten seconds, as for a gauge check."""
    return _suction_shut(scene, 0.0, 1.0, scene.draw.between(6.0, 16.0))


def suction_reopened_in_time(scene: Scene) -> Span:
    """Shut suction on an oil that does not foam for 30 to 90 s, and open it; later, bearings may be hurt."""
    return _suction_shut(scene, 0.0, scene.draw.between(1.0, 4.0), scene.draw.between(30.0, 90.0))


def foaming_oil_recovers(scene: Scene) -> Span:
    """Shut suction on a foaming oil: it recovers in the vacuum; reopened after some minutes."""
    return _suction_shut(scene, 0.0, scene.draw.between(1.0, 4.0), scene.draw.between(300.0, 480.0))


def suction_throttled_for_a_while(scene: Scene) -> Span:
    """Throttle suction to about 0 psi gauge for some minutes."""
    draw, site = scene.draw, scene.site
    opening = site.throttle_opening(scene.plan, draw.between(90e3, 110e3))
    return _suction_shut(scene, opening, draw.between(1.0, 5.0), draw.between(100.0, 400.0))


def expansion_valve_hunts(scene: Scene) -> Span:
    """Close the expansion valve to a trickle, and open it again within minutes: the evaporator fills over some time."""
    draw = scene.draw
    back_s = scene.at_s + draw.between(60.0, 150.0)
    scene.plan.change(Channel.LIQUID_VALVE, scene.at_s, draw.between(0.0, 0.05), draw.between(5.0, 30.0))
    scene.plan.change(Channel.LIQUID_VALVE, back_s, 1.0, draw.between(10.0, 40.0))
    return scene.at_s, back_s + 40.0 + RECOVERY_S


# --- load, head and speed -----------------------------------------------------------------------------------------
def defrost(scene: Scene) -> Span:
    """Swing load and discharge pressure as a hot-gas defrost does."""
    draw, site, plan, at_s = scene.draw, scene.site, scene.plan, scene.at_s
    plan.change(Channel.LOAD_PA, at_s, min(1.35 * site.load_pa, 0.95 * site.discharge_pa), draw.between(20.0, 60.0))
    plan.change(Channel.DISCHARGE_PA, at_s, draw.between(0.8, 1.0) * site.discharge_pa, 60.0)
    plan.change(Channel.LOAD_PA, at_s + 300.0, site.load_pa, draw.between(30.0, 120.0))
    plan.change(Channel.DISCHARGE_PA, at_s + 300.0, site.discharge_pa, 60.0)
    return at_s, at_s + 420.0


def floating_head(scene: Scene) -> Span:
    """Let the head float down and up again as the fans of the condenser cycle on a cool day."""
    draw, site, plan = scene.draw, scene.site, scene.plan
    moment = scene.at_s
    for _ in range(3):
        low = max(draw.between(0.65, 0.85) * site.discharge_pa, 1.05 * site.load_pa)
        for head in (low, site.discharge_pa):
            plan.change(Channel.DISCHARGE_PA, moment, head, draw.between(10.0, 30.0))
            moment += draw.between(40.0, 80.0)
    return scene.at_s, moment


def unloader_steps(scene: Scene) -> Span:
    """Unload and load cylinders in quick turn by thirds or halves."""
    moment = scene.at_s
    for _ in range(4):
        scene.plan.change(Channel.CAPACITY, moment, scene.draw.one_of(scene.site.unloading), 0.5)
        moment += scene.draw.between(15.0, 60.0)
    scene.plan.change(Channel.CAPACITY, moment, 1.0, 0.5)
    return scene.at_s, moment + 30.0


def speed_ramps(scene: Scene) -> Span:
    """Ramp the speed between half and rated speed, or over what its drive can do."""
    draw, site, moment = scene.draw, scene.site, scene.at_s
    rated = site.machine.rated_speed_rpm
    low, high = (0.5, 1.0) if site.speeds_rpm is None else (speed / rated for speed in site.speeds_rpm)
    for _ in range(3):
        scene.plan.change(Channel.SPEED_RPM, moment, draw.between(low, high) * rated, draw.between(3.0, 30.0))
        moment += draw.between(40.0, 120.0)
    scene.plan.change(Channel.SPEED_RPM, moment, site.speed_rpm, 10.0)
    return scene.at_s, moment + 30.0


def speed_low_for_a_while(scene: Scene) -> Span:
    """Run down to where the pump hardly holds its pressure, as a drive with a minimum set too low, and up again."""
    draw, site = scene.draw, scene.site
    back_s = scene.at_s + draw.between(60.0, 200.0)
    low = draw.between(0.10, 0.30) * site.machine.rated_speed_rpm
    scene.plan.change(Channel.SPEED_RPM, scene.at_s, low, draw.between(5.0, 20.0))
    scene.plan.change(Channel.SPEED_RPM, back_s, site.speed_rpm, draw.between(5.0, 20.0))
    return scene.at_s, back_s + 20.0 + RECOVERY_S


def valve_plate_broken(scene: Scene) -> Span:
    """Lose the capacity of a cylinder bank to a broken valve plate; hot gas comes back and warms the sump."""
    draw, site, plan = scene.draw, scene.site, scene.plan
    back_s = scene.at_s + draw.between(250.0, 420.0)
    warmer = plan.knots[Channel.AMBIENT_K][-1][1] + draw.between(8.0, 20.0)
    plan.change(Channel.CAPACITY, scene.at_s, draw.between(0.3, 0.7), 0.2)
    plan.change(Channel.AMBIENT_K, scene.at_s, warmer, 30.0)
    plan.change(Channel.DISCHARGE_PA, scene.at_s, 0.9 * site.discharge_pa, 60.0)
    plan.change(Channel.CAPACITY, back_s, 1.0, 0.2)
    plan.change(Channel.AMBIENT_K, back_s, plan.knots[Channel.AMBIENT_K][0][1], 30.0)
    plan.change(Channel.DISCHARGE_PA, back_s, site.discharge_pa, 60.0)
    return scene.at_s, back_s + 60.0


# --- oil ----------------------------------------------------------------------------------------------------------
def liquid_slug(scene: Scene) -> Span:
    """Swallow liquid refrigerant for some seconds: a tenth to a third of the oil's mass."""
    over_s = scene.draw.between(5.0, 20.0)
    mass = scene.draw.between(0.1, 0.33) * scene.site.machine.oil_charge_m3 * scene.site.oil.density_kg_m3
    scene.plan.change(Channel.LIQUID_KG_S, scene.at_s, mass / over_s)
    scene.plan.change(Channel.LIQUID_KG_S, scene.at_s + over_s, 0.0)
    return scene.at_s, scene.at_s + over_s + 240.0


def oil_returns_in_a_slug(scene: Scene) -> Span:
    """Keep oil out in the system for minutes, and bring it back at once, with liquid refrigerant."""
    draw = scene.draw
    charge = scene.site.machine.oil_charge_m3 * scene.site.oil.density_kg_m3
    away_s, back_s = draw.between(120.0, 240.0), draw.between(5.0, 20.0)
    share = draw.between(0.55, 0.8)
    plan = scene.plan.change(Channel.OIL_LEAK_KG_S, scene.at_s, share * charge / away_s)
    plan.change(Channel.OIL_LEAK_KG_S, scene.at_s + away_s, -share * charge / back_s)
    plan.change(Channel.OIL_LEAK_KG_S, scene.at_s + away_s + back_s, 0.0)
    plan.change(Channel.LIQUID_KG_S, scene.at_s + away_s, draw.between(0.0, 0.05) * charge / back_s)
    plan.change(Channel.LIQUID_KG_S, scene.at_s + away_s + back_s, 0.0)
    return scene.at_s, scene.at_s + away_s + back_s + RECOVERY_S


def level_shifts(scene: Scene) -> Span:
    """Lose oil to a neighbour on the same crankcase line, whose pressure is lower, and get it back when it stops."""
    draw = scene.draw
    charge = scene.site.machine.oil_charge_m3 * scene.site.oil.density_kg_m3
    over_s, low_s = draw.between(30.0, 120.0), draw.between(20.0, 140.0)
    rate = draw.between(0.6, 0.82) * charge / over_s
    back_s = scene.at_s + over_s + low_s
    plan = scene.plan.change(Channel.OIL_LEAK_KG_S, scene.at_s, rate)
    plan.change(Channel.OIL_LEAK_KG_S, scene.at_s + over_s, 0.0).change(Channel.OIL_LEAK_KG_S, back_s, -rate)
    plan.change(Channel.OIL_LEAK_KG_S, back_s + over_s, 0.0)
    return scene.at_s, back_s + over_s + RECOVERY_S


def screen_bypass(scene: Scene) -> Span:
    """Clog the oil suction screen until its bypass opens."""
    draw = scene.draw
    over_s = draw.between(100.0, 300.0)
    plan = scene.plan.change(Channel.SCREEN_CLOG, scene.at_s, draw.between(0.9, 0.97), over_s)
    plan.change(Channel.SCREEN_CLOG, scene.at_s + over_s + draw.between(5.0, 60.0), draw.between(0.0, 0.3), 1.0)
    return scene.at_s, scene.at_s + over_s + 60.0 + RECOVERY_S


# --- sensors ------------------------------------------------------------------------------------------------------
def readings_lost(scene: Scene) -> Span:
    """Lose the readings of a second or two, which its family's sensors do where it is marked."""
    return scene.at_s, scene.at_s + scene.draw.between(1.0, 2.2)


def short_dropouts(draw: Draw, length: Length) -> Case:
    """Lose the oil and suction readings for a second or two in each upset."""
    case = Harmless(readings_lost, 3.0).case(draw, length)
    oil, suction = (replace(its, lost=case.upsets) for its in (case.chain.oil, case.chain.suction))
    return replace(case, chain=replace(case.chain, oil=oil, suction=suction))
