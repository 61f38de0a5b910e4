"""Second fixed points against bars on springs."""

from dataclasses import replace
from itertools import product

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from panels import DETAIL, PANEL, STEEL

from fea.panel.restraint import (
    SecondPoint,
    free_travel,
    restraint_words,
    second_points,
    strip_area,
    with_rails,
)
from roofmodel.errors import InputError
from roofmodel.hardware import FixedPoint
from roofmodel.units import SI

WARM = replace(DETAIL, thermal=40.0)
AREA = strip_area(PANEL, WARM)
EA = STEEL.E * AREA
NOBODY = (np.zeros(0, dtype=np.int64), np.zeros(0))


def find(detail, length, strip=NOBODY[0], place=NOBODY[1], **options):
    options = {"grip_length": 0.05, "grips_clip": True, **options}
    return second_points(PANEL, detail, np.asarray(length, float), strip, place, **options)


def chain(detail, length, places, stiffness, clamp=0.0):
    """Forces on a strip at springs and fixed point, and its way at a clamp, from a chain of bars."""
    fixed = {"eave": 0.0, "middle": 0.5, "ridge": 1.0}[detail.fixed_at.value] * length
    at = np.unique(np.concatenate([places, [0.0, fixed, length, clamp]]))
    K, F = np.zeros((len(at),) * 2), np.zeros(len(at))
    strain = detail.sheet.alpha * detail.thermal
    for i, d in enumerate(np.diff(at)):
        K[i : i + 2, i : i + 2] += EA / d * np.array([[1.0, -1.0], [-1.0, 1.0]])
        F[i : i + 2] += EA * strain * np.array([1.0, -1.0])  # displacement counts down the seam
    spot = np.searchsorted(at, fixed)
    K[spot, spot] += detail.fixed_stiffness
    where = np.searchsorted(at, places)
    np.add.at(K, (where, where), stiffness)
    u = np.linalg.solve(K, F)
    way = u[np.searchsorted(at, clamp)]
    return -stiffness * u[where], abs(detail.fixed_stiffness * u[spot]), way


def worst_chain(detail, length, places, stiffness):
    """Largest force of a fixed point over every choice of points, or of one side where all of them hold."""
    choices = np.array(list(product([False, True], repeat=len(places))))
    found = [chain(detail, length, places[on], stiffness[on])[1] for on in choices]
    fixed = {"eave": 0.0, "middle": 0.5, "ridge": 1.0}[detail.fixed_at.value] * length
    force, _, _ = chain(detail, length, places, stiffness)
    return max(*found, abs(force[places < fixed].sum()), abs(force[places > fixed].sum()))


def test_area_is_that_of_the_sheet():
    flat = replace(DETAIL, pan_ribs=0)
    legs = 2.0 * (0.065 - 0.012) + 5.0 * 0.012
    assert strip_area(PANEL, flat) == pytest.approx(0.0006 * (0.43 + legs), rel=1e-12)
    assert strip_area(PANEL, flat) < AREA


def test_nothing_holds_a_sliding_strip():
    found = find(WARM, [6.0, 9.0])
    assert restraint_words(found, WARM, ["a", "b"]) == ()
    assert len(found.force) == 0
    np.testing.assert_array_equal(found.anchorage, 0.0)


def test_screw_far_from_the_fixed_point():
    """F = alpha dT L / (1/k_fixed + L/EA + 1/k_screw); pushed back up the seam when warm."""
    found = find(replace(WARM, through_fixings=np.array([0.5])), [8.5])
    travel = 12e-6 * 40.0 * 8.0
    force = travel / (2.0 / WARM.fixed_stiffness + 8.0 / EA)
    assert found.kind == (SecondPoint.THROUGH_FIXING,)
    assert found.force == pytest.approx([-force], rel=1e-12)
    assert found.anchorage == pytest.approx([force], rel=1e-12)
    assert found.stress == pytest.approx([force / AREA], rel=1e-12)
    words = restraint_words(found, WARM, ["seam 4"])
    assert "1 panel strip: a screw through the sheet (seam 4" in words[0]
    assert SI.text(force, "force") in words[0]


def test_bar_between_rigid_points():
    """E alpha dT, however long."""
    rigid = replace(WARM, fixed_stiffness=1e15, through_fixings=np.array([1.0]))
    found = find(rigid, [4.0, 12.0])
    np.testing.assert_allclose(found.stress, 210e9 * 12e-6 * 40.0, rtol=1e-6)


