"""Time columns as whole ms: elapsed, epoch, spreadsheet days, calendar dates of ISO 8601, local dates.

What a column holds is told from its cells where they leave no choice; what they leave open (the order of
day and month, a number without a unit) has to be stated in the profile.
"""

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from replay.ground.refusal import refusal
from replay.ground.zones import GREENWICH, fixed_offset_ms
from replay.measured.marks import looks_like_number
from replay.measured.profile import TimeForm
from replay.measured.profile_keys import DATE, ELAPSED, EPOCH, MINUTES, SERIAL_DAY
from replay.measured.unit_text import TIME, read_unit

UNREADABLE = int(np.iinfo(np.int64).min)  # a time cell that is empty or no time
DAY_MS = 86400000
SERIAL_DAY_ZERO_MS = -25569 * DAY_MS  # 1899-12-30, day 0 of spreadsheets
FARTHEST_MS = 1e15
# Numbers of the years 1998 to 2060 since 1970; as elapsed time they would be decades. Later ones count from 1904.
EPOCH_S = (9e8, 2.84e9)
EPOCH_FACTORS = {1.0: 1000.0, 1e3: 1.0, 1e6: 1e-3, 1e9: 1e-6}  # units in a second -> ms
TWO_DIGIT_YEARS = 100
DAYS, MOST_MONTH = 31, 12
LEAST_STEPS = 15  # of numbers that show whether they are digits of a time of day (assumed)
# By their first letters, in the languages that the draft knows; the four of French June and July in full.
_NAMES = (
    "jan,ene,gen,sty feb,fév,fev,lut mar,mär,mrz,mrt,maa apr,abr,avr,kwi may,mai,mag,maj,mei,mayo "
    "jun,giu,cze,juin jul,lug,lip,juil aug,ago,aoû,aou,sie sep,set,wrz oct,okt,ott,out,paź,paz "
    "nov,lis dec,dez,dic,déc,des,gru"
)
MONTHS = {name: month for month, names in enumerate(_NAMES.split(), start=1) for name in names.split(",")}

# Zones by their letters say whether it is summer, but several places of the world share one: the profile names it.
_ZONES = (
    "A?[CEMP][SD]T|AK[SD]T|HST|CES?T|EES?T|WES?T|MES?Z|BST|IST|MSK|SAST|JST|KST|SGT|HKT|A[CEW][SD]T|NZ[SD]T|BRT|ART"
)
_TIME = (
    r"(?P<h>\d{1,2})(?:[:.]?(?P<m>\d{2})(?:[:.]?(?P<s>\d{2})(?:[.,:](?P<f>\d{1,9}))?)?)?"
    r"\s*(?P<half>[AaPp]\.?\s?[Mm]\.?)?\s*(?:(?P<z>Z|z|UTC|GMT|[+-]\d{2}:?\d{2}|[+-]\d{2})|(?P<named>" + _ZONES + r"))?"
)
_NAME = r"[A-Za-zÀ-ÿ]{3,12}"
_DAY = (
    rf"(?:[A-Za-z]{{2,9}}\.?,?\s+)?(?P<a>\d{{1,4}}|{_NAME})\.?[-/.\s]\s?(?P<b>\d{{1,2}}|{_NAME})\.?,?[-/.\s]\s?"
    r"(?P<c>\d{4}|\d{1,2})\.?"
)
_COMPACT = (
    r"(?P<a>\d{4})(?P<b>\d{2})(?P<c>\d{2})[T\s_-]?(?P<h>\d{2}):?(?P<m>\d{2}):?(?P<s>\d{2})(?:[.,](?P<f>\d{1,9}))?"
    r"(?P<half>[AaPp][Mm])?(?P<z>Z|[+-]\d{2}:?\d{2}|[+-]\d{2})?"
)
_DATED = rf"^{_DAY}(?:[T\s,;_-]+{_TIME})?$"
_CLOCK = r"^(?P<h>\d{1,5}):(?P<m>\d{2})(?::(?P<s>\d{2})(?:[.,](?P<f>\d{1,9}))?)?$"
_DOTTED = r"^(?P<h>\d{1,5})\.(?P<m>\d{2})\.(?P<s>\d{2})(?:[.,:](?P<f>\d{1,9}))?$"  # where dots stand for colons
_ISO = re.compile(r"\d{4}-\d{2}-\d{2}[T ]\d{2}:\d{2}(?::\d{2}(?:\.\d{1,9})?)?(?P<z>Z|[+-]\d{2}:?\d{2})?")
_MINUTES = r"^(?P<m>\d{1,2}):(?P<s>\d{2})[.,](?P<f>\d{1,3})$"  # as spreadsheets show a time with a fraction
_MINUTES_CELL = re.compile(_MINUTES)
HOUR_MS = 3600000
_DATED_CELL, _CLOCK_CELL = re.compile(_DATED), re.compile(_CLOCK)
_DOTTED_CELL = re.compile(_DOTTED)
_COMPACT_CELL, _TIME_CELL = re.compile(rf"^{_COMPACT}$"), re.compile(rf"^{_TIME}$")


