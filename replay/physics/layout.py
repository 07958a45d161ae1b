"""Positions in the plain float arrays that the compiled kernel works on.

Parameters do not change during a trace, inputs are what the schedule imposes, the state is all that is carried
from step to step (copy it, and the trace can be continued twice), a record is what is kept at a sample.
"""

import numpy as np
from numpy.typing import NDArray

Vector = NDArray[np.float64]  # one dimension
Matrix = NDArray[np.float64]  # two dimensions

# fmt: off
# Inputs: the channels of a schedule, in this order.
(U_RUN, U_SPEED_RPM, U_CAPACITY, U_SUCTION_VALVE, U_LIQUID_VALVE, U_LOAD_PA, U_DISCHARGE_PA, U_AMBIENT_K, U_HEATER_K,
 U_OIL_LEAK_KG_S, U_SCREEN_CLOG, U_PUMP_WEAR, U_PUMP_DRIVE, U_RELIEF_STUCK, U_ROTATION, U_LIQUID_KG_S,
 U_SUCTION_PA) = range(17)
INPUTS = 17

(P_STEP_S, P_SLOW_STEPS, P_RATED_RPM, P_SWEEP_FLOW, P_CLEARANCE, P_EXPONENT, P_EVAPORATOR_CAPACITY,
 P_CRANKCASE_CAPACITY, P_LOAD_CONDUCTANCE, P_VALVE_CONDUCTANCE, P_BLOW_BY, P_VENT, P_GAS_RT, P_OIL_DENSITY,
 P_LIQUID_DENSITY, P_LIQUID_VISCOSITY, P_WALTHER_A, P_WALTHER_B, P_OIL_CHARGE_M3, P_FOAM_SHARE, P_FOAM_LIFE_S,
 P_RELEASE_S, P_ABSORPTION_S, P_HELD_FRACTION, P_BOIL_S, P_GATHERING, P_TOUCHING, P_DESIGN_FLOW, P_PUMP_SWEEP,
 P_POCKET_M3, P_LIFT_PA, P_DRILLING_INLET, P_DRILLING_OUTLET, P_RELIEF_PA, P_RELIEF_SLOPE, P_MAIN_LEAK, P_PIN_LEAK,
 P_SLIP, P_SCREEN, P_STUCK_SLOPE, P_SOMMERFELD_SCALE, P_RATED_MEP) = range(42)
COLUMNS = 3  # journals of a kind: pessimistic, likely, optimistic
FILM_POINTS = 13  # of the journal's table
P_LEAST_SOMMERFELD = 42  # a column each
P_FILM_S, P_FILM_FLOW = P_LEAST_SOMMERFELD + COLUMNS, P_LEAST_SOMMERFELD + COLUMNS + FILM_POINTS
PARAMETERS = P_FILM_FLOW + FILM_POINTS

(S_STEP, S_SEGMENT, S_EVAPORATOR_PA, S_SUCTION_PA, S_CRANKCASE_PA, S_OIL_KG, S_DISSOLVED_KG, S_SYSTEM_OIL_KG,
 S_FOAM_KG, S_POCKET_KG, S_PRIMED, S_FILL, S_WET, S_SPEED, S_NET_PA, S_TEMPERATURE_K, S_RELEASE, S_FLOW, S_MEP,
 S_VOID, S_LEVEL, S_FLOOR_PA, S_VISCOSITY, S_HENRY_PA, S_DENSITY, S_FRACTION, S_ONSET_S, S_BEFORE_OIL_PA,
 S_BEFORE_SUCTION_PA, S_BEFORE_CRANKCASE_PA, S_FOAM_LIFE_S, S_COARSE, S_RATIO, S_VOLUME_RATIO,
 S_SYSTEM_DISSOLVED_KG, S_BUBBLES, S_HEAT_CAPACITY, S_NUCLEI) = range(38)
(S_RESERVE, S_HEAT, S_PASSAGE) = (38, 44, 50)  # six journals each: the columns of the pins, then of the main bearings
(S_WHOLE, S_SPELLS, S_SPOILING, S_SPELL_RESERVE, S_SPELL_HEAT, S_LEAST_RESERVE, S_MOST_HEAT) = range(56, 63)
SPELL = 1 + COLUMNS  # of a spell that spoilt something: its onset, when each column was spoilt
MOST_SPELLS = 64  # whose times are kept; more are counted
S_RECORD = 63
STATES = S_RECORD + MOST_SPELLS * SPELL

(R_OIL_PA, R_SUCTION_PA, R_CRANKCASE_PA, R_RUNNING, R_RESERVE, R_RESERVE_LOW, R_RESERVE_HIGH, R_VOID, R_POCKET,
 R_PRIMED, R_LEVEL, R_TEMPERATURE_K, R_FRACTION, R_SPEED_RPM, R_FLOOR_PA) = range(15)
RECORDS = 15

NEVER = -1.0  # a time that has not come
