"""Recognition: what is built is found again, whatever the triangulation, order, noise and place."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from shapes import edge_lengths, gable, hip, l_part, mesh_area, rectangle, shuffled, subdivided, turned

from roofmodel.errors import InputError
from roofmodel.shape.builders import RoofPart, build_roof
from roofmodel.shape.planes import plan_polygons
from roofmodel.shape.recognition import recognize
from roofmodel.surface import EdgeKind

L_UNEQUAL = (30.0, 25.0, 40.0, 30.0, 35.0, 28.0)
PARTS = {
    "gable": [gable()],
    "hip": [hip()],
    "L": [l_part()],
    "L unequal": [l_part(L_UNEQUAL)],
    "two levels": [gable(eave=6.0), RoofPart("shed", rectangle(2, -4, 9, 0), np.radians([10]), 3.0, np.pi)],
}


def assert_same_roof(found, built, tolerance=1e-6):
    """Planes, edges and steps agree by name and size."""
    assert found.planes.name == built.planes.name
    np.testing.assert_allclose(found.planes.slope, built.planes.slope, atol=tolerance)
    np.testing.assert_allclose(found.planes.true_area, built.planes.true_area, rtol=tolerance)
    for mine, theirs in zip(plan_polygons(found.planes), plan_polygons(built.planes), strict=True):
        assert shapely.hausdorff_distance(mine, theirs) < 10 * tolerance
    ours, wanted = edge_lengths(found), edge_lengths(built)
    assert ours == pytest.approx(wanted, rel=10 * tolerance)
    assert found.edges.count == built.edges.count
    assert found.steps.count == built.steps.count
    if built.steps.count:
        assert np.sort(found.steps.wall.ravel()) == pytest.approx(
            np.sort(built.steps.wall.ravel()), rel=tolerance
        )


@pytest.mark.parametrize("name", PARTS)
def test_built_roofs_are_found_again(name):
    built = build_roof(PARTS[name])
    assert_same_roof(recognize(built.points, built.faces, ground=0.0), built)


@given(st.sampled_from(sorted(PARTS)), st.integers(0, 2**32 - 1), st.integers(0, 2))
@settings(max_examples=25, deadline=None)
def test_order_of_vertices_and_triangles_does_not_matter(name, seed, times):
    built = build_roof(PARTS[name])
    points, faces = shuffled(*subdivided(built.points, built.faces, times), seed)
    found = recognize(points, faces)
    assert_same_roof(found, built)
    again = recognize(built.points, built.faces)
    for mine, theirs in zip(found.planes.outline, again.planes.outline, strict=True):
        assert mine.normalize().equals_exact(theirs.normalize(), 1e-7)
    assert sorted(found.edges.name) == sorted(again.edges.name)


@given(st.sampled_from(sorted(PARTS)), st.floats(0, 2 * np.pi), st.floats(-500, 500), st.floats(-500, 500))
@settings(max_examples=25, deadline=None)
def test_rotation_and_translation_change_nothing_but_names(name, angle, x, y):
    built = build_roof(PARTS[name])
    found = recognize(turned(built.points, angle, (x, y)), built.faces)
    assert found.planes.true_area == pytest.approx(built.planes.true_area, rel=1e-7)
    assert edge_lengths(found) == pytest.approx(edge_lengths(built), rel=1e-6)
    turn = np.sort(np.cos(found.planes.azimuth + angle)), np.sort(np.cos(built.planes.azimuth))
    np.testing.assert_allclose(*turn, atol=1e-7)
    assert np.sort(found.steps.wall.ravel()) == pytest.approx(np.sort(built.steps.wall.ravel()), rel=1e-6)


def test_fine_mesh_of_one_hundred_thousand_triangles_gives_the_same_planes():
    built = build_roof(PARTS["L unequal"])
    points, faces = subdivided(built.points, built.faces, 7)
    assert len(faces) > 100_000
    found = recognize(points, faces)
    assert_same_roof(found, built)
    assert len(found.faces) == len(faces)


@pytest.mark.parametrize(("times", "noise"), [(2, 0.005), (4, 0.005), (6, 0.003)])
@pytest.mark.parametrize("name", ["hip", "L"])
def test_noise_of_millimeters(name, times, noise):
    built = build_roof(PARTS[name])
    points, faces = subdivided(built.points, built.faces, times)
    points = points + np.random.default_rng(3).uniform(-noise, noise, points.shape)
    found = recognize(points, faces)
    assert sorted(found.planes.name) == sorted(built.planes.name)
    ours, wanted = edge_lengths(found), edge_lengths(built)
    assert ours == pytest.approx(wanted, rel=0.005)
    assert found.edges.count == built.edges.count
    assert found.planes.plan_area.sum() == pytest.approx(built.planes.plan_area.sum(), rel=0.003)
    assert any("moved" in note for note in found.notes)


@pytest.mark.parametrize(("times", "pitch"), [(5, 3), (5, 8), (5, 45), (6, 8), (6, 20), (6, 45)])
def test_noise_of_five_millimeters_on_small_triangles(times, pitch):
    """Triangles of 10 to 20 cm, so that the noise tilts them by more than the hips bend at the low pitch."""
    built = build_roof([hip(pitch=pitch)])
    points, faces = subdivided(built.points, built.faces, times)
    points = points + np.random.default_rng(1).uniform(-0.005, 0.005, points.shape)
    found = recognize(points, faces)
    assert sorted(found.planes.name) == ["E1", "N1", "S1", "W1"]
    np.testing.assert_allclose(np.degrees(found.planes.slope), pitch, atol=0.1)
    blur = max(0.03 / np.tan(np.radians(pitch)), 0.1)  # where planes 3 cm apart meet
    assert edge_lengths(found) == pytest.approx(edge_lengths(built), abs=blur)


def test_vertices_lie_on_their_planes_and_faces_match_outlines():
    built = build_roof(PARTS["L"])
    points, faces = subdivided(built.points, built.faces, 4)
    points = points + np.random.default_rng(5).uniform(-0.004, 0.004, points.shape)
    found = recognize(points, faces)
    corner = found.points[found.faces]
    plane = found.face_plane
    away = np.einsum("fcx,fx->fc", corner - found.planes.origin[plane][:, None], found.planes.normal[plane])
    assert np.abs(away).max() < 2e-3  # exact but where four planes meet
    area = np.bincount(plane, mesh_area(found.points, found.faces))
    np.testing.assert_allclose(area, found.planes.true_area, rtol=0.003)


@pytest.mark.parametrize("noise", [0.0, 0.002])
def test_pitch_breaks_smaller_than_the_angle_tolerance_are_kept(noise):
    """A break of 2 degrees over 6 m stands 10 cm off one plane."""
    x, y = np.meshgrid(np.arange(0, 8.5, 0.5), np.arange(0, 12.5, 0.5))
    z = np.where(
        y < 6, y * np.tan(np.radians(20)), 6 * np.tan(np.radians(20)) + (y - 6) * np.tan(np.radians(18))
    )
    points = np.column_stack([x.ravel(), y.ravel(), z.ravel()])
    points[:, 2] += np.random.default_rng(1).uniform(-noise, noise, len(points))
    found = recognize(points, grid_faces(*x.shape))
    assert found.planes.count == 2
    np.testing.assert_allclose(np.degrees(np.sort(found.planes.slope)), [18, 20], atol=0.1)
    assert EdgeKind.BREAK in found.edges.kind


def grid_faces(rows, columns):
    corner = (np.arange(rows - 1)[:, None] * columns + np.arange(columns - 1)).ravel()
    return np.vstack(
        [
            np.column_stack([corner, corner + 1, corner + columns]),
            np.column_stack([corner + 1, corner + columns + 1, corner + columns]),
        ]
    )


@pytest.mark.parametrize("strips", [12, 60, 400])
def test_a_barrel_vault_does_not_pass_as_one_plane(strips):
    """Neighboring strips differ by less than the angle tolerance, yet no plane is off by more than 3 cm."""
    angle = np.linspace(-np.pi / 3, np.pi / 3, strips + 1)
    points = np.array([[8 * np.sin(a), y, 8 * np.cos(a)] for a in angle for y in (0.0, 5.0, 10.0)])
    found = recognize(points, grid_faces(strips + 1, 3))
    assert 6 <= found.planes.count <= strips
    raw = points[grid_faces(strips + 1, 3)]
    inside = raw.mean(axis=1)
    assert found.planes.true_area.sum() == pytest.approx(
        mesh_area(points, grid_faces(strips + 1, 3)).sum(), rel=0.01
    )
    nearest = np.abs(np.einsum("fpx,px->fp", inside[:, None] - found.planes.origin, found.planes.normal)).min(
        axis=1
    )
    assert nearest.max() <= 0.03


def test_tilted_grid_matches_the_slope_of_its_plane():
    for pitch, azimuth in ((7.0, 200.0), (33.0, 45.0), (60.0, 310.0)):
        up = -np.tan(np.radians(pitch)) * np.array([np.sin(np.radians(azimuth)), np.cos(np.radians(azimuth))])
        xy = rectangle(0, 0, 7, 5)
        found = recognize(np.column_stack([xy, xy @ up]), [[0, 1, 2], [0, 2, 3]])
        assert np.degrees(found.planes.slope[0]) == pytest.approx(pitch, abs=1e-9)
        assert np.degrees(found.planes.azimuth[0]) == pytest.approx(azimuth, abs=1e-9)
        assert found.planes.plan_area[0] == pytest.approx(35.0)


def test_t_junctions_are_matched_by_overlap():
    """The ridge is one edge on the south side and three on the north side, without common vertices."""
    south = np.array([[0, 0, 0], [9, 0, 0], [9, 3, 2], [0, 3, 2]], dtype=float)
    north = np.array([[0, 3, 2], [2, 3, 2], [7, 3, 2], [9, 3, 2], [9, 6, 0], [0, 6, 0]], dtype=float)
    faces = [[0, 1, 2], [0, 2, 3], [4, 5, 9], [5, 6, 9], [6, 8, 9], [6, 7, 8]]
    found = recognize(np.vstack([south, north]), faces)
    assert edge_lengths(found)["ridge"] == pytest.approx(9.0)
    assert found.edges.kind.count(EdgeKind.RIDGE) == 1
    assert EdgeKind.HEAD not in found.edges.kind


def test_edges_are_split_where_the_neighbor_changes():
    """One long plane below two that rise behind it: two pitch breaks, one eave."""
    base = rectangle(0, 0, 10, 4)
    left, right = rectangle(0, 4, 6, 7), rectangle(6, 4, 10, 7)
    points = np.vstack(
        [
            np.column_stack([base, 0.2 * base[:, 1]]),
            np.column_stack([left, 0.8 + 0.6 * (left[:, 1] - 4)]),
            np.column_stack([right, 0.8 + 1.2 * (right[:, 1] - 4)]),
        ]
    )
    faces = np.vstack([np.array([[0, 1, 2], [0, 2, 3]]) + 4 * k for k in range(3)])
    found = recognize(points, faces)
    breaks = found.edges.length[[kind == EdgeKind.BREAK for kind in found.edges.kind]]
    assert np.sort(breaks) == pytest.approx([4.0, 6.0])


def test_holes_in_a_plane_are_kept():
    outer, inner = rectangle(0, 0, 9, 9), rectangle(3, 3, 6, 6)
    xy = np.vstack([outer, inner])
    faces = [[0, 1, 5], [0, 5, 4], [1, 2, 6], [1, 6, 5], [2, 3, 7], [2, 7, 6], [3, 0, 4], [3, 4, 7]]
    found = recognize(np.column_stack([xy, 0.5 * xy[:, 1]]), faces)
    assert len(found.planes.outline[0].interiors) == 1
    assert found.planes.plan_area[0] == pytest.approx(72.0)
    assert edge_lengths(found)["head"] == pytest.approx(9 + 3)
    assert edge_lengths(found)["eave"] == pytest.approx(9 + 3)


def test_duplicate_flipped_and_degenerate_faces_are_repaired_and_told():
    built = build_roof([hip()])
    faces = np.vstack([built.faces, built.faces[:3][:, ::-1], [[0, 1, 1]]])
    faces[:2] = faces[:2][:, ::-1]
    found = recognize(built.points, faces)
    assert_same_roof(found, built)
    assert any("3 faces that repeat" in note for note in found.notes)
    assert any("1 degenerate" in note for note in found.notes)


def test_unwelded_triangles_are_joined_and_told():
    built = build_roof([l_part()])
    soup = built.points[built.faces].reshape(-1, 3)
    soup = soup + np.random.default_rng(0).uniform(-2e-4, 2e-4, soup.shape)
    found = recognize(soup, np.arange(len(soup)).reshape(-1, 3))
    assert sorted(found.planes.name) == sorted(built.planes.name)
    assert edge_lengths(found) == pytest.approx(edge_lengths(built), rel=1e-3)
    assert any("joined" in note for note in found.notes)


def test_small_triangular_planes_are_not_lost():
    """A hip of one triangle is a plane like any other."""
    built = build_roof([RoofPart("hip", rectangle(0, 0, 6, 1.2), np.radians([40] * 4), 3.0)])
    found = recognize(built.points, built.faces)
    assert found.planes.count == 4
    assert_same_roof(found, built)


def test_flat_plane_with_a_trace_of_fall_keeps_it():
    xy = rectangle(0, 0, 20, 8)
    z = 0.005 * xy[:, 0]  # 0.29 degrees, falls to the west
    found = recognize(np.column_stack([xy, z]), [[0, 1, 2], [0, 2, 3]])
    assert found.planes.name == ("F1",)
    assert np.degrees(found.planes.azimuth[0]) == pytest.approx(270.0)


def test_level_plane_falls_across_its_longest_edge():
    xy = rectangle(0, 0, 20, 8)
    found = recognize(np.column_stack([xy, 0 * xy[:, 0]]), [[0, 1, 2], [0, 2, 3]])
    eaves = found.edges.length[[kind == EdgeKind.EAVE for kind in found.edges.kind]]
    np.testing.assert_allclose(eaves, [20.0])


def test_larger_planes_come_first_and_names_count():
    roofs = [
        RoofPart("shed", rectangle(0, 20 * k, 6 + k, 5 + 20 * k), np.radians([15]), 3.0, np.pi)
        for k in range(3)
    ]
    built = build_roof(roofs)
    assert built.planes.name == ("S1", "S2", "S3")
    np.testing.assert_allclose(built.planes.plan_area, [40.0, 35.0, 30.0])


SQUARE = np.array([[0, 0, 0], [4, 0, 0], [4, 4, 2], [0, 4, 2]], dtype=float)
TWO = np.array([[0, 1, 2], [0, 2, 3]])


@pytest.mark.parametrize(
    ("points", "faces", "words"),
    [
        (SQUARE, np.zeros((0, 3), dtype=int), "no faces"),
        (SQUARE[:, :2], TWO, r"\(4, 2\)"),
        (SQUARE, TWO + 2, "vertex 5"),
        (np.where(SQUARE == 4, np.nan, SQUARE), TWO, "3 vertices .* not finite, the first is number 1"),
        (SQUARE[:, [0, 2, 1]] * [1, 0, 1], TWO, "vertical"),
        (SQUARE * 0.0, TWO, "no area"),
        (SQUARE * 0.1, TWO, "less than 1 m2"),
        (SQUARE * 1000.0 + [0, 0, 0], TWO, None),
        (SQUARE * 2000.0, TWO, "8000 m across"),
        (SQUARE * [1, 1, 10], TWO, "2 planes|1 planes .* 78.7 degrees"),
        (
            np.vstack([SQUARE, [[2, -3, 1], [2, -3, 4]]]),
            np.vstack([TWO, [[0, 1, 4]], [[1, 0, 5]]]),
            r"1 edges are shared by three or more roof faces, the first at \(2.00, 0.00, 0.00\)",
        ),
    ],
)
def test_what_is_no_roof_is_told_in_one_line(points, faces, words):
    if words is None:
        assert recognize(points, faces).planes.count == 1
        return
    with pytest.raises(InputError, match=words) as caught:
        recognize(points, faces)
    assert "\n" not in str(caught.value)
