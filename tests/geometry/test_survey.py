"""Meshes from measured points: noise of 3 cm, no point just on a crease, triangles of any shape."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from scipy.spatial import Delaunay
from shapes import GABLE, gable, hip, l_part, subdivided
from test_importing import save

from benchmarks.recognition import NOISE, measured
from roofmodel.shape.builders import build_roof
from roofmodel.shape.importing import import_roof
from roofmodel.shape.planes import plan_polygons
from roofmodel.shape.recognition import recognize
from roofmodel.shape.survey import survey_normals

ROOFS = {
    "gable": gable(),
    "hip": hip(),
    "large hip": hip(24.0, 14.0, 35.0),
    "L": l_part(),
    "saltbox": gable(20.0, 12.0, (22.0, GABLE, 40.0, GABLE)),
}


def share_right(found, true, seed=0):
    """Share of the plan on which the plane that was found has the true normal within 2 degrees."""
    rng = np.random.default_rng(seed)
    plan = plan_polygons(true.planes)
    whole = shapely.union_all(plan, grid_size=1e-6)
    low, high = np.array(whole.bounds).reshape(2, 2)
    spot = rng.uniform(low, high, (6000, 2))
    spot = spot[shapely.contains_xy(whole, *spot.T)]
    normals = []
    for roof in (found, true):
        at = spot - roof.offset[:2]
        normal = np.zeros((len(spot), 3))
        for index, polygon in enumerate(plan_polygons(roof.planes)):
            normal[shapely.contains_xy(polygon, *at.T)] = roof.planes.normal[index]
        normals.append(normal)
    return float((np.sum(normals[0] * normals[1], axis=1) > np.cos(np.radians(2.0))).mean())


def assert_understood(found, true):
    """The bars: 95% of the area right, slopes of planes above 10 m2 within 0.5 degrees."""
    assert share_right(found, true) > 0.95
    large = np.flatnonzero(found.planes.true_area > 10.0)
    near = np.argmax(found.planes.normal[large] @ true.planes.normal.T, axis=1)
    off = np.degrees(found.planes.slope[large] - true.planes.slope[near])
    assert np.abs(off).max() < 0.5
    assert int((true.planes.true_area > 12.0).sum()) <= len(large) <= true.planes.count
    assert found.planes.true_area.sum() == pytest.approx(true.planes.true_area.sum(), rel=0.05)
    assert any("rough like a survey" in note for note in found.notes)


@pytest.mark.parametrize("name", ROOFS)
@pytest.mark.parametrize("density", [8, 20])
def test_surveyed_roofs_are_understood(name, density):
    true = build_roof([ROOFS[name]])
    assert_understood(recognize(*measured(true, density, 0)), true)


@pytest.mark.slow
@pytest.mark.parametrize("name", ROOFS)
@pytest.mark.parametrize("seed", range(1, 9))
def test_surveyed_roofs_are_understood_whatever_the_points(name, seed):
    true = build_roof([ROOFS[name]])
    assert_understood(recognize(*measured(true, 8, seed)), true)


def test_a_surveyed_file_keeps_its_steep_triangles(tmp_path):
    """Noise tilts small triangles beyond 75 degrees; they are no walls."""
    true = build_roof([ROOFS["gable"]])
    points, faces = measured(true, 60, 1)
    found = import_roof(save(tmp_path / "s.ply", points, faces), unit="m", up="z")
    assert_understood(found, true)
    assert not any("taken as walls" in note for note in found.notes)


def test_ridges_stand_where_planes_meet():
    true = build_roof([ROOFS["gable"]])
    found = recognize(*measured(true, 20, 3))
    ridge = np.array([kind == "ridge" for kind in found.edges.kind])
    assert found.edges.length[ridge].sum() == pytest.approx(12.0, abs=0.3)
    ends = np.concatenate([found.edges.start[ridge], found.edges.end[ridge]])
    assert ends[:, 1] == pytest.approx(4.0, abs=0.1)
    assert ends[:, 2] == pytest.approx(3 + 4 * np.tan(np.radians(30)), abs=0.05)


def test_drawn_and_curved_roofs_are_no_surveys():
    built = build_roof([hip()])
    assert survey_normals(*subdivided(built.points, built.faces, 5)) is None
    turn, along = np.meshgrid(np.radians(np.linspace(30, 150, 25)), np.linspace(0, 12, 20))
    points = np.column_stack([along.ravel(), 5 * np.cos(turn).ravel(), 5 * np.sin(turn).ravel()])
    faces = Delaunay(np.column_stack([along.ravel(), turn.ravel()])).simplices
    assert survey_normals(points, faces) is None


@pytest.mark.parametrize("noise", [0.03, 0.05])
def test_the_noise_is_measured(noise):
    true = build_roof([hip(24.0, 14.0, 25.0)])
    points, faces = subdivided(true.points, true.faces, 6)
    points = points + np.random.default_rng(2).normal(0.0, noise, points.shape)
    _, found = survey_normals(points, faces)
    assert found == pytest.approx(noise, rel=0.15)


@pytest.mark.parametrize("more", [10.0, 15.0])
@pytest.mark.parametrize("seed", range(4))
def test_faces_that_close_the_hull_over_a_hollow_break_are_no_walls(more, seed):
    """12 by 10 m, 20 degrees below and more above: closed forms, less a strip at the rim."""
    low, high = np.tan(np.radians([20.0, 20.0 + more]))
    rng = np.random.default_rng(seed)
    xy = np.column_stack([rng.uniform(0, 12, 1440), rng.uniform(0, 10, 1440)])
    z = np.minimum(xy[:, 1], 5) * low + np.maximum(xy[:, 1] - 5, 0) * high + rng.normal(0, NOISE, 1440)
    faces = Delaunay(xy).simplices
    roof = recognize(np.column_stack([xy, z]), faces)
    assert np.sort(np.degrees(roof.planes.slope)) == pytest.approx([20.0, 20.0 + more], abs=0.2)
    area = np.array([60 / np.cos(np.radians(20.0)), 60 / np.cos(np.radians(20.0 + more))])
    assert np.sort(roof.planes.true_area) == pytest.approx(area, rel=0.04)
    assert len(roof.steps.lower) == 0
    note = next(note for note in roof.notes if "along the rim of the survey" in note)
    assert float(note.split("(")[1].split()[0]) < 0.01 * 120
