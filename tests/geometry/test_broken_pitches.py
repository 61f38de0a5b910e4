"""Gambrels, mansards, half-hips, saltboxes, saw-teeth, cones, domes and courtyards: closed plane geometry."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import shapely
import trimesh
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import Polygon
from shapes import GABLE, L_PLAN, edge_lengths, rectangle, turned

from roofmodel.errors import InputError
from roofmodel.shape.builders import RoofPart, build_roof, regular_footprint
from roofmodel.shape.importing import import_roof
from roofmodel.shape.planes import height_at, plan_polygons
from roofmodel.shape.skeleton import skeleton_cells
from roofmodel.surface import EdgeKind

BOX = rectangle(0, 0, 12, 8)
ENDS = np.radians([60.0, GABLE, 60.0, GABLE])
GAMBREL = RoofPart("gambrel", BOX, ENDS, 3.0, upper_pitch=np.radians(25.0), break_height=2.0)
MANSARD = RoofPart(
    "mansard", BOX, np.radians([60.0] * 4), 3.0, upper_pitch=np.radians(20.0), break_height=2.0
)
HALF_HIP = RoofPart(
    "half-hip",
    BOX,
    np.radians([45.0, GABLE, 45.0, GABLE]),
    3.0,
    clip_height=2.5,
    clip_pitch=np.radians(45.0),
)
SALTBOX = RoofPart(
    "saltbox",
    BOX,
    np.radians([35.0, GABLE, 35.0, GABLE]),
    5.0,
    rear_eave_height=3.0,
    fall_azimuth=0.0,
)
SAW = RoofPart("saw-tooth", BOX, np.radians([30.0]), 4.0, fall_azimuth=np.pi, teeth=4)
CONE = RoofPart("hip", regular_footprint(np.array([3.0, -2.0]), 4.0, 16), np.full(16, np.radians(50.0)), 6.0)
DOME = RoofPart("dome", regular_footprint(np.zeros(2), 6.0, 12), eave_height=4.0, rise=3.0, rings=5)
COURT = RoofPart(
    "hip",
    rectangle(0, 0, 30, 26),
    np.radians([30.0] * 4),
    4.0,
    courtyards=(rectangle(10, 9, 20, 17),),
    courtyard_pitch=np.radians(30.0),
)
EVERY = {
    "gambrel": GAMBREL,
    "mansard": MANSARD,
    "flat top": replace(MANSARD, upper_pitch=0.0),
    "mansard L": replace(MANSARD, footprint=L_PLAN, pitches=np.radians([60.0] * 6), break_height=1.5),
    "half-hip": HALF_HIP,
    "saltbox": SALTBOX,
    "saw-tooth": SAW,
    "cone": CONE,
    "dome": DOME,
    "courtyard": COURT,
    "mansard courtyard": replace(COURT, shape="mansard", upper_pitch=np.radians(15.0), break_height=1.0),
}


def on_plan(part):
    return Polygon(part.footprint, part.courtyards)


@pytest.mark.parametrize("name", EVERY)
def test_covers_its_plan_once_and_stays_the_same_under_rotation(name):
    """Plan and true areas, and kinds of edges, do not know where north is."""
    roof = build_roof([EVERY[name]])
    part = EVERY[name]
    turn = np.radians(33.0)
    fall = part.fall_azimuth - turn
    other = build_roof(
        [
            replace(
                part,
                footprint=turned(part.footprint, turn, (7.0, 3.0)),
                courtyards=tuple(turned(ring, turn, (7.0, 3.0)) for ring in part.courtyards),
                fall_azimuth=fall,
            )
        ]
    )
    for one in (roof, other):
        assert one.planes.plan_area.sum() == pytest.approx(on_plan(part).area, rel=1e-8)
        outlines = plan_polygons(one.planes)
        assert shapely.union_all(outlines, grid_size=1e-8).area == pytest.approx(on_plan(part).area, rel=1e-6)
    assert sorted(other.planes.true_area) == pytest.approx(sorted(roof.planes.true_area), rel=1e-7)
    assert sorted(other.edges.kind) == sorted(roof.edges.kind)


@pytest.mark.parametrize("name", EVERY)
def test_watertight_but_for_its_free_edges(name):
    """Every side of a triangle is shared by two triangles or lies on a free edge or step."""
    roof = build_roof([EVERY[name]])
    sides = np.sort(roof.faces[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2), axis=1)
    pair, count = np.unique(sides, axis=0, return_counts=True)
    assert count.max() == 2
    alone = pair[count == 1]
    free = roof.edges.length[roof.edges.plane[:, 1] < 0].sum()
    length = np.linalg.norm(roof.points[alone[:, 0]] - roof.points[alone[:, 1]], axis=1).sum()
    assert length == pytest.approx(free, rel=1e-6)


@pytest.mark.parametrize("name", EVERY)
def test_round_trip_over_a_mesh_file(name, tmp_path):
    roof = build_roof([EVERY[name]])
    trimesh.Trimesh(roof.points, roof.faces, process=False).export(tmp_path / "roof.stl")
    again = import_roof(tmp_path / "roof.stl", unit="m", up="z")
    assert sorted(again.planes.true_area) == pytest.approx(sorted(roof.planes.true_area), rel=1e-4)
    assert sorted(again.edges.kind) == sorted(roof.edges.kind)


def test_gambrel_closed_form():
    """Break 2 m up at 60 degrees: 2 / tan 60 in from the eaves, the upper slopes share the rest."""
    roof = build_roof([GAMBREL])
    inset = 2.0 / np.tan(np.radians(60.0))
    lengths = edge_lengths(roof)
    assert lengths["pitch break"] == pytest.approx(24.0)
    assert lengths["ridge"] == pytest.approx(12.0)
    assert sorted(roof.planes.plan_area) == pytest.approx(
        sorted([12.0 * inset] * 2 + [12.0 * (4.0 - inset)] * 2)
    )
    ridge = roof.edges.kind.index(EdgeKind.RIDGE)
    assert roof.edges.height[ridge] == pytest.approx(5.0 + (4.0 - inset) * np.tan(np.radians(25.0)))


@given(st.floats(40.0, 70.0), st.floats(5.0, 35.0), st.floats(0.3, 2.0), st.sampled_from([BOX, L_PLAN]))
@settings(max_examples=15, deadline=None)
def test_mansard_area_is_that_of_its_slopes(lower, upper, rise, plan):
    """True area = plan area / cos(pitch), slope by slope; the break runs round at one distance."""
    inset = rise / np.tan(np.radians(lower))
    part = RoofPart(
        "mansard",
        plan,
        np.radians([lower] * len(plan)),
        3.0,
        upper_pitch=np.radians(upper),
        break_height=rise,
    )
    roof = build_roof([part])
    inner = Polygon(plan).buffer(-inset, join_style="mitre").area
    steep = roof.planes.slope > np.radians(37.0)
    assert roof.planes.plan_area[~steep].sum() == pytest.approx(inner, rel=1e-6)
    total = inner / np.cos(np.radians(upper)) + (Polygon(plan).area - inner) / np.cos(np.radians(lower))
    assert roof.planes.true_area.sum() == pytest.approx(total, rel=1e-6)


def test_half_hip_closed_form():
    """45 degrees all round: the end slope starts 2.5 m up, 1.5 m wide to each side, and runs 1.5 m in."""
    roof = build_roof([HALF_HIP])
    ends = [i for i, name in enumerate(roof.planes.name) if name[0] in "EW"]
    np.testing.assert_allclose(roof.planes.plan_area[ends], 0.5 * 3.0 * 1.5)
    lengths = edge_lengths(roof)
    assert lengths["ridge"] == pytest.approx(12.0 - 3.0)
    assert lengths["eave"] == pytest.approx(24.0 + 6.0)
    heights = [h for k, h in zip(roof.edges.kind, roof.edges.height, strict=True) if k is EdgeKind.EAVE]
    assert sorted(heights) == pytest.approx([3.0, 3.0, 5.5, 5.5])


def test_saltbox_closed_form():
    """Equal pitches, eaves 2 m apart: the ridge moves 1 / tan 35 to the front."""
    roof = build_roof([SALTBOX])
    shift = 1.0 / np.tan(np.radians(35.0))
    area = dict(zip(roof.planes.name, roof.planes.plan_area, strict=True))
    assert area == pytest.approx({"N1": 12.0 * (4.0 + shift), "S1": 12.0 * (4.0 - shift)})
    eaves = {
        n: h
        for n, k, h in zip(roof.edges.name, roof.edges.kind, roof.edges.height, strict=True)
        if k is EdgeKind.EAVE
    }
    assert eaves == pytest.approx({"N1 eave": 3.0, "S1 eave": 5.0})


def test_saw_teeth_are_equal_and_each_looks_onto_the_next():
    roof = build_roof([SAW])
    np.testing.assert_allclose(roof.planes.true_area, 24.0 / np.cos(np.radians(30.0)))
    assert roof.steps.count == 3
    np.testing.assert_allclose(roof.steps.wall, 2.0 * np.tan(np.radians(30.0)), rtol=1e-6)
    np.testing.assert_allclose(np.degrees(roof.planes.azimuth), 180.0)


def test_cone_keeps_its_pitch_and_nears_the_true_cone():
    """Lateral area of a cone pi r^2 / cos(pitch); the facets touch it from outside."""
    roof = build_roof([CONE])
    np.testing.assert_allclose(roof.planes.slope, np.radians(50.0))
    cone = np.pi * 16.0 / np.cos(np.radians(50.0))
    assert cone < roof.planes.true_area.sum() < 1.02 * cone
    assert roof.points[:, 2].max() == pytest.approx(6.0 + 4.0 * np.tan(np.radians(50.0)))


def test_dome_nears_the_spherical_cap():
    """Area of a cap pi (r^2 + rise^2); its corners lie on the sphere. The error falls with the square."""
    errors = []
    for fine in (1, 2, 4):
        corner = 6.0 * np.cos(np.pi / (12 * fine))
        part = replace(DOME, footprint=regular_footprint(np.zeros(2), corner, 12 * fine), rings=5 * fine)
        roof = build_roof([part])
        sphere = (36.0 + 9.0) / 6.0
        np.testing.assert_allclose(
            np.linalg.norm(roof.points - [0.0, 0.0, 7.0 - sphere], axis=1), sphere, rtol=1e-9
        )
        errors.append(1.0 - roof.planes.true_area.sum() / (np.pi * (36.0 + 9.0)))
    assert errors[0] > 0.0
    assert errors[0] / errors[1] == pytest.approx(4.0, rel=0.05)
    assert errors[1] / errors[2] == pytest.approx(4.0, rel=0.05)
    assert not roof.notes  # a roof knows no standard: EN's silence about domes is told with EN's cases


def test_courtyard_of_one_pitch():
    """Four ranges with a ridge at half their depth, valleys only from the courtyard's corners."""
    roof = build_roof([COURT])
    assert len(roof.planes.name) == 8
    assert roof.planes.true_area.sum() == pytest.approx((780.0 - 80.0) / np.cos(np.radians(30.0)), rel=1e-7)
    counts = {k: roof.edges.kind.count(k) for k in (EdgeKind.EAVE, EdgeKind.VALLEY, EdgeKind.HIP)}
    assert counts[EdgeKind.EAVE] == 8
    assert counts[EdgeKind.VALLEY] == 4
    for shape, number in zip(plan_polygons(roof.planes), range(8), strict=True):
        xy = np.array(shape.representative_point().coords)
        point = shapely.Point(xy[0])
        rings = on_plan(COURT).boundary
        depth = min(rings.distance(point), 99.0)
        assert height_at(roof.planes, number, xy)[0] <= 4.0 + depth * np.tan(np.radians(30.0)) + 1e-9


