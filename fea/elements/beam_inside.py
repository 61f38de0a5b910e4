"""Forces and displacements inside beams under loads that are linear from end to end.

Forces follow by statics from the start. For displacement and bimoment a place cuts its beam into two exact
pieces: what moves there follows from equilibrium of the cut, the bimoment from the longer piece.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fea.elements.beam_data import BeamStiffness
from fea.elements.beam_loads import linear_load_vectors
from fea.elements.beams import LocalBeams, beam_stiffness, strains

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]


@dataclass(frozen=True)
class Inside:
    """Beams at p places.

    Attributes
    ----------
    force : (m, p, 8, q) float
        N, V_y, V_z, T, M_y, M_z on the piece to the left in beam axes, T about the shear center and the
        others at the centroid; then the bimoment and the St-Venant part of T. [N, N m, N m^2]
    displacement : (m, p, 6, q) float
        Of the centroid, beam axes. [m, rad]
    """

    force: Array
    displacement: Array


def end_displacements(local: LocalBeams, displacement: Array, load: Array) -> Array:
    """Displacements of beam ends, releases given way, for those of the nodes.

    Parameters
    ----------
    local : LocalBeams
    displacement : (m, w, q) float
        Of the nodes, global axes. [m, rad]
    load : (m, w, q) float
        Nodal loads in beam axes that the loads on the beams are worth. [N, N m]

    Returns
    -------
    (m, w, q) float
        Beam axes.
    """
    moved = local.turn @ displacement
    if not local.slack.any():
        return np.asarray(moved)
    pull = local.K[:, :, 6:] @ strains(local.length, moved)
    return np.asarray(moved + local.slack @ (load - pull))


def _statics(x: Array, L: Array, start: Array, line: Array, stiff: BeamStiffness) -> Array:
    """N, V_y, V_z, T, M_y, M_z (m, 6, q) at x from the forces on the start and the line loads up to x."""
    rise = (line[:, :, 1] - line[:, :, 0]) / L[:, None, None]
    arm = x[:, None, None]
    sum_0 = line[:, :, 0] * arm + rise * arm**2 / 2.0
    sum_1 = line[:, :, 0] * arm**2 / 2.0 + rise * arm**3 / 6.0  # times the distance to x
    force = -start.copy()
    force[:, :4] -= sum_0
    arm = x[:, None]
    force[:, 4] -= arm * start[:, 2] + sum_1[:, 2]
    force[:, 5] += arm * start[:, 1] + sum_1[:, 1]
    y, z = stiff.center
    force[:, 3] += z * force[:, 1] - y * force[:, 2]
    return force


def _halves(width: int) -> tuple[IntArray, IntArray]:
    """Degrees of freedom of the first and of the second end."""
    both = np.arange(12).reshape(2, 6)
    rates = np.arange(12, width).reshape(2, -1)
    return np.concatenate([both[0], rates[0]]), np.concatenate([both[1], rates[1]])


def _cut(x: Array, L: Array, ends: Array, line: Array, stiff: BeamStiffness) -> tuple[Array, Array]:
    """Displacement (m, w / 2, q) at x strictly inside, and bimoment (m, q)."""
    first, second = _halves(stiff.width)
    middle = line[:, :, 0] + (line[:, :, 1] - line[:, :, 0]) * (x / L)[:, None, None]
    pieces = []
    for size, low, high in ((x, line[:, :, 0], middle), (L - x, middle, line[:, :, 1])):
        vectors = linear_load_vectors(np.zeros_like(size), size, size, stiff)
        pieces.append((beam_stiffness(size, stiff), vectors[..., 0] @ low + vectors[..., 1] @ high))
    (K1, f1), (K2, f2) = pieces
    K = K1[:, second[:, None], second] + K2[:, first[:, None], first]
    force = f1[:, second] + f2[:, first]
    force = force - K1[:, second[:, None], first] @ ends[:, first]
    force = force - K2[:, first[:, None], second] @ ends[:, second]
    scale = 1.0 / np.sqrt(np.diagonal(K, axis1=1, axis2=2))
    unit = K * scale[:, :, None] * scale[:, None]
    moved = scale[:, :, None] * np.linalg.solve(unit, scale[:, :, None] * force)
    if stiff.warping == 0.0:
        return moved, np.zeros_like(moved[:, 0])
    behind = K1[:, 13, first][:, None] @ ends[:, first] + K1[:, 13, second][:, None] @ moved
    ahead = K2[:, 12, first][:, None] @ moved + K2[:, 12, second][:, None] @ ends[:, second]
    longer = (x > 0.5 * L)[:, None]
    return moved, np.where(longer, behind[:, 0] - f1[:, 13], f2[:, 12] - ahead[:, 0])


def beam_inside(local: LocalBeams, displacement: Array, line: Array, places: Array) -> Inside:
    """Forces and displacements inside beams.

    Parameters
    ----------
    local : LocalBeams
    displacement : (m, w, q) float
        Of the nodes, global axes. [m, rad]
    line : (m, 4, 2, q) float
        Loads along x, y, z at the centroid and torsion about x per length, beam axes, at the first end and
        at the second, linear in between. [N/m, N m/m]
    places : (p,) float
        Shares of the length, 0 to 1.
    """
    L, stiff = local.length, local.stiff
    vectors = linear_load_vectors(np.zeros_like(L), L, L, stiff)
    load = vectors[..., 0] @ line[:, :, 0] + vectors[..., 1] @ line[:, :, 1]
    ends = end_displacements(local, displacement, load)
    pull = local.K[:, :, 6:] @ strains(L, ends) - load
    first, second = _halves(stiff.width)
    bent = np.zeros_like(ends)  # less the rigid motion of the start
    bent[:, 6:] = strains(L, ends)
    rates = bent[:, 12:]
    force, moved = [], []
    for place in places:
        x = place * L
        part = np.zeros((len(L), 8, line.shape[3]))
        part[:, :6] = _statics(x, L, pull[:, :6], line, stiff)
        if 0.0 < place < 1.0:
            here, part[:, 6] = _cut(x, L, bent, line, stiff)
        else:
            here = bent[:, second if place else first]
            part[:, 6] = (pull[:, 13] if place else -pull[:, 12]) if rates.size else 0.0
        part[:, 7] = stiff.torsion * here[:, 6] if rates.size else part[:, 3]
        motion = ends[:, :6].copy()
        motion[:, 1] += x[:, None] * ends[:, 5]
        motion[:, 2] -= x[:, None] * ends[:, 4]
        force.append(part)
        moved.append(motion + here[:, :6])
    return Inside(np.stack(force, axis=1), np.stack(moved, axis=1))