def test_clamp_over_a_clip_and_between_clips():
    """Clips at 0.15 m + 0.4 m n, 40 mm long; grip 50 mm."""
    strip, place = np.array([0, 1, 2]), np.array([0.95, 0.95 + 0.044, 1.15])
    found = find(WARM, [6.0, 6.0, 6.0], strip, place)
    np.testing.assert_array_equal(found.strip, [0, 1])
    np.testing.assert_allclose(found.place, 0.95)
    assert found.anchorage[2] == 0.0
    assert any("clip under a clamp" in note for note in restraint_words(found, WARM, "abc"))
    assert find(WARM, [6.0] * 3, strip, place, grips_clip=False).kind == ()


def middle(*screws, **changes):
    return replace(WARM, fixed_at=FixedPoint.MIDDLE, through_fixings=np.array(screws), **changes)


def test_two_sides_of_a_fixed_point_do_not_relieve_each_other():
    """10 m, screws 1 m and 7 m up, 40 K: one alone is F = alpha dT L / (1/k + L/EA + 1/k)."""
    both, low, high = (find(middle(*screws), [10.0]) for screws in ((1.0, 7.0), (1.0,), (7.0,)))
    for found, arm in ((low, 4.0), (high, 2.0)):
        alone = 12e-6 * 40.0 * arm / (2.0 / WARM.fixed_stiffness + arm / EA)
        assert found.anchorage == pytest.approx([alone], rel=1e-12)
    assert low.anchorage[0] == pytest.approx(4236.2, abs=0.1)
    assert np.abs(both.force) == pytest.approx([6593.0, 5341.0], abs=0.1)
    assert abs(both.force.sum()) < 1300.0
    assert both.anchorage == pytest.approx([6593.0], abs=0.1)
    words = restraint_words(both, middle(1.0, 7.0), ["seam 4"])
    assert f"adds {SI.text(both.anchorage[0], 'force')} to the anchorage" in words[0]
    assert "do not relieve each other" in words[0]


def test_equal_sides_bring_what_a_bar_between_rigid_points_brings():
    """Screws at even distances keep the fixed point in its place: alpha dT L / (L/EA + 1/k) a side, sum 0."""
    found = find(middle(1.0, 9.0), [10.0])
    side = 12e-6 * 40.0 * 4.0 / (4.0 / EA + 1.0 / WARM.fixed_stiffness)
    assert found.force.sum() == pytest.approx(0.0, abs=1e-6 * side)
    assert found.anchorage == pytest.approx([side], rel=1e-12)


def test_a_point_beside_the_fixed_point_does_not_relieve_it():
    """The inner of two screws takes most of what the outer one brings; the anchorage counts it as loose."""
    detail = replace(WARM, fixed_at=FixedPoint.EAVE)
    both = find(replace(detail, through_fixings=np.array([0.05, 8.0])), [9.0])
    far = find(replace(detail, through_fixings=np.array([8.0])), [9.0])
    assert abs(both.force.sum()) < 0.7 * far.anchorage[0]
    assert both.anchorage == pytest.approx(far.anchorage, rel=1e-12)


@settings(max_examples=40, deadline=None)
@given(
    st.sampled_from(list(FixedPoint)),
    st.lists(st.floats(2.0, 20.0), min_size=1, max_size=3),
    st.lists(st.floats(0.02, 19.0), min_size=1, max_size=5, unique=True),
    st.floats(-60.0, 60.0),
    st.floats(1e5, 1e8),
)
def test_anchorage_is_the_worst_of_every_choice_of_points(fixed_at, length, screws, warmth, stiffness):
    detail = replace(
        WARM, fixed_at=fixed_at, thermal=warmth, fixed_stiffness=stiffness, through_fixings=np.sort(screws)
    )
    found = find(detail, length)
    turned = find(replace(detail, thermal=-warmth), length)
    np.testing.assert_allclose(found.anchorage, turned.anchorage, rtol=1e-9)
    for number, own in enumerate(length):
        places = np.sort(screws)[np.sort(screws) <= own]
        worst = worst_chain(detail, own, places, np.full(len(places), stiffness)) if len(places) else 0.0
        scale = max(np.abs(found.force).max(initial=0.0), 1e-9)
        assert found.anchorage[number] == pytest.approx(worst, rel=1e-6, abs=1e-7 * scale)