@given(
    x=st.floats(3.0, 18.0),
    y=st.floats(3.0, 14.0),
    wide=st.floats(2.0, 9.0),
    deep=st.floats(2.0, 9.0),
    pitch=st.floats(10.0, 60.0),
)
@settings(max_examples=25, deadline=None)
def test_courtyards_anywhere_are_covered_whole(x, y, wide, deep, pitch):
    ring = rectangle(x, y, x + wide, y + deep)
    roof = build_roof([replace(COURT, courtyards=(ring,), courtyard_pitch=np.radians(pitch))])
    assert roof.planes.plan_area.sum() == pytest.approx(780.0 - wide * deep, rel=1e-6)
    assert roof.edges.kind.count(EdgeKind.EAVE) == 8


@pytest.mark.parametrize(
    ("part", "words"),
    [
        (replace(GAMBREL, break_height=9.0), "break_height 9 m is not below the top"),
        (replace(GAMBREL, footprint=L_PLAN, pitches=np.radians([60.0] * 6)), "use mansard"),
        (replace(MANSARD, upper_pitch=float("nan")), "needs upper_pitch"),
        (replace(HALF_HIP, clip_height=4.5), "clip_height 4.5 m is not below the ridge"),
        (replace(SALTBOX, rear_eave_height=6.0), "not below eave_height"),
        (replace(SALTBOX, fall_azimuth=0.5 * np.pi), "gable end"),
        (replace(SALTBOX, eave_height=12.0), "only 8.602 m high at the front wall"),
        (replace(SAW, fall_azimuth=0.4), "square to one of its sides"),
        (replace(DOME, rise=7.0), "at most the radius"),
        (replace(DOME, rise=6.0, rings=20), "a wall"),
        (replace(COURT, courtyards=(rectangle(0, 9, 20, 17),)), "courtyard 1 does not lie inside"),
        (replace(COURT, courtyard_pitch=float("nan")), "courtyard_pitch"),
        (replace(COURT, shape="L"), "takes no courtyards"),
    ],
)
def test_refusals(part, words):
    with pytest.raises(InputError, match=words):
        build_roof([part])


