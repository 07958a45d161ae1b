"""Every number of the model that is neither a machine's, an oil's nor a refrigerant's, with what stands behind it.

published         printed in a named source (fitted data and equations sit in their own modules)
common practice   what the trade reckons with; no source
assumed           chosen here so that the facts of the trade come out; nobody measured it
"""

# --- gas ------------------------------------------------------------------------------------------------------
GAS_CONSTANT_J_KMOL_K = 8314.46261815324  # published: CODATA 2018
ATMOSPHERE_PA = 101325.0  # published: standard atmosphere
GAS_TEMPERATURE_K = 288.15  # assumed: suction gas and crankcase gas, constant
CHOKE_RATIO = 0.5  # common practice: a valve chokes when the pressure behind it is about half of that before it
VALVE_DROP = 0.02  # common practice: drop over the open suction valve at design flow, share of suction pressure
BLOW_BY = 0.0005  # assumed: leakage past pistons and valves at design pressures, share of the design flow
VENT_DROP = 0.01  # assumed: crankcase above suction at a gas release of a tenth of the design flow, share
MINIMUM_PRESSURE_PA = 500.0  # keeps the gas equations away from nought; never reached with a real clearance

# --- oil and dissolved refrigerant ------------------------------------------------------------------------------
OIL_HEAT_J_KG_K = 2000.0  # common practice
CASING_HEAT = 1.0  # assumed: heat capacity of the metal around the sump, share of that of its oil charge
EVAPORATION_HEAT_J_KG = 200e3  # common practice: taken by refrigerant that leaves the oil, given by what enters it
RUNNING_RISE_K = 25.0  # common practice: oil over ambient in steady running
WARMING_TIME_S = 1800.0  # assumed
STANDING_SHARE = 0.05  # assumed: release and absorption in an unstirred sump, share of the stirred rate
CIRCULATION = 0.004  # common practice: oil carried with the refrigerant, share of its mass flow
RETURN_TIME_S = 240.0  # assumed: oil on its way round, at design flow
LEAST_OIL = 0.01  # assumed: share of the charge that cannot be lost, so that no quotient loses its meaning
CRANKCASE_OIL_SPACE = 3.0  # assumed: foam beyond this many oil charges of volume leaves with the gas
FOAM_CARRY_1_S = 0.004  # assumed: share of the foam beyond that leaving each second
LARGEST_FRACTION = 0.45  # end of the solubility table; refrigerant beyond it boils off at once, or lies there as liquid
REFERENCE_VISCOSITY_PA_S = 0.015  # assumed: viscosity at which oil properties state their rates

# --- pump and pressure ------------------------------------------------------------------------------------------
HEALTHY_NET_PA = 138e3  # common practice: about 20 psi held by the relief valve
RELIEF_SPAN = 0.08  # assumed: rise over the setting with the whole flow through the relief, share
LEAKAGE_SHARE = 0.35  # assumed: bearing leakage at healthy pressure and reference viscosity, share of the sweep
PIN_SHARE = 0.45  # assumed: share of that which goes through the crankpins, above the floor pressure only
SLIP_SHARE = 0.08  # assumed: internal slip at the same point (plane Poiseuille flow: proportional to dp/mu)
STUCK_RELIEF_PA = 4e3  # assumed: pressure left when the whole flow passes a relief valve stuck wide open
SCREEN_DROP_PA = 1.5e3  # assumed: clean suction screen at full flow and reference viscosity
INLET_SHARE = 0.9  # assumed: of the crankcase pressure, what can push oil into the pump before it cavitates
CAPILLARY_PA = 10e3  # assumed: a bubble grows from this tension on, 2 sigma/r of a site of 4 um at 0.02 N/m
EVOLUTION_TIME_S = 0.05  # assumed: gas due in the pump's suction line comes out in this time
NUCLEATION_TIME_S = 40.0  # assumed: sites in the suction line wake in this time, and fall asleep again
SLUG_FROM_COVER = 1.3  # assumed: shares of its place from which on a pocket is drawn in as a slug
SLUG_TO_COVER = 0.3  # assumed: what is left of it then clings again
POCKET_LIMIT = 1.5  # assumed: a larger pocket spills
GAS_CARRIED = 0.2  # assumed: of the volume that the pump could take of a pocket, what it does; the rest slips back
SEAL_SHARE = 0.15  # assumed: liquid in what the pump moves, from which on its clearances are sealed
DRY_INTAKE = 0.1  # assumed: volume that a pump with dry clearances takes in, share of its sweep
WET_SUCTION = 0.5  # assumed: a pump with oil in its clearances draws this share of the absolute pressure
DRY_SUCTION = 0.04  # assumed: with dry clearances
DRYING_TIME_S = 7.0  # assumed
WETTING_TIME_S = 1.0  # assumed
COARSENING_VOLUMES = 3.0  # assumed: gas at one atmosphere released by a volume of oil that makes a foam coarse
COARSE_MEMORY_S = 150.0  # assumed: coarse bubbles are replaced by fine ones in this time
BUBBLE_RISE_S = 0.3  # assumed: large bubbles of boiling oil on their way to its surface
FOAM_PRESSURE_PA = 100e3  # assumed: pressure at which an oil states its foam life
WETTING_VOID = 0.1  # assumed: foam of this void and more keeps the clearances wet
PRESSURE_LAG_S = 0.6  # assumed: galleries filled with liquid
FOAM_LAG_S = 2.0  # assumed: added by oil full of bubbles
THICK_OIL_LAG = 0.05  # assumed: growth of the lag with viscosity over the reference
INLET_LEVEL = 0.35  # assumed: the inlet begins to draw gas below this share of the charge
DRY_LEVEL = 0.2  # assumed: and draws nothing else below this one
ACCELERATION_TIME_S = 0.5  # common practice: across-the-line start
COAST_TIME_S = 1.2  # assumed

