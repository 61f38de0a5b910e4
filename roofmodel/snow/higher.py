"""Where a drift ends because the roof stands higher than the top of the wall that makes it."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import Polygon

from roofmodel.counting import within
from roofmodel.snow.envelope import above_zero, near_pairs, solid
from roofmodel.snow.regions import SLIVER, Plan, polygonal
from roofmodel.snow.sharing import GRID
from roofmodel.surface import RoofSurface

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]
Shapes = NDArray[np.object_]

LEVEL = 1e-3  # what stands higher by less is as high [m]
# What begins so far beyond the foot of a drift lies behind what blocks it: all but the thinnest slices begin
# nearer, though what blocks them is widened by a hair. [m]
AT_FOOT = 0.1
SMALL = 4.0  # what stands higher and is no wider, such as a dormer, hides nothing behind it (judgment) [m]
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

    polygon: Shapes
    law: Array
    most: Array

    @cached_property
    def tree(self) -> shapely.STRtree:
        """To find those near a patch."""
        return shapely.STRtree(self.polygon)

    @cached_property
    def over_each_other(self) -> tuple[IntArray, IntArray]:
        """Planes one above the other on plan, both ways (n,), (n,), sorted by the first."""
        pair = near_pairs(self.polygon, np.zeros(len(self.polygon), dtype=np.int64))
        one, other = self.polygon[pair].T
        common = shapely.intersection(one, other, grid_size=GRID)
        pair = pair[shapely.area(common) > DUST]
        both = np.concatenate([pair, pair[:, ::-1]])
        first, second = both[np.lexsort((both[:, 1], both[:, 0]))].T
        return first, second


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


def below_top(heights: Heights, shapes: Shapes, foot: Shapes, top: Array, but: IntArray) -> Shapes:
    """What of drifts' patches the roof leaves: nothing where it stands higher than the wall, nor behind that.

    Parameters
    ----------
    heights, shapes, top, but
        As `blocking`.
    foot : (n,) shapely geometry
        Where each drift begins. [m]

    Returns
    -------
    (n,) shapely Polygon, MultiPolygon or None
        The same object where nothing stands higher; None where nothing is left. The depth of snow on the
        higher roof is not taken off the wall, which is safe.
    """
    (blocked, hiding), left = blocking(heights, shapes, top, but), shapes.copy()
    some = np.flatnonzero(shapely.is_geometry(blocked))
    left[some] = up_to(blocked[some], hiding[some], shapes[some], foot[some])
    return left


def blocking(
    heights: Heights, shapes: Shapes, top: Array, but: IntArray | None = None
) -> tuple[Shapes, Shapes]:
    """Where roof stands higher than a wall's top on a drift's patch; None where it does nowhere.

    And what of that hides what lies behind it: snow blows around roof that is no wider than `SMALL`.

    Parameters
    ----------
    heights : Heights
    shapes : (n,) shapely Polygon or MultiPolygon
        The patches on plan; the roof need not cover all of them. [m]
    top : (n,) float
        Height of the top of each wall. [m]
    but : (n,) int, optional
        A plane that ends nothing: the standards draw the drift on it whole.

    Returns
    -------
    blocked, hiding : (n,) shapely geometry or None
        The same object where all of it hides.
    """
    patch, plane = heights.tree.query(shapes)
    tall = heights.most[plane] > top[patch] + LEVEL
    if but is not None:
        tall &= plane != but[patch]
    patch, plane = patch[tall], plane[tall]
    meet = shapely.intersects(heights.polygon[plane], shapes[patch])
    patch, plane = patch[meet], plane[meet]
    above = _above(heights, plane, shapes[patch], top[patch] + LEVEL)
    worth = shapely.area(above) > DUST
    patch, plane, above = patch[worth], plane[worth], above[worth]
    found = np.full(len(shapes), None, dtype=object)
    who = np.unique(patch)
    blocked = united(above, np.searchsorted(who, patch), len(who))
    blocked = _but_lower(heights, blocked, who, (patch, plane, above))
    stays = shapely.area(blocked) > DUST
    # Wider by a hair, so that no slivers stay beside it.
    found[who[stays]] = shapely.buffer(blocked[stays], LEVEL, join_style="mitre")
    hiding = found.copy()
    # What hides is as wide as the roof that stands higher is, on the patch and beside it.
    higher = _above(heights, plane, heights.polygon[plane], top[patch] + LEVEL)
    standing = united(higher, np.searchsorted(who, patch), len(who))
    parts, of = shapely.get_parts(standing, return_index=True)
    small = 2.0 * shapely.minimum_bounding_radius(parts) <= SMALL
    for k in np.unique(of[small]).tolist():
        if stays[k]:
            broad = shapely.union_all(parts[(of == k) & ~small])
            hiding[who[k]] = shapely.intersection(found[who[k]], shapely.buffer(broad, LEVEL))
    return found, hiding


def _but_lower(
    heights: Heights, blocked: Shapes, who: IntArray, tall: tuple[IntArray, IntArray, Shapes]
) -> Shapes:
    """What blocks (b,) the patches `who` (b,), but for lower roof below: that is drifted on all the same.

    `tall` are patches, planes that stand higher on them, and where (n,).
    """
    patch, plane, above = tall
    first, second = heights.over_each_other
    low, high = np.searchsorted(first, plane, "left"), np.searchsorted(first, plane, "right")
    times = high - low
    if not times.any():
        return blocked
    other = second[np.repeat(low, times) + within(times)]
    below = np.unique(np.stack([np.repeat(patch, times), other]), axis=1)
    lower = heights.polygon[below[1]]
    key = {(int(a), int(b)): k for k, (a, b) in enumerate(zip(patch, plane, strict=True))}
    own = [(k, key[pair]) for k, pair in enumerate(zip(*below.tolist(), strict=True)) if pair in key]
    if own:
        mine, its = np.array(own).T
        lower[mine] = shapely.difference(lower[mine], above[its], grid_size=GRID)
    at = np.searchsorted(who, below[0])
    under = shapely.area(shapely.intersection(lower, blocked[at], grid_size=GRID)) > DUST
    for k in np.unique(at[under]).tolist():
        gone = shapely.union_all(lower[under & (at == k)], grid_size=GRID)
        blocked[k] = polygonal(shapely.difference(blocked[k], gone, grid_size=GRID)) or Polygon()
    return blocked


def up_to(blocked: Shapes, hiding: Shapes, shapes: Shapes, foot: Shapes) -> Shapes:
    """What of patches (n,) lies before what hides the rest, seen from its foot; None where nothing does."""
    parts, owner = shapely.get_parts(shapely.difference(shapes, hiding, grid_size=GRID), return_index=True)
    whole = (shapely.get_type_id(parts) == shapely.GeometryType.POLYGON) & (shapely.area(parts) > SLIVER)
    parts, owner = parts[whole], owner[whole]
    away, nearest = shapely.distance(parts, foot[owner]), np.full(len(shapes), np.inf)
    np.minimum.at(nearest, owner, away)
    near = nearest <= shapely.distance(shapes, foot) + AT_FOOT
    stays = near[owner] & (away <= nearest[owner] + LEVEL)
    left = np.full(len(shapes), None, dtype=object)
    which, at, count = np.unique(owner[stays], return_index=True, return_counts=True)
    left[which] = parts[stays][at]
    several = which[count > 1]
    more = stays & np.isin(owner, several)
    left[several] = shapely.multipolygons(parts[more], indices=np.searchsorted(several, owner[more]))
    around = np.array([k for k in which if hiding[k] is not blocked[k]], dtype=np.int64)
    cut = shapely.difference(left[around], blocked[around], grid_size=GRID)
    left[around] = [polygonal(one) for one in cut]
    return left


def united(shapes: Shapes, owner: IntArray, count: int) -> Shapes:
    """Union (count,) of the polygons of each owner; each has one at least."""
    order = np.argsort(owner, kind="stable")
    times = np.bincount(owner, minlength=count)
    table = np.full((count, int(times.max(initial=0))), None, dtype=object)
    place = within(times)
    table[owner[order], place] = shapes[order]
    if not table.size:
        return np.zeros(0, dtype=object)
    return solid(np.asarray(shapely.union_all(table, axis=1, grid_size=GRID)))


def _above(heights: Heights, plane: IntArray, shapes: Shapes, top: Array) -> Shapes:
    """What of patches (n,) lies on planes (n,) where they are higher than the tops (n,)."""
    common = solid(shapely.intersection(heights.polygon[plane], shapes, grid_size=GRID))
    law = heights.law[plane]
    law[:, 0] -= top
    some = np.flatnonzero(~shapely.is_empty(common))
    low, high = _range_on(common[some], law[some])
    common[some[high <= 0.0]] = Polygon()
    part = some[(low < 0.0) & (high > 0.0)]
    common[part] = above_zero(common[part], law[part])
    return common


def _range_on(shapes: Shapes, law: Array) -> tuple[Array, Array]:
    """Least and greatest value (n,), (n,) of linear functions (n, 3) on shapes."""
    if not len(shapes):
        return np.zeros(0), np.zeros(0)
    corners, owner = shapely.get_coordinates(shapes, return_index=True)
    value = law[owner, 0] + np.sum(law[owner, 1:] * corners, axis=1)
    start = np.searchsorted(owner, np.arange(len(shapes)))
    return np.minimum.reduceat(value, start), np.maximum.reduceat(value, start)
