"""Pressure sensors from the true pressure to what a controller reads, in integer pascals.

Order of effects: first-order lag (of the line, or damping), gain, offset, drift, noise, an interference spike, a stuck
element, a dead band, the limits of the signal, a broken or shorted loop, quantisation, a lost reading. A loop is
4-20 mA: broken it reads 0 mA, shorted it reads the supply's limit, both outside the measuring band (levels: NAMUR
NE 43, as told by secondary texts).

Random numbers are drawn by the caller, sample by sample in a fixed order, so that open and closed loop use the same
ones and a trace can be read in pieces of any length. Noise is the sum of four uniform draws (bounded, nearly normal)
and needs no logarithm: the same bits everywhere.
"""

from collections.abc import Iterator
from dataclasses import dataclass, field

import numpy as np
from numba.extending import register_jitable
from numpy.typing import NDArray

from replay.physics.kernel import compiled_with_digest
from replay.physics.layout import Vector

NO_READING = -(2**31)  # in place of pascals: no reading came
SIGNAL_LOW = -0.0125  # 3.8 mA, share of span
SIGNAL_HIGH = 1.03125  # 20.5 mA
BROKEN = -0.25  # 0 mA
SHORTED = 1.125  # 22 mA, where a usual transmitter input ends
CHANNELS = 3
NOISE_DRAWS = 4
SAMPLE_DRAWS = 1 + CHANNELS * (NOISE_DRAWS + 1)  # uniform numbers of one sample: jitter, noise, chance
NOISE_SCALE = 1.7320508075688772  # standard deviation of the sum of four uniform draws is 1/sqrt(3)
NEVER_S = 1e18
GROSS_OFFSET_PA = 20e3  # assumed: an offset beyond what any sound installation has; what is read then is untrue
STILL_DIGITS = (
    2.5  # assumed: digits of so many deviations of the noise stand still over 45 readings 14 times in a million
)

(
    Q_LOW,
    Q_HIGH,
    Q_LAG_S,
    Q_GAIN,
    Q_OFFSET,
    Q_DRIFT_FROM_S,
    Q_DRIFT,
    Q_NOISE,
    Q_STUCK_FROM_S,
    Q_STUCK_TO_S,
    Q_BROKEN_FROM_S,
    Q_BROKEN_TO_S,
    Q_SHORT_FROM_S,
    Q_SHORT_TO_S,
    Q_LOST_CHANCE,
    Q_SPIKE_CHANCE,
    Q_SPIKE,
    Q_DEAD_BAND,
    Q_RESOLUTION,
) = range(19)
SENSOR_PARAMETERS = 19  # after them (from, to) of each stretch without readings
(H_LAGGED, H_HELD, H_TIME_S, H_STARTED, H_LOST) = range(5)  # what a sensor carries from reading to reading
SENSOR_STATES = 5

Span = tuple[float, float]
NEVER_SPAN: Span = (NEVER_S, NEVER_S)


