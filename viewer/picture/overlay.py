"""What is written over the 3D picture: title, callout, names."""

from __future__ import annotations

import numpy as np
import shapely
from numpy.typing import NDArray

from fea.analysis import Analysis
from fea.checks.governing import Governing
from fea.planning.steady import row_steps
from fea.unknowns import STIFF_WORDS
from fea.verdict import Finding
from roofmodel.units import SYSTEMS
from viewer import style
from viewer.combining import combination
from viewer.picture.camera import View, hidden
from viewer.picture.labels import (
    GRID,
    PLANE,
    WALL,
    Crowd,
    Text,
    fit_text,
    leader_end,
    text_width,
    wrap_text,
)
from viewer.picture.legend import add_legends
from viewer.picture.row_names import dot, place_at_ends, place_beside, row_names, short
from viewer.picture.scene import Scene, mark_sizes
from viewer.picture.sheet import FOOTER, HEADER, MARGIN, Overlay, Shape
from viewer.picture.standing import array_glass
from viewer.places import out_of_place_words

Array = NDArray[np.float64]

WIDEST_SIDE = 130.0  # at most this is kept free for names on each side [pt]
RIM = 0.1  # part of a name that may stand over the rim of its plane, in cells of the grid
SAMPLES = 15  # points along and up a plane that are tried for the line from its name
EDGES = 9.0  # cost of covering the edges of planes
LINES = 4  # of the verdict
LOOSE_ROWS = 7  # more rows than this are named left and right of the roof


def drawing_box(
    scene: Scene, names: tuple[str, ...], size: tuple[int, int]
) -> tuple[float, float, float, float]:
    """Part of the picture that the roof fills: what the bands and the names of the rows leave. [px]."""
    point = size[0] / style.REFERENCE_WIDTH
    number = "not verified" if np.isnan(scene.use).any() else "0.00"
    longest = max(
        (text_width(f"{short(name)}  {number}", style.TYPE_SIZE["label"], bold=True) for name in names),
        default=0.0,
    )
    side = min(longest + 0.6 * MARGIN + (12.0 if len(names) <= LOOSE_ROWS else 24.0), WIDEST_SIDE) * point
    return side, (HEADER + 6.0) * point, size[0] - side, size[1] - (FOOTER + 4.0) * point


def compose(analysis: Analysis, scene: Scene, view: View, place: str = "") -> Overlay:
    """Lay out all text and marks of the picture."""
    overlay = Overlay(view.size)
    point = overlay.point
    box = (
        0.6 * MARGIN * point,
        HEADER * point,
        view.size[0] - 0.6 * MARGIN * point,
        view.size[1] - (FOOTER + 8.0) * point,
    )
    crowd = _crowd(analysis, scene, view, box)
    _header(overlay, analysis, scene, place)
    names = row_names(analysis, scene, view)
    if len(scene.rows) > LOOSE_ROWS:
        place_beside(overlay, crowd, names, scene, view)
    _callout(overlay, crowd, analysis, scene, view)
    if len(scene.rows) <= LOOSE_ROWS:
        place_at_ends(overlay, crowd, names)
    _plane_names(overlay, crowd, analysis, scene, view)
    add_legends(overlay, analysis, scene, view)
    return overlay


def _crowd(analysis: Analysis, scene: Scene, view: View, box: tuple[float, float, float, float]) -> Crowd:
    """What labels should not cover: marks and rails least of all, then edges, roof and walls."""
    crowd, point = Crowd(box), view.size[0] / style.REFERENCE_WIDTH
    for wall in view.project(scene.walls):
        crowd.cover_polygon(wall, WALL)
    for corners in _plane_corners(analysis):
        crowd.cover_polygon(view.project(corners), PLANE)
    glass = array_glass(analysis.project.roof)
    for face in view.project(np.concatenate([scene.standing, glass])):
        crowd.cover_polygon(face, 20.0)
    for start, end in view.project(scene.edges):
        crowd.cover_line(start, end, 2.0 * point, EDGES)
    for start, end in view.project(scene.rows):
        crowd.cover_line(start, end, 4.0 * point, 60.0)
    sizes = mark_sizes(scene.use, view, scene)
    crowd.cover_points(view.project(scene.clamps), 1.7 * float(sizes.max(initial=0.0)), 60.0)
    return crowd


