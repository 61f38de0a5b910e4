"""Plan of what is protected and of the planned rows, below the picture of a plan."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray

from fea.planning.plan import Plan
from roofmodel.project.load import Project
from roofmodel.project.plan_schema import ProtectTable
from roofmodel.project.protected import marked_place
from roofmodel.shape.planes import plan_polygon
from viewer import style
from viewer.picture.labels import fit_text, text_width, wrap_text
from viewer.picture.scale_bar import draw_scale_bar
from viewer.picture.sheet import MARGIN, Overlay, Shape
from viewer.picture.standing import draw_standing
from viewer.plan.words import nth_seam, row_lines
from viewer.quantities import percent, system
from viewer.roof.names import PlanView

Array = NDArray[np.float64]
Box = tuple[float, float, float, float]

HIGH, DIVIDE = 400.0, 0.60  # of the band [pt], and its share for the plan
HATCH = 7.0  # between the lines of what is protected [pt]
LISTED = 20  # rows in the table
PLACES = (0.5, 0.25, 0.75, 0.1, 0.9)  # along a row, where its name is tried
BEYOND = 11.0  # how much farther off it is tried then, such as beyond an eave [pt]
CLAMP = 2.4  # what a row takes of the drawing to each side of its line [pt]


@dataclass(frozen=True)
class Guarded:
    """Something protected: its name, whose snow comes down on it, and where it is on plan. [m]."""

    name: str
    planes: tuple[str, ...]
    shape: shapely.Geometry


def guarded(project: Project, plan: Plan) -> list[Guarded]:
    """What [[protect]] marks; nothing where all around the roof is protected."""
    planes = dict(plan.threats.by)
    return [
        Guarded(mark.name, planes.get(mark.name, ()), _shape(project, mark)) for mark in project.table.protect
    ]


def _shape(project: Project, mark: ProtectTable) -> shapely.Geometry:
    """Where it is, in the roof's local coordinates. [m]."""
    roof = project.roof
    if mark.area is not None or mark.line is not None:
        return marked_place(mark, roof)
    if mark.eave is not None:
        edge = roof.edges.name.index(mark.eave)
        plane = int(roof.edges.plane[edge, 0])
        ends = roof.planes.to_plane(plane, np.stack([roof.edges.start[edge], roof.edges.end[edge]]))
        ends = ends[np.argsort(ends[:, 0])]
        left, right = ends[:, 0]
        low = left if mark.start is None else np.clip(left + mark.start, left, right)
        high = right if mark.end is None else np.clip(left + mark.end, left, right)
        at = np.column_stack([[low, high], np.interp([low, high], ends[:, 0], ends[:, 1])])
        return shapely.LineString(roof.planes.to_world(plane, at)[:, :2])
    names = mark.planes if mark.planes is not None else mark.onto or []
    outlines = [plan_polygon(roof.planes, roof.planes.name.index(name)) for name in names]
    return shapely.union_all(outlines, grid_size=1e-3)


def draw_map(overlay: Overlay, project: Project, plan: Plan) -> int:
    """Draw the plan below the sheet, with the rows and what is protected.

    Parameters
    ----------
    overlay : Overlay
        Its size is the sheet's; the drawing begins at its lower edge.
    project : Project
    plan : Plan

    Returns
    -------
    int
        Height of the band that it takes. [px]
    """
    point, roof = overlay.point, project.roof
    top, wide = float(overlay.size[1]), overlay.size[0]
    left, middle, right = MARGIN * point, DIVIDE * wide, wide - MARGIN * point
    marks = guarded(project, plan)
    rule = np.array([[left, top], [right, top]])
    overlay.shapes.append(Shape(rule, line=style.HAIRLINE, width=0.8 * point))
    heading = "Planned rows and what they protect" if marks else "Planned rows"
    overlay.write(heading, left, top + 18.0 * point, "heading", bold=True)
    around = [shapely.get_coordinates(one.shape) for one in marks]
    points = np.concatenate([roof.points[:, :2], *around])
    box = (left + 10.0 * point, top + 38.0 * point, middle - 14.0 * point, top + (HIGH - 46.0) * point)
    view = PlanView(points, box)
    for index in range(roof.planes.count):
        ring = shapely.get_coordinates(plan_polygon(roof.planes, index).exterior)
        overlay.shapes.append(Shape(view.at(ring)[:-1], fill=style.TINT))
    for one in marks:
        _draw_guarded(overlay, view, one)
    draw_standing(overlay, roof, view.at)
    for start, end, kind in zip(roof.edges.start, roof.edges.end, roof.edges.kind, strict=True):
        ends = view.at(np.stack([start, end]))
        overlay.shapes.append(Shape(ends, line=style.INK, width=0.7 * style.EDGE_WEIGHT[kind] * point))
    taken = [text.box for text in overlay.texts]
    _rows(overlay, plan, view, taken)
    for one in marks:
        _name(overlay, view, one, taken)
    _table(overlay, project, plan, marks, (middle + 6.0 * point, top + 18.0 * point, right))
    draw_scale_bar(
        overlay, view.scale, system(project.table.project.units), left, top + (HIGH - 16.0) * point
    )
    return round(HIGH * point)


