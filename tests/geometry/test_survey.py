"""Meshes from measured points: noise of 3 cm, no point just on a crease, triangles of any shape."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from scipy.spatial import Delaunay
from shapes import GABLE, edge_lengths, gable, hip, l_part, subdivided, turned
from test_importing import save

from benchmarks.recognition import DORMERS, NOISE, dormers_found, measured
from roofmodel.shape.builders import RoofPart, build_roof
from roofmodel.shape.dormers import Dormer
from roofmodel.shape.importing import import_roof
from roofmodel.shape.measured_planes import small_roof
from roofmodel.shape.planes import plan_polygons
from roofmodel.shape.recognition import recognize
from roofmodel.shape.roof_faces import RawMesh, pick_roof_faces
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
    assert sum("What a survey may hide" in note for note in found.notes) == 1


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


def box(length, width, x=0.0, y=0.0):
    return np.array([[x, y], [x + length, y], [x + length, y + width], [x, y + width]])


def shed(footprint, pitch, eave):
    return RoofPart("shed", footprint, np.radians([pitch]), eave, fall_azimuth=np.pi)


def gambrel(lower, upper):
    height = 3.0 * np.tan(np.radians(lower))
    pitches = np.radians([lower, GABLE, lower, GABLE])
    more = {"upper_pitch": np.radians(upper), "break_height": height}
    return [RoofPart("gambrel", box(14, 12), pitches, 3.0, **more)]


def flared(lower, upper):
    """Two sheds, the upper steeper: a hollow break 5 m up the plan."""
    return [
        shed(box(12, 5), lower, 3.0),
        shed(box(12, 5, y=5.0), upper, 3.0 + 5.0 * np.tan(np.radians(lower))),
    ]


TEE = np.array([[0, 0], [16, 0], [16, 7], [11, 7], [11, 14], [5, 14], [5, 7], [0, 7]], dtype=float)
FAMILY = {
    "gable": [gable()],
    "low hip": [hip(14.0, 10.0, 8.0)],
    "hip": [hip(14.0, 10.0)],
    "L": [l_part()],
    "T": [RoofPart("hip", TEE, np.radians([30.0] * 8), 3.0)],
    "crossing gables": [
        gable(16.0, 7.0),
        RoofPart("gable", box(6, 11, 5, 3), np.radians([GABLE, 30] * 2), 3.0),
    ],
    "half-hip": [
        RoofPart(
            "half-hip",
            box(12, 8),
            np.radians([40, GABLE, 40, GABLE]),
            3.0,
            clip_height=2.2,
            clip_pitch=np.radians(40),
        )
    ],
    "gentle gambrel": gambrel(23.0, 20.0),
    "flare": flared(20.0, 23.0),
    "flare of 5": flared(20.0, 25.0),
}


def surveyed(parts, density, seed, dormers=()):
    """A roof and what is recognized of its survey, turned by a random angle."""
    true = build_roof(parts, dormers)
    points, faces = measured(true, density, seed)
    turn = np.random.default_rng(seed).uniform(0.0, 2.0 * np.pi)
    picked = pick_roof_faces(RawMesh(turned(points, turn), faces, ()))
    found = recognize(picked.points, picked.faces, offset=picked.offset, ground=picked.ground)
    return true, found


def assert_same_edges(found, true, least=0.7):
    """Lengths of each kind of edge within 6 % or `least` meters, and no kind that the roof does not have."""
    ours, theirs = edge_lengths(found), edge_lengths(true)
    for kind in set(ours) | set(theirs):
        assert ours.get(kind, 0.0) == pytest.approx(theirs.get(kind, 0.0), rel=0.06, abs=least), kind


def assert_slopes(found, true):
    large = np.flatnonzero(found.planes.true_area > 10.0)
    for slope in found.planes.slope[large]:
        assert np.abs(np.degrees(true.planes.slope - slope)).min() < 0.5


def check_family(name, density, seed):
    true, found = surveyed(FAMILY[name], density, seed)
    assert found.planes.count == true.planes.count
    assert found.steps.count == 0
    assert found.planes.plan_area.sum() == pytest.approx(true.planes.plan_area.sum(), rel=0.03)
    # At 8 points per m2 a 3 degree break is placed to half a meter: 4 % of the roof, a fifth of a plane.
    near = 0.15 if density > 8 else 0.25
    assert np.sort(found.planes.plan_area) == pytest.approx(np.sort(true.planes.plan_area), rel=near, abs=1.0)
    assert_slopes(found, true)
    assert_same_edges(found, true, 1.5)


@pytest.mark.parametrize("name", FAMILY)
def test_edges_of_a_survey_are_straight_and_of_the_right_kind(name):
    check_family(name, 8, 2)


@pytest.mark.slow
@pytest.mark.parametrize("name", FAMILY)
@pytest.mark.parametrize("density", [8, 20])
@pytest.mark.parametrize("seed", range(3, 7))
def test_edges_of_a_survey_are_of_the_right_kind_whatever_the_points(name, density, seed):
    check_family(name, density, seed)


@pytest.mark.parametrize("seed", range(3))
def test_steps_and_dormers_of_a_survey_are_found(seed):
    """A wall of 1.9 m between the teeth; dormers of 2.4 m and 3 m with walls around them."""
    true, found = surveyed(
        [RoofPart("saw-tooth", box(12, 12), np.radians([25.0]), 3.0, fall_azimuth=np.pi, teeth=3)], 12, seed
    )
    assert found.planes.count == 3
    assert_slopes(found, true)
    assert_same_edges(found, true, 1.5)
    dormers = [
        Dormer("S1", 4.0, 1.5, 2.4, 1.2, np.radians(30)),
        Dormer("S1", 9.5, 1.5, 3.0, 1.3, np.radians(12), "shed"),
    ]
    true, found = surveyed([gable(14.0, 10.0, (38.0, GABLE, 38.0, GABLE))], 20, seed, dormers)
    assert found.planes.count == true.planes.count == 5
    assert found.planes.plan_area == pytest.approx(true.planes.plan_area, rel=0.1, abs=0.3)
    assert edge_lengths(found)["step"] == pytest.approx(edge_lengths(true)["step"], rel=0.15)


@pytest.mark.parametrize("seeds", [range(6, 12), pytest.param(range(32), marks=pytest.mark.slow)], ids=len)
def test_small_dormers_of_a_coarse_survey_are_mostly_found(seeds):
    """Planes of 1.8 to 5 m2 on plan with 14 to 40 points each: 86 % of 32 surveys' planes were found."""
    there, right, wrong = np.sum([dormers_found(8, seed, DORMERS) for seed in seeds], axis=0)
    assert there == 5 * len(seeds)
    assert right >= 0.8 * there
    assert wrong <= 0.05 * there + 1


