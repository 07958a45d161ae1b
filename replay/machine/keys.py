"""Every key of a machine file: its unit, what is admitted, what is drawn where it is left out, and a line on it.

A *figure* is a quantity with its unit, or two of them: a range that each trace draws from. What is left out is drawn
from `Drawn`, evenly; those ranges are assumed, from what such machines have. A *word* is anything else.

How to add one: a row here, at the end of its section, and its use in `draw`.
"""

import math
import re
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from replay.ground.shape import Key, Keys, UnfitError, list_of, name, number, one_of, switch, whole
from replay.ground.units import UnitError, duration_ms, pressure_difference_pa, quantity
from replay.machine.duty import DUTY, FAULTS
from replay.machine.word import Word
from replay.physics.behaviour import TABLE

Range = tuple[float, float]
PAIR, TRIPLE = 2, 3
ROUNDING = 1e-9  # of a unit's factor, at the ends of what is admitted
TABLE_C = (-40.0, 100.0)  # temperatures of the solubility table
MOST_POINTS = 1000
LEAST_PA = 1000.0
VISCOSITY_C = (-40.0, 150.0)
LEAST_VISCOSITY_MM2_S = 2.0  # end of the plain form by temperature
LEAST_SPAN_K = 20.0  # between two viscosities


@dataclass(frozen=True)
class Kind:
    """A kind of figure: how it is read into the unit used inside, and written."""

    read: Callable[[Any], float]
    write: Callable[[float], str]


def _of(want: str, example: str, per: float, unit: str) -> Kind:
    """Return a kind read by a unit of the library and written as so many of another."""
    return Kind(lambda text: quantity(text, want, example), lambda value: f'"{value / per:.4g} {unit}"')


_DEGREES = re.compile(r"\s*([-+]?\d+(?:\.\d+)?)\s*(?:°\s*|deg\s*)?([CFK])\s*")


def _celsius(text: Any) -> float:
    matched = _DEGREES.fullmatch(text) if isinstance(text, str) else None
    if matched is None:
        raise UnitError('not a temperature such as "-10 C"')
    value = float(matched[1])
    return {"C": value, "F": (value - 32.0) / 1.8, "K": value - 273.15}[matched[2]]


LENGTH = _of("metre", '"70 mm"', 1e-3, "mm")
VOLUME = _of("metre**3", '"40 l"', 1e-3, "l")
FLOW = _of("metre**3/second", '"198 m3/h"', 1.0 / 3600.0, "m3/h")
OIL_FLOW = _of("metre**3/second", '"12 l/min"', 1e-3 / 60.0, "l/min")
SPEED = _of("revolution/minute", '"1450 rpm"', 1.0, "rpm")
DENSITY = _of("kilogram/metre**3", '"945 kg/m3"', 1.0, "kg/m3")
VISCOSITY = Kind(
    lambda text: 1e6 * quantity(text, "metre**2/second", '"68 mm2/s"'), lambda value: f'"{value:.4g} mm2/s"'
)
TEMPERATURE = Kind(_celsius, lambda value: f'"{value:.4g} C"')
DIFFERENCE = Kind(lambda text: float(pressure_difference_pa(text)), lambda value: f'"{value / 1e3:.4g} kPa"')
TIME = Kind(lambda text: duration_ms(text) / 1000.0, lambda value: f'"{value:.4g} s"')
HEIGHT = _of("metre", '"300 m"', 1.0, "m")
PLAIN = Kind(number(), lambda value: f"{value:.6g}")


@dataclass(frozen=True)
class Drawn:
    """What a figure left out is drawn from: low to high, times what `of` names (in the units used inside).

    told: in words, where they say it better.
    """

    low: float
    high: float
    of: str = ""
    told: str = ""


