"""The channels of kept rows: as absolute Pa and in the units of a trace, with what looks wrong in them."""

import numpy as np
from numpy.typing import NDArray

from protect.ranges import INPUTS, NO_READING, OIL_PRESSURE, SUCTION_PRESSURE
from replay.ground.refusal import refusal
from replay.ground.units import STANDARD_ATMOSPHERE_PA, UnitError, absolute_pressure_pa, atmosphere_pa, pressure_unit
from replay.ground.wording import absolute
from replay.measured import doubts
from replay.measured.block import Block
from replay.measured.naming import DIFFERENCE, read_name
from replay.measured.profile import Channel, Profile
from replay.measured.profile_keys import PRESSURES
from replay.measured.saturation import Saturation
from replay.measured.unit_text import Unit

ABSOLUTE_ZERO_C = -273.15
Columns = dict[str, NDArray[np.int64] | NDArray[np.float64] | NDArray[np.int8]]


class Channels:
    """Takes the rows that are kept, in order, and counts over all of them."""

    def __init__(self, profile: Profile, units: dict[str, Unit]) -> None:
        altitude = profile.altitude_m
        self.profile = profile
        self.units, self.atmosphere = units, STANDARD_ATMOSPHERE_PA if altitude is None else atmosphere_pa(altitude)
        self.readings = {signal: doubts.Readings() for signal in profile.measured}
        self.still = {signal: doubts.Stillness() for signal in profile.measured if signal in PRESSURES}
        self.net = doubts.Net(self.atmosphere)
        suction = profile.channels["suction_pressure"]
        self.constant, self.odd = self._constant(suction), 0
        self.saturation = Saturation(profile, suction.refrigerant) if suction.refrigerant else None

    def columns(self, block: Block) -> Columns:
        """Return the signals of kept rows: Pa, degC, rpm, 0 or 1."""
        columns: Columns = {}
        scaled: dict[str, NDArray[np.float64]] = {}
        for signal, raw in block.values.items():
            unit = self.units[signal]
            numbers = scaled[signal] = self._scaled(signal, raw)
            if signal not in PRESSURES:
                plain = unit.scale == 1.0 and unit.offset == 0.0
                columns[signal] = numbers if plain else np.round(numbers * unit.scale + unit.offset, 6)
                if signal == "oil_temperature":
                    columns[signal] = self._above_absolute_zero(signal, np.asarray(columns[signal]))
            elif signal == "suction_pressure" and self.saturation:
                columns[signal] = self._whole(signal, self.saturation.pascals(numbers * unit.scale + unit.offset))
            elif unit.reference != "difference":
                counted = unit.reference in ("gauge", "vacuum")
                columns[signal] = self._absolute(signal, numbers, self.atmosphere if counted else 0.0)
        suction = columns["suction_pressure"] if self.constant is None else np.full(len(block), self.constant)
        crankcase = np.asarray(columns.get("crankcase_pressure", suction), dtype=np.int64)
        columns |= self._restless(len(block))
        if "oil_pressure" not in columns:
            base = np.where(crankcase == NO_READING, np.nan, crankcase.astype(np.float64))
            columns["oil_pressure"] = self._absolute("oil_pressure", scaled["oil_pressure"], base)
        columns["running"] = block.status["running"]
        columns |= self._held(len(block))
        if "reset" in block.status:
            columns["reset"] = (block.status["reset"] == 1).astype(np.int8)
        for signal, seen in self.readings.items():
            floor = self.atmosphere if self.units[signal].reference == "gauge" else None
            seen.see(columns[signal], floor, doubts.NOTHING_PA if signal in PRESSURES else -np.inf)
        self.net.see(np.asarray(columns["oil_pressure"], dtype=np.int64), crankcase, block.status["running"])
        return columns

    def _held(self, rows: int) -> Columns:
        """Return for how long the readings of these rows may stand still, where they are written on change."""
        hold = self.profile.vouched_ms
        return {"longest_hold_s": np.full(rows, hold / 1000)} if hold else {}

    def _constant(self, suction: Channel) -> int | None:
        """Return a suction pressure that is not logged, in absolute Pa. Raises Refusal."""
        if suction.constant is None:
            return None
        where = "[suction_pressure] constant"
        try:
            _, marked = pressure_unit(suction.constant.lstrip("+-0123456789.eE ").strip())
            if not marked and suction.reference is None:
                rule = "gauge or absolute is not said"
                raise refusal(self.profile.path, where, rule, 'a pressure such as "1.8 bar(g)"', suction.constant)
            pascals = absolute_pressure_pa(suction.constant, self.atmosphere)
        except UnitError as error:
            raise refusal(self.profile.path, where, str(error), '"1.8 bar(g)"', suction.constant) from None
        if not marked and suction.reference == "gauge":
            pascals += round(self.atmosphere)
        return pascals

    def _restless(self, rows: int) -> Columns:
        """Return a suction pressure that nobody measured: up and down by 1 Pa, since what stands still counts as stuck.

        The oil pressure beside it has to be judged; whether a sensor stuck that is not there is no question.
        """
        if self.constant is None:
            return {}
        moved = (self.odd + np.arange(rows, dtype=np.int64)) % 2
        self.odd = (self.odd + rows) % 2
        return {"suction_pressure": self.constant + moved}

    def _scaled(self, signal: str, raw: NDArray[np.float64]) -> NDArray[np.float64]:
        """Return raw numbers in the unit of the profile; NaN for those that no sound sensor gives."""
        seen = self.readings[signal]
        seen.see_source(raw)
        channel = self.profile.channels[signal]
        numbers = raw
        if channel.valid is not None:
            with np.errstate(invalid="ignore"):
                outside = (numbers < channel.valid[0]) | (numbers > channel.valid[1])
            seen.invalid += int(outside.sum())
            numbers = np.where(outside, np.nan, numbers)
        scale = 1.0 if channel.scale is None else channel.scale
        return numbers if (scale, channel.offset) == (1.0, 0.0) else numbers * scale + channel.offset

    def _absolute(
        self, signal: str, numbers: NDArray[np.float64], base: float | NDArray[np.float64]
    ) -> NDArray[np.int64]:
        """Return whole absolute Pa, counted from a base (Pa)."""
        unit = self.units[signal]
        with np.errstate(over="ignore", invalid="ignore"):
            scale: float | NDArray[np.float64] = -unit.scale if unit.reference == "vacuum" else unit.scale
            pascals = numbers * (np.where(numbers < 0, unit.below, scale) if unit.below else scale)
            pascals += base
        return self._whole(signal, pascals)

    def _whole(self, signal: str, pascals: NDArray[np.float64]) -> NDArray[np.int64]:
        """Return whole Pa; NO_READING for NaN, for what no sensor can say, and below absolute zero."""
        most = INPUTS[OIL_PRESSURE if signal == "oil_pressure" else SUCTION_PRESSURE][3]
        with np.errstate(over="ignore", invalid="ignore"):
            np.rint(pascals, out=pascals)
            if not len(pascals) or (pascals.min() >= 0 and pascals.max() <= most):  # false where there is a NaN
                return pascals.astype(np.int64)
            real = (pascals >= 0) & (pascals <= most)
        seen = self.readings[signal]
        seen.beyond += int((pascals > most).sum())
        below = pascals < 0
        if below.any():
            seen.below_zero += int(below.sum())
            seen.lowest = min(seen.lowest, float(pascals[below].min()))
        return np.where(real, np.where(real, pascals, 0.0), NO_READING).astype(np.int64)

    def _above_absolute_zero(self, signal: str, celsius: NDArray[np.float64]) -> NDArray[np.float64]:
        with np.errstate(invalid="ignore"):
            below = celsius < ABSOLUTE_ZERO_C
        self.readings[signal].below_zero += int(below.sum())
        return np.where(below, np.nan, celsius) if below.any() else celsius

    def see_stretch(self, time: NDArray[np.int64], columns: Columns) -> None:
        """Look for pressures that stand still in rows of one trace."""
        running = np.asarray(columns["running"], dtype=np.int8)
        for signal, still in self.still.items():
            still.see(time, np.asarray(columns[signal], dtype=np.int64), running)

    def end_trace(self) -> None:
        """Begin anew behind a gap."""
        for signal, still in self.still.items():
            still.end()
            self.readings[signal].flat_ms = still.longest_ms

    def doubts(self) -> list[str]:
        """Return what looks wrong in the signals, in words."""
        found = []
        for signal in self.still:
            seen, reference = self.readings[signal], self.units[signal].reference
            found += doubts.of_pressure(signal, reference, seen, self.atmosphere, self.profile.vouched_ms)
            found += self._of_name(signal)
        found += doubts.of_net(self.net)
        hot = self.readings.get("oil_temperature")
        if hot is not None and hot.readings and hot.most > doubts.HOT_C:
            found.append(f"oil temperature reaches {hot.most:.0f} degC: is its unit right?")
        for signal, seen in self.readings.items():
            found += doubts.of_sensor(signal, seen)
        if self.constant is not None:
            found.append(f"suction pressure is not logged and taken as {absolute(self.constant)} throughout")
        if self.saturation is not None:
            found.append(self.saturation.told())
        return found

    def _of_name(self, signal: str) -> list[str]:
        """Return what the name of a column says against the profile."""
        column = self.profile.channels[signal].column
        word = read_name(column).means.get(DIFFERENCE) if isinstance(column, str) else None
        if not word or signal != "oil_pressure" or self.units[signal].reference == "difference":
            return []
        return [f'"{word}" in the name "{column}" says a difference, and it is taken as {self.units[signal].reference}']
