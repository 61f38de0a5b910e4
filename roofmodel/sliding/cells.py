"""The sliding mesh: trapezoids whose sides follow the fall line, cut at every row.

Each plane is divided into strips along its fall line. Strip sides carry no flow, so what a strip collects
leaves through its lower end, exactly. Strips are cut at rows and at level lines, the latter only to keep
cells compact for pictures, friction and contours.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import partial
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from roofmodel.counting import within
from roofmodel.layout import Layout
from roofmodel.memory import Memory, recall
from roofmodel.surface import Planes, RoofSurface
from roofmodel.upper_faces import Faces, upper_faces

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]

MERGE = 1e-7  # breaks closer than this are one [m]
CELL_LIMIT = 60_000  # cells wanted at most; larger roofs get wider strips than asked for

OUTLINE, ROW, LEVEL, GLASS, FACE = 0, 1, 2, 3, 4


@dataclass(frozen=True)
class Cells:
    """Trapezoids of all planes, sorted by plane, strip, and height.

    Attributes
    ----------
    plane : (n,) int
    corners : (n, 4, 2) float
        Lower left, lower right, upper right, upper left in the plane's (u, v). [m]
    lower_row : (n,) int
        Row that bounds the cell below, -1 for none.
    lower_face : (n,) int
        Box or array whose upper face bounds the cell below (see `obstructions.Faces`), -1 for none.
    array : (n,) int
        Solar array on whose glass the cell lies, -1 for none.
    lower_edge, upper_edge : (n,) int
        Roof edge that bounds the cell below or above, -1 for none.
    below : (n,) int
        Cell next down the same strip where only a level line or the face of a box lies between, else -1.
    beyond : (n,) int
        Cell next down the same strip on the far side of a hole or notch, else -1.
    true_area, plan_area : (n,) float
        [m^2]
    plan : (n,) shapely Polygon
        Plan outlines. [m]
    """

    plane: IntArray
    corners: Array
    lower_row: IntArray
    lower_face: IntArray
    array: IntArray
    lower_edge: IntArray
    upper_edge: IntArray
    below: IntArray
    beyond: IntArray
    true_area: Array
    plan_area: Array
    plan: NDArray[np.object_]

    @property
    def count(self) -> int:
        """Number of cells."""
        return len(self.plane)


@dataclass(frozen=True)
class _Segments:
    """Candidate cell bounds on one plane: (k, 2, 2) ends with rising u, what they are, and whose."""

    ends: Array
    kind: IntArray
    row: IntArray
    extra: Array  # more strip bounds


def build_cells(
    roof: RoofSurface, layout: Layout, strip_width: float, marks: list[Array], memory: Memory | None = None
) -> Cells:
    """Divide every plane into fall-line trapezoids.

    Parameters
    ----------
    roof : RoofSurface
    layout : Layout
        Rows that cut the mesh.
    strip_width : float
        Widest strip. [m] Widened on very large roofs so that `CELL_LIMIT` is about kept.
    marks : list of (k,) float
        Further strip bounds of each plane, of `strip_marks`. [m]
    memory : Memory, optional
        Keeps the cells of planes whose rows do not move.

    Returns
    -------
    Cells
    """
    faces = upper_faces(roof)
    area = float(roof.planes.true_area.sum())
    width = max(strip_width, np.sqrt(area / (2.0 * CELL_LIMIT)))
    parts = [
        recall(
            memory,
            ("cells", width, plane_key(layout, plane, marks[plane])),
            partial(_plane_part, roof, layout, faces, plane, (width, marks[plane])),
        )
        for plane in range(roof.planes.count)
    ]
    return _join(parts, layout, roof.planes)


def plane_key(layout: Layout, plane: int, marks: Array) -> tuple[int, bytes, bytes, bytes]:
    """What a plane's cells depend on beside the roof: the places of its rows and clamps, strip marks."""
    rows = np.flatnonzero(layout.row_plane == plane)
    clamps = layout.clamp_uv[layout.row_plane[layout.clamp_row] == plane]
    ends = np.stack([layout.row_start[rows], layout.row_end[rows]])
    return plane, ends.tobytes(), clamps.tobytes(), marks.tobytes()


