"""Bearings under recorded pressures: what the journals of an assumed machine would have left, moment by moment.

The six journals of `bearing` are driven by net oil pressure, suction pressure and running status as they were logged.
What a log does not tell is assumed and stays the same: rated speed while it runs, all cylinders loaded, the discharge
pressure, the oil's temperature, and the refrigerant in it, at rest with the design suction pressure. A reading that is
missing counts as the one before it. So the figures are those of *a* machine, not of the one that was logged: a number
beside a judgement, no measurement.
"""

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numba.extending import register_jitable
from numpy.typing import NDArray

from replay.physics import layout as at
from replay.physics.agreeing import EARLY, LATE
from replay.physics.arithmetic import power
from replay.physics.bearing import bearing_step
from replay.physics.behaviour import USUAL, Behaviour
from replay.physics.crankshaft import floor_pressure_pa, mean_effective_pressure_pa
from replay.physics.gas import volumetric_efficiency
from replay.physics.kernel import compiled_with_digest
from replay.physics.layout import Matrix, Vector
from replay.physics.machines import Machine, Oil, Refrigerant
from replay.physics.model import Start, equilibrium_fraction, first_state, parameters, solubility_table
from replay.physics.schedule import Schedule
from replay.physics.simulate import Damage, Spell, damage_of
from replay.physics.sump import refresh

OIL_C = 45.0  # common practice: a sump in steady running
QUANTILES = (EARLY, 0.5, LATE)  # of several machines, for the pessimistic, the likely and the lasting journal
ONE_SPELL_S = 10.0  # spells that begin nearer together on two machines are one
LEAST_PA = 2e3  # absolute: a sensor may read less, a gas load cannot be told from it


@register_jitable
def _follow(
    s: Vector,
    p: Vector,
    discharge_pa: float,
    time_s: Vector,
    net_pa: Vector,
    suction_pa: Vector,
    runs: Vector,
    left: Matrix,
) -> None:
    """Drive the journals through n rows; the readings of a row apply to the time since the row before it.

    time_s, net_pa, suction_pa, runs: float64[n], the first row carried over from before; left: float64[n, COLUMNS].
    """
    for i in range(1, time_s.shape[0]):
        span = time_s[i] - time_s[i - 1]
        if net_pa[i] == net_pa[i]:
            s[at.S_NET_PA] = net_pa[i]
        if suction_pa[i] == suction_pa[i]:
            s[at.S_CRANKCASE_PA] = max(suction_pa[i], LEAST_PA)
        s[at.S_SPEED] = 1.0 if runs[i] > 0.0 else 0.0
        ratio = discharge_pa / s[at.S_CRANKCASE_PA]
        volume_ratio = power(ratio, 1.0 / p[at.P_EXPONENT])
        efficiency = volumetric_efficiency(p[at.P_CLEARANCE], volume_ratio)
        s[at.S_MEP] = mean_effective_pressure_pa(
            s[at.S_CRANKCASE_PA], ratio, volume_ratio, p[at.P_EXPONENT], efficiency
        )
        steps = max(int(np.ceil(span / p[at.P_STEP_S] - 1e-9)), 1)
        for k in range(steps):
            bearing_step(s, p, time_s[i - 1] + k * span / steps, span / steps)
        for column in range(at.COLUMNS):
            least = 1.0
            for kind in range(at.KINDS):
                least = min(least, s[at.S_RESERVE + kind * at.COLUMNS + column])
            left[i, column] = least


_compiled_follow = compiled_with_digest(_follow)


class Assumed(NamedTuple):
    """The machine whose journals stand for those that were logged, its oil and its refrigerant."""

    machine: Machine
    oil: Oil
    refrigerant: Refrigerant
    behaviour: Behaviour = USUAL
    schedule: Schedule | None = None  # of a machine that stands, with its design pressures


class Logged(NamedTuple):
    """Rows of a log: times in s, ascending; pressures in Pa (suction absolute, NaN: no reading); runs 0 or 1."""

    time_s: NDArray[np.float64]
    net_pa: NDArray[np.float64]
    suction_pa: NDArray[np.float64]
    runs: NDArray[np.uint8]


