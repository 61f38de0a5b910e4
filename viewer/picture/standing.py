"""What stands on a roof, for every picture: parapets, boxes, solar arrays; and where snow lands on it."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import shapely
from numpy.typing import NDArray

from roofmodel.counting import within
from roofmodel.obstacles import Obstacles
from roofmodel.surface import Planes, RoofSurface
from viewer import style
from viewer.picture import svg
from viewer.picture.labels import text_width
from viewer.picture.sheet import Overlay, Shape

Array = NDArray[np.float64]

LIFT = 0.01  # so that marks on a plane do not sink into it [m]
HATCH = 0.5  # between the lines on glass [m]
MARK = 0.09  # half size of the mark of an array's clamp [m]


def standing_quads(roof: RoofSurface) -> tuple[Array, Array]:
    """Faces of what stands on the roof, (k, 4, 3), and their colors (k, 3). [m]."""
    quads, colors = [np.zeros((0, 4, 3))], [np.zeros((0, 3))]
    for found, color in (
        (_sides(roof.obstacles), style.STANDING),
        (_tops(roof.obstacles), style.STANDING_TOP),
        (array_glass(roof), style.GLASS),
    ):
        quads.append(found)
        colors.append(np.tile(style.rgb(color), (len(found), 1)))
    return np.concatenate(quads), np.concatenate(colors)


def standing_lines(quads: Array) -> Array:
    """Edges of the faces, (4 k, 2, 3). [m]."""
    return np.stack([quads, np.roll(quads, -1, axis=1)], axis=2).reshape(-1, 2, 3)


def _tops_at(known: Obstacles) -> Array:
    """Height of the top of each obstacle: its height above the highest point of its foot, (k,). [m]."""
    top = np.full(known.count, -np.inf)
    np.maximum.at(top, known.face, np.maximum(known.start[:, 2], known.end[:, 2]))
    return np.where(np.isfinite(top), top, 0.0) + known.height


def _sides(known: Obstacles) -> Array:
    """Upright faces: parapets as high as their edge everywhere, boxes up to their level top."""
    if not known.count:
        return np.zeros((0, 4, 3))
    owner = known.face
    up = np.array([0.0, 0.0, 1.0])
    low = known.clear[owner][:, None] * up
    level = _tops_at(known)[owner][:, None] * up
    flat = np.array([1.0, 1.0, 0.0])
    parapet = known.parapet[owner][:, None]
    height = known.height[owner][:, None] * up
    tops = [np.where(parapet, foot + height, foot * flat + level) for foot in (known.start, known.end)]
    return np.stack([known.start + low, known.end + low, tops[1], tops[0]], axis=1)


def _tops(known: Obstacles) -> Array:
    boxes = np.flatnonzero(~known.parapet)
    level = _tops_at(known)
    rings = [known.start[known.face == box] for box in boxes]
    return np.array(
        [
            np.column_stack([ring[:, :2], np.full(4, level[box])])
            for ring, box in zip(rings, boxes, strict=True)
        ]
    ).reshape(-1, 4, 3)


def array_glass(roof: RoofSurface) -> Array:
    """Corners of the glass of every array, (a, 4, 3). [m]."""
    arrays = roof.arrays
    corners = _on_glass(roof, np.repeat(np.arange(arrays.count), 4), arrays.corners.reshape(-1, 2))
    return corners.reshape(-1, 4, 3)


def array_hatch(roof: RoofSurface) -> Array:
    """Slanted lines on the glass of every array, (h, 2, 3). [m]."""
    arrays = roof.arrays
    found = [np.zeros((0, 2, 3))]
    for k, (wide, deep) in enumerate((arrays.high - arrays.low).tolist()):
        step = min(HATCH, 0.25 * wide, 0.5 * deep)
        c = np.arange(step - deep, wide, step)
        start = np.stack([np.maximum(c, 0.0), np.maximum(-c, 0.0)], axis=1)
        end = np.stack([np.minimum(c + deep, wide), np.minimum(wide - c, deep)], axis=1)
        uv = arrays.low[k] + np.stack([start, end], axis=1)
        found.append(_on_glass(roof, np.full(2 * len(c), k), uv.reshape(-1, 2)).reshape(-1, 2, 3))
    return np.concatenate(found)


def array_clamps(roof: RoofSurface) -> Array:
    """Clamps of the arrays, each line's spread evenly along its seam under the glass, (c, 3). [m]."""
    arrays = roof.arrays
    each, line = arrays.clamps_up[arrays.line_array], clamp_lines(roof)
    place = within(each)
    k = arrays.line_array[line]
    deep = (arrays.high - arrays.low)[k, 1]
    v = arrays.low[k, 1] + (place + 0.5) / each[line] * deep
    u = arrays.line_u[line] + (v - arrays.high[k, 1]) * np.tan(arrays.angle[k])
    return _on_glass(roof, k, np.stack([np.clip(u, arrays.low[k, 0], arrays.high[k, 0]), v], axis=1))