def _plane_part(
    roof: RoofSurface, layout: Layout, faces: Faces, plane: int, strips: tuple[float, Array]
) -> dict[str, Any]:
    """Cells of one plane with their outlines on plan; strips by width and marks, rows as counted on it."""
    part = _plane_cells(roof, layout, faces, plane, strips)
    ring = part["corners"][:, [0, 1, 2, 3, 0]]
    world = roof.planes.to_world(plane, ring.reshape(-1, 2)).reshape(-1, 5, 3)
    return {**part, "plan": np.asarray(shapely.polygons(world[..., :2]))}


def _plane_cells(
    roof: RoofSurface, layout: Layout, faces: Faces, plane: int, strips: tuple[float, Array]
) -> dict[str, Array]:
    width, marks = strips
    segments = _plane_segments(roof, layout, faces, plane, 2.0 * width)
    segments = replace(segments, extra=np.append(segments.extra, marks))
    breaks = _breaks(roof, layout, segments, plane, width)
    which, interval, v0, v1 = _drop_crossed_levels(segments, len(breaks) - 1, *_cut(segments, breaks))
    middle = 0.5 * (v0 + v1) + np.where(segments.kind[which] == ROW, MERGE, 0.0)
    order = np.lexsort((middle, interval))
    which, interval, v0, v1 = which[order], interval[order], v0[order], v1[order]
    crossings = np.cumsum(segments.kind[which] == OUTLINE)
    inside = crossings % 2 == 1
    low = np.flatnonzero(inside[:-1] & (interval[:-1] == interval[1:]))
    u0, u1 = breaks[interval[low]], breaks[interval[low] + 1]
    corners = np.stack(
        [
            np.stack([u0, v0[low]], -1),
            np.stack([u1, v1[low]], -1),
            np.stack([u1, np.maximum(v1[low + 1], v1[low])], -1),
            np.stack([u0, np.maximum(v0[low + 1], v0[low])], -1),
        ],
        axis=1,
    )
    keep = _area(corners) > MERGE * (u1 - u0)
    # A level line that touches the outline or a row bounds nothing: the line behind it does.
    is_level = segments.kind == LEVEL
    adjoining = low[1:] == low[:-1] + 1
    empty_below = np.r_[False, ~keep[:-1] & adjoining] & is_level[which[low]]
    empty_above = np.r_[~keep[1:] & adjoining, False] & is_level[which[low + 1]]
    lower, upper = which[low - empty_below], which[low + 1 + empty_above]
    corners, lower, upper = corners[keep], lower[keep], upper[keep]
    kept_low = low[keep]
    stacked = np.r_[False, kept_low[1:] == kept_low[:-1] + 1] & (segments.kind[lower] == LEVEL)
    same_strip = np.r_[False, np.diff(interval[kept_low]) == 0]
    # A face lies inside the outline: what comes next down its strip lies right below it.
    stacked |= same_strip & (segments.kind[lower] >= GLASS)
    gap = same_strip & (segments.kind[lower] == OUTLINE)
    before = np.arange(len(corners)) - 1
    row = np.where(segments.kind == ROW, segments.row, -1)
    face = np.where(segments.kind == FACE, segments.row, -1)
    return {
        "plane": np.full(len(corners), plane),
        "corners": corners,
        "lower_row": row[lower],
        "lower_face": face[lower],
        "array": _glass_under(roof, plane, corners.mean(axis=1)),
        "lower_edge": _edge_under(roof, plane, corners[:, :2], segments.kind[lower] == OUTLINE),
        "upper_edge": _edge_under(roof, plane, corners[:, 3:1:-1], segments.kind[upper] == OUTLINE),
        "below": np.where(stacked, before, -1),
        "beyond": np.where(gap, before, -1),
    }


