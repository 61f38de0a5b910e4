"""Corners on a neighbor's edge: the mesh hangs together there and planes stay whole."""

from __future__ import annotations

import numpy as np
import pytest
from shapes import edge_lengths, gable, hip, mesh_area, shuffled, subdivided, turned

from roofmodel.shape.builders import build_roof
from roofmodel.shape.junctions import divide_at_junctions
from roofmodel.shape.recognition import recognize

# A strip of 6 m x 2 m beside two of 3 m x 2 m, one of them cut once more: two corners in the long edge.
POINTS = np.array([(0, 0), (6, 0), (6, 2), (0, 2), (2, 2), (3, 2), (0, 4), (3, 4), (6, 4)], dtype=float)
FACES = np.array([[0, 1, 2], [0, 2, 3], [3, 4, 6], [4, 5, 7], [4, 7, 6], [5, 2, 8], [5, 8, 7]])


def sloping(plan, rise=0.5):
    return np.column_stack([plan, 3.0 + rise * plan[:, 1]])


def free_edges(faces):
    edges, count = np.unique(
        np.sort(faces[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2), axis=1), axis=0, return_counts=True
    )
    return edges[count == 1]


@pytest.mark.parametrize("angle", [0.0, 0.4])
def test_one_plane_stays_one(angle):
    points = turned(sloping(POINTS), angle)
    roof = recognize(points, FACES)
    assert roof.planes.count == 1
    assert roof.planes.plan_area[0] == pytest.approx(24.0)
    assert roof.edges.count == 4
    assert any("2 edges were divided" in note or "1 edges were divided" in note for note in roof.notes)


def test_the_surface_stays_the_same_and_hangs_together():
    points = sloping(POINTS)
    faces, divided = divide_at_junctions(points, FACES)
    assert divided == 1
    assert len(faces) == len(FACES) + 2
    assert mesh_area(points, faces).sum() == pytest.approx(mesh_area(points, FACES).sum())
    normal = np.cross(points[faces[:, 1]] - points[faces[:, 0]], points[faces[:, 2]] - points[faces[:, 0]])
    assert (normal[:, 2] > 0.0).all()
    inner = points[free_edges(faces)].mean(axis=1)[:, 1]
    assert not (np.abs(inner - 2.0) < 1e-9).any()


@pytest.mark.parametrize("off", [0.0, 0.002, -0.002])
def test_corners_a_little_off_the_edge_count_as_on_it(off):
    points = sloping(POINTS)
    points[[4, 5], 1] += off
    assert recognize(points, FACES).planes.count == 1


def test_a_mesh_without_junctions_is_left_alone():
    roof = build_roof([hip()])
    points, faces = subdivided(roof.points, roof.faces, 3)
    same, divided = divide_at_junctions(points, faces)
    assert divided == 0
    assert same is faces


@pytest.mark.parametrize("seed", range(4))
def test_half_of_a_roof_finer_than_the_other(seed):
    """Random triangles of a gable are divided without their neighbors: junctions everywhere, same roof."""
    built = build_roof([gable()])
    points, faces = subdivided(built.points, built.faces, 2)
    rng = np.random.default_rng(seed)
    fine = rng.random(len(faces)) < 0.4
    more, parts = subdivided(points, faces[fine], 2)
    points, faces = shuffled(more, np.concatenate([faces[~fine], parts]), seed)
    found = recognize(points, faces)
    assert found.planes.name == built.planes.name
    assert found.planes.true_area == pytest.approx(built.planes.true_area)
    assert edge_lengths(found) == pytest.approx(edge_lengths(built))


def test_a_corner_above_an_edge_is_no_junction():
    """An upper roof whose corner stands straight above the lower one's edge."""
    lower = [(0, 0, 3), (10, 0, 3), (10, 4, 3), (0, 4, 3)]
    upper = [(5, 4, 5), (10, 4, 5), (10, 8, 5), (5, 8, 5)]
    faces = np.array([[0, 1, 2], [0, 2, 3], [4, 5, 6], [4, 6, 7]])
    _, divided = divide_at_junctions(np.array([*lower, *upper], dtype=float), faces)
    assert divided == 0
