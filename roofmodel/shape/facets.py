"""Curved regions of fine or noisy meshes made anew as regular facets, as the builders make them.

Snow, rows and sliding work on planes. The facets' common edges lie on the curve, so that its circle is found
again from them, as from those of a built vault, dome or cone.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from roofmodel.shape.curves import Curve
from roofmodel.shape.cutting import cut_triangles
from roofmodel.shape.regions import SLIVER, Mesh, components, make_mesh
from roofmodel.surface import Array, IntArray

STRIP = np.radians(7.5)  # turn of a vault from one facet to the next, at most
RING = np.radians(10.0)  # the same up a dome
LEAST, MOST = 6, 48  # strips of a vault
SECTORS = 24  # of domes and cones
STEEPEST = np.cos(np.radians(80.0))
SNAP = 1e-3  # vertices nearer to a cut lie on it [m]

WORDS = {"cylinder": "barrel vault", "sphere": "dome", "cone": "cone"}


def with_facets(
    mesh: Mesh, region: IntArray, curves: Sequence[tuple[Curve, NDArray[np.bool_]]]
) -> tuple[Mesh, IntArray, Array, Array, list[str]]:
    """Curved regions cut into facets.

    Parameters
    ----------
    mesh : Mesh
    region : (m,) int
        Plane of each face, -1 for none.
    curves : sequence of (Curve, (m,) bool)
        Curves and their faces.

    Returns
    -------
    mesh : Mesh
        Cut along the facets' edges, points of curved regions moved onto the curve.
    region : (k,) int
        Planes and facets, each hanging together.
    normal, centroid : (p, 3) float
        Of the facets; NaN of the planes, which are still to be fitted. [m]
    notes : list of str
    """
    points, faces = mesh.points.copy(), mesh.faces
    region = region.copy()
    owner = np.full(len(faces), -1)
    for number, (_, inside) in enumerate(curves):
        region[inside], owner[inside] = -1, number
    base = max(int(region.max()) + 1, 0)
    planes, notes = [np.full((base, 6), np.nan)], []
    for number, (curve, _) in enumerate(curves):
        mine = owner == number
        own = np.unique(faces[mine])
        points[own] -= curve.distance(points[own])[:, None] * curve.normals(points[own])
        away = np.abs(curve.distance(mesh.points[own[own < len(mesh.points)]]))
        facets = _Strips(curve, points[own]) if curve.kind == "cylinder" else _Sectors(curve, points[own])
        for bound in range(facets.bounds):
            field = facets.side(bound, points)
            field[np.abs(field) < SNAP] = 0.0
            points, faces, parent = cut_triangles(points, faces, field, owner == number)
            region, owner = region[parent], owner[parent]
        mine = np.flatnonzero(owner == number)
        which = facets.number(points[faces[mine]].mean(axis=1))
        region[mine] = base + which
        _set_upright(points, faces[mine], facets.planes[which])
        planes.append(facets.planes)
        base += len(facets.planes)
        rms = float(np.sqrt(np.mean(away**2))) * 1e3
        notes.append(_note(curve, len(np.unique(which)), rms))
    cut = make_mesh(points, faces)
    region, kept = _hanging_together(cut, region)
    plane = np.concatenate(planes)[kept]
    return cut, region, plane[:, :3], plane[:, 3:], notes


def _set_upright(points: Array, faces: IntArray, plane: Array) -> None:
    """Move corners onto their facets up or down, so that the plan stays (in place)."""
    normal, foot = plane[:, :3], plane[:, 3:]
    for corner in faces.T:
        drop = np.einsum("fx,fx->f", points[corner] - foot, normal) / np.maximum(normal[:, 2], STEEPEST)
        points[corner, 2] -= drop


def _note(curve: Curve, count: int, rms: float) -> str:
    size = (
        f"a fall of {np.degrees(np.arctan(curve.value[3])):.1f} degrees"
        if curve.kind == "cone"
        else f"a radius of {curve.value[3]:.2f} m"
    )
    return (
        f"A curved region was taken as a {WORDS[curve.kind]} with {size} (points within {rms:.0f} mm, "
        f"root mean square) and divided into {count} plane facets."
    )


def _hanging_together(mesh: Mesh, region: IntArray) -> tuple[IntArray, IntArray]:
    """Regions that hang together over edges, without slivers; and which region each was."""
    same = region[mesh.pairs[:, 0]] == region[mesh.pairs[:, 1]]
    count, label = components(len(region), mesh.pairs[same])
    keep = (np.bincount(label, mesh.area, count) >= SLIVER)[label] & (region >= 0)
    first, number = np.unique(label[keep], return_index=True, return_inverse=True)[1:]
    result = np.full(len(region), -1)
    result[keep] = number
    return result, region[np.flatnonzero(keep)[first]]


class _Strips:
    """Facets of a cylinder between lines along its axis."""

    def __init__(self, curve: Curve, points: Array) -> None:
        turn, self.place, height, radius = curve.value
        self.right = np.array([np.sin(turn), -np.cos(turn)])
        x = points[:, :2] @ self.right - self.place
        ends = np.arcsin(np.clip([x.min() / radius, x.max() / radius], -1.0, 1.0))
        count = int(np.clip(2 * np.ceil(0.5 * np.ptp(ends) / STRIP), LEAST, MOST))
        angle = np.linspace(float(ends[0]), float(ends[1]), count + 1)
        self.knots = radius * np.sin(angle)
        top = height + radius * np.cos(angle)
        middle = 0.5 * (angle[1:] + angle[:-1])
        normal = np.column_stack([np.sin(middle)[:, None] * self.right, np.cos(middle)])
        foot = np.column_stack([(self.place + self.knots[:-1])[:, None] * self.right, top[:-1]])
        self.planes = np.column_stack([normal, foot])
        self.bounds = count - 1

    def side(self, bound: int, points: Array) -> Array:
        """Signed distances of points from one of the bounds between facets."""
        return np.asarray(points[:, :2] @ self.right - self.place - self.knots[bound + 1])

    def number(self, points: Array) -> IntArray:
        """Facet of each point."""
        across = points[:, :2] @ self.right - self.place
        return np.searchsorted(self.knots[1:-1], across).astype(np.int64)


class _Sectors:
    """Facets of a dome or cone: sectors, and rings whose edges are level."""

    def __init__(self, curve: Curve, points: Array) -> None:
        self.center = curve.value[:2]
        self.half = np.pi / SECTORS
        self.first = np.arctan2(*(points[:, :2].mean(axis=0) - self.center)[::-1]) if len(points) else 0.0
        reach = self.apothem(points) if curve.kind == "sphere" else np.zeros(1)
        if curve.kind == "sphere":
            top, radius = curve.value[2], curve.value[3]
            corner = np.clip(reach.max() / np.cos(self.half) / radius, 0.0, 1.0)
            count = max(int(np.ceil(np.arcsin(corner) / RING)), 3)
            angle = np.linspace(0.0, np.arcsin(corner), count + 1)
            inner, height = radius * np.sin(angle), top + radius * np.cos(angle)
        else:
            apex, fall = curve.value[2], curve.value[3]
            inner, height = np.array([0.0, 1.0]), np.array([apex, apex - fall])
        self.rings = inner * np.cos(self.half)  # distance of the level edges from the axis
        rate = np.diff(height) / np.diff(self.rings)
        azimuth = self.first + 2.0 * self.half * (np.arange(SECTORS) + 0.5)
        out = np.column_stack([np.cos(azimuth), np.sin(azimuth)])
        grade = (rate[:, None, None] * out).reshape(-1, 2)
        normal = np.column_stack([-grade, np.ones(len(grade))])
        normal /= np.linalg.norm(normal, axis=1, keepdims=True)
        foot = (self.rings[:-1, None, None] * out).reshape(-1, 2) + self.center
        self.planes = np.column_stack([normal, foot, np.repeat(height[:-1], SECTORS)])
        self.bounds = SECTORS // 2 + len(self.rings) - 2

    def side(self, bound: int, points: Array) -> Array:
        """Signed distances of points from one of the lines through the axis, or from a level edge."""
        if bound >= SECTORS // 2:
            return self.apothem(points) - self.rings[bound - SECTORS // 2 + 1]
        azimuth = self.first + 2.0 * self.half * bound
        return np.asarray((points[:, :2] - self.center) @ [-np.sin(azimuth), np.cos(azimuth)])

    def sector(self, points: Array) -> IntArray:
        """Sector of each point."""
        out = points[:, :2] - self.center
        turn = (np.arctan2(out[:, 1], out[:, 0]) - self.first) % (2.0 * np.pi)
        return np.minimum(turn / (2.0 * self.half), SECTORS - 1).astype(np.int64)

    def apothem(self, points: Array) -> Array:
        """Distance along the middle of each point's sector, the same on both sides of a sector's bound."""
        out = points[:, :2] - self.center
        turn = (np.arctan2(out[:, 1], out[:, 0]) - self.first) % (2.0 * self.half) - self.half
        return np.asarray(np.hypot(*out.T) * np.cos(turn))

    def number(self, points: Array) -> IntArray:
        """Facet of each point."""
        ring = np.searchsorted(self.rings[1:-1], self.apothem(points))
        return (ring * SECTORS + self.sector(points)).astype(np.int64)
