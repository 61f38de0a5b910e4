"""Dormers drawn over a whole roof, overhangs, and sheets drawn twice."""

from __future__ import annotations

from collections import Counter

import numpy as np
import pytest
import shapely
from shapes import edge_lengths, gable, hip, l_part, shuffled, turned

from roofmodel.shape.builders import build_roof
from roofmodel.shape.planes import plan_polygons
from roofmodel.shape.recognition import recognize
from roofmodel.shape.regions import make_mesh

SLOPE = 0.75  # of the main plane, which falls to the south: z = 3 + 0.75 y
RIDGE = 7.0  # of the dormer, level; it meets the main plane at y = 16/3
HALF = 1.5  # half its width


def quad(corners, base):
    return corners, [[base, base + 1, base + 2], [base, base + 2, base + 3]]


def main_and_dormer(below=0.0):
    """A shed of 10 m x 10 m and a gabled dormer of 45 degrees, x = 3.5 to 6.5, from y = 3 on.

    Its planes go on below the main plane by a distance on plan.
    """
    main = [(0, 0, 3), (10, 0, 3), (10, 10, 10.5), (0, 10, 10.5)]
    back = (RIDGE - 3) / SLOPE  # where the ridge meets the main plane
    foot = (RIDGE - HALF - 3) / SLOPE  # where the dormer's eaves do
    planes = [quad(main, 0)]
    for side in (-1.0, 1.0):
        outer = 5.0 + side * HALF
        corners = [
            (5.0, 3.0, RIDGE),
            (5.0, back + below, RIDGE),
            (outer, foot + below, RIDGE - HALF),
            (outer, 3.0, RIDGE - HALF),
        ]
        planes.append(quad(corners, 4 * len(planes)))
    points = np.array([corner for corners, _ in planes for corner in corners], dtype=float)
    return points, np.array([face for _, faces in planes for face in faces])


def overlap(roof):
    plan = plan_polygons(roof.planes)
    return sum(one.area for one in plan) - shapely.union_all(plan, grid_size=1e-6).area


@pytest.mark.parametrize("below", [0.0, 0.8])
@pytest.mark.parametrize("angle", [0.0, 0.7])
def test_a_dormer_drawn_over_the_roof_takes_its_place(below, angle):
    points, faces = main_and_dormer(below)
    roof = recognize(turned(points, angle), faces)
    assert roof.planes.count == 3
    assert overlap(roof) == pytest.approx(0.0, abs=1e-4)
    # On plan the dormer reaches from y = 3 to the valleys, from y = 10/3 at its eaves to 16/3 at its ridge.
    back, foot = 4.0 / SLOPE, (4.0 - HALF) / SLOPE
    dormer = 2 * HALF * (0.5 * (back + foot) - 3.0)
    assert roof.planes.plan_area.sum() == pytest.approx(100.0, abs=1e-3)
    assert roof.planes.plan_area[0] == pytest.approx(100.0 - dormer, abs=1e-3)
    kinds = Counter(kind.value for kind in roof.edges.kind)
    assert kinds["valley"] == 2
    assert kinds["ridge"] == 1
    valley = np.array([kind == "valley" for kind in roof.edges.kind])
    run = np.hypot(HALF, back - foot)
    assert roof.edges.length[valley] == pytest.approx(np.hypot(run, HALF), abs=2e-3)
    assert any("cut away" in note for note in roof.notes)
    assert not any("faces overlap" in note for note in roof.notes)
    assert {int(index) for index in roof.face_plane} == {0, 1, 2}


def test_the_display_mesh_covers_what_the_outlines_cover():
    roof = recognize(*main_and_dormer())
    corner = roof.points[roof.faces]
    area = 0.5 * np.linalg.norm(np.cross(corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0]), axis=1)
    by_plane = np.bincount(roof.face_plane, area, roof.planes.count)
    assert by_plane == pytest.approx(roof.planes.true_area, abs=1e-3)


def flat(x0, y0, x1, y1, z, base):
    return quad([(x0, y0, z), (x1, y0, z), (x1, y1, z), (x0, y1, z)], base)


def two(first, second):
    points = np.array([*first[0], *second[0]], dtype=float)
    return points, np.array([*first[1], *second[1]])


