"""The first sheet of plan.dxf: the roof from above, with names that keep off what is drawn."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from roofmodel.project.load import Project
from viewer.handover.pen import LETTER, Sheet, note, put, write
from viewer.handover.shapes import glass
from viewer.handover.sheets import TEXT, Place, overview_scale

Array = NDArray[np.float64]

AROUND = 5.0  # room on every side of the roof, over the height of text [-]
TRIED = 24  # places along each side of a plane where its name may stand
ALONG = (0.3, 0.5, 0.7, 0.15, 0.85)  # of a rail, where its name may stand [-]


def overview(plan: Sheet, project: Project, at: Array) -> Place:
    """The roof seen from above with its planes and rows, north up; its top left corner at `at`."""
    roof = project.roof
    low, high = roof.points[:, :2].min(axis=0), roof.points[:, :2].max(axis=0)
    scale = overview_scale(high - low, plan.system, AROUND * TEXT)
    sheet = replace(plan, text=TEXT * 1e-3 * scale / plan.unit)
    shift = at + np.array([-low[0], -high[1]])
    gap = sheet.text * sheet.unit
    write(sheet, "Seen from above, north up", at + np.array([0.0, 2.0 * gap]), size=1.4)
    taken: list[BaseGeometry] = []
    for start, end in zip(roof.edges.start[:, :2], roof.edges.end[:, :2], strict=True):
        put(sheet, np.stack([start, end]) + shift, "ROOF")
    for one in np.flatnonzero(~roof.obstacles.parapet):
        foot = roof.obstacles.start[roof.obstacles.face == one, :2]
        put(sheet, foot + shift, "OBSTRUCTIONS", close=True)
        taken.append(shapely.Polygon(foot))
    for plane in range(roof.planes.count):
        for _, ring in glass(project, plane):
            seen = roof.planes.to_world(plane, ring)[:, :2]
            put(sheet, seen + shift, "SOLAR", close=True)
            taken.append(shapely.Polygon(seen))
    taken += _rows(sheet, project, shift, taken)
    for plane, name in enumerate(roof.planes.name):
        words = (f"{name}  {np.degrees(roof.planes.slope[plane]):.1f} deg", name)
        shown, place, box = _place(project, plane, words, gap, taken)
        note(sheet, shown, place + shift, 0.0, corner=5)
        taken.append(box)
    arrow = at + np.array([high[0] - low[0] + 4.0 * gap, -6.0 * gap])
    put(sheet, arrow + gap * np.array([[0.0, -3.0], [0.0, 3.0], [-0.8, 1.2]]), "TEXT")
    put(sheet, arrow + gap * np.array([[0.0, 3.0], [0.8, 1.2]]), "TEXT")
    write(sheet, "N", arrow + np.array([0.0, 3.6 * gap]), align="BOTTOM_CENTER")
    size = high - low
    around = np.array([AROUND, AROUND]) * gap
    corner = at + np.array([size[0], 0.0]) + around
    return Place("Roof from above", at - [0.0, size[1]] - around, corner, scale)


def _rows(sheet: Sheet, project: Project, shift: Array, taken: list[BaseGeometry]) -> list[BaseGeometry]:
    """Rails and their names, where these keep off each other, other rails and the edges; what is drawn."""
    roof, layout, gap = project.roof, project.layout, sheet.text * sheet.unit
    ends = np.stack([layout.row_start, layout.row_end], axis=1)
    world = roof.planes.to_world(np.repeat(layout.row_plane, 2), ends.reshape(-1, 2)).reshape(-1, 2, 3)
    lines = world[..., :2]
    edges = shapely.union_all(
        shapely.linestrings(np.stack([roof.edges.start[:, :2], roof.edges.end[:, :2]], axis=1))
    )
    drawn: list[BaseGeometry] = [shapely.LineString(line) for line in lines]
    names: list[BaseGeometry] = []
    for row, line in enumerate(lines):
        put(sheet, line + shift, "RAILS")
        words = f"row {layout.row_name[row]}"
        way = (line[1] - line[0]) / np.linalg.norm(line[1] - line[0])
        turn = float(np.degrees(np.arctan2(way[1], way[0])))
        turn = turn - 180.0 if turn > 90.0 or turn <= -90.0 else turn
        up = np.array([-np.sin(np.radians(turn)), np.cos(np.radians(turn))])
        half = 0.5 * 0.9 * LETTER * len(words) * gap * way
        barred = shapely.union_all([*taken, *names, *drawn[:row], *drawn[row + 1 :], edges]).buffer(0.1 * gap)
        tried = []
        for share in ALONG:
            for foot in (0.4 * gap, -1.4 * gap):
                base = line[0] + share * (line[1] - line[0]) + foot * up
                box = shapely.Polygon(
                    [base - half, base + half, base + half + gap * up, base - half + gap * up]
                )
                tried.append((float(shapely.area(shapely.intersection(barred, box))), base, box))
        best = min(range(len(tried)), key=lambda k: (round(tried[k][0], 6), k))
        _, base, box = tried[best]
        write(sheet, words, base + shift, size=0.9, turn=turn, align="BOTTOM_CENTER")
        names.append(box)
    return [*names, *(line.buffer(0.5 * gap) for line in drawn)]


def _place(
    project: Project, plane: int, words: tuple[str, ...], gap: float, taken: list[BaseGeometry]
) -> tuple[str, Array, BaseGeometry]:
    """Words for a plane, the longest that have room on it, their middle, and the box that they take.

    Where none have room, the last ones stand where they cover least.
    """
    planes = project.roof.planes
    ring = planes.to_world(plane, np.asarray(planes.outline[plane].exterior.coords))[:, :2]
    outline = shapely.Polygon(ring).buffer(0.0)
    free = outline.buffer(-0.3 * gap).difference(shapely.union_all(taken))
    low, high = np.array(outline.bounds).reshape(2, 2)
    steps = (np.arange(TRIED) + 0.5) / TRIED
    grid = low + np.stack(np.meshgrid(steps, steps), axis=-1).reshape(-1, 2) * (high - low)
    middle = shapely.get_coordinates(outline.centroid)
    grid = np.concatenate([middle, grid[np.argsort(np.linalg.norm(grid - middle, axis=1))]])
    for one in words:
        half = np.array([0.5 * 0.9 * LETTER * len(one) + 0.3, 0.7]) * gap
        (left, below), (right, above) = (grid - half).T, (grid + half).T
        boxes: NDArray[np.object_] = np.asarray(shapely.box(left, below, right, above), dtype=object)
        room = np.flatnonzero(shapely.contains(free, boxes))
        if len(room):
            return one, grid[room[0]], boxes[room[0]]
    best = int(np.argmax(shapely.area(shapely.intersection(boxes, free)).round(6)))
    return words[-1], grid[best], boxes[best]