@dataclass(frozen=True)
class Sensor:
    """One pressure channel; spans are (from, to) in seconds, those of lost ascending.

    lost_chance, spike_chance: of each reading; spike_pa: deviation of an interference spike; dead_band_pa: how far the
    pressure has to move before the reading follows.
    """

    range_low_pa: float = 0.0
    range_high_pa: float = 1000e3
    lag_s: float = 0.1
    gain: float = 1.0
    offset_pa: float = 0.0
    drift_from_s: float = NEVER_S
    drift_pa_s: float = 0.0
    noise_pa: float = 300.0
    resolution_pa: float = 250.0
    stuck_s: Span = NEVER_SPAN
    broken_s: Span = NEVER_SPAN
    shorted_s: Span = NEVER_SPAN
    lost: tuple[Span, ...] = ()
    lost_chance: float = 0.0
    spike_chance: float = 0.0
    spike_pa: float = 0.0
    dead_band_pa: float = 0.0

    @property
    def fault_s(self) -> float:
        """When the sensor begins to tell an untruth, or NEVER_S: set up wrongly, stuck, drifting, broken, shorted.

        One whose reading stands still by itself does so from the start: nobody can tell it from a frozen one.
        """
        if abs(self.offset_pa) > GROSS_OFFSET_PA or self.stands_still:
            return 0.0
        return min(self.drift_from_s, self.stuck_s[0], self.broken_s[0], self.shorted_s[0])

    @property
    def stands_still(self) -> bool:
        """Whether digits or dead band hide the pulsation of a running machine, so that the reading may not move."""
        return max(self.resolution_pa, 2.0 * self.dead_band_pa) > STILL_DIGITS * self.noise_pa

    def parameters(self) -> NDArray[np.float64]:
        """Return the sensor as an array in the order of the Q_ names; raises ValueError for an impossible one."""
        if not self.range_low_pa < self.range_high_pa or self.resolution_pa < 1.0 or self.noise_pa < 0.0:
            raise ValueError(f"impossible sensor: {self}")
        return np.array(
            [
                self.range_low_pa,
                self.range_high_pa,
                self.lag_s,
                self.gain,
                self.offset_pa,
                self.drift_from_s,
                self.drift_pa_s,
                self.noise_pa,
                *self.stuck_s,
                *self.broken_s,
                *self.shorted_s,
                self.lost_chance,
                self.spike_chance,
                self.spike_pa,
                self.dead_band_pa,
                self.resolution_pa,
                *(moment for span in self.lost for moment in span),
            ]
        )


@dataclass(frozen=True)
class SensorChain:
    """The channels of a controller and its sampling; crankcase None: the controller has no such channel.

    errors: what is wrong with it, in words, for whoever wonders at the trace.
    """

    oil: Sensor = field(default_factory=Sensor)
    suction: Sensor = field(default_factory=Sensor)
    crankcase: Sensor | None = None
    period_ms: int = 1000
    jitter_ms: int = 0
    errors: tuple[str, ...] = ()

    @property
    def fault_s(self) -> float:
        """When the first of the sensors fails, NEVER_S when none does."""
        return min(sensor.fault_s for sensor in (self.oil, self.suction, self.crankcase) if sensor is not None)

    def __post_init__(self) -> None:
        """Refuse sampling whose instants could fall together or go back."""
        if self.period_ms < 1 or not 0 <= 2 * self.jitter_ms < self.period_ms:
            raise ValueError(f"jitter {self.jitter_ms} ms must be under half the period {self.period_ms} ms")


@register_jitable
def read_sensor(q: Vector, held: Vector, true_pa: float, now_s: float, gaussian: float, chance: float) -> int:
    """Return the reading (whole Pa) of true_pa at now_s, or NO_READING.

    q: parameters; held: what the sensor carries, changed in place (zeros before the first reading); gaussian: a
    draw of unit deviation; chance: a uniform draw in 0..1.
    """
    if held[H_STARTED] == 0.0:
        held[H_STARTED] = 1.0
        held[H_LAGGED] = true_pa
        held[H_HELD] = true_pa * q[Q_GAIN] + q[Q_OFFSET]
    elif q[Q_LAG_S] > 0.0:
        x = (now_s - held[H_TIME_S]) / q[Q_LAG_S]
        held[H_LAGGED] = (held[H_LAGGED] + x * true_pa) / (1.0 + x)
    else:
        held[H_LAGGED] = true_pa
    held[H_TIME_S] = now_s
    value = held[H_LAGGED] * q[Q_GAIN] + q[Q_OFFSET] + q[Q_NOISE] * gaussian
    value = value + q[Q_DRIFT] * max(now_s - q[Q_DRIFT_FROM_S], 0.0)
    lost = chance < q[Q_LOST_CHANCE]
    if not lost and chance < q[Q_LOST_CHANCE] + q[Q_SPIKE_CHANCE]:
        value = value + q[Q_SPIKE] * gaussian
    if q[Q_STUCK_FROM_S] <= now_s < q[Q_STUCK_TO_S] or abs(value - held[H_HELD]) < q[Q_DEAD_BAND]:
        value = held[H_HELD]
    held[H_HELD] = value
    span = q[Q_HIGH] - q[Q_LOW]
    value = min(max(value, q[Q_LOW] + SIGNAL_LOW * span), q[Q_LOW] + SIGNAL_HIGH * span)
    if q[Q_BROKEN_FROM_S] <= now_s < q[Q_BROKEN_TO_S]:
        value = q[Q_LOW] + BROKEN * span
    if q[Q_SHORT_FROM_S] <= now_s < q[Q_SHORT_TO_S]:
        value = q[Q_LOW] + SHORTED * span
    span_at = SENSOR_PARAMETERS + 2 * int(held[H_LOST])
    while span_at < q.shape[0] and q[span_at + 1] <= now_s:
        held[H_LOST] = held[H_LOST] + 1.0
        span_at = span_at + 2
    if lost or (span_at < q.shape[0] and q[span_at] <= now_s):
        return NO_READING
    return int(np.floor(value / q[Q_RESOLUTION] + 0.5) * q[Q_RESOLUTION])


