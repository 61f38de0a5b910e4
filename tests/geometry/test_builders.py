"""Built roofs against closed forms (plane geometry; no source needed beyond it)."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from shapes import GABLE, L_PLAN, edge_lengths, gable, hip, l_part, mesh_area, rectangle, turned

from roofmodel.errors import InputError
from roofmodel.shape.builders import RoofPart, build_roof
from roofmodel.shape.planes import height_at, plan_polygons
from roofmodel.surface import EdgeKind

EXACT = 1e-9


def check_consistent(roof, plan_area):
    """What must hold for every roof built from one part."""
    planes, edges = roof.planes, roof.edges
    assert planes.plan_area.sum() == pytest.approx(plan_area, rel=EXACT)
    np.testing.assert_allclose(np.cross(planes.upslope, planes.normal), planes.across, atol=1e-12)
    np.testing.assert_allclose(np.linalg.norm(planes.normal, axis=1), 1.0, atol=1e-12)
    assert (planes.normal[:, 2] > 0.0).all()
    area = mesh_area(roof.points, roof.faces)
    np.testing.assert_allclose(np.bincount(roof.face_plane, area), planes.true_area, rtol=EXACT)
    corner = roof.points[roof.faces]
    away = np.einsum(
        "fcx,fx->fc", corner - planes.origin[roof.face_plane][:, None], planes.normal[roof.face_plane]
    )
    assert np.abs(away).max() < EXACT
    for outline in planes.outline:
        assert outline.is_valid
        assert outline.exterior.is_ccw
        np.testing.assert_allclose(outline.bounds[:2], 0.0, atol=EXACT)
    for side in (0, 1):
        used = edges.plane[:, side] >= 0
        for end in (edges.start[used], edges.end[used]):
            plane = edges.plane[used, side]
            gap = np.sum((end - planes.origin[plane]) * planes.normal[plane], axis=1)
            assert np.abs(gap).max(initial=0.0) < EXACT
    perimeter = sum(outline.length for outline in planes.outline)
    shared = edges.plane[:, 1] >= 0
    assert edges.length[shared].sum() * 2 + edges.length[~shared].sum() == pytest.approx(perimeter, rel=EXACT)


def left_side_is_plane(roof):
    """Points just left of an edge lie on its first plane, just right on its second."""
    polygons = plan_polygons(roof.planes)
    middle = 0.5 * (roof.edges.start + roof.edges.end)[:, :2]
    along = (roof.edges.end - roof.edges.start)[:, :2]
    left = np.stack([-along[:, 1], along[:, 0]], axis=1) / np.linalg.norm(along, axis=1, keepdims=True)
    for index, (first, second) in enumerate(roof.edges.plane):
        assert shapely.contains_xy(polygons[first], *(middle[index] + 1e-4 * left[index]))
        if second >= 0:
            assert shapely.contains_xy(polygons[second], *(middle[index] - 1e-4 * left[index]))
    return True


def test_gable_edges_and_areas():
    roof = build_roof([gable()])
    check_consistent(roof, 96.0)
    assert left_side_is_plane(roof)
    assert set(roof.planes.name) == {"S1", "N1"}
    lengths = edge_lengths(roof)
    assert lengths == pytest.approx({"eave": 24.0, "ridge": 12.0, "rake": 4 * 4.0 / np.cos(np.radians(30))})
    ridge = roof.edges.kind.index(EdgeKind.RIDGE)
    assert roof.edges.height[ridge] == pytest.approx(3.0 + 4.0 * np.tan(np.radians(30)), rel=EXACT)
    assert roof.steps.count == 0


@given(st.floats(5, 70), st.floats(5, 70), st.floats(4, 40), st.floats(3, 20))
@settings(max_examples=25, deadline=None)
def test_gable_with_unequal_pitches_has_its_ridge_where_the_planes_meet(south, north, length, width):
    roof = build_roof([gable(length, width, (south, GABLE, north, GABLE))])
    check_consistent(roof, length * width)
    a, b = np.tan(np.radians([south, north]))
    ridge = roof.edges.kind.index(EdgeKind.RIDGE)
    assert roof.edges.start[ridge, 1] == pytest.approx(width * b / (a + b), rel=1e-8)
    assert roof.edges.height[ridge] == pytest.approx(3.0 + width * a * b / (a + b), rel=1e-8)


@given(st.floats(5, 70), st.floats(6, 40), st.floats(3, 20), st.floats(0, 360))
@settings(max_examples=25, deadline=None)
def test_hip_closed_form(pitch, length, width, turn):
    length, width = max(length, width) + 1.0, min(length, width)
    part = hip(length, width, pitch)
    part = RoofPart("hip", turned(part.footprint, np.radians(turn), (30.0, -20.0)), part.pitches, 3.0)
    roof = build_roof([part])
    check_consistent(roof, length * width)
    lengths = edge_lengths(roof)
    rise = 0.5 * width * np.tan(np.radians(pitch))
    assert lengths["ridge"] == pytest.approx(length - width, rel=1e-8)
    assert lengths["hip"] == pytest.approx(4 * np.hypot(width / np.sqrt(2), rise), rel=1e-8)
    assert lengths["eave"] == pytest.approx(2 * (length + width), rel=1e-8)
    triangle = 0.25 * width**2
    np.testing.assert_allclose(
        np.sort(roof.planes.plan_area),
        np.sort([triangle] * 2 + [0.5 * length * width - triangle] * 2),
        rtol=1e-8,
    )


def test_pyramid_has_no_ridge_and_four_equal_planes():
    roof = build_roof([hip(8.0, 8.0)])
    check_consistent(roof, 64.0)
    assert set(edge_lengths(roof)) == {"eave", "hip"}
    np.testing.assert_allclose(roof.planes.plan_area, 16.0, rtol=EXACT)
    assert set(roof.planes.name) == {"N1", "E1", "S1", "W1"}


def test_hip_on_a_convex_polygon_is_the_lowest_plane():
    corner = np.arange(5) * 2 * np.pi / 5
    footprint = 6.0 * np.stack([np.cos(corner), np.sin(corner)], axis=1)
    pitches = np.radians([20.0, 35.0, 30.0, 45.0, 25.0])
    roof = build_roof([RoofPart("hip", footprint, pitches, 2.0)])
    check_consistent(roof, shapely.Polygon(footprint).area)
    along = np.roll(footprint, -1, axis=0) - footprint
    inward = np.stack([-along[:, 1], along[:, 0]], axis=1) / np.linalg.norm(along, axis=1)[:, None]
    for plane, polygon in enumerate(plan_polygons(roof.planes)):
        xy = np.array(polygon.representative_point().coords)
        depth = np.sum((xy - footprint) * inward, axis=1)
        lowest = 2.0 + (np.tan(pitches) * depth).min()
        assert height_at(roof.planes, plane, xy)[0] == pytest.approx(lowest, rel=1e-9)


def test_hip_with_a_gable_edge_has_a_rake_there():
    roof = build_roof([RoofPart("hip", rectangle(0, 0, 12, 8), np.radians([30, GABLE, 30, 30]), 3.0)])
    check_consistent(roof, 96.0)
    lengths = edge_lengths(roof)
    assert lengths["ridge"] == pytest.approx(8.0, rel=EXACT)
    assert lengths["rake"] == pytest.approx(2 * 4.0 / np.cos(np.radians(30)), rel=EXACT)


@pytest.mark.parametrize("turn", [0.0, 17.0, 90.0, 203.0])
def test_l_roof_with_equal_wings(turn):
    roof = build_roof([l_part(footprint=turned(L_PLAN, np.radians(turn)))])
    check_consistent(roof, 120.0)
    assert left_side_is_plane(roof)
    lengths = edge_lengths(roof)
    run = 3.0 * np.sqrt(2.0 + np.tan(np.radians(30)) ** 2)  # hip or valley over 3 m x 3 m on plan
    assert lengths == pytest.approx({"eave": 52.0, "ridge": 14.0, "valley": run, "hip": 5 * run}, rel=1e-8)
    valley = roof.edges.kind.index(EdgeKind.VALLEY)
    plan = turned((roof.edges.end - roof.edges.start)[:, :2], -np.radians(turn))[valley]
    assert abs(plan[0]) == pytest.approx(abs(plan[1]), rel=1e-8)  # 45 degrees for equal pitches


def test_l_roof_with_unequal_wings_and_pitches_is_continuous():
    footprint = np.array([[0, 0], [14, 0], [14, 8], [5, 8], [5, 15], [0, 15]], dtype=float)
    roof = build_roof([l_part((30, 25, 40, 30, 35, 28), footprint)])
    check_consistent(roof, 14 * 8 + 5 * 7)
    kinds = set(roof.edges.kind)
    assert EdgeKind.VALLEY in kinds
    assert EdgeKind.RAKE not in kinds
    assert EdgeKind.HEAD not in kinds
    assert EdgeKind.STEP not in kinds
    eaves = np.array([kind == EdgeKind.EAVE for kind in roof.edges.kind])
    assert roof.edges.length[eaves].sum() == pytest.approx(shapely.Polygon(footprint).length, rel=EXACT)


def test_l_roof_with_gable_ends_drains_its_valley_to_the_inner_corner():
    roof = build_roof([l_part((30, GABLE, 30, 30, GABLE, 30))])
    check_consistent(roof, 120.0)
    lengths = edge_lengths(roof)
    assert lengths["rake"] == pytest.approx(4 * 3.0 / np.cos(np.radians(30)), rel=1e-9)
    assert lengths["ridge"] == pytest.approx(9.0 + 11.0, rel=1e-9)
    valley = roof.edges.kind.index(EdgeKind.VALLEY)
    ends = np.stack([roof.edges.start[valley], roof.edges.end[valley]])
    np.testing.assert_allclose(ends[np.argmin(ends[:, 2])], [6.0, 6.0, 3.0], atol=1e-9)


@pytest.mark.parametrize("make", [gable, hip, l_part])
def test_clockwise_footprints_give_the_same_roof(make):
    part = make()
    pitches = part.pitches + np.radians(np.arange(len(part.pitches)))
    forward = build_roof([RoofPart(part.shape, part.footprint, pitches, 3.0)])
    backward = build_roof([RoofPart(part.shape, part.footprint[::-1], np.roll(pitches[::-1], -1), 3.0)])
    assert forward.planes.name == backward.planes.name
    np.testing.assert_allclose(forward.planes.plan_area, backward.planes.plan_area, rtol=EXACT)
    np.testing.assert_allclose(forward.planes.slope, backward.planes.slope, rtol=EXACT)
    np.testing.assert_allclose(forward.planes.origin, backward.planes.origin, atol=EXACT)


@given(st.floats(0, 359.9), st.floats(1, 60))
@settings(max_examples=25, deadline=None)
def test_shed_falls_to_its_azimuth(azimuth, pitch):
    part = RoofPart("shed", rectangle(0, 0, 10, 6), np.radians([pitch]), 4.0, np.radians(azimuth))
    roof = build_roof([part])
    check_consistent(roof, 60.0)
    assert roof.planes.slope[0] == pytest.approx(np.radians(pitch), rel=1e-9)
    assert np.cos(roof.planes.azimuth[0] - np.radians(azimuth)) == pytest.approx(1.0, abs=1e-12)
    assert roof.points[:, 2].min() == pytest.approx(4.0, rel=1e-9)


def test_shed_edges():
    roof = build_roof([RoofPart("shed", rectangle(0, 0, 10, 6), np.radians([15.0]), 4.0, np.pi)])
    assert edge_lengths(roof) == pytest.approx(
        {"eave": 10.0, "head": 10.0, "rake": 12.0 / np.cos(np.radians(15))}
    )
    eave = roof.edges.kind.index(EdgeKind.EAVE)
    np.testing.assert_allclose(roof.edges.start[eave], [0, 0, 4], atol=EXACT)
    np.testing.assert_allclose(roof.planes.across[0], [1, 0, 0], atol=EXACT)


def test_flat_roof_is_level_and_says_so():
    roof = build_roof([RoofPart("flat", rectangle(0, 0, 10, 6), eave_height=4.0)])
    check_consistent(roof, 60.0)
    assert roof.planes.name == ("F1",)
    assert roof.planes.slope[0] == 0.0
    assert any("F1" in note and "nominal" in note for note in roof.notes)


def test_crossing_parts_meet_in_valleys():
    """Two gables of one eave height that cross: four valleys at 45 degrees on plan."""
    second = RoofPart("gable", rectangle(4, -4, 12, 12), np.radians([GABLE, 30, GABLE, 30]), 3.0)
    roof = build_roof([gable(16.0, 8.0), second])
    check_consistent(roof, 16 * 8 + 8 * 8)
    valley = 4.0 * np.sqrt(2.0 + np.tan(np.radians(30)) ** 2)
    assert edge_lengths(roof)["valley"] == pytest.approx(4 * valley, rel=1e-8)


def check_union(parts):
    """All parts together cover the union of their footprints, once."""
    roof = build_roof(parts)
    polygons = plan_polygons(roof.planes)
    wanted = shapely.union_all([shapely.Polygon(part.footprint) for part in parts], grid_size=1e-9).area
    assert roof.planes.plan_area.sum() == pytest.approx(wanted, rel=1e-7)
    assert shapely.union_all(polygons, grid_size=1e-9).area == pytest.approx(wanted, rel=1e-7)
    return roof


def test_l_roof_whose_wings_share_planes_keeps_its_area():
    """Here overlays without a grid lose 6 m2: two cells have edges that coincide but for the last digits."""
    footprint = np.array(
        [
            [6.58820264, -1.38758439],
            [11.63803606, 10.59153004],
            [8.65566474, 11.84875806],
            [6.90867493, 7.70458357],
            [3.44075387, 9.16649662],
            [0.13791026, 1.33155668],
        ]
    )
    check_union([l_part((30, 45, 30, 30, 30, 30), footprint)])


@st.composite
def any_part(draw):
    shape = draw(st.sampled_from(["shed", "gable", "hip", "L", "flat"]))
    length, width = draw(st.floats(3, 15)), draw(st.floats(3, 15))
    footprint = rectangle(0, 0, length, width)
    if shape == "L":
        a, b = length * draw(st.floats(0.3, 0.7)), width * draw(st.floats(0.3, 0.7))
        footprint = np.array([[0, 0], [length, 0], [length, b], [a, b], [a, width], [0, width]])
    pitches = np.array([draw(st.sampled_from([20.0, 30.0, 45.0])) for _ in footprint])
    if shape == "gable":
        pitches[1::2] = GABLE
    pitches = {"flat": np.zeros(0), "shed": pitches[:1]}.get(shape, pitches)
    turn, x, y = (
        draw(st.sampled_from([0.0, 0.5, np.pi / 2])),
        draw(st.integers(-8, 8)),
        draw(st.integers(-8, 8)),
    )
    eave = draw(st.sampled_from([3.0, 4.5, 6.0]))
    return RoofPart(shape, turned(footprint, turn, (x, y)), np.radians(pitches), eave, draw(st.floats(0, 6)))


@given(st.lists(any_part(), min_size=1, max_size=3))
@settings(max_examples=40, deadline=None)
def test_parts_in_any_place_cover_the_union_and_the_higher_is_the_roof(parts):
    roof = check_union(parts)
    alone = [build_roof([part]) for part in parts]
    for plane, polygon in enumerate(plan_polygons(roof.planes)):
        xy = np.array(polygon.representative_point().coords)
        heights = [
            height_at(single.planes, other, xy)[0]
            for single in alone
            for other, cell in enumerate(plan_polygons(single.planes))
            if shapely.intersects_xy(cell, *xy[0])
        ]
        assert height_at(roof.planes, plane, xy)[0] == pytest.approx(max(heights), abs=1e-6)


@pytest.mark.parametrize("first", [0, 1])
def test_parts_that_other_parts_hide_are_told(first):
    """Two sheds on one footprint: the lower is not in the roof, in whichever order they are given."""
    square = rectangle(0, 0, 20.0, 10.0)
    high = RoofPart("shed", square, np.radians([30.0]), 5.0, np.pi, "upper")
    low = RoofPart("shed", square, np.radians([12.0]), 2.6, np.pi, "lower")
    roof = build_roof([high, low] if first == 0 else [low, high])
    assert roof.planes.count == 1
    (note,) = [note for note in roof.notes if "below or within" in note]
    assert note.startswith("lower ")
    beside = RoofPart("shed", rectangle(20.0, 0, 40.0, 10.0), np.radians([12.0]), 2.6, np.pi, "lower")
    assert not [note for note in build_roof([high, beside]).notes if "below or within" in note]


def test_far_footprints_get_a_local_origin():
    far = np.array([2_600_000.0, 1_200_000.0])
    roof = build_roof([RoofPart("hip", rectangle(0, 0, 12, 8) + far, np.radians([30] * 4), 3.0)])
    assert np.abs(roof.points).max() < 100.0
    back = roof.points + roof.offset
    np.testing.assert_allclose(back[:, :2].min(axis=0), far, atol=1e-9)
    assert any("origin" in note for note in roof.notes)


@pytest.mark.parametrize(
    ("part", "words"),
    [
        (RoofPart("dome", rectangle(0, 0, 9, 9)), "dome"),
        (RoofPart("flat", np.array([[0, 0], [9, 0]])), "3 points"),
        (RoofPart("flat", np.array([[0, 0], [9, 9], [9, 0], [0, 9]])), "crosses"),
        (RoofPart("flat", np.array([[0, 0], [9, 0], [4, 0]])), "no area"),
        (RoofPart("flat", rectangle(0, 0, 0.5, 0.5)), "0.25 m2"),
        (RoofPart("flat", rectangle(0, 0, 6000, 5)), "6000 m across"),
        (RoofPart("flat", np.array([[0, 0], [9, 0], [9, np.nan]])), "finite"),
        (
            RoofPart("hip", rectangle(0, 0, 9, 8), np.radians([30, 30, -3, 30]), name="wing B"),
            "wing B: pitch -3",
        ),
        (RoofPart("hip", rectangle(0, 0, 9, 8), np.radians([30, 30, 75, 30])), "pitch 75 degrees"),
        (RoofPart("hip", rectangle(0, 0, 9, 8), np.radians([30, 30, 0, 30])), "above 0 degrees"),
        (RoofPart("hip", rectangle(0, 0, 9, 8), np.radians([30, 30, 30])), "3 pitches for 4"),
        (RoofPart("hip", rectangle(0, 0, 9, 8), np.full(4, GABLE)), "at least one edge"),
        (RoofPart("gable", rectangle(0, 0, 9, 8), np.radians([30, GABLE, GABLE, 30])), "opposite"),
        (
            RoofPart("gable", np.array([[0, 0], [9, 0], [9, 8], [1, 8]]), np.radians([30, GABLE, 30, GABLE])),
            "rect",
        ),
        (RoofPart("L", rectangle(0, 0, 9, 8), np.radians([30] * 4)), "6 corners"),
        (RoofPart("L", L_PLAN, np.radians([30, 30, GABLE, 30, 30, 30])), "inner corner"),
        (RoofPart("shed", rectangle(0, 0, 9, 8), np.radians([10])), "fall_azimuth"),
        (
            RoofPart("shed", rectangle(0, 0, 9, 8), np.radians([10, 20, 10, 20]), fall_azimuth=0.0),
            "one pitch",
        ),
        (RoofPart("flat", rectangle(0, 0, 9, 8), np.radians([5.0])), "no pitch"),
        (RoofPart("flat", rectangle(0, 0, 9, 8)[[0, 1, 2, 3, 0]]), "repeats the first"),
    ],
)
def test_bad_parts_are_told_in_one_line(part, words):
    with pytest.raises(InputError, match=words) as caught:
        build_roof([part])
    assert "\n" not in str(caught.value)
    assert str(caught.value).startswith(part.name or "part 1") or "across" in str(caught.value)


def test_no_parts():
    with pytest.raises(InputError, match="no parts"):
        build_roof([])


@pytest.mark.parametrize(("power", "seed"), [(-11, 33), (-10, 51), (-9, 100), (-9, 145), (-14, 1), (-6, 1)])
def test_pitches_that_hardly_differ_still_make_a_roof(power, seed):
    """Wings whose planes differ by rounding cross far outside the roof; the first four once failed."""
    rng = np.random.default_rng(seed)
    pitches = 30.0 * (1.0 + 10.0**power * rng.normal(size=6))
    footprint = turned(L_PLAN, rng.uniform(0.0, 6.3))
    roof = build_roof([RoofPart("L", footprint, np.radians(pitches), 3.0)])
    assert roof.planes.plan_area.sum() == pytest.approx(shapely.Polygon(L_PLAN).area, rel=1e-6)
