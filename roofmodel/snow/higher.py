"""Where a drift ends because the roof stands higher than the top of the wall that makes it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import MultiPolygon, Polygon
from shapely.geometry.base import BaseGeometry

from roofmodel.snow.regions import Plan, polygonal
from roofmodel.snow.sharing import GRID
from roofmodel.surface import RoofSurface

Array = NDArray[np.float64]

LEVEL = 1e-3  # what stands higher by less is as high [m]
DUST = 1e-4  # what covers less of a patch is rounding [m^2]


@dataclass(frozen=True)
class Heights:
    """Planes on plan and how high they stand.

    Attributes
    ----------
    polygon : (p,) shapely Polygon
        [m]
    law : (p, 3) float
        a, b, c of the height a + b x + c y. [m, -, -]
    most : (p,) float
        The highest corner of each. [m]
    """

    polygon: NDArray[np.object_]
    law: Array
    most: Array


def plane_heights(roof: RoofSurface, plan: Plan) -> Heights:
    """Heights of all planes, local roof coordinates."""
    planes = roof.planes
    slope = -planes.normal[:, :2] / planes.normal[:, 2:]
    law = np.column_stack([planes.origin[:, 2] - np.sum(slope * planes.origin[:, :2], axis=1), slope])
    polygon = np.array(plan.polygon, dtype=object)
    place, owner = shapely.get_coordinates(polygon, return_index=True)
    most = np.full(len(polygon), -np.inf)
    np.maximum.at(most, owner, law[owner, 0] + np.sum(law[owner, 1:] * place, axis=1))
    return Heights(polygon, law, most)


def below_top(
    heights: Heights, shape: Polygon | MultiPolygon, foot: BaseGeometry, top: float, but: int = -1
) -> Polygon | MultiPolygon | None:
    """What of a drift's patch the roof leaves: nothing where it stands higher than the wall, nor behind that.

    Parameters
    ----------
    heights : Heights
    shape : shapely Polygon or MultiPolygon
        The patch on plan; the roof need not cover all of it. [m]
    foot : shapely geometry
        Where the drift begins. [m]
    top : float
        Height of the top of the wall. [m]
    but : int
        A plane that ends nothing: the standards draw the drift on it whole.

    Returns
    -------
    shapely Polygon, MultiPolygon or None
        The same object where nothing stands higher; None where nothing is left. The depth of snow on the
        higher roof is not taken off the wall, which is safe.
    """
    near = np.flatnonzero(shapely.intersects(heights.polygon, shape))
    tall = near[(heights.most[near] > top + LEVEL) & (near != but)]
    if not len(tall):
        return shape
    above = {int(i): part for i in tall if (part := _above(heights, int(i), shape, top + LEVEL)) is not None}
    blocked = shapely.union_all([part for part in above.values() if part.area > DUST], grid_size=GRID)
    for i in near.tolist():  # lower roof below an overhanging one is drifted on all the same
        lower = heights.polygon[i]
        if i in above:
            lower = _solid(shapely.difference(lower, above[i], grid_size=GRID))
        if shapely.area(shapely.intersection(lower, blocked, grid_size=GRID)) > DUST:
            blocked = _solid(shapely.difference(blocked, lower, grid_size=GRID))
    if blocked.area <= DUST:
        return shape
    blocked = shapely.buffer(blocked, LEVEL, join_style="mitre")  # so that no slivers stay beside it
    left = polygonal(shapely.difference(shape, blocked, grid_size=GRID))
    if left is None:
        return None
    parts = shapely.get_parts(left)
    away = shapely.distance(parts, foot)
    return polygonal(shapely.union_all(parts[away <= away.min() + LEVEL], grid_size=GRID))


def _above(heights: Heights, plane: int, shape: BaseGeometry, top: float) -> BaseGeometry | None:
    """What of a patch lies on a plane where that is higher than the top."""
    common = polygonal(shapely.intersection(heights.polygon[plane], shape, grid_size=GRID))
    law = heights.law[plane]
    steep = float(np.hypot(law[1], law[2]))
    if common is None or steep < 1e-9:
        return common
    uphill = law[1:] / steep
    along = np.array([-uphill[1], uphill[0]])
    center = np.array(common.centroid.coords[0])
    line = center + (top - law[0] - law[1:] @ center) / steep * uphill  # where the plane is at the top
    reach = 2.0 * shapely.minimum_bounding_radius(common) + np.linalg.norm(line - center) + 1.0
    ring = [line - reach * along, line + reach * along]
    half = Polygon([*ring, ring[1] + 2.0 * reach * uphill, ring[0] + 2.0 * reach * uphill])
    return polygonal(shapely.intersection(common, half, grid_size=GRID))


def _solid(shape: BaseGeometry) -> Polygon | MultiPolygon:
    return polygonal(shape) or Polygon()
