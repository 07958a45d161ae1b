"""The profile of a logger's file: which column is which signal, and what the numbers in it mean.

TOML. What a text file shows by itself (encoding, separator, marks, header) need not be stated; what
it cannot show (gauge or absolute, the order of day and month, the longest gap) has to be.
"""

from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from replay.ground.refusal import refusal
from replay.ground.shape import fit
from replay.ground.toml_files import read_toml
from replay.ground.units import UnitError
from replay.measured.profile_keys import CHANNELS, LEVELS, OPEN, PRESSURES, SECTIONS, SHAPE, Column
from replay.measured.unit_text import PRESSURE, SPEED, TEMPERATURE, is_unit, read_unit


@dataclass(frozen=True)
class FileForm:
    """What the user states of a text file; None where it is to be detected. header_line 0: there is none."""

    encoding: str | None = None
    separator: str | None = None
    decimal: str | None = None
    thousands: str | None = None
    header_line: int | None = None
    sentinels: tuple[str | float, ...] | None = None


@dataclass(frozen=True)
class TimeForm:
    """How the time column reads. `columns` is empty where the source has clocks of its own (MDF).

    step: ms by which rows of the same time follow each other, where the seconds are gone.
    """

    columns: tuple[Column, ...]
    max_gap_ms: int
    form: str | None = None
    unit: str | None = None
    order: str | None = None
    zone: str | None = None
    repeated_hour: str | None = None
    ticks: str = "oil_pressure"
    on_change: bool = False
    longest_hold: int | None = None
    step: int | None = None


@dataclass(frozen=True)
class Channel:
    """One measured signal: its column and what its numbers mean; None where the file itself has to say.

    scale, offset: from the raw number to the unit; valid: raw numbers of a sound sensor; constant: a pressure (text)
    that stands for a signal without column; refrigerant: that of a saturated temperature; longest_hold: ms for which a
    reading holds that is not written again; file: a pattern of names, where each signal has a file of its own.
    below_zero: the unit of readings below zero, where that is another one (psig, and inHg of vacuum).
    """

    signal: str
    column: Column | None = None
    unit: str | None = None
    reference: str | None = None
    group: int | None = None
    quality: Column | None = None
    on_change: bool = False
    longest_hold: int | None = None
    scale: float | None = None
    offset: float = 0.0
    valid: tuple[float, float] | None = None
    constant: str | None = None
    refrigerant: str | None = None
    file: str | None = None
    below_zero: str | None = None

    @property
    def kind(self) -> str:
        """Return what the numbers are of: for a saturated temperature not the pressure that it stands for."""
        return TEMPERATURE if self.refrigerant else CHANNELS[self.signal]


@dataclass(frozen=True)
class Flag:
    """Running status or reset: a column of words, or (running) a current, speed, power or load above a threshold.

    above, below: A, rpm, kW or %, above which the machine runs and below which it stands; between them nothing changes.
    kind: what they are of, or "" for a column of words; least_run, least_stop: ms, what is shorter is a flicker;
    mean_above: the column holds the share of the row in which it ran, None where it does not.
    on_change: the status is written when it changes, so it holds until the next, or for longest_hold.
    """

    signal: str
    column: Column | None = None
    on: tuple[str, ...] = ()
    off: tuple[str, ...] = ()
    kind: str = ""
    above: float = 0.0
    below: float = 0.0
    unit: str | None = None
    on_change: bool = False
    longest_hold: int | None = None
    group: int | None = None
    quality: Column | None = None
    least_run: int = 0
    least_stop: int = 0
    mean_above: float | None = None
    file: str | None = None