def _plane_corners(analysis: Analysis) -> list[Array]:
    planes = analysis.project.roof.planes
    return [
        planes.to_world(plane, np.asarray(outline.exterior.coords)[:-1])
        for plane, outline in enumerate(planes.outline)
    ]


def _header(overlay: Overlay, analysis: Analysis, scene: Scene, place: str) -> None:
    point, project = overlay.point, analysis.project
    left, right = MARGIN * point, overlay.size[0] - MARGIN * point
    room = 0.60 * (right - left)
    case = analysis.snow.cases[scene.case]
    name, size = project.table.project.name, overlay.type_size("title")
    size *= float(np.clip(room / text_width(name, size, bold=True), 0.6, 1.0))
    overlay.texts.append(Text(fit_text(name, size, room, bold=True), (left, 26.0 * point), size, bold=True))
    beside = right - left - min(text_width(name, size, bold=True), room) - 24.0 * point
    snow = fit_text(f"Snow case: {case.name}", overlay.type_size("body"), room)
    overlay.write(snow, left, 47.0 * point, "body")
    clause = combination(analysis, scene.case)
    words = clause if clause.startswith(case.standard) else f"{case.standard}; {clause}"
    overlay.write(
        fit_text(words, overlay.type_size("body"), room), left, 61.0 * point, "body", color=style.MUTED
    )
    narrow = 0.38 * (right - left)
    for index, (text, color) in enumerate(verdict(analysis, scene, place)):
        name, bold = ("heading", True) if index == 0 else ("body", False)
        room = max(narrow, beside) if index == 0 else narrow  # the first stands beside the title
        y = (24.0, 41.0, 54.0, 67.0)[index] * point
        size = overlay.type_size(name)
        wide = text_width(text, size, bold=bold)
        size *= float(np.clip(0.98 * room / wide, 0.7, 1.0))  # smaller before cut; widths grow in steps
        fitted = fit_text(text, size, room, bold=bold)
        overlay.texts.append(Text(fitted, (right, y), size, bold, color, "right"))


def verdict(analysis: Analysis, scene: Scene, place: str = "") -> list[tuple[str, str]]:
    """What the picture says in words, worst first, with the color of each line.

    `place` says what rows do not bear a little out of their places; without it, what valleys' steps say.
    """
    count, unknown = len(scene.use), int(np.isnan(scene.use).sum())
    bad = style.EXCEEDED_ANCHORS[0]
    say = {
        Finding.EXCEEDED: _exceeded,
        Finding.NOT_PROTECTED: _not_protected,
        Finding.NOT_SETTLED: _not_settled,
        Finding.NOT_VERIFIED: _not_verified,
        Finding.AUDIT_FAILED: lambda *_: [f"{Finding.AUDIT_FAILED.word}: do not use"],
    }
    # What must not be used at all, and what would look kept, come before numbers that the picture shows.
    first = (Finding.AUDIT_FAILED, Finding.NOT_PROTECTED, Finding.NOT_SETTLED)
    found = sorted(analysis.findings, key=lambda one: first.index(one) if one in first else len(first))
    groups = [[(line, bad) for line in say[one](analysis, scene)] for one in found]
    if unknown:
        groups.append([(f"{unknown} of {count} clamps are not verified", style.INK)])
    elif not (scene.use > 1.0).any() and not any(one in first for one in found):
        off = place or out_of_place_words(row_steps(analysis))
        where = " in their exact places only" if off else ""
        groups.append([(f"All {count} clamps within their limits{where}", style.INK)])
        groups = [*([[(off, bad)]] if off else []), *groups]
    lines = [line for group in groups for line in group]
    if len(lines) <= LINES:
        return lines
    order = sorted(lines, key=lambda line: all(line != group[0] for group in groups if group))
    kept = order[: LINES - 1]  # one of every finding before a second one of any
    return [*(line for line in lines if line in kept), ("and more: see the report", style.INK)]


