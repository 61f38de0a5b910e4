"""Section forces and deflections along loaded elements, by statics from the element's start.

With the force of the node on the start of an element and the start's displacement known, everything inside
follows by integrating equilibrium and curvature (initial-parameter method), exactly for piecewise uniform
and point loads. All loads enter through sparse matrices that do not depend on the right-hand side.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import factorial

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from fea.elements.beam_data import BeamStiffness
from fea.elements.beams import PLANE_SIGN

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]

# Continuous spans sag most between 0.42 and 0.58 of their length: close stations there.
PLACES = np.array([0.0, 0.25, 0.42, 0.5, 0.58, 0.75, 1.0])
BLOCK = 6144  # rows evaluated at a time, about a megabyte for 30 right-hand sides
PEAK_RISE = 1e-9  # peaks that rise less than this, over the largest moment, are rounding
JOINT = 2  # the vector sum, next to M_y and M_z
PEAK_BINS = 32  # a span keeps one peak of each moment in each 1/32 of its length


@dataclass(frozen=True)
class SpanLoads:
    """Loads cut to elements, positions in meters from the elements' starts.

    `segment` and `point` tell which columns of `line` and `force` a part takes its values from.

    Attributes
    ----------
    part_span, segment : (p,) int
    part_a, part_b : (p,) float
    line : (4, k, q) float
    point_span, point : (j,) int
    point_x : (j,) float
    force : (6, j0, q) float
    """

    part_span: IntArray
    segment: IntArray
    part_a: Array
    part_b: Array
    line: Array
    point_span: IntArray
    point: IntArray
    point_x: Array
    force: Array


@dataclass(frozen=True)
class Stations:
    """Where elements are sampled; `after` is True just behind a point load at the same place."""

    span: IntArray
    x: Array
    after: NDArray[np.bool_]

    def __len__(self) -> int:
        return len(self.span)


def base_stations(length: Array, loads: SpanLoads) -> Stations:
    """Ends, fixed places, ends of load segments, both sides of point loads; sorted along the elements."""
    spans = np.arange(len(length))
    span = np.concatenate([np.repeat(spans, len(PLACES)), *[loads.part_span] * 2, *[loads.point_span] * 2])
    x = np.concatenate(
        [np.outer(length, PLACES).ravel(), loads.part_a, loads.part_b, loads.point_x, loads.point_x]
    )
    after = np.zeros(len(span), dtype=bool)
    after[len(span) - len(loads.point_span) :] = True
    grid = np.rint(x / length[span] * 1e9).astype(np.int64)  # places within rounding are one
    order = np.lexsort((after, grid, span))
    keep = np.ones(len(order), dtype=bool)
    same = [np.diff(key[order]) == 0 for key in (span, grid, after.astype(np.int64))]
    keep[1:] = ~np.logical_and.reduce(same)
    order = order[keep]
    return Stations(span[order], x[order], after[order])


def join_stations(*parts: Stations) -> Stations:
    """All stations, sorted along the elements."""
    span, x, after = (np.concatenate([getattr(p, name) for p in parts]) for name in ("span", "x", "after"))
    order = np.lexsort((after, x, span))
    return Stations(span[order], x[order], after[order])


def pairs(station_span: IntArray, load_span: IntArray, count: int) -> tuple[IntArray, IntArray]:
    """All (station, load) pairs that share an element, for loads sorted by element."""
    first = np.searchsorted(load_span, np.arange(count), side="left")
    many = np.searchsorted(load_span, np.arange(count), side="right") - first
    repeat = many[station_span]
    station = np.repeat(np.arange(len(station_span)), repeat)
    ahead = np.repeat(np.cumsum(repeat) - repeat, repeat)
    load = np.arange(len(station)) - ahead + first[station_span[station]]
    return station, load


class _Terms:
    """Sparse matrix from the columns of `stack` to results at stations, gathered term by term.

    Result `out` of station i is row `width * i + out`.
    """

    def __init__(
        self, stations: Stations, loads: SpanLoads, spans: int, width: int, stiff: BeamStiffness
    ) -> None:
        self._width, self._spans, self._stations = width, spans, stations
        self._k, self._j = loads.line.shape[1], loads.force.shape[1]
        self._columns = column_count(loads, spans, stiff)
        self._entries: list[tuple[IntArray, IntArray, Array]] = []
        station, part = pairs(stations.span, loads.part_span, spans)
        x = stations.x[station]
        from_a, from_b = np.maximum(x - loads.part_a[part], 0.0), np.maximum(x - loads.part_b[part], 0.0)
        use = from_a > 0.0
        self._from_a, self._from_b = from_a[use], from_b[use]
        self._line = station[use], loads.segment[part[use]]
        station, point = pairs(stations.span, loads.point_span, spans)
        arm = stations.x[station] - loads.point_x[point]
        # a station that stands at the load within rounding knows its side by `after`
        near = np.abs(arm) <= 2e-9 * (stations.x[station] + loads.point_x[point])
        use = np.where(near, stations.after[station], arm > 0.0)
        self._arm = np.maximum(arm[use], 0.0)
        self._point = station[use], loads.point[point[use]]

    def _add(self, out: int, station: IntArray, column: IntArray, weight: Array) -> None:
        self._entries.append((self._width * station + out, column, weight))

    def start(self, out: int, component: int, weight: Array, *, travel: bool = False) -> None:
        """Force on the element's start, or its displacement when `travel`."""
        column = 6 * (self._stations.span + self._spans * travel) + component
        self._add(out, np.arange(len(self._stations)), column, weight)

    def line(self, out: int, component: int, order: int, factor: float) -> None:
        """Line load integrated with (x - xi)^order / order!."""
        weight = (self._from_a ** (order + 1) - self._from_b ** (order + 1)) / factorial(order + 1)
        station, segment = self._line
        self._add(out, station, 12 * self._spans + component * self._k + segment, factor * weight)

    def point(self, out: int, component: int, order: int, factor: float) -> None:
        """Point load times (x - a)^order / order!."""
        station, point = self._point
        column = 12 * self._spans + 4 * self._k + component * self._j + point
        self._add(out, station, column, factor * self._arm**order / factorial(order))

    def load(self, out: int, component: int, order: int, factor: float) -> None:
        """Line and point loads together."""
        self.line(out, component, order, factor)
        self.point(out, component, order, factor)

    def thermal(self, out: int, weight: Array) -> None:
        """Change of temperature."""
        column = np.full(len(weight), 12 * self._spans + 4 * self._k + 6 * self._j)
        self._add(out, np.arange(len(self._stations)), column, weight)

    def matrix(self) -> sparse.csr_array:
        """All terms."""
        row, column, weight = (np.concatenate(part) for part in zip(*self._entries, strict=True))
        shape = (self._width * len(self._stations), self._columns)
        return sparse.coo_array((weight, (row, column)), shape=shape).tocsr()


