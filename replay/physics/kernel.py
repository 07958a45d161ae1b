"""The compiled kernel: advance one machine to a time, or record a whole trace.

`advance` and `record` are plain Python and run as such (slowly, bit for bit the same, which a test holds);
`compiled_advance` and `compiled_record` are their numba forms. No step reads anything but its arguments.
"""

import hashlib
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
from numba.extending import register_jitable
from numpy.typing import NDArray

from replay.ground import machine_code
from replay.ground.cache import code_folder
from replay.physics import layout as at
from replay.physics.bearing import bearing_step
from replay.physics.gas import gas_step
from replay.physics.layout import Matrix, Vector
from replay.physics.pump import pump_step
from replay.physics.sump import refresh, sump_step

ON = 0.5  # a command counts as given from here on


@register_jitable
def read_inputs(
    s: Vector, times: Vector, values: Matrix, slopes: Matrix, steady: NDArray[np.bool_], now_s: float, u: Vector
) -> None:
    """Fill u with the schedule's inputs at now_s, the last segment's on; u keeps them while nothing changes."""
    known = int(s[at.S_SEGMENT])
    segment = max(known, 0)
    while segment + 1 < times.shape[0] and times[segment + 1] <= now_s:
        segment += 1
    if segment == known and steady[segment]:
        return
    s[at.S_SEGMENT] = segment
    since = max(now_s - times[segment], 0.0)
    for channel in range(at.INPUTS):
        u[channel] = values[segment, channel] + slopes[segment, channel] * since


@register_jitable
def one_step(s: Vector, p: Vector, u: Vector, permission: float, now_s: float, solubility: Matrix) -> None:
    """Advance the whole machine by one step under inputs u; permission 0 stops it whatever the schedule says."""
    dt = p[at.P_STEP_S]
    if int(s[at.S_STEP]) % int(p[at.P_SLOW_STEPS]) == 0:
        refresh(s, p, solubility)
    wanted = u[at.U_SPEED_RPM] / p[at.P_RATED_RPM] if (u[at.U_RUN] >= ON and permission > ON) else 0.0
    time = p[at.B_ACCELERATION_TIME_S] if wanted > s[at.S_SPEED] else p[at.B_COAST_TIME_S]
    s[at.S_SPEED] = (s[at.S_SPEED] + dt / time * wanted) / (1.0 + dt / time)
    gas_step(s, p, u, dt)
    sump_step(s, p, u, dt)
    pump_step(s, p, u, dt)
    bearing_step(s, p, now_s, dt)


@register_jitable
def advance(
    s: Vector,
    p: Vector,
    solubility: Matrix,
    times: Vector,
    values: Matrix,
    slopes: Matrix,
    steady: NDArray[np.bool_],
    permission: float,
    until_s: float,
    u: Vector,
    row: Vector,
) -> None:
    """Advance to the first step at or after until_s and fill row with the record of that instant.

    s: state, changed in place; p: parameters; solubility: 2-D table of ln H; times, values, slopes, steady: the
    schedule; u: scratch for the inputs. Pressures in the record lie on the line between the two steps around
    until_s, the rest is the later step's. A later call goes on where this one ended.
    """
    dt = p[at.P_STEP_S]
    while s[at.S_STEP] * dt < until_s - 1e-9:
        s[at.S_BEFORE_OIL_PA] = s[at.S_CRANKCASE_PA] + s[at.S_NET_PA]
        s[at.S_BEFORE_SUCTION_PA] = s[at.S_SUCTION_PA]
        s[at.S_BEFORE_CRANKCASE_PA] = s[at.S_CRANKCASE_PA]
        now_s = s[at.S_STEP] * dt
        read_inputs(s, times, values, slopes, steady, now_s, u)
        one_step(s, p, u, permission, now_s, solubility)
        s[at.S_STEP] = s[at.S_STEP] + 1.0
    read_inputs(s, times, values, slopes, steady, until_s, u)
    back = min(max((s[at.S_STEP] * dt - until_s) / dt, 0.0), 1.0)
    oil = s[at.S_CRANKCASE_PA] + s[at.S_NET_PA]
    row[at.R_OIL_PA] = oil + back * (s[at.S_BEFORE_OIL_PA] - oil)
    row[at.R_SUCTION_PA] = s[at.S_SUCTION_PA] + back * (s[at.S_BEFORE_SUCTION_PA] - s[at.S_SUCTION_PA])
    row[at.R_CRANKCASE_PA] = s[at.S_CRANKCASE_PA] + back * (s[at.S_BEFORE_CRANKCASE_PA] - s[at.S_CRANKCASE_PA])
    row[at.R_RUNNING] = 1.0 if (u[at.U_RUN] >= ON and permission > ON) else 0.0
    row[at.R_RESERVE] = s[at.S_RESERVE + 1]
    row[at.R_RESERVE_LOW] = s[at.S_RESERVE]
    row[at.R_RESERVE_HIGH] = s[at.S_RESERVE + 2]
    row[at.R_VOID] = s[at.S_VOID]
    row[at.R_POCKET] = s[at.S_POCKET_KG] * p[at.P_GAS_RT] / (s[at.S_CRANKCASE_PA] * p[at.P_POCKET_M3])
    row[at.R_PRIMED] = s[at.S_FILL]
    row[at.R_LEVEL] = s[at.S_LEVEL]
    row[at.R_TEMPERATURE_K] = s[at.S_TEMPERATURE_K]
    row[at.R_FRACTION] = s[at.S_FRACTION]
    row[at.R_SPEED_RPM] = s[at.S_SPEED] * p[at.P_RATED_RPM]
    row[at.R_FLOOR_PA] = s[at.S_FLOOR_PA]


@register_jitable
def record(
    s: Vector,
    p: Vector,
    solubility: Matrix,
    times: Vector,
    values: Matrix,
    slopes: Matrix,
    steady: NDArray[np.bool_],
    sample_s: Vector,
    u: Vector,
    rows: Matrix,
) -> None:
    """Run a whole trace with permission given and fill one row a sample time; see `advance`."""
    for i in range(sample_s.shape[0]):
        advance(s, p, solubility, times, values, slopes, steady, 1.0, sample_s[i], u, rows[i])


def _digest_of_sources() -> int:
    """Return a number that changes with any source file of the package."""
    digest = hashlib.sha256()
    folder = Path(__file__).parent
    for path in sorted((*folder.glob("*.py"), *folder.glob("*.json"))):
        digest.update(path.read_bytes())
    return int.from_bytes(digest.digest()[:6], "big")


_DIGEST = _digest_of_sources()


def compiled_with_digest(plain: Callable[..., Any]) -> Callable[..., Any]:
    """Return the compiled form of a function of this package, kept on disk.

    All it calls becomes part of it, and no array is counted as in use on its way through the calls (`_nrt`), which
    together make it twice as fast with the same bits. It must not make an array: numba refuses that when it compiles.

    A change in any module of the package must not leave old machine code in use, so the digest of all of them is part
    of the name of the folder, and a variable of the function besides.
    """
    digest = _DIGEST

    def entry(*arguments: Any) -> int:
        plain(*arguments)
        return digest

    options: dict[str, Any] = {"nogil": True, "error_model": "numpy", "forceinline": True, "_nrt": False}
    return machine_code.compiled(entry, code_folder("physics", f"{digest:x}"), **options)  # type: ignore[no-any-return]


compiled_advance = compiled_with_digest(advance)
compiled_record = compiled_with_digest(record)