@settings(max_examples=40, deadline=None)
@given(
    st.sampled_from(list(FixedPoint)),
    st.lists(st.integers(1, 599).map(lambda n: 0.01 * n), max_size=4, unique=True),
    st.lists(st.integers(0, 600).map(lambda n: 0.01 * n), min_size=1, max_size=3),
    st.floats(1e5, 1e8),
)
def test_way_of_held_strips_is_that_of_a_chain_of_bars(fixed_at, screws, clamps, stiffness):
    """As the length of bar that grows as much; nothing holds: the bar from the clamp to the fixed point."""
    detail = replace(WARM, fixed_at=fixed_at, fixed_stiffness=stiffness, through_fixings=np.sort(screws))
    found = find(detail, [9.0, 6.0], np.ones(len(clamps), dtype=int), np.array(clamps), grips_clip=False)
    places = np.sort(np.array(screws))
    for way, clamp in zip(found.way, clamps, strict=True):
        expected = chain(detail, 6.0, places, np.full(len(places), stiffness), clamp)[2]
        assert 12e-6 * 40.0 * way == pytest.approx(expected, rel=1e-7, abs=1e-10)


def test_rails_are_named_where_their_strips_move_differently_and_counted_elsewhere():
    """Row 0 joins strips of 4 m and 8 m that are fixed at the ridge, row 1 two of 8 m."""
    length, strip, row = np.array([4.0, 8.0, 8.0]), np.array([0, 1, 1, 2]), np.array([0, 0, 1, 1])
    place, force = np.array([0.5, 0.5, 2.0, 2.0]), np.array([300.0, -310.0, 5.0, -5.0])
    bare = find(WARM, length, strip, place, grips_clip=False)
    found = with_rails(bare, WARM, length, strip, place, row, force)
    assert found.kind == (SecondPoint.RAIL,) * 2
    np.testing.assert_array_equal(found.row, [0, 0])
    np.testing.assert_array_equal(found.force, force[:2])
    np.testing.assert_array_equal(found.anchorage, bare.anchorage)
    words = restraint_words(found, WARM, ["seam 1", "seam 5", "seam 6"], SI, ["R1", "R2"])
    assert words[0].startswith(
        "Second fixed point on 2 panel strips: a rail that joins it to strips that move differently "
        "(rail R1, seam 5"
    )
    assert SI.text(310.0, "force") in words[0]
    alike = find(WARM, np.full(3, 8.0), strip, place, grips_clip=False)
    equal = with_rails(alike, WARM, np.full(3, 8.0), strip, place, row, force)
    assert equal.kind == ()


def test_travel_counts_down_the_seam():
    """Warm strips fixed at the ridge grow toward the eave, those fixed at the eave toward the ridge."""
    for fixed_at, sign in ((FixedPoint.RIDGE, 1.0), (FixedPoint.EAVE, -1.0)):
        way = free_travel(np.array([5.0]), np.array([0]), np.array([2.0]), replace(WARM, fixed_at=fixed_at))
        assert np.sign(way[0]) == sign
    middle = replace(WARM, fixed_at=FixedPoint.MIDDLE)
    way = free_travel(np.array([5.0]), np.zeros(2, dtype=int), np.array([1.0, 4.0]), middle)
    assert way == pytest.approx([12e-6 * 40 * 1.5, -12e-6 * 40 * 1.5])


@settings(max_examples=40, deadline=None)
@given(
    st.sampled_from(list(FixedPoint)),
    st.lists(st.floats(2.0, 20.0), min_size=1, max_size=4),
    st.lists(st.floats(0.05, 1.9), min_size=1, max_size=4, unique=True),
    st.floats(-60.0, 60.0),
    st.floats(1e5, 1e8),
)
def test_many_points_are_a_chain_of_bars(fixed_at, length, screws, warmth, stiffness):
    detail = replace(
        WARM, fixed_at=fixed_at, thermal=warmth, fixed_stiffness=stiffness, through_fixings=np.array(screws)
    )
    found = find(detail, length)
    for number, own in enumerate(length):
        force, anchorage, _ = chain(detail, own, np.array(screws), np.full(len(screws), stiffness))
        scale = max(np.abs(force).max(), 1e-9)
        np.testing.assert_allclose(found.force[found.strip == number], force, rtol=0, atol=1e-7 * scale)
        assert found.anchorage[number] >= anchorage - 1e-7 * scale


def test_fixed_clips_share_the_load():
    held = replace(WARM, clip_stiffness=np.array([3e5, 5e5, 1e6]))
    found = find(held, [6.0])
    places = 0.15 + 0.4 * np.arange(15)
    np.testing.assert_allclose(found.place, places)
    force, anchorage, _ = chain(held, 6.0, places, np.full(15, 3e5))
    np.testing.assert_allclose(found.force, force, rtol=1e-8)
    assert found.anchorage[0] >= anchorage * (1.0 - 1e-8)


def test_bad_strips_are_refused():
    with pytest.raises(InputError, match="must be positive"):
        find(WARM, [3.0, 0.0])
    with pytest.raises(InputError, match="stand on its strip"):
        find(WARM, [3.0], np.array([0]), np.array([3.5]))