@dataclass(frozen=True)
class Profile:
    """A checked profile.

    long: the columns of tag and value, where each row is one reading; columns of signals are tags then.
    put_together: it is for files of one tag each that were put together, and not for a file by its header.
    """

    path: Path
    fingerprints: tuple[str, ...]
    file: FileForm
    time: TimeForm
    altitude_m: float | None
    channels: dict[str, Channel]
    flags: dict[str, Flag]
    texts: dict[str, str]
    quality: Column | None = None
    good: tuple[str, ...] = ()
    machines: dict[str, dict[str, Column]] = field(default_factory=dict)
    machine_from: str | None = None
    machine_column: Column | None = None
    long: tuple[Column, Column] | None = None
    put_together: bool = False

    @property
    def names(self) -> frozenset[str]:
        """Return the names of columns that the profile uses."""
        used = [*self.time.columns, self.quality, self.machine_column, *(self.long or ())]
        for signal in () if self.long else self.signals.values():
            used += [signal.column, signal.quality]
        return frozenset(column for column in used if isinstance(column, str))

    @property
    def measured(self) -> dict[str, Channel]:
        """Return the channels that stand in the file."""
        return {signal: channel for signal, channel in self.channels.items() if channel.constant is None}

    @property
    def qualities(self) -> dict[str, Column]:
        """Return the column of quality of each signal that has one."""
        own = {signal: item.quality or self.quality for signal, item in self.signals.items() if self.of_file(signal)}
        return {signal: column for signal, column in own.items() if column is not None}

    def of_file(self, signal: str) -> bool:
        """Say whether a signal stands in the file."""
        return signal in self.flags or signal in self.measured

    @property
    def holds(self) -> dict[str, int]:
        """Return for how long (ms) a reading of each channel holds where it is not written again."""
        own = {signal: channel.longest_hold for signal, channel in self.measured.items()}
        every = self.time.longest_hold if self.time.on_change else self.time.max_gap_ms if self.long else None
        return {signal: hold for signal, one in own.items() if (hold := one or every) is not None}

    @property
    def vouched_ms(self) -> int:
        """Return for how long (ms) all pressures may stand still: they are written on change; 0 where not all are."""
        every = self.time.longest_hold if self.time.on_change else None
        pressures = [channel for channel in self.measured.values() if channel.signal in PRESSURES]
        return min((c.longest_hold or every or 0 if c.on_change or every else 0 for c in pressures), default=0)

    def of_machine(self, machine: str) -> "Profile":
        """Return the profile of one of the machines of a file."""
        columns = self.machines[machine]

        def own(item: Any) -> Any:
            return replace(item, column=columns.get(item.signal, item.column))

        return replace(
            self,
            channels={signal: own(item) for signal, item in self.channels.items()},
            flags={signal: own(item) for signal, item in self.flags.items()},
            texts=self.texts | {"machine": machine},
            machines={},
        )

    @property
    def signals(self) -> dict[str, Channel | Flag]:
        """Return every signal with its column."""
        return {**self.channels, **self.flags}

    @property
    def columns(self) -> dict[str, Column]:
        """Return the column of every signal that stands in the file."""
        own = {signal: item.column for signal, item in self.signals.items() if self.of_file(signal)}
        return {signal: column for signal, column in own.items() if column is not None}

    @property
    def kinds(self) -> dict[str, str]:
        """Return what the numbers of each signal are of; a flag of words has no kind."""
        running = self.flags["running"].kind
        kinds = {signal: channel.kind for signal, channel in self.measured.items()}
        return kinds | ({"running": running} if running else {})


def read_profile(path: Path) -> Profile:
    """Read and check a profile as a whole. Raises Refusal, naming what a draft left open, or the first fault."""
    written = read_toml(path, "profile")
    left_open = list(_left_open(written))
    if len(left_open) > 1:
        raise refusal(path, "", f'left open in the draft as "{OPEN}": {", ".join(left_open)}', "a decision on each")
    read = fit(path, written, SHAPE)
    time = dict(read["time"])
    channels = {name: Channel(name, **read[name]) for name in CHANNELS if name in read}
    texts = dict(read.get("trace", {}))
    quality = read.get("quality", {})
    profile = Profile(
        path=path,
        fingerprints=read.get("fingerprints", ()),
        file=FileForm(**read.get("file", {})),
        time=TimeForm(columns=time.pop("column", ()), max_gap_ms=time.pop("max_gap"), **time),
        altitude_m=read.get("site", {}).get("altitude"),
        channels=channels,
        flags={"running": _running(path, read["running"], channels)}
        | ({"reset": Flag("reset", **read["reset"])} if "reset" in read else {}),
        quality=quality.get("column"),
        good=quality.get("good", ()),
        machines=read.get("machines", {}),
        long=(read["long"]["tag"], read["long"]["value"]) if "long" in read else None,
        machine_from=texts.pop("machine_from", None),
        machine_column=texts.pop("machine_column", None),
        texts=texts,
    )
    _check_columns(profile)
    _check_together(profile)
    _check_holds(profile)
    return profile


def _left_open(table: dict[str, Any], section: str = "") -> Iterator[str]:
    """Yield the places of a profile that still hold the question of a draft."""
    for key, value in table.items():
        if isinstance(value, dict):
            yield from _left_open(value, f"{section}.{key}" if section else key)
        elif value == OPEN:
            yield f"[{section}] {key}" if section else key


def _levels(path: Path, read: dict[str, Any]) -> tuple[str, float, float]:
    """Take the levels of a current or the like out of [running]: what they are of ("" for none), above, below."""
    thresholds = [key for key in (f"{what}_above" for what in LEVELS) if key in read]
    if len(thresholds) > 1:
        raise refusal(path, "[running]", "two thresholds", " or ".join(thresholds))
    below = next((key for key in (f"{what}_below" for what in LEVELS) if key in read), "")
    if below and [below.replace("below", "above")] != thresholds:
        rule = f"{below} is the level below which it stands"
        raise refusal(path, f"[running] {below.replace('below', 'above')}", rule, "the level above which it runs")
    if not thresholds:
        return "", 0.0, 0.0
    on = read.pop(thresholds[0])
    off = read.pop(below, on)
    if off > on:
        raise refusal(path, f"[running] {below}", f"above {thresholds[0]}", "a level not above it", off)
    if "mean_above" in read:
        raise refusal(path, "[running] mean_above", "a mean and a threshold", "one of them")
    return LEVELS[thresholds[0].removesuffix("_above")], on, off