def _draw_guarded(overlay: Overlay, view: PlanView, one: Guarded) -> None:
    """Hatch and outline of an area; a thick line of an eave or a line."""
    point = overlay.point
    for part in shapely.get_parts(one.shape):
        if isinstance(part, shapely.LineString):
            line = view.at(shapely.get_coordinates(part))
            overlay.shapes.append(Shape(line, line=style.PROTECTED, width=5.0 * point))
            continue
        if not isinstance(part, shapely.Polygon):
            continue
        page = shapely.Polygon(
            view.at(shapely.get_coordinates(part.exterior)),
            [view.at(shapely.get_coordinates(hole)) for hole in part.interiors],
        )
        x0, y0, x1, y1 = page.bounds
        offset = np.arange(x0 - (y1 - y0), x1, HATCH * point)
        lines = shapely.linestrings([[[c, y1], [c + (y1 - y0), y0]] for c in offset])
        for line in shapely.get_parts(shapely.intersection(lines, page)):
            ends = shapely.get_coordinates(line)
            if len(ends) == 2:
                overlay.shapes.append(Shape(ends, line=style.PROTECTED, width=0.7 * point))
        for ring in (page.exterior, *page.interiors):
            outline = shapely.get_coordinates(ring)
            overlay.shapes.append(Shape(outline, line=style.PROTECTED, width=1.8 * point))


def _rows(overlay: Overlay, plan: Plan, view: PlanView, taken: list[Box]) -> None:
    """Rails with their clamps, and on each its name and number of clamps, where there is room."""
    point, layout, roof = overlay.point, plan.analysis.project.layout, plan.analysis.project.roof
    start = view.at(roof.planes.to_world(layout.row_plane, layout.row_start))
    end = view.at(roof.planes.to_world(layout.row_plane, layout.row_end))
    clamps = view.at(roof.planes.to_world(layout.row_plane[layout.clamp_row], layout.clamp_uv))
    count = np.bincount(layout.clamp_row, minlength=len(layout.row_name))
    for ends in zip(start, end, strict=True):
        overlay.shapes.append(Shape(np.array(ends), line=style.INK, width=2.2 * point))
    square = point * np.array([[-1.0, -1.0], [1.0, -1.0], [1.0, 1.0], [-1.0, 1.0]])
    for at in clamps:
        overlay.shapes.append(Shape(at + 1.9 * square, fill=style.INK))
        overlay.shapes.append(Shape(at + 1.1 * square, fill=style.PAPER))
    size = overlay.type_size("note")
    low, high = np.array(view.box[:2]) - 0.9 * BEYOND * point, np.array(view.box[2:])
    bounds = view.at(np.stack([roof.edges.start, roof.edges.end], axis=1))
    edges = [shapely.LineString(one) for one in bounds]
    rails = np.array([shapely.LineString(ends) for ends in zip(start, end, strict=True)], dtype=object)
    drawn = shapely.union_all(np.array([*edges, *shapely.buffer(rails, CLAMP * point)], dtype=object))
    for row in np.argsort(-np.linalg.norm(end - start, axis=1), kind="stable"):
        way = end[row] - start[row]
        side = np.array([way[1], -way[0]]) / max(float(np.linalg.norm(way)), 1e-9)
        name = layout.row_name[row]
        found = []
        for more in (0.0, BEYOND * point):
            for words in (f"{name}: {count[row]} clamps", name):  # the table tells the number too
                half = np.array([0.5 * text_width(words, size, bold=True), 0.55 * size])
                away = (abs(side[0]) * half[0] + abs(side[1]) * half[1] + 4.0 * point + more) * side
                places = np.array([start[row] + s * way + t * away for t in (1, -1) for s in PLACES])
                boxes = shapely.box(*np.concatenate([places - half, places + half], axis=1).T)
                crossed = shapely.length(shapely.intersection(boxes, drawn))
                if more:  # only where no other row is nearer, and within the drawing
                    nearest = np.array([shapely.distance(shapely.Point(at), rails).argmin() for at in places])
                    inside = (places - half >= low) & (places + half <= high)
                    crossed = np.where((nearest == row) & inside.all(axis=1), crossed, np.inf)
                order = np.argsort(np.round(crossed), kind="stable")
                found.append((crossed[order], list(places[order]), half, words))
        clear = [
            (words, [place for place, length in zip(places, crossed, strict=True) if length < 1.0], half)
            for crossed, places, half, words in found
        ]
        tries = [*clear, (found[1][3], found[1][1], found[1][2])]  # across a line, as short as can be
        any(_put(overlay, words, places, half, taken) for words, places, half in tries)


