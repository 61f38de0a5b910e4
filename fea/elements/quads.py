"""Flat shell element with four nodes, six degrees of freedom each, all elements at once.

Every element is a sum of 18 generalized strains on the mean plane of its corners, as many as it has ways to
deform, so that nothing is under-integrated and nothing can move freely:

- membrane: constant strain (3) and the two linear stress modes of Pian and Sumihara, which bend in the plane
  without locking, distorted or not;
- bending: the same five modes for the moments;
- transverse shear: the four edge strains of MITC4 (Dvorkin and Bathe);
- drilling: the rotation about the normal follows that of the membrane at the four Gauss points (Hughes and
  Brezzi), by a part of the shear modulus.

Corners off the mean plane hang on it by rigid arms along its normal (MacNeal's correction for warped quads).

Sources (from memory): Pian and Sumihara, IJNME 20 (1984) 1685; Dvorkin and Bathe, Eng. Comput. 1 (1984) 77;
Hughes and Brezzi, CMAME 72 (1989) 105; MacNeal, Comput. Struct. 8 (1978) 175.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from roofmodel.hardware import Material

Array = NDArray[np.float64]

SHEAR_FACTOR = 5.0 / 6.0
DRILLING = 0.3  # stiffness that ties the drilling rotation to the membrane, over the shear modulus [-]
ALTERNATING = 1e-3  # the same for rotations that alternate from corner to corner, which nothing else resists

POINT = 1.0 / np.sqrt(3.0)
XI = np.array([-1.0, 1.0, 1.0, -1.0])
ETA = np.array([-1.0, -1.0, 1.0, 1.0])
GAUSS = POINT * np.stack([XI, ETA], axis=1)
EDGES = np.array([[0, 1], [3, 2], [0, 3], [1, 2]])  # natural strains along xi, then along eta

LINEAR = np.stack(
    [np.full(4, 0.25), 0.75 * GAUSS[:, 0], 0.75 * GAUSS[:, 1]]
)  # mean and slopes of Gauss values
DRILL_SHARE = np.array([DRILLING, DRILLING / 3.0, DRILLING / 3.0, ALTERNATING / 9.0])

MEMBRANE, BENDING, SHEAR, DRILL = slice(0, 5), slice(5, 10), slice(10, 14), slice(14, 18)


@dataclass(frozen=True)
class Plane:
    """Elements on their mean planes.

    Attributes
    ----------
    axes : (m, 3, 3) float
        Rows are local x, y and the normal.
    xy : (m, 4, 2) float
        Corners on the plane, from their middle. [m]
    height : (m,) float
        Of corners 1 and 3 over the plane; corners 2 and 4 lie as far below. [m]
    area : (m,) float
        [m^2]
    """

    axes: Array
    xy: Array
    height: Array
    area: Array


def mean_plane(xyz: Array) -> Plane:
    """Local axes of quads (m, 4, 3) and their corners on the mean plane."""
    first, second = xyz[:, 2] - xyz[:, 0], xyz[:, 3] - xyz[:, 1]
    normal = np.cross(first, second)
    twice = np.linalg.norm(normal, axis=1)
    normal /= twice[:, None]
    x = first - second
    x /= np.linalg.norm(x, axis=1)[:, None]
    axes = np.stack([x, np.cross(normal, x), normal], axis=1)
    local = (xyz - xyz.mean(axis=1, keepdims=True)) @ np.swapaxes(axes, 1, 2)
    return Plane(axes, np.ascontiguousarray(local[:, :, :2]), local[:, 0, 2].copy(), 0.5 * twice)


@dataclass(frozen=True)
class Field:
    """Shape functions of all elements at some natural points.

    Attributes
    ----------
    value : (p, 4) float
    slope : (m, p, 4, 2) float
        Along local x and y. [1/m]
    inverse : (m, p, 2, 2) float
        From natural to local covariant components, J^-1. [1/m]
    jacobian : (m, p) float
        [m^2]
    """

    value: Array
    slope: Array
    inverse: Array
    jacobian: Array


def shape_field(plane: Plane, points: Array) -> Field:
    """Shape functions at natural points (p, 2)."""
    r, s = points[:, :1], points[:, 1:]
    value = 0.25 * (1.0 + r * XI) * (1.0 + s * ETA)
    natural = 0.25 * np.stack([XI * (1.0 + s * ETA), ETA * (1.0 + r * XI)], axis=1)  # (p, 2, 4)
    J = natural @ plane.xy[:, None]
    jacobian = J[..., 0, 0] * J[..., 1, 1] - J[..., 0, 1] * J[..., 1, 0]
    inverse = np.empty_like(J)
    inverse[..., 0, 0], inverse[..., 1, 1] = J[..., 1, 1], J[..., 0, 0]
    inverse[..., 0, 1], inverse[..., 1, 0] = -J[..., 0, 1], -J[..., 1, 0]
    inverse /= jacobian[..., None, None]
    slope = np.swapaxes(inverse @ natural, 2, 3)
    return Field(value, slope, inverse, jacobian)


def natural_axes(plane: Plane) -> Array:
    """Vectors along xi and eta in the middle of the elements, (m, 2, 2), local components. [m]."""
    return 0.25 * np.stack([XI @ plane.xy, ETA @ plane.xy], axis=1)


def stress_modes(plane: Plane, points: Array) -> tuple[Array, Array]:
    """Linear stress modes of Pian and Sumihara.

    Returns
    -------
    factor : (m, p, 2) float
        Natural coordinate eta or xi of each mode, less its mean over the element.
    pattern : (m, 2, 3) float
        Stress xx, yy, xy of each mode for a factor of one.
    """
    axes = natural_axes(plane)
    twist = 0.25 * (XI * ETA) @ plane.xy
    along_xi = axes[:, 0, 0] * twist[:, 1] - axes[:, 0, 1] * twist[:, 0]
    along_eta = twist[:, 0] * axes[:, 1, 1] - twist[:, 1] * axes[:, 1, 0]
    mean = np.stack([along_eta, along_xi], axis=1) * (4.0 / 3.0) / plane.area[:, None]  # of eta and xi
    factor = points[None, :, ::-1] - mean[:, None]
    unit = axes / np.linalg.norm(axes, axis=2, keepdims=True)
    pattern = np.stack([unit[..., 0] ** 2, unit[..., 1] ** 2, unit[..., 0] * unit[..., 1]], axis=2)
    return factor, pattern


def _turn(vector: Array) -> Array:
    """Normal cross an in-plane vector (..., 2)."""
    return np.stack([-vector[..., 1], vector[..., 0]], axis=-1)


def _plane_modes(plane: Plane, field: Field) -> Array:
    """In-plane vectors (m, 5, 4, 2) whose products with the corners' displacements are the five strains.

    The first three are strains xx, yy, xy over the area, the others the work on the linear stress modes.
    """
    modes = np.zeros((len(plane.xy), 5, 4, 2))
    x, y = plane.xy[..., 0], plane.xy[..., 1]
    slope_x = 0.5 * (np.roll(y, -1, axis=1) - np.roll(y, 1, axis=1))
    slope_y = 0.5 * (np.roll(x, 1, axis=1) - np.roll(x, -1, axis=1))
    modes[:, 0, :, 0] = modes[:, 2, :, 1] = slope_x
    modes[:, 1, :, 1] = modes[:, 2, :, 0] = slope_y
    factor, _ = stress_modes(plane, GAUSS)
    axes = natural_axes(plane)
    unit = axes / np.linalg.norm(axes, axis=2, keepdims=True)
    weight = np.swapaxes(factor * field.jacobian[..., None], 1, 2)  # (m, 2, p)
    mean = (weight @ field.slope.reshape(len(x), 4, 8)).reshape(-1, 2, 4, 2)
    modes[:, 3:] = (mean @ unit[..., None]) * unit[:, :, None]
    return modes


def _edge_bow(field: Field, side: Array) -> Array:
    """Rotation at the Gauss points from edges that bow as beams between unequal drilling, (m, 4, 4).

    An edge bows by an eighth of its length times the difference of the end rotations (Allman 1984).
    """
    r, s = GAUSS[:, :1], GAUSS[:, 1:]
    low, high = np.array([1.0, 0.0]), np.array([0.0, 1.0])
    half_s, half_r = 0.5 * (low * (1.0 - s) + high * (1.0 + s)), 0.5 * (low * (1.0 - r) + high * (1.0 + r))
    sign = high - low
    natural = np.zeros((4, 2, 4))
    natural[:, 0, :2], natural[:, 1, :2] = -2.0 * r * half_s, 0.5 * sign * (1.0 - r**2)
    natural[:, 0, 2:], natural[:, 1, 2:] = 0.5 * sign * (1.0 - s**2), -2.0 * s * half_r
    slope = np.swapaxes(field.inverse @ natural, 2, 3)  # (m, p, edge, 2)
    turn = (slope * side[:, None]).sum(axis=3) / 16.0
    bow = np.zeros(turn.shape)
    for edge, (i, j) in enumerate(EDGES):
        bow[:, :, i] += turn[:, :, edge]
        bow[:, :, j] -= turn[:, :, edge]
    return bow


def strain_rows(plane: Plane, field: Field) -> Array:
    """Generalized strains of global corner displacements, (m, 18, 24)."""
    m = len(plane.xy)
    rows = np.zeros((m, 18, 4, 6))
    modes = _plane_modes(plane, field)
    across = plane.axes[:, None, :2]
    normal = plane.axes[:, 2]
    height = plane.height[:, None, None, None] * np.array([1.0, -1.0, 1.0, -1.0])[:, None]
    turned = (_turn(modes).reshape(m, 1, 20, 2) @ across).reshape(m, 5, 4, 3)
    rows[:, MEMBRANE, :, :3] = (modes.reshape(m, 1, 20, 2) @ across).reshape(m, 5, 4, 3)
    rows[:, MEMBRANE, :, 3:] = -height * turned
    rows[:, BENDING, :, 3:] = turned
    side = plane.xy[:, EDGES[:, 1]] - plane.xy[:, EDGES[:, 0]]
    half = 0.25 * (_turn(side)[:, None] @ across)[:, 0]
    edge = np.arange(10, 14)
    for end, sign in enumerate((-0.5, 0.5)):
        rows[:, edge, EDGES[:, end], :3] = sign * normal[:, None]
        rows[:, edge, EDGES[:, end], 3:] = half
    spin = (LINEAR @ _turn(field.slope).reshape(m, 4, 8)).reshape(m, 3, 4, 2)
    follow = LINEAR @ (_edge_bow(field, side) - field.value)
    first = slice(DRILL.start, DRILL.start + 3)
    rows[:, first, :, :3] = 0.5 * (spin.reshape(m, 1, 12, 2) @ across).reshape(m, 3, 4, 3)
    arm = 0.5 * (_turn(spin).reshape(m, 1, 12, 2) @ across).reshape(m, 3, 4, 3)
    rows[:, first, :, 3:] = follow[..., None] * normal[:, None, None] - height * arm
    rows[:, DRILL.stop - 1, :, 3:] = _alternating(plane, modes)[..., None] * normal[:, None]
    return rows.reshape(m, 18, 24)


def _alternating(plane: Plane, modes: Array) -> Array:
    """Alternating part of corner values, (m, 4), nothing for values that are linear over the element."""
    along = (XI * ETA) @ plane.xy / plane.area[:, None]
    return 0.25 * (XI * ETA - along[:, :1] * modes[:, 0, :, 0] - along[:, 1:] * modes[:, 1, :, 1])


def plane_stress(material: Material) -> Array:
    """Plane-stress stiffness (3, 3) for strains xx, yy and the shear angle. [Pa]."""
    poisson = material.E / (2.0 * material.G) - 1.0
    factor = material.E / (1.0 - poisson**2)
    return factor * np.array([[1.0, poisson, 0.0], [poisson, 1.0, 0.0], [0.0, 0.0, 0.5 * (1.0 - poisson)]])


@dataclass(frozen=True)
class Weights:
    """Stiffness of the generalized strains: (m, 3, 3) constant, (m, 2, 2) linear, (m, 4, 4) shear, (m, 4).

    The first two are for the membrane of unit thickness; bending takes thickness^3 / 12.
    """

    constant: Array
    linear: Array
    shear: Array
    drill: Array


def strain_weights(plane: Plane, field: Field, thickness: Array, material: Material) -> Weights:
    """Stiffness of the generalized strains."""
    D = plane_stress(material)
    factor, pattern = stress_modes(plane, GAUSS)
    weighted = factor * field.jacobian[..., None]
    H = (np.swapaxes(weighted, 1, 2) @ factor) * (pattern @ np.linalg.inv(D) @ np.swapaxes(pattern, 1, 2))
    linear = np.empty_like(H)
    linear[:, 0, 0], linear[:, 1, 1] = H[:, 1, 1], H[:, 0, 0]
    linear[:, 0, 1] = linear[:, 1, 0] = -H[:, 0, 1]
    linear /= (H[:, 0, 0] * H[:, 1, 1] - H[:, 0, 1] ** 2)[:, None, None]
    tie = shear_field(field, GAUSS)
    scale = SHEAR_FACTOR * material.G * thickness[:, None] * field.jacobian
    m = len(thickness)
    flat = tie.reshape(m, 8, 4)
    shear = np.swapaxes(flat * np.repeat(scale, 2, axis=1)[..., None], 1, 2) @ flat
    drill = material.G * (thickness * plane.area)[:, None] * DRILL_SHARE
    return Weights(D / plane.area[:, None, None], linear, shear, drill)


def shear_field(field: Field, points: Array) -> Array:
    """From the four edge strains to local shear angles xz, yz at the points of a field, (m, p, 2, 4)."""
    r, s = points[:, 0], points[:, 1]
    natural = np.zeros((len(points), 2, 4))
    natural[:, 0, 0], natural[:, 0, 1] = 0.5 * (1.0 - s), 0.5 * (1.0 + s)
    natural[:, 1, 2], natural[:, 1, 3] = 0.5 * (1.0 - r), 0.5 * (1.0 + r)
    return np.asarray(field.inverse @ natural)


def quad_stiffness(xyz: Array, thickness: Array, material: Material) -> Array:
    """Stiffness of quads in global axes.

    Parameters
    ----------
    xyz : (m, 4, 3) float
        Corners. [m]
    thickness : (m,) float
        [m]
    material : Material

    Returns
    -------
    (m, 24, 24) float
        For ux, uy, uz, rx, ry, rz of each corner. [N/m, N, N m]
    """
    plane = mean_plane(xyz)
    field = shape_field(plane, GAUSS)
    rows = strain_rows(plane, field)
    weights = strain_weights(plane, field, thickness, material)
    force = np.empty_like(rows)
    t = thickness[:, None, None]
    cubic = t**3 / 12.0
    for part, scale in ((MEMBRANE, t), (BENDING, cubic)):
        first, last = part.start, part.stop
        force[:, first : first + 3] = (scale * weights.constant) @ rows[:, first : first + 3]
        force[:, last - 2 : last] = (scale * weights.linear) @ rows[:, last - 2 : last]
    force[:, SHEAR] = weights.shear @ rows[:, SHEAR]
    force[:, DRILL] = weights.drill[..., None] * rows[:, DRILL]
    return np.asarray(np.swapaxes(rows, 1, 2) @ force)


def quad_pressure(xyz: Array, pressure: Array) -> Array:
    """Nodal loads (m, 24, q) of pressure (m, q) along the normal. [N]."""
    plane = mean_plane(xyz)
    area = shape_field(plane, GAUSS)
    share = area.jacobian @ area.value
    load = np.zeros((len(xyz), 4, 6, pressure.shape[1]))
    load[:, :, :3] = share[:, :, None, None] * plane.axes[:, None, 2, :, None] * pressure[:, None, None]
    return load.reshape(len(xyz), 24, -1)


def quad_body(xyz: Array, thickness: Array, force: Array) -> Array:
    """Nodal loads (m, 24, q) of a force per volume (3, q) in global axes. [N, N m]."""
    plane = mean_plane(xyz)
    area = shape_field(plane, GAUSS)
    share = (area.jacobian @ area.value) * thickness[:, None]
    load = np.zeros((len(xyz), 4, 6, force.shape[1]))
    load[:, :, :3] = share[:, :, None, None] * force
    height = plane.height[:, None] * np.array([1.0, -1.0, 1.0, -1.0])
    arm = -np.cross(plane.axes[:, 2][:, :, None], force[None], axis=1)  # the mean plane lies below the corner
    load[:, :, 3:] = (share * height)[:, :, None, None] * arm[:, None]
    return load.reshape(len(xyz), 24, -1)


def quad_thermal(xyz: Array, thickness: Array, material: Material, rise: Array, gradient: Array) -> Array:
    """Nodal loads (m, 24, q) that hold a restrained rise (m, q) and gradient (m, q) through the sheet."""
    plane = mean_plane(xyz)
    rows = strain_rows(plane, shape_field(plane, GAUSS))
    equal = plane_stress(material)[:, :2].sum(axis=1) * material.alpha
    stretch = np.einsum("mrd,r->md", rows[:, :3], equal)
    bend = np.einsum("mrd,r->md", rows[:, 5:8], equal)
    t = thickness[:, None, None]
    return np.asarray(
        t * stretch[..., None] * rise[:, None] + t**3 / 12.0 * bend[..., None] * gradient[:, None]
    )


def quad_resultants(
    xyz: Array, thickness: Array, material: Material, u: Array
) -> tuple[Array, Array, Array, Array]:
    """Axes, membrane forces, moments and shear forces of quads; see `fea.elements.shells`."""
    plane = mean_plane(xyz)
    field = shape_field(plane, GAUSS)
    weights = strain_weights(plane, field, thickness, material)
    strain = strain_rows(plane, field) @ u
    points = np.concatenate([np.zeros((1, 2)), np.stack([XI, ETA], axis=1)])
    factor, pattern = stress_modes(plane, points)
    modes = factor[..., None] * pattern[:, None]  # (m, p, mode, 3)
    t = thickness[:, None, None, None]

    def stress(part: slice) -> Array:
        constant = weights.constant @ strain[:, part.start : part.start + 3]
        linear = weights.linear @ strain[:, part.stop - 2 : part.stop]
        return np.asarray(constant[:, None] + np.einsum("mpks,mkq->mpsq", modes, linear))

    at = shape_field(plane, points)
    shear = shear_field(at, points) @ strain[:, None, SHEAR]
    return (
        plane.axes,
        t * stress(MEMBRANE),
        t**3 / 12.0 * stress(BENDING),
        SHEAR_FACTOR * material.G * t * shear,
    )
