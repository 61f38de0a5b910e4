"""Closed-form rail sections.

Axes as in `hardware.Section`: y up the slope, z away from the roof. `depth_y` and `depth_z` are outside
sizes along them. Poisson's ratio only enters the shear areas of the round sections and the solid rectangle.
"""

from __future__ import annotations

import math
from dataclasses import replace

from roofmodel.errors import InputError
from roofmodel.profiles.data import Section


def _positive(**values: float) -> None:
    for name, value in values.items():
        if not (math.isfinite(value) and value > 0.0):
            message = f"section: {name} = {value:g} must be a positive number."
            raise InputError(message)


def _check_poisson(poisson: float) -> None:
    if not 0.0 <= poisson < 0.5:
        message = f"section: poisson = {poisson:g} must be at least 0 and below 0.5 for a metal."
        raise InputError(message)


def _mm(value: float) -> str:
    return f"{value * 1000.0:.6g}"


def _round(outer: float, inner: float, poisson: float, label: str) -> Section:
    area = math.pi * (outer**2 - inner**2)
    inertia = math.pi / 4.0 * (outer**4 - inner**4)
    ring = (1.0 + (inner / outer) ** 2) ** 2
    kappa = (
        6.0 * (1.0 + poisson) * ring
        / ((7.0 + 6.0 * poisson) * ring + (20.0 + 12.0 * poisson) * (inner / outer) ** 2)
    )  # fmt: skip
    return Section(
        area=area,
        I_y=inertia,
        I_z=inertia,
        J=2.0 * inertia,
        W_y=inertia / outer,
        W_z=inertia / outer,
        W_t=2.0 * inertia / outer,
        shear_y=kappa * area,
        shear_z=kappa * area,
        depth_y=2.0 * outer,
        depth_z=2.0 * outer,
        label=label,
        round=True,
        kind="round tube" if inner > 0.0 else "round bar",
        wall=outer - inner if inner > 0.0 else math.nan,
    )


def round_tube(diameter: float, wall: float, poisson: float = 0.33) -> Section:
    """Round tube.

    Parameters
    ----------
    diameter, wall : float
        Outside diameter and wall thickness. [m]
    poisson : float
        [-]

    Raises
    ------
    InputError
        Size not positive, or wall as thick as the radius or thicker.

    Notes
    -----
    Shear area: Cowper, J. Appl. Mech. 33 (1966) 335, hollow circle (from memory).
    """
    _positive(diameter=diameter, wall=wall)
    _check_poisson(poisson)
    if wall >= diameter / 2.0:
        message = (
            f"section: wall = {_mm(wall)} mm must be less than half the outside diameter of "
            f"{_mm(diameter)} mm; use a round bar if it is solid."
        )
        raise InputError(message)
    label = f"round tube {_mm(diameter)} x {_mm(wall)} mm"
    return _round(diameter / 2.0, diameter / 2.0 - wall, poisson, label)


def round_bar(diameter: float, poisson: float = 0.33) -> Section:
    """Solid round bar.

    Parameters
    ----------
    diameter : float
        [m]
    poisson : float
        [-]

    Raises
    ------
    InputError
        Diameter not positive.

    Notes
    -----
    Shear area: Cowper, J. Appl. Mech. 33 (1966) 335, circle (from memory).
    """
    _positive(diameter=diameter)
    _check_poisson(poisson)
    return _round(diameter / 2.0, 0.0, poisson, f"round bar {_mm(diameter)} mm")


def _rectangle_torsion(long: float, short: float) -> tuple[float, float]:
    """St-Venant constant and modulus of a solid rectangle by Fourier series [m^4, m^3]."""
    odd = range(1, 26, 2)  # the first term left out is below 1e-7 of the sum at any aspect ratio
    ratio = math.pi * long / (2.0 * short)
    series = sum(math.tanh(n * ratio) / n**5 for n in odd)
    J = long * short**3 / 3.0 * (1.0 - 192.0 / math.pi**5 * short / long * series)
    decay = sum(1.0 / (n**2 * math.cosh(min(n * ratio, 700.0))) for n in odd)
    return J, J / (short * (1.0 - 8.0 / math.pi**2 * decay))