def _exceeded(analysis: Analysis, scene: Scene) -> list[str]:
    count, failed = len(scene.use), int(np.sum(scene.use > 1.0))
    lines = [f"{failed} of {count} clamps exceed their limit"] if failed else []
    other = [limit for limit in analysis.limits if limit.target != "clamp"]
    for limit in sorted(other, key=lambda limit: -float(np.nan_to_num(limit.utilization).max(initial=0.0))):
        worst = float(np.nan_to_num(limit.utilization).max(initial=0.0))
        if worst > 1.0:
            target = limit.target_name[int(np.nan_to_num(limit.utilization).max(axis=0).argmax())]
            lines.append(f"{style.utilization_text(worst)} of limit: {limit.name}, {target}")
    return [*lines, *(["EXCEEDED: a purlin, see the report"] if analysis.purlins_exceeded else [])]


def _not_protected(analysis: Analysis, _: Scene) -> list[str]:
    return [
        f"{Finding.NOT_PROTECTED.word}: {', '.join(one.name for one in analysis.unprotected)}",
        "snow that no row holds comes down on it",
    ]


def _not_settled(analysis: Analysis, _: Scene) -> list[str]:
    tips = analysis.unsettled
    assert tips is not None
    return [f"{Finding.NOT_SETTLED.word}: {style.utilization_text(tips.stiff)} if {STIFF_WORDS}", tips.remedy]


def _not_verified(analysis: Analysis, _: Scene) -> list[str]:
    names = [limit.name for limit in analysis.unverified if limit.name != "clamp combined"]
    return [f"{Finding.NOT_VERIFIED.word}: {', '.join(names)}"] if names else []


def callout_lines(analysis: Analysis, governing: Governing, scene: Scene) -> tuple[str, str, list[str]]:
    """Name and utilization of the governing attachment, and the lines below them."""
    limit = analysis.limits[governing.limit]
    lines = [f"{limit.name} governs the attachments"]
    if limit.name == "clamp combined":
        parts = [
            f"{other.name.removeprefix('clamp ').removesuffix(' the seam')}\N{NO-BREAK SPACE}"
            f"{style.utilization_text(float(other.utilization[governing.case, governing.target]))}"
            for other in analysis.limits
            if other.target == "clamp"
            and other is not limit
            and other.name.startswith("clamp ")  # screws and the rail's walls have none
            and other.utilization[governing.case, governing.target] > 0.005
        ]
        lines.append("directions: " + ", ".join(parts))
    lines.append(f"case: {analysis.snow.cases[governing.case].name}")
    if np.isnan(scene.use).any():
        lines.append("worst of what could be checked")
    return limit.target_name[governing.target], style.utilization_text(governing.utilization), lines


def _callout(overlay: Overlay, crowd: Crowd, analysis: Analysis, scene: Scene, view: View) -> None:
    governing = analysis.attachment
    if governing is None:
        return
    point, use = overlay.point, governing.utilization
    name, number, lines = callout_lines(analysis, governing, scene)
    room = 190.0 * point
    body = overlay.type_size("legend")
    wrapped = [part for line in lines for part in wrap_text(line, body, room)]
    head = overlay.type_size("heading")
    gap, pad = 16.0 * point, 8.0 * point
    first = text_width(name, head, bold=True) + text_width(number, head, bold=True) + gap
    width = max([first, *(text_width(line, body) for line in wrapped)]) + 2.0 * pad + 4.0 * point
    height = 2.0 * pad + (15.0 + 12.5 * len(wrapped)) * point
    at = view.project(scene.clamps[scene.called])
    anchor = (float(at[0]), float(at[1]))
    names = np.array([text.box for text in overlay.texts]).reshape(-1, 4)
    found = crowd.place((width, height), anchor, pull=0.22, least=22.0 * point, shun=names)
    if found is None:  # a picture too small for its callout still shows it, in the corner
        found = (crowd.box[2] - width, crowd.box[1], crowd.box[2], crowd.box[1] + height)
    left, top, right, bottom = found
    _leader(overlay, crowd, anchor, found, 2.5 * float(mark_sizes(scene.use, view, scene)[scene.called]))
    color = style.utilization_color(use)
    frame = np.array([[left, top], [right, top], [right, bottom], [left, bottom]])
    overlay.shapes.append(Shape(frame, fill=style.PAPER, line=style.INK, width=0.7 * point))
    bar = np.array([[left, top], [left + 4.0 * point, top], [left + 4.0 * point, bottom], [left, bottom]])
    overlay.shapes.append(Shape(bar, fill=color))
    x, y = left + pad + 4.0 * point, top + pad + 6.0 * point
    overlay.write(name, x, y, "heading", bold=True)
    strong = style.EXCEEDED_ANCHORS[0] if use > 1.0 else style.INK
    overlay.write(number, right - pad, y, "heading", bold=True, color=strong, align="right")
    for index, line in enumerate(wrapped):
        overlay.write(line, x, y + (16.0 + 12.5 * index) * point, "legend", color=style.INK)
    crowd.take((left - pad, top - pad, right + pad, bottom + pad))


