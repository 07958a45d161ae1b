"""Oil pump and net oil pressure: liquid only, prime lost to a pocket at the inlet, relief valve, leakage.

    Q = fill (1 - void) Q_swept           what is delivered
    Q = a p + pin max(0, p - floor) + relief max(0, p - p_set)
    a = (main leakage + slip)/mu          laminar clearances (plane Poiseuille flow, any text)

The pins take oil only above the floor pressure, so net oil pressure rests near the floor on its way down.

Prime. Gas that is due from the oil drawn in, past a certain supersaturation, and bubbles of a foam so dense that they
touch, gather in a pocket over the inlet (bubbles apart from each other go through the pump). When it fills its place
the pump runs empty. It draws again when the pocket has drifted off, which takes oil to follow it up: the pump must
pull against the lift, and with gas in it pulls only a share of the absolute crankcase pressure, a small one once its
clearances are dry. In a deep vacuum that share is less than the lift. All of this is common practice put into
equations; the figures are assumed.
"""

from numba.extending import register_jitable

from replay.physics.constants import (
    CLOSE_PACKING,
    DRY_LEVEL,
    DRY_SUCTION,
    DRYING_TIME_S,
    FOAM_LAG_S,
    INLET_LEVEL,
    INLET_SHARE,
    NUCLEATION_RATIO,
    POCKET_LIMIT,
    PRESSURE_LAG_S,
    PRIME_BACK_COVER,
    PRIME_GAIN_TIME_S,
    PRIME_LOSS_TIME_S,
    PRIME_LOST_COVER,
    REFERENCE_VISCOSITY_PA_S,
    THICK_OIL_LAG,
    WET_SUCTION,
    WETTING_TIME_S,
    WETTING_VOID,
)
from replay.physics.layout import (
    P_COALESCENCE,
    P_GAS_RT,
    P_LIFT_PA,
    P_MAIN_LEAK,
    P_PIN_LEAK,
    P_POCKET_LIFE_S,
    P_POCKET_M3,
    P_POCKET_SHARE,
    P_PUMP_SWEEP,
    P_RELIEF_PA,
    P_RELIEF_SLOPE,
    P_SCREEN,
    P_SLIP,
    P_STUCK_SLOPE,
    S_CRANKCASE_PA,
    S_DENSITY,
    S_FILL,
    S_FLOOR_PA,
    S_FRACTION,
    S_HENRY_PA,
    S_LEVEL,
    S_NET_PA,
    S_POCKET_KG,
    S_PRIMED,
    S_SPEED,
    S_VISCOSITY,
    S_VOID,
    S_WET,
    U_PUMP_DRIVE,
    U_PUMP_WEAR,
    U_RELIEF_STUCK,
    U_ROTATION,
    U_SCREEN_CLOG,
    Vector,
)


@register_jitable
def gas_drawn_by_level(level: float) -> float:
    """Return the share (0..1) of gas in what the inlet draws, from the oil level as a share of the charge."""
    return min(max((INLET_LEVEL - level) / (INLET_LEVEL - DRY_LEVEL), 0.0), 1.0)


@register_jitable
def balance_pressure_pa(delivered: float, main: float, pin: float, floor: float, slope: float, setting: float) -> float:
    """Return the net oil pressure (Pa) at which leakage and relief take what is delivered (m3/s)."""
    pressure = delivered / main
    if pressure > floor:
        pressure = (delivered + pin * floor) / (main + pin)
    if pressure > setting:
        pressure = (delivered + pin * floor + slope * setting) / (main + pin + slope)
    return pressure


@register_jitable
def pump_step(s: Vector, p: Vector, u: Vector, dt: float) -> None:
    """Advance pocket, prime and net oil pressure by dt (s)."""
    crankcase = s[S_CRANKCASE_PA]
    viscosity = s[S_VISCOSITY]
    sweep = p[P_PUMP_SWEEP] * s[S_SPEED] * u[U_PUMP_DRIVE]
    if u[U_ROTATION] < 0.0:
        sweep = 0.0  # the pump's inlet and outlet change places
    free = max(1.0 - u[U_SCREEN_CLOG], 1e-3)
    screen_drop = p[P_SCREEN] * viscosity * sweep / (free * free)
    admitted = min(1.0, INLET_SHARE * crankcase / (screen_drop + 1.0))
    void = 1.0 - (1.0 - s[S_VOID]) * (1.0 - gas_drawn_by_level(s[S_LEVEL]))
    drawn = sweep * admitted * s[S_FILL]
    delivered = drawn * (1.0 - void)

    density = crankcase / p[P_GAS_RT]
    inlet_pa = crankcase - min(screen_drop * s[S_FILL], INLET_SHARE * crankcase)
    due = max(s[S_FRACTION] - NUCLEATION_RATIO * inlet_pa / s[S_HENRY_PA], 0.0)
    packed = p[P_COALESCENCE] * max(s[S_VOID] - CLOSE_PACKING, 0.0) / (1.0 - CLOSE_PACKING)
    gathered = p[P_POCKET_SHARE] * s[S_DENSITY] * delivered * due + packed * drawn * density
    suction = (DRY_SUCTION + (WET_SUCTION - DRY_SUCTION) * s[S_WET]) * crankcase
    lifts = suction > p[P_LIFT_PA]
    pocket = s[S_POCKET_KG] + dt * gathered
    if lifts:
        pocket = pocket * p[P_POCKET_LIFE_S] / (p[P_POCKET_LIFE_S] + dt)
    pocket = min(pocket, POCKET_LIMIT * p[P_POCKET_M3] * density)
    s[S_POCKET_KG] = pocket
    cover = pocket / (p[P_POCKET_M3] * density)
    if cover > PRIME_LOST_COVER:
        s[S_PRIMED] = 0.0
    elif cover < PRIME_BACK_COVER and lifts:
        s[S_PRIMED] = 1.0
    time = PRIME_GAIN_TIME_S if s[S_PRIMED] > s[S_FILL] else PRIME_LOSS_TIME_S
    s[S_FILL] = (s[S_FILL] + dt / time * s[S_PRIMED]) / (1.0 + dt / time)

    soaked = 1.0 if (s[S_PRIMED] > 0.0 or s[S_VOID] > WETTING_VOID) else 0.0
    time = WETTING_TIME_S if soaked > s[S_WET] else DRYING_TIME_S
    s[S_WET] = (s[S_WET] + dt / time * soaked) / (1.0 + dt / time)

    main = (p[P_MAIN_LEAK] + p[P_SLIP] * (1.0 + u[U_PUMP_WEAR])) / viscosity + u[U_RELIEF_STUCK] * p[P_STUCK_SLOPE]
    target = balance_pressure_pa(
        delivered, main, p[P_PIN_LEAK] / viscosity, s[S_FLOOR_PA], p[P_RELIEF_SLOPE], p[P_RELIEF_PA]
    )
    lag = PRESSURE_LAG_S * (1.0 + THICK_OIL_LAG * viscosity / REFERENCE_VISCOSITY_PA_S) + FOAM_LAG_S * void
    s[S_NET_PA] = (s[S_NET_PA] + dt / lag * target) / (1.0 + dt / lag)
