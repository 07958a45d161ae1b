"""Crankpins and main bearings short of oil: what oil is left, what touches, how hot it gets, and which spell did it.

*Oil left.* R, 0..1, is the oil in the clearance and clinging around it. A full film loses Q_s = q r c N L at its
ends (`journal`; q by the Sommerfeld number, so by load, speed and viscosity: temperature and dilution). Nearly all of
that is drawn in again while nothing new comes; an assumed share of it is lost. Some is flung off by the turning crank
whatever the load, and in a vacuum the gas that comes out of the oil drives more of it out, by the void it would take
up. At a given load what is pressed out goes by the cube of the film (Reynolds), so a starved film leaks far less than
a full one; the clearance holds 2 pi r L c:

    dR/dt = feed/fill time - lost share (q(S_R) + flung + expelled void) N R^3/(2 pi)

Pins are fed by what net oil pressure is over the floor pressure, main bearings by net oil pressure itself, each as a
share of the healthy one. A partial pressure leaves an oil left at which both sides are equal. What has run dry between
pump and journal fills first: oil pressure is back seconds before the oil is.

*What touches.* Less oil carries less: as if S were S_R = R^3 S (assumed). Below the S at which the least film is
thinner than the surfaces allow, they carry the share 1 - S_R/S_least of the load: mixed friction, not on or off.

*Heat.* H is the warming of the bearing over its oil, 1 where soft metal wipes or a journal seizes:

    dH/dt = share touching x load x speed/wipe time - H (1/body time + feed/oil time)

Shaft and body always cool it, oil that flows does so faster. Below 1 nothing lasting is done, so starts, each a moment
of mixed friction, do not add up over the years, while spells that follow each other within minutes do. An unloaded dry
bearing lasts minutes and the same bearing seconds under full load.

*Columns.* Pins and main bearings each as a pessimistic, a likely and an optimistic journal (`behaviour`); the first of
the two kinds to go spoils the machine. All three columns spoilt: certain; some of them: possible.

*Spells.* A starved spell begins when net oil pressure falls (or surfaces grow hot) and is over when pressure, oil and
coolness of the pessimistic journals are back. What it spoilt is noted with it; then the machine goes on as if it had
been stopped in time, and the next spell is judged afresh.

The tests hold the arithmetic; no measurement of such a bearing running dry was found (`behaviour` says what was).
"""

import math

from numba.extending import register_jitable

from replay.physics import constants as c
from replay.physics import layout as at
from replay.physics.layout import Vector

STANDING = 0.05  # share of rated speed below which a journal loses no oil and makes no heat
PIN = 0  # the first kind of journal


@register_jitable
def side_flow(p: Vector, sommerfeld: float) -> float:
    """Return q = Q_s/(r c N L) of a full film from the machine's table, even between its points."""
    if sommerfeld >= p[at.P_FILM_S]:
        return float(p[at.P_FILM_FLOW] * p[at.P_FILM_S] / sommerfeld)  # a light load: q goes by the eccentricity
    for i in range(at.FILM_POINTS - 1):
        lower = p[at.P_FILM_S + i + 1]
        if sommerfeld >= lower:
            share = (sommerfeld - lower) / (p[at.P_FILM_S + i] - lower)
            flow = p[at.P_FILM_FLOW + i + 1]
            return float(flow + share * (p[at.P_FILM_FLOW + i] - flow))
    return float(p[at.P_FILM_FLOW + at.FILM_POINTS - 1])


@register_jitable
def bearing_step(s: Vector, p: Vector, now_s: float, dt: float) -> None:
    """Advance oil left and heat of the six journals by dt (s), and note what a starved spell spoilt."""
    net = s[at.S_NET_PA]
    speed = s[at.S_SPEED]
    turning = speed >= STANDING
    low = turning and net < p[at.B_ONSET_SHARE] * p[at.P_RELIEF_PA]
    working = s[at.S_MEP] / p[at.P_RATED_MEP]
    unladen = p[at.P_SOMMERFELD_SCALE] * s[at.S_VISCOSITY] * speed
    heaviest = max(_load(p, 0, working), _load(p, 1, working))
    carried = not turning or unladen >= p[at.P_LEAST_SOMMERFELD] * heaviest
    if s[at.S_WHOLE] > 0.0 and not low and carried and s[at.S_ONSET_S] == at.NEVER:
        return  # nothing leaks, touches, fills or cools, and no spell is open; the pessimistic journals touch first

    over = max(s[at.S_FRACTION] - s[at.S_CRANKCASE_PA] / s[at.S_HENRY_PA], 0.0)
    volumes = over * s[at.S_DENSITY] * p[at.P_GAS_RT] / s[at.S_CRANKCASE_PA]
    driven = p[at.B_FLUNG] + p[at.B_EXPELLED] * volumes / (1.0 + volumes)
    whole = True
    hottest = 0.0
    least = 1.0
    for kind in range(at.KINDS):
        load = _load(p, kind, working)
        floor = s[at.S_FLOOR_PA] if kind == PIN else 0.0
        fed = min(max((net - floor) / (p[at.B_HEALTHY_NET_PA] - floor), 0.0), 1.0) if turning else 0.0
        for column in range(at.COLUMNS):
            i = kind * at.COLUMNS + column
            _journal(s, p, i, column, load, speed if turning else 0.0, unladen / load, driven, fed, now_s, dt)
            calm = s[at.S_HEAT + i] == 0.0 and s[at.S_RESERVE + i] >= 1.0 and s[at.S_PASSAGE + i] >= 1.0
            whole = whole and calm
        hottest = max(hottest, s[at.S_HEAT + kind * at.COLUMNS])
        least = min(least, s[at.S_RESERVE + kind * at.COLUMNS])
    s[at.S_WHOLE] = 1.0 if whole else 0.0
    _spell(s, p, low, hottest, least, now_s)


