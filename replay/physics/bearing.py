"""Film reserve of a crankpin and what a starved journal suffers.

The reserve R, 0..1, is the oil held in and around the journal. It drains in minutes while net oil pressure is
under the floor and refills, faster the further above, when it is not. The film carries as if the Sommerfeld number
were R^3 S (assumed); where that falls below the S at which the least film is thinner than the surfaces allow
(Raimondi-Boyd table of `journal`), the surfaces touch and wear grows at (load/rated load)^2 / wipe time. An unloaded
dry journal therefore lasts minutes, and the same journal seconds once suction pressure has come back: one law for
both kinds of damage.

Three journals run side by side, a pessimistic, a likely and an optimistic one (`constants`). Damage to all three is
certain, to the first only, or to the first two, possible.
"""

from numba.extending import register_jitable

from replay.physics.constants import FRESH_RESERVE, ONSET_SHARE, UNLOADED_SHARE
from replay.physics.layout import (
    JOURNALS,
    NEVER,
    P_DRAIN_S,
    P_LEAST_SOMMERFELD,
    P_RATED_MEP,
    P_REFILL_S,
    P_RELIEF_PA,
    P_SOMMERFELD_SCALE,
    P_WIPE_S,
    S_DAMAGED_S,
    S_FLOOR_PA,
    S_MEP,
    S_NET_PA,
    S_ONSET_S,
    S_RESERVE,
    S_SPEED,
    S_STARVED_S,
    S_VISCOSITY,
    S_WEAR,
    Vector,
)

STANDING = 0.05  # share of rated speed below which a journal neither drains nor wears


@register_jitable
def bearing_step(s: Vector, p: Vector, now_s: float, dt: float) -> None:
    """Advance the reserve and wear of the three journals by dt (s); notes when each was damaged, and the onset."""
    speed = s[S_SPEED]
    if speed < STANDING:
        return
    net = s[S_NET_PA]
    floor = s[S_FLOOR_PA]
    load = UNLOADED_SHARE + (1.0 - UNLOADED_SHARE) * s[S_MEP] / p[P_RATED_MEP]
    sommerfeld = p[P_SOMMERFELD_SCALE] * s[S_VISCOSITY] * speed / load

    if s[S_ONSET_S] == NEVER:
        if net < ONSET_SHARE * p[P_RELIEF_PA]:
            s[S_ONSET_S] = now_s
    elif net >= ONSET_SHARE * p[P_RELIEF_PA] and s[S_RESERVE] >= FRESH_RESERVE:
        s[S_ONSET_S] = NEVER

    full = s[S_RESERVE] >= 1.0 and s[S_RESERVE + 1] >= 1.0 and s[S_RESERVE + 2] >= 1.0
    if full and net >= floor and sommerfeld >= p[P_LEAST_SOMMERFELD]:
        return  # nothing drains, fills or touches; the pessimistic journal touches first
    for j in range(JOURNALS):
        reserve = s[S_RESERVE + j]
        if net < floor:
            reserve = reserve - dt * speed / p[P_DRAIN_S + j]
        else:
            reserve = reserve + dt / p[P_REFILL_S + j] * min((net - floor) / floor, 1.0)
        reserve = min(max(reserve, 0.0), 1.0)
        s[S_RESERVE + j] = reserve
        if reserve * reserve * reserve * sommerfeld < p[P_LEAST_SOMMERFELD + j]:
            s[S_WEAR + j] = s[S_WEAR + j] + dt * load * load * speed / p[P_WIPE_S + j]
            if s[S_WEAR + j] >= 1.0 and s[S_DAMAGED_S + j] == NEVER:
                s[S_DAMAGED_S + j] = now_s
                s[S_STARVED_S + j] = s[S_ONSET_S]
