"""Strips at the edges of a plane, and seams that a plane cuts in pieces."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from panels import CLAMP, DETAIL, GRIP, NONE, PANEL, make_layout, mesh_at
from shapely import Polygon
from shapely.affinity import rotate, scale
from test_panel_plane import SOFT, WIDE, field_of

from fea.clamp_detail import seam_place
from fea.panel.field import condense_strips
from fea.panel.mesh import clip_places, purlin_places, window_to_holds
from fea.panel.plane import clamp_strips, strip_ends
from fea.panel.support import strips_of
from roofmodel.errors import InputError
from roofmodel.hardware import Bearing

SPACING = PANEL.seam_spacing
NOTCHED = Polygon(
    [(0, 0), (2, 0), (2, 1.5), (4, 1.5), (4, 0), (6, 0), (6, 5), (0, 5)]
)  # a dormer at the eave
FORKED = Polygon([(0, 0), (6, 0), (6, 2), (3, 2), (3, 3), (6, 3), (6, 5), (0, 5)])  # cut in from the right


def plane_of(outline: Polygon) -> SimpleNamespace:
    return SimpleNamespace(outline=[outline], name=("S1",))


def project_of(layout, outline) -> SimpleNamespace:
    return SimpleNamespace(layout=layout, roof=SimpleNamespace(planes=plane_of(outline)))


def test_a_piece_is_that_of_the_place():
    across = np.array([1.0, 5.0, 5.0, 5.0, 3.0])
    ends = strip_ends(FORKED, 0.0, across, np.array([4.0, 1.0, 4.0, 2.6, 2.5]))
    np.testing.assert_allclose(ends, [[0, 5], [0, 2], [3, 5], [3, 5], [0, 5]], atol=1e-9)


@pytest.mark.parametrize("angle", [0.0, 0.3, 1.0])
def test_a_seam_on_the_very_edge_is_as_long_as_the_edge(angle):
    """However rounding falls; a seam that only touches a corner has no length."""
    turned = rotate(WIDE, -np.degrees(angle), origin=(0, 0))
    ends = strip_ends(turned, angle, np.array([0.0, 6.0, -1e-9, 6.0 + 1e-9, 6.1]), np.full(5, 1.0))
    np.testing.assert_allclose(ends[:4], [[0, 5]] * 4, atol=1e-6)
    assert np.isnan(ends[4]).all()
    tip = strip_ends(Polygon([(0, 0), (4, 0), (2, 2)]), 0.0, np.array([0.0, 4.0]), np.zeros(2))
    assert np.isnan(tip).all()


@pytest.mark.parametrize(("outline", "low"), [(NOTCHED, 1.5), (FORKED, 3.0)])
def test_check_and_study_measure_from_the_same_end(outline, low):
    """One clamp on a whole seam and one on a piece: place and length by hand, and mirrored."""
    for mirrored, sign in ((outline, 1.0), (scale(outline, -1.0, 1.0, origin=(3, 0)), -1.0)):
        zero = 3.0 + sign * (0.2 if outline is NOTCHED else 2.0) - 4 * SPACING
        layout = make_layout([(4.0, [4], zero), (4.5, [4 - int(sign) * 6], zero)])
        strips = strips_of(project_of(layout, mirrored))
        np.testing.assert_allclose(strips.place, [4.0 - low, 4.5], atol=1e-9)
        np.testing.assert_allclose(strips.length[strips.strip], [5.0 - low, 5.0], atol=1e-9)
        for clamp in (0, 1):
            studied = seam_place(SimpleNamespace(project=project_of(layout, mirrored)), clamp)
            assert studied == pytest.approx((strips.place[clamp], strips.length[strips.strip[clamp]]))


def test_clamps_on_two_pieces_of_a_seam_count_as_on_one_long_strip():
    layout = make_layout([(1.0, [4], 5.0 - 4 * SPACING), (4.0, [4], 5.0 - 4 * SPACING)])
    strips = strips_of(project_of(layout, FORKED))
    np.testing.assert_allclose(strips.length, [5.0])
    np.testing.assert_allclose(strips.place, [1.0, 4.0])
    assert strips.cut.all()
    one = strips_of(project_of(make_layout([(1.0, [4, -1], 5.0 - 4 * SPACING)]), FORKED))
    np.testing.assert_allclose(one.length[one.strip], [2.0, 5.0])
    assert not one.cut.any()
    with pytest.raises(InputError, match=r"R1-4.*has no length on plane S1"):
        clamp_strips(make_layout([(2.5, [4], 5.0 - 4 * SPACING)]), 0, FORKED, "S1")


@pytest.mark.parametrize("every", [1, 2, 3, 5])
def test_a_plane_just_wider_than_its_seams_is_nothing_new(every):
    """The last seam stands on the edge, or little or much of a pan lies beyond it: the same strips."""
    seams = list(range(0, 11, every))
    layout, last = make_layout([(0.7, seams, 0.0)]), seams[-1] * SPACING
    found = [
        field_of(layout, Polygon([(-e, 0), (last + e, 0), (last + e, 5), (-e, 5)]), refine=0.15, reach=1.0)
        for e in (0.4, 0.0, 1e-9, 1e-5, 0.02)
    ]
    for one in found:
        np.testing.assert_allclose(one.ends, [[0, 5]] * (seams[-1] + 1), atol=1e-6)
        np.testing.assert_allclose(one.stiffness, found[0].stiffness, rtol=1e-9, atol=1e-3)


@pytest.mark.parametrize("lean", [0.5, 1.0, 2.0])
@pytest.mark.parametrize("up", [0.0, 0.3, 1.3])
def test_hips_of_any_slope_are_modeled(lean, up):
    """Clamps up to the hips, on the eave and over it: stable, and the overhanging grips are named."""
    top = min(2.0, 2.9 * lean)
    outline = Polygon([(0, 0), (6, 0), (6 - top / lean, top), (top / lean, top)])
    seams = np.arange(14)
    reach = np.minimum(lean * seams * SPACING, lean * (6 - seams * SPACING)).clip(max=top)
    half = 0.5 * CLAMP.grip_length
    for inside in (np.flatnonzero(reach > up), np.flatnonzero(reach > up + half)[::3]):
        found = field_of(make_layout([(up, inside.tolist(), 0.0)]), outline, refine=0.15, reach=1.0)
        size = np.linalg.eigvalsh(found.stiffness)
        assert size[0] > -1e-9 * size[-1]
        over = any("reaches over the end" in note for note in found.notes)
        assert over == bool(up < half or (reach[inside] - up < half).any())


def test_rows_on_both_arms_of_a_plane_do_not_feel_each_other():
    """Strips of no length between two arms part the field: each as if it stood alone."""
    arms = Polygon([(0, 0), (2, 0), (2, 4), (4, 4), (4, 0), (6, 0), (6, 4.02), (0, 4.02)])
    left, right = [1, 2, 3], [11, 12]
    both = field_of(make_layout([(0.7, left, 0.5), (0.7, right, 0.5)]), arms, refine=0.2)
    np.testing.assert_allclose(both.stiffness[:18, 18:], 0.0, atol=1e-9 * np.abs(both.stiffness).max())
    alone = [
        field_of(make_layout([(0.7, seams, 0.5)]), arms, refine=0.2).stiffness for seams in (left, right)
    ]
    scale_of = np.abs(both.stiffness).max()
    np.testing.assert_allclose(both.stiffness[:18, :18], alone[0], atol=1e-8 * scale_of)
    np.testing.assert_allclose(both.stiffness[18:, 18:], alone[1], atol=1e-8 * scale_of)


def test_a_gap_leaves_the_cuts_beside_it_free():
    """Two strips with a gap between are two strips; nobody can look into a gap."""
    at, mesh = np.array([-0.4]), mesh_at((-1.4, 0.0), np.array([-0.4]), refine=0.3)
    ends = np.array([[0.0, 6.0], [np.nan, np.nan], [0.0, 6.0]])
    found = condense_strips(mesh, PANEL, DETAIL, GRIP, [at, NONE, at], ends, alike=False)
    one = condense_strips(mesh, PANEL, DETAIL, GRIP, [at], ends[:1], alike=False)
    both = np.kron(np.eye(2), one.stiffness)
    np.testing.assert_allclose(found.stiffness, both, atol=1e-8 * np.abs(both).max())
    with pytest.raises(InputError, match="panel strip 2: it has no sheet"):
        found.strip(1, np.zeros(12))
    moved = np.linspace(0.1, 1.0, 6)
    last, same = found.strip(2, np.concatenate([np.zeros(6), moved]))[1], one.strip(0, moved)[1]
    np.testing.assert_allclose(last, same, atol=1e-8 * np.abs(same).max())


@pytest.mark.parametrize("place", [0.3, 2.0, 4.4, 7.9])
def test_a_window_reaches_the_next_clips_and_purlins(place):
    """Clips from 3 m on, purlins 2.5 m apart: two of each, or all that there are."""
    detail = replace(SOFT, clip_first=3.0, bearing=Bearing.PURLINS, purlin_spacing=2.5)
    window = (max(-place - 0.8, -8.0), min(-place + 0.8, 0.0))
    low, high = window_to_holds(detail, window, 8.0)
    assert -8.0 <= low <= window[0] <= window[1] <= high <= 0.0
    assert len(clip_places(detail, low, high)) >= 1
    held = purlin_places(detail, low, high)
    beside = [(held <= -place).any(), (held >= -place).any()]
    every = purlin_places(detail, -8.0, 0.0)
    assert beside == [(every <= -place).any(), (every >= -place).any()]
    near = replace(detail, clip_first=0.2, bearing=Bearing.DECK)
    assert window_to_holds(near, window, 8.0) == window
