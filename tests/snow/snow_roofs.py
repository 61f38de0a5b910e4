"""Small roofs assembled by hand, so that the snow rules are tested without the roof recognition."""

from __future__ import annotations

import numpy as np
from shapely import Polygon

from roofmodel.shape.builders import RoofPart, build_roof
from roofmodel.snow.cases import case_force, case_pressure_at
from roofmodel.snow.regions import plan_polygon
from roofmodel.surface import EdgeKind, Edges, Planes, RoofSurface, Steps

FLAT_DIRECTION = np.array([0.0, 1.0, 0.0])


def assemble(faces, names, steps=(), turn=0.0, shift=(0.0, 0.0, 0.0)):
    """Roof of plane polygons (counter-clockwise on plan) and steps (lower, upper, start, end, walls, gap)."""
    cos, sin = np.cos(turn), np.sin(turn)
    spin = np.array([[cos, sin, 0.0], [-sin, cos, 0.0], [0.0, 0.0, 1.0]])  # clockwise from above
    faces = [np.asarray(face, dtype=float) @ spin.T + np.asarray(shift) for face in faces]
    planes = _planes(faces, names)
    edges = _edges(faces, planes)
    rows = [
        (
            lower,
            upper,
            -1,
            -1,
            spin @ np.array(a, float) + shift,
            spin @ np.array(b, float) + shift,
            walls,
            gap,
        )
        for lower, upper, a, b, walls, gap in steps
    ]
    lower, upper, le, ue, start, end, wall, gap = (
        zip(*rows, strict=True)
        if rows
        else ([], [], [], [], np.empty((0, 3)), np.empty((0, 3)), np.empty((0, 2)), [])
    )
    found = Steps(
        *(np.array(column, dtype=np.int64) for column in (lower, upper, le, ue)),
        np.array(start, float),
        np.array(end, float),
        np.array(wall, float),
        np.array(gap, float),
        np.full(len(rows), -1),
    )
    points = np.concatenate(faces)
    return RoofSurface(
        points, np.empty((0, 3), np.int64), np.empty(0, np.int64), planes, edges, found, np.zeros(3)
    )


def _planes(faces, names):
    rows = []
    for face in faces:
        normal = np.sum(np.cross(face, np.roll(face, -1, axis=0)), axis=0)
        normal /= np.linalg.norm(normal)
        flat = np.hypot(normal[0], normal[1]) < 1e-9
        up = FLAT_DIRECTION if flat else np.array([0.0, 0.0, 1.0]) - normal[2] * normal
        up = up / np.linalg.norm(up)
        across = np.cross(up, normal)
        uv = np.stack([face @ across, face @ up], axis=1)
        low = uv.min(axis=0)
        origin = low[0] * across + low[1] * up + (face[0] @ normal) * normal
        rows.append((origin, across, up, normal, np.arccos(min(normal[2], 1.0)), Polygon(uv - low)))
    origin, across, up, normal, slope, outline = zip(*rows, strict=True)
    normal = np.array(normal)
    azimuth = np.arctan2(normal[:, 0], normal[:, 1]) % (2.0 * np.pi)
    return Planes(
        tuple(names),
        np.array(origin),
        np.array(across),
        np.array(up),
        normal,
        np.array(slope),
        azimuth,
        outline,
    )


def _edges(faces, planes):
    sides = {}
    for k, face in enumerate(faces):
        for a, b in zip(face, np.roll(face, -1, axis=0), strict=True):
            key = tuple(sorted((tuple(np.round(a, 5)), tuple(np.round(b, 5)))))
            sides.setdefault(key, []).append((k, a, b))
    name, kind, start, end, pair = [], [], [], [], []
    for owners in sides.values():
        plane, a, b = owners[0]
        other = owners[1][0] if len(owners) > 1 else -1
        kind.append(_kind(planes, plane, other, a, b))
        name.append(f"{planes.name[plane]} {len(name)}")
        start.append(a)
        end.append(b)
        pair.append((plane, other))
    start, end = np.array(start), np.array(end)
    height = np.minimum(start[:, 2], end[:, 2])
    return Edges(tuple(name), tuple(kind), start, end, np.array(pair), height)


