"""Roofs over any footprint: closed forms, whole coverage, level eaves, and the way down from every point."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
import trimesh
from hypothesis import given
from hypothesis import strategies as st
from shapely import Polygon

from roofmodel.errors import InputError
from roofmodel.shape.builders import RoofPart, build_roof
from roofmodel.shape.importing import import_roof
from roofmodel.shape.skeleton import skeleton_cells
from roofmodel.surface import EdgeKind

TEE = [[0, 0], [24, 0], [24, 8], [16, 8], [16, 18], [8, 18], [8, 8], [0, 8]]
YOU = [[0, 0], [24, 0], [24, 18], [16, 18], [16, 8], [8, 8], [8, 18], [0, 18]]
CROSS = [
    [8, 0],
    [16, 0],
    [16, 8],
    [24, 8],
    [24, 16],
    [16, 16],
    [16, 24],
    [8, 24],
    [8, 16],
    [0, 16],
    [0, 8],
    [8, 8],
]
ZED = [[0, 0], [12, 0], [12, 6], [20, 6], [20, 14], [8, 14], [8, 8], [0, 8]]


def cells(footprint, pitch, eave=0.0):
    footprint = np.array(footprint, dtype=float)
    return skeleton_cells(
        footprint, np.radians(np.broadcast_to(pitch, len(footprint)).astype(float)), eave, "part"
    )


def height(found, x, y):
    return [p @ [x, y, 1.0] for p, shape in found if shape.buffer(1e-6).covers(shapely.Point(x, y))]


@pytest.mark.parametrize("shape", [TEE, YOU, CROSS, ZED], ids=["T", "U", "cross", "Z"])
def test_area_and_one_height_everywhere(shape):
    """True area = plan area / cos(pitch), and faces that meet meet at one height."""
    found = cells(shape, 30.0)
    assert sum(s.area for _, s in found) == pytest.approx(Polygon(shape).area, rel=1e-9)
    assert len(found) == len(shape)
    for plane, face in found:
        for x, y in np.asarray(face.exterior.coords):
            assert height(found, x, y) == pytest.approx(
                [plane @ [x, y, 1.0]] * len(height(found, x, y)), abs=1e-6
            )


def test_ridges_of_a_tee_stand_at_half_its_width():
    found = cells(TEE, 30.0)
    top = 4.0 * np.tan(np.radians(30.0))
    for x, y in ((8.0, 4.0), (16.0, 4.0), (12.0, 12.0)):
        assert height(found, x, y)[0] == pytest.approx(top, rel=1e-9)
    assert max(p @ [x, y, 1.0] for p, s in found for x, y in s.exterior.coords) == pytest.approx(
        top, rel=1e-6
    )


def test_equals_the_builder_of_ell_plans():
    ell = np.array([[0, 0], [20, 0], [20, 8], [7, 8], [7, 20], [0, 20]], dtype=float)
    pitches = np.radians([25.0] * 6)
    a, b = (build_roof([RoofPart(shape, ell, pitches, 3.0)]) for shape in ("L", "hip"))
    assert sorted(a.planes.true_area) == pytest.approx(sorted(b.planes.true_area), rel=1e-6)
    assert sorted(a.edges.kind) == sorted(b.edges.kind)


def test_edges_of_a_tee_by_kind():
    """Three hip ends make six hips, two inner corners two valleys, each wing its ridge."""
    roof = build_roof([RoofPart("hip", np.array(TEE, float), np.radians([30.0] * 8), 3.0)])
    kinds = [roof.edges.kind.count(k) for k in (EdgeKind.HIP, EdgeKind.VALLEY, EdgeKind.EAVE)]
    assert kinds == [6, 2, 8]
    assert roof.edges.kind.count(EdgeKind.RIDGE) in (2, 3)
    assert not roof.edges.kind.count(EdgeKind.BREAK)


def test_gable_ends():
    """A T with three gables: three ridges at one height reach the walls, no hips."""
    pitches = np.radians([30, np.nan, 30, 30, np.nan, 30, 30, np.nan])
    roof = build_roof([RoofPart("hip", np.array(TEE, float), pitches, 3.0)])
    assert roof.edges.kind.count(EdgeKind.HIP) == 0
    assert roof.edges.kind.count(EdgeKind.VALLEY) == 2
    assert roof.planes.plan_area.sum() == pytest.approx(Polygon(TEE).area)


def test_round_trip_over_a_mesh(tmp_path):
    roof = build_roof([RoofPart("hip", np.array(YOU, float), np.radians([30.0] * 8), 3.0)])
    trimesh.Trimesh(roof.points, roof.faces, process=False).export(tmp_path / "roof.stl")
    again = import_roof(tmp_path / "roof.stl", unit="m", up="z")
    assert sorted(again.planes.true_area) == pytest.approx(sorted(roof.planes.true_area), rel=1e-5)
    assert sorted(again.edges.kind) == sorted(roof.edges.kind)


@given(seed=st.integers(0, 10**6), corners=st.integers(5, 24), even=st.booleans(), turn=st.floats(0.0, 6.0))
def test_stars_are_covered_whole_and_drain_to_their_own_eave(seed, corners, even, turn):
    """Every face touches its edge, its plane rises from it, and all faces cover the footprint once."""
    random = np.random.default_rng(seed)
    angle = 2.0 * np.pi * (np.arange(corners) + random.uniform(0.1, 0.9, corners)) / corners + turn
    reach = random.uniform(4.0, 12.0, corners)
    star = np.stack([reach * np.cos(angle), reach * np.sin(angle)], axis=1)
    pitch = np.full(corners, 30.0) if even else random.uniform(15.0, 50.0, corners)
    found = cells(star, pitch)
    assert sum(s.area for _, s in found) == pytest.approx(Polygon(star).area, rel=2e-6)
    for plane, face in found:
        low = np.array([plane @ [x, y, 1.0] for x, y in np.asarray(face.exterior.coords)])
        assert low.min() == pytest.approx(0.0, abs=1e-5)
    inside = shapely.point_on_surface(np.array([s for _, s in found], dtype=object))
    for point in inside:
        assert len(height(found, point.x, point.y)) == 1


def test_refusals():
    with pytest.raises(InputError, match="every edge is a gable"):
        cells(TEE, np.nan)
    straight = [[0, 0], [6, 0], [12, 0], [12, 8], [6, 4], [0, 8]]
    with pytest.raises(InputError, match="lie on one line"):
        cells(straight, [30, 40, 30, 30, 30, 30])
    assert cells(straight, 30.0)
