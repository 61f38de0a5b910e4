"""Second fixed points against bars on springs."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from panels import DETAIL, PANEL, STEEL

from fea.panel.restraint import SecondPoint, free_travel, restraint_words, second_points, strip_area
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


def chain(detail, length, places, stiffness, way=0.0):
    """Forces on a strip at its springs, from a chain of bars: an independent assembly."""
    fixed = {"eave": 0.0, "middle": 0.5, "ridge": 1.0}[detail.fixed_at.value] * length
    at = np.unique(np.concatenate([places, [0.0, fixed, length]]))
    K, F = np.zeros((len(at),) * 2), np.zeros(len(at))
    strain = detail.sheet.alpha * detail.thermal
    for i, d in enumerate(np.diff(at)):
        K[i : i + 2, i : i + 2] += EA / d * np.array([[1.0, -1.0], [-1.0, 1.0]])
        F[i : i + 2] += EA * strain * np.array([1.0, -1.0])  # displacement counts down the seam
    spot = np.searchsorted(at, fixed)
    K[spot, spot] += detail.fixed_stiffness
    where = np.searchsorted(at, places)
    np.add.at(K, (where, where), stiffness)
    np.add.at(F, where, stiffness * way)
    u = np.linalg.solve(K, F)
    return stiffness * (way - u[where]), abs(detail.fixed_stiffness * u[spot])


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


def test_rail_over_equal_strips_holds_nothing_and_over_unequal_ones_pushes_both_ways():
    length, strip = np.array([4.0, 8.0]), np.array([0, 1])
    place, k = np.array([0.5, 0.5]), np.full(2, 2e6)
    for lengths, pushes in ((np.array([6.0, 6.0]), False), (length, True)):
        own = free_travel(lengths, strip, place, WARM)
        found = find(WARM, lengths, strip, place, rail_stiffness=k, rail_travel=np.full(2, own.mean()))
        assert bool(found.kind) == pushes
    assert found.force[0] > 0.0 > found.force[1]  # the short one is pulled along, the long one held back


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
        force, anchorage = chain(detail, own, np.array(screws), np.full(len(screws), stiffness))
        scale = max(np.abs(force).max(), 1e-9)
        np.testing.assert_allclose(found.force[found.strip == number], force, rtol=0, atol=1e-7 * scale)
        assert found.anchorage[number] == pytest.approx(anchorage, rel=0, abs=1e-7 * scale)


def test_fixed_clips_share_the_load():
    held = replace(WARM, clip_stiffness=np.array([3e5, 5e5, 1e6]))
    found = find(held, [6.0])
    places = 0.15 + 0.4 * np.arange(15)
    np.testing.assert_allclose(found.place, places)
    force, anchorage = chain(held, 6.0, places, np.full(15, 3e5))
    np.testing.assert_allclose(found.force, force, rtol=1e-8)
    assert found.anchorage[0] == pytest.approx(anchorage, rel=1e-8)


def test_bad_strips_are_refused():
    with pytest.raises(InputError, match="must be positive"):
        find(WARM, [3.0, 0.0])
    with pytest.raises(InputError, match="stand on its strip"):
        find(WARM, [3.0], np.array([0]), np.array([3.5]))
