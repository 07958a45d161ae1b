"""Ordinary duty as it runs, day after day: seasons, cycling, pump-down, unloading, defrosts, neighbours, standstills.

A year is streamed in days: each is a `Schedule` that begins where the one before ended, and what was begun before
midnight goes on after it. Rare happenings (power dips, service, slugs, faults) are none of it: they come at their own
rates on top (`befalling`).

Every default of `Duty` is *assumed*: it stands for a cold store's machine whose logs nobody has counted. Who has logs
counts starts, hours and standstills there, and gives those.
"""

from collections.abc import Iterator
from dataclasses import dataclass, field, replace

from replay.physics.arithmetic import power
from replay.physics.drawing import (
    HEATER_K,
    LEAST_SUCTION_PA,
    MOST_DISCHARGE_PA,
    Draw,
    Site,
    draw_site,
    invented_site,
    saturation_pa,
)
from replay.physics.schedule import Channel, Schedule
from replay.physics.sensors import NEVER_S
from replay.physics.simulate import random_of_trace
from replay.physics.viscosity import ZERO_CELSIUS_K

DAY_S = 86400.0
DAYS = 365
YEAR_H = 24.0 * DAYS
LEAST_CYCLE_S = 150.0  # assumed: neither running nor standing is cut shorter by a thermostat with a timer
HEAD_PER_K = 1.028  # common practice: a kelvin of condensing is about 3 % of its pressure
CONDENSING_C = 25.0  # assumed: mean of the year, at the demo site
HEAD_OVER_LOAD = 1.1  # common practice: head pressure is held up in winter
DEFROST_S = 420.0
SLOWEST = 0.6  # assumed: of rated speed, what a drive without a stated range goes down to
OIL_C = (42.0, 52.0)  # assumed: of a running machine, mean of the year
CONTROLS = ("cycling", "unloading", "speed")


def swing(phase: float) -> float:
    """Return -1 at phase 0, 1 at 0.5 and -1 at 1 again, smoothly, nought in the mean: a wave without a cosine."""
    away = 2.0 * abs(phase % 1.0 - 0.5)
    return 1.0 - 2.0 * away * away * (3.0 - 2.0 * away)


@dataclass(frozen=True)
class Duty:
    """What a machine does in a year; shares are 0 .. 1. All defaults are assumed.

    control: "cycling": one speed, all cylinders; "unloading": cylinders by the load; "speed": a drive follows the load.
    """

    control: str = "unloading"
    load_share: float = 0.6  # of the time that the machine has to run, mean of the year
    season_swing: float = 0.15  # of that share, up in summer and down in winter
    day_swing: float = 0.10  # up in the afternoon and down at night
    cycle_s: tuple[float, float] = (1200.0, 3600.0)  # from start to start
    pump_down_share: float = 1.0  # of the stops, those that pump down
    condensing_season_k: float = 6.0  # over the mean of the year in summer, and below it in winter
    condensing_day_k: float = 2.0
    condensing_weather_k: float = 2.0  # either way, from day to day
    room_season_k: float = 6.0  # the machine room, up in summer and down in winter
    room_least_c: float = 10.0
    defrosts_per_day: int = 4
    defrost_minutes_apart: float = 360.0
    steps_per_hour: float = 1.0  # unloader steps, or changes of speed, while running
    neighbours: int = 1  # machines on the same suction line
    neighbour_changes_per_hour: float = 1.0  # starts and stops of each
    neighbour_share: float = 0.05  # by which one moves the load's pressure
    standstills_per_year: float = 12.0  # beyond cycling: weekends, a store that is empty
    standstill_h: tuple[float, float] = (8.0, 60.0)
    heater: bool = True  # on in such a standstill
    callout_h: float = 4.0  # until somebody frees a lockout
    repair_h: float = 72.0  # down with a machine whose bearings are spoilt


def draw_site_of_year(draw: Draw) -> Site:
    """Draw an installation that has passed its first day: none of its sensors tells an untruth or stands still.

    A gauge taken for absolute or digits too coarse for the stuck check stop a machine on its first day, and are set
    right; so they are no part of a year. Offsets, noise, lag, interference and lost readings stay.
    """
    while True:
        site = draw_site(draw)
        if site.chain.fault_s < NEVER_S:
            continue
        if draw.sites is not invented_site:
            return site
        head = min(max(saturation_pa(site.refrigerant, CONDENSING_C), HEAD_OVER_LOAD * site.load_pa), MOST_DISCHARGE_PA)
        return replace(site, discharge_pa=head, oil_temperature_c=draw.between(*OIL_C))