class RecordedBearings:
    """The journals of an assumed machine, driven by a log piece by piece."""

    def __init__(self, assumed: Assumed) -> None:
        machine, oil, refrigerant, behaviour, schedule = assumed
        schedule = schedule or Schedule(machine.rated_speed_rpm, running=False)
        self._p = parameters(machine, oil, refrigerant, schedule, behaviour=behaviour)
        dissolved = equilibrium_fraction(oil, refrigerant, OIL_C, schedule.design_suction_pa)
        s = first_state(machine, oil, refrigerant, schedule, Start(OIL_C, dissolved), self._p)
        s[at.S_SUCTION_PA] = s[at.S_CRANKCASE_PA] = schedule.design_suction_pa
        s[at.S_NET_PA] = self._p[at.B_HEALTHY_NET_PA]
        refresh(s, self._p, solubility_table(oil, refrigerant))
        inlet_m, outlet_m = machine.drilling_inlet_m, machine.drilling_outlet_m
        s[at.S_FLOOR_PA] = floor_pressure_pa(inlet_m, outlet_m, s[at.S_DENSITY], machine.rated_speed_rpm)
        self._s, self._discharge_pa = s, schedule.discharge_pa
        self._time_s: float | None = None

    def take(self, rows: Logged) -> NDArray[np.float64]:
        """Go on through n rows.

        Return the oil left, float64[n, 3], 0 .. 1: of a pessimistic, a likely and a lasting journal, the worse kind.
        """
        time_s, net_pa, suction_pa, runs = rows
        carried = time_s[0] if self._time_s is None else self._time_s
        left = np.ones((len(time_s) + 1, at.COLUMNS))
        with_one = [
            np.concatenate(([first], row)) for first, row in ((carried, time_s), (0.0, net_pa), (0.0, suction_pa))
        ]
        running = np.concatenate(([0.0], runs.astype(np.float64)))
        _compiled_follow(self._s, self._p, self._discharge_pa, *with_one, running, left)
        self._time_s = float(time_s[-1])
        return left[1:]

    @property
    def damage(self) -> Damage:
        """Return what the journals have suffered so far, in the times of the log."""
        return damage_of(self._s)


class SeveralBearings:
    """The journals of several machines that the logged one may be, told as one: low, middle and high of them."""

    def __init__(self, several: Sequence[Assumed]) -> None:
        self._each = [RecordedBearings(assumed) for assumed in several]

    def take(self, rows: Logged) -> NDArray[np.float64]:
        """Go on as `RecordedBearings.take`; return the `QUANTILES` of the oil left, a column each."""
        left = np.stack([bearings.take(rows) for bearings in self._each])
        return np.stack([np.quantile(left[:, :, i], share, axis=0) for i, share in enumerate(QUANTILES)], axis=1)

    @property
    def damage(self) -> Damage:
        """Return the spells that spoil some journal of a machine, each column by its quantile of all machines."""
        begun: list[list[Spell]] = []
        spells = (spell for bearings in self._each for spell in bearings.damage.spells)
        for spell in sorted(spells, key=_begin_s):
            if begun and _begin_s(spell) - _begin_s(begun[-1][0]) < ONE_SPELL_S:
                begun[-1].append(spell)
            else:
                begun.append([spell])
        told = [Spell(together[0].starved_s, self._times_s(together)) for together in begun]
        return Damage(tuple(spell for spell in told if any(time is not None for time in spell.times_s)))

    def _times_s(self, together: list[Spell]) -> tuple[float | None, float | None, float | None]:
        first, likely, last = (self._time_s([spell.times_s[i] for spell in together], i) for i in range(at.COLUMNS))
        return first, likely, last

    def _time_s(self, times_s: list[float | None], column: int) -> float | None:
        """Return when a share of all machines have this column spoilt, None: so many never have."""
        spoilt = sorted(time for time in times_s if time is not None)
        place = int(np.ceil(QUANTILES[column] * len(self._each))) - 1
        return spoilt[max(place, 0)] if place < len(spoilt) else None


def _begin_s(spell: Spell) -> float:
    """Return when a spell begins; one without want of oil pressure, when it first spoils something."""
    return spell.starved_s if spell.starved_s is not None else min(t for t in spell.times_s if t is not None)