def column_count(loads: SpanLoads, spans: int, stiff: BeamStiffness) -> int:
    """Columns of `stack`."""
    twist = 3 * spans if stiff.warping > 0.0 else 0
    return 12 * spans + 4 * loads.line.shape[1] + 6 * loads.force.shape[1] + 1 + twist


def stack(start: Array, travel: Array, loads: SpanLoads, thermal: Array, twist: Array) -> Array:
    """Everything that results at stations depend on, one column a right-hand side.

    Parameters
    ----------
    start, travel : (e, 6, q) float
        Forces of the nodes on the elements' starts and displacements of the starts. [N, N m, m, rad]
    loads : SpanLoads
    thermal : (q,) float
        [K]
    twist : (e, 0 or 3, q) float
        Twist of the end over that of the start and the rates of twist of both, of open rails. [rad, rad/m]

    Returns
    -------
    (12 e + 4 k + 6 j + 1 + 0 or 3 e, q) float
    """
    q = len(thermal)
    parts = [
        part.reshape(part.shape[0] * part.shape[1], q) for part in (start, travel, loads.line, loads.force)
    ]
    return np.concatenate([*parts, thermal[None], twist.reshape(twist.shape[0] * twist.shape[1], q)])


def torques(stiff: BeamStiffness) -> tuple[tuple[int, float], ...]:
    """Forces at the centroid by component, with their torque about the shear center."""
    y, z = (float(value) for value in stiff.center)
    return ((3, 1.0), (1, z), (2, -y)) if stiff.eccentric else ((3, 1.0),)