@dataclass(frozen=True)
class Figure:
    """A key that holds a quantity or two; drawn None: left out, it is not used or follows from others (`text` says)."""

    section: str
    key: str
    kind: Kind
    least: float
    most: float
    drawn: Drawn | None
    text: str
    example: str = ""
    needed: bool = False

    @property
    def path(self) -> str:
        """Section and key."""
        return f"{self.section}.{self.key}".lstrip(".")

    @property
    def accepted(self) -> str:
        """What would do, for a refusal and for the file's comment."""
        return f"{self.kind.write(self.least)} to {self.kind.write(self.most)}, or a range"

    @property
    def left_out(self) -> str:
        """What is drawn where it is left out, in words."""
        if self.drawn is None:
            return ""
        low, high = self.drawn.low, self.drawn.high
        if self.drawn.told:
            return self.drawn.told
        if not self.drawn.of:
            return self.kind.write(low) + (f" to {self.kind.write(high)}" if high > low else "")
        return f"{low:g} to {high:g} times {self.drawn.of}"

    def read(self, value: Any) -> Range:
        """Read the value as (low, high). Raises UnfitError."""
        if isinstance(value, list):
            if len(value) != PAIR:
                raise UnfitError("must be one value or a range of two")
            low, high = (self._one(item) for item in value)
            if low > high:
                raise UnfitError("a range that falls: the lower value comes first")
            return low, high
        one = self._one(value)
        return one, one

    def _one(self, value: Any) -> float:
        found = self.kind.read(value)
        room = ROUNDING * max(abs(self.least), abs(self.most))
        if not math.isfinite(found) or not self.least - room <= found <= self.most + room:
            raise UnfitError("outside what is admitted")
        return found


OIL_KINDS = ("ester", "mineral", "alkylbenzene", "PAG", "PVE", "PAO")
REFRIGERANTS = ("R134a", "R143a", "R152a", "R404A", "R407C", "R448A", "R507A", "R22", "R290", "R717", "R744")
PAIRS = ("PEC9", "PEB8")


def _unloading(value: Any) -> tuple[float, ...]:
    steps: tuple[float, ...] = list_of(number(0.05, 0.95, "no share of the cylinders that stays loaded"))(value)
    return steps


def _two_pressures(value: Any) -> tuple[str, str]:
    if not isinstance(value, list) or len(value) != PAIR or not all(isinstance(one, str) for one in value):
        raise UnfitError("must be a pair of pressures")
    return value[0], value[1]


def _viscosity_points(value: Any) -> tuple[tuple[float, float], tuple[float, float]]:
    if not isinstance(value, list) or [len(p) for p in value if isinstance(p, list)] != [PAIR, PAIR]:
        raise UnfitError("must be two points, each a temperature and a viscosity")
    (t1, v1), (t2, v2) = ((_celsius(t), VISCOSITY.read(v)) for t, v in value)
    if t2 < t1 + LEAST_SPAN_K or not v1 > v2 > LEAST_VISCOSITY_MM2_S or not VISCOSITY_C[0] <= t1 < t2 <= VISCOSITY_C[1]:
        raise UnfitError("viscosity has to fall over 20 K or more, and stay above 2 mm2/s")
    return (t1, v1), (t2, v2)


def _solubility_points(value: Any) -> tuple[tuple[float, float, float], ...]:
    if not isinstance(value, list) or not PAIR <= len(value) <= MOST_POINTS:
        raise UnfitError("must be two points or more")
    points = []
    for point in value:
        if not isinstance(point, list) or len(point) != TRIPLE:
            raise UnfitError("a point is a temperature, a pressure and the share of refrigerant by mass")
        celsius, pascals = _celsius(point[0]), _absolute(point[1])
        share = number(0.002, 0.45, "a share outside 0.002 to 0.45")(point[2])
        if not TABLE_C[0] <= celsius <= TABLE_C[1]:
            raise UnfitError("a temperature outside -40 to 100 C")
        points.append((celsius, pascals, share))
    return tuple(points)


def _absolute(text: Any) -> float:
    from replay.ground.units import STANDARD_ATMOSPHERE_PA, absolute_pressure_pa

    pascals = absolute_pressure_pa(text, STANDARD_ATMOSPHERE_PA)
    if pascals < LEAST_PA:
        raise UnfitError("a pressure below 1 kPa")
    return float(pascals)


def _behaviour() -> tuple[Figure, ...]:
    spread = Figure(
        "behaviour",
        "spread",
        PLAIN,
        0.0,
        0.25,
        None,
        "each value below that is left out is drawn within this share of its usual value; if left out: 0.1",
        "0.1",
    )
    rows = [
        Figure(
            "behaviour", its, PLAIN, told.low, told.high, None, f"{told.text} ({told.unit or 'share'}; {told.status})"
        )
        for its, told in TABLE.items()
        if its != "healthy_net_pa"
    ]
    return (spread, *rows)


def _f(
    section: str, key: str, kind: Kind, admitted: Range, drawn: Drawn | None, text: str, example: str = ""
) -> Figure:
    return Figure(section, key, kind, *admitted, drawn, text, example)


