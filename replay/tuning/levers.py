"""What may move about a protection in the field: sensors, sample period, settings; one lever a direction.

How far each is moved at most (REACH) is far beyond what a working plant shows;
the figures are assumed.
"""

from dataclasses import dataclass, replace

from protect import ranges
from protect.settings import RELATIONS, derive
from replay.settings import Settings
from replay.settings.file import PLACES
from replay.trace import Trace
from replay.tuning.disturb import CHANNELS, SensorError, disturbed, has_crankcase, thinned

OFFSET, GAIN, LAG, PERIOD, SETTING = "offset", "gain", "lag", "sample period", "setting"
REACH = {OFFSET: 100_000.0, GAIN: 0.2, LAG: 60.0, PERIOD: 30_000.0}  # Pa, share, s, ms
POINTS = 12  # a lever is tried at its reach, at half of it, at a quarter ...


@dataclass(frozen=True)
class Lever:
    """One quantity moved one way.

    subject: a channel, the name of a setting, or "". unit: Pa, share, s, ms,
    weight or count; reach: the most it is moved by, in that unit; 0 where it
    cannot move this way. start: what a setting stands at.
    """

    kind: str
    subject: str
    sign: int
    unit: str
    reach: float
    start: int = 0

    @property
    def name(self) -> str:
        """Return the lever in words."""
        if self.kind == SETTING:
            return self.subject.replace("_", " ")
        sensor = self.subject.removesuffix("_pressure")
        return f"{sensor} sensor {self.kind}" if sensor else self.kind

    def points(self) -> list[float]:
        """Return the amounts that are tried, from the least on, each once; whole where the unit is."""
        amounts = (self.whole(self.reach / 2**back) for back in range(POINTS - 1, -1, -1))
        return sorted({amount for amount in amounts if amount > 0})

    def whole(self, amount: float) -> float:
        """Return an amount as it can be set: settings and periods are integers."""
        return float(round(amount)) if self.kind in (SETTING, PERIOD) else amount

    def fits(self, trace: Trace) -> bool:
        """Tell whether a trace has what is moved."""
        return self.subject != "crankcase_pressure" or has_crankcase(trace)

    def moved_trace(self, trace: Trace, amount: float) -> Trace:
        """Return a trace as it would be recorded with the lever moved by an amount (Pa, share, s; a period ms)."""
        if self.kind == PERIOD:
            return thinned(trace, round(amount))
        moved = self.sign * amount
        error = {OFFSET: SensorError(offset_pa=moved), GAIN: SensorError(gain=moved), LAG: SensorError(lag_s=moved)}
        return disturbed(trace, {self.subject: error[self.kind]})

    def moved_settings(self, settings: Settings, amount: float) -> Settings:
        """Return the settings with this one moved by an amount in the unit of `protect` (Pa, ms, 1/2048, count)."""
        values = list(settings.values)
        values[PLACES[self.subject]] += self.sign * round(amount)
        derive(values)
        return replace(settings, values=tuple(values))


SENSOR_UNITS = {OFFSET: "Pa", GAIN: "share", LAG: "s"}


def levers(settings: Settings) -> list[Lever]:
    """Return every lever of a protection with these settings, both ways where there are two."""
    found = []
    for channel in CHANNELS:
        for kind, unit in SENSOR_UNITS.items():
            signs = (1,) if kind == LAG else (-1, 1)
            found += [Lever(kind, channel, sign, unit, REACH[kind]) for sign in signs]
    found.append(Lever(PERIOD, "", 1, "ms", REACH[PERIOD]))
    for place, (name, unit, _, _) in enumerate(ranges.SETTINGS):
        value = settings.values[place]
        least, most = _room(settings.values, place)
        found += [Lever(SETTING, name, -1, unit, float(value - least), value)]
        found += [Lever(SETTING, name, 1, unit, float(most - value), value)]
    return found


def _room(values: tuple[int, ...], place: int) -> tuple[int, int]:
    """Return the least and the most that a setting may be while the others stay."""
    _, _, least, most = ranges.SETTINGS[place]
    for lower, higher, gap in RELATIONS:
        if place == lower:
            most = min(most, values[higher] - gap)
        if place == higher:
            least = max(least, values[lower] + gap)
    return least, most
