"""The channels of kept rows: as absolute Pa and in the units of a trace, with what looks wrong in them."""

import numpy as np
from numpy.typing import NDArray

from protect.ranges import INPUTS, NO_READING, OIL_PRESSURE, SUCTION_PRESSURE
from replay.ground.units import STANDARD_ATMOSPHERE_PA, atmosphere_pa
from replay.measured import doubts
from replay.measured.block import Block
from replay.measured.profile import Profile
from replay.measured.profile_keys import PRESSURES
from replay.measured.unit_text import Unit

Columns = dict[str, NDArray[np.int64] | NDArray[np.float64] | NDArray[np.int8]]


class Channels:
    """Takes the rows that are kept, in order, and counts over all of them."""

    def __init__(self, profile: Profile, units: dict[str, Unit]) -> None:
        altitude = profile.altitude_m
        self.units, self.atmosphere = units, STANDARD_ATMOSPHERE_PA if altitude is None else atmosphere_pa(altitude)
        self.readings = {signal: doubts.Readings() for signal in profile.channels}
        self.still = {signal: doubts.Stillness() for signal in profile.channels if signal in PRESSURES}
        self.net = doubts.Net(self.atmosphere)

    def columns(self, block: Block) -> Columns:
        """Return the signals of kept rows: Pa, degC, rpm, 0 or 1."""
        columns: Columns = {}
        for signal, numbers in block.values.items():
            unit = self.units[signal]
            self.readings[signal].see_source(numbers)
            if signal not in PRESSURES:
                plain = unit.scale == 1.0 and unit.offset == 0.0
                columns[signal] = numbers if plain else np.round(numbers * unit.scale + unit.offset, 6)
            elif unit.reference != "difference":
                counted = unit.reference in ("gauge", "vacuum")
                columns[signal] = self._absolute(signal, numbers, self.atmosphere if counted else 0.0)
        crankcase = np.asarray(columns.get("crankcase_pressure", columns["suction_pressure"]), dtype=np.int64)
        if "oil_pressure" not in columns:
            base = np.where(crankcase == NO_READING, np.nan, crankcase.astype(np.float64))
            columns["oil_pressure"] = self._absolute("oil_pressure", block.values["oil_pressure"], base)
        columns["running"] = block.status["running"]
        if "reset" in block.status:
            columns["reset"] = (block.status["reset"] == 1).astype(np.int8)
        for signal, seen in self.readings.items():
            seen.see(columns[signal], self.atmosphere if self.units[signal].reference == "gauge" else None)
        self.net.see(np.asarray(columns["oil_pressure"], dtype=np.int64), crankcase, block.status["running"])
        return columns

    def _absolute(
        self, signal: str, numbers: NDArray[np.float64], base: float | NDArray[np.float64]
    ) -> NDArray[np.int64]:
        """Return whole absolute Pa, counted from a base (Pa); NO_READING for NaN and for what no sensor can say."""
        unit = self.units[signal]
        _, _, least, most = INPUTS[OIL_PRESSURE if signal == "oil_pressure" else SUCTION_PRESSURE]
        with np.errstate(over="ignore", invalid="ignore"):
            pascals = numbers * (-unit.scale if unit.reference == "vacuum" else unit.scale)
            pascals += base
            np.rint(pascals, out=pascals)
            if not len(pascals) or (pascals.min() >= least and pascals.max() <= most):  # false where there is a NaN
                return pascals.astype(np.int64)
            real = (pascals >= least) & (pascals <= most)
        self.readings[signal].beyond += int((~real & ~np.isnan(pascals)).sum())
        return np.where(real, np.where(real, pascals, 0.0), NO_READING).astype(np.int64)

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
            found += doubts.of_pressure(signal, self.units[signal].reference, self.readings[signal], self.atmosphere)
        found += doubts.of_net(self.net)
        hot = self.readings.get("oil_temperature")
        if hot is not None and hot.readings and hot.most > doubts.HOT_C:
            found.append(f"oil temperature reaches {hot.most:.0f} degC: is its unit right?")
        return found
