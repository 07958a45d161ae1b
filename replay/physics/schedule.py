"""What is done to a machine in a trace: channels over time, steps and ramps, as plain arrays for the kernel."""

from dataclasses import dataclass, field
from enum import IntEnum

import numpy as np
from numpy.typing import NDArray

from replay.physics import layout
from replay.physics.viscosity import ZERO_CELSIUS_K


class Channel(IntEnum):
    """The inputs of the kernel; shares and openings are 0..1 unless said otherwise."""

    RUN = layout.U_RUN  # run command, 0 or 1
    SPEED_RPM = layout.U_SPEED_RPM
    CAPACITY = layout.U_CAPACITY  # share of the cylinders loaded
    SUCTION_VALVE = layout.U_SUCTION_VALVE  # opening between evaporator and crankcase
    LIQUID_VALVE = layout.U_LIQUID_VALVE  # opening that feeds the evaporator
    LOAD_PA = layout.U_LOAD_PA  # evaporator pressure with the machine standing
    DISCHARGE_PA = layout.U_DISCHARGE_PA
    AMBIENT_K = layout.U_AMBIENT_K
    HEATER_K = layout.U_HEATER_K  # rise of the sump by the crankcase heater
    OIL_LEAK_KG_S = layout.U_OIL_LEAK_KG_S  # oil that leaves the sump for good; below 0, oil that arrives
    SCREEN_CLOG = layout.U_SCREEN_CLOG  # share of the suction screen closed
    PUMP_WEAR = layout.U_PUMP_WEAR  # internal slip beyond that of a new pump, multiples of it
    PUMP_DRIVE = layout.U_PUMP_DRIVE  # 1 whole, 0 broken
    RELIEF_STUCK = layout.U_RELIEF_STUCK  # share of the relief valve stuck open
    ROTATION = layout.U_ROTATION  # 1 right, -1 reversed
    LIQUID_KG_S = layout.U_LIQUID_KG_S  # liquid refrigerant coming back to the sump
    SUCTION_PA = layout.U_SUCTION_PA  # measured suction that the model is made to follow, whatever valves do; 0: none


# Times in s, values at and slopes after each of them (n x channels), whether nothing changes there.
Plan = tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64], NDArray[np.bool_]]


@dataclass
class Schedule:
    """The course of a trace from a design point, changed channel by channel.

    design_suction_pa and discharge_pa fix the machine's design flow; load_pa is the evaporator pressure that the
    load would bring about without the machine. A schedule starts in that steady state and lasts until the trace ends.
    """

    speed_rpm: float
    design_suction_pa: float = 250e3
    discharge_pa: float = 900e3
    load_pa: float = 450e3
    ambient_c: float = 20.0
    running: bool = True
    knots: dict[Channel, list[tuple[float, float]]] = field(default_factory=dict)

    def __post_init__(self) -> None:
        """Check the design point and lay the first knot of every channel."""
        if not 0.0 < self.design_suction_pa < min(self.discharge_pa, self.load_pa):
            raise ValueError("design suction must lie above 0 and below both discharge and load pressure")
        first = {
            Channel.RUN: float(self.running),
            Channel.SPEED_RPM: self.speed_rpm,
            Channel.CAPACITY: 1.0,
            Channel.SUCTION_VALVE: 1.0,
            Channel.LIQUID_VALVE: 1.0,
            Channel.LOAD_PA: self.load_pa,
            Channel.DISCHARGE_PA: self.discharge_pa,
            Channel.AMBIENT_K: self.ambient_c + ZERO_CELSIUS_K,
            Channel.PUMP_DRIVE: 1.0,
            Channel.ROTATION: 1.0,
        }
        for channel in Channel:
            self.knots.setdefault(channel, [(0.0, first.get(channel, 0.0))])

    def change(self, channel: Channel, at_s: float, value: float, over_s: float = 0.0) -> "Schedule":
        """Bring a channel to value from at_s on, at once or on a ramp over over_s; returns the schedule.

        Changes of one channel come in order of time. Raises ValueError when one overlaps the last.
        """
        knots = self.knots[channel]
        if at_s < knots[-1][0] or over_s < 0.0:
            raise ValueError(f"{channel.name}: a change at {at_s} s over {over_s} s overlaps the last one")
        knots.append((at_s, knots[-1][1]))
        knots.append((at_s + over_s, value))
        return self

    def arrays(self) -> Plan:
        """Return the schedule as the kernel takes it.

        One walk a channel over the times of all, so that the cost grows with the changes, not with their square.
        """
        times = np.array(sorted({time for knots in self.knots.values() for time, _ in knots}))
        values = np.zeros((times.size, layout.INPUTS))
        slopes = np.zeros_like(values)
        gaps = np.diff(times)
        for channel, knots in self.knots.items():
            if len(knots) == 1:  # never changed
                values[:, channel] = knots[0][1]
                continue
            after, before = _walk(knots, times.tolist())
            values[:, channel] = after
            slopes[:-1, channel] = (before[1:] - after[:-1]) / gaps
        return times, values, slopes, np.asarray(~slopes.any(axis=1))


def _walk(knots: list[tuple[float, float]], times: list[float]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return the values at the times and on arriving at them: of several knots at one time the last, and the first.

    Knots and times ascend, the first knot lies at the first time, and every knot's time is one of the times.
    """
    after, before = np.empty(len(times)), np.empty(len(times))
    i = 0  # the last knot at or before the time
    for row, time in enumerate(times):
        first = i
        while i + 1 < len(knots) and knots[i + 1][0] <= time:
            i += 1
            if knots[first][0] < time:
                first = i
        if knots[i][0] == time or i + 1 == len(knots):
            after[row] = knots[i][1]
            before[row] = knots[first][1]
        else:
            (left_s, left), (right_s, right) = knots[i], knots[i + 1]
            after[row] = before[row] = left + (right - left) * ((time - left_s) / (right_s - left_s))
    return after, before
