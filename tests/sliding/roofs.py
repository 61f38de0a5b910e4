"""Roofs, rows and snow for the sliding tests."""

import numpy as np
import shapely

from roofmodel.hardware import Panel
from roofmodel.project.placement import place_rows
from roofmodel.project.schema import PlaneChoice, RowTable
from roofmodel.shape.builders import RoofPart, build_roof
from roofmodel.snow.cases import LoadLevel, SnowCase, Zone

PANEL = Panel(0.4, 0.05, 0.0006, "steel", 0.5, np.nan, np.nan, 1.0)


def rectangle(length, width):
    return np.array([[0.0, 0.0], [length, 0.0], [length, width], [0.0, width]])


def turned(points, angle, shift=(0.0, 0.0)):
    c, s = np.cos(angle), np.sin(angle)
    return np.asarray(points) @ np.array([[c, s], [-s, c]]) + shift


def gable(length=12.0, width=16.0, pitch=25.0, angle=0.0):
    pitches = np.radians([pitch, np.nan, pitch, np.nan])
    return build_roof([RoofPart("gable", turned(rectangle(length, width), angle), pitches, 3.0)])


def hip(length=12.0, width=12.0, pitch=25.0, angle=0.0):
    footprint = turned(rectangle(length, width), angle)
    return build_roof([RoofPart("hip", footprint, np.radians([pitch] * 4), 3.0)])


def l_shape(pitch=30.0, angle=0.0):
    points = [[0, 0], [16, 0], [16, 8], [8, 8], [8, 18], [0, 18]]
    return build_roof([RoofPart("L", turned(points, angle), np.radians([pitch] * 6), 3.0)])


def plan(roof, plane):
    outline = roof.planes.outline[plane]
    rings = [
        roof.planes.to_world(plane, np.asarray(r.coords))[:, :2]
        for r in (outline.exterior, *outline.interiors)
    ]
    return shapely.Polygon(rings[0], rings[1:])


def uniform(roof, pressure):
    pressure = np.broadcast_to(pressure, roof.planes.count)
    zones = tuple(
        Zone("even", i, plan(roof, i), np.array([pressure[i], 0.0, 0.0]), "none", "p")
        for i in range(roof.planes.count)
    )
    return SnowCase("even", "test", LoadLevel.MEASURED, zones, 300.0)


def rows(roof, *tables, planes=()):
    made = [RowTable.model_validate({"name": f"R{i + 1}", **t}) for i, t in enumerate(tables)]
    return place_rows(roof, made, [PlaneChoice.model_validate(p) for p in planes], PANEL)


def slope_length(value):
    return f"{float(value)!r} m"


def force_per_row(layout, force, case=0):
    return np.bincount(force.row, -force.thrust[case, :, 1], len(layout.row_name))


def line_force(force, row, case=0):
    on = force.row == row
    length = np.diff(force.span[on], axis=1)[:, 0]
    return force.span[on].mean(axis=1), -force.thrust[case, on, 1] / length
