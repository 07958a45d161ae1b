"""A measured run as a fit takes it: suction that the model is made to follow, oil pressure that it has to explain.

Suction is smoothed where it rests and left nearly as it was read where it moves; a reading that stands alone far from
its neighbours is no pressure. What an oil reading may be off by is its noise, the digits of both sensors, what no model
of this kind can promise (`MODEL_PA`), and a moment of time, so that a steep edge a little early is no large error.
"""

from dataclasses import dataclass, replace
from functools import cached_property
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from protect.ranges import NO_READING
from replay.ground.refusal import refusal
from replay.ground.shown import asked
from replay.ground.wording import pressure
from replay.physics.behaviour import TABLE
from replay.physics.drawing import Site
from replay.trace import Trace
from replay.trace.files import read_columns

Vector = NDArray[np.float64]

MODEL_PA = 1.5e3  # assumed
MOMENT_S = 0.7  # assumed
SMOOTH_S = 2.0  # suction at rest, and
QUICK_S = 0.3  # where it moves
SPIKE_S = 2.5  # half the stretch whose middle value a lone reading is held against
SETTLED_S = 30.0  # after a start, until its pressures count as those of running
LONGEST_S = 4 * 3600.0
LEAST_S = 60.0
USUAL = 0.96  # quantile that stands for what a pressure is usually: an event may last nearly the whole run
FALLEN = 0.7  # of the usual suction or net oil pressure: below is an event
EVENT_S = 3.0
MIDST_S = 5.0  # of net oil pressure that has fallen, with which a run begins in the midst of an event
LONG_S = 1800.0  # a run, of which is fitted what lies so near to what happens in it:
ABOUT_S = 300.0
FAR = 1.45  # beyond the suction of its site, some 10 K of evaporating temperature: no suction of this machine
OFF_SPEED = 0.1  # beyond its speeds, share
# Below the vacuum at which a machine stops pulling lies none of its suctions: but for its condensing pressure at the
# time, and the zero of the sensor. Both assumed.
OFF_CONDENSING, OFF_ZERO_PA = 0.3, 8e3
LOWEST = 0.01  # quantile that stands for the lowest


@dataclass(frozen=True, eq=False)
class Run:
    """One measured run of n samples; pressures in Pa, absolute.

    time_s: from 0, at trace.start_s of the log; suction_pa: what the sensor read, mended and smoothed; oil_pa:
    readings, and read: where there are any; sigma_pa: what a reading may be off by; noise_pa: of the oil sensor; oil_c,
    speed_rpm: None where not logged.
    """

    trace: Trace
    time_s: Vector
    suction_pa: Vector
    oil_pa: Vector
    read: NDArray[np.bool_]
    sigma_pa: Vector
    noise_pa: float
    oil_c: float | None
    speed_rpm: float | None

    @property
    def id(self) -> str:
        """The name of its trace."""
        return self.trace.name

    @cached_property
    def period_s(self) -> float:
        """The time from sample to sample, s: the median."""
        return float(np.median(np.diff(self.time_s)))

    @cached_property
    def suction_slope(self) -> Vector:
        """How fast suction moves, Pa/s."""
        return np.gradient(self.suction_pa, self.time_s)

    @property
    def running(self) -> NDArray[np.bool_]:
        """Where the machine runs."""
        return self.trace.running > 0

    @property
    def begins_running(self) -> bool:
        """Whether it runs at the first sample."""
        return bool(self.running[0])

    @property
    def begins_starved(self) -> bool:
        """Whether it begins running (settled: no start) with its net oil pressure far below its usual."""
        return bool(self._low()[1][self.time_s < MIDST_S].all())

    @property
    def settled(self) -> NDArray[np.bool_]:
        """Where it has run for a while."""
        starts = np.flatnonzero(np.diff(self.running.astype(np.int8), prepend=1 if self.begins_running else 0) > 0)
        settled = self.running.copy()
        for start in starts:
            settled &= ~((self.time_s >= self.time_s[start]) & (self.time_s < self.time_s[start] + SETTLED_S))
        return settled

    @property
    def net_pa(self) -> Vector:
        """Net oil pressure as read: oil pressure less the smoothed suction."""
        return self.oil_pa - self.suction_pa

    @property
    def usual_pa(self) -> tuple[float, float]:
        """Net oil pressure and suction of steady running, whatever lasts for most of the run."""
        net, suction = (float(np.quantile(values[self.settled], USUAL)) for values in (self.net_pa, self.suction_pa))
        return net, suction

    @property
    def has_event(self) -> bool:
        """Whether suction or net oil pressure falls below its usual for a while as the machine runs."""
        lasts = np.diff(self.time_s, append=self.time_s[-1])
        return any(float(lasts[low].sum()) >= EVENT_S for low in self._low())

    def _low(self) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
        """Return where suction, and where net oil pressure, lies far below its usual as the machine runs."""
        found = [
            self.settled & (values < FALLEN * float(np.quantile(values[self.settled], USUAL)))
            for values in (self.suction_pa, self.net_pa)
        ]
        return found[0], found[1]

    def about_event(self) -> "Run":
        """Return what lies about the falls of a long run that has any: no simulation is spent on quiet hours.

        It begins with the run where the machine does not run all the way from there to the first fall.
        """
        if self.time_s[-1] <= LONG_S:
            return self
        suction, net = self._low()
        falls = self.time_s[suction | net]
        begin = int(np.searchsorted(self.time_s, falls[0] - ABOUT_S))
        end = int(np.searchsorted(self.time_s, falls[-1] + ABOUT_S))
        if not self.settled[begin : int(np.searchsorted(self.time_s, falls[0]))].all():
            begin = 0
        part, trace = slice(begin, end), self.trace
        cut = {
            name: getattr(trace, name)[part] for name in ("oil_pa", "suction_pa", "crankcase_pa", "running", "reset")
        }
        first_ms = int(trace.time_ms[begin])
        trace = replace(trace, start_s=trace.seconds(first_ms), time_ms=trace.time_ms[part] - first_ms, **cut)
        return replace(
            self,
            trace=trace,
            time_s=self.time_s[part] - self.time_s[begin],
            suction_pa=self.suction_pa[part],
            oil_pa=self.oil_pa[part],
            read=self.read[part],
            sigma_pa=self.sigma_pa[part],
        )