def rectangle(depth_y: float, depth_z: float, poisson: float = 0.33) -> Section:
    """Solid rectangle or flat bar.

    Parameters
    ----------
    depth_y, depth_z : float
        Size up the slope and away from the roof. [m]
    poisson : float
        [-]

    Raises
    ------
    InputError
        Size not positive.

    Notes
    -----
    Torsion: series of Timoshenko and Goodier, Theory of Elasticity, art. 109; shear area: Cowper,
    J. Appl. Mech. 33 (1966) 335, rectangle (both from memory).
    """
    _positive(depth_y=depth_y, depth_z=depth_z)
    _check_poisson(poisson)
    area = depth_y * depth_z
    J, W_t = _rectangle_torsion(max(depth_y, depth_z), min(depth_y, depth_z))
    kappa = 10.0 * (1.0 + poisson) / (12.0 + 11.0 * poisson)
    return Section(
        area=area,
        I_y=depth_y * depth_z**3 / 12.0,
        I_z=depth_z * depth_y**3 / 12.0,
        J=J,
        W_y=depth_y * depth_z**2 / 6.0,
        W_z=depth_z * depth_y**2 / 6.0,
        W_t=W_t,
        shear_y=kappa * area,
        shear_z=kappa * area,
        depth_y=depth_y,
        depth_z=depth_z,
        label=f"flat bar {_mm(depth_y)} x {_mm(depth_z)} mm",
        kind="flat bar",
    )


def _rounded_rectangle(width: float, depth: float, radius: float) -> tuple[float, float]:
    """Area and second moment about the axis along `width` of a solid rectangle with round corners."""
    spandrel = (1.0 - math.pi / 4.0) * radius**2
    to_tip = (10.0 - 3.0 * math.pi) / (12.0 - 3.0 * math.pi) * radius
    own = (1.0 / 3.0 - math.pi / 16.0 - 1.0 / (3.0 * (12.0 - 3.0 * math.pi))) * radius**4
    area = width * depth - 4.0 * spandrel
    return area, width * depth**3 / 12.0 - 4.0 * (own + spandrel * (depth / 2.0 - to_tip) ** 2)


def rectangular_tube(depth_y: float, depth_z: float, wall: float, radius: float = 0.0) -> Section:
    """Rectangular or square tube of one wall thickness.

    Parameters
    ----------
    depth_y, depth_z : float
        Outside size up the slope and away from the roof. [m]
    wall : float
        [m]
    radius : float
        Outside corner radius, 0 for sharp corners; the inside radius is `radius - wall`, sharp when
        that is negative. [m]

    Raises
    ------
    InputError
        Size not positive, wall too thick, or radius too large.

    Notes
    -----
    Torsion constant and modulus: EN 10219-2:2006 Annex B, I_t and C_t. Shear areas A h / (b + h):
    EN 1993-1-1:2005, 6.2.6(3), a strength rule taken here for stiffness too, as the webs carry nearly
    all of the shear. Both from memory.
    """
    _positive(depth_y=depth_y, depth_z=depth_z, wall=wall)
    small = min(depth_y, depth_z)
    if wall >= small / 2.0:
        message = (
            f"section: wall = {_mm(wall)} mm must be less than half the smaller outside size of "
            f"{_mm(small)} mm."
        )
        raise InputError(message)
    if not 0.0 <= radius <= small / 2.0:
        message = f"section: radius = {_mm(radius)} mm must lie between 0 and {_mm(small / 2.0)} mm."
        raise InputError(message)
    inside = max(radius - wall, 0.0)
    hole_y, hole_z = depth_y - 2.0 * wall, depth_z - 2.0 * wall
    area, I_y = _rounded_rectangle(depth_y, depth_z, radius)
    hole, hole_I_y = _rounded_rectangle(hole_y, hole_z, inside)
    _, I_z = _rounded_rectangle(depth_z, depth_y, radius)
    _, hole_I_z = _rounded_rectangle(hole_z, hole_y, inside)
    area, I_y, I_z = area - hole, I_y - hole_I_y, I_z - hole_I_z
    middle = (radius + inside) / 2.0
    around = 2.0 * (depth_y + depth_z - 2.0 * wall) - 2.0 * middle * (4.0 - math.pi)
    enclosed = (depth_y - wall) * (depth_z - wall) - middle**2 * (4.0 - math.pi)
    K = 2.0 * enclosed * wall / around
    J = wall**3 * around / 3.0 + 2.0 * K * enclosed
    corners = f", outside radius {_mm(radius)} mm" if radius else ""
    return Section(
        area=area,
        I_y=I_y,
        I_z=I_z,
        J=J,
        W_y=2.0 * I_y / depth_z,
        W_z=2.0 * I_z / depth_y,
        W_t=J / (wall + K / wall),
        shear_y=area * depth_y / (depth_y + depth_z),
        shear_z=area * depth_z / (depth_y + depth_z),
        depth_y=depth_y,
        depth_z=depth_z,
        label=f"rectangular tube {_mm(depth_y)} x {_mm(depth_z)} x {_mm(wall)} mm{corners}",
        kind="rectangular tube",
        wall=wall,
    )