def _kind(planes, plane, other, a, b):
    along = (b - a)[:2] / np.hypot(*(b - a)[:2])
    outward = np.array([along[1], -along[0]])
    toward = planes.normal[plane][:2] @ outward
    if other < 0:
        return EdgeKind.EAVE if toward > 1e-6 else EdgeKind.HEAD if toward < -1e-6 else EdgeKind.RAKE
    across = -planes.normal[other][:2] @ outward
    if toward < 1e-9 and across < 1e-9:
        return EdgeKind.RIDGE if abs(a[2] - b[2]) < 1e-9 else EdgeKind.HIP
    return EdgeKind.VALLEY if toward > 1e-9 and across > 1e-9 else EdgeKind.BREAK


def gable_faces(length, run, slope, base=0.0, x0=0.0, y0=0.0):
    """South and north faces of a gable whose ridge runs east."""
    top = base + run * np.tan(np.radians(slope))
    x1, ym, y1 = x0 + length, y0 + run, y0 + 2.0 * run
    south = [(x0, y0, base), (x1, y0, base), (x1, ym, top), (x0, ym, top)]
    north = [(x1, y1, base), (x0, y1, base), (x0, ym, top), (x1, ym, top)]
    return [south, north]


def gable(length=20.0, run=9.144, slope=26.56505117707799, **place):
    return assemble(gable_faces(length, run, slope), ("S1", "N1"), **place)


def shed(length=10.0, run=6.0, slope=20.0, **place):
    top = run * np.tan(np.radians(slope))
    return assemble([[(0, 0, 0), (length, 0, 0), (length, run, top), (0, run, top)]], ("S1",), **place)


def hip(length=20.0, run=5.0, slope=25.0, **place):
    top = run * np.tan(np.radians(slope))
    w = 2.0 * run
    a, b = (run, run, top), (length - run, run, top)
    faces = [
        [(0, 0, 0), (length, 0, 0), b, a],
        [(length, w, 0), (0, w, 0), a, b],
        [(length, 0, 0), (length, w, 0), b],
        [(0, w, 0), (0, 0, 0), a],
    ]
    return assemble(faces, ("S1", "N1", "E1", "W1"), **place)


def ell(slope=25.0, **place):
    """Main gable, ridge east-west, with a gabled wing of the same width to the south; two valleys."""
    t = 4.0 * np.tan(np.radians(slope))
    faces = [
        [(0, 0, 0), (6, 0, 0), (10, 4, t), (0, 4, t)],
        [(20, 8, 0), (0, 8, 0), (0, 4, t), (10, 4, t), (20, 4, t)],
        [(6, -10, 0), (10, -10, t), (10, 4, t), (6, 0, 0)],
        [(14, -10, 0), (14, 0, 0), (10, 4, t), (10, -10, t)],
        [(14, 0, 0), (20, 0, 0), (20, 4, t), (10, 4, t)],
    ]
    return assemble(faces, ("S1", "N1", "W1", "E1", "S2"), **place)


def step(wall=3.0, gap=0.0, lower_run=12.0, upper_run=15.0, length=30.0, lower_slope=0.0, **place):
    """Gable with its ridge east-west, and a lower roof to the south that falls south from the wall.

    `wall` may be two heights, at the east and west end; `upper_slope` and `overhang` of the upper eave too.
    """
    slope, over = place.pop("upper_slope", 20.0), place.pop("overhang", 0.0)
    walls = wall if isinstance(wall, tuple) else (wall, wall)
    rise = lower_run * np.tan(np.radians(lower_slope))
    upper = gable_faces(length, upper_run, slope, base=max(walls))
    foot = over - gap
    lower = [(0, foot - lower_run, -rise), (length, foot - lower_run, -rise), (length, foot, 0), (0, foot, 0)]
    joint = (2, 0, (length, foot, 0.0), (0.0, foot, 0.0), walls, gap)
    name = "F1" if lower_slope == 0.0 else "S2" if lower_slope > 0.0 else "N2"
    return assemble([*upper, lower], ("S1", "N1", name), [joint], **place)


