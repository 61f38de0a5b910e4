"""From an outline to everything a rail needs of it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import LineString, Polygon

from roofmodel.errors import InputError
from roofmodel.profiles.data import Net, Profile, Section
from roofmodel.profiles.mesh import triangles
from roofmodel.profiles.moments import central_moments, plastic_modulus
from roofmodel.profiles.peaks import peak, ring_of
from roofmodel.profiles.plates import FINE
from roofmodel.profiles.torsion import Twisting, elements, twisting
from roofmodel.profiles.walls import walls_of

Array = NDArray[np.float64]

MOST_CORNERS = 2000  # of an outline that is taken as it is; 40 fine fillets (judgment)
COARSER = (1e-5, 3e-5, 1e-4)  # of the root of the area that corners are left out by where there are more
ACROSS = 2.0  # elements through the thinnest wall
DECAY = 1000.0  # with more J / I_w warping dies away within centimeters: St-Venant torsion alone [1/m^2]


@dataclass(frozen=True)
class Hole:
    """A hole drilled through all walls in its way.

    Attributes
    ----------
    diameter : float
        [m]
    across : bool
        Drilled up the slope; else square to the roof.
    at : float
        Place of its axis on the other coordinate of the outline as given. [m]
    """

    diameter: float
    across: bool
    at: float


def profile_of(
    outline: Polygon, poisson: float = 0.33, label: str = "profile", holes: Sequence[Hole] = ()
) -> Profile:
    """Everything that follows from an outline.

    Parameters
    ----------
    outline : Polygon
        First coordinate up the slope, second away from the roof; cells as holes. [m]
    poisson : float
        [-]
    label : str
    holes : sequence of Hole
        Drilled holes; the weakest net section counts all of them at one place along the rail.

    Returns
    -------
    Profile
        About its centroid.

    Raises
    ------
    InputError
        An outline that crosses itself, is in several pieces, cannot be meshed, has far too many corners
        or a cell that no metal closes.

    Notes
    -----
    Area, second moments and plastic moduli are exact for the polygon (with more than `MOST_CORNERS` for
    one within 1e-4 of the root of its area); torsion, warping and shear are by finite elements. The torsion
    modulus is that of the walls: peaks of stress in re-entrant corners, sharp or rounded, are left out
    (common practice under static load, as in the closed form for tubes of EN 10219-2 annex B), so that
    neither the mesh nor the radius that a drawing leaves out decides on it.
    """
    if not (isinstance(outline, Polygon) and outline.is_valid and outline.area > 0.0):
        reason = shapely.is_valid_reason(outline)
        message = f"profile: its outline is no simple polygon ({reason[0].lower()}{reason[1:]})"
        raise InputError(message)
    plain = _few_corners(shapely.remove_repeated_points(outline, 1e-9))
    _check_cells(plain)
    found = _profile(plain.wkb, poisson)
    net = _net(plain, holes) if holes else None
    return replace(found, section=replace(found.section, label=label), net=net)


def _few_corners(outline: Polygon) -> Polygon:
    """An outline of at most `MOST_CORNERS`, without those that hardly leave the line of others."""
    count = shapely.get_num_coordinates(outline)
    if count <= MOST_CORNERS:
        return outline
    for share in COARSER:
        found = shapely.simplify(outline, share * np.sqrt(outline.area))
        if shapely.get_num_coordinates(found) <= MOST_CORNERS and isinstance(found, Polygon):
            return found
    least = 1e3 * COARSER[-1] * np.sqrt(outline.area)
    message = (
        f"profile: its outline has {count:,} corners, and more than {MOST_CORNERS:,} stand out by "
        f"{least:.1g} mm; leave out knurls, letters and the noise of a scan"
    )
    raise InputError(message)


def _check_cells(outline: Polygon) -> None:
    """Refuse cells that touch the outside or each other: nothing there closes them."""
    rings = np.asarray(shapely.get_rings(outline))
    apart = shapely.distance(rings[:, None], rings[None])
    np.fill_diagonal(apart, np.inf)
    if apart.min() < FINE * np.sqrt(outline.area):
        a, b = np.unravel_index(apart.argmin(), apart.shape)
        y, z = 1e3 * shapely.get_coordinates(shapely.shortest_line(rings[a], rings[b]))[0]
        message = (
            f"profile: its metal has no thickness at ({y:.2f} mm, {z:.2f} mm), where two of its edges touch; "
            "draw the cell open there, or with the metal that closes it"
        )
        raise InputError(message)


@lru_cache(maxsize=64)
def _profile(wkb: bytes, poisson: float) -> Profile:
    outline = shapely.from_wkb(wkb)
    area, centroid, (yy, zz, yz) = central_moments(outline)
    shape = shapely.transform(outline, lambda xy: xy - centroid)
    assert isinstance(shape, Polygon)
    walls = walls_of(shape)
    thin = min(walls.thickness.min(initial=np.inf), walls.lost[:, 2].min(initial=np.inf))
    most = np.inf if len(walls.thickness) else 0.06 * np.sqrt(area)
    xy, node = triangles(shape, float(min(thin / ACROSS, most)))
    mesh = elements(xy, node)
    twist = twisting(mesh, poisson, *ring_of(xy, shape))
    left, low, right, high = shape.bounds
    closed = bool(len(shape.interiors))
    gyration = yy + zz
    warps = DECAY * twist.I_w > twist.J
    round_ = _is_round(shape, yy, zz)
    section = Section(
        area=area,
        I_y=float(zz),
        I_z=float(yy),
        J=twist.J,
        W_y=float(zz / max(-low, high)),
        W_z=float(yy / max(-left, right)),
        W_t=1.0 / peak(twist, xy, node, shape, walls),
        shear_y=float(twist.shear[0]),
        shear_z=float(twist.shear[1]),
        depth_y=right - left,
        depth_z=high - low,
        label="",
        round=round_,
        I_yz=0.0 if abs(yz) < 1e-9 * gyration else float(yz),
        center_y=_clean(twist.center[0], right - left),
        center_z=_clean(twist.center[1], high - low),
        I_w=twist.I_w if warps else 0.0,
        omega_max=float(np.abs(twist.omega).max()) if warps else np.nan,
    )
    principal, angle = principal_axes(float(zz), float(yy), float(yz))
    return Profile(
        outline=shape,
        section=section,
        walls=walls,
        alone=_alone(shapely.get_coordinates(shape), (float(yy), float(zz), section.I_yz)),
        plastic=np.array([plastic_modulus(shape, 1), plastic_modulus(shape, 0)]),
        principal=principal,
        angle=angle,
        radius=np.sqrt(principal / area),
        one_sided=_one_sided(twist, principal, angle),
        reach=np.array([[left, right], [low, high]]),
        elements=len(node),
        net=None,
        closed=closed,
        origin=centroid,
    )


def principal_axes(I_y: float, I_z: float, I_yz: float) -> tuple[Array, float]:
    """Larger and smaller second moment (2,), and the angle from y to the axis of the larger one."""
    middle, half = 0.5 * (I_y + I_z), 0.5 * (I_y - I_z)
    radius = float(np.hypot(half, I_yz))
    alike = radius < 1e-9 * middle
    angle = 0.0 if alike else 0.5 * float(np.arctan2(-I_yz, half))
    return np.array([middle + radius, middle - radius]), angle


def _one_sided(twist: Twisting, principal: Array, angle: float) -> Array:
    """Monosymmetry constants (2,) of bending about both principal axes."""
    u = np.array([np.cos(angle), np.sin(angle)])
    v = np.array([-u[1], u[0]])
    return np.array(
        [
            v @ twist.third / principal[0] - 2.0 * v @ twist.center,
            u @ twist.third / principal[1] - 2.0 * u @ twist.center,
        ]
    )


def _clean(value: float, size: float) -> float:
    """Zero for what symmetry makes zero but for the mesh."""
    return 0.0 if abs(value) < 1e-3 * size else float(value)


def _is_round(shape: Polygon, yy: float, zz: float) -> bool:
    """Whether the outer edge is a circle."""
    reach = np.linalg.norm(shapely.get_coordinates(shape.exterior), axis=1)
    return bool(len(reach) > 16 and np.ptp(reach) < 2e-3 * reach.max() and abs(yy - zz) < 1e-3 * yy)


def _net(outline: Polygon, holes: Sequence[Hole]) -> Net:
    """Area and moduli with all holes at one place."""
    left, low, right, high = outline.bounds
    far = right - left + high - low
    strips = []
    for hole in holes:
        ends = (
            [(left - far, hole.at), (right + far, hole.at)]
            if hole.across
            else [(hole.at, low - far), (hole.at, high + far)]
        )
        strips.append(LineString(ends).buffer(0.5 * hole.diameter, cap_style="flat"))
        if not outline.intersects(strips[-1]):
            message = (
                f"profile: the hole at {hole.at * 1000.0:g} mm meets no metal; give its axis in "
                "the outline's own coordinates"
            )
            raise InputError(message)
    rest = outline.difference(shapely.union_all(strips))
    if rest.is_empty or rest.area < 0.05 * outline.area:
        message = "profile: its holes leave less than 5 % of the metal; check their diameters"
        raise InputError(message)
    area, c, moments = central_moments(rest)
    W_y, W_z = _alone(shapely.get_coordinates(rest) - c, moments)
    return Net(area=area, W_y=float(W_y), W_z=float(W_z))


def _alone(corner: Array, moments: Sequence[float] | Array) -> Array:
    """Moduli (2,) of a moment about y or z alone, which bends askew where they are not principal. [m^3]."""
    yy, zz, yz = moments
    y, z = corner.T
    return np.asarray((yy * zz - yz**2) / np.abs([z * yy - y * yz, y * zz - z * yz]).max(axis=1))