def looks_like_time(text: str) -> bool:
    """Say whether a cell is a date, a date with time, or a time of day."""
    patterns = (_DATED_CELL, _CLOCK_CELL, _MINUTES_CELL, _COMPACT_CELL, _TIME_CELL)
    return any(pattern.match(text) is not None for pattern in patterns)


def dotted_times(cells: Sequence[str]) -> bool:
    """Say whether cells are all times of day such as 08.00.05, and one at least is no date in any order."""
    found = [_DOTTED_CELL.match(cell) for cell in cells]
    return bool(cells) and all(found) and not all(match is None or _may_be_date(match) for match in found)


def _may_be_date(match: re.Match[str]) -> bool:
    a, b, c = (int(match[name]) for name in ("h", "m", "s"))
    day_first, month_first, year_first = ((a, b), (b, a), (c, b))
    return match["f"] is None and any(
        1 <= day <= DAYS and 1 <= month <= MOST_MONTH for day, month in (day_first, month_first, year_first)
    )


def go_apart(one: NDArray[np.int64], other: NDArray[np.int64]) -> int:
    """Return by how many ms the difference of two columns of times, ms int64[n], moves over their rows."""
    apart = (one - other)[(one != UNREADABLE) & (other != UNREADABLE)]
    return int(apart.max() - apart.min()) if len(apart) else 0


@dataclass(frozen=True)
class Clock:
    """How the time column of a file reads.

    form: elapsed, epoch, date, serial day; number: cells are plain numbers, ms = number * factor;
    iso: "ms" or "ns" where cells are of the plain ISO form that the CSV reader takes by itself; offset: they carry
    their offset from UTC; wraps_ms: after which times begin anew, 0 for never; local: they are local times, which a
    zone turns into UTC; dots: between hours, minutes and seconds.
    """

    form: str
    number: bool = False
    factor: float = 0.0
    order: str = "YMD"
    iso: str = ""
    offset: bool = False
    note: str = ""
    wraps_ms: int = 0
    dots: bool = False

    @property
    def local(self) -> bool:
        """Say whether the times are those of a clock on the wall, without their offset."""
        return self.form == SERIAL_DAY or (self.form == DATE and not self.offset)

    @property
    def anchored(self) -> bool:
        """Say whether the times are of the calendar."""
        return self.form != ELAPSED

    @property
    def counts_whole(self) -> bool:
        """Say whether whole numbers of the time column are whole ms."""
        return self.number and self.factor % 1 == 0

    def from_numbers(self, numbers: NDArray[Any]) -> NDArray[np.int64]:
        """Return ms of float64[n] or int64[n] of a time column, UNREADABLE for NaN and what is no time."""
        shift = SERIAL_DAY_ZERO_MS if self.form == SERIAL_DAY else 0
        if numbers.dtype == np.int64 and len(numbers):
            farthest = FARTHEST_MS / self.factor
            if numbers.min() > -farthest and numbers.max() < farthest:
                return np.asarray(numbers * int(self.factor) + shift, dtype=np.int64)
        with np.errstate(invalid="ignore", over="ignore"):
            ms = np.rint(numbers * self.factor)
            if len(ms) and ms.min() > -FARTHEST_MS and ms.max() < FARTHEST_MS:
                return ms.astype(np.int64) + shift
            real = np.abs(ms) < FARTHEST_MS
        return np.where(real, np.where(real, ms, 0.0).astype(np.int64) + shift, UNREADABLE)

    def from_timestamps(self, column: Any) -> NDArray[np.int64]:
        """Return ms of an arrow timestamp column, UNREADABLE where it is null."""
        import pyarrow as pa
        import pyarrow.compute as pc

        if column.type.unit in ("s", "ms"):
            whole = column.cast(pa.timestamp("ms", column.type.tz)).cast(pa.int64())
            return np.asarray(pc.fill_null(whole, UNREADABLE).to_numpy(), dtype=np.int64)
        wide = pc.fill_null(column.cast(pa.timestamp("ns", column.type.tz)).cast(pa.int64()), UNREADABLE).to_numpy()
        return np.where(wide == UNREADABLE, UNREADABLE, _whole_ms(wide))

    def from_text(self, column: Any) -> NDArray[np.int64]:
        """Return ms of an arrow column of text, UNREADABLE where it is no time of this form."""
        if self.wraps_ms:
            fields = _fields(column, _MINUTES)
            return _clock_ms(fields | {"h": np.where(fields["m"] == "", "", "0")})
        if self.form == ELAPSED:
            return _clock_ms(_fields(column, _DOTTED if self.dots else _CLOCK))
        fields = _fields(column, _DATED)
        compact = _fields(column, f"^{_COMPACT}$") if (fields["a"] == "").any() else None
        if compact is not None:
            fields = {name: np.where(fields["a"] == "", compact.get(name, ""), fields[name]) for name in fields}
        return _date_ms(fields, self.order, offset=self.offset)


