"""The picture of a roof: plan with names and kinds of edges, view from above the lowest eave, legend."""

from __future__ import annotations

from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from roofmodel.surface import RoofSurface
from viewer import style
from viewer.files import atomic
from viewer.picture.camera import View, choose_axes, fit_view
from viewer.picture.draw import Picture, taller
from viewer.picture.labels import fit_text, text_width, wrap_text
from viewer.picture.render import SIZE, Drawing, Renderer
from viewer.picture.scale_bar import draw_scale_bar
from viewer.picture.scene import plane_triangles, walls_below
from viewer.picture.sheet import MARGIN, Overlay, Shape, paint
from viewer.picture.standing import array_lines, standing_lines, standing_quads
from viewer.quantities import quantity
from viewer.roof.curved import curved_lines
from viewer.roof.names import draw_table
from viewer.roof.plan import AXIS, CURVED, PlanView, draw_edge, draw_plan, stone_rgb
from viewer.roof.read import SeenRoof
from viewer.roof.words import kind_lengths, summary_words

Array = NDArray[np.float64]

HEAD, FOOT = 62.0, 56.0  # bands of the page [pt]
DIVIDE = 0.61  # where the plan ends, as a share of the page's width
TALL = 0.52  # share of the right column for the view


def draw_roof(seen: SeenRoof, renderer: Renderer | None, path: Path) -> Picture:
    """Draw the roof and write the PNG, whole or not at all.

    Parameters
    ----------
    seen : SeenRoof
    renderer : Renderer or None
        None to leave the 3D view out.
    path : Path

    Returns
    -------
    Picture
        The path; and the reason why the 3D view is missing, where it is.
    """
    size = SIZE if renderer is None else renderer.size
    overlay = Overlay(size)
    point = overlay.point
    top, bottom = HEAD * point, size[1] - FOOT * point
    left, middle, right = MARGIN * point, DIVIDE * size[0], size[0] - MARGIN * point
    view_box = (middle + 16.0 * point, top + 8.0 * point, right, top + TALL * (bottom - top))
    roof = seen.roof
    if renderer is not None:
        view = _view(roof, view_box, size)
        renderer.draw(_drawing(roof, view), view)
    _header(overlay, seen)
    axis = AXIS * point
    plan_box = (left + axis, top + 8.0 * point, middle - 6.0 * point, bottom - axis - 8.0 * point)
    plan = PlanView(roof.points[roof.faces].reshape(-1, 3), plan_box)
    under = draw_plan(overlay, roof, plan, seen.units)
    _legend(overlay, seen, under, middle + 16.0 * point, view_box[3] + 18.0 * point, right)
    _footer(overlay, seen, plan)
    pixels: NDArray[np.uint8] | str = "left out on request"
    if renderer is not None:
        pixels = renderer.pixels()
    reason = pixels if isinstance(pixels, str) else ""
    if isinstance(pixels, str):
        words = wrap_text(f"No 3D view: {reason}", overlay.type_size("note"), view_box[2] - view_box[0])
        for row, line in enumerate(words):
            y = view_box[1] + (20.0 + 12.0 * row) * point
            overlay.write(line, view_box[0], y, "note", color=style.MUTED)
        pixels = np.full((size[1], size[0], 3), 255, dtype=np.uint8)
    band = draw_table(overlay, roof, seen.units)
    image = paint(*taller(pixels, overlay, band))
    with atomic(path) as temporary:
        image.save(temporary, format="PNG", compress_level=6)
    return Picture(path, reason)