def force_matrix(stations: Stations, loads: SpanLoads, spans: int, stiff: BeamStiffness) -> sparse.csr_array:
    """From `stack` to N, V_y, V_z, T, M_y, M_z on the piece to the left of each station.

    T is about the shear center, the others about the centroid.

    Returns
    -------
    (6 t, `column_count`) sparse
    """
    terms = _Terms(stations, loads, spans, 6, stiff)
    x = stations.x
    for component in range(6):
        terms.start(component, component, -np.ones_like(x))
        terms.point(component, component, 0, -1.0)
    for component in range(4):
        terms.line(component, component, 0, -1.0)
    for component, arm in torques(stiff)[1:]:
        terms.start(3, component, np.full_like(x, -arm))
        terms.load(3, component, 0, -arm)
    terms.start(4, 2, -x)
    terms.load(4, 2, 1, -1.0)
    terms.start(5, 1, x)
    terms.load(5, 1, 1, 1.0)
    return terms.matrix()


def deflection_matrix(
    stations: Stations, loads: SpanLoads, spans: int, stiff: BeamStiffness
) -> sparse.csr_array:
    """From `stack` to the displacements of the rail axis at the stations.

    What the twist of an open rail moves its centroid is left to `fea.rails.warping`.

    Returns
    -------
    (3 t, `column_count`) sparse
    """
    terms = _Terms(stations, loads, spans, 3, stiff)
    x = stations.x
    for out in range(3):
        terms.start(out, out, np.ones_like(x), travel=True)
    terms.thermal(0, stiff.alpha * x)
    terms.start(0, 0, -x / stiff.axial)
    terms.load(0, 0, 1, -1.0 / stiff.axial)
    flexible = np.linalg.inv(stiff.plane_bending)
    for i in (0, 1):
        out, slip = 1 + i, float(stiff.shear[i])
        terms.start(out, 5 - i, PLANE_SIGN[i] * x, travel=True)
        terms.start(out, out, -slip * x)
        terms.load(out, out, 1, -slip)
        for j in (0, 1) if stiff.coupled else (i,):
            flex, turn, sign = float(flexible[i, j]), 5 - j, float(PLANE_SIGN[j])
            terms.start(out, turn, -sign * flex * x**2 / 2.0)
            terms.start(out, 1 + j, flex * x**3 / 6.0)
            terms.load(out, 1 + j, 3, flex)
            terms.point(out, turn, 2, -sign * flex)
    if stiff.eccentric and not stiff.warping > 0.0:
        for out, lever in ((1, float(stiff.center[1])), (2, -float(stiff.center[0]))):
            for component, arm in torques(stiff):
                terms.start(out, component, -lever * arm / stiff.torsion * x)
                terms.load(out, component, 1, -lever * arm / stiff.torsion)
    return terms.matrix()