def test_a_few_points_are_a_small_roof_only_where_they_lie_on_planes():
    rng = np.random.default_rng(0)
    x, y = rng.uniform(-1.0, 1.0, (2, 30))
    noise = rng.normal(0.0, NOISE, 30)
    part = small_roof(np.column_stack([x, y, 5.0 - 0.6 * np.abs(x) + noise]), NOISE)
    assert np.abs(np.corrcoef(part, x > 0.0)[0, 1]) > 0.8
    for z in (
        5.0 + noise,
        5.0 + 0.6 * x + noise,
        5.0 - 0.6 * np.abs(x) + 8.0 * noise,
        6.0 * np.abs(x) + noise,
    ):
        assert small_roof(np.column_stack([x, y, z]), NOISE) is None


@pytest.mark.parametrize("seed", [0, 2])
def test_a_surveyed_chimney_with_a_ridge_is_one_obstruction(seed):
    """1.2 by 2.0 m, its ridge down the slope: the slopes of its cap need not meet in the survey."""
    rng = np.random.default_rng(seed)
    xy = rng.uniform([0, 0], [15, 8], (12 * 15 * 8, 2))
    rise = np.tan(np.radians(30.0))
    x, y = np.abs(xy - [7.0, 4.0]).T
    top = 4.0 + 5.0 * rise + 0.8 - 0.5 * x
    z = np.where((x < 0.6) & (y < 1.0), top, 4.0 + xy[:, 1] * rise) + rng.normal(0.0, NOISE, len(xy))
    found = recognize(np.column_stack([xy, z]), Delaunay(xy).simplices)
    assert found.planes.count == 1
    assert found.found.count == 1
    assert found.found.height[0] == pytest.approx(0.5, abs=0.25)  # least wall: 0.8 - 0.5 0.6 m


def test_a_level_roof_below_a_wall_is_level_and_has_its_step():
    """Noise tilts a level plane a little: its fall is nominal then, not the noise's."""
    porch = RoofPart("flat", box(12, 4, y=-4.0), np.zeros(0), 2.0)
    _, found = surveyed([gable(), porch], 8, 1)
    flat = found.planes.name.index("F1")
    assert found.planes.slope[flat] == 0.0
    assert found.steps.count == 1
    assert found.steps.lower[0] == flat
    assert found.steps.wall.mean() == pytest.approx(1.0, abs=0.06)
