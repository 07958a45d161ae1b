"""The board: every pin, sensor and time of this machine in one place. Change this file, and no other.

Settings of the protection are not here: they come exported and checked as
board_settings.py (`lubetrip export settings.toml --to micropython`).
"""

# Analogue inputs of the controller.
OIL_PIN = 26  # oil pump discharge pressure
SUCTION_PIN = 27  # suction pressure
SUPPLY_PIN = 28  # supply of a ratiometric sensor, through the same divider as its signal

# Digital inputs, closed contact = low.
RUN_PIN = 14  # auxiliary contact of the contactor: the machine runs
RESET_PIN = 15  # manual reset

# Output: energised means that the machine may run, so that a broken wire stops it.
RELAY_PIN = 16
# Output: a lamp or a horn, on while short of oil, stopped, or a reading in doubt, and until the first step.
ALARM_PIN = 17

# Sensors, whole kPa absolute at the two ends of the signal. "loop" is 4-20 mA
# over a shunt, "ratiometric" is 0.5-4.5 V of a 5 V supply.
OIL_KIND = "loop"
OIL_KPA = (0, 2000)
SUCTION_KIND = "ratiometric"
SUCTION_KPA = (0, 1600)

# Current (uA) at full scale of the converter: 3.3 V over a shunt of 150 ohm.
LOOP_FULL_SCALE_UA = 22000
# Converter counts (of 65535) between which the supply of a ratiometric sensor is believed.
SUPPLY_COUNTS = (35000, 50000)

STEP_MS = 200  # pace of the protection
WATCHDOG_MS = 2000  # the board starts anew when no pass was completed for so long
SAVE_MS = 600000  # time between saved records while nothing changes
RECORDS = ("record_a.bin", "record_b.bin")  # written in turn


def show(text: str) -> None:
    """Show a line to whoever stands at the board: here on the console; put the board's display in its place."""
    print(text)
