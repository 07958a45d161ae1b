"""The profile of a logger's file: which column is which signal, and what the numbers in it mean.

TOML. What a text file shows by itself (encoding, separator, marks, header) need not be stated; what
it cannot show (gauge or absolute, the order of day and month, the longest gap) has to be.
"""

from dataclasses import dataclass
from pathlib import Path
from typing import Any

from replay.ground.refusal import refusal
from replay.ground.shape import fit
from replay.ground.toml_files import read_toml
from replay.ground.units import UnitError
from replay.measured.profile_keys import CHANNELS, PRESSURES, SECTIONS, SHAPE, Column
from replay.measured.unit_text import CURRENT, PRESSURE, SPEED, read_unit


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
    """How the time column reads. `columns` is empty where the source has clocks of its own (MDF)."""

    columns: tuple[Column, ...]
    max_gap_ms: int
    form: str | None = None
    unit: str | None = None
    order: str | None = None
    zone: str | None = None
    repeated_hour: str | None = None
    ticks: str = "oil_pressure"


@dataclass(frozen=True)
class Channel:
    """One measured signal: its column and what its numbers mean; None where the file itself has to say."""

    signal: str
    column: Column
    unit: str | None = None
    reference: str | None = None
    group: int | None = None


@dataclass(frozen=True)
class Flag:
    """Running status or reset: a column of words, or (running) a current or speed above a threshold.

    above: A or rpm; kind: what the threshold is of, or "" for a column of words.
    on_change: the status is written when it changes, so it holds until the next.
    """

    signal: str
    column: Column
    on: tuple[str, ...] = ()
    off: tuple[str, ...] = ()
    kind: str = ""
    above: float = 0.0
    unit: str | None = None
    on_change: bool = False
    group: int | None = None


@dataclass(frozen=True)
class Profile:
    """A checked profile."""

    path: Path
    fingerprints: tuple[str, ...]
    file: FileForm
    time: TimeForm
    altitude_m: float | None
    channels: dict[str, Channel]
    flags: dict[str, Flag]
    texts: dict[str, str]

    @property
    def names(self) -> frozenset[str]:
        """Return the names of columns that the profile uses."""
        used = [*self.time.columns, *(signal.column for signal in self.signals.values())]
        return frozenset(column for column in used if isinstance(column, str))

    @property
    def signals(self) -> dict[str, Channel | Flag]:
        """Return every signal with its column."""
        return {**self.channels, **self.flags}

    @property
    def kinds(self) -> dict[str, str]:
        """Return what the numbers of each signal are of; a flag of words has no kind."""
        running = self.flags["running"].kind
        return {signal: CHANNELS[signal] for signal in self.channels} | ({"running": running} if running else {})


def read_profile(path: Path) -> Profile:
    """Read and check a profile as a whole. Raises Refusal, naming the key, at the first fault."""
    read = fit(path, read_toml(path, "profile"), SHAPE)
    time = dict(read["time"])
    channels = {name: Channel(name, **read[name]) for name in CHANNELS if name in read}
    profile = Profile(
        path=path,
        fingerprints=read.get("fingerprints", ()),
        file=FileForm(**read.get("file", {})),
        time=TimeForm(columns=time.pop("column", ()), max_gap_ms=time.pop("max_gap"), **time),
        altitude_m=read.get("site", {}).get("altitude"),
        channels=channels,
        flags={"running": _running(path, read["running"], channels)}
        | ({"reset": Flag("reset", **read["reset"])} if "reset" in read else {}),
        texts=read.get("trace", {}),
    )
    _check_together(profile)
    return profile


def _running(path: Path, read: dict[str, Any], channels: dict[str, Channel]) -> Flag:
    """Return the rule of the running status: words, a current or a speed."""
    thresholds = [key for key in ("current_above", "speed_above") if key in read]
    if len(thresholds) > 1:
        raise refusal(path, "[running]", "two thresholds", "current_above or speed_above")
    kind = {"current_above": CURRENT, "speed_above": SPEED}[thresholds[0]] if thresholds else ""
    above = read.pop(thresholds[0]) if thresholds else 0.0
    if kind and ("on" in read or "off" in read):
        raise refusal(path, "[running]", "words and a threshold", "on and off, or current_above, or speed_above")
    if not kind and "unit" in read:
        raise refusal(path, "[running] unit", "a status has no unit", 'current_above = "12 A" for a motor current')
    if "column" not in read:
        speed = channels.get("speed")
        if kind != SPEED or speed is None:
            raise refusal(path, "[running] column", "missing key", SECTIONS["running"]["column"].accepted)
        read = {"column": speed.column, "group": speed.group, "unit": speed.unit} | read
    if kind and read.get("unit") is not None:
        try:
            read_unit(read["unit"], kind)
        except UnitError as error:
            raise refusal(path, "[running] unit", str(error), '"A" or "rpm"', read["unit"]) from None
    return Flag("running", kind=kind, above=above, **read)


def _check_together(profile: Profile) -> None:
    """Refuse what contradicts itself."""
    decimal, thousands = profile.file.decimal, profile.file.thousands
    if decimal is not None and decimal == thousands:
        raise refusal(profile.path, "[file] thousands", "the same as decimal", "another mark", thousands)
    for channel in profile.channels.values():
        where = f"[{channel.signal}] reference"
        if channel.unit is not None and channel.reference is not None and channel.signal in PRESSURES:
            stated = read_unit(channel.unit, PRESSURE).reference
            if stated not in ("", channel.reference):
                rule = f'contradicts unit "{channel.unit}", which is {stated}'
                raise refusal(profile.path, where, rule, f'"{stated}", or another unit', channel.reference)
        if channel.signal != "oil_pressure" and channel.reference == "difference":
            rule = "only an oil pressure is logged as a difference (to the crankcase)"
            raise refusal(profile.path, where, rule, '"gauge", "absolute" or "vacuum"', channel.reference)
    if profile.time.ticks not in profile.channels:
        raise refusal(profile.path, "[time] ticks", "this signal has no section", f"[{profile.time.ticks}]")
