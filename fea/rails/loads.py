"""Loads on the rails, in row axes, for many right-hand sides at once.

Row axes: x along the rail from its start, y up the slope in the plane and square to x, z away from the
roof (x cross y = z). Moments follow the right-hand rule about the same axes.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from roofmodel.layout import Layout

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]


@dataclass(frozen=True)
class RailLoads:
    """Piecewise uniform line loads, point loads and temperature on the rail axis.

    Attributes
    ----------
    row : (k,) int
        Row of each line-load segment; segments of a row may not overlap but need not fill it.
    s0, s1 : (k,) float
        Ends of the segment along the row. [m]
    line : (q, k, 4) float
        Force per meter along x, y, z and torsion moment per meter about x. [N/m, N/m, N/m, N m/m]
    point_row : (j,) int
    point_s : (j,) float
        [m]
    point : (q, j, 6) float
        Forces and moments in row axes. [N, N m]
    thermal : (q,) float
        Change of temperature of the rails. [K]
    travel : (q, c, 6) float, optional
        Motion of the seams under the clamps by themselves, seam axes. [m, rad]
    """

    row: IntArray
    s0: Array
    s1: Array
    line: Array
    point_row: IntArray
    point_s: Array
    point: Array
    thermal: Array
    travel: Array | None = None

    @property
    def count(self) -> int:
        """Number of right-hand sides q."""
        return len(self.thermal)


def loads_alone(loads: RailLoads, layout: Layout, kept: NDArray[np.bool_], weights: Array) -> RailLoads:
    """Loads on some rows, (r,) true, as `roofmodel.layout.rows_alone` numbers them.

    Sums (s,) of the right-hand sides by their weights (s, q).
    """
    number = np.cumsum(kept) - 1
    line, point, clamp = kept[loads.row], kept[loads.point_row], kept[layout.clamp_row]
    return RailLoads(
        row=number[loads.row[line]],
        s0=loads.s0[line],
        s1=loads.s1[line],
        line=np.tensordot(weights, loads.line[:, line], axes=1),
        point_row=number[loads.point_row[point]],
        point_s=loads.point_s[point],
        point=np.tensordot(weights, loads.point[:, point], axes=1),
        thermal=weights @ loads.thermal,
        travel=None if loads.travel is None else np.tensordot(weights, loads.travel[:, clamp], axes=1),
    )


@dataclass(frozen=True)
class FrameResult:
    """Response of all rows to all right-hand sides.

    Attributes
    ----------
    clamp_force : (q, c, 6) float
        What the rail does to the seam at the grip point, seam axes: force along (down the slope
        positive), across (to the right looking up), pull (away from the roof positive), and moments
        about the same three axes. [N, N m]
    sample_row : (t,) int
    sample_s : (t,) float
        Stations along the rails, each element sampled at its ends and inside. [m]
    sample_span : (t,) int
        Element (piece of rail between nodes) of each station.
    rail_force : (q, t, 6 or 8) float
        N, V_y, V_z, T, M_y, M_z of the rail at the stations, row axes, acting on the piece to the left;
        T about the shear center, the others at the centroid. Of rails with warping then the bimoment
        and the St-Venant part of T. [N, N m, N m^2]
    deflection : (q, t, 3) float
        Displacement of the rail axis in row axes. [m]
    span_row : (e,) int
    span_s : (e, 2) float
        Ends of each element. [m]
    span_support : (e, 2) int
        Clamp index at each end of the element, -1 for none (free end or splice).
    applied, reaction : (q, r, 6) float
        Resultant force and moment about the row's start of what was applied to a row and of what its
        clamps take, row axes; they agree when nothing is lost. [N, N m]
    residual : (q,) float
        Largest |K u - f| over the largest |f|. [-]
    """

    clamp_force: Array
    sample_row: IntArray
    sample_s: Array
    sample_span: IntArray
    rail_force: Array
    deflection: Array
    span_row: IntArray
    span_s: Array
    span_support: IntArray
    applied: Array
    reaction: Array
    residual: Array