def _leader(
    overlay: Overlay,
    crowd: Crowd,
    anchor: tuple[float, float],
    box: tuple[float, float, float, float],
    ring: float,
) -> None:
    """Line from the box to a ring around the clamp."""
    at = np.array(anchor)
    left, top, right, bottom = (np.array(side) for side in box)
    start = np.array([float(one) for one in leader_end(anchor, (left, top, right, bottom))])
    way = (start - at) / max(float(np.linalg.norm(start - at)), 1e-9)
    turn = np.linspace(0.0, 2.0 * np.pi, 49)
    circle = at + ring * np.stack([np.cos(turn), np.sin(turn)], axis=1)
    line = np.array([at + ring * way, start])
    point = overlay.point
    for color, width in ((style.PAPER, 3.4 * point), (style.INK, 1.3 * point)):
        overlay.shapes.append(Shape(line, line=color, width=width))
        overlay.shapes.append(Shape(circle, line=color, width=width))
    crowd.cover_line(line[0], line[1], 3.0 * point, 40.0)


def _plane_names(overlay: Overlay, crowd: Crowd, analysis: Analysis, scene: Scene, view: View) -> None:
    """Name and slope on each plane that faces the viewer and has room for them."""
    planes, large = analysis.project.roof.planes, overlay.type_size("label")
    units = SYSTEMS[analysis.project.table.project.units]
    for plane, corners in enumerate(_plane_corners(analysis)):
        if planes.normal[plane] @ view.toward < 0.05:
            continue
        polygon = shapely.Polygon(view.project(corners)).buffer(0.0)
        radius = shapely.maximum_inscribed_circle(polygon, tolerance=2.0)
        anchor = tuple(shapely.get_coordinates(radius)[0].tolist())
        slope = f"{units.convert(float(planes.slope[plane]), 'angle'):.1f}{units.label('angle')}"
        outside = ~crowd.inside(view.project(corners))
        name = planes.name[plane]
        full, small = f"{name}  {slope}", overlay.type_size("note")
        for text, size, most in (
            (full, large, PLANE),
            (full, small, PLANE),
            (name, large, PLANE),
            (full, large, EDGES),
            (full, small, EDGES),
            (name, small, PLANE),
            (full, large, np.inf),
            (name, large, np.inf),
        ):
            size_of = (text_width(text, size, bold=False), 1.1 * size)
            # On the bare plane between edges, rows and other names; else over edges; else least in the way.
            strict = most < np.inf
            shut = outside | (crowd.cost > most)
            extra = np.where(shut, 500.0 if strict else 50.0, 0.0).astype(np.float64)
            found = crowd.place(size_of, (anchor[0], anchor[1]), pull=0.5, extra=extra)
            if found is None or _is_hidden(plane, found, analysis, scene, view):
                continue
            if crowd.covered(found).max() > most or _covers(outside, crowd, found):
                continue
            middle = (found[0], 0.5 * (found[1] + found[3]))
            overlay.texts.append(Text(text, middle, size, False, style.INK, "left", True))
            crowd.take(found)
            break
        else:
            _tied_name(overlay, crowd, analysis, scene, view, plane, corners)


