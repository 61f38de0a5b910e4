"""What an installer reads of each row: where it begins, its first seam, clamps, pieces of rail."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from roofmodel.layout import rail_lengths
from roofmodel.project.load import Project
from roofmodel.project.placement import left_reach
from viewer.package.bill import Bill, missing_of
from viewer.picture.scene import plane_seams

Array = NDArray[np.float64]

AT_END = 3e-3  # a rail this near to an edge begins there [m]
LEVEL = 1e-3  # difference in height of the ends of a level edge [m]
SHORT = 0.05  # of an eave, or of a row beyond it: too little to measure from [m]


def row_lines(project: Project, bill: Bill, plane: int, say: Callable[[float], str]) -> list[str]:
    """What an installer needs of every row of a plane: where it begins, its first seam, clamps, pieces.

    The distance from the plane's left end counts gaps of the plane too, as the project file's `start` does.
    """
    layout, missing = project.layout, missing_of(project).per_row
    piece_row, piece = rail_lengths(layout)
    _, before = seam_numbers(project, plane)
    lines = [
        "Heights of rows up the slope from the lowest edge of the plane, true length. "
        "Left ends of rails from the left end of the plane at the row's height; clamps from the rail's."
    ]
    if before is not None:
        lines[0] += " Seams count from the left."
    for row in np.flatnonzero(layout.row_plane == plane).tolist():
        reach, own = (left_reach(project.roof, layout, row, own=one) for one in (False, True))
        start = f"begins {say(reach)} from the left"
        if reach < AT_END:
            start = "begins at the left end"
        elif reach - own > AT_END:
            start += f", {say(own)} from" if own >= AT_END else ", at"
            start += " the edge beside it"
        corner = eave_corner(project, row)
        if corner is not None:
            beside = float(corner[0] - layout.row_start[row, 0])
            start += f", {say(beside)} left of straight up from the eave's left end"
        on = np.flatnonzero(layout.clamp_row == row)
        first = f"; first clamp on seam {layout.clamp_seam[on[0]] + before}" if before is not None else ""
        cut = " + ".join(say(float(length)) for length in piece[piece_row == row])
        lacks = int(missing[row])
        more = f" (TOO LONG: at least {lacks} more splice{'s' if lacks > 1 else ''})" if lacks else ""
        up = _heights(project, row, say)
        lines.append(
            f"Row {layout.row_name[row]}: {up} up; {start}{first}; {len(on)} clamps; rail {cut}{more}"
        )
    return lines


def _heights(project: Project, row: int, say: Callable[[float], str]) -> str:
    """How far up from the lowest edge of its plane a row stands; of a leaning one both ends, left first."""
    layout = project.layout
    lowest = project.roof.planes.outline[layout.row_plane[row]].bounds[1]
    ends = [say(float(end[row, 1] - lowest)) for end in (layout.row_start, layout.row_end)]
    return ends[0] if ends[0] == ends[1] else f"{ends[0]} to {ends[1]}"


def eave_corner(project: Project, row: int) -> Array | None:
    """Left end (2,) of the eave below a row that reaches beyond it at both ends, as between valleys. [m].

    A tape finds it. In the plane's coordinates; None where an end of the row stands over a level edge, or
    nothing but slants lies below it.
    """
    layout = project.layout
    outline = project.roof.planes.outline[layout.row_plane[row]]
    (left, up), right = layout.row_start[row], layout.row_end[row, 0]
    ring = np.asarray(outline.exterior.coords)
    a, b = ring[:-1], ring[1:]
    level = (np.abs(a[:, 1] - b[:, 1]) < LEVEL) & (a[:, 1] < up - LEVEL)
    low, high = np.minimum(a[:, 0], b[:, 0]), np.maximum(a[:, 0], b[:, 0])
    wide = outline.buffer(1e-6)
    for i in np.argsort(np.where(level, a[:, 1], np.inf)).tolist():
        seen = level[i] and wide.covers(shapely.box(max(low[i], left), a[i, 1], min(high[i], right), up))
        if seen and min(high[i], right) - max(low[i], left) > SHORT:
            inside = low[i] > left + SHORT and high[i] < right - SHORT
            return np.array([low[i], a[i, 1]]) if inside else None
    return None


def seam_numbers(project: Project, plane: int) -> tuple[Array, int | None]:
    """Seams (s, 2, 2) of a plane [m], and what to add to `Layout.clamp_seam` to count them from the left.

    None where clamps stand on seams that are not drawn, left of a first seam far in.
    """
    seams = plane_seams(project, plane)
    flat = project.roof.planes.to_plane(plane, seams.reshape(-1, 3)).reshape(-1, 2, 2)
    on = project.layout.row_plane[project.layout.clamp_row] == plane
    return flat, 1 if project.layout.clamp_seam[on].min(initial=0) >= 0 else None


def foot_below(outline: Any, place: Array) -> Array | None:
    """Point of the plane's lower edge straight down the slope of a place."""
    down = shapely.LineString(np.array([place, [place[0], outline.bounds[1] - 1.0]]))
    return _far_end(shapely.intersection(outline, down), place)


def _far_end(cut: Any, place: Array) -> Array | None:
    """Far end of the piece of a line that begins at `place`."""
    for part in shapely.get_parts(cut):
        points = shapely.get_coordinates(part)
        if len(points) >= 2 and np.linalg.norm(points - place, axis=1).min() < 1e-6:
            return np.asarray(points[np.argmax(np.linalg.norm(points - place, axis=1))])
    return None
