"""A trace as other sensors would have read it: offset, gain and lag of a channel, and a longer sample period.

The errors come on top of whatever the recording holds, in the order of a real
transmitter: lag, gain, offset. A lag is of first order and exact for a pressure
that has, since the reading before, been what the reading says (so does `protect`
take it): y += (x - y) (1 - exp(-dt / lag)). Gain is a share of the absolute
pressure. What no sensor can say becomes no reading, as in `replay.trace.trace`.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from protect.ranges import INPUTS, NO_READING, OIL_PRESSURE, SUCTION_PRESSURE
from replay.trace import Trace

CHANNELS = ("oil_pressure", "suction_pressure", "crankcase_pressure")


@dataclass(frozen=True)
class SensorError:
    """What is wrong with one sensor: Pa, share of the reading, s (time constant)."""

    offset_pa: float = 0.0
    gain: float = 0.0
    lag_s: float = 0.0


ERRORS = {"offset": "offset_pa", "gain": "gain", "lag": "lag_s"}  # what may be wrong with a sensor, and its field


def has_crankcase(trace: Trace) -> bool:
    """Tell whether a trace has a crankcase channel of its own."""
    return trace.crankcase_pa is not trace.suction_pa


def disturbed(trace: Trace, errors: Mapping[str, SensorError]) -> Trace:
    """Return a trace with these errors of its channels, by the names in CHANNELS.

    Without a crankcase channel the suction sensor is the crankcase's too, with
    its error, and an error of a crankcase sensor says nothing.
    """
    none = SensorError()
    oil = _read(trace, trace.oil_pa, errors.get("oil_pressure", none), OIL_PRESSURE)
    suction = _read(trace, trace.suction_pa, errors.get("suction_pressure", none), SUCTION_PRESSURE)
    crankcase = suction
    if has_crankcase(trace):
        crankcase = _read(trace, trace.crankcase_pa, errors.get("crankcase_pressure", none), SUCTION_PRESSURE)
    return replace(trace, oil_pa=oil, suction_pa=suction, crankcase_pa=crankcase)


def thinned(trace: Trace, period_ms: int) -> Trace:
    """Return a trace of which only ticks at least period_ms apart are left, the first among them."""
    kept = [0]
    times = trace.time_ms.tolist()
    for row, time_ms in enumerate(times):
        if time_ms - times[kept[-1]] >= period_ms and row:
            kept.append(row)
    if len(kept) == len(trace):
        return trace
    arrays = {name: array for name, array in vars(trace).items() if isinstance(array, np.ndarray)}
    columns: dict[str, Any] = {name: array[kept] for name, array in arrays.items()}
    if not has_crankcase(trace):
        columns["crankcase_pa"] = columns["suction_pa"]
    return replace(trace, **columns)


def _read(trace: Trace, pascals: NDArray[np.int64], error: SensorError, place: int) -> NDArray[np.int64]:
    """Return the readings (int64[n] Pa) of one channel with an error."""
    if error == SensorError():
        return pascals
    _, _, least, most = INPUTS[place]
    real = pascals != NO_READING
    values = np.where(real, pascals, 0).astype(np.float64)
    if error.lag_s > 0:
        values[real] = lagging(trace.time_ms[real], values[real], 1000.0 * error.lag_s)
    read = np.rint(values * (1.0 + error.gain) + error.offset_pa)
    return np.where(real & (read >= least) & (read <= most), read, NO_READING).astype(np.int64)


def lagging(time_ms: NDArray[np.int64], values: NDArray[np.float64], lag_ms: float) -> NDArray[np.float64]:
    """Return float64[n] values with a lag; what was not read between two of them changes nothing."""
    lagged = values.tolist()
    shares = (-np.expm1(-np.diff(time_ms) / lag_ms)).tolist()
    for row, share in enumerate(shares, 1):
        lagged[row] = lagged[row - 1] + (lagged[row] - lagged[row - 1]) * share
    return np.array(lagged)
