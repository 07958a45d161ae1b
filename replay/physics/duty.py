"""A machine's day: ordinary duty, and upsets at drawn moments of its whole length.

An *upset* is something that a rule could take for a fault, done to a machine that is meant to come through. There are
so many an hour as the recipe says: a trace is cut into spaces of an hour over that number, each holds one upset at a
drawn moment, and what is done is marked (from, to). Between upsets the machine does what machines do: it is stopped and
started by its thermostat, unloads and loads cylinders, follows a load that swings. So the hours of a trace say how much
ordinary duty it shows, and never how rare upsets are.
"""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace

from replay.physics.drawing import ANY, Draw, Site, draw_site
from replay.physics.model import Start
from replay.physics.schedule import Channel, Schedule
from replay.physics.sensors import Span
from replay.physics.simulate import Case

LEAD_S = 60.0  # undisturbed before an upset
QUIET_S = 60.0  # and at the end of each space, so that one upset is over before the next begins
DUTY_GAP_S = (60.0, 400.0)  # between events of ordinary duty; assumed
DUTY_LONGEST_S = 430.0


@dataclass(frozen=True)
class Length:
    """How long a harmless trace is and how far upsets lie apart, in s."""

    length_s: float
    space_s: float


@dataclass(frozen=True)
class Scene:
    """Where an upset is done: to a plan from a moment on, with so much time until the next may begin (s)."""

    draw: Draw
    site: Site
    plan: Schedule
    at_s: float
    room_s: float


Upset = Callable[[Scene], Span]  # does one and returns (from, to)


@dataclass(frozen=True)
class Harmless:
    """A family of harmless traces: one kind of upset.

    longest_s: what an upset may take at most; oils: by name; sump: that of a machine that stands at the beginning,
    whose trace begins with `first`, None: it runs.
    """

    upset: Upset
    longest_s: float
    oils: Sequence[str] = ANY
    sump: Callable[[Draw, Site], Start] | None = None
    first: Upset | None = None

    def case(self, draw: Draw, length: Length) -> Case:
        """Draw a case of a length; seed and key are the caller's."""
        site = draw_site(draw, self.oils)
        start = site.start if self.sump is None else self.sump(draw, site)
        plan = site.schedule(running=self.sump is None)
        upsets: list[Span] = []
        free_s = 0.0
        for space_s in self._spaces(length):
            room_s = space_s + length.space_s - QUIET_S
            if self.first is not None and space_s == 0.0:
                at_s, upset = draw.between(20.0, 90.0), self.first
            else:
                at_s, upset = draw.between(space_s + LEAD_S, room_s - self.longest_s), self.upset
                if at_s + self.longest_s > length.length_s:
                    break
                ordinary_duty(draw, site, plan, free_s, at_s)
            upsets.append(upset(Scene(draw, site, plan, at_s, room_s - at_s)))
            free_s = upsets[-1][1]
        ordinary_duty(draw, site, plan, free_s, length.length_s)
        return replace(made(site, plan, length.length_s, start), upsets=tuple(upsets))

    @staticmethod
    def _spaces(length: Length) -> Iterator[float]:
        """Yield the beginning of each space of a trace."""
        number = 0
        while number * length.space_s < length.length_s:
            yield number * length.space_s
            number += 1


def made(site: Site, plan: Schedule, duration_s: float, start: Start | None = None) -> Case:
    """Return the case of a site and a plan; seed and key are the caller's."""
    case = Case(site.machine, site.oil, site.refrigerant, plan, duration_s, start or site.start, site.chain)
    return replace(case, behaviour=site.behaviour, source=site.source)


def ordinary_duty(draw: Draw, site: Site, plan: Schedule, from_s: float, until_s: float) -> None:
    """Let a running machine do its duty from a moment until another; it is back at the design point then."""
    moment = from_s + draw.between(*DUTY_GAP_S)
    while moment + DUTY_LONGEST_S < until_s:
        duties = DUTIES if site.unloading else DUTIES_LOADED
        over_s = draw.one_of(duties)(Scene(draw, site, plan, moment, until_s - moment))[1]
        moment = over_s + draw.between(*DUTY_GAP_S)


def _thermostat(scene: Scene) -> Span:
    """Close the liquid valve, stop a little later, stand, feed and start again."""
    off_s = scene.at_s + scene.draw.between(2.0, 6.0)
    on_s = off_s + scene.draw.between(120.0, 400.0)
    scene.plan.change(Channel.LIQUID_VALVE, scene.at_s, 0.0, 1.0).change(Channel.RUN, off_s, 0.0)
    scene.plan.change(Channel.LIQUID_VALVE, on_s - 5.0, 1.0, 2.0).change(Channel.RUN, on_s, 1.0)
    return scene.at_s, on_s


def _unloading(scene: Scene) -> Span:
    """Unload cylinders by thirds or halves, and load them again."""
    back_s = scene.at_s + scene.draw.between(40.0, 400.0)
    scene.plan.change(Channel.CAPACITY, scene.at_s, scene.draw.one_of(scene.site.unloading), 0.5)
    scene.plan.change(Channel.CAPACITY, back_s, 1.0, 0.5)
    return scene.at_s, back_s + 1.0


def _load_swing(scene: Scene) -> Span:
    """Swing the load and, with it, the head, as when doors are opened and fans go on and off."""
    draw, site = scene.draw, scene.site
    over_s, rest_s = draw.between(30.0, 120.0), draw.between(20.0, 150.0)
    load = min(site.load_pa * draw.between(0.92, 1.12), 0.95 * site.discharge_pa)
    head = site.discharge_pa * draw.between(0.94, 1.05)
    for channel, away, home in (
        (Channel.LOAD_PA, load, site.load_pa),
        (Channel.DISCHARGE_PA, head, site.discharge_pa),
    ):
        scene.plan.change(channel, scene.at_s, away, over_s)
        scene.plan.change(channel, scene.at_s + over_s + rest_s, home, over_s)
    return scene.at_s, scene.at_s + 2.0 * over_s + rest_s


DUTIES = (_thermostat, _unloading, _load_swing)
DUTIES_LOADED = (_thermostat, _load_swing)