def test_an_overhang_hides_nothing():
    """Snow drifts in below an eave that stands clear of the roof: its load is kept."""
    roof = recognize(*two(flat(0, 0, 10, 6, 3.0, 0), flat(0, 5.5, 10, 12, 4.0, 4)))
    assert roof.planes.plan_area.sum() == pytest.approx(60.0 + 65.0)
    assert not any("cut away" in note for note in roof.notes)
    assert roof.steps.count == 1


@pytest.mark.parametrize("apart", [0.0, 0.02])
def test_a_sheet_drawn_twice_counts_once(apart):
    roof = recognize(*two(flat(0, 0, 10, 6, 3.0, 0), flat(6, 2, 14, 4, 3.0 - apart, 4)))
    assert roof.planes.plan_area.sum() == pytest.approx(60.0 + 8.0, abs=1e-3)
    assert overlap(roof) == pytest.approx(0.0, abs=1e-4)


def test_outlines_that_overlap_by_rounding_are_left_alone():
    roof = recognize(*two(flat(0, 0, 10, 6, 3.0, 0), flat(0, 5.985, 10, 12, 3.5, 4)))
    assert roof.planes.plan_area.sum() == pytest.approx(60.0 + 60.15)


def test_a_ring_of_dormers_cuts_a_plane_in_pieces():
    """A flat box from side to side over a slope, meeting it at its back: what lies below and above stays."""
    slope = quad([(0, 0, 3), (10, 0, 3), (10, 10, 8), (0, 10, 8)], 0)
    roof = recognize(*two(slope, flat(0, 4, 10, 7, 6.5, 4)))
    assert roof.planes.count == 3
    assert sorted(roof.planes.plan_area.round(3)) == [30.0, 30.0, 40.0]
    assert sorted(roof.planes.name) == ["F1", "S1", "S2"]


def test_a_dormer_over_a_pitch_break_hides_both_planes():
    """It touches the upper plane only; over the steep lower one it stands clear, but goes on there."""
    upper = quad([(0, 4, 6), (10, 4, 6), (10, 10, 9), (0, 10, 9)], 0)
    lower = quad([(0, 0, 0), (10, 0, 0), (10, 4, 6), (0, 4, 6)], 4)
    shed = quad([(3, 2, 6.9), (7, 2, 6.9), (7, 7, 7.5), (3, 7, 7.5)], 8)
    points = np.array([*upper[0], *lower[0], *shed[0]], dtype=float)
    roof = recognize(points, np.array([*upper[1], *lower[1], *shed[1]]))
    assert sorted(roof.planes.plan_area.round(3)) == [20.0, 32.0, 48.0]
    assert overlap(roof) == pytest.approx(0.0, abs=1e-4)


@pytest.mark.parametrize("make", [gable, hip, l_part])
@pytest.mark.parametrize("seed", range(3))
def test_a_roof_drawn_twice_with_other_diagonals_counts_once(make, seed):
    """Every face is drawn again in three parts; which copy a neighbor meets depends on the order of faces."""
    built = build_roof([make()])
    middle = built.points[built.faces].mean(axis=1)
    a, b, c = built.faces.T
    m = len(built.points) + np.arange(len(built.faces))
    again = np.vstack([np.c_[a, b, m], np.c_[b, c, m], np.c_[c, a, m]])
    points, faces = shuffled(np.vstack([built.points, middle]), np.vstack([built.faces, again]), seed)
    found = recognize(points, faces)
    assert found.planes.name == built.planes.name
    assert found.planes.true_area == pytest.approx(built.planes.true_area, rel=1e-4)
    assert edge_lengths(found) == pytest.approx(edge_lengths(built), rel=1e-3)


@pytest.mark.parametrize("seed", range(5))
def test_the_other_side_of_an_edge_is_mutual_where_a_sheet_is_drawn_twice(seed):
    """Else the walk around a plane would never come back."""
    built = build_roof([gable()])
    n = np.random.default_rng(seed).permutation(3 * len(built.faces))
    faces = np.vstack([built.faces, built.faces, built.faces])[n]
    mesh = make_mesh(built.points, faces)
    there = np.flatnonzero(mesh.twin >= 0)
    assert len(there) > 0
    assert (mesh.twin[mesh.twin[there]] == there).all()