def clamp_lines(roof: RoofSurface) -> NDArray[np.int64]:
    """Line of each clamp of the arrays, (c,)."""
    each = roof.arrays.clamps_up[roof.arrays.line_array]
    return np.repeat(np.arange(len(each)), each)


def clamp_normals(roof: RoofSurface) -> Array:
    """Normals of the roof under the clamps of the arrays, (c, 3)."""
    return roof.planes.normal[roof.arrays.plane[roof.arrays.line_array[clamp_lines(roof)]]]


def clamp_crosses(roof: RoofSurface) -> Array:
    """Crosses that mark the clamps of the arrays where nothing is known of their use, (2 c, 2, 3). [m]."""
    arrays, planes = roof.arrays, roof.planes
    plane = arrays.plane[arrays.line_array[clamp_lines(roof)]]
    at = array_clamps(roof)
    arms = (planes.across[plane], planes.upslope[plane])
    crosses = [np.stack([at - MARK * arm, at + MARK * arm], axis=1) for arm in arms]
    return np.concatenate([np.zeros((0, 2, 3)), *crosses])


def array_lines(roof: RoofSurface, *, clamps: bool) -> tuple[Array, Array, Array]:
    """Hatch and clamps of the arrays in 3D: lines (n, 2, 3) [m], colors (n, 3), widths (n,) [pt]."""
    hatch = array_hatch(roof)
    crosses = clamp_crosses(roof) if clamps else hatch[:0]
    color = np.concatenate(
        [
            np.tile(style.rgb(style.GLASS_HATCH), (len(hatch), 1)),
            np.tile(style.rgb(style.PAPER), (len(crosses), 1)),
        ]
    )
    return (
        np.concatenate([hatch, crosses]),
        color,
        np.r_[np.full(len(hatch), 0.5), np.full(len(crosses), 1.1)],
    )


def _on_glass(roof: RoofSurface, array: NDArray[np.int64], uv: Array) -> Array:
    """Points (n, 2) of an array's plane, lifted onto its glass, (n, 3). [m]."""
    plane = roof.arrays.plane[array]
    lift = np.maximum(roof.arrays.gap[array], LIFT)[:, None] * roof.planes.normal[plane]
    return np.asarray(roof.planes.to_world(plane, uv) + lift)


def patch_rings(
    planes: Planes, plane: NDArray[np.int64], patches: tuple[shapely.Geometry, ...]
) -> list[Array]:
    """Outlines of plan patches laid onto their planes, (k, 3) each. [m]."""
    rings = []
    for index, patch in zip(plane.tolist(), patches, strict=True):
        for part in shapely.get_parts(patch):
            if shapely.get_type_id(part) != 3:  # where snow only drops along a line
                continue
            xy = shapely.get_coordinates(part.exterior)[:-1]
            normal, origin = planes.normal[index], planes.origin[index]
            z = origin[2] - (xy - origin[:2]) @ normal[:2] / normal[2]
            rings.append(np.column_stack([xy, z]))
    return rings


