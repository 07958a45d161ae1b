"""Film reserve of a crankpin and what a starved journal suffers.

The reserve R, 0..1, is the oil held in and around the journal. It drains in minutes while net oil pressure is
under the floor and refills, faster the further above, when it is not. The film carries as if the Sommerfeld number
were R^3 S (assumed); where that falls below the S at which the least film is thinner than the surfaces allow
(Raimondi-Boyd table of `journal`), the surfaces touch and wear grows at (load/rated load)^2 / wipe time. An unloaded
dry journal therefore lasts minutes, and the same journal seconds once suction pressure has come back: one law for
both kinds of damage.

A touch short of spoiling is undone while the film carries again: its heat, which is what wipes the soft metal, goes
into the backing and the oil within minutes, and the spots that touched are run in, smoother than before. So starts,
each a moment of mixed friction, do not add up over the years, while spells that follow each other do.

Three journals run side by side, a pessimistic, a likely and an optimistic one (`constants`). Damage to all three is
certain, to the first only, or to the first two, possible.
"""

from numba.extending import register_jitable

from replay.physics import layout as at
from replay.physics.constants import FRESH_RESERVE, HEALING_TIME_S, ONSET_SHARE, UNLOADED_SHARE
from replay.physics.layout import Vector

STANDING = 0.05  # share of rated speed below which a journal neither drains nor wears


@register_jitable
def bearing_step(s: Vector, p: Vector, now_s: float, dt: float) -> None:
    """Advance the reserve and wear of the three journals by dt (s); notes when each was damaged, and the onset."""
    speed = s[at.S_SPEED]
    if speed < STANDING:
        return
    net = s[at.S_NET_PA]
    floor = s[at.S_FLOOR_PA]
    load = UNLOADED_SHARE + (1.0 - UNLOADED_SHARE) * s[at.S_MEP] / p[at.P_RATED_MEP]
    sommerfeld = p[at.P_SOMMERFELD_SCALE] * s[at.S_VISCOSITY] * speed / load

    if s[at.S_ONSET_S] == at.NEVER:
        if net < ONSET_SHARE * p[at.P_RELIEF_PA]:
            s[at.S_ONSET_S] = now_s
    elif net >= ONSET_SHARE * p[at.P_RELIEF_PA] and s[at.S_RESERVE] >= FRESH_RESERVE:
        s[at.S_ONSET_S] = at.NEVER

    full = s[at.S_RESERVE] >= 1.0 and s[at.S_RESERVE + 1] >= 1.0 and s[at.S_RESERVE + 2] >= 1.0
    touched = max(s[at.S_WEAR], s[at.S_WEAR + 1], s[at.S_WEAR + 2])
    if full and touched == 0.0 and net >= floor and sommerfeld >= p[at.P_LEAST_SOMMERFELD]:
        return  # nothing drains, fills, touches or heals; the pessimistic journal touches first
    for j in range(at.JOURNALS):
        reserve = s[at.S_RESERVE + j]
        if net < floor:
            reserve = reserve - dt * speed / p[at.P_DRAIN_S + j]
        else:
            reserve = reserve + dt / p[at.P_REFILL_S + j] * min((net - floor) / floor, 1.0)
        reserve = min(max(reserve, 0.0), 1.0)
        s[at.S_RESERVE + j] = reserve
        heat = load * load * speed if reserve * reserve * reserve * sommerfeld < p[at.P_LEAST_SOMMERFELD + j] else 0.0
        _wear(s, p, j, heat, now_s, dt)


@register_jitable
def _wear(s: Vector, p: Vector, j: int, heat: float, now_s: float, dt: float) -> None:
    """Let journal j wear at a heat (load^2 x speed, shares of the rated ones; 0 while it does not touch), or heal."""
    worn = s[at.S_WEAR + j]
    if heat > 0.0:
        worn = worn + dt * heat / p[at.P_WIPE_S + j]
    elif worn < 1.0:
        worn = max(worn - dt / HEALING_TIME_S, 0.0)
    s[at.S_WEAR + j] = worn
    if worn >= 1.0 and s[at.S_DAMAGED_S + j] == at.NEVER:
        s[at.S_DAMAGED_S + j] = now_s
        s[at.S_STARVED_S + j] = s[at.S_ONSET_S]