_SIZE = "displacement in m3/s"
_LENGTH = "the cube root of displacement in m3/s, in m"
# fmt: off
ROWS: tuple[Figure | Word, ...] = (
    # ----------------------------------------------------------------------------------------------------------- top
    Word("", "name", name, "a name in one line", "",
       "what this machine is called in libraries and reports", '"rack 2"', needed=True),
    # ---------------------------------------------------------------------------------------------------- compressor
    _f("compressor", "displacement", FLOW, (2e-4, 0.5), None,
       "volume swept by all cylinders at rated speed; or state bore, stroke and cylinders", '"90 m3/h"'),
    _f("compressor", "bore", LENGTH, (0.02, 0.3), None,
       "diameter of a cylinder"),
    _f("compressor", "stroke", LENGTH, (0.015, 0.3), None,
       "travel of a piston"),
    Word("compressor", "cylinders", whole(1, 16), "1 to 16", "",
       "number of cylinders"),
    Figure("compressor", "rated_speed", SPEED, 200.0, 4500.0, None,
       "speed that displacement and oil pump are stated at", '"1450 rpm"', needed=True),
    _f("compressor", "speed", SPEED, (100.0, 5400.0), Drawn(0.94, 1.0, "rated_speed"),
       "speed it runs at; a range of more than 10 % means a drive that varies it, one figure means mains"),
    _f("compressor", "clearance", PLAIN, (0.005, 0.15), Drawn(0.03, 0.05),
       "dead volume over swept volume of a cylinder; it sets the deepest vacuum", "0.04"),
    Word("compressor", "unloading", _unloading, "a list of shares 0.05 to 0.95, or [] for none", "thirds and halves",
       "shares of the cylinders that stay loaded when some are unloaded"),
    _f("compressor", "crankcase_volume", VOLUME, (1e-4, 2.0), Drawn(0.65, 0.80, _SIZE),
       "gas space of crankcase and suction side of the machine"),
    _f("compressor", "evaporator_volume", VOLUME, (1e-3, 20.0), Drawn(4.0, 7.0, _SIZE),
       "gas space between the liquid valve and the suction valve"),
    _f("compressor", "pistons_per_pin", PLAIN, (0.5, 4.0), Drawn(1.0, 2.0),
       "pistons whose gas force one crankpin carries, where bore is known; else its area is drawn by displacement"),
    _f("compressor", "drilling_outlet", LENGTH, (0.005, 0.2), Drawn(0.9, 1.15, "half the stroke"),
       "largest radius oil has to reach in the crank drilling; without stroke, 0.095 to 0.145 times the cube root "
       "of displacement"),
    _f("compressor", "drilling_inlet", LENGTH, (0.0, 0.1), Drawn(0.15, 0.22, "drilling_outlet"),
       "radius at which oil enters the rotating drilling"),
    _f("compressor", "journal_radius", LENGTH, (0.004, 0.1), Drawn(0.068, 0.080, _LENGTH),
       "radius of the crankpin"),
    _f("compressor", "journal_length", LENGTH, (0.004, 0.2), Drawn(1.0, 2.0, "journal_radius"),
       "length of the crankpin; L/D 0.2 to 1.5"),
    _f("compressor", "journal_clearance", LENGTH, (3e-6, 2e-4), Drawn(0.7e-3, 1.1e-3, "journal_radius"),
       "radial clearance of the crankpin bearing"),
    _f("compressor", "oil_charge", VOLUME, (5e-5, 0.5), Drawn(0.18, 0.22, _SIZE),
       "oil in the sump at the middle of the sight glass"),
    _f("compressor", "oil_pump_sweep", OIL_FLOW, (2e-7, 0.01), Drawn(3.4e-3, 4.2e-3, "displacement"),
       "volume that the oil pump sweeps at rated speed"),
    _f("compressor", "inlet_pocket", VOLUME, (1e-6, 0.01), Drawn(0.45, 0.62, "oil_pump_sweep in m3/s"),
       "gas that covers the oil pump's inlet"),
    _f("compressor", "inlet_lift", LENGTH, (0.01, 1.0), Drawn(0.65, 0.87, _LENGTH),
       "height from the oil level to the pump"),
    Word("compressor", "reversible_pump", switch, "true or false", "false: a pump that delivers one way round only",
       "whether the oil pump delivers whichever way the shaft turns"),
    _f("compressor", "healthy_net_pressure", DIFFERENCE, (60e3, 500e3), Drawn(110e3, 170e3),
       "net oil pressure of the sound, warm machine, held by the relief valve", '"20 psi"'),
    # ----------------------------------------------------------------------------------------------------------- oil
    Word("oil", "kind", one_of(*OIL_KINDS), ", ".join(OIL_KINDS), "ester; mineral with R22, R290 and R717",
       "what the oil is made of", '"ester"'),
    _f("oil", "grade", PLAIN, (7.0, 460.0), Drawn(32.0, 68.0),
       "ISO viscosity grade; viscosity at 40 C is drawn within 10 % of it", "68"),
    _f("oil", "viscosity_40", VISCOSITY, (5.0, 500.0), Drawn(0.9, 1.1, "grade"),
       "viscosity at 40 C; or state viscosity_points"),
    _f("oil", "viscosity_100", VISCOSITY, (2.1, 60.0), Drawn(0.53, 0.66, "viscosity_40 in mm2/s to the power 0.633"),
       "viscosity at 100 C"),
    Word("oil", "viscosity_points", _viscosity_points,
       'two points such as [["40 C", "68 mm2/s"], ["80 C", "15 mm2/s"]]',
       "",
       "two measured viscosities, in place of those at 40 and 100 C"),
    _f("oil", "density", DENSITY, (700.0, 1200.0), Drawn(0.98, 1.02, "the usual one of its kind"),
       "density at 20 to 40 C"),
    Word("oil", "behaviour", one_of("still", "foaming"),
       "still or foaming",
       "either, drawn for each trace as its family asks",
       "whether gas released in a vacuum stays as foam"),
    _f("oil", "foam_share", PLAIN, (0.0, 0.95), Drawn(0.6, 0.8),
       "share of the released gas that stays as fine bubbles, behaviour beside it: above 0.1 is foaming; a still oil: "
       "0.005 to 0.03"),
    _f("oil", "foam_life", TIME, (0.05, 3000.0), Drawn(400.0, 800.0),
       "life of fresh fine foam at 15 mPa s and 1 bar; a still oil: 0.2 to 0.5 s"),
    _f("oil", "release_time", TIME, (20.0, 3000.0), Drawn(270.0, 420.0),
       "time for gas to leave through the stirred surface, until 1/e of the excess is left"),
    _f("oil", "absorption_time", TIME, (20.0, 6000.0), Drawn(500.0, 1000.0),
       "time for gas to go back into stirred oil, likewise"),
    _f("oil", "held_volumes", PLAIN, (0.0, 20.0), Drawn(2.8, 4.4),
       "volumes of gas at one atmosphere that a volume of still oil holds before it boils; a foaming oil: none"),
    _f("oil", "boil_time", TIME, (0.5, 60.0), Drawn(3.0, 5.5),
       "time for oil to boil off what exceeds that, until 1/e of it is left; a foaming oil: 9 to 16 s"),
    _f("oil", "touching_void", PLAIN, (0.3, 0.85), Drawn(0.50, 0.54),
       "void at which bubbles in the suction line run together; a foaming oil: 0.72 to 0.76"),
    _f("oil", "gathering", PLAIN, (0.0, 1.0), Drawn(0.4, 0.6),
       "share of the gas beyond that which gathers at the pump inlet; a foaming oil: 0.2 to 0.3"),
    # --------------------------------------------------------------------------------------------------- refrigerant
    Word("refrigerant", "name", one_of(*REFRIGERANTS, rule="no refrigerant known here"), ", ".join(REFRIGERANTS), "",
       "its standard designation", '"R134a"', needed=True),
    # ---------------------------------------------------------------------------------------------------- solubility
    Word("solubility", "pair", one_of(*PAIRS), "PEC9 or PEB8, with R134a, R143a or R152a", "",
       "an ester whose published solubility stands for this oil's"),
    Word("solubility", "points", _solubility_points,
       'points such as ["40 C", "300 kPa", 0.12]: temperature, absolute pressure, share by mass',
       "",
       "measured on this same oil and refrigerant; fitted to the same form"),
    _f("solubility", "interaction", PLAIN, (-1.0, 3.0),
       Drawn(1.0, 1.0, told="the range of its kind of oil and refrigerant, `machine check` says which"),
       "interaction (chi) of the general law at 40 C"),
    _f("solubility", "oil_molar_mass", PLAIN, (150.0, 5000.0), Drawn(1.0, 1.0, told="the range of its kind of oil"),
       "molar mass of the oil, g/mol; matters little"),
    # ---------------------------------------------------------------------------------------------------------- site
    Figure("site", "evaporating", TEMPERATURE, -40.0, 25.0, None,
       "evaporating temperature (dew point) while it runs", '["-15 C", "-5 C"]', needed=True),
    Figure("site", "condensing", TEMPERATURE, -20.0, 75.0, None,
       "condensing temperature (dew point), over the year", '["25 C", "45 C"]', needed=True),
    _f("site", "ambient", TEMPERATURE, (-30.0, 55.0),
       Drawn(-15.0, -5.0, told="5 to 15 K below the condensing temperature of the trace"),
       "temperature around the machine; with oil_temperature stated, that minus the rise in running"),
    _f("site", "oil_temperature", TEMPERATURE, (-10.0, 95.0), None,
       "oil temperature in the sump when running; if left out: ambient plus the rise in running"),
    _f("site", "altitude", HEIGHT, (-500.0, 5000.0), Drawn(0.0, 0.0),
       "altitude of the site, for gauge pressures"),
    _f("site", "standing_ratio", PLAIN, (1.1, 5.0), Drawn(1.5, 2.1),
       "evaporator pressure that builds up at standstill, as a multiple of that when running"),
    Word("site", "neighbours", switch, "true or false", "true",
       "whether other machines share its crankcase line, so that oil can move between them"),
    # ------------------------------------------------------------------------------------------------------- sensors
    Word("sensors", "oil_range", _two_pressures,
       'two pressures such as ["0 kPa", "1600 kPa"], absolute or gauge',
       "from 0 to what oil and suction pressure can reach, plus a quarter",
       "measuring range of the oil pressure sensor"),
    Word("sensors", "suction_range", _two_pressures,
       'two pressures such as ["0 kPa", "1600 kPa"], absolute or gauge',
       "as the oil sensor's",
       "measuring range of the suction pressure sensor"),
    Word("sensors", "crankcase", switch, "true or false", "true in a quarter of the traces",
       "whether there is a crankcase pressure sensor"),
    _f("sensors", "noise", DIFFERENCE, (0.0, 20e3), Drawn(250.0, 900.0),
       "pulsation and noise of a reading, standard deviation"),
    _f("sensors", "lag", TIME, (0.0, 30.0), Drawn(0.05, 0.5),
       "lag of impulse line and damping"),
    _f("sensors", "offset", DIFFERENCE, (-15e3, 15e3), Drawn(-3e3, 3e3),
       "offset of a sound sensor"),
    _f("sensors", "resolution", DIFFERENCE, (1.0, 20e3), Drawn(100.0, 500.0),
       "size of a reading's last digit"),
    _f("sensors", "period", TIME, (0.05, 60.0), Drawn(0.5, 1.0),
       "time between two readings; if left out: 0.5 or 1 s"),
    _f("sensors", "errors", PLAIN, (0.0, 1.0), Drawn(0.3, 0.3),
       "share of the traces whose sensors have an error: offset, lag, interference, lost readings"),
    *_behaviour(),
    *DUTY,
    *FAULTS,
)
# fmt: on
ORIGIN = "origin"  # section that says of stated values where they come from
SECTIONS = {
    "": "",
    "compressor": "the compressor; what is left out is drawn anew for each trace, and named as assumed",
    "oil": "the oil",
    "refrigerant": "the refrigerant; figures by CoolProp",
    "solubility": "refrigerant in the oil: a published pair, points of your own, or (left out) a general law",
    "site": "where the machine works",
    "sensors": "the sensors of the controller",
    "behaviour": "what no drawing shows, in SI units; state a value where you know it, or a range",
    "duty": "what the machine does in a year, for `lubetrip forecast`; what is left out is assumed as stated",
    "faults": "how often a year each upset and fault happens, for `lubetrip forecast`; what is left out is assumed",
    ORIGIN: "where stated values come from: measured unless listed here",
}
FIGURES = {row.path: row for row in ROWS if isinstance(row, Figure)}
WORDS = {row.path: row for row in ROWS if isinstance(row, Word)}


def _paths(value: Any) -> tuple[str, ...]:
    paths: tuple[str, ...] = list_of(one_of(*FIGURES, *WORDS, rule="no key of a machine file"))(value)
    return paths


def shape() -> Keys:
    """Return the keys of the file as `replay.ground.shape` checks them."""

    def key(row: Figure | Word) -> Key:
        return Key(row.read, row.accepted, row.needed)

    top: dict[str, Key | Keys] = {}
    for section in SECTIONS:
        rows = {row.key: key(row) for row in ROWS if row.section == section}
        if not section:
            top |= rows
        elif rows:
            top[section] = Keys(rows, needed=any(its.needed for its in rows.values()))
    where = Key(_paths, 'keys such as ["compressor.clearance", "oil.density"]', needed=False)
    top[ORIGIN] = Keys({"published": where, "assumed": where}, needed=False)
    return Keys(top)