def run_of(trace: Trace, path: Path | None = None) -> Run:
    """Return a trace as a run; path: its file, for oil temperature and speed if it holds them. Raises Refusal."""
    time_s = trace.time_ms / 1000.0
    if not LEAST_S <= time_s[-1] <= LONGEST_S:
        rule = f"a run of {time_s[-1]:g} s"
        raise refusal(
            path or trace.name, "time_s", rule, f"one of {LEAST_S:g} s to {LONGEST_S / 3600:g} h about an event"
        )
    period_s = float(np.median(np.diff(time_s)))
    suction, _ = _mended(path, trace, trace.suction_pa, "suction_pressure_kpa", period_s)
    oil, read = _mended(path, trace, trace.oil_pa, "oil_pressure_kpa", period_s)
    noise = _noise(oil)
    digits = [_digit_pa(pascals) for pascals in (trace.oil_pa, trace.suction_pa)]
    slope = np.abs(np.gradient(_smooth(oil, 1.0 / period_s), time_s))
    columns = {} if path is None else read_columns(path)
    running = trace.running > 0
    return Run(
        trace,
        time_s,
        _rested(suction, period_s, digits[1]),
        oil,
        read,
        np.sqrt(noise**2 + sum(digit**2 for digit in digits) / 12.0 + MODEL_PA**2 + (MOMENT_S * slope) ** 2),
        noise,
        _told(columns.get("oil_temperature_c"), np.arange(len(time_s)) == 0),
        _told(columns.get("speed_rpm"), running),
    )


def refuse_midst(run: Run) -> None:
    """Refuse a run that begins running with its net oil pressure gone. Raises Refusal.

    What gas the pump and what refrigerant the oil held then is not known: every member would begin it sound.
    """
    first = run.time_s < MIDST_S
    if run.begins_starved:
        usual, _ = run.usual_pa
        rule = (
            f"begins in the midst of a loss of oil pressure, net {pressure(float(np.median(run.net_pa[first])))} where "
            f"it has {pressure(usual)}: what pump and oil were like then is not known"
        )
        wanted = "a run from steady running or a start on; of one that a gap has parted, the part before it"
        raise refusal(run.id, "", rule, wanted)


