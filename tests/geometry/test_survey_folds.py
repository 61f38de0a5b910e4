"""Surveys whose noise is as large as the spacing of their points: sheets fold over and stay whole."""

import numpy as np
import pytest
import trimesh

from roofmodel.memory import Memory
from roofmodel.shape.builders import RoofPart, build_roof
from roofmodel.shape.cleaning import face_vectors, in_order, looking_down, weld
from roofmodel.shape.measured_outlines import _rings
from roofmodel.shape.recognition import recognize
from roofmodel.shape.roof_faces import RawMesh, pick_roof_faces
from roofmodel.shape.survey import sheets_down

NOISE = 0.03
GABLE = RoofPart(
    "gable", np.array([[0.0, 0.0], [4, 0], [4, 3], [0, 3]]), np.radians([30, np.nan, 30, np.nan]), 3.0
)
PORCH = RoofPart(
    "shed", np.array([[0.0, -2], [4, -2], [4, 0], [0, 0]]), np.radians([12.0]), 2.0, fall_azimuth=np.pi
)


def noisy(parts, times, seed=0):
    """Triangles divided again and again, every vertex moved."""
    roof = build_roof(parts)
    mesh = trimesh.Trimesh(roof.points, roof.faces, process=True)
    for _ in range(times):
        mesh = mesh.subdivide()
    points = mesh.vertices + np.random.default_rng(seed).normal(0.0, NOISE, mesh.vertices.shape)
    return roof, points, np.asarray(mesh.faces, dtype=np.int64)


def test_a_sheet_that_noise_folds_over_is_one_roof():
    """12 m2 in 8192 triangles, edges of 4 to 7 cm: closed forms of a gable of 30 degrees."""
    _, points, faces = noisy([GABLE], 6)
    folded = looking_down(points, faces)
    assert folded.mean() > 0.1
    assert not sheets_down(points, faces).any()
    assert sheets_down(points, faces[:, ::-1]).all()
    picked = pick_roof_faces(RawMesh(points, faces, ()))
    assert len(picked.faces) > 0.97 * len(faces)
    found = recognize(picked.points, picked.faces)
    assert found.planes.count == 2
    assert np.degrees(found.planes.slope) == pytest.approx([30.0, 30.0], abs=0.5)
    assert found.planes.plan_area == pytest.approx([6.0, 6.0], rel=0.05)


def test_parts_of_a_survey_that_abut_keep_their_edge():
    """A porch 1 m below a gable's eave, no face between them: each keeps its own plan."""
    _, points, faces = noisy([GABLE, PORCH], 4)
    found = recognize(points, faces)
    assert np.sort(found.planes.plan_area) == pytest.approx([6.0, 6.0, 8.0], rel=0.06)
    assert np.sort(np.degrees(found.planes.slope)) == pytest.approx([12.0, 30.0, 30.0], abs=0.7)


def test_walks_that_pass_a_vertex_twice_are_two_rings():
    """A rim of four corners with a slit hanging at one of them."""
    start, end = np.array([[0, 1], [1, 2], [2, 5], [5, 6], [6, 2], [2, 3], [3, 0]]).T
    rings = sorted(sorted(ring.tolist()) for ring in _rings(start, end))
    assert rings == [[0, 1, 2, 3], [2, 5, 6]]


def test_order_on_plan_keeps_the_mesh():
    _, points, faces = noisy([GABLE], 3)
    rng = np.random.default_rng(1)
    mixed = rng.permutation(len(points))
    shuffled = np.argsort(mixed)[faces][rng.permutation(len(faces))]
    order, face = in_order(points[mixed], shuffled)
    again = np.argsort(order)[shuffled[face]]
    ordered = points[mixed][order]
    area = np.linalg.norm(face_vectors(points, faces), axis=1)
    assert np.sort(np.linalg.norm(face_vectors(ordered, again), axis=1)) == pytest.approx(np.sort(area))
    near = np.linalg.norm(np.diff(ordered, axis=0), axis=1).mean()
    assert near < 0.3 * np.linalg.norm(np.diff(points[mixed], axis=0), axis=1).mean()
    assert weld(ordered, again)[0] == pytest.approx(ordered)


@pytest.mark.parametrize("others", [0, 600])
def test_vertices_are_welded_alike_among_few_and_among_many(others):
    """A chain of points 0.8 mm apart is one vertex, at its mean; 1.2 mm apart none; by pairs or a tree."""
    step = np.array([0.8e-3, 0.0, 0.0])
    chain = np.array([2.0, 1.0, 0.5]) + step * np.arange(4)[:, None]
    apart = np.array([[0.0, 0.0, 0.0], [1.2e-3, 0.0, 0.0], [0.0, 5.0, 1.0], [5.0, 5.0, 1.0]])
    far = np.column_stack([10.0 + np.arange(others), np.zeros(others), np.zeros(others)])
    points = np.concatenate([chain, apart, far])
    faces = np.arange(len(points) - len(points) % 3).reshape(-1, 3)
    faces = np.concatenate([faces, [[len(points) - 3, len(points) - 2, len(points) - 1]]])
    welded, again = weld(points, faces)
    assert len(welded) == 1 + len(apart) + others
    assert welded[again[0]] == pytest.approx(np.tile(chain.mean(axis=0), (3, 1)), abs=1e-12)
    assert welded[again[1, 1:]] == pytest.approx(apart[:2], abs=1e-12)


def test_fewer_faces_are_welded_again_as_if_for_the_first_time():
    """Copies of vertices, some 0.4 mm off; the memory of the first weld must not join or part others."""
    _, points, faces = noisy([GABLE], 4)
    rng = np.random.default_rng(2)
    loose = points[faces].reshape(-1, 3)  # every face with its own corners
    loose = loose + rng.choice([0.0, 4e-4], (len(loose), 1), p=[0.9, 0.1]) * rng.choice([-1, 1], loose.shape)
    own = np.arange(len(loose)).reshape(-1, 3)
    memory = Memory()
    first = weld(loose, own, memory=memory)
    assert first[0] == pytest.approx(weld(loose, own)[0])
    assert len(first[0]) < 0.4 * len(loose)
    some = own[rng.random(len(own)) < 0.6]
    again, plain = weld(loose, some, memory=memory), weld(loose, some)
    assert again[0] == pytest.approx(plain[0], abs=1e-12)
    assert np.array_equal(again[1], plain[1])
    other = weld(loose[::-1].copy(), own, memory=memory)  # of other points the memory knows nothing
    assert len(other[0]) == len(first[0])