@given(seed=st.integers(0, 10**6), corners=st.integers(4, 12), rise=st.floats(0.2, 1.5), flat=st.booleans())
@settings(max_examples=40, deadline=None)
def test_mansards_over_stars_are_whole(seed, corners, rise, flat):
    """Every edge with its own pitch: the plan is covered once, and the break is level all round."""
    random = np.random.default_rng(seed)
    angle = 2.0 * np.pi * (np.arange(corners) + random.uniform(0.1, 0.9, corners)) / corners
    reach = random.uniform(6.0, 14.0, corners)
    star = np.stack([reach * np.cos(angle), reach * np.sin(angle)], axis=1)
    pitch = np.radians(random.uniform(35.0, 65.0, corners))
    upper = 0.0 if flat else np.radians(20.0)
    cells = skeleton_cells(star, pitch, 3.0, "part", (), (rise, upper))
    assert sum(shape.area for _, shape in cells) == pytest.approx(Polygon(star).area, rel=2e-6)
    for plane, shape in cells:
        height = shapely.get_coordinates(shape) @ plane[:2] + plane[2] - 3.0
        steep = np.hypot(*plane[:2]) > np.tan(np.radians(30.0))
        assert (height.max() if steep else rise) <= rise + 1e-5
        assert (height.min() if not steep else rise) >= rise - 1e-5
