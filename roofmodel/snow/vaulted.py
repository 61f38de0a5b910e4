"""Snow on barrel vaults: linear pieces between knots across the axis, cut to the facets."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import Polygon

from roofmodel.snow.cases import Value, Zone
from roofmodel.snow.regions import Plan, polygonal
from roofmodel.surface import RoofSurface, Vault

Array = NDArray[np.float64]
NOTES = (
    "The curve counts as a circle through the joints of the facets; between the points of the standard's "
    "figure the load is linear on plan.",
)


def circle_values(vault: Vault, end: float) -> tuple[Value, ...]:
    """Rise, half chord and radius of a vault, and where a side ends, for a zone there. [m]."""
    far = max(-vault.ends[0], vault.ends[1])
    even = math.isclose(far, end, rel_tol=1e-9)
    name = "x_s" if even else "x_f"
    side = () if even else (Value("x_s", end, "m", "from the crown to the springing on this side, on plan"),)
    return (
        Value("h", vault.rise_to(far), "m", f"crown above the {'' if even else 'farther '}springing"),
        Value(name, far, "m", f"from the crown to the {'' if even else 'farther '}springing, on plan"),
        *side,
        Value("R", vault.radius, "m", "of the circle through the joints", f"({name}^2 + h^2) / (2 h)"),
    )


def vault_names(roof: RoofSurface, vault: Vault) -> str:
    """Names of the outermost facets, for titles."""
    names = roof.planes.name
    return f"vault {names[vault.plane[0]]} to {names[vault.plane[-1]]}"


def sides(vault: Vault) -> list[tuple[int, Array, float]]:
    """Both sides: sign, plan direction from the crown, and distance of the springing. [m]."""
    return [(1, vault.across, vault.ends[1]), (-1, -vault.across, -vault.ends[0])]


def others(zones: Sequence[Zone], planes: NDArray[np.int64]) -> list[Zone]:
    """Zones on other planes."""
    own = set(planes.tolist())
    return [zone for zone in zones if zone.plane not in own]


def on_side(vault: Vault, roof: RoofSurface, direction: Array) -> NDArray[np.int64]:
    """Facets that fall to one side."""
    azimuth = roof.planes.azimuth[vault.plane]
    fall = np.stack([np.sin(azimuth), np.cos(azimuth)], axis=1)
    return np.asarray(vault.plane[fall @ direction > 0.0])


def side_zones(
    plan: Plan,
    vault: Vault,
    direction: Array,
    knots: Sequence[float],
    pressure: Sequence[float],
    words: tuple[str, str],
    working: Sequence[tuple[str, tuple[Value, ...]]],
) -> list[Zone]:
    """Zones of a load that is linear between knots on one side of a vault.

    Parameters
    ----------
    plan : Plan
    vault : Vault
    direction : (2,) float
        From the crown to the side.
    knots : (k,) float
        Distances from the crown, rising. [m]
    pressure : (k,) float
        At the knots. [Pa]
    words : name, clause
    working : (k - 1,) of formula and values
        Between each two knots; x is the distance from the crown.

    Returns
    -------
    list of Zone
    """
    name, clause = words
    along = np.array([-direction[1], direction[0]])
    origin = vault.crown * vault.across  # a point of the crown's line
    shapes = np.array([plan.polygon[i] for i in vault.plane], dtype=object)
    corners = shapely.get_coordinates(shapes)
    reach = float(np.abs(corners - origin).sum(axis=1).max()) + 1.0
    zones = []
    pairs = zip(knots[:-1], knots[1:], pressure[:-1], pressure[1:], working, strict=True)
    for near, far, first, last, (formula, values) in pairs:
        if far - near <= 0.0 or max(first, last) <= 0.0:
            continue
        strip = Polygon(
            [
                origin + near * direction - reach * along,
                origin + far * direction - reach * along,
                origin + far * direction + reach * along,
                origin + near * direction + reach * along,
            ]
        )
        grade = (last - first) / (far - near) * direction
        law = np.array([first - grade @ (origin + near * direction), *grade])
        cut = (polygonal(part) for part in shapely.intersection(shapes, strip))
        zones += [
            Zone(name, int(plane), part, law, clause, formula, values)
            for plane, part in zip(vault.plane.tolist(), cut, strict=True)
            if part is not None
        ]
    return zones
