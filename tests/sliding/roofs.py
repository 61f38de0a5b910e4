"""Roofs, rows and snow for the sliding tests."""

import numpy as np
import shapely

from roofmodel.hardware import Panel
from roofmodel.project.placement import place_rows
from roofmodel.project.schema import PlaneChoice, RowTable
from roofmodel.shape.builders import RoofPart, build_roof
from roofmodel.snow.cases import LoadLevel, SnowCase, Zone

PSF, FT = 47.880258980335836, 0.3048
PLF = PSF * FT
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


def unbalanced_gable():
    """A 5:12 gable, W = 40 ft, ASCE/SEI 7-16 7.6.1: 30.8 psf, 29.874 psf more over 9.9582 ft at the ridge."""
    width, strip = 40 * FT, 9.9582 * FT
    roof = gable(length=10.0, width=2 * width, pitch=np.degrees(np.arctan(5 / 12)))
    upper = shapely.box(0.0, width - strip, 10.0, width)
    extra = Zone("strip", roof.planes.name.index("S1"), upper, np.array([29.874 * PSF, 0, 0]), "7.6.1", "p")
    return roof, with_zone("unbalanced", uniform(roof, 30.8 * PSF), extra)


def drifted_shed():
    """24 psf and a triangle of drift, 60 psf and 14 ft long, on a shed of 20 ft at 14.036 degrees."""
    run, drift = 20 * FT, 14 * FT
    pitch = np.array([np.radians(14.036)])
    roof = build_roof([RoofPart("shed", rectangle(8.0, run), pitch, 3.0, fall_azimuth=np.pi)])
    slope = 60 * PSF / drift
    pressure = np.array([-slope * (run - drift), 0.0, slope])
    extra = Zone("drift", 0, shapely.box(0, run - drift, 8, run), pressure, "7.7", "p")
    return roof, with_zone("drift", uniform(roof, 24 * PSF), extra)


def with_zone(name, base, extra):
    return SnowCase(name, "test", LoadLevel.CHARACTERISTIC, (*base.zones, extra), 300.0)