# --- bearings: of three columns, the first is a pessimistic journal, then a likely and an optimistic one -----------
# No measured time of a plain bearing that runs dry in a compressor was found. Published, read as web pages: oil failure
# switches of the trade wait 90 to 120 s under about 9 psi (a trade paper, and a text on controls: about 2 minutes) and
# machines are built to stand that; a starved film carries on with a fraction of its flow (Heshmat and Pinkus 1985,
# J. Trib. 107:23; Heshmat and Artiles 1985, J. Trib. 107:1: abstracts only). So the likely journal under rated load
# outlasts such a switch, and the pessimistic one (thin oil, wide clearance, rough or askew) does not always: the band.
LOST_SHARE = (0.0013, 0.00122, 0.00115)  # assumed, sets the minutes: of what leaves a film, what is not drawn in again
FLUNG = 4.0  # assumed: leakage whatever the load, in units of r c N L as the side flow (which is 0 .. 6)
EXPELLED = 4.0  # assumed: and as much more where the gas coming out of the oil leaves it a void of 1
LEAST_FILM_RATIO = (0.13, 0.10, 0.07)  # assumed: h0/c below which the surfaces touch (roughness, misalignment)
WIPE_TIME_S = (2.5, 3.0, 3.5)  # assumed, from dry friction of 0.1, 4 kN, 4.5 m/s: 1.8 kW into some 70 J/K of shell and
# skin of the journal are 25 K/s, and the metal bears some 100 K
PASSAGE_TIME_S = (10.0, 8.0, 7.0)  # assumed: empty passages between pump and journal fill at healthy pressure; volume
# over flow, some 0.5 to 1 l of strainer, gallery and drillings at 6 l/min
PASSAGE_EMPTIES_S = 15.0  # assumed: they run dry
FILL_TIME_S = 3.0  # assumed: oil at the journal fills it at healthy pressure; the clearance alone takes tenths of a s
BODY_TIME_S = 240.0  # assumed: a hot bearing cools into shaft and body
OIL_TIME_S = 90.0  # assumed: and in addition into the oil that flows through it at healthy pressure
RATED_LOAD = (1.0, 0.7)  # assumed: specific load of crankpin and main bearing at the design point, share of the pin's
IDLE_LOAD = (0.07, 0.08)  # assumed: when the pistons compress nothing; inertia at the pin, and the rotor's weight
# assumed, in `bearing`: a film of oil R carries as if S were R^3 S (less oil, and it runs hotter)
ONSET_SHARE = 0.7  # assumed: a spell begins when net oil pressure falls below this share of the relief setting
SPELL_OVER_RESERVE = 0.999  # assumed: and is over when the pessimistic journals have their oil back
SPELL_OVER_HEAT = 0.05  # assumed: and are no hotter than this
COOL = 1e-3  # what is below it is none, so that a machine that is well costs no arithmetic
