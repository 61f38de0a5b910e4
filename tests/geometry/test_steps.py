"""Steps: the foot of walls, their heights, gaps and overhangs."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import shapely
from shapes import gable, rectangle, turned

from roofmodel.shape.assembly import _cuts
from roofmodel.shape.builders import RoofPart, build_roof
from roofmodel.shape.dormers import Dormer
from roofmodel.shape.planes import height_at, plan_polygons
from roofmodel.shape.recognition import recognize
from roofmodel.surface import EdgeKind


def flat(x0, y0, x1, y1, height):
    return RoofPart("flat", rectangle(x0, y0, x1, y1), eave_height=height)


def test_a_shed_against_an_eave_wall():
    roof = build_roof(
        [gable(eave=6.0), RoofPart("shed", rectangle(2, -4, 9, 0), np.radians([10]), 3.0, np.pi)]
    )
    steps = roof.steps
    assert steps.count == 1
    top = 3.0 + 4.0 * np.tan(np.radians(10))
    np.testing.assert_allclose(steps.wall, [[6.0 - top, 6.0 - top]], rtol=1e-9)
    np.testing.assert_allclose([steps.start[0], steps.end[0]], [[9, 0, top], [2, 0, top]], atol=1e-9)
    assert roof.planes.name[steps.lower[0]] == "S2"
    assert roof.planes.name[steps.upper[0]] == "S1"
    assert roof.edges.kind[steps.lower_edge[0]] == EdgeKind.STEP
    assert roof.edges.height[steps.lower_edge[0]] == pytest.approx(6.0 - top)
    assert roof.edges.kind[steps.upper_edge[0]] == EdgeKind.EAVE
    assert steps.gap[0] == 0.0


def test_the_lower_plane_lies_to_the_left_of_a_step():
    roof = build_roof([gable(eave=6.0), flat(-3, -4, 9, 3, 3.0), flat(14, -4, 19, 10, 3.0)])
    steps, polygons = roof.steps, plan_polygons(roof.planes)
    assert steps.count == 4
    for index in range(steps.count):
        start, end = steps.start[index], steps.end[index]
        along = (end - start)[:2] / np.linalg.norm((end - start)[:2])
        left = 0.5 * (start + end)[:2] + 0.01 * np.array([-along[1], along[0]])
        assert shapely.contains_xy(polygons[steps.lower[index]], *left)
        foot = height_at(roof.planes, int(steps.lower[index]), np.array([start[:2], end[:2]]))
        np.testing.assert_allclose(foot, [start[2], end[2]], atol=1e-9)


def test_the_wall_below_a_gable_end_follows_the_rakes():
    roof = build_roof([gable(eave=6.0), flat(-5, 0, 0, 8, 3.0)])
    steps = roof.steps
    rise = 4.0 * np.tan(np.radians(30))
    assert steps.count == 2
    np.testing.assert_allclose(np.sort(steps.wall, axis=1), [[3.0, 3.0 + rise]] * 2, rtol=1e-9)
    feet = np.array([kind == EdgeKind.STEP for kind in roof.edges.kind])
    assert roof.edges.length[feet].sum() == pytest.approx(8.0)


def test_a_partial_wall_splits_the_lower_edge():
    roof = build_roof([flat(0, 0, 10, 6, 3.0), flat(2, 6, 5, 9, 7.0)])
    by_kind = dict.fromkeys(EdgeKind, 0.0)
    lower = roof.planes.name.index("F1")
    north = [
        (kind, length)
        for kind, length, start, end, plane in zip(
            roof.edges.kind,
            roof.edges.length,
            roof.edges.start,
            roof.edges.end,
            roof.edges.plane,
            strict=True,
        )
        if plane[0] == lower and start[1] == end[1] == pytest.approx(6.0)
    ]
    for kind, length in north:
        by_kind[kind] += length
    assert by_kind[EdgeKind.STEP] == pytest.approx(3.0)
    assert sum(by_kind.values()) == pytest.approx(10.0)
    assert len(north) == 3
    np.testing.assert_allclose(roof.steps.wall, [[4.0, 4.0]])


@pytest.mark.parametrize("gap", [0.5, 2.0, 6.0])
def test_separated_roofs(gap):
    roof = build_roof([flat(0, 0, 10, 6, 7.0), flat(2, -gap - 5, 6, -gap, 3.0)])
    steps = roof.steps
    assert steps.count == 1
    assert steps.gap[0] == pytest.approx(gap)
    np.testing.assert_allclose(steps.wall, [[4.0, 4.0]])
    assert roof.edges.kind[steps.lower_edge[0]] != EdgeKind.STEP
    np.testing.assert_allclose([steps.start[0], steps.end[0]], [[6, -gap, 3], [2, -gap, 3]], atol=1e-9)


def test_roofs_farther_apart_than_twenty_feet_are_no_step():
    assert build_roof([flat(0, 0, 10, 6, 7.0), flat(2, -12, 6, -6.2, 3.0)]).steps.count == 0


def step_pairs(roof):
    name = roof.planes.name
    return {
        (name[u], name[low]): k
        for k, (u, low) in enumerate(zip(roof.steps.upper, roof.steps.lower, strict=True))
    }


@pytest.mark.parametrize("angle", [0.0, 33.0])
def test_a_ledge_hides_no_roof_from_a_higher_one(angle):
    """F1 at 7 m, a strip 1.5 m wide at 5 m and a roof at 3 m: as far as the eye sees down, all have steps."""
    parts = [flat(0, 0, 10, 6, 7.0), flat(0, -1.5, 10, 0, 5.0), flat(2, -6, 9, -1.5, 3.0)]
    roof = build_roof([replace(part, footprint=turned(part.footprint, angle)) for part in parts])
    steps, pairs = roof.steps, step_pairs(roof)
    assert set(pairs) == {("F1", "F3"), ("F3", "F2"), ("F1", "F2")}
    over = pairs["F1", "F2"]
    assert steps.gap[over] == pytest.approx(1.5)
    assert roof.planes.name[steps.between[over]] == "F3"
    np.testing.assert_allclose(steps.wall[over], [4.0, 4.0])
    foot = pairs["F3", "F2"]
    np.testing.assert_allclose(steps.start[over], steps.start[foot], atol=1e-9)
    np.testing.assert_allclose(steps.end[over], steps.end[foot], atol=1e-9)
    edge = roof.edges.kind.index(EdgeKind.STEP)
    assert (np.delete(steps.gap, over) == 0.0).all()
    assert (np.delete(steps.between, over) == -1).all()
    assert roof.edges.height[edge] == pytest.approx(2.0)


def test_stairs_of_ledges_are_all_seen_past():
    parts = [flat(0, -k, 10, 6 if k == 0 else 1 - k, 9.0 - k) for k in range(5)]
    pairs = step_pairs(build_roof(parts))
    assert len(pairs) == 10  # each of five with all below it


@pytest.mark.parametrize(("wide", "high"), [(15.1, 5.0), (2.0, 7.5)])
def test_wide_roofs_and_what_rises_above_the_edge_end_the_view(wide, high):
    parts = [flat(0, 0, 10, 6, 7.0), flat(0, -wide, 10, 0, high), flat(0, -wide - 4, 10, -wide, 3.0)]
    assert (build_roof(parts).steps.between == -1).all()


@pytest.mark.parametrize("wide", [6.2, 14.9])
def test_a_ledge_is_seen_past_as_far_as_drifts_reach(wide):
    """Up to 15 m (EN 1991-1-3, 5.3.6); 20 ft is the limit of open gaps."""
    parts = [flat(0, 0, 10, 6, 7.0), flat(0, -wide, 10, 0, 5.0), flat(0, -wide - 4, 10, -wide, 3.0)]
    steps = build_roof(parts).steps
    np.testing.assert_allclose(steps.gap[steps.between >= 0], [wide])


def test_equal_heights_are_no_step_but_one_roof():
    roof = build_roof([flat(0, 0, 10, 6, 3.0), flat(10, 0, 14, 6, 3.0)])
    assert roof.steps.count == 0
    assert roof.planes.count == 1


def test_an_upper_roof_over_the_middle_of_a_lower_plane():
    """Meshed roofs may run on below the upper one: the step has no lower edge."""
    low, high = rectangle(0, 0, 20, 20), rectangle(6, 6, 14, 14)
    points = np.vstack([np.column_stack([low, np.full(4, 3.0)]), np.column_stack([high, np.full(4, 8.0)])])
    roof = recognize(points, [[0, 1, 2], [0, 2, 3], [4, 5, 6], [4, 6, 7]])
    assert roof.steps.count == 4
    assert (roof.steps.lower_edge == -1).all()
    np.testing.assert_allclose(roof.steps.wall, 5.0)
    np.testing.assert_allclose(np.linalg.norm(roof.steps.end - roof.steps.start, axis=1), 8.0)
    assert EdgeKind.STEP not in roof.edges.kind


def test_an_overhanging_upper_eave_steps_at_the_wall_and_says_so():
    low, high = rectangle(0, 0, 10, 5), rectangle(0, 4.4, 10, 12)
    points = np.vstack(
        [np.column_stack([low, np.full(4, 3.0)]), np.column_stack([high, 6.0 + 0.3 * (high[:, 1] - 4.4)])]
    )
    roof = recognize(points, [[0, 1, 2], [0, 2, 3], [4, 5, 6], [4, 6, 7]])
    assert roof.steps.count == 1
    assert roof.edges.kind[roof.steps.lower_edge[0]] == EdgeKind.STEP
    np.testing.assert_allclose(roof.steps.wall, [[3.0, 3.0]], atol=1e-9)
    assert roof.steps.gap[0] == 0.0
    assert any("overhangs" in note and "0.60 m" in note for note in roof.notes)


@pytest.mark.parametrize("turn", [0.0, 31.0, 144.0])
def test_steps_turn_with_the_roof(turn):
    parts = [gable(eave=6.0), flat(-5, 0, 0, 8, 3.0), flat(14, 0, 18, 8, 4.0)]
    plain = build_roof(parts)
    spun = build_roof(
        [
            RoofPart(p.shape, turned(p.footprint, np.radians(turn), (40, 7)), p.pitches, p.eave_height)
            for p in parts
        ]
    )
    np.testing.assert_allclose(np.sort(spun.steps.wall.ravel()), np.sort(plain.steps.wall.ravel()), rtol=1e-7)
    np.testing.assert_allclose(np.sort(spun.steps.gap), np.sort(plain.steps.gap), atol=1e-7)
    assert sorted(spun.edges.kind) == sorted(plain.edges.kind)


def test_the_wall_of_a_cheek_runs_on_to_its_tip():
    """A dormer after a trip through 32-bit numbers: no stubs of rake where its cheeks taper off, as built."""
    slopes = np.radians([40.0, np.nan, 40.0, np.nan])
    part = RoofPart("gable", np.array([[0.0, 0], [16, 0], [16, 10], [0, 10]]), slopes, 4.0)
    roof = build_roof([part], [Dormer("S1", 6.0, 1.0, 2.4, 1.1, np.radians(35.0), "gable")])
    again = recognize(roof.points.astype(np.float32).astype(float), roof.faces)
    assert sorted(again.edges.kind) == sorted(roof.edges.kind)
    assert again.edges.length.min() > 0.3


def test_no_edge_is_shorter_than_a_millimeter():
    assert _cuts([(0.0, 0.4), (0.4 + 1e-7, 0.8), (0.8, 1.0 - 1e-8)], 1e-4) == [0.0, 0.4, 0.8, 1.0]
