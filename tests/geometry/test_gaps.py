"""Gaps along ridges, hips and valleys are closed where planes should meet, and nowhere else."""

from __future__ import annotations

from collections import Counter

import numpy as np
import pytest
import shapely
from ifc_models import Model, slab
from shapes import edge_lengths, gable, hip, l_part, rectangle, turned

from roofmodel.shape.builders import RoofPart, build_roof
from roofmodel.shape.importing import import_roof
from roofmodel.shape.planes import plan_polygon
from roofmodel.shape.recognition import recognize
from roofmodel.shape.triangulation import triangulate


def shrunk(roof, by):
    """Planes of a roof as separate sheets, each cut back on plan by a distance from the edges it shares."""
    rings = []
    for index in range(roof.planes.count):
        plan = plan_polygon(roof.planes, index)
        shared = np.flatnonzero((roof.edges.plane == index).any(axis=1) & (roof.edges.plane[:, 1] >= 0))
        ends = np.stack([roof.edges.start[shared, :2], roof.edges.end[shared, :2]], axis=1)
        strips = shapely.buffer(shapely.linestrings(ends), by, cap_style="square")
        less = shapely.orient_polygons(shapely.difference(plan, shapely.union_all(strips)))
        xy = shapely.get_coordinates(less.exterior)[:-1]
        n, p = roof.planes.normal[index], roof.planes.origin[index]
        rings.append([np.column_stack([xy, p[2] - (xy - p[:2]) @ n[:2] / n[2]])])
    points, faces, _ = triangulate(rings)
    return points, faces


@pytest.mark.parametrize("make", [gable, hip])
@pytest.mark.parametrize("by", [0.02, 0.1, 0.2])
@pytest.mark.parametrize("angle", [0.0, 0.6])
def test_ridge_and_hip_gaps_are_closed_exactly(make, by, angle):
    true = build_roof([make()])
    points, faces = shrunk(true, by)
    found = recognize(turned(points, angle), faces)
    assert found.planes.true_area == pytest.approx(true.planes.true_area, rel=1e-6)
    kinds = (Counter(kind.value for kind in roof.edges.kind) for roof in (found, true))
    assert next(kinds) == next(kinds)
    if angle == 0.0:
        assert edge_lengths(found) == pytest.approx(edge_lengths(true), rel=1e-6)
    assert any("extended to the line where they meet" in note for note in found.notes)
    corner = found.points[found.faces]
    area = 0.5 * np.linalg.norm(np.cross(corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0]), axis=1)
    assert area.sum() == pytest.approx(true.planes.true_area.sum(), rel=1e-6)


def test_a_narrow_valley_gap_is_closed_too():
    true = build_roof([l_part()])
    found = recognize(*shrunk(true, 0.03))
    assert found.planes.true_area.sum() == pytest.approx(true.planes.true_area.sum(), rel=1e-3)
    assert "valley" in [kind.value for kind in found.edges.kind]


def two(first, second):
    return np.array([*first, *second], dtype=float), np.array([[0, 1, 2], [0, 2, 3], [4, 5, 6], [4, 6, 7]])


def test_two_roofs_that_fall_toward_a_slot_stay_apart():
    """Neighbors 0.4 m apart, eave to eave: no valley, snow falls through."""
    left = [(0, 0, 5), (0, -4, 5), (10, -4, 3), (10, 0, 3)]
    right = [(10.4, 0, 3), (10.4, -4, 3), (20, -4, 5), (20, 0, 5)]
    found = recognize(*two(left, right))
    assert not any("extended" in note for note in found.notes)
    assert [kind.value for kind in found.edges.kind].count("eave") == 2


def test_a_low_step_is_no_gap():
    """A lean-to 0.15 m below an eave would have to be cut back to meet it: nothing is."""
    upper = [(0, 0, 3), (10, 0, 3), (10, 4, 5.3), (0, 4, 5.3)]
    lower = [(0, -3, 2.35), (10, -3, 2.35), (10, 0, 2.85), (0, 0, 2.85)]
    found = recognize(*two(upper, lower))
    assert found.steps.count == 1
    assert found.planes.plan_area.sum() == pytest.approx(70.0)


def test_flat_roofs_side_by_side_stay_as_they_are():
    parts = [RoofPart("flat", rectangle(x, 0, x + 5, 5), eave_height=3.0) for x in (0, 5.05)]
    roof = build_roof(parts)
    found = recognize(roof.points, roof.faces)
    assert found.planes.plan_area.sum() == pytest.approx(50.0)


def test_slabs_of_a_building_model_cut_square_meet_at_the_ridge(tmp_path):
    """Two slabs 0.3 m thick whose lower corners meet: the upper faces stand 0.42 m apart at 45 degrees."""
    t = 0.3 * np.sqrt(0.5)
    south = [(0, 0, 3), (10, 0, 3), (10, 4 - t, 7 - t), (0, 4 - t, 7 - t)]
    north = [(10, 8, 3), (0, 8, 3), (0, 4 + t, 7 - t), (10, 4 + t, 7 - t)]
    model = Model()
    for ring in (south, north):
        model.element("IfcSlab", "half", slab(ring), PredefinedType="ROOF")
    roof = import_roof(model.write(tmp_path / "g.ifc"))
    kinds = Counter(kind.value for kind in roof.edges.kind)
    assert kinds == {"ridge": 1, "eave": 2, "rake": 4}
    assert roof.planes.plan_area.sum() == pytest.approx(80.0)