def decide(path: Path, profile: Path, form: TimeForm, cells: list[str], unit: str, *, numbers: bool) -> Clock:
    """Return how a time column reads, from its first cells. Raises Refusal where they leave a choice.

    unit: the unit in the header or unit row, or ""; numbers: most cells are plain numbers.
    """
    cells = [cell for cell in cells if cell and (looks_like_number(cell) or not numbers)]
    if numbers and form.form != DATE and not (form.form is None and all(map(_COMPACT_CELL.match, cells))):
        values = [float(cell) for cell in cells]
        return number_clock(path, profile, form, values, form.unit or unit)
    if form.form in (EPOCH, SERIAL_DAY):
        rule = f'the time column holds text such as "{cells[0]}"' if cells else "the time column is empty"
        raise refusal(profile, "[time] form", rule, '"date" or "elapsed"', form.form)
    if cells and 2 * sum(map(bool, map(_MINUTES_CELL.match, cells))) > len(cells):
        return _minutes_clock(path, form, cells)
    if form.form != DATE and cells and 2 * sum(map(bool, map(_CLOCK_CELL.match, cells))) > len(cells):
        return Clock(ELAPSED, note="hours:minutes:seconds elapsed")
    if form.form != DATE and (dotted_times(cells) or (form.form == ELAPSED and all(map(_DOTTED_CELL.match, cells)))):
        return Clock(ELAPSED, note="hours.minutes.seconds elapsed", dots=True)
    return _date_clock(path, profile, form, cells)


def _minutes_clock(path: Path, form: TimeForm, cells: list[str]) -> Clock:
    """Return the clock of times from which a spreadsheet has taken date and hours, where the profile says so."""
    if form.form != MINUTES:
        rule = "hours and date are gone, as where a spreadsheet has saved the times as it shows them"
        accepted = 'the logger\'s own export, or [time] form = "minutes" if no step is as long as half an hour'
        raise refusal(path, "time column", rule, accepted, cells[0])
    return Clock(ELAPSED, note="minutes:seconds; where they fall an hour has passed", wraps_ms=HOUR_MS)


def number_clock(path: Path, profile: Path, form: TimeForm, values: list[float], unit: str) -> Clock:
    """Return how a time column of plain numbers reads. Raises Refusal where neither numbers nor profile tell."""
    if form.form == SERIAL_DAY:
        return Clock(SERIAL_DAY, number=True, factor=DAY_MS, note="days since 1899-12-30")
    middle = float(np.median(values)) if values else 0.0
    if len(values) > 2 and 2 * len(set(values)) < len(values) and middle > EPOCH_S[0]:  # noqa: PLR2004
        rule = f"the same number stands many times ({middle:g}): a spreadsheet has rounded these times"
        raise refusal(path, "time column", rule, "the logger's own export, not opened in a spreadsheet before", middle)
    epoch = next((f for size, f in EPOCH_FACTORS.items() if EPOCH_S[0] * size <= middle <= EPOCH_S[1] * size), None)
    if form.form == EPOCH or (form.form is None and epoch is not None):
        factor = read_unit(form.unit, TIME).scale if form.unit else epoch
        if factor is None:
            raise refusal(path, "time column", "these numbers are no time since 1970", "[time] unit", middle)
        return Clock(EPOCH, number=True, factor=factor, note=f"epoch, in units of {factor:g} ms")
    if reads_as_digits(values):
        rule = (
            f"these numbers read as hours, minutes and seconds in digits: {values[0]:06.0f}, no seconds that count on"
        )
        raise refusal(path, "time column", rule, "times with colons, and their date beside them", values[0])
    if not unit:
        raise refusal(
            profile,
            "[time] unit",
            f"the time column of {path.name} holds plain numbers and no unit is stated",
            '"s", "ms", ... with form = "elapsed" or "epoch"',
        )
    return Clock(ELAPSED, number=True, factor=read_unit(unit, TIME).scale, note=f"elapsed, in {unit}")


