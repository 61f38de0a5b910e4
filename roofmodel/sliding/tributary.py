"""A second road to the row forces: polygons instead of cells, for the audit and for hand checks."""

from __future__ import annotations

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import Polygon
from shapely.geometry.base import BaseGeometry

from roofmodel.layout import Layout
from roofmodel.shape.envelopes import areal
from roofmodel.sliding.thrust import RowForce
from roofmodel.snow.cases import SnowCase, case_pressure_at, linear_integral
from roofmodel.snow.sharing import GRID
from roofmodel.surface import RoofSurface
from roofmodel.units import STANDARD_GRAVITY

Array = NDArray[np.float64]

JUST_ABOVE = 0.02  # where the depth at a row is read, up the slope from it [m]


def row_catchment(roof: RoofSurface, layout: Layout, row: int) -> BaseGeometry:
    """Part of its own plane that slides onto a row, in (u, v).

    What lies straight up the fall line from the rail, less what higher rows of the plane catch and less
    what a higher outline edge sends elsewhere.

    Parameters
    ----------
    roof : RoofSurface
    layout : Layout
    row : int

    Returns
    -------
    shapely geometry
        [m]
    """
    plane = int(layout.row_plane[row])
    outline = roof.planes.outline[plane]
    top = outline.bounds[3] + 1.0

    def above(start: Array, end: Array) -> Polygon:
        corners = np.array([start, end, (end[0], top), (start[0], top)])
        return Polygon(corners)

    own = above(layout.row_start[row], layout.row_end[row])
    region = areal(shapely.intersection(outline, own, grid_size=GRID))
    middle = 0.5 * (layout.row_start + layout.row_end)
    for other in np.flatnonzero(layout.row_plane == plane):
        start, end = layout.row_start[other], layout.row_end[other]
        rate = (layout.row_end[row] - layout.row_start[row]) / layout.row_length[row]
        line = layout.row_start[row][1] + rate[1] / rate[0] * (middle[other, 0] - layout.row_start[row][0])
        if other != row and middle[other, 1] > line:
            region = areal(shapely.difference(region, above(start, end), grid_size=GRID))
    shades = [above(start, end) for start, end in _edges_above(roof, layout, row)]
    return shapely.difference(region, shapely.union_all(shades), grid_size=GRID)


def _edges_above(roof: RoofSurface, layout: Layout, row: int) -> Array:
    """Pieces (k, 2, 2) of the outline over a row that send what lies above them to another plane."""
    plane = int(layout.row_plane[row])
    outline = shapely.geometry.polygon.orient(roof.planes.outline[plane])
    rings = [np.asarray(ring.coords) for ring in (outline.exterior, *outline.interiors)]
    sides = np.concatenate([np.stack([ring[:-1], ring[1:]], axis=1) for ring in rings])
    sides = sides[sides[:, 1, 0] > sides[:, 0, 0]]  # the plane lies to the left, that is above
    touching = np.flatnonzero(np.any(roof.edges.plane == plane, axis=1))
    ends = np.stack([roof.edges.start[touching], roof.edges.end[touching]], axis=1)
    ends = roof.planes.to_plane(plane, ends.reshape(-1, 3)).reshape(-1, 2, 2)
    lines = np.asarray(shapely.linestrings(ends))
    start, end = layout.row_start[row], layout.row_end[row]
    breaks = np.unique(np.concatenate([ends[..., 0].ravel(), [start[0], end[0]]]))
    pieces = []
    for left, right in sides:
        u = np.r_[left[0], breaks[(breaks > left[0]) & (breaks < right[0])], right[0]]
        points = np.stack([u, np.interp(u, [left[0], right[0]], [left[1], right[1]])], axis=1)
        pieces.append(np.stack([points[:-1], points[1:]], axis=1))
    found = np.concatenate(pieces)
    middle = found.mean(axis=1)
    nearest = shapely.STRtree(lines).nearest(shapely.points(middle))
    line = start[1] + (end[1] - start[1]) / (end[0] - start[0]) * (middle[:, 0] - start[0])
    over = (middle[:, 0] > start[0]) & (middle[:, 0] < end[0]) & (middle[:, 1] > line)
    return found[(roof.edges.plane[touching[nearest], 1] >= 0) & over]


