"""A machine stepped with its books kept: what was brought in and what is held, and the extremes on the way.

`course` is plain Python and can be compiled (`compiled_course`), so that minutes and years are kept by the same lines.
"""

import hashlib
from pathlib import Path

import numpy as np
from numba.extending import register_jitable

from replay.ground import machine_code
from replay.ground.cache import code_folder
from replay.physics import layout
from replay.physics.kernel import _DIGEST, one_step, read_inputs

# Refrigerant brought in, kg; heat stored in the sump as its temperature tells, and heat brought, J; of all steps the
# least mass in kg, lowest and highest pressure in Pa, lowest and highest temperature in K; values that are no number.
(BROUGHT_KG, STORED_J, BROUGHT_J, LEAST_KG, LOWEST_PA, HIGHEST_PA, COLDEST_K, HOTTEST_K, NO_NUMBERS) = range(9)
MASSES = (
    layout.S_OIL_KG,
    layout.S_DISSOLVED_KG,
    layout.S_SYSTEM_OIL_KG,
    layout.S_SYSTEM_DISSOLVED_KG,
    layout.S_FOAM_KG,
    layout.S_POCKET_KG,
)
PRESSURES = (layout.S_EVAPORATOR_PA, layout.S_SUCTION_PA, layout.S_CRANKCASE_PA)


def new_ledger():
    """Return an empty ledger, float64[9]."""
    books = np.zeros(9)
    books[[LEAST_KG, LOWEST_PA, COLDEST_K]] = np.inf
    books[[HIGHEST_PA, HOTTEST_K]] = -np.inf
    return books


def held_kg(s, p) -> float:
    """Refrigerant in both gas spaces, on its way to the crankcase, dissolved, in the foam, the pocket and the system."""
    return (
        s[layout.S_EVAPORATOR_PA] * p[layout.P_EVAPORATOR_CAPACITY]
        + s[layout.S_SUCTION_PA] * p[layout.P_CRANKCASE_CAPACITY]
        + p[layout.P_STEP_S] * s[layout.S_RELEASE]
        + s[layout.S_DISSOLVED_KG]
        + s[layout.S_SYSTEM_DISSOLVED_KG]
        + s[layout.S_FOAM_KG]
        + s[layout.S_POCKET_KG]
    )


@register_jitable
def course(s, p, table, times, values, slopes, steady, steps, u, books):
    """Step the machine on and keep its books. A leak of oil takes refrigerant along, which the books do not know."""
    dt = p[layout.P_STEP_S]
    for step in range(steps):
        now_s = step * dt
        read_inputs(s, times, values, slopes, steady, now_s, u)
        suction, kelvin = s[layout.S_SUCTION_PA], s[layout.S_TEMPERATURE_K]
        solved = s[layout.S_DISSOLVED_KG] + s[layout.S_SYSTEM_DISSOLVED_KG]
        one_step(s, p, u, 1.0, now_s, table)
        liquid = dt * u[layout.U_LIQUID_KG_S]
        load = u[layout.U_LIQUID_VALVE] * p[layout.P_LOAD_CONDUCTANCE]
        flow = load * (u[layout.U_LOAD_PA] - s[layout.S_EVAPORATOR_PA]) - s[layout.S_FLOW]
        blow_by = p[layout.P_BLOW_BY] * (u[layout.U_DISCHARGE_PA] - suction)
        books[BROUGHT_KG] += dt * (flow + blow_by) + liquid
        rest = u[layout.U_AMBIENT_K] + u[layout.U_HEATER_K] + p[layout.B_RUNNING_RISE_K] * s[layout.S_SPEED]
        capacity = s[layout.S_HEAT_CAPACITY]
        solved = s[layout.S_DISSOLVED_KG] + s[layout.S_SYSTEM_DISSOLVED_KG] - solved - liquid
        books[STORED_J] += capacity * (s[layout.S_TEMPERATURE_K] - kelvin)
        books[BROUGHT_J] += (
            dt * capacity * (rest - kelvin) / p[layout.B_WARMING_TIME_S] + p[layout.B_EVAPORATION_HEAT_J_KG] * solved
        )
        for place in MASSES:
            books[LEAST_KG] = min(books[LEAST_KG], s[place])
        for place in PRESSURES:
            books[LOWEST_PA] = min(books[LOWEST_PA], s[place])
            books[HIGHEST_PA] = max(books[HIGHEST_PA], s[place])
        books[COLDEST_K] = min(books[COLDEST_K], s[layout.S_TEMPERATURE_K])
        books[HOTTEST_K] = max(books[HOTTEST_K], s[layout.S_TEMPERATURE_K])
        for value in s:
            if not np.isfinite(value):
                books[NO_NUMBERS] += 1.0


OWN = hashlib.sha256(Path(__file__).read_bytes()).hexdigest()
compiled_course = machine_code.compiled(course, code_folder("ledger", f"{_DIGEST:x}", OWN), error_model="numpy")