def refuse_other_machine(run: Run, least: Site, most: Site) -> None:
    """Refuse a run whose pressures or speed are none of a machine between two ends of its file. Raises Refusal.

    Suction may lie low for most of a run, and above the usual for a while after it: of the one end its highest counts,
    of the other its median. Its lowest may not lie far below the vacuum at which the machine stops pulling.
    """
    if not run.settled.any():
        raise refusal(run.id, "", f"never runs for {SETTLED_S:g} s", "a run of the machine")
    net, suction = run.usual_pa
    told, units = TABLE["healthy_net_pa"], asked()
    own, asked_of = "a run of this machine", "another machine's log? gauge for absolute, psi for kPa?"
    other = f"{own}, both pressures absolute ({asked_of})"

    def seen(pascals: float) -> str:
        return f"{units.number(pascals)} {units.absolute}"

    usual = " to ".join(dict.fromkeys(seen(site.suction_pa) for site in (least, most)))
    if not 0.8 * told.low <= net <= 1.2 * told.high:
        rule = f"{pressure(net)} at its highest, where pumps hold {pressure(told.low)} to {pressure(told.high)}"
        raise refusal(run.id, "net oil pressure", rule, other)
    if suction < least.suction_pa / FAR:
        rule = f"{seen(suction)} at its highest, where the machine file has {usual}"
        raise refusal(run.id, "suction pressure", rule, other)
    median = float(np.median(run.suction_pa[run.settled]))
    if median > most.suction_pa * FAR:
        rule = f"{seen(median)} for half of the run, where the machine file has {usual}"
        raise refusal(run.id, "suction pressure", rule, other)
    lowest = float(np.quantile(run.suction_pa[run.settled], LOWEST))
    limit = min(site.limiting_vacuum_pa for site in (least, most))
    if lowest < limit - float(np.hypot(OFF_CONDENSING * limit, OFF_ZERO_PA)):
        rule = f"{seen(lowest)} at its lowest, where the machine file's clearance and condensing pull to {seen(limit)}"
        raise refusal(
            run.id, "suction pressure", rule, f"{own}, both pressures absolute ({asked_of} the zero of the sensor?)"
        )
    slow, fast = (least.speeds_rpm or (least.speed_rpm,))[0], most.speed_rpm
    if run.speed_rpm is not None and not slow * (1.0 - OFF_SPEED) <= run.speed_rpm <= fast * (1.0 + OFF_SPEED):
        turns = " to ".join(dict.fromkeys(f"{speed:.0f}" for speed in (slow, fast)))
        rule = f"{run.speed_rpm:.0f} rpm, where the machine file has {turns} rpm"
        raise refusal(run.id, "speed_rpm", rule, f"{own} (another machine's log?)")


def _mended(
    path: Path | None, trace: Trace, pascals: NDArray[np.int64], column: str, period_s: float
) -> tuple[Vector, NDArray[np.bool_]]:
    """Return readings with the lost ones and lone spikes put between their neighbours, and where there were any."""
    from scipy.ndimage import median_filter

    read = pascals != NO_READING
    if np.mean(read) < 0.5:  # noqa: PLR2004 - half
        raise refusal(path or trace.name, column, f"{100 * (1 - np.mean(read)):.0f} % of the readings are missing")
    at = np.arange(len(pascals))
    values = np.interp(at, at[read], pascals[read].astype(float))
    middle = median_filter(values, 2 * max(1, round(SPIKE_S / period_s)) + 1, mode="nearest")
    off: Vector = np.abs(values - middle)
    lone = (off > 8.0 * max(1.4826 * float(np.median(off)), 500.0)) & (_neighbours(off) < 0.3 * off)
    return np.interp(at, at[~lone], values[~lone]), read & ~lone


def _neighbours(off: Vector) -> Vector:
    """Return the larger of the two deviations beside each."""
    beside: Vector = np.maximum(np.append(off[1:], 0.0), np.insert(off[:-1], 0, 0.0))
    return beside


def _noise(values: Vector) -> float:
    """Return the deviation of readings from their neighbours' line, robustly."""
    bend = values[1:-1] - 0.5 * (values[:-2] + values[2:])
    return float(1.4826 * np.median(np.abs(bend)) / np.sqrt(1.5))


def _digit_pa(pascals: NDArray[np.int64]) -> float:
    """Return the step in which a channel's readings go: of a fine one next to nothing."""
    steps = np.diff(np.unique(pascals[pascals != NO_READING]))
    return float(steps.min()) if steps.size else 0.0


def _smooth(values: Vector, samples: float) -> Vector:
    from scipy.ndimage import gaussian_filter1d

    return np.asarray(gaussian_filter1d(values, max(samples, 0.1), mode="nearest"))


def _rested(values: Vector, period_s: float, digit_pa: float) -> Vector:
    """Smooth where pressure rests and hardly where it moves; the last digit's flicker is no movement."""
    smooth = _smooth(values, SMOOTH_S / period_s)
    moving = np.abs(values - smooth) > 4.0 * _noise(values) + 1e3 + digit_pa
    return np.where(moving, _smooth(values, QUICK_S / period_s), smooth)


def _told(values: Vector | None, where: NDArray[np.bool_]) -> float | None:
    """Return the median of a column's numbers there, None without any."""
    if values is None or not np.isfinite(values[where]).any():
        return None
    return float(np.nanmedian(values[where]))