@register_jitable
def read_trace(
    q: Vector,
    held: Vector,
    true_pa: Vector,
    time_s: Vector,
    gaussian: Vector,
    chance: Vector,
    readings: NDArray[np.int64],
) -> None:
    """Fill readings (int64 Pa) with what one sensor reads along a stretch of a trace; all arrays of one length.

    held: as in `read_sensor`; a call with the same array goes on where the last one ended.
    """
    for i in range(true_pa.shape[0]):
        readings[i] = read_sensor(q, held, true_pa[i], time_s[i], gaussian[i], chance[i])


compiled_read_trace = compiled_with_digest(read_trace)


@dataclass(frozen=True)
class Draws:
    """The random numbers of a stretch of a trace of n samples.

    time_ms: sample instants, int64[n]; gaussian, chance: noise and chance of each channel, float64[CHANNELS, n].
    """

    time_ms: NDArray[np.int64]
    gaussian: NDArray[np.float64]
    chance: NDArray[np.float64]


def draw(chain: SensorChain, duration_s: float, generator: np.random.Generator) -> Draws:
    """Draw the randomness of a whole trace; see `draw_pieces`."""
    (whole,) = draw_pieces(chain, duration_s, generator, int(duration_s * 1000.0) + 1)
    return whole


def draw_pieces(
    chain: SensorChain, duration_s: float, generator: np.random.Generator, most_samples: int
) -> Iterator[Draws]:
    """Yield the randomness of a trace in pieces of at most so many samples, which changes no number.

    Each sample in its turn takes its own: jitter, noise, chance. The first sample is at 0. Raises ValueError for a
    trace shorter than one period.
    """
    count = int(duration_s * 1000.0) // chain.period_ms + 1
    if count <= 1:
        raise ValueError(f"{duration_s} s hold no whole period of {chain.period_ms} ms")
    for begin in range(0, count, most_samples):
        number = np.arange(begin, min(begin + most_samples, count), dtype=np.int64)
        uniform = np.ascontiguousarray(generator.random((number.size, SAMPLE_DRAWS)).T)
        jitter = np.floor(uniform[0] * (2 * chain.jitter_ms + 1)).astype(np.int64) - chain.jitter_ms
        noise = uniform[1:-CHANNELS].reshape(NOISE_DRAWS, CHANNELS, number.size)
        gaussian = (noise[0] + noise[1] + noise[2] + noise[3] - 0.5 * NOISE_DRAWS) * NOISE_SCALE
        yield Draws(number * chain.period_ms + np.where(number > 0, jitter, 0), gaussian, uniform[-CHANNELS:])