def _put(overlay: Overlay, words: str, places: list[Array], half: Array, taken: list[Box]) -> bool:
    """Write words at the first place that is free."""
    for middle in places:
        low, high = middle - half, middle + half
        if any(low[0] < b[2] and b[0] < high[0] and low[1] < b[3] and b[1] < high[1] for b in taken):
            continue
        taken.append((float(low[0]), float(low[1]), float(high[0]), float(high[1])))
        overlay.write(words, float(middle[0]), float(middle[1]), "note", bold=True, align="center", halo=True)
        return True
    return False


def _name(overlay: Overlay, view: PlanView, one: Guarded, taken: list[Box]) -> None:
    """Name of something protected, on it or close by."""
    point, size = overlay.point, overlay.type_size("note")
    words = fit_text(one.name, size, 150.0 * point, bold=True)
    half = np.array([0.5 * text_width(words, size, bold=True), 0.55 * size])
    middle = view.at(shapely.get_coordinates(shapely.point_on_surface(one.shape))[0])
    steps = point * np.array([[0.0, 0.0], *([x, y] for y in (13, -13, 26, -26) for x in (0, 40, -40))])
    places = list(np.clip(middle + steps, view.box[:2] + half, view.box[2:] - half))
    before = len(overlay.texts)
    if _put(overlay, words, places, half, taken):
        text = overlay.texts.pop(before)
        overlay.write(
            text.text, *text.at, "note", bold=True, color=style.PROTECTED, align="center", halo=True
        )


def _table(
    overlay: Overlay, project: Project, plan: Plan, marks: list[Guarded], at: tuple[float, float, float]
) -> None:
    """What each row is, what it protects, and what the drawing means."""
    point, units = overlay.point, system(project.table.project.units)
    left, y, right = at
    size = overlay.type_size("note")
    lines = row_lines(plan)
    rows = f"{len(lines)} row{'s' * (len(lines) != 1)}"
    overlay.write(f"{rows}, {plan.clamps:,} clamps", left, y, "legend", bold=True)
    overlay.write("most used", right, y, "note", color=style.MUTED, align="right")
    for line in lines[:LISTED]:
        y += 12.0 * point
        overlay.write(line.name, left, y, "note", bold=True)
        words = f"{line.clamps} on every {nth_seam(line.every)}, {units.text(line.up, 'length')} up"
        overlay.write(fit_text(words, size, 142.0 * point), left + 46.0 * point, y, "note")
        overlay.write(percent(line.utilization), right, y, "note", align="right")
    if len(lines) > LISTED:
        y += 12.0 * point
        overlay.write(f"and {len(lines) - LISTED} more, in plan.json", left, y, "note", color=style.MUTED)
    y += 20.0 * point
    overlay.write("Protected", left, y, "legend", bold=True, color=style.PROTECTED)
    said = [f"{one.name}: snow of {', '.join(one.planes) or 'no plane'}" for one in marks]
    said = said or ["everything below the roof: nothing is marked by [[protect]]"]
    last = float(overlay.size[1]) + (HIGH - 30.0) * point
    for words in said:
        for piece in wrap_text(words, size, right - left):
            y += 12.0 * point
            if y < last:
                overlay.write(piece, left, y, "note")
    y += 16.0 * point
    if y < last:
        words = "What lies below the lowest rows still falls."
        overlay.write(words, left, y, "note", bold=True)