def _plane_segments(roof: RoofSurface, layout: Layout, faces: Faces, plane: int, height: float) -> _Segments:
    outline = roof.planes.outline[plane]
    rings = [np.asarray(ring.coords) for ring in (outline.exterior, *outline.interiors)]
    edges = np.concatenate([np.stack([ring[:-1], ring[1:]], axis=1) for ring in rings])
    rows = np.flatnonzero(layout.row_plane == plane)
    row_ends = np.stack([layout.row_start[rows], layout.row_end[rows]], axis=1).reshape(-1, 2, 2)
    u_low, v_low, u_high, v_high = outline.bounds
    count = max(int(np.ceil((v_high - v_low) / height)), 1)
    levels = np.linspace(v_low, v_high, count + 1)[1:-1]
    level_ends = np.stack(
        [
            np.stack([np.full_like(levels, u_low), levels], -1),
            np.stack([np.full_like(levels, u_high), levels], -1),
        ],
        axis=1,
    )
    boxes = np.flatnonzero(faces.plane == plane)
    on = np.flatnonzero(roof.arrays.plane == plane)
    # Both ends of the glass; only the upper one is a face, and only where snow may lean on it.
    glass = roof.arrays.corners[on][:, [[3, 2], [0, 1]]].reshape(-1, 2, 2)
    ends = np.concatenate([edges, row_ends, level_ends, glass, faces.ends[boxes]])
    number = [len(edges), len(rows), len(levels), len(glass), len(boxes)]
    kind = np.repeat([OUTLINE, ROW, LEVEL, GLASS, FACE], number)
    row = np.full(len(ends), -1)
    row[kind == ROW] = np.arange(len(rows))
    row[kind == FACE] = boxes
    flipped = ends[:, 0, 0] > ends[:, 1, 0]
    ends[flipped] = ends[flipped, ::-1]
    return _Segments(ends, kind, row, faces.sides[boxes].ravel())


def _breaks(roof: RoofSurface, layout: Layout, segments: _Segments, plane: int, width: float) -> Array:
    """Strip bounds: every corner, every end of a neighbor or row, every clamp, and enough between."""
    touching = np.any(roof.edges.plane == plane, axis=1)
    corners = np.concatenate([roof.edges.start[touching], roof.edges.end[touching]])
    clamps = layout.clamp_uv[layout.row_plane[layout.clamp_row] == plane, 0]
    ends = np.append(segments.ends[..., 0].ravel(), segments.extra)
    u = np.concatenate([ends, roof.planes.to_plane(plane, corners)[:, 0], clamps])
    u = np.sort(np.clip(u, *roof.planes.outline[plane].bounds[0:3:2]))
    u = u[np.r_[True, np.diff(u) > MERGE]]
    pieces = np.maximum(np.ceil(np.diff(u) / width - 1e-9).astype(int), 1)
    first = np.repeat(u[:-1], pieces)
    step = np.repeat(np.diff(u) / pieces, pieces)
    index = within(pieces)
    return np.append(first + index * step, u[-1])


def _cut(segments: _Segments, breaks: Array) -> tuple[IntArray, IntArray, Array, Array]:
    """Every piece of a segment within a strip: segment, strip, v at the strip's left and right."""
    # The bound at or below an end is the one it was merged into; the segment runs between those of its ends:
    # an edge a hair off the fall line (files round coordinates) is not carried on beyond its corner.
    place = np.searchsorted(breaks, segments.ends[..., 0], side="right") - 1
    low, high = np.clip(place, 0, len(breaks) - 1).T
    count = np.maximum(high - low, 0)
    which = np.repeat(np.arange(len(count)), count)
    interval = within(count) + low[which]
    v, u = segments.ends[which, :, 1], breaks[low[which]]
    slope = (v[:, 1] - v[:, 0]) / (breaks[high[which]] - u)
    v0 = v[:, 0] + slope * (breaks[interval] - u)
    v1 = v[:, 0] + slope * (breaks[interval + 1] - u)
    return which, interval, v0, v1


def _drop_crossed_levels(
    segments: _Segments, strips: int, which: IntArray, interval: IntArray, v0: Array, v1: Array
) -> tuple[IntArray, IntArray, Array, Array]:
    """Leave out level lines in strips where a row or the outline crosses them."""
    levels = np.flatnonzero(segments.kind == LEVEL)
    if not len(levels):
        return which, interval, v0, v1
    height = segments.ends[levels, 0, 1]
    firm = segments.kind[which] != LEVEL
    low = np.searchsorted(height, np.minimum(v0, v1)[firm], side="right")
    high = np.searchsorted(height, np.maximum(v0, v1)[firm], side="left")
    crossed = np.zeros((strips, len(levels) + 1), dtype=np.int64)
    np.add.at(crossed, (interval[firm], low), 1)
    np.add.at(crossed, (interval[firm], np.maximum(high, low)), -1)
    number = np.searchsorted(levels, which)
    keep = firm.copy()
    keep[~firm] = np.cumsum(crossed, axis=1)[interval[~firm], number[~firm]] == 0
    return which[keep], interval[keep], v0[keep], v1[keep]