def row_polygon_force(
    roof: RoofSurface, layout: Layout, case: SnowCase, row: int, friction: float = 0.0
) -> float:
    """Sliding force on a row from its own plane by polygon integrals. [N].

    Parameters
    ----------
    roof, layout : RoofSurface, Layout
    case : SnowCase
    row : int
    friction : float
        Coefficient, 0 on glass; exact where friction nowhere stops the snow. [-]
    """
    plane = int(layout.row_plane[row])
    parts = shapely.get_parts(row_catchment(roof, layout, row))
    plan = [_to_plan(roof, plane, part) for part in parts if isinstance(part, Polygon)]
    region = shapely.union_all(plan)
    zones = [zone for zone in case.zones if zone.plane == plane]
    if not zones:
        return 0.0
    glass = shapely.union_all(
        [
            _to_plan(roof, plane, shapely.box(*roof.arrays.low[k], *roof.arrays.high[k]))
            for k in np.flatnonzero(roof.arrays.plane == plane)
        ]
    )
    polygons = np.array([zone.polygon for zone in zones], dtype=object)
    pressure = np.array([zone.pressure for zone in zones])
    slope, total = roof.planes.slope[plane], 0.0
    for part, held in (
        (shapely.difference(region, glass), friction),
        (shapely.intersection(region, glass), 0.0),
    ):
        vertical = linear_integral(shapely.intersection(polygons, part, grid_size=GRID), pressure).sum()
        total += float(vertical) * max(np.sin(slope) - held * np.cos(slope), 0.0)
    return total


def _to_plan(roof: RoofSurface, plane: int, polygon: Polygon) -> Polygon:
    rings = [
        roof.planes.to_world(plane, np.asarray(ring.coords))[:, :2]
        for ring in (polygon.exterior, *polygon.interiors)
    ]
    return Polygon(rings[0], rings[1:])


def clamp_shares(layout: Layout, force: RowForce) -> Array:
    """Tributary force of every clamp: the row's thrust from half span to half span. [N].

    Parameters
    ----------
    layout : Layout
    force : RowForce

    Returns
    -------
    (q, c) float
        Down the slope; rail ends go to the end clamps.
    """
    bounds = _tributary_bounds(layout)
    reach = float(layout.row_length.max()) + 1.0
    key_low = layout.clamp_row * reach + bounds[:, 0]
    key_high = layout.clamp_row * reach + bounds[:, 1]
    station = force.row * reach
    knots = np.stack([station + force.span[:, 0], station + force.span[:, 1]], axis=1).ravel()
    total = np.cumsum(-force.thrust[..., 1], axis=1)
    before = np.concatenate([np.zeros((len(total), 1)), total[:, :-1]], axis=1)
    values = np.stack([before, total], axis=2).reshape(len(total), -1)
    return np.array([np.interp(key_high, knots, v) - np.interp(key_low, knots, v) for v in values])


def _tributary_bounds(layout: Layout) -> Array:
    """Ends of each clamp's stretch of rail, (c, 2). [m]."""
    s, row = layout.clamp_s, layout.clamp_row
    middle = 0.5 * (s[1:] + s[:-1])
    low, high = np.zeros(len(s)), layout.row_length[row].copy()
    same = row[1:] == row[:-1]
    low[1:][same] = middle[same]
    high[:-1][same] = middle[same]
    return np.stack([low, high], axis=1)


def row_depths(roof: RoofSurface, layout: Layout, force: RowForce, case: SnowCase) -> Array:
    """Largest snow depth square to the roof just above each row, (r,). [m].

    Deeper snow farther up, such as a drift at a wall, counts where it lies, not at the row.

    Depth is pressure over density and gravity, vertical, times cos(slope); the density is the lightest of
    the case.
    """
    plane = layout.row_plane[force.row]
    start = layout.row_start[force.row]
    way = (layout.row_end - layout.row_start) / layout.row_length[:, None]
    uv = start + force.span.mean(axis=1)[:, None] * way[force.row] + np.array([0.0, JUST_ABOVE])
    pressure = case_pressure_at(case, roof.planes.to_world(plane, uv)[:, :2], plane)
    depth = pressure / (case.density * STANDARD_GRAVITY) * np.cos(roof.planes.slope[plane])
    out = np.zeros(len(layout.row_name))
    np.maximum.at(out, force.row, depth)
    return out
