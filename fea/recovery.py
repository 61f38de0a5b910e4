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

from fea.beams import Stiff

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]

QUARTERS = np.array([0.0, 0.25, 0.5, 0.75, 1.0])
PEAK_BINS = 64  # a span keeps at most one moment peak in each 1/64 of its length


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
    """Ends, quarter points, ends of load segments, both sides of point loads; sorted along the elements."""
    spans = np.arange(len(length))
    span = np.concatenate([np.repeat(spans, len(QUARTERS)), *[loads.part_span] * 2, *[loads.point_span] * 2])
    x = np.concatenate(
        [np.outer(length, QUARTERS).ravel(), loads.part_a, loads.part_b, loads.point_x, loads.point_x]
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


def _pairs(station_span: IntArray, load_span: IntArray, count: int) -> tuple[IntArray, IntArray]:
    """All (station, load) pairs that share an element; loads sorted by element."""
    first = np.searchsorted(load_span, np.arange(count), side="left")
    many = np.searchsorted(load_span, np.arange(count), side="right") - first
    repeat = many[station_span]
    station = np.repeat(np.arange(len(station_span)), repeat)
    ahead = np.repeat(np.cumsum(repeat) - repeat, repeat)
    load = np.arange(len(station)) - ahead + first[station_span[station]]
    return station, load


class Influence:
    """Repeated integrals of the loads from the elements' starts to the stations.

    `line(n, c)` and `point(n, c)` are int (x - xi)^n / n! dq and sum P (x - a)^n / n! of component c,
    each (t, q).
    """

    def __init__(self, stations: Stations, loads: SpanLoads, spans: int) -> None:
        self._loads = loads
        order = np.argsort(loads.part_span, kind="stable")
        station, part = _pairs(stations.span, loads.part_span[order], spans)
        part = order[part]
        x = stations.x[station]
        from_a, from_b = np.maximum(x - loads.part_a[part], 0.0), np.maximum(x - loads.part_b[part], 0.0)
        use = from_a > 0.0
        self._line_index = (station[use], loads.segment[part[use]])
        self._from_a, self._from_b = from_a[use], from_b[use]
        self._line_shape = (len(stations), loads.line.shape[1])
        order = np.argsort(loads.point_span, kind="stable")
        station, point = _pairs(stations.span, loads.point_span[order], spans)
        point = order[point]
        arm = stations.x[station] - loads.point_x[point]
        # a station merged within rounding of the load still knows its side by `after`
        near = np.abs(arm) <= 1e-9 * np.maximum(np.abs(loads.point_x[point]), 1e-9)
        use = np.where(near, stations.after[station], arm > 0.0)
        self._point_index = (station[use], loads.point[point[use]])
        self._arm = np.maximum(arm[use], 0.0)
        self._point_shape = (len(stations), loads.force.shape[1])

    def line(self, n: int, component: int) -> Array:
        """Integral of order n of a line load component."""
        weight = (self._from_a ** (n + 1) - self._from_b ** (n + 1)) / factorial(n + 1)
        matrix = sparse.coo_array((weight, self._line_index), shape=self._line_shape).tocsr()
        return np.asarray(matrix @ self._loads.line[component])

    def point(self, n: int, component: int) -> Array:
        """Integral of order n of a point load component."""
        weight = self._arm**n / factorial(n)
        matrix = sparse.coo_array((weight, self._point_index), shape=self._point_shape).tocsr()
        return np.asarray(matrix @ self._loads.force[component])

    def force(self, n: int, component: int) -> Array:
        """Both together, for components that both have."""
        return self.line(n, component) + self.point(n, component)


def section_forces(at: Influence, stations: Stations, start: Array) -> Array:
    """N, V_y, V_z, T, M_y, M_z on the piece to the left of each station.

    Parameters
    ----------
    at : Influence
    stations : Stations
    start : (6, e, q) float
        Forces of the nodes on the elements' starts. [N, N m]

    Returns
    -------
    (6, t, q) float
        [N, N m]
    """
    f = start[:, stations.span]
    x = stations.x[:, None]
    out = np.empty_like(f)
    for component in range(4):
        out[component] = -f[component] - at.force(0, component)
    out[4] = -f[4] - x * f[2] - at.force(1, 2) - at.point(0, 4)
    out[5] = -f[5] + x * f[1] + at.force(1, 1) - at.point(0, 5)
    return out


def deflections(
    at: Influence, stations: Stations, start: Array, displacement: Array, stiff: Stiff, thermal: Array
) -> Array:
    """Displacements of the rail axis.

    Parameters
    ----------
    at : Influence
    stations : Stations
    start : (6, e, q) float
        Forces of the nodes on the elements' starts. [N, N m]
    displacement : (6, e, q) float
        Of the elements' starts. [m, rad]
    stiff : Stiff
    thermal : (q,) float
        [K]

    Returns
    -------
    (3, t, q) float
        [m]
    """
    f, d = start[:, stations.span], displacement[:, stations.span]
    x = stations.x[:, None]
    out = np.empty((3, *f.shape[1:]))
    out[0] = d[0] + stiff.alpha * thermal * x - (x * f[0] + at.force(1, 0)) / stiff.axial
    bend = -(x**2) / 2.0 * f[5] + x**3 / 6.0 * f[1] + at.force(3, 1) - at.point(2, 5)
    shear = -x * f[1] - at.force(1, 1)
    out[1] = d[1] + x * d[5] + bend / stiff.bending[0] + shear * stiff.shear[0]
    bend = -(x**2) / 2.0 * f[4] - x**3 / 6.0 * f[2] - at.force(3, 2) - at.point(2, 4)
    shear = -x * f[2] - at.force(1, 2)
    out[2] = d[2] - x * d[4] - bend / stiff.bending[1] + shear * stiff.shear[1]
    return out


def peak_stations(stations: Stations, forces: Array, length: Array) -> Stations:
    """Places between stations where a bending moment peaks.

    Parameters
    ----------
    stations : Stations
        Sorted, so that between neighbors of an element the load is uniform.
    forces : (6, t, q) float
        Section forces there.
    length : (e,) float
        Of the elements. [m]

    Returns
    -------
    Stations
        Of all peaks of M_y and M_z in a 1/64 of an element, over all right-hand sides, the place of the
        largest; so the peak of every right-hand side is missed by at most load * (L / 64)^2 / 2.
    """
    inside = (stations.span[1:] == stations.span[:-1]) & (stations.x[1:] > stations.x[:-1])
    found_span, found_x, found_size = [], [], []
    for shear, moment in ((1, 5), (2, 4)):
        v, m = forces[shear], forces[moment]
        at, case = np.nonzero((v[:-1] * v[1:] < 0.0) & inside[:, None])
        va, vb = v[at, case], v[at + 1, case]
        share = va / (va - vb)
        step = stations.x[at + 1] - stations.x[at]
        slope = va if moment == 4 else -va  # M_y' = V_z, M_z' = -V_y
        found_span.append(stations.span[at])
        found_x.append(stations.x[at] + share * step)
        found_size.append(np.abs(m[at, case] + slope * share * step / 2.0))
    span, x, size = (np.concatenate(part) for part in (found_span, found_x, found_size))
    key = span * PEAK_BINS + np.minimum((x / length[span] * PEAK_BINS).astype(np.int64), PEAK_BINS - 1)
    order = np.lexsort((size, key))
    last = np.ones(len(order), dtype=bool)
    last[:-1] = key[order][1:] != key[order][:-1]
    pick = order[last]
    return Stations(span[pick], x[pick], np.ones(len(pick), dtype=bool))