def plan_shapes(roof: RoofSurface) -> tuple[list[tuple[str, Array, str]], list[Array]]:
    """Boxes and arrays as (name, plan ring, color), and the lines of parapets, (2, 2) each. [m]."""
    known, arrays = roof.obstacles, roof.arrays
    found = [
        (known.name[box], known.start[known.face == box, :2], style.STANDING)
        for box in np.flatnonzero(~known.parapet)
    ]
    glass = array_glass(roof)[..., :2]
    found += [(name, ring, style.GLASS) for name, ring in zip(arrays.name, glass, strict=True)]
    ends = np.stack([known.start[:, :2], known.end[:, :2]], axis=1)
    return found, list(ends[known.parapet[known.face]])


def standing_tops(roof: RoofSurface) -> list[tuple[str, Array]]:
    """Names of boxes and arrays, each with the middle of its top or glass, (3,). [m]."""
    known = roof.obstacles
    names = [known.name[box] for box in np.flatnonzero(~known.parapet)] + list(roof.arrays.name)
    middles = np.concatenate([_tops(known), array_glass(roof)]).mean(axis=1)
    return list(zip(names, middles, strict=True))


def _name_place(name: str, ring: Array, size: float) -> tuple[float, float, bool]:
    """Middle of a name in pixels: low in its ring where it has room, else above it; whether it is inside."""
    x = ring[:, 0].mean()
    wide, high = np.ptp(ring, axis=0)
    inside = bool(0.6 * size * len(name) < wide and 1.3 * size < high)
    # Names of planes are drawn over the middle.
    y = ring[:, 1].max() - size if inside else ring[:, 1].min() - 0.8 * size
    return float(x), float(y), inside


def standing_svg(roof: RoofSurface, at: Callable[[Array], Array]) -> list[str]:
    """The same but for the clamps of arrays, on a drawing whose `at` turns roof points into its own."""
    shapes, lines = plan_shapes(roof)
    parts = [svg.line(at(line), style.INK, 3.0) for line in lines]
    for _, ring, color in shapes:
        points = at(ring)
        parts.append(
            svg.element(
                "path",
                d=svg.path(points, closed=True),
                fill=style.hexadecimal(style.rgb(color)),
                fill_opacity=0.8,
                stroke=style.INK,
                stroke_width=0.9,
            )
        )
    parts += [svg.line(at(line), style.GLASS_HATCH, 0.6) for line in array_hatch(roof)[..., :2]]
    for name, ring, _ in shapes:
        x, y, inside = _name_place(name, at(ring), 10.0)
        ink = style.PAPER if inside else style.INK
        parts.append(svg.text(name, x, y + 3.6, 10.0, anchor="middle", color=ink, halo=not inside))
    return parts


def standing_boxes(roof: RoofSurface, at: Callable[[Array], Array]) -> Array:
    """Boxes (k, 4) of what `standing_svg` draws with names, and of the names. [px]."""
    boxes = [np.zeros((0, 4))]
    for name, ring, _ in plan_shapes(roof)[0]:
        points = at(ring)
        x, y, _ = _name_place(name, points, 10.0)
        half = 0.5 * text_width(name, 10.0)
        boxes.append(np.concatenate([points.min(axis=0), points.max(axis=0)])[None])
        boxes.append(np.array([[x - half, y - 7.0, x + half, y + 6.0]]))
    return np.concatenate(boxes)


def draw_standing(overlay: Overlay, roof: RoofSurface, at: Callable[[Array], Array]) -> None:
    """The same on a sheet of pixels."""
    point = overlay.point
    shapes, lines = plan_shapes(roof)
    overlay.shapes.extend(Shape(at(line), line=style.INK, width=2.4 * point) for line in lines)
    for _, ring, color in shapes:
        points = at(ring)
        overlay.shapes.append(Shape(points, fill=color))
        overlay.shapes.append(Shape(np.concatenate([points, points[:1]]), line=style.INK, width=0.8 * point))
    size = overlay.type_size("note")
    for lines_on_glass, color, width in (
        (array_hatch(roof), style.GLASS_HATCH, 0.5),
        (clamp_crosses(roof), style.PAPER, 1.1),
    ):
        overlay.shapes.extend(Shape(at(line), line=color, width=width * point) for line in lines_on_glass)
    for name, ring, _ in shapes:
        x, y, inside = _name_place(name, at(ring), size)
        ink = style.PAPER if inside else style.INK
        overlay.write(name, x, y, "note", align="center", color=ink, halo=not inside)
