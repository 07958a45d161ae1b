"""The corners of what a machine can meet, every step looked at and the books balanced.

Every machine, oil and refrigerant, coldest and hottest, emptiest and fullest, at rest and drowned in refrigerant,
slowest and fastest, suction open and shut for an hour, sound and with all faults at once.
"""

import itertools
from collections.abc import Iterator
from dataclasses import dataclass

import click
import numpy as np

from replay.physics import MACHINES, OILS, REFRIGERANTS, Channel, Schedule, Start, layout
from replay.physics.constants import LARGEST_FRACTION, MINIMUM_PRESSURE_PA
from replay.physics.kernel import _DIGEST
from replay.physics.model import STEP_S, first_state, parameters, solubility_table
from tests.results import close, record_option
from tests.support import physics_ledger as ledger

AT_S = 60.0  # when valve and faults come
HOUR_S = 3600.0
CLIMATES = {"coldest": (-20.0, 150e3, 1200e3), "hottest": (90.0, 400e3, 2000e3)}  # sump C, suction and discharge Pa
LEVELS = {"emptiest": 0.1, "fullest": 2.0}
FRACTIONS = {"at rest": None, "drowned": LARGEST_FRACTION}
SPEEDS = {"slowest": 0.3, "fastest": 1.15}
DUTIES = ("open", "shut")
FAULTS = {
    "sound": {},
    "all faults": {
        Channel.SCREEN_CLOG: 0.95,
        Channel.PUMP_WEAR: 10.0,
        Channel.RELIEF_STUCK: 0.5,
        Channel.PUMP_DRIVE: 0.2,
        Channel.LIQUID_KG_S: 0.003,
        Channel.CAPACITY: 0.34,
    },
    "all faults and a leak": {Channel.SCREEN_CLOG: 0.95, Channel.OIL_LEAK_KG_S: 0.01, Channel.ROTATION: -1.0},
}
REFRIGERANT_REL, OIL_REL, HEAT_REL = 1e-8, 1e-10, 1e-6  # of what is held, and of the heat moved
TEMPERATURES_K = (180.0, 480.0)


@dataclass(frozen=True)
class Corner:
    """One corner; the words are keys of the tables above."""

    machine: str
    oil: str
    refrigerant: str
    climate: str
    level: str
    fraction: str
    speed: str
    duty: str
    faults: str

    def __str__(self) -> str:
        """Name the corner."""
        return " ".join(vars(self).values())


def corners() -> Iterator[Corner]:
    """Yield every corner."""
    sites = (MACHINES, OILS, REFRIGERANTS)
    for words in itertools.product(*sites, CLIMATES, LEVELS, FRACTIONS, SPEEDS, DUTIES, FAULTS):
        yield Corner(*words)


def wrong(corner: Corner, seconds: float = HOUR_S) -> str:
    """Run a corner for so long; returns what is wrong with it, or nothing."""
    machine, oil, refrigerant = MACHINES[corner.machine], OILS[corner.oil], REFRIGERANTS[corner.refrigerant]
    sump_c, suction_pa, discharge_pa = CLIMATES[corner.climate]
    speed_rpm = SPEEDS[corner.speed] * machine.rated_speed_rpm
    plan = Schedule(speed_rpm, suction_pa, discharge_pa, 1.8 * suction_pa, sump_c - 25.0)
    if corner.duty == "shut":
        plan.change(Channel.SUCTION_VALVE, AT_S, 0.0, 1.0)
    for channel, value in FAULTS[corner.faults].items():
        plan.change(channel, AT_S, value)
    p = parameters(machine, oil, refrigerant, plan)
    s = first_state(machine, oil, refrigerant, plan, Start(sump_c, FRACTIONS[corner.fraction], LEVELS[corner.level]), p)
    books, table = ledger.new_ledger(), solubility_table(oil, refrigerant)
    before_kg, before_oil_kg = ledger.held_kg(s, p), s[layout.S_OIL_KG] + s[layout.S_SYSTEM_OIL_KG]
    steps = round((AT_S + seconds) / STEP_S)
    ledger.compiled_course(s, p, table, *plan.arrays(), steps, np.zeros(layout.INPUTS), books)
    oil_kg = s[layout.S_OIL_KG] + s[layout.S_SYSTEM_OIL_KG]
    gained_kg = ledger.held_kg(s, p) - before_kg
    leaks = Channel.OIL_LEAK_KG_S in FAULTS[corner.faults]
    checks = {
        "a value that is no number": books[ledger.NO_NUMBERS] > 0.0,
        "a negative mass": books[ledger.LEAST_KG] < 0.0,
        "gas at its least pressure": books[ledger.LOWEST_PA] <= MINIMUM_PRESSURE_PA,
        "a pressure over discharge": books[ledger.HIGHEST_PA] > discharge_pa,
        "a temperature out of range": books[ledger.COLDEST_K] < TEMPERATURES_K[0]
        or books[ledger.HOTTEST_K] > TEMPERATURES_K[1],
        "refrigerant out of balance": not leaks
        and abs(gained_kg - books[ledger.BROUGHT_KG]) > REFRIGERANT_REL * (before_kg + abs(books[ledger.BROUGHT_KG])),
        "oil out of balance": oil_kg > before_oil_kg * (1.0 + OIL_REL)
        if leaks
        else abs(oil_kg - before_oil_kg) > OIL_REL * before_oil_kg,
        "heat out of balance": not leaks
        and abs(books[ledger.STORED_J] - books[ledger.BROUGHT_J]) > HEAT_REL * (abs(books[ledger.STORED_J]) + 1e6),
    }
    found = [name for name, is_wrong in checks.items() if is_wrong]
    figures = f"{books[ledger.LOWEST_PA]:.0f} to {books[ledger.HIGHEST_PA]:.0f} Pa, {books[ledger.COLDEST_K]:.0f} to {books[ledger.HOTTEST_K]:.0f} K, least {books[ledger.LEAST_KG]:.3g} kg"
    return f"{corner}: {', '.join(found)} ({figures})" if found else ""


@click.command()
@click.option("--every", default=1, show_default=True, help="Take one corner in so many.")
@click.option("--seconds", default=HOUR_S, show_default=True, help="How long each is run after it is reached.")
@record_option
def extremes(every: int, seconds: float, record: bool) -> None:
    """Run the machine in every corner: no NaN, no negative mass, pressures in range, balances. Exit status 1 if not."""
    taken = list(itertools.islice(corners(), 0, None, every))
    found = [told for told in (wrong(corner, seconds) for corner in taken) if told]
    for told in found:
        click.echo(told)
    line = f"{len(taken)} corners of {seconds:g} s: {len(found)} out of range or out of balance"
    close(f"{line}; physics {_DIGEST:012x}", record=record)
    raise SystemExit(1 if found else 0)