def from_values(
    *,
    area: float,
    I_y: float,
    I_z: float,
    J: float,
    W_y: float,
    W_z: float,
    W_t: float,
    depth_y: float,
    depth_z: float,
    shear_y: float = math.inf,
    shear_z: float = math.inf,
    I_yz: float = 0.0,
    center_y: float = 0.0,
    center_z: float = 0.0,
    I_w: float = 0.0,
    omega_max: float = math.nan,
    label: str = "section by its values",
) -> Section:
    """Section by its values; unless told otherwise closed, in principal axes, shear center at the centroid.

    Parameters
    ----------
    area, I_y, I_z, J, W_y, W_z, W_t, depth_y, depth_z, shear_y, shear_z : float
        As in `hardware.Section`. [m^2, m^4, m^3, m] Infinite shear areas (the default) leave shear
        deformation out.
    I_yz, center_y, center_z, I_w, omega_max : float
        As in `hardware.Section`. [m^4, m, m, m^6, m^2]
    label : str

    Raises
    ------
    InputError
        A value that is not positive, a product of inertia that no section has, a sectorial coordinate
        without a warping constant.
    """
    _positive(area=area, I_y=I_y, I_z=I_z, J=J, W_y=W_y, W_z=W_z, W_t=W_t, depth_y=depth_y, depth_z=depth_z)
    for name, value in (("shear_y", shear_y), ("shear_z", shear_z)):
        if math.isnan(value) or value <= 0.0:
            message = f"section: {name} = {value:g} must be positive, or infinite for no shear deformation."
            raise InputError(message)
    if not I_yz**2 < I_y * I_z:
        message = (
            f"section: I_yz = {I_yz:g} m^4 must be smaller than the root of I_y I_z = {I_y * I_z:g} m^8."
        )
        raise InputError(message)
    for name, value in (("center_y", center_y), ("center_z", center_z)):
        if not math.isfinite(value):
            message = f"section: {name} = {value:g} must be a number."
            raise InputError(message)
    for name, value in (("I_w", I_w), ("omega_max", omega_max)):
        if value < 0.0 or math.isinf(value):
            message = f"section: {name} = {value:g} must not be negative or infinite."
            raise InputError(message)
    if not math.isnan(omega_max) and not I_w > 0.0:
        message = f"section: omega_max = {omega_max:g} m^2 means nothing without a warping constant I_w."
        raise InputError(message)
    section = Section(area, I_y, I_z, J, W_y, W_z, W_t, shear_y, shear_z, depth_y, depth_z, label)
    return replace(section, I_yz=I_yz, center_y=center_y, center_z=center_z, I_w=I_w, omega_max=omega_max)
