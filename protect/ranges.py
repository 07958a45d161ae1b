"""What may be set and what may be read: the one table of admitted ranges.

Settings, inputs, state and outputs are flat integer arrays with named places.
This file names the places of the settings and of the inputs and gives for each
its unit, the least and the most admitted value. Settings check, readers,
proofs, fuzzers, generated headers and documents all read these rows.

Units: Pa (absolute pressures and pressure differences), ms, count, and
`weight`, a fixed-point number in 1/2048 (ONE = weight 1).

How to add a setting: its place and row here, any rule between settings in `settings`. If a product with it could pass
2^30, the range is too wide.
"""

ONE = 2048  # weight 1 in fixed point
WEIGHT_BITS = 11  # ONE == 1 << WEIGHT_BITS

# Places in the settings array: what a settings file sets ...
CUT_OUT = 0
CUT_IN = 1
FLOOR = 2
TRIP_DELAY = 3
FLOOR_WEIGHT = 4
VACUUM_WEIGHT = 5
RECOVERY = 6
STOPPED_RECOVERY = 7
VACUUM = 8
RELOAD = 9
RELOAD_FRACTION = 10
START_GRACE = 11
RESTART_DELAY = 12
TRIPS_TO_LOCKOUT = 13
TRIP_MEMORY = 14
OIL_LEAST = 15
OIL_MOST = 16
SUCTION_LEAST = 17
SUCTION_MOST = 18
MAX_GAP = 19
STUCK_AFTER = 20
FAULT_DELAY = 21
REST_SETTLE = 22
REST_MOST = 23
RESET_HOLD = 24
RESETS_MOST = 25
SETTING_COUNT = 26
# ... and what settings.derive() works out from it, once, outside the step.
SLOPE = 26
PERCENT_SCALE = 27
RELOAD_LEVEL = 28
SETTINGS_SIZE = 29

# (name, unit, least, most), in the order of the places above.
SETTINGS = (
    ("cut_out", "Pa", 1000, 1000000),
    ("cut_in", "Pa", 1000, 1000000),
    ("floor", "Pa", 0, 1000000),
    ("trip_delay", "ms", 1000, 1800000),
    ("floor_weight", "weight", ONE, 8 * ONE),
    ("vacuum_weight", "weight", 205, 8 * ONE),
    ("recovery", "weight", 0, 8 * ONE),
    ("stopped_recovery", "weight", 0, 8 * ONE),
    ("vacuum", "Pa", 0, 10000000),
    ("reload", "Pa", 0, 20000000),
    ("reload_fraction", "weight", 0, ONE),
    ("start_grace", "ms", 0, 1800000),
    ("restart_delay", "ms", 0, 86400000),
    ("trips_to_lockout", "count", 1, 100),
    ("trip_memory", "ms", 1000, 604800000),
    ("oil_least", "Pa", -100000, 20000000),
    ("oil_most", "Pa", -100000, 20000000),
    ("suction_least", "Pa", -100000, 20000000),
    ("suction_most", "Pa", -100000, 20000000),
    ("max_gap", "ms", 10, 300000),
    ("stuck_after", "ms", 1000, 86400000),
    ("fault_delay", "ms", 100, 1800000),
    ("rest_settle", "ms", 0, 86400000),
    ("rest_most", "Pa", 1000, 20100000),
    ("reset_hold", "ms", 0, 86400000),
    ("resets_most", "count", 1, 7),
)

# No two readings differ by more: a rest_most of this much finds nothing, and stands for none.
REST_OFF = 20100000

# Places in the inputs array: one set of readings a step.
ELAPSED = 0
RUN_FEEDBACK = 1
RESET = 2
OIL_PRESSURE = 3
SUCTION_PRESSURE = 4
CRANKCASE_PRESSURE = 5  # the suction pressure again where there is no crankcase sensor
INPUTS_SIZE = 6

# (name, unit, least, most), in the order of the places above.
INPUTS = (
    ("elapsed", "ms", 0, 1073741823),
    ("run_feedback", "count", 0, 1),
    ("reset", "count", 0, 1),
    ("oil_pressure", "Pa", -100000, 20000000),
    ("suction_pressure", "Pa", -100000, 20000000),
    ("crankcase_pressure", "Pa", -100000, 20000000),
)

# A pressure that was not read. Outside every range, so never plausible.
NO_READING = -1000000000

# Longer than any trip delay, fault delay, start grace and max_gap: an elapsed
# time beyond it says nothing more and is taken as this long (and so as late).
ELAPSED_MOST = 1800000