def _view(roof: RoofSurface, box: tuple[float, float, float, float], size: tuple[int, int]) -> View:
    """The view that shows most of the roof, near the fall of its largest plane."""
    planes, walls = roof.planes, walls_below(roof)
    body, _ = plane_triangles(planes)
    targets = np.concatenate([body.mean(axis=1), 0.5 * (roof.edges.start + roof.edges.end)])
    chosen = np.unique(np.linspace(0, len(targets) - 1, 80).astype(int))
    largest = int(np.argmax(planes.true_area))
    axes = choose_axes(
        float(planes.azimuth[largest]),
        targets[chosen] + np.array([0.0, 0.0, 0.02]),
        np.ones(len(chosen)),
        body[:: max(len(body) // 2000, 1)],
        planes.normal,
        planes.true_area,
        planes.normal,
    )
    return fit_view(axes, np.concatenate([body.reshape(-1, 3), walls.reshape(-1, 3)]), box, size)


def _drawing(roof: RoofSurface, view: View) -> Drawing:
    """Triangles of the planes, walls that fade below the eaves, edges by kind."""
    point = view.size[0] / style.REFERENCE_WIDTH
    triangles, owner = plane_triangles(roof.planes)
    walls = walls_below(roof)
    stone = np.repeat(stone_rgb(roof.planes.normal)[owner], 3, axis=0)
    wall = np.tile(style.rgb(style.WALL_SHADE), (len(walls), 1))
    faded = 0.25 * wall + 0.75 * style.rgb(style.PAPER)
    wall_rgb = np.stack([wall, wall, faded, faded], axis=1).reshape(-1, 3)
    standing, standing_rgb = standing_quads(roof)
    walls = np.concatenate([walls, standing])
    wall_rgb = np.concatenate([wall_rgb, np.repeat(standing_rgb, 4, axis=0)])
    count = 3 * len(triangles)
    faces = [
        np.column_stack([np.full(len(triangles), 3), np.arange(count).reshape(-1, 3)]).ravel(),
        np.column_stack([np.full(len(walls), 4), count + np.arange(4 * len(walls)).reshape(-1, 4)]).ravel(),
    ]
    reach = float(np.ptp(triangles.reshape(-1, 3), axis=0).max())
    outlines = standing_lines(standing)
    glass, glass_rgb, glass_width = array_lines(roof, clamps=True)
    edges = np.concatenate([np.stack([roof.edges.start, roof.edges.end], axis=1), outlines, glass])
    color = np.array([style.rgb(style.EDGE_COLOR[kind]) for kind in roof.edges.kind]).reshape(-1, 3)
    color = np.concatenate([color, np.tile(style.rgb(style.INK), (len(outlines), 1)), glass_rgb])
    weight = [style.EDGE_WEIGHT[kind] for kind in roof.edges.kind] + [0.6] * len(outlines) + list(glass_width)
    return Drawing(
        points=np.concatenate([triangles.reshape(-1, 3), walls.reshape(-1, 3)]),
        point_rgb=np.rint(np.concatenate([stone, wall_rgb]) * 255.0).astype(np.uint8),
        faces=np.concatenate(faces).astype(np.int64),
        lines=edges + 0.0025 * reach * view.toward,
        line_rgb=np.rint(color * 255.0).astype(np.uint8),
        line_width=np.array(weight) * 0.9 * point,
        tubes=np.zeros((0, 2, 3)),
        tube_radius=1.0,
        tube_rgb=np.zeros(3, dtype=np.uint8),
    )


def _header(overlay: Overlay, seen: SeenRoof) -> None:
    point = overlay.point
    left, right = MARGIN * point, overlay.size[0] - MARGIN * point
    size = overlay.type_size("note")
    source = wrap_text(seen.source if seen.source != seen.title else "", size, 0.4 * (right - left))
    wide = max(text_width(line, size) for line in source)
    title = fit_text(seen.title, overlay.type_size("title"), right - left - wide - 12.0 * point, bold=True)
    overlay.write(title, left, 26.0 * point, "title", bold=True)
    words = summary_words(seen.roof, seen.units)
    size = overlay.type_size("body")
    if text_width(words, size) > right - left:
        words = words.partition(" (")[0]  # names of edges stand on the screen and in roof.json
    overlay.write(fit_text(words, size, right - left), left, 47.0 * point, "body")
    for row, line in enumerate(source[:3]):
        y = (26.0 + 11.0 * row) * point
        overlay.write(line, right, y, "note", color=style.MUTED, align="right")


def _legend(overlay: Overlay, seen: SeenRoof, under: bool, left: float, top: float, right: float) -> None:
    """Kinds of edges with number and length; what the tints and arrows mean."""
    point = overlay.point
    overlay.write("Edges", left, top, "legend", bold=True)
    overlay.write("number and length", right, top, "note", color=style.MUTED, align="right")
    y = top
    for kind, count, length in kind_lengths(seen.roof):
        y += 14.5 * point
        draw_edge(overlay, np.array([left, y]), np.array([left + 34.0 * point, y]), kind)
        overlay.write(kind.value, left + 42.0 * point, y, "legend")
        words = f"{count} · {quantity(length, 'length', seen.units)}"
        overlay.write(words, right, y, "legend", align="right")
    for word, _, _, rise, span, *_ in curved_lines(seen.roof, seen.units):
        y += 14.5 * point
        ends = np.array([[left, y], [left + 34.0 * point, y]])
        overlay.shapes.append(Shape(ends, line=style.INK, width=CURVED * point))
        overlay.write(word, left + 42.0 * point, y, "legend")
        overlay.write(f"rise {rise}, span {span}", right, y, "legend", align="right")
    y += 18.0 * point
    for line in (
        "Arrow: fall of the plane. Numbers: edges of one name.",
        "Shade: lit from the north-west.",
        *(["Thin lines: edges below another plane."] if under else []),
    ):
        overlay.write(line, left, y, "note", color=style.MUTED)
        y += 11.0 * point


def _footer(overlay: Overlay, seen: SeenRoof, plan: PlanView) -> None:
    """Scale bar and north of the plan; caution."""
    point, units = overlay.point, seen.units
    left, right = MARGIN * point, overlay.size[0] - MARGIN * point
    y = overlay.size[1] - 26.0 * point
    draw_scale_bar(overlay, plan.scale, units, left, y)
    if count := len(overlay.unnamed):
        words = f"{count} small plane{'s' if count > 1 else ''}: in the table below"
        overlay.write(words, DIVIDE * overlay.size[0], y, "note", color=style.MUTED, align="right")
    low = overlay.size[1] - 11.0 * point
    overlay.write("Compare with the building before calculating on it.", left, low, "note", bold=True)
    overlay.write("Eavewright", right, low, "note", color=style.MUTED, align="right")