def reads_as_digits(values: list[float]) -> bool:
    """Say whether numbers are times of day such as 80055, 80100: each minute ends at 59 and skips 40."""
    numbers = np.array(values)
    steps = np.diff(numbers)
    if len(steps) < LEAST_STEPS or (numbers % 1).any() or (steps <= 0).any():
        return False
    sixty = (numbers % 100 < 60) & (numbers // 100 % 100 < 60)  # noqa: PLR2004 - seconds and minutes
    least = float(steps.min())
    return bool(sixty.all()) and set(steps.tolist()) - {least} <= {least + 40, least + 4040} and len(set(steps)) > 1


def _date_clock(path: Path, profile: Path, form: TimeForm, cells: list[str]) -> Clock:
    found = [match for cell in cells if (match := _DATED_CELL.match(cell) or _COMPACT_CELL.match(cell))]
    if not found:
        value = cells[0] if cells else None
        rule, would = "not a time that is known", "elapsed numbers, epoch, ISO 8601, dates"
        if value and value.startswith("##"):
            rule, would = "a column too narrow to show its times was saved as it showed", "the logger's own export"
        raise refusal(path, "time column", rule, would, value)
    iso = [_ISO.fullmatch(match.string) for match in found]
    offset = sum(bool(match["z"]) for match in found) * 2 > len(found)
    dates = [(m["a"], m["b"], m["c"]) for m in found]
    if form.order is None:
        _check_one_order(path, found, dates)
    order = form.order or date_order(dates)
    if order is None:
        raise refusal(
            profile,
            "[time] order",
            f'day and month of "{found[0][0]}" in {path.name} can be read either way',
            '"DMY", "MDY" or "YMD"',
        )
    plain = order == "YMD" and all(match is not None and bool(match["z"]) == offset for match in iso)
    short = all(len(match["f"] or "") <= len("123") for match in found)
    named = ", ".join(f'"{zone}"' for zone in dict.fromkeys(_zone_named(match) for match in found) if zone)
    note = f"dates, order {order}" + (f", {named} behind them: [time] zone says of which place" if named else "")
    return Clock(DATE, order=order, iso=("ms" if short else "ns") if plain else "", offset=offset, note=note)


def _zone_named(match: re.Match[str]) -> str:
    return match.groupdict().get("named") or ""


def _check_one_order(path: Path, found: list[re.Match[str]], dates: list[tuple[str, str, str]]) -> None:
    """Refuse dates of which some can only be day first and others only month first."""
    numbers = [(int(a), int(b)) for a, b, _ in dates if a.isdigit() and b.isdigit()]
    months = 12
    first = next((place for place, (a, b) in enumerate(numbers) if months < a <= 31 and b <= months), None)  # noqa: PLR2004
    second = next((place for place, (a, b) in enumerate(numbers) if a <= months < b), None)
    if first is not None and second is not None and len(numbers) == len(found):
        rule = (
            "day and month change places within the file, as where a spreadsheet read a part of the dates its own way"
        )
        shown = f"{found[first].string} and {found[second].string}"
        raise refusal(path, "time column", rule, "the logger's own export, not opened in a spreadsheet before", shown)


def date_order(dates: list[tuple[str, str, str]]) -> str | None:
    """Return YMD, DMY or MDY where the three parts of dates leave no other reading, else None."""
    if any(first.isalpha() for first, _, _ in dates):
        return "MDY"
    if all(len(first) > len("31") for first, _, _ in dates):
        return "YMD"
    named = any(not second.isdigit() for _, second, _ in dates)
    long_years = all(len(third) > len("31") for _, _, third in dates)
    if named:
        return "DMY" if long_years else None
    possible = {"MDY", "DMY"} if long_years else {"MDY", "DMY", "YMD"}
    for first, second, third in ((int(a), int(b), int(c)) for a, b, c in dates):
        if first > 12:  # noqa: PLR2004 - months
            possible -= {"MDY"}
        if second > 12:  # noqa: PLR2004
            possible -= {"DMY", "YMD"}
        if third > 31:  # noqa: PLR2004 - days
            possible -= {"YMD"}
    return possible.pop() if len(possible) == 1 else None


def _fields(column: Any, pattern: str) -> dict[str, NDArray[np.str_]]:
    """Return the named parts of each cell as text, "" where a cell does not fit the pattern."""
    import pyarrow.compute as pc

    parts = pc.extract_regex(column, pattern)
    names = [field.name for field in parts.type]
    return {name: _as_text(pc.fill_null(pc.struct_field(parts, name), "")) for name in names}


def _as_text(column: Any) -> NDArray[np.str_]:
    coded = column.dictionary_encode()
    words = np.array([*coded.dictionary.to_pylist(), ""], dtype=np.str_)
    return np.asarray(words[coded.indices.to_numpy()])


def _each(text: NDArray[np.str_], number: Callable[[str], int]) -> NDArray[np.int64]:
    """Return the number of each text; the same texts come many times in a column."""
    words, places = np.unique(text, return_inverse=True)
    return np.array([number(str(word)) for word in words], dtype=np.int64)[places]


def _whole(text: NDArray[np.str_], otherwise: int, known: dict[str, int] | None = None) -> NDArray[np.int64]:
    """Return digits (or known words) as integers, `otherwise` for what is neither."""

    def number(word: str) -> int:
        name = word.casefold()
        return int(word) if word.isdigit() else (known or {}).get(name[:4], (known or {}).get(name[:3], otherwise))

    return _each(text, number)


def _clock_ms(fields: dict[str, NDArray[np.str_]]) -> NDArray[np.int64]:
    """Return ms of hours, minutes, seconds and fraction; UNREADABLE where there are none."""
    hours, minutes, seconds = (_whole(fields[name], -1 if name == "h" else 0) for name in ("h", "m", "s"))
    ms = ((hours * 60 + minutes) * 60 + seconds) * 1000 + _fractions(fields["f"])
    return np.where((hours < 0) | (minutes > 59) | (seconds > 59), UNREADABLE, ms)  # noqa: PLR2004


def _whole_ms(nanoseconds: NDArray[np.int64]) -> NDArray[np.int64]:
    """Round to ms, halves up, alike in every path."""
    return (nanoseconds + 500000) // 1000000


def _fractions(text: NDArray[np.str_]) -> NDArray[np.int64]:
    """Return the digits behind the seconds as ms."""
    return _whole_ms(_each(text, lambda word: int(word.ljust(9, "0")) if word else 0))


def _date_ms(fields: dict[str, NDArray[np.str_]], order: str, *, offset: bool) -> NDArray[np.int64]:
    """Return ms since 1970 of dates in parts: UTC where they carry an offset, else local."""
    by_part = dict(zip(order, ("a", "b", "c"), strict=True))
    year, day = (_whole(fields[by_part[part]], -1) for part in "YD")
    month = _whole(fields[by_part["M"]], -1, MONTHS)
    year = np.where((year >= 0) & (year < TWO_DIGIT_YEARS), year + 2000, year)
    wrong = (year < 1970) | (year > 2200) | (month < 1) | (month > 12) | (day < 1) | (day > 31)  # noqa: PLR2004
    months = np.where(wrong, 0, (year - 1970) * 12 + month - 1).astype("datetime64[M]")
    days = months.astype("datetime64[D]") + np.where(wrong, 0, day - 1)
    wrong |= days.astype("datetime64[M]") != months
    clock = _clock_ms(fields | {"h": np.where(fields["h"] == "", "0", fields["h"])})
    clock = _half_days(clock, fields["half"])
    ahead = _each(fields["z"], _ahead_ms)
    wrong |= (clock == UNREADABLE) | (clock > DAY_MS) | ((fields["z"] != "") != offset) | (ahead == UNREADABLE)
    return np.where(wrong, UNREADABLE, days.astype(np.int64) * DAY_MS + clock - ahead)


def _ahead_ms(offset: str) -> int:
    """Return by how much a clock is ahead of UTC, by the offset behind its time; UNREADABLE for what is none."""
    ahead = 0 if offset.upper() in ("", *GREENWICH) else fixed_offset_ms(offset)
    return UNREADABLE if ahead is None else ahead


def _half_days(clock: NDArray[np.int64], half: NDArray[np.str_]) -> NDArray[np.int64]:
    """Apply AM and PM: twelve o'clock is the first hour of its half."""
    shift = _each(half, lambda word: {"": -1, "a": 0, "p": 1}[word[:1].lower()])
    hour = clock // 3600000
    fitting = (hour >= 1) & (hour <= 12)  # noqa: PLR2004
    within = clock - np.where(hour == 12, 12 * 3600000, 0) + shift * 12 * 3600000  # noqa: PLR2004
    return np.where(shift < 0, clock, np.where(fitting, within, UNREADABLE))
