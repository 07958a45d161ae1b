"""The channels of kept rows: in the units of a trace, with their ranges and with what looks wrong in them."""

import numpy as np
from numpy.typing import NDArray

from replay.ground.units import STANDARD_ATMOSPHERE_PA, atmosphere_pa
from replay.measured import doubts
from replay.measured.block import Block
from replay.measured.profile import Profile
from replay.measured.profile_keys import PRESSURES
from replay.measured.signals import above_crankcase, converter
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
        self.floors = {s: doubts.Floor(self.atmosphere) for s in self.still if units[s].reference == "gauge"}

    def columns(self, block: Block, rows: NDArray[np.int64] | None, running: NDArray[np.int8]) -> Columns:
        """Return the signals of the kept rows: Pa, degC, rpm, 0 or 1."""
        taken = {signal: v if rows is None else v[rows] for signal, v in block.values.items()}
        columns: Columns = {}
        for signal, numbers in taken.items():
            unit, seen = self.units[signal], self.readings[signal]
            seen.see_source(numbers)
            if unit.reference == "difference":
                continue
            if signal in PRESSURES:
                pascals, beyond = converter(signal, unit, self.atmosphere).pascals(numbers)
                seen.beyond += beyond
                columns[signal] = pascals
            else:
                plain = unit.scale == 1.0 and unit.offset == 0.0
                columns[signal] = numbers if plain else np.round(numbers * unit.scale + unit.offset, 6)
        crankcase = columns.get("crankcase_pressure", columns.get("suction_pressure"))
        if "oil_pressure" not in columns:
            difference = taken["oil_pressure"] * self.units["oil_pressure"].scale
            oil, beyond = above_crankcase(difference, np.asarray(crankcase, dtype=np.int64))
            self.readings["oil_pressure"].beyond += beyond
            columns["oil_pressure"] = oil
        columns["running"] = running
        if "reset" in block.status:
            reset = block.status["reset"] if rows is None else block.status["reset"][rows]
            columns["reset"] = np.where(reset == 1, 1, 0).astype(np.int8)
        self._look(columns, running)
        return columns

    def _look(self, columns: Columns, running: NDArray[np.int8]) -> None:
        """Enter kept rows into the ranges and doubts."""
        for signal, seen in self.readings.items():
            before = seen.readings
            least = seen.see(columns[signal])
            if signal in self.floors:
                pascals = np.asarray(columns[signal], dtype=np.int64)
                self.floors[signal].see(pascals, seen.readings - before, least)
        oil, crankcase = (
            np.asarray(columns[s], dtype=np.int64)
            for s in ("oil_pressure", "crankcase_pressure" if "crankcase_pressure" in columns else "suction_pressure")
        )
        self.net.see(oil, crankcase, running)

    def see_stretch(self, time: NDArray[np.int64], columns: Columns) -> None:
        """Look for pressures that stand still in rows of one trace."""
        running = np.asarray(columns["running"], dtype=np.int8)
        for signal, still in self.still.items():
            still.see(time, np.asarray(columns[signal], dtype=np.int64), running)

    def end_trace(self) -> None:
        """Begin anew behind a gap."""
        for signal, still in self.still.items():
            still.end()
            seen = self.readings[signal]
            seen.flat_ms, seen.flat_from_ms = still.longest_ms, still.longest_from_ms

    def doubts(self) -> list[str]:
        """Return what looks wrong in the signals, in words."""
        found = []
        for signal in self.still:
            seen, reference = self.readings[signal], self.units[signal].reference
            found += doubts.of_pressure(signal, reference, seen, self.floors.get(signal), self.atmosphere)
        found += doubts.of_net(self.net)
        hot = self.readings.get("oil_temperature")
        if hot is not None and hot.readings and hot.most > doubts.HOT_C:
            found.append(f"oil temperature reaches {hot.most:.0f} degC: is its unit right?")
        return found
