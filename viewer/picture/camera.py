"""Where to look from, and where a roof point lands in the picture.

The projection is parallel: lengths along one direction keep one scale, so a scale bar along a row is true.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]

TURNS = np.radians([24.0, -24.0, 38.0, -38.0, 55.0, -55.0])  # off the fall line; first wins a tie
ELEVATIONS = np.radians([33.0, 40.0, 47.0, 54.0])
FACING = 0.35  # a plane that turns to the viewer by this cosine is read without effort


@dataclass(frozen=True)
class View:
    """A parallel projection onto a picture.

    Attributes
    ----------
    right, up, toward : (3,) float
        Picture axes and the direction to the viewer, unit vectors in roof axes.
    scale : float
        [px/m]
    shift : (2,) float
        Pixel of the roof's origin, from the top left, y down. [px]
    size : (2,) int
        Picture width and height. [px]
    """

    right: Array
    up: Array
    toward: Array
    scale: float
    shift: Array
    size: tuple[int, int]

    def project(self, points: Array) -> Array:
        """Pixels (..., 2) of roof points (..., 3), y down. [px]."""
        flat = np.stack([points @ self.right, -(points @ self.up)], axis=-1)
        return np.asarray(flat * self.scale + self.shift)

    @property
    def focus(self) -> Array:
        """A roof point in the middle of the picture, (3,). [m]."""
        middle = (np.asarray(self.size) * 0.5 - self.shift) / self.scale
        return np.asarray(middle[0] * self.right - middle[1] * self.up)


def view_axes(azimuth: float, elevation: float) -> tuple[Array, Array, Array]:
    """Right, up and toward of a viewer who stands at this compass direction and height. [rad]."""
    toward = np.array(
        [np.sin(azimuth) * np.cos(elevation), np.cos(azimuth) * np.cos(elevation), np.sin(elevation)]
    )
    right = np.array([-np.cos(azimuth), np.sin(azimuth), 0.0])
    return right, np.cross(toward, right), toward


def hidden(points: Array, toward: Array, triangles: Array) -> NDArray[np.bool_]:
    """Whether something stands between each point and the viewer.

    Parameters
    ----------
    points : (n, 3) float
        [m]
    toward : (3,) float
        Direction to the viewer.
    triangles : (m, 3, 3) float
        What may hide them. [m]

    Returns
    -------
    (n,) bool
        Möller and Trumbore's ray test, from memory of the paper (1997).
    """
    a = triangles[:, 0]
    edge1, edge2 = triangles[:, 1] - a, triangles[:, 2] - a
    across = np.cross(toward, edge2)
    determinant = np.sum(edge1 * across, axis=1)
    crossed = np.abs(determinant) > 1e-12
    a, edge1, edge2, across = a[crossed], edge1[crossed], edge2[crossed], across[crossed]
    inverse = 1.0 / determinant[crossed]
    offset = points[:, None, :] - a
    u = np.sum(offset * across, axis=2) * inverse
    q = np.cross(offset, edge1)
    v = (q @ toward) * inverse
    t = np.sum(q * edge2, axis=2) * inverse
    hit = (u >= 0.0) & (v >= 0.0) & (u + v <= 1.0) & (t > 1e-3)
    return np.asarray(hit.any(axis=1))


def choose_axes(
    azimuth: float,
    targets: Array,
    target_weight: Array,
    body: Array,
    normals: Array,
    areas: Array,
    rows: Array,
) -> tuple[Array, Array, Array]:
    """Axes of the view that shows the targets best.

    Parameters
    ----------
    azimuth : float
        Fall of the plane that matters most: the viewer stands outside its eave. [rad]
    targets : (n, 3) float
        Points that should be seen. [m]
    target_weight : (n,) float
    body : (m, 3, 3) float
        Triangles of roof and walls. [m]
    normals, areas : (p, 3), (p,) float
        Planes of the roof; the more of them is seen, the better. [-, m^2]
    rows : (r, 3) float
        Normals of the planes that carry the rows; one that is seen edge-on hides its rows in a line.

    Returns
    -------
    right, up, toward : (3,) float
    """
    best, chosen = -np.inf, view_axes(azimuth + TURNS[0], ELEVATIONS[0])
    for elevation in ELEVATIONS:
        for turn in TURNS:
            axes = view_axes(azimuth + turn, elevation)
            seen = target_weight @ ~hidden(targets, axes[2], body) / target_weight.sum()
            roof = np.maximum(normals @ axes[2], 0.0) @ areas / areas.sum()
            read = np.clip(rows @ axes[2] / FACING, 0.0, 1.0).mean()
            # Low and near the fall line reads best; only what is hidden outweighs it.
            score = (
                4.0 * seen + 2.0 * read + 0.6 * roof - 0.25 * abs(turn) - 0.6 * (elevation - ELEVATIONS[0])
            )
            if score > best + 1e-9:
                best, chosen = score, axes
    return chosen


def fit_view(
    axes: tuple[Array, Array, Array],
    points: Array,
    box: tuple[float, float, float, float],
    size: tuple[int, int],
) -> View:
    """View in which the points (n, 3) fill a box (left, top, right, bottom) of the picture. [m, px]."""
    right, up, toward = axes
    flat = np.stack([points @ right, -(points @ up)], axis=1)
    low, high = flat.min(axis=0), flat.max(axis=0)
    room = np.array([box[2] - box[0], box[3] - box[1]])
    scale = float(np.min(room / np.maximum(high - low, 1e-6)))
    middle = np.array([box[0] + box[2], box[1] + box[3]]) * 0.5
    return View(right, up, toward, scale, middle - scale * 0.5 * (low + high), size)
