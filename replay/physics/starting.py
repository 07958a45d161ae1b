"""Starts that a machine comes through: what the sump has taken up while it stood, and what the motor and mains do.

A trace begins with such a start out of a real night or weekend. Those that follow in a longer trace come after as much
standing as the time until the next upset allows; what a night would have brought into the sump then is brought as
liquid, as far as the oil's warmth lets it be held.
"""

from collections.abc import Callable, Sequence
from dataclasses import replace

from replay.physics.drawing import ANY, HEATER_K, Draw, Site
from replay.physics.duty import Harmless, Scene, Upset
from replay.physics.model import Start, equilibrium_fraction
from replay.physics.schedule import Channel
from replay.physics.sensors import Span

NIGHT_S = (8.0 * 3600.0, 14.0 * 3600.0)
SETTLED_S = 180.0  # from a start on; a stop in it is one given the start
STANDING_AT_LEAST_S = 200.0
START_LONGEST_S = 20.0 + STANDING_AT_LEAST_S + SETTLED_S
NIGHT_SHARE = (0.6, 0.95)  # assumed: of what the sump can hold, what it has after a night; a weekend brings all
Sump = Callable[[Draw, Site], Start]
FULL_SUMP = 0.36  # assumed: refrigerant of a sump into which the rest has condensed, mass fraction


# --- sumps that have stood ----------------------------------------------------------------------------------------
def with_heater(draw: Draw, site: Site) -> Start:
    """Return a sump after a night with its heater on."""
    return site.rested(site.ambient_c + HEATER_K, draw.between(*NIGHT_SHARE))


def without_heater(draw: Draw, site: Site) -> Start:
    """Return a sump after a night or a weekend with its heater off or failed: as cold as the room, and thinned."""
    share = draw.between(*NIGHT_SHARE) if draw.happens(0.7) else 1.0
    cold = site.rested(site.ambient_c + draw.between(0.0, 4.0), share)
    return Start(cold.oil_temperature_c, min(cold.dissolved_fraction or 0.0, FULL_SUMP))


def flooded(draw: Draw, site: Site) -> Start:
    """Return a warm sump into which refrigerant has run."""
    return Start(site.ambient_c + draw.between(8.0, 16.0), draw.between(0.14, 0.26))


def bitter_cold(draw: Draw, site: Site) -> Start:
    """Return a sump of a cold morning: thick oil with little in it, since the evaporator is colder still."""
    return Start(min(draw.between(-5.0, 15.0), site.ambient_c), draw.between(0.015, 0.045))


# --- starts -----------------------------------------------------------------------------------------------------
def start(scene: Scene) -> Span:
    """Start across the line."""
    scene.plan.change(Channel.RUN, scene.at_s, 1.0)
    return scene.at_s, scene.at_s + SETTLED_S


def start_unfed(scene: Scene) -> Span:
    """Start while the expansion valve is still shut; it opens within a minute or two, and suction dips until then."""
    draw, plan = scene.draw, scene.plan
    plan.change(Channel.LIQUID_VALVE, max(scene.at_s - 1.0, plan.knots[Channel.LIQUID_VALVE][-1][0]), 0.03)
    plan.change(Channel.LIQUID_VALVE, scene.at_s + draw.between(10.0, 60.0), 1.0, draw.between(10.0, 60.0))
    return start(scene)


def start_with_liquid(scene: Scene) -> Span:
    """Start unfed, some liquid refrigerant still coming for half a minute."""
    charge = scene.site.machine.oil_charge_m3 * scene.site.oil.density_kg_m3
    scene.plan.change(Channel.LIQUID_KG_S, scene.at_s, 0.02 / 30.0 * charge * scene.draw.between(0.3, 1.0))
    scene.plan.change(Channel.LIQUID_KG_S, scene.at_s + 30.0, 0.0)
    return start_unfed(scene)


def start_in_the_cold(scene: Scene) -> Span:
    """Start with a head that the cold keeps low until the condenser has warmed."""
    site, plan = scene.site, scene.plan
    low = max(site.discharge_pa * scene.draw.between(0.7, 0.9), 1.05 * site.load_pa)
    plan.change(Channel.DISCHARGE_PA, max(scene.at_s - 20.0, 0.0), low, 1.0)
    plan.change(Channel.DISCHARGE_PA, scene.at_s + 30.0, site.discharge_pa, 120.0)
    return start(scene)


def start_on_low_voltage(scene: Scene) -> Span:
    """Start on a weak supply or a soft starter: the speed takes 4 to 20 s to come."""
    site, plan = scene.site, scene.plan
    plan.change(Channel.SPEED_RPM, max(scene.at_s - 1.0, 0.0), 0.1 * site.speed_rpm)
    plan.change(Channel.SPEED_RPM, scene.at_s, site.speed_rpm, scene.draw.between(4.0, 20.0))
    return start(scene)


def power_dip(scene: Scene) -> Span:
    """Drop the contactor for a moment of a dip in the supply, and close it again."""
    back_s = scene.at_s + scene.draw.log_between(0.3, 4.0)
    scene.plan.change(Channel.RUN, scene.at_s, 0.0).change(Channel.RUN, back_s, 1.0)
    return scene.at_s, back_s + 60.0


# --- families -----------------------------------------------------------------------------------------------------
def out_of(sump: Sump, begin: Upset, oils: Sequence[str] = ANY) -> Harmless:
    """Return the family of a start out of a sump that has stood."""

    def again(scene: Scene) -> Span:
        """Stop, stand as long as there is time for, up to a night, and start."""
        draw, site, plan = scene.draw, scene.site, scene.plan
        standing_s = min(draw.between(*NIGHT_S), scene.room_s - 25.0 - SETTLED_S)
        on_s = scene.at_s + 5.0 + standing_s
        held_c = site.oil_temperature_c - 10.0
        wanted = min(sump(draw, site).dissolved_fraction or 0.0, site.rested(held_c, 1.0).dissolved_fraction or 0.0)
        running = equilibrium_fraction(site.oil, site.refrigerant, site.oil_temperature_c, site.suction_pa)
        missing = max(wanted / (1.0 - wanted) - running / (1.0 - running), 0.0)
        charge = site.machine.oil_charge_m3 * site.oil.density_kg_m3
        plan.change(Channel.LIQUID_VALVE, scene.at_s, 0.0, 1.0).change(Channel.RUN, scene.at_s + 5.0, 0.0)
        if standing_s < NIGHT_S[0]:
            plan.change(Channel.LIQUID_KG_S, scene.at_s + 10.0, missing * charge / (standing_s - 10.0))
            plan.change(Channel.LIQUID_KG_S, on_s - 5.0, 0.0)
        plan.change(Channel.LIQUID_VALVE, on_s - 2.0, 1.0, 2.0)
        return begin(replace(scene, at_s=on_s))

    return Harmless(again, START_LONGEST_S, oils, sump, begin)