@register_jitable
def _load(p: Vector, kind: int, working: float) -> float:
    """Return the specific load of a kind of journal, share of a crankpin's rated one."""
    idle = p[at.B_IDLE_LOAD + kind]
    return float(idle + (p[at.B_RATED_LOAD + kind] - idle) * working)


@register_jitable
def _journal(
    s: Vector,
    p: Vector,
    i: int,
    column: int,
    load: float,
    speed: float,
    sommerfeld: float,
    driven: float,
    fed: float,
    now_s: float,
    dt: float,
) -> None:
    """Advance journal i, of a column: its way for the oil, its oil left and its heat. speed 0: it stands.

    driven: leakage beyond the side flow, in its unit; fed: by the pressure, share of the healthy feed.
    """
    passage = s[at.S_PASSAGE + i]
    if fed > 0.0:
        passage = min(passage + dt * fed / p[at.B_PASSAGE_TIME_S + column], 1.0)
    elif speed > 0.0:
        passage = max(passage - dt / p[at.B_PASSAGE_EMPTIES_S], 0.0)
    s[at.S_PASSAGE + i] = passage
    arriving = fed if passage >= 1.0 else 0.0

    reserve = s[at.S_RESERVE + i]
    carried = reserve * reserve * reserve * sommerfeld
    heat = s[at.S_HEAT + i]
    warming = 0.0
    if speed > 0.0:
        revolutions = speed * p[at.P_RATED_RPM] / 60.0
        lost = p[at.B_LOST_SHARE + column] * (side_flow(p, carried) + driven) * revolutions / (2.0 * math.pi)
        reserve = min((reserve + dt * arriving / p[at.B_FILL_TIME_S]) / (1.0 + dt * lost * reserve * reserve), 1.0)
        s[at.S_RESERVE + i] = reserve
        touching = 1.0 - carried / p[at.P_LEAST_SOMMERFELD + column]
        if touching > 0.0:
            warming = touching * load * speed / p[at.B_WIPE_TIME_S + column]
    if warming == 0.0 and heat < c.COOL:
        s[at.S_HEAT + i] = 0.0
        return
    cooling = 1.0 / p[at.B_BODY_TIME_S] + arriving / p[at.B_OIL_TIME_S]
    hotter = (heat + dt * warming) / (1.0 + dt * cooling)
    if hotter >= 1.0:
        _spoil(s, column, now_s + dt * max((1.0 - heat) / (hotter - heat), 0.0) if heat < 1.0 else now_s)
        hotter = 1.0
    s[at.S_HEAT + i] = hotter


@register_jitable
def _spoil(s: Vector, column: int, moment_s: float) -> None:
    """Note that a column is spoilt in the spell of the moment, unless it is; the first opens the spell's record."""
    if s[at.S_SPOILING] == 0.0:
        s[at.S_SPOILING] = 1.0
        s[at.S_SPELLS] = s[at.S_SPELLS] + 1.0
        if s[at.S_SPELLS] <= at.MOST_SPELLS:
            record = at.S_RECORD + (int(s[at.S_SPELLS]) - 1) * at.SPELL
            s[record] = s[at.S_ONSET_S]
            for j in range(at.COLUMNS):
                s[record + 1 + j] = at.NEVER
    if s[at.S_SPELLS] <= at.MOST_SPELLS:
        place = at.S_RECORD + (int(s[at.S_SPELLS]) - 1) * at.SPELL + 1 + column
        if s[place] == at.NEVER or moment_s < s[place]:
            s[place] = moment_s


@register_jitable
def _spell(s: Vector, p: Vector, low: bool, hottest: float, least: float, now_s: float) -> None:  # noqa: FBT001 - in a kernel
    """Begin or end a starved spell, and keep how near to harm the spells came that spoilt nothing."""
    if low or hottest > p[at.B_SPELL_OVER_HEAT] or least < p[at.B_SPELL_OVER_RESERVE]:
        if s[at.S_ONSET_S] == at.NEVER:
            s[at.S_ONSET_S] = now_s
            s[at.S_SPELL_HEAT] = 0.0
            s[at.S_SPELL_RESERVE] = 1.0
        s[at.S_SPELL_HEAT] = max(s[at.S_SPELL_HEAT], hottest)
        s[at.S_SPELL_RESERVE] = min(s[at.S_SPELL_RESERVE], least)
    elif s[at.S_ONSET_S] != at.NEVER:
        if s[at.S_SPOILING] == 0.0:
            s[at.S_MOST_HEAT] = max(s[at.S_MOST_HEAT], s[at.S_SPELL_HEAT])
            s[at.S_LEAST_RESERVE] = min(s[at.S_LEAST_RESERVE], s[at.S_SPELL_RESERVE])
        s[at.S_ONSET_S] = at.NEVER
        s[at.S_SPOILING] = 0.0
