"""An upright plane through the roof: what it cuts, and its place on a drawing."""

from __future__ import annotations

from dataclasses import dataclass
from functools import partial

import numpy as np
import shapely
from numpy.typing import NDArray

from fea.analysis import Analysis
from roofmodel.surface import RoofSurface

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]

WIDTH, LEFT, RIGHT = 760.0, 70.0, 30.0
DEEPEST = 230.0  # height of the drawn roof at most [px]


@dataclass(frozen=True)
class RoofCut:
    """What an upright plane cuts out of the roof.

    Attributes
    ----------
    origin, way : (2,) float
        Point on plan and level unit vector; t runs from the point along the vector. [m]
    plane : (n,) int
        Plane of each piece.
    t, z : (n, 2) float
        Ends of the pieces, t rising. [m]
    """

    origin: Array
    way: Array
    plane: IntArray
    t: Array
    z: Array


@dataclass(frozen=True)
class Frame:
    """Scale and place of a cut on a drawing; `base` is the height of the lowest eave [px]."""

    cut: RoofCut
    scale: float
    left: float
    base: float

    def at(self, t: Array | float, z: Array | float) -> Array:
        """Drawing points (..., 2) of points of the cut."""
        x = self.left + self.scale * (np.asarray(t, dtype=float) - self.cut.t.min())
        return np.stack([x, self.base - self.scale * (np.asarray(z) - self.cut.z.min())], axis=-1)

    def of(self, xyz: Array) -> Array:
        """Drawing points (..., 2) of roof points (..., 3)."""
        return self.at((xyz[..., :2] - self.cut.origin) @ self.cut.way, xyz[..., 2])


def roof_cut(roof: RoofSurface, origin: Array, way: Array) -> RoofCut:
    """Cut the roof along a line on plan.

    Parameters
    ----------
    roof : RoofSurface
    origin, way : (2,) float
        Point and level unit vector. [m]
    """
    planes, reach = roof.planes, 2.0 * float(np.ptp(roof.points[:, :2], axis=0).sum()) + 1.0
    line = shapely.linestrings(np.stack([origin - reach * way, origin + reach * way]))
    found, owner = [np.zeros((0, 2, 2))], list[int]()
    for number, outline in enumerate(planes.outline):
        plan = shapely.transform(outline, partial(_on_plan, roof, number))
        parts = shapely.get_parts(shapely.intersection(line, plan.buffer(0.0)))
        parts = parts[(shapely.get_type_id(parts) == 1) & (shapely.length(parts) > 1e-3)]
        ends = [shapely.get_coordinates(shapely.get_point(parts, end)) for end in (0, -1)]
        found.append(np.stack(ends, axis=1))
        owner += [number] * len(parts)
    plane = np.array(owner, dtype=np.int64)
    t = np.sort((np.concatenate(found) - origin) @ way, axis=1)
    xy = origin + t[..., None] * way
    normal, start = planes.normal[plane][:, None], planes.origin[plane][:, None]
    z = start[..., 2] - np.sum((xy - start[..., :2]) * normal[..., :2], axis=-1) / normal[..., 2]
    order = np.argsort(t[:, 0], kind="stable")
    return RoofCut(origin, way, plane[order], t[order], z[order])


def _on_plan(roof: RoofSurface, plane: int, uv: Array) -> Array:
    return roof.planes.to_world(plane, uv)[:, :2]


def cut_through(analysis: Analysis, plane: int, clamp: int = -1) -> RoofCut:
    """Cut up the slope of a plane, through a clamp on it or else the middle of its longest row."""
    layout, planes = analysis.project.layout, analysis.project.roof.planes
    if clamp >= 0:
        uv = layout.clamp_uv[clamp]
    else:
        on = np.flatnonzero(layout.row_plane == plane)
        row = on[np.argmax(layout.row_length[on])]
        uv = 0.5 * (layout.row_start[row] + layout.row_end[row])
    outline = planes.outline[plane]
    inner = outline.buffer(-0.02)  # off the edge, where a cut would see the plane or not by rounding
    if inner.is_empty:
        uv = shapely.get_coordinates(outline.representative_point())[0]
    else:
        uv = shapely.get_coordinates(shapely.shortest_line(inner, shapely.Point(uv)))[0]
    way = planes.upslope[plane, :2] / np.linalg.norm(planes.upslope[plane, :2])
    return roof_cut(analysis.project.roof, planes.to_world(plane, uv[None])[0, :2], way)


def frame_of(cut: RoofCut, above: float) -> Frame:
    """Fit a cut into the drawing, with room of `above` over its highest point. [px]."""
    wide, tall = float(np.ptp(cut.t)), float(np.ptp(cut.z))
    scale = min((WIDTH - LEFT - RIGHT) / max(wide, 1e-9), DEEPEST / max(tall, 1e-9))
    left = LEFT + 0.5 * (WIDTH - LEFT - RIGHT - scale * wide)
    return Frame(cut, scale, left, above + scale * tall)