def evaluate(matrix: sparse.csr_array, columns: Array, width: int) -> Array:
    """Results of all right-hand sides, (q, t, width), block by block to turn them around within the cache."""
    count, q = matrix.shape[0], columns.shape[1]
    result = np.empty((q, count))
    for first in range(0, count, BLOCK):
        rows = slice(first, min(first + BLOCK, count))
        result[:, rows] = (matrix[rows] @ columns).T
    return result.reshape(q, count // width, width)


def _slopes(forces: Array, rows: IntArray, case: IntArray) -> Array:
    """M_y' = V_z and M_z' = -V_y, (2, n)."""
    return np.stack([forces[6 * rows + 2, case], -forces[6 * rows + 1, case]])


def _moments(forces: Array, rows: IntArray, case: IntArray) -> Array:
    return np.stack([forces[6 * rows + 4, case], forces[6 * rows + 5, case]])


def _one_peak(forces: Array, inside: NDArray[np.bool_], step: Array, axis: int) -> tuple[Array, ...]:
    """Peaks of M_y (axis 0) or M_z (axis 1): station before, share of the way to the next, size."""
    up = forces[2 - axis :: 6] > 0.0
    at, case = np.nonzero((up[:-1] != up[1:]) & inside[:, None])
    before, after = _slopes(forces, at, case)[axis], _slopes(forces, at + 1, case)[axis]
    crossing = before * after < 0.0
    at, case, before, after = at[crossing], case[crossing], before[crossing], after[crossing]
    share = before / (before - after)
    rise = before * share * step[at] / 2.0
    size = np.abs(_moments(forces, at, case)[axis] + rise)
    least = PEAK_RISE * np.abs(forces[4 + axis :: 6]).max(initial=0.0)
    real = (np.abs(rise) > least) & (np.abs(share - 0.5) < 0.499999)
    return at[real], share[real], size[real]


def _joint_peak(forces: Array, inside: NDArray[np.bool_], step: Array) -> tuple[Array, ...]:
    """Peaks of the vector sum of both moments, as `_one_peak`."""
    growth = forces[4::6] * forces[2::6] - forces[5::6] * forces[1::6]
    up = growth > 0.0
    at, case = np.nonzero(up[:-1] & ~up[1:] & inside[:, None])
    h = step[at]
    start, slope = _moments(forces, at, case), _slopes(forces, at, case)
    bend = (_slopes(forces, at + 1, case) - slope) / h
    a, b = growth[at, case], growth[at + 1, case]
    x = h * a / (a - b)
    for _ in range(4):  # Newton on the cubic growth, held between the stations
        moment, gain = start + slope * x + bend * x**2 / 2.0, slope + bend * x
        tangent = (gain**2 + moment * bend).sum(axis=0)
        x = np.clip(x - (moment * gain).sum(axis=0) / np.where(tangent < 0.0, tangent, -np.inf), 0.0, h)
    size = np.linalg.norm(start + slope * x + bend * x**2 / 2.0, axis=0)
    ends = np.maximum(np.linalg.norm(start, axis=0), np.linalg.norm(_moments(forces, at + 1, case), axis=0))
    real = size > ends + PEAK_RISE * size.max(initial=0.0)
    return at[real], (x / h)[real], size[real]


def peak_stations(stations: Stations, forces: Array, length: Array, *, joint: bool) -> Stations:
    """Places between stations where a bending moment peaks.

    Parameters
    ----------
    stations : Stations
        Sorted, so that between neighbors of an element the load is uniform.
    forces : (6 t, q) float
        Section forces there, as `force_matrix` gives them.
    length : (e,) float
        Of the elements. [m]
    joint : bool
        Whether the vector sum of the moments counts too, as in a round section.

    Returns
    -------
    Stations
        Of all peaks of M_y in a 1/32 of an element, over all right-hand sides, the place of the largest; so
        the peak of every right-hand side is missed by at most load * (L / 32)^2 / 2. The same for M_z. Of
        their vector sum the largest peak of each element.
    """
    step = np.diff(stations.x)
    inside = (np.diff(stations.span) == 0) & (step > 0.0)
    found = [_one_peak(forces, inside, step, axis) for axis in (0, 1)]
    if joint:
        found.append(_joint_peak(forces, inside, step))
    kind = np.repeat(np.arange(len(found)), [len(part[0]) for part in found])
    at, share, size = (np.concatenate(part) for part in zip(*found, strict=True))
    span, x = stations.span[at], stations.x[at] + share * step[at]
    part = np.minimum((x / length[span] * PEAK_BINS).astype(np.int64), PEAK_BINS - 1)
    part[kind == JOINT] = 0
    key = (span * PEAK_BINS + part) * len(found) + kind
    best = np.zeros(len(length) * PEAK_BINS * len(found))
    np.maximum.at(best, key, size)
    win = np.flatnonzero(size == best[key])
    pick = win[np.unique(key[win], return_index=True)[1]]
    return Stations(span[pick], x[pick], np.ones(len(pick), dtype=bool))
