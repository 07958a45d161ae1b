"""Numbers of the model that are no machine's, oil's or refrigerant's own: nature's, limits of the model, conventions.

What may differ from machine to machine, or could be fitted, stands in `behaviour` with its range.

published         printed in a named source (fitted data and equations sit in their own modules)
common practice   what the trade reckons with; no source
by definition     a convention of this model: a limit, or the state at which something is stated
"""

GAS_CONSTANT_J_KMOL_K = 8314.46261815324  # published: CODATA 2018
ATMOSPHERE_PA = 101325.0  # published: standard atmosphere
CHOKE_RATIO = 0.5  # common practice: a valve chokes when the pressure behind it is about half of that before it
MINIMUM_PRESSURE_PA = 500.0  # by definition: keeps the gas equations away from nought; not reached with real clearances
LARGEST_FRACTION = 0.45  # by definition: end of the solubility table; more boils off at once, or lies there as liquid
REFERENCE_VISCOSITY_PA_S = 0.015  # by definition: viscosity at which shares and rates of oil are stated
FOAM_PRESSURE_PA = 100e3  # by definition: pressure at which an oil states its foam life
COOL = 1e-3  # by definition: heat below it is none, so that a machine that is well costs no arithmetic