def broken(order=(0, 1), slope=50.0, lower_slope=20.0):
    """Mansard-like shed: a steep plane above a flatter one, both falling south, in either order."""
    top = 4.0 * np.tan(np.radians(lower_slope))
    high = top + 2.0 * np.tan(np.radians(slope))
    faces = [
        [(0, 0, 0), (10, 0, 0), (10, 4, top), (0, 4, top)],
        [(0, 4, top), (10, 4, top), (10, 6, high), (0, 6, high)],
    ]
    return assemble([faces[i] for i in order], [("S1", "S2")[i] for i in order])


def bent():
    """Step whose wall bends by 2.3 degrees toward the lower roof, so that the drifts overlap a little."""
    upper = gable_faces(30.0, 15.0, 20.0, base=4.0)
    lower = [(0, -12, 0), (30, -12, 0), (30, 0, 0), (15, 0, 0), (0, -0.6, 0)]
    joints = [
        (2, 0, (30, 0, 0), (15, 0, 0), (4.0, 4.0), 0.0),
        (2, 0, (15, 0, 0), (0, -0.6, 0), (4.0, 4.0), 0.0),
    ]
    return assemble([*upper, lower], ("S1", "N1", "F1"), joints)


def corner(wall=4.0, **place):
    """Flat lower roof in the inner corner of an L-shaped flat upper roof: walls to its north and east."""
    faces = [
        [(0, 20, wall), (30, 20, wall), (30, 40, wall), (0, 40, wall)],
        [(20, 0, wall), (30, 0, wall), (30, 20, wall), (20, 20, wall)],
        [(0, 0, 0), (20, 0, 0), (20, 20, 0), (0, 20, 0)],
    ]
    joints = [
        (2, 0, (20, 20, 0.0), (0, 20, 0.0), (wall, wall), 0.0),
        (2, 1, (20, 0, 0.0), (20, 20, 0.0), (wall, wall), 0.0),
    ]
    return assemble(faces, ("F1", "F2", "F3"), joints, **place)


def court(run=12.0, wall=4.0, slope=30.0, **place):
    """Flat roof in the inside corner of two gables whose slopes shed onto it from the north and the east."""
    rise = 8.0 * np.tan(np.radians(slope))
    up = wall + rise
    faces = [
        [(0, run, wall), (run, run, wall), (run, run + 8, up), (0, run + 8, up)],
        [(run, 0, wall), (run + 8, 0, up), (run + 8, run, up), (run, run, wall)],
        [(0, 0, 0), (run, 0, 0), (run, run, 0), (0, run, 0)],
    ]
    joints = [
        (2, 0, (run, run, 0.0), (0, run, 0.0), (wall, wall), 0.0),
        (2, 1, (run, 0, 0.0), (run, run, 0.0), (wall, wall), 0.0),
    ]
    return assemble(faces, ("S1", "W1", "F1"), joints, **place)


def folded(spans=2, half=6.0, degrees=30.0, length=20.0, turn=0.0):
    """Parallel gables side by side, ridges along x before they are turned."""
    cos, sin = np.cos(turn), np.sin(turn)
    spin = np.array([[cos, sin], [-sin, cos]])
    box = np.array([[0.0, 0.0], [length, 0.0], [length, 2 * half], [0.0, 2 * half]])
    pitches = np.radians([degrees, np.nan, degrees, np.nan])
    return build_roof(
        [RoofPart("gable", (box + np.array([0.0, 2 * half * k])) @ spin, pitches, 4.0) for k in range(spans)]
    )


def saw_tooth(degrees=20.0, teeth=3):
    corners = np.array([[0.0, 0.0], [20.0, 0.0], [20.0, 18.0], [0.0, 18.0]])
    return build_roof(
        [RoofPart("saw-tooth", corners, np.radians([degrees]), 4.0, fall_azimuth=0.0, teeth=teeth)]
    )


def plane_force(roof, case):
    """Vertical snow force on each plane (p,). [N]."""
    polygons = np.array([plan_polygon(roof, i) for i in range(roof.planes.count)])
    return case_force(case, polygons, np.arange(roof.planes.count))


def pressure(case, plane, *xy):
    """Pressure at plan points of one plane. [Pa]."""
    return case_pressure_at(case, np.array(xy, dtype=float), np.full(len(xy), plane))


def named(snow, start):
    """The one case whose name starts so."""
    (case,) = [case for case in snow.cases if case.name.startswith(start)]
    return case
