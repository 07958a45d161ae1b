"""The units in which pressures are shown: one of three systems for all that a command shows, draws and writes.

A user asks for one with `--units`; without that it is the one the settings file is written in. Suction is shown as a
gauge shows it, counted from the atmosphere of the site: below it as inHg vac where inches are used.
"""

import contextlib
from collections.abc import Iterator
from contextvars import ContextVar
from dataclasses import dataclass

from replay.ground.units import INHG_PA, PSI_PA, UnitError, atmosphere_pa, pressure_unit


@dataclass(frozen=True)
class Units:
    """A system: its name, units of net oil pressure, gauge and absolute pressure, Pa in one, decimals shown."""

    name: str
    difference: str
    gauge: str
    absolute: str
    size_pa: float
    decimals: int

    def number(self, pascals: float) -> str:
        """Return a pressure (Pa) under a head that says its unit."""
        return f"{pascals / self.size_pa:z.{self.decimals}f}"

    def net(self, pascals: float) -> str:
        """Return a difference of pressures (Pa) with its unit."""
        return f"{self.number(pascals)} {self.difference}"

    def suction(self, pascals: float, altitude_m: float) -> str:
        """Return an absolute pressure (Pa) as a gauge at that altitude shows it."""
        above = pascals - atmosphere_pa(altitude_m)
        if self is US and above <= -INHG_PA / 20:  # what is vacuum to a tenth
            return f"{-above / INHG_PA:.1f} inHg vac"
        return f"{self.number(above)} {self.gauge}"

    def whole(self, pascals: float, altitude_m: float) -> str:
        """Return an absolute pressure (Pa) as a gauge shows it, and beside that counted from nothing."""
        return f"{self.suction(pascals, altitude_m)} ({self.number(pascals)} {self.absolute})"


US = Units("us", "psi", "psig", "psia", PSI_PA, 1)
BAR = Units("bar", "bar", "bar(g)", "bar(a)", 1e5, 2)
KPA = Units("kpa", "kPa", "kPa gauge", "kPa abs", 1000.0, 1)
SYSTEMS = {units.name: units for units in (US, BAR, KPA)}
_ASKED: ContextVar[Units | None] = ContextVar("units", default=None)


def asked(otherwise: Units = KPA) -> Units:
    """Return the system that the user asked for, or another where none was."""
    return _ASKED.get() or otherwise


@contextlib.contextmanager
def shown_in(units: Units | None) -> Iterator[None]:
    """Show everything in this system for a while; None: as nobody had asked, in that of the settings."""
    token = _ASKED.set(units)
    try:
        yield
    finally:
        _ASKED.reset(token)


def other_units(units: Units) -> Units:
    """Return the units of the other half of the trade."""
    return BAR if units is US else US


def system_of(text: object) -> Units:
    """Return the system in which a pressure such as "5.5 psi" is written."""
    unit = str(text).strip().lstrip("+-0123456789.eE ").strip()
    if unit.startswith(("bar", "mbar")):
        return BAR
    try:
        size, _ = pressure_unit(unit)
    except UnitError:
        return KPA
    return US if size in (PSI_PA, INHG_PA) else KPA