def _running(path: Path, read: dict[str, Any], channels: dict[str, Channel]) -> Flag:
    """Return the rule of the running status: words, a mean of them, a current or a speed."""
    kind, above, below = _levels(path, read)
    if kind and ("on" in read or "off" in read):
        raise refusal(path, "[running]", "words and a threshold", "on and off, or a level such as current_above")
    if not kind and "unit" in read:
        raise refusal(path, "[running] unit", "a status has no unit", 'current_above = "12 A" for a motor current')
    speed = channels.get("speed")
    if "column" not in read and kind == SPEED and speed is not None:
        read = {"column": speed.column, "group": speed.group, "unit": speed.unit} | read
    if kind and read.get("unit") is not None:
        try:
            read_unit(read["unit"], kind)
        except UnitError as error:
            raise refusal(path, "[running] unit", str(error), '"A", "rpm", "kW" or "%"', read["unit"]) from None
    return Flag("running", kind=kind, above=above, below=below, **read)


def _check_together(profile: Profile) -> None:
    """Refuse what contradicts itself."""
    decimal, thousands = profile.file.decimal, profile.file.thousands
    if decimal is not None and decimal == thousands:
        raise refusal(profile.path, "[file] thousands", "the same as decimal", "another mark", thousands)
    for channel in profile.channels.values():
        where = f"[{channel.signal}] reference"
        if channel.unit is not None and channel.reference is not None and channel.kind == PRESSURE:
            stated = read_unit(channel.unit, PRESSURE).reference
            if stated not in ("", channel.reference):
                rule = f'contradicts unit "{channel.unit}", which is {stated}'
                raise refusal(profile.path, where, rule, f'"{stated}", or another unit', channel.reference)
        if channel.signal != "oil_pressure" and channel.reference == "difference":
            rule = "only an oil pressure is logged as a difference (to the crankcase)"
            raise refusal(profile.path, where, rule, '"gauge", "absolute" or "vacuum"', channel.reference)
    if profile.time.ticks not in profile.channels:
        raise refusal(profile.path, "[time] ticks", "no section for this signal", f"[{profile.time.ticks}]")


def _check_columns(profile: Profile) -> None:
    """Refuse a signal without column, and one that is said twice over."""
    path = profile.path
    own = set.intersection(*(set(columns) for columns in profile.machines.values())) if profile.machines else set()
    for signal, item in profile.signals.items():
        constant = isinstance(item, Channel) and item.constant is not None
        if constant and item.column is not None:
            raise refusal(
                path, f"[{signal}] constant", "beside a column", "column, or constant where nothing is logged"
            )
        if item.column is None and not constant and signal not in own:
            raise refusal(path, f"[{signal}] column", "missing key", SECTIONS[signal]["column"].accepted)
    for machine, columns in profile.machines.items():
        for signal in columns:
            if signal not in profile.signals:
                rule = f"named for machine {machine}, and there is no section [{signal}]"
                raise refusal(path, f"[{signal}]", rule, f"[{signal}] with unit and reference of this signal")
    refrigerant = profile.channels["suction_pressure"].refrigerant
    unit = profile.channels["suction_pressure"].unit
    if unit is not None and refrigerant is None and is_unit(unit, TEMPERATURE):
        rule = "a temperature: the refrigerant says what pressure it stands for"
        raise refusal(path, "[suction_pressure] refrigerant", rule, 'refrigerant = "R404A"')
    if profile.machine_column is not None and profile.machines:
        raise refusal(path, "[trace] machine_column", "beside [machines]", "one of them")


def _check_holds(profile: Profile) -> None:
    """Refuse readings that would hold for ever, and marks of quality of which nobody says what is good."""
    every = profile.time.longest_hold if profile.time.on_change else None
    if profile.time.on_change and every is None:
        rule = "on_change without it would let a reading hold for ever"
        raise refusal(profile.path, "[time] longest_hold", rule, 'longest_hold = "1 h"')
    for signal, channel in profile.channels.items():
        if channel.on_change and channel.longest_hold is None and every is None:
            rule = "on_change without it would let a reading hold for ever"
            raise refusal(profile.path, f"[{signal}] longest_hold", rule, 'longest_hold = "1 h"')
        if channel.quality is not None and not profile.good:
            raise refusal(profile.path, "[quality] good", f"missing key: {signal} has a quality", 'good = ["Good"]')