@dataclass
class Days:
    """The days of one machine's year, in turn: iterate over it. key tells apart machine-years of a seed."""

    duty: Duty
    site: Site
    seed: int
    key: tuple[int, ...]
    number: int = 0
    _held: dict[Channel, float] = field(default_factory=dict)
    _pending: list[tuple[float, Channel, float, float]] = field(default_factory=list)
    _free_s: float = 0.0

    def site_of(self, number: int, weather_k: float = 0.0) -> Site:
        """Return the site with the head and the room of a day."""
        duty, site = self.duty, self.site
        season = swing((number + 0.5) / DAYS)  # day 0 is the depth of winter
        warmer = season * duty.condensing_season_k + weather_k
        head = max(site.discharge_pa * power(HEAD_PER_K, warmer), HEAD_OVER_LOAD * site.load_pa)
        head = min(head, max(site.discharge_pa, MOST_DISCHARGE_PA))
        room_c = max(site.ambient_c + season * duty.room_season_k, duty.room_least_c)
        return replace(site, discharge_pa=head, oil_temperature_c=room_c + site.behaviour.running_rise_k)

    def __iter__(self) -> Iterator[tuple[Site, Schedule]]:
        """Yield (site of the day, its schedule) of each day and of the one behind the year; times from midnight."""
        while self.number <= DAYS:
            yield self._next()

    def _next(self) -> tuple[Site, Schedule]:
        draw = Draw(random_of_trace(self.seed, (*self.key, self.number)))
        duty = self.duty
        today = self.site_of(self.number, draw.between(-1.0, 1.0) * duty.condensing_weather_k)
        plan = today.schedule(running=False)
        changes = self._pending
        self._weather(today, changes)
        moment = self._free_s
        defrosts = [60.0 * duty.defrost_minutes_apart * (i + 0.5) for i in range(duty.defrosts_per_day)]
        standstill_s = -1.0
        if draw.happens(duty.standstills_per_year / DAYS):
            standstill_s = draw.between(0.0, DAY_S)
        while moment < DAY_S:
            if 0.0 <= standstill_s <= moment:
                standstill_s = -1.0
                long_s = 3600.0 * draw.between(*duty.standstill_h)
                if duty.heater:
                    changes.append((moment, Channel.HEATER_K, HEATER_K, 0.0))
                    changes.append((moment + long_s, Channel.HEATER_K, 0.0, 0.0))
                moment += long_s
            defrost = bool(defrosts) and defrosts[0] <= moment
            if defrost:
                defrosts.pop(0)
            moment = self._cycle(draw, today, plan, moment, changes, defrost=defrost)
        self._free_s = moment - DAY_S
        return today, self._laid(plan)

    def _weather(self, today: Site, changes: list[tuple[float, Channel, float, float]]) -> None:
        """Let head and room follow the hours, on slow ramps."""
        duty = self.duty
        for hour in range(0, 24, 6):
            warmer = duty.condensing_day_k * (0.0, -1.0, 0.0, 1.0)[hour // 6]
            head = today.discharge_pa * power(HEAD_PER_K, warmer)
            changes.append((3600.0 * hour, Channel.DISCHARGE_PA, head, 21000.0))
            changes.append((3600.0 * hour, Channel.AMBIENT_K, today.ambient_c + warmer + ZERO_CELSIUS_K, 21000.0))

    def _share(self, moment: float) -> float:
        """Return the share of the time that the load wants the machine to run at a moment of the day."""
        duty = self.duty
        season = swing((self.number + 0.5) / DAYS)
        afternoon = swing(moment / DAY_S - 0.125)
        return min(max(duty.load_share + duty.season_swing * season + duty.day_swing * afternoon, 0.02), 1.0)

    def _cycle(
        self,
        draw: Draw,
        today: Site,
        plan: Schedule,
        moment: float,
        changes: list[tuple[float, Channel, float, float]],
        *,
        defrost: bool,
    ) -> float:
        """Lay one cycle: start, run, stop, stand; return when the next begins."""
        duty = self.duty
        period_s, share = draw.between(*duty.cycle_s), self._share(moment)
        run_s = max(share * period_s, LEAST_CYCLE_S, DEFROST_S + 120.0 if defrost else 0.0)
        on_s, off_s = moment + 5.0, moment + 5.0 + run_s
        load = min(today.load_pa * draw.between(0.95, 1.05), 0.95 * today.discharge_pa)
        changes += [
            (moment, Channel.LIQUID_VALVE, 1.0, 2.0),
            (moment, Channel.LOAD_PA, load, 30.0),
            (on_s, Channel.RUN, 1.0, 0.0),
        ]
        if defrost:
            hot = min(1.35 * today.load_pa, 0.95 * today.discharge_pa)
            changes += [(on_s + 90.0, Channel.LOAD_PA, hot, 40.0), (on_s + 390.0, Channel.LOAD_PA, load, 60.0)]
        else:
            self._follow(draw, today, load, (on_s + 60.0, off_s - 60.0), changes)
        if share >= 1.0:
            return off_s  # it runs through
        if draw.happens(duty.pump_down_share):
            low_pa = max(draw.between(0.5, 0.7) * today.suction_pa, 0.5 * LEAST_SUCTION_PA)
            down_s = draw.between(15.0, 40.0)
            changes.append(
                (
                    off_s - down_s,
                    Channel.LIQUID_VALVE,
                    today.liquid_opening(plan, low_pa),
                    2.0,
                )
            )
        else:
            changes.append((off_s - draw.between(2.0, 6.0), Channel.LIQUID_VALVE, 0.0, 1.0))
        changes += [(off_s, Channel.LIQUID_VALVE, 0.0, 1.0), (off_s + 1.0, Channel.RUN, 0.0, 0.0)]
        return max(moment + period_s, off_s + LEAST_CYCLE_S)

    def _follow(
        self,
        draw: Draw,
        today: Site,
        load: float,
        within: tuple[float, float],
        changes: list[tuple[float, Channel, float, float]],
    ) -> None:
        """Follow the load within a run: cylinders or speed by it, and what the neighbours on the suction line do."""
        duty = self.duty
        begin, end = within
        for rate, kind in (
            (duty.steps_per_hour if duty.control != "cycling" else 0.0, duty.control),
            (duty.neighbours * duty.neighbour_changes_per_hour, "neighbour"),
        ):
            moment = begin
            while rate > 0.0:
                moment += draw.between(0.2, 1.8) * 3600.0 / rate
                if moment >= end:
                    break
                if kind == "unloading":
                    changes.append((moment, Channel.CAPACITY, draw.one_of((*today.unloading, 1.0)), 0.5))
                elif kind == "speed":
                    rated = today.machine.rated_speed_rpm
                    slowest, fastest = today.speeds_rpm or (SLOWEST * rated, rated)
                    changes.append((moment, Channel.SPEED_RPM, draw.between(slowest, fastest), 20.0))
                else:
                    moved = load * (1.0 + draw.between(-1.0, 1.0) * duty.neighbour_share)
                    changes.append((moment, Channel.LOAD_PA, min(moved, 0.95 * today.discharge_pa), 10.0))
        if duty.control == "unloading":
            changes.append((end, Channel.CAPACITY, 1.0, 0.5))

    def _laid(self, plan: Schedule) -> Schedule:
        """Lay the day's changes into its plan from what was held at midnight, and keep the rest for the next day."""
        for channel, value in self._held.items():
            plan.knots[channel] = [(0.0, value)]
        later = []
        for at_s, channel, value, over_s in sorted(self._pending, key=lambda change: change[0]):
            begin = max(at_s, plan.knots[channel][-1][0])  # a change waits until the one before it is done
            if at_s >= DAY_S or begin + over_s > DAY_S:
                later.append((max(at_s - DAY_S, 0.0), channel, value, over_s))
            else:
                plan.change(channel, begin, value, over_s)
        self._pending = later
        self._held = {channel: knots[-1][1] for channel, knots in plan.knots.items()}
        self.number += 1
        return plan


def joined(plan: Schedule, after: Schedule) -> Schedule:
    """Return the plan of a day with that of the next behind it."""
    knots = {
        channel: [*its, *((DAY_S + moment, value) for moment, value in after.knots[channel])]
        for channel, its in plan.knots.items()
    }
    return replace(plan, knots=knots)


def running_spans(plan: Schedule, until_s: float = DAY_S) -> list[tuple[float, float]]:
    """Return (from, to) of each stretch in which a plan wants its machine to run."""
    knots = plan.knots[Channel.RUN]
    edges = [(0.0, knots[0][1]), *knots[1:], (until_s, 0.0)]
    spans, since = [], None
    for moment, value in edges:
        if value >= 0.5 and since is None:  # noqa: PLR2004 - a command counts as given from here on
            since = moment
        elif value < 0.5 and since is not None:  # noqa: PLR2004
            if moment > since:
                spans.append((since, moment))
            since = None
    return spans
