"""Lines that a strip has for its own clamps and does not share with its neighbors.

Where clamps stand at many heights, lines through all of them would make every cut between strips long. Then
the cuts keep the lines of a coarse common mesh, each strip adds fine lines at its own clamps, and where these
meet a cut they hang on the common lines beside them: deflection and slope by a cubic (Hermite), the rest
straight. The cut runs through the middle of the pan, half a seam spacing from any clamp.

Source: constraint of hanging nodes by the shape functions of the coarser side: Zienkiewicz and Taylor, The
Finite Element Method, on adaptive refinement (from memory). How much it changes is in the tests.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from fea.model.data import Model, node_dof
from fea.panel.mesh import COARSE, FINE, GROWTH, StripMesh, graded
from fea.panel.model import PanelField

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]

SAME_LINE = 5e-4  # a common line this near to one of a clamp is replaced by it [m]


def with_own_lines(
    mesh: StripMesh, clamp_x: Array, grip_length: float, refine: float, fixed: float
) -> tuple[StripMesh, IntArray]:
    """A strip's mesh with fine lines at its own clamps.

    Parameters
    ----------
    mesh : StripMesh
        Common lines of the strip.
    clamp_x : (k,) float
        Middles of the grips. [m]
    grip_length : float
        [m]
    refine : float
        Divides the sizes of the elements.
    fixed : float
        Where the strip is fixed; the line nearest to it, unless it is one of a grip, is a common one. [m]

    Returns
    -------
    StripMesh
    (l,) int
        Its lines that stand for the common ones.
    """
    half = 0.5 * grip_length
    grips = np.unique(np.round(np.concatenate([clamp_x - half, clamp_x, clamp_x + half]), 9))
    far = np.ones(len(mesh.x), dtype=bool)
    if len(grips):
        far = np.abs(mesh.x[:, None] - grips).min(axis=1) > SAME_LINE
    x = graded(np.concatenate([mesh.x[far], grips]), grips, FINE / refine, COARSE / refine, GROWTH)
    common = np.abs(x[:, None] - mesh.x).argmin(axis=0)
    is_grip = np.abs(x[:, None] - grips).min(axis=1, initial=np.inf) < 1e-6
    keep = is_grip | (np.abs(x - fixed) >= np.abs(x[common] - fixed).min() - 1e-9)
    keep[common] = True
    x, common = x[keep], (np.cumsum(keep) - 1)[common]
    xyz = np.empty((len(x), mesh.points, 3))
    xyz[..., 0], xyz[..., 1:] = x[:, None], mesh.section.yz
    return StripMesh(x, mesh.section, xyz.reshape(-1, 3)), common


def hung(field: PanelField, common: IntArray) -> Model:
    """The model of one strip whose own lines hang, on both cuts, on the common lines beside them."""
    x = field.mesh.x
    own = np.setdiff1d(np.arange(len(x)), common)
    if not len(own):
        return field.model
    after = np.searchsorted(common, own)
    low, high = common[after - 1], common[after]
    length = x[high] - x[low]
    t = (x[own] - x[low]) / length
    sides = np.array([0, field.width - 1])
    here, a, b = (node_dof(field.width * line[:, None] + sides) for line in (own, low, high))
    dof = np.full((len(own), 2, 6, 5), -1, dtype=np.int64)
    weight = np.zeros(dof.shape)
    dof[..., 0], weight[..., 0] = here, 1.0
    straight = [0, 1, 3, 5]
    dof[:, :, straight, 1], dof[:, :, straight, 2] = a[..., straight], b[..., straight]
    weight[:, :, straight, 1] = (t - 1.0)[:, None, None]
    weight[:, :, straight, 2] = -t[:, None, None]
    bent = np.stack([a[..., 2], a[..., 4], b[..., 2], b[..., 4]], axis=-1)
    dof[:, :, 2, 1:] = dof[:, :, 4, 1:] = bent
    # Slope dw/dx is -ry.
    rise = [1 - 3 * t**2 + 2 * t**3, -(t - 2 * t**2 + t**3) * length]
    rise += [3 * t**2 - 2 * t**3, -(t**3 - t**2) * length]
    slope = [6 * (t - t**2) / length, 1 - 4 * t + 3 * t**2, -6 * (t - t**2) / length, 3 * t**2 - 2 * t]
    weight[:, :, 2, 1:] = -np.stack(rise, axis=-1)[:, None]
    weight[:, :, 4, 1:] = -np.stack(slope, axis=-1)[:, None]
    ties = replace(
        field.model.ties,
        equation_dof=dof.reshape(-1, 5),
        equation_coefficient=weight.reshape(-1, 5),
        equation_value=np.zeros(dof.size // 5),
    )
    return replace(field.model, ties=ties)
