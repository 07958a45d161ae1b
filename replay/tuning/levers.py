"""What may move about a protection in the field: sensors, sample period, settings; one lever a direction.

How far each is moved at most is far beyond what a working plant shows;
the figures are assumed. Amounts are told in the words of the trade, in units that the settings file uses.
"""

from dataclasses import dataclass, replace

from protect import ranges
from protect.settings import RELATIONS, derive
from replay.ground.shown import asked
from replay.settings import Settings
from replay.settings.file import PLACES, key_of, names_of
from replay.trace import Trace
from replay.tuning.disturb import CHANNELS, ERRORS, SensorError, disturbed, has_crankcase, thinned

OFFSET, GAIN, LAG = ERRORS
PERIOD, SETTING = "sample period", "setting"
SENSOR_REACH = {OFFSET: ("Pa", 100_000.0), GAIN: ("share", 0.2), LAG: ("s", 60.0)}
PERIOD_REACH_MS = 30_000.0
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
            return setting_words(self.subject)
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
        return disturbed(trace, {self.subject: SensorError(**{ERRORS[self.kind]: self.sign * amount})})

    def moved_settings(self, settings: Settings, amount: float) -> Settings:
        """Return the settings with this one moved by an amount in the unit of `protect` (Pa, ms, 1/2048, count)."""
        values = list(settings.values)
        values[PLACES[self.subject]] += self.sign * round(amount)
        derive(values)
        return replace(settings, values=tuple(values))


def setting_words(name: str) -> str:
    """Return a setting or a channel in words; an end of a range by the key of the file."""
    if name not in PLACES:
        return name.replace("_", " ")
    _, key = key_of(name)
    end = "" if key == name else (", lower end", ", upper end")[names_of(key).index(name)]
    return key.replace("_", " ") + end


def levers(settings: Settings) -> list[Lever]:
    """Return every lever of a protection with these settings, both ways where there are two."""
    found = []
    for channel in CHANNELS:
        for kind, (unit, reach) in SENSOR_REACH.items():
            signs = (1,) if kind == LAG else (-1, 1)
            found += [Lever(kind, channel, sign, unit, reach) for sign in signs]
    found.append(Lever(PERIOD, "", 1, "ms", PERIOD_REACH_MS))
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


def amount_text(lever: Lever, *amounts: float) -> str:
    """Return an amount with its unit, without its sign; of two amounts "this to that" and the unit once."""
    size, unit = _unit(lever, max(amounts))
    return " to ".join(_short(amount / size) for amount in amounts) + unit


SHOWN = {
    "share": (0.01, " %"),
    "s": (1.0, " s"),
    "weight": (float(ranges.ONE), ""),
    "count": (1.0, ""),
}


def _short(number: float) -> str:
    """Return a number to three digits, and no digit before the point left out."""
    return f"{number:.0f}" if number >= 100 else f"{number:.3g}"  # noqa: PLR2004 - three digits


def _unit(lever: Lever, amount: float) -> tuple[float, str]:
    """Return the size of the unit that an amount of a lever is shown in, and its name."""
    if lever.unit == "Pa":
        return asked().size_pa, f" {asked().difference}"
    return _duration(amount) if lever.unit == "ms" else SHOWN[lever.unit]


def start_text(lever: Lever) -> str:
    """Return what a setting stands at; nothing for a sensor."""
    if lever.kind != SETTING:
        return ""
    size, unit = _unit(lever, abs(lever.start))
    if lever.unit == "Pa" and key_of(lever.subject)[0] != "net_oil_pressure":
        unit = f" {asked().absolute}"
    return f"{lever.start / size:.4g}{unit}"


def _duration(ms: float) -> tuple[float, str]:
    """Return the unit that suits a duration: seconds up to ten minutes."""
    for least, size, name in ((86_400_000, 86_400_000, " d"), (3_600_000, 3_600_000, " h"), (600_000, 60_000, " min")):
        if ms >= least:
            return float(size), name
    return 1000.0, " s"
