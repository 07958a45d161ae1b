"""What a fit could not make of a run, in words: where, what was read, and what no member of the ensemble does there."""

from dataclasses import dataclass
from math import ceil

import numpy as np
from numpy.typing import NDArray

from replay.fitting.runs import MOMENT_S, Run
from replay.ground.wording import pressure

Vector = NDArray[np.float64]

OFF_PA = 10e3  # assumed: what is nearer to a member than this is no misfit that anybody need hear of
SIZES = 4.0  # nor what is nearer than so many sizes of its error, in pressure or in time
LEAST_S = 5.0
MOST_TOLD = 3  # of a run, the largest


@dataclass(frozen=True)
class Misfit:
    """A stretch of a run, s of its log, in which readings lie outside of what any member makes; net Pa at the worst."""

    run: str
    begin_s: float
    end_s: float
    read_pa: float
    made_pa: float

    @property
    def text(self) -> str:
        """What is wrong there, in a sentence."""
        span = f"{self.run}, {self.begin_s:.0f} to {self.end_s:.0f} s"
        read, made = pressure(self.read_pa), pressure(self.made_pa)
        if self.read_pa > self.made_pa:
            what = "a recovery, or oil pressure held, that the model cannot reproduce"
            return f"{span}: this log shows {what}: net {read}, where no member has more than {made}"
        what = "a loss of oil pressure that the model cannot reproduce"
        return f"{span}: this log shows {what}: net {read}, where no member has less than {made}"


def misfits_of(run: Run, oil_pa: NDArray[np.float64]) -> list[Misfit]:
    """Return the misfits of a run, largest first; oil_pa: readings as the members make them, float64[members, n]."""
    low, high = _any_moment(run, oil_pa)
    allowed = max(OFF_PA, SIZES * float(run.sigma_pa.min()))  # of a pressure at rest: an edge is off in time
    over = np.where(run.oil_pa > high, run.oil_pa - high, np.where(run.oil_pa < low, run.oil_pa - low, 0.0))
    found = []
    for sign in (1.0, -1.0):
        off = run.read & (sign * over > allowed)
        for begin, end in _stretches(off, run.time_s):
            worst = begin + int(np.argmax(sign * over[begin:end]))
            made = (high if sign > 0.0 else low)[worst]
            net = run.suction_pa[worst]
            found.append(
                (
                    abs(float(np.sum(over[begin:end]))),
                    Misfit(
                        run.id,
                        run.trace.start_s + float(run.time_s[begin]),
                        run.trace.start_s + float(run.time_s[end - 1]),
                        float(run.oil_pa[worst] - net),
                        float(made - net),
                    ),
                )
            )
    return [one for _, one in sorted(found, key=lambda pair: -pair[0])][:MOST_TOLD]


def _any_moment(run: Run, oil_pa: NDArray[np.float64]) -> tuple[Vector, Vector]:
    """Return the least and the most that any member makes at about the time of each reading."""
    from scipy.ndimage import maximum_filter1d, minimum_filter1d

    size = 2 * ceil(SIZES * MOMENT_S / run.period_s) + 1
    low = minimum_filter1d(oil_pa.min(axis=0), size, mode="nearest")
    return np.asarray(low), np.asarray(maximum_filter1d(oil_pa.max(axis=0), size, mode="nearest"))


def _stretches(there: NDArray[np.bool_], time_s: Vector) -> list[tuple[int, int]]:
    """Return (begin, end) of the stretches that last."""
    edges = np.flatnonzero(np.diff(there.astype(np.int8), prepend=0, append=0))
    pairs = zip(edges[::2], edges[1::2], strict=True)
    return [(int(b), int(e)) for b, e in pairs if time_s[e - 1] - time_s[b] >= LEAST_S]
