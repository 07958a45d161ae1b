"""Oil pump and net oil pressure: liquid only, bubbles and pockets of gas in the suction line, relief valve, leakage.

    Q = a p + pin max(0, p - floor) + relief max(0, p - p_set)
    a = (main leakage + slip)/mu          laminar clearances (plane Poiseuille flow, any text)

The pins take oil only above the floor pressure, so net oil pressure rests near the floor on its way down.

The liquid Q that is delivered is what room is left in the pump's sweep:

    Q = intake follows fill/(1 + g),   g = volumes of bubbles in a volume of oil, at inlet pressure

*Bubbles.* Oil at the inlet is due to give up what it holds beyond equilibrium with the inlet's absolute pressure
(crankcase less lift less screen) and a capillary tension: gas fills the more of the pump the lower that pressure is.
How much comes out goes by the time the oil is in the suction line against the time release takes (a first-order release
there and the incomplete filling that follows were measured by Pan, Vacca, Manne and Gysling 2025, Int. J. Fluid Power;
abstract read), and by how many sites have woken: R-134a in ester oil stays without bubbles for a while when pressure
falls (Purdue compressor conference, paper 2155; abstract read). The filling itself,
1/(1 + g), is the one of a published table of liquid displacement of rotary pumps with entrained gas; a test holds it.

*Pocket.* Bubbles beyond the void at which they run together gather in part over the inlet. A pocket that has filled its
place is drawn in as a slug: the pump's mouth is covered as far as the pocket reaches, and it swallows the gas, slowly
since much slips back, until what is left clings again. So pressure dips in part, and in pulses.

*Seal.* A pump moves gas as long as liquid seals its clearances. With too little they dry out, it takes in a fraction of
its sweep, and pulls against the lift with a small share of the absolute pressure: in a deep vacuum with less than the
lift, so what is lost there stays lost. Foam keeps it sealed.

But for what is named, common practice put into equations, with assumed figures (`behaviour`).
"""

from numba.extending import register_jitable

from replay.physics import constants as c
from replay.physics import layout as at
from replay.physics.layout import Vector

NEGLIGIBLE = 1e-30  # what is below it is none: numbers that shrink for hours slow the arithmetic down


@register_jitable
def gas_drawn_by_level(p: Vector, level: float) -> float:
    """Return the share (0..1) of gas in what the inlet draws, from the oil level as a share of the charge."""
    return float(min(max((p[at.B_INLET_LEVEL] - level) / (p[at.B_INLET_LEVEL] - p[at.B_DRY_LEVEL]), 0.0), 1.0))


@register_jitable
def liquid_share(bubbles: float) -> float:
    """Return the liquid (0..1) in what a pump takes in, from the volumes of bubbles in a volume of liquid."""
    return 1.0 / (1.0 + bubbles)


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
def _move_gas(
    s: Vector, p: Vector, due: float, density: float, bubbles: float, liquid: float, intake: float, dt: float
) -> None:
    """Take from the oil what comes out in the suction line (due, mass fraction), fill and empty the pocket.

    density: of gas at the inlet, kg/m3; bubbles: volumes in a volume of liquid; liquid and intake in m3/s.
    """
    crankcase = s[at.S_CRANKCASE_PA]
    evolved = dt * due * s[at.S_DENSITY] * liquid
    gathered = dt * p[at.P_GATHERING] * max(bubbles - p[at.P_TOUCHING], 0.0) * liquid * density
    from_line = min(gathered, evolved)
    from_foam = min(gathered - from_line, 0.5 * s[at.S_FOAM_KG])
    bubbled = p[at.P_FOAM_SHARE] * (evolved - from_line)
    whole = p[at.P_POCKET_M3] * crankcase / p[at.P_GAS_RT]
    pocket = s[at.S_POCKET_KG] + from_line + from_foam
    swallowed = dt * p[at.B_GAS_CARRIED] * (1.0 - s[at.S_FILL]) * intake * crankcase / p[at.P_GAS_RT]
    left = min(max(pocket - swallowed, 0.0), p[at.B_POCKET_LIMIT] * whole)
    s[at.S_POCKET_KG] = left
    s[at.S_DISSOLVED_KG] = s[at.S_DISSOLVED_KG] - evolved
    s[at.S_FOAM_KG] = s[at.S_FOAM_KG] - from_foam + bubbled
    s[at.S_RELEASE] = s[at.S_RELEASE] + (evolved - from_line - bubbled + pocket - left) / dt
    s[at.S_TEMPERATURE_K] = s[at.S_TEMPERATURE_K] - p[at.B_EVAPORATION_HEAT_J_KG] * evolved / s[at.S_HEAT_CAPACITY]

    cover = left / whole
    if cover > p[at.B_SLUG_FROM_COVER]:
        s[at.S_PRIMED] = 0.0
    elif cover < p[at.B_SLUG_TO_COVER]:
        s[at.S_PRIMED] = 1.0
    s[at.S_FILL] = 1.0 if s[at.S_PRIMED] > 0.0 else 1.0 - min(cover, 1.0)


