"""Cylinders, spheres and cones that the points of a mesh lie on, found by trial and fitted by least squares.

Only roofs are looked for: cylinders with a level axis (barrel vaults), spheres (domes), cones with an upright
axis (turrets), all bulging up.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from roofmodel.shape.cleaning import distinct
from roofmodel.shape.regions import (
    Mesh,
    borders,
    components,
    face_distance,
    fit_planes,
    working_planes,
)
from roofmodel.surface import Array, IntArray

TURN = np.cos(np.radians(35.0))  # planes of one curve turn by less from one to the next
ALIGNED = np.cos(np.radians(20.0))  # of a face with the curve it lies on
LEAST_AREA = 5.0  # smaller curved regions stay planes [m^2]
LEAST_SHARE = 0.1  # of the area at least lies on other planes than the two largest
LEAST_PLANES = 3
FINE = 60  # faces of a drawn curve; coarser ones are facets already
LEAST_BEND = np.radians(20.0)  # between the normals of a curve's ends
MOSTLY = 0.6  # a plane of another mass with more of its area on the curve is looked at too
WHOLE = 0.85  # a plane with more of its area on the curve belongs to it
SCRAP = 0.5  # smaller planes beside a curve that lie near it belong to it [m^2]
TRIALS, SAMPLE, POINTS = 300, 2000, 20_000
BETTER = 1.03  # the curve may lie this much farther from the points than the planes do
EXACT = 1e-3  # drawn planes lie within this of their vertices [m]
OFF, DRAWN_OFF = 4.0, 0.02  # faces of a curve lie within so many times the noise, or [m]
FAR = 8.0  # scraps between a curve and its neighbors within so many times the noise
CURVES = 8  # looked for in one connected mass
LARGEST_RADIUS = 500.0  # [m]
KINDS = ("cylinder", "sphere", "cone")


@dataclass(frozen=True)
class Curve:
    """A curved surface.

    Attributes
    ----------
    kind : str
        "cylinder", "sphere" or "cone".
    value : (4,) float
        Cylinder: direction of the axis counter-clockwise from east [rad], its place along the plan vector
        90 degrees clockwise from there, its height, the radius. Sphere: center, radius. Cone: apex, fall per
        length of plan. [m]
    """

    kind: str
    value: Array

    def distance(self, points: Array) -> Array:
        """Signed distances (n,) of points (n, 3), positive outside. [m]."""
        return _distance(self.kind, self.value, points)

    def normals(self, points: Array) -> Array:
        """Unit normals (n, 3) of the curve nearest to points (n, 3)."""
        v = self.value
        if self.kind == "cylinder":
            side = np.array([np.sin(v[0]), -np.cos(v[0])])
            x = points[:, :2] @ side - v[1]
            found = np.column_stack([x[:, None] * side, points[:, 2] - v[2]])
        elif self.kind == "sphere":
            found = points - v[:3]
        else:
            out = points[:, :2] - v[:2]
            reach = np.maximum(np.linalg.norm(out, axis=1, keepdims=True), 1e-12)
            found = np.column_stack([v[3] * out / reach, np.ones(len(points))])
        return np.asarray(found / np.maximum(np.linalg.norm(found, axis=1, keepdims=True), 1e-300))


def find_curves(mesh: Mesh, region: IntArray, noise: float) -> list[tuple[Curve, NDArray[np.bool_]]]:
    """Curved regions among faces that are grouped into planes.

    Parameters
    ----------
    mesh : Mesh
        Of a surveyed mesh with normals that hold for the points around each face.
    region : (m,) int
        Plane of each face, -1 for none.
    noise : float
        Standard deviation of the points, 0 of a drawn mesh. [m]

    Returns
    -------
    list of (Curve, (m,) bool)
        Curves and their faces; no face belongs to two. A region is curved where a curve lies as near to its
        points as three or more planes do.
    """
    count = int(region.max()) + 1
    if count < LEAST_PLANES:
        return []
    face = np.flatnonzero(region >= 0)
    normal = working_planes(mesh, region)[0]
    sides = borders(mesh, region)
    sides = sides[np.einsum("kx,kx->k", normal[sides[:, 0]], normal[sides[:, 1]]) > TURN]
    groups, label = components(count, sides)
    if np.bincount(label).max() < LEAST_PLANES:
        return []
    normal, centroid = fit_planes(mesh, face, region[face], count)
    away = np.zeros(len(region))
    away[face] = face_distance(mesh, face, region[face], normal, centroid)
    area = np.bincount(label[region[face]], mesh.area[face], groups)
    worst = np.zeros(groups)
    np.maximum.at(worst, label[region[face]], away[face])
    members = np.bincount(label, minlength=groups)
    likely = (members >= LEAST_PLANES) & (area >= LEAST_AREA) & (worst > EXACT)
    found = []
    free = np.ones(len(region), dtype=bool)
    for group in np.flatnonzero(likely):
        left = free & (region >= 0)
        left[face] &= label[region[face]] == group
        for _ in range(CURVES):
            if mesh.area[left].sum() < LEAST_AREA:
                break
            one = _one_curve(mesh, region, left, free, noise, (normal, centroid))
            if one is None:
                break
            found.append(one)
            left &= ~one[1]
            free &= ~one[1]
    return found


def _one_curve(
    mesh: Mesh,
    region: IntArray,
    left: NDArray[np.bool_],
    free: NDArray[np.bool_],
    noise: float,
    planes: tuple[Array, Array],
) -> tuple[Curve, NDArray[np.bool_]] | None:
    """The curve that most of some faces lie on, where it is one, and its faces."""
    best: tuple[float, Curve, NDArray[np.bool_]] | None = None
    for kind in KINDS:
        curve = _guess(kind, mesh, np.flatnonzero(left), noise)
        if curve is None:
            continue
        where = left
        inside = _faces_on(curve, mesh, where, noise)
        for _ in range(3):
            if not inside.any():
                break
            curve = _refined(curve, mesh, inside, noise)
            where = left | _planes_on(curve, mesh, region, free, noise)
            inside = _faces_on(curve, mesh, where, noise)
        inside = _with_scraps(curve, mesh, region, inside, where, free, noise)
        if not _is_curved(curve, mesh, region, inside, planes, noise):
            continue
        area = float(mesh.area[inside].sum())
        if best is None or area > 1.05 * best[0]:
            best = (area, curve, inside)
    return None if best is None else best[1:]


def _is_curved(
    curve: Curve,
    mesh: Mesh,
    region: IntArray,
    inside: NDArray[np.bool_],
    planes: tuple[Array, Array],
    noise: float,
) -> bool:
    """Whether a curve says no less about its points than the planes do, and bends at all."""
    face = np.flatnonzero(inside)
    area = float(mesh.area[face].sum())
    on = face[region[face] >= 0]
    shares = np.sort(np.bincount(region[on], mesh.area[on]))
    if noise == 0.0 and len(face) < FINE:
        return False
    if area < LEAST_AREA or shares[: 1 - LEAST_PLANES].sum() < LEAST_SHARE * area:
        return False
    model = curve.normals(mesh.points[mesh.faces[face]].mean(axis=1))
    mean = np.average(model, axis=0, weights=mesh.area[face])
    bend = np.arccos(np.clip(model @ (mean / np.linalg.norm(mean)), -1.0, 1.0))
    if 2.0 * np.quantile(bend, 0.95) < LEAST_BEND:
        return False
    points = mesh.points[mesh.faces[on]]
    normal, centroid = planes
    flat = np.einsum("fcx,fx->fc", points - centroid[region[on], None], normal[region[on]])
    weight = mesh.area[on]
    planar = float(np.sqrt(np.average((flat**2).mean(axis=1), weights=weight)))
    off = curve.distance(points.reshape(-1, 3)).reshape(-1, 3)
    round_ = float(np.sqrt(np.average((off**2).mean(axis=1), weights=weight)))
    return round_ <= max(BETTER * planar, EXACT)


def _planes_on(
    curve: Curve, mesh: Mesh, region: IntArray, free: NDArray[np.bool_], noise: float
) -> NDArray[np.bool_]:
    """Faces of planes most of which lies on a curve."""
    number = np.maximum(region, 0)
    on = _near(curve, mesh, free & (region >= 0), noise)
    mine = np.bincount(number[on], mesh.area[on], number.max() + 1)
    all_of = np.bincount(number[free], mesh.area[free], number.max() + 1)
    return np.asarray(free & (region >= 0) & (mine > MOSTLY * all_of)[number])


def _faces_on(curve: Curve, mesh: Mesh, left: NDArray[np.bool_], noise: float) -> NDArray[np.bool_]:
    """Faces that lie on a curve, the largest part that hangs together."""
    return _largest(mesh, _near(curve, mesh, left, noise))


def _near(curve: Curve, mesh: Mesh, left: NDArray[np.bool_], noise: float) -> NDArray[np.bool_]:
    """Faces that lie on a curve."""
    limit = max(OFF * noise, DRAWN_OFF)
    corner = mesh.points[mesh.faces]
    on = left & (np.abs(curve.distance(mesh.points))[mesh.faces].max(axis=1) <= limit)
    at = np.flatnonzero(on)
    model = curve.normals(corner[at].mean(axis=1))
    on[at] = np.einsum("fx,fx->f", model, mesh.normal[at]) > ALIGNED
    return on


def _largest(mesh: Mesh, on: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """The largest part of some faces that hangs together over edges."""
    if not on.any():
        return on
    _, label = components(len(on), mesh.pairs[on[mesh.pairs].all(axis=1)])
    area = np.bincount(label[on], mesh.area[on])
    return np.asarray(on & (label == np.argmax(area)))


def _with_scraps(
    curve: Curve,
    mesh: Mesh,
    region: IntArray,
    inside: NDArray[np.bool_],
    left: NDArray[np.bool_],
    free: NDArray[np.bool_],
    noise: float,
) -> NDArray[np.bool_]:
    """The faces with the rest of planes that are mostly on the curve, and with scraps that noise left out."""
    if not inside.any():
        return inside
    number = np.where(region < 0, region.max() + 1, region)
    mine = np.bincount(number[inside], mesh.area[inside], number.max() + 1)
    all_of = np.bincount(number, mesh.area, number.max() + 1)
    scrap = (all_of < SCRAP)[number] | (region < 0)
    whole = mine > WHOLE * np.maximum(all_of, 1e-300)
    near = np.abs(curve.distance(mesh.points))[mesh.faces].max(axis=1) <= max(FAR * noise, 2.0 * DRAWN_OFF)
    grown = inside | (left & whole[number] & near)
    rest = free & (left | scrap) & ~grown & near
    _, label = components(len(rest), mesh.pairs[rest[mesh.pairs].all(axis=1)])
    small = np.bincount(label, mesh.area) < 0.05 * mesh.area[inside].sum()
    return _largest(mesh, grown | (rest & small[label]))


def _distance(kind: str, v: Array, points: Array) -> Array:
    if kind == "cylinder":
        x = points[..., 0] * np.sin(v[..., 0]) - points[..., 1] * np.cos(v[..., 0]) - v[..., 1]
        return np.asarray(np.hypot(x, points[..., 2] - v[..., 2]) - v[..., 3])
    if kind == "sphere":
        return np.asarray(np.linalg.norm(points - v[..., :3], axis=-1) - v[..., 3])
    reach = np.hypot(points[..., 0] - v[..., 0], points[..., 1] - v[..., 1])
    return np.asarray((points[..., 2] - v[..., 2] + v[..., 3] * reach) / np.hypot(1.0, v[..., 3]))


def _refined(curve: Curve, mesh: Mesh, inside: NDArray[np.bool_], noise: float) -> Curve:
    """The curve through all points of its faces, by least squares that mind no outliers."""
    from scipy.optimize import least_squares

    points = mesh.points[distinct(mesh.faces[inside])]
    points = points[:: max(len(points) // POINTS, 1)]
    middle = points.mean(axis=0)
    scale = max(noise, EXACT)
    local = points - middle

    def off(value: Array) -> Array:
        return _distance(curve.kind, value, local)

    result = least_squares(
        off,
        _shifted(curve, -middle),
        loss="soft_l1",
        f_scale=3.0 * scale,
        x_scale=np.array([0.1, 1.0, 1.0, 1.0]),
    )
    fitted = Curve(curve.kind, result.x)
    return Curve(curve.kind, _shifted(fitted, middle))


def _shifted(curve: Curve, by: Array) -> Array:
    """Values of a curve that is moved."""
    value = curve.value.copy()
    if curve.kind == "cylinder":
        value[1] += by[0] * np.sin(value[0]) - by[1] * np.cos(value[0])
        value[2] += by[2]
    else:
        value[:3] += by
    return value


def _guess(kind: str, mesh: Mesh, face: IntArray, noise: float) -> Curve | None:
    """The best of many curves through two or three faces each."""
    rng = np.random.default_rng(0)
    face = rng.choice(face, min(SAMPLE, len(face)), replace=False)
    area = mesh.area[face]
    center, normal = mesh.points[mesh.faces[face]].mean(axis=1), mesh.normal[face]
    middle = center.mean(axis=0)
    pick = rng.choice(len(face), (TRIALS, 3), p=area / area.sum())
    values = _through(kind, (center - middle)[pick], normal[pick])
    if len(values) == 0:
        return None
    off = np.abs(_distance(kind, values[:, None], center - middle))
    score = np.zeros(len(values))
    limit = max(3.0 * noise, 0.05)
    for index, value in enumerate(values):  # a few hundred trials
        near = off[index] < limit
        model = Curve(kind, value).normals((center - middle)[near])
        score[index] = area[near][np.einsum("fx,fx->f", model, normal[near]) > ALIGNED].sum()
    best = Curve(kind, values[np.argmax(score)])
    return Curve(kind, _shifted(best, middle))


def _through(kind: str, c: Array, n: Array) -> Array:
    """Values (k, 4) of curves through places (t, 3, 3) with normals (t, 3, 3), without what is no roof."""
    if kind == "cylinder":
        return _cylinders(c, n)
    if kind == "sphere":
        return _spheres(c, n)
    return _cones(c, n)


def _cylinders(c: Array, n: Array) -> Array:
    axis = np.cross(n[:, 0], n[:, 1])
    size = np.linalg.norm(axis, axis=1)
    good = (size > 0.05) & (np.abs(axis[:, 2]) < 0.2 * size)
    c, n, axis = c[good], n[good], axis[good]
    turn = np.arctan2(axis[:, 1], axis[:, 0])
    side = np.stack([np.sin(turn), -np.cos(turn)], axis=1)
    q = np.stack([np.einsum("tkx,tx->tk", c[:, :2, :2], side), c[:, :2, 2]], axis=2)
    m = np.stack([np.einsum("tkx,tx->tk", n[:, :2, :2], side), n[:, :2, 2]], axis=2)
    m /= np.maximum(np.linalg.norm(m, axis=2, keepdims=True), 1e-12)
    center, radius = _meeting(q, m)
    return _roofs(np.column_stack([turn, center, radius]), radius)


def _spheres(c: Array, n: Array) -> Array:
    center, radius = _meeting(c[:, :2], n[:, :2])
    return _roofs(np.column_stack([center, radius]), radius)


def _meeting(place: Array, normal: Array) -> tuple[Array, Array]:
    """Where two lines (t, 2, d) down the normals come nearest, and the mean way there; NaN where nowhere."""
    apart = place[:, 0] - place[:, 1]
    cosine = np.einsum("td,td->t", normal[:, 0], normal[:, 1])
    down = np.maximum(1.0 - cosine**2, 1e-12)
    along = np.einsum("td,tkd->tk", apart, normal)
    first = (along[:, 0] - cosine * along[:, 1]) / down
    second = (cosine * along[:, 0] - along[:, 1]) / down
    ends = place - np.stack([first, second], axis=1)[:, :, None] * normal
    miss = np.linalg.norm(ends[:, 0] - ends[:, 1], axis=1)
    radius = 0.5 * (first + second)
    good = (np.abs(first - second) < 0.3 * radius) & (miss < 0.3 * radius) & (down > 1e-3)
    return ends.mean(axis=1), np.where(good, radius, np.nan)


def _roofs(values: Array, radius: Array) -> Array:
    return np.asarray(values[(radius > 0.5) & (radius < LARGEST_RADIUS)])


def _cones(c: Array, n: Array) -> Array:
    good = np.abs(np.linalg.det(n)) > 1e-2
    c, n = c[good], n[good]
    apex = np.linalg.solve(n, np.einsum("tkx,tkx->tk", c, n)[:, :, None])[:, :, 0]
    fall = np.hypot(n[:, :, 0], n[:, :, 1]) / np.maximum(n[:, :, 2], 1e-6)
    outward = np.einsum("tkx,tkx->tk", (c - apex[:, None])[:, :, :2], n[:, :, :2]) > 0.0
    mean = fall.mean(axis=1)
    good = outward.all(axis=1) & (np.ptp(np.arctan(fall), axis=1) < np.radians(10.0)) & (mean > 0.09)
    return np.column_stack([apex, mean])[good]
