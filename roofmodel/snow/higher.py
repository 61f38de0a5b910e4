"""Where a drift ends because the roof stands higher than the top of the wall that makes it."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import MultiPolygon, Polygon
from shapely.geometry.base import BaseGeometry

from roofmodel.snow.envelope import above_zero, solid
from roofmodel.snow.regions import Plan, polygonal
from roofmodel.snow.sharing import GRID
from roofmodel.surface import RoofSurface

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]

LEVEL = 1e-3  # what stands higher by less is as high [m]
# What begins so far beyond the foot of a drift lies behind what blocks it: all but the thinnest slices begin
# nearer, though what blocks them is widened by a hair. [m]
AT_FOOT = 0.1
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

    @cached_property
    def box(self) -> Array:
        """Bounds on plan (p, 4). [m]."""
        return np.asarray(shapely.bounds(self.polygon))


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
    heights, shape, top, but
        As `blocking`.
    foot : shapely geometry
        Where the drift begins. [m]

    Returns
    -------
    shapely Polygon, MultiPolygon or None
        The same object where nothing stands higher; None where nothing is left. The depth of snow on the
        higher roof is not taken off the wall, which is safe.
    """
    blocked = blocking(heights, shape, top, but)
    return shape if blocked is None else up_to(blocked, shape, foot)


def blocking(
    heights: Heights, shape: Polygon | MultiPolygon, top: float, but: int = -1
) -> BaseGeometry | None:
    """Where roof stands higher than a wall's top on a drift's patch; None where it does nowhere.

    Parameters
    ----------
    heights : Heights
    shape : shapely Polygon or MultiPolygon
        The patch on plan; the roof need not cover all of it. [m]
    top : float
        Height of the top of the wall. [m]
    but : int
        A plane that ends nothing: the standards draw the drift on it whole.
    """
    low, high = np.array(shapely.bounds(shape)).reshape(2, 2)
    near = np.flatnonzero(((heights.box[:, :2] <= high) & (heights.box[:, 2:] >= low)).all(axis=1))
    tall = near[(heights.most[near] > top + LEVEL) & (near != but)]
    tall = tall[shapely.intersects(heights.polygon[tall], shape)]
    if not len(tall):
        return None
    above = _above(heights, tall, shape, top + LEVEL)
    blocked = _solid(shapely.union_all(above[shapely.area(above) > DUST], grid_size=GRID))
    lower = heights.polygon[near]
    own = np.isin(near, tall)
    lower[own] = shapely.difference(lower[own], above, grid_size=GRID)
    # Lower roof below an overhanging one is drifted on all the same.
    under = np.flatnonzero(shapely.area(shapely.intersection(lower, blocked, grid_size=GRID)) > DUST)
    for k in under.tolist():
        blocked = _solid(shapely.difference(blocked, lower[k], grid_size=GRID))
    # Wider by a hair, so that no slivers stay beside it.
    return shapely.buffer(blocked, LEVEL, join_style="mitre") if blocked.area > DUST else None


def up_to(
    blocked: BaseGeometry, shape: Polygon | MultiPolygon, foot: BaseGeometry
) -> Polygon | MultiPolygon | None:
    """What of a patch lies before what blocks it, seen from its foot."""
    left = polygonal(shapely.difference(shape, blocked, grid_size=GRID))
    if left is None:
        return None
    parts = shapely.get_parts(left)
    away = shapely.distance(parts, foot)
    if away.min() > shapely.distance(shape, foot) + AT_FOOT:
        return None
    return polygonal(shapely.union_all(parts[away <= away.min() + LEVEL], grid_size=GRID))


def _above(heights: Heights, plane: IntArray, shape: BaseGeometry, top: float) -> NDArray[np.object_]:
    """What of a patch lies on planes (n,) where they are higher than the top, (n,)."""
    common = solid(shapely.intersection(heights.polygon[plane], shape, grid_size=GRID))
    law = heights.law[plane] - np.array([top, 0.0, 0.0])
    some = np.flatnonzero(~shapely.is_empty(common))
    low, high = _range_on(common[some], law[some])
    common[some[high <= 0.0]] = Polygon()
    part = some[(low < 0.0) & (high > 0.0)]
    common[part] = above_zero(common[part], law[part])
    return common


def _range_on(shapes: NDArray[np.object_], law: Array) -> tuple[Array, Array]:
    """Least and greatest value (n,), (n,) of linear functions (n, 3) on shapes."""
    if not len(shapes):
        return np.zeros(0), np.zeros(0)
    corners, owner = shapely.get_coordinates(shapes, return_index=True)
    value = law[owner, 0] + np.sum(law[owner, 1:] * corners, axis=1)
    start = np.searchsorted(owner, np.arange(len(shapes)))
    return np.minimum.reduceat(value, start), np.maximum.reduceat(value, start)


def _solid(shape: BaseGeometry) -> Polygon | MultiPolygon:
    return polygonal(shape) or Polygon()
