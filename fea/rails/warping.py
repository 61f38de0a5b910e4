"""Twist, rate of twist and bimoment along open rails.

A station cuts its element in two. Both pieces are exact again (`fea.elements.beam_torsion`), so the twist and
its rate at the cut follow from those of the ends and from the torques on both pieces, by two equations, and
the bimoment from the longer piece. Torques are about the shear center.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from fea.elements.beam_data import BeamStiffness
from fea.elements.beam_torsion import torque_vectors, torsion_stiffness, twist_functions
from fea.rails.recovery import SpanLoads, Stations, column_count, pairs, torques

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]

AT_END = 1e-9  # nearer to an end, over the length, a station is that end


class _Cuts:
    """Both pieces of every station's element.

    Attributes
    ----------
    ahead : (t,) bool
        Whether the piece behind the station is the shorter one, so that the bimoment comes from ahead.
    ends : (t, 3, 3) float
        Twist, rate and bimoment at the station for unit values of (t2 - t1, c1, c2).
    load : (t, 3, 2) float
        The same for unit nodal loads (torque, bimoment) at the station.
    """

    def __init__(self, x: Array, length: Array, stiff: BeamStiffness) -> None:
        at_start, at_end = x <= AT_END * length, length - x <= AT_END * length
        self.x = np.where(at_start, 0.0, np.where(at_end, length, x))
        self.left = np.where(at_start, length, self.x)
        self.right = np.where(at_end, length, length - self.x)
        self.ahead = self.x <= 0.5 * length
        behind = torsion_stiffness(self.left, stiff.torsion, stiff.warping)
        ahead = torsion_stiffness(self.right, stiff.torsion, stiff.warping)
        inside = ~(at_start | at_end)
        held = np.zeros((len(x), 2, 3))  # nodal forces at the station for unit values at the ends
        held[:, :, 0], held[:, :, 1], held[:, :, 2] = ahead[:, :2, 2], behind[:, 2:, 1], ahead[:, :2, 3]
        give = np.linalg.inv(behind[:, 2:, 2:] + ahead[:, :2, :2]) * inside[:, None, None]
        moved = -give @ held
        moved[at_start, 1, 1] = moved[at_end, 0, 0] = moved[at_end, 1, 2] = 1.0
        own = np.where(self.ahead[:, None], -ahead[:, 1, :2], behind[:, 3, 2:])[:, None]
        far = np.zeros((len(x), 1, 3))
        far[:, 0, [0, 2]] = np.where(self.ahead[:, None], -ahead[:, 1, 2:], 0.0)
        far[:, 0, 1] = np.where(self.ahead, 0.0, behind[:, 3, 1])
        self.ends = np.concatenate([moved, own @ moved + far], axis=1)
        self.load = np.concatenate([give, own @ give], axis=1)

    def weights(self, station: IntArray, behind: Array, ahead: Array) -> Array:
        """Twist, rate and bimoment (p, 3) for nodal loads (p, 4) that a torque puts on both pieces."""
        total = (self.load[station] @ (behind[:, 2:] + ahead[:, :2])[:, :, None])[:, :, 0]
        total[:, 2] += np.where(self.ahead[station], ahead[:, 1], -behind[:, 3])
        return np.asarray(total)


def _line_weights(cuts: _Cuts, station: IntArray, a: Array, b: Array, stiff: BeamStiffness) -> Array:
    x, left, right = cuts.x[station], cuts.left[station], cuts.right[station]
    behind, ahead = (
        torque_vectors(low, np.maximum(high, low), size, stiff.torsion, stiff.warping).sum(axis=2)
        for low, high, size in (
            (np.minimum(a, x), np.minimum(b, x), left),
            (np.maximum(a, x) - x, np.maximum(b, x) - x, right),
        )
    )
    return cuts.weights(station, behind, ahead)


def _point_weights(cuts: _Cuts, station: IntArray, place: Array, stiff: BeamStiffness) -> Array:
    x, left, right = cuts.x[station], cuts.left[station], cuts.right[station]
    first = place < x
    behind, ahead = (
        twist_functions(at, size, stiff.torsion, stiff.warping).value * use[:, None]
        for at, size, use in (
            (np.minimum(place, x), left, first),
            (np.maximum(place - x, 0.0), right, ~first),
        )
    )
    return cuts.weights(station, behind, ahead)


def warping_matrix(
    stations: Stations, loads: SpanLoads, length: Array, stiff: BeamStiffness
) -> sparse.csr_array:
    """From `recovery.stack` to twist over the start's, rate of twist and bimoment at the stations.

    Parameters
    ----------
    stations : Stations
    loads : SpanLoads
    length : (e,) float
        Of the elements. [m]
    stiff : BeamStiffness
        With warping.

    Returns
    -------
    (3 t, `recovery.column_count`) sparse
        [rad, rad/m, N m^2]
    """
    spans, k, j = len(length), loads.line.shape[1], loads.force.shape[1]
    cuts = _Cuts(stations.x, length[stations.span], stiff)
    first = column_count(loads, spans, stiff) - 3 * spans
    t = np.arange(len(stations))
    entries = [(t, first + 3 * stations.span + i, cuts.ends[:, :, i]) for i in range(3)]
    station, part = pairs(stations.span, loads.part_span, spans)
    line = _line_weights(cuts, station, loads.part_a[part], loads.part_b[part], stiff)
    spot, point = pairs(stations.span, loads.point_span, spans)
    force = _point_weights(cuts, spot, loads.point_x[point], stiff)
    for component, arm in torques(stiff):
        entries.append((station, 12 * spans + component * k + loads.segment[part], arm * line))
        entries.append((spot, 12 * spans + 4 * k + component * j + loads.point[point], arm * force))
    row = np.concatenate([(3 * s[:, None] + np.arange(3)).ravel() for s, _, _ in entries])
    column = np.concatenate([np.repeat(c, 3) for _, c, _ in entries])
    value = np.concatenate([w.ravel() for _, _, w in entries])
    shape = (3 * len(stations), column_count(loads, spans, stiff))
    return sparse.coo_array((value, (row, column)), shape=shape).tocsr()