def _edge_under(roof: RoofSurface, plane: int, ends: Array, wanted: NDArray[np.bool_]) -> IntArray:
    """Roof edge nearest to the middle of each cell bound (n, 2, 2), -1 where not wanted."""
    result = np.full(len(ends), -1)
    edges = np.flatnonzero(np.any(roof.edges.plane == plane, axis=1))
    if not wanted.any() or not len(edges):
        return result
    start = roof.planes.to_plane(plane, roof.edges.start[edges])
    end = roof.planes.to_plane(plane, roof.edges.end[edges])
    lines = np.asarray(shapely.linestrings(np.stack([start, end], axis=1)))
    middle = shapely.points(ends[wanted].mean(axis=1))
    tree = shapely.STRtree(lines)
    result[wanted] = edges[tree.nearest(middle)]
    return result


def _glass_under(roof: RoofSurface, plane: int, middle: Array) -> IntArray:
    """Array over each point (n, 2) of a plane, -1 for none."""
    result = np.full(len(middle), -1)
    for array in np.flatnonzero(roof.arrays.plane == plane):
        low, high = roof.arrays.low[array], roof.arrays.high[array]
        result[np.all((middle > low) & (middle < high), axis=1)] = array
    return result


def _area(corners: Array) -> Array:
    width = corners[:, 1, 0] - corners[:, 0, 0]
    left = corners[:, 3, 1] - corners[:, 0, 1]
    right = corners[:, 2, 1] - corners[:, 1, 1]
    return 0.5 * width * (left + right)


def _join(parts: list[dict[str, Any]], layout: Layout, planes: Planes) -> Cells:
    offset = np.cumsum([0, *(len(part["plane"]) for part in parts)])[:-1]
    joined = {key: np.concatenate([part[key] for part in parts]) for key in parts[0]}
    start = np.repeat(offset, [len(part["plane"]) for part in parts])
    plane = joined["plane"]
    area = _area(joined["corners"])
    rows = np.argsort(layout.row_plane, kind="stable")
    first = np.searchsorted(layout.row_plane[rows], plane)
    lower = np.append(rows, -1)[np.where(joined["lower_row"] >= 0, first + joined["lower_row"], -1)]
    return Cells(
        plane=plane,
        corners=joined["corners"],
        lower_row=lower,
        lower_face=joined["lower_face"],
        array=joined["array"],
        lower_edge=joined["lower_edge"],
        upper_edge=joined["upper_edge"],
        below=np.where(joined["below"] >= 0, joined["below"] + start, -1),
        beyond=np.where(joined["beyond"] >= 0, joined["beyond"] + start, -1),
        true_area=area,
        plan_area=area * np.cos(planes.slope[plane]),
        plan=joined["plan"],
    )


def aside(cells: Cells, faces: Faces) -> tuple[IntArray, IntArray, Array]:
    """Cells beside the faces that take what parts there: face, cell, share.

    Parameters
    ----------
    cells : Cells
    faces : Faces

    Returns
    -------
    face, cell : (k,) int
    share : (k,) float
        Of what arrives at the face; each side takes half of what parts, evenly over its width, or all of it
        where the plane has only one side.
    """
    parts: list[tuple[IntArray, IntArray, Array]] = []
    low_u, high_u = cells.corners[:, 0, 0], cells.corners[:, 1, 0]
    foot, top = cells.corners[:, :2, 1].mean(axis=1), cells.corners[:, 2:, 1].mean(axis=1)
    for face in range(faces.count):
        height = float(faces.ends[face, :, 1].mean())
        level = (cells.plane == faces.plane[face]) & (foot <= height) & (height < top)
        found = []
        for low, high in faces.sides[face]:
            width = np.where(level, np.minimum(high_u, high) - np.maximum(low_u, low), 0.0)
            beside = np.flatnonzero(width > 1e-9)
            if len(beside):
                found.append((beside, width[beside] / width[beside].sum()))
        parts += [
            (np.full(len(cell), face), cell, faces.parted[face] * share / len(found)) for cell, share in found
        ]
    if not parts:
        empty = np.zeros(0, dtype=np.int64)
        return empty, empty, np.zeros(0)
    return (
        np.concatenate([p[0] for p in parts]),
        np.concatenate([p[1] for p in parts]),
        np.concatenate([p[2] for p in parts]),
    )