@register_jitable
def liquid_drawn(s: Vector, p: Vector, u: Vector, sweep: float, dt: float) -> tuple[float, float]:
    """Advance the gas in the suction line and the pump's seal by dt (s) under a sweep of m3/s.

    Returns (liquid that the pump delivers in m3/s, volumes of bubbles in a volume of it). What comes out of the oil
    here is taken from what is dissolved in the sump, with its heat, and ends in the pocket, the foam or the crankcase.
    """
    crankcase = s[at.S_CRANKCASE_PA]
    free = max(1.0 - u[at.U_SCREEN_CLOG], 1e-3)
    screen_drop = p[at.P_SCREEN] * s[at.S_VISCOSITY] * sweep / (free * free)
    admitted = min(1.0, p[at.B_INLET_SHARE] * crankcase / (screen_drop + 1.0))
    seal = s[at.S_WET]
    suction = (p[at.B_DRY_SUCTION] + (p[at.B_WET_SUCTION] - p[at.B_DRY_SUCTION]) * seal) * crankcase
    follows = min(max(suction / p[at.P_LIFT_PA] - 1.0, 0.0), 1.0)
    intake = sweep * (p[at.B_DRY_INTAKE] + (1.0 - p[at.B_DRY_INTAKE]) * seal)

    inlet_pa = crankcase - min(p[at.P_LIFT_PA] + screen_drop * s[at.S_FILL], p[at.B_INLET_SHARE] * crankcase)
    density = inlet_pa / p[at.P_GAS_RT]
    due = max(s[at.S_FRACTION] - (inlet_pa + p[at.B_CAPILLARY_PA]) / s[at.S_HENRY_PA], 0.0)
    bubbles = s[at.S_BUBBLES]
    if due > 0.0 or s[at.S_NUCLEI] > 0.0:  # what stands still is left alone, here and below: it costs nothing then
        awake = 1.0 if due > 0.0 and sweep > 0.0 else 0.0
        nuclei = (s[at.S_NUCLEI] + dt / p[at.B_NUCLEATION_TIME_S] * awake) / (1.0 + dt / p[at.B_NUCLEATION_TIME_S])
        s[at.S_NUCLEI] = nuclei if nuclei > NEGLIGIBLE else 0.0
        due = nuclei * due * p[at.P_POCKET_M3] / (p[at.P_POCKET_M3] + p[at.B_EVOLUTION_TIME_S] * intake)
        bubbles = due * s[at.S_DENSITY] / density + bubbles
    oil_share = 1.0 - gas_drawn_by_level(p, s[at.S_LEVEL])
    liquid = intake * admitted * follows * s[at.S_FILL] * oil_share * liquid_share(bubbles)

    flowing = liquid > 0.0 and (due > 0.0 or bubbles > p[at.P_TOUCHING])
    if flowing or s[at.S_POCKET_KG] > 0.0 or s[at.S_PRIMED] < 1.0:
        _move_gas(s, p, due, density, bubbles, liquid, intake, dt)

    sealed = 1.0
    if sweep > 0.0 and s[at.S_VOID] < p[at.B_WETTING_VOID] and liquid < p[at.B_SEAL_SHARE] * sweep:
        sealed = liquid / (p[at.B_SEAL_SHARE] * sweep)
    if sealed != seal:
        time = p[at.B_WETTING_TIME_S] if sealed > seal else p[at.B_DRYING_TIME_S]
        seal = (seal + dt / time * sealed) / (1.0 + dt / time)
        s[at.S_WET] = seal if seal > NEGLIGIBLE else 0.0
    return liquid, bubbles


@register_jitable
def pump_step(s: Vector, p: Vector, u: Vector, dt: float) -> None:
    """Advance the suction line and net oil pressure by dt (s)."""
    sweep = p[at.P_PUMP_SWEEP] * s[at.S_SPEED] * u[at.U_PUMP_DRIVE]
    if u[at.U_ROTATION] < 0.0:
        sweep = 0.0  # the pump's inlet and outlet change places
    liquid, bubbles = liquid_drawn(s, p, u, sweep, dt)
    viscosity = s[at.S_VISCOSITY]
    main = (p[at.P_MAIN_LEAK] + p[at.P_SLIP] * (1.0 + u[at.U_PUMP_WEAR])) / viscosity + u[at.U_RELIEF_STUCK] * p[
        at.P_STUCK_SLOPE
    ]
    target = balance_pressure_pa(
        liquid, main, p[at.P_PIN_LEAK] / viscosity, s[at.S_FLOOR_PA], p[at.P_RELIEF_SLOPE], p[at.P_RELIEF_PA]
    )
    lag = p[at.B_PRESSURE_LAG_S] * (1.0 + p[at.B_THICK_OIL_LAG] * viscosity / c.REFERENCE_VISCOSITY_PA_S)
    lag = lag + p[at.B_FOAM_LAG_S] * (1.0 - liquid_share(bubbles))
    s[at.S_NET_PA] = (s[at.S_NET_PA] + dt / lag * target) / (1.0 + dt / lag)