def _tied_name(
    overlay: Overlay, crowd: Crowd, analysis: Analysis, scene: Scene, view: View, plane: int, corners: Array
) -> None:
    """Name of a plane without room for it: beside the roof, with a line to what is seen of the plane."""
    planes, point, size = analysis.project.roof.planes, overlay.point, overlay.type_size("note")
    name = planes.name[plane]
    outline = planes.outline[plane]
    low_u, low_v, high_u, high_v = outline.bounds
    share = (np.arange(SAMPLES) + 0.5) / SAMPLES
    u, v = np.meshgrid(low_u + share * (high_u - low_u), low_v + share * (high_v - low_v))
    uv = np.column_stack([u.ravel(), v.ravel()])
    on_plane = planes.to_world(plane, uv[shapely.contains_xy(outline, uv)]) + 0.02 * planes.normal[plane]
    behind = hidden(on_plane, view.toward, scene.body)
    seen = view.project(on_plane[~behind])
    size_of = (text_width(name, size, bold=False), 1.1 * size)
    box = None
    if len(seen):
        at = seen[np.argmax(_clearance(crowd, view, seen, view.project(on_plane[behind]), corners))]
        extra = np.where(crowd.cost > WALL, 500.0, 0.0)
        box = crowd.place(size_of, (float(at[0]), float(at[1])), pull=2.0, least=1.2 * size, extra=extra)
    if box is None or not crowd.empty(box):
        overlay.unnamed.append(name)
        return
    gap = 2.5 * point
    start = np.array([np.clip(at[0], box[0] - gap, box[2] + gap), np.clip(at[1], box[1] - gap, box[3] + gap)])
    overlay.shapes.append(Shape(np.stack([start, at]), line=style.MUTED, width=0.6 * point))
    overlay.shapes.append(Shape(dot(at, 1.5 * point), fill=style.INK))
    overlay.texts.append(Text(name, (box[0], 0.5 * (box[1] + box[3])), size, False, style.INK, "left", True))
    crowd.take(box)
    crowd.cover_line(start, at, point, 20.0)


def _clearance(crowd: Crowd, view: View, seen: Array, behind: Array, corners: Array) -> Array:
    """Distance of points of a plane from its rim and from what is hidden; less where rows run. [px]."""
    rim = shapely.LinearRing(view.project(corners))
    room = shapely.distance(rim, shapely.points(seen))
    if len(behind):
        room = np.minimum(room, np.linalg.norm(seen[:, None] - behind, axis=2).min(axis=1))
    cell = np.clip(
        ((seen - np.array(crowd.box[:2])) / GRID).astype(int), 0, np.array(crowd.cost.shape)[::-1] - 1
    )
    busy = crowd.cost[cell[:, 1], cell[:, 0]] > PLANE
    return np.asarray(np.where(busy, 0.1 * room, room))


def _covers(outside: NDArray[np.bool_], crowd: Crowd, box: tuple[float, float, float, float]) -> bool:
    """Whether more of a box than a rim lies outside."""
    left, top, right, bottom = ((np.array(box) - np.tile(crowd.box[:2], 2)) / GRID).astype(int)
    return bool(np.mean(outside[top : bottom + 1, left : right + 1]) > RIM)


def _is_hidden(
    plane: int, box: tuple[float, float, float, float], analysis: Analysis, scene: Scene, view: View
) -> bool:
    """Whether something stands in front of a plane where its name would go."""
    planes = analysis.project.roof.planes
    x, y = np.meshgrid(np.linspace(box[0], box[2], 4), [0.5 * (box[1] + box[3]), box[3]])
    at = (np.column_stack([x.ravel(), y.ravel()]) - view.shift) / view.scale
    ray = at[:, :1] * view.right - at[:, 1:] * view.up
    normal = planes.normal[plane]
    distance = ((planes.origin[plane] - ray) @ normal) / (view.toward @ normal)
    on_plane = ray + distance[:, None] * view.toward + 0.02 * normal
    return bool(hidden(on_plane, view.toward, scene.body).any())
