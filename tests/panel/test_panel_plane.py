"""The panel field of a plane: who stands where, and what clamps become on it."""

from dataclasses import replace

import numpy as np
import pytest
from panels import CLAMP, DETAIL, GRIP, PANEL, make_layout
from shapely import Polygon

from fea.panel.field import condense_strips
from fea.panel.hanging import hung, with_own_lines
from fea.panel.mesh import strip_mesh
from fea.panel.model import panel_field
from fea.panel.plane import _windows, plane_field, series, strip_ends
from roofmodel.errors import InputError
from roofmodel.hardware import FixedPoint

SOFT = replace(DETAIL, pan_ribs=0)
WIDE = Polygon([(0, 0), (6, 0), (6, 5), (0, 5)])
HIP = Polygon([(0, 0), (6, 0), (4, 2), (2, 2)])


def field_of(layout, outline=WIDE, **options):
    return plane_field(layout, 0, outline, PANEL, SOFT, CLAMP, **{"refine": 0.3, "reach": 1.5, **options})


def test_ends_of_strips():
    np.testing.assert_allclose(strip_ends(WIDE, 0.0, np.array([1.0, 2.0]), np.ones(2)), [[0, 5], [0, 5]])
    ends = strip_ends(HIP, 0.0, np.array([1.0, 3.0, 5.5, 7.0]), np.ones(4))
    np.testing.assert_allclose(ends[:3], [[0, 1], [0, 2], [0, 0.5]], atol=1e-12)
    assert np.isnan(ends[3]).all()


def test_ends_of_turned_strips():
    """A square turned by any angle about itself has the same ends."""
    a = 0.3
    turn = np.array([[np.cos(a), np.sin(a)], [-np.sin(a), np.cos(a)]])  # seams lean toward +u going up
    corners = np.array([[0, 0], [4, 0], [4, 3], [0, 3]]) @ turn.T
    ends = strip_ends(Polygon(corners), a, np.array([1.0, 3.0]), np.ones(2))
    np.testing.assert_allclose(ends, [[0, 3], [0, 3]], atol=1e-12)


def test_layout_order_and_coupling():
    """Rows above each other share seams; the order is the layout's, whatever the field's is."""
    layout = make_layout([(0.7, [3, 4, 6], 0.5), (1.6, [4, 3], 0.5)])
    found = field_of(layout)
    assert found.stiffness.shape == (30, 30)
    flexible = np.linalg.inv(found.stiffness)
    upper_on_same, upper_on_other = abs(flexible[0, 24]), abs(flexible[0, 18])
    assert upper_on_same > 2.0 * upper_on_other  # seam 3: first clamp and last clamp
    place = [np.array([]), np.array([])] + [np.array([-1.6, -0.7])] * 2 + [np.array([])] + [np.array([-0.7])]
    place += [np.array([])] * 2
    mesh = strip_mesh(PANEL, SOFT, (-1.6 - 0.6, -0.1), np.array([-1.6, -0.7]), GRIP, 0.3)
    ends = np.tile([[0.0, 5.0]], (8, 1))
    same = condense_strips(mesh, PANEL, SOFT, GRIP, place, ends, alike=False).stiffness
    order = [1, 3, 4, 2, 0]  # seams 3 upper, 3 lower, 4 upper, 4 lower, 6
    dof = (6 * np.array(order)[:, None] + np.arange(6)).ravel()
    np.testing.assert_allclose(found.stiffness, same[np.ix_(dof, dof)], atol=1e-6 * np.abs(same).max())


def test_hip_has_few_kinds_and_is_mirrored():
    layout = make_layout([(0.4, [2, 3, 4, 5, 6, 7, 8, 9, 10, 11], 3.0 - 6.5 * PANEL.seam_spacing)])
    found = field_of(layout, HIP)
    K = found.stiffness.reshape(10, 6, 10, 6)
    back = K[::-1, :, ::-1]
    sign = np.array([1.0, -1.0, 1.0, -1.0, 1.0, -1.0])
    mirrored = back * sign[:, None, None] * sign
    np.testing.assert_allclose(mirrored, K, rtol=0, atol=1e-8 * np.abs(K).max())
    assert found.field.kinds < len(found.ends)


def test_series_of_springs():
    """Diagonal matrices: k1 k2 / (k1 + k2); a rigid panel leaves the clamp, a loose one nothing."""
    a, b = np.array([3.0, 5.0, 7.0]), np.array([2.0, 0.0, 1e12])
    found = series(np.diag(a), np.diag(b))
    np.testing.assert_allclose(found, np.diag([6.0 / 5.0, 0.0, 7.0]), atol=1e-9)


def test_series_is_what_two_chains_give():
    """Full matrices: condensing the grip out of clamp and panel."""
    rng = np.random.default_rng(5)
    A, B = (m @ m.T + np.eye(12) for m in rng.normal(size=(2, 12, 12)))
    np.testing.assert_allclose(np.linalg.inv(series(A, B)), np.linalg.inv(A) + np.linalg.inv(B), atol=1e-9)


def test_moved_clamps_are_told():
    found = field_of(make_layout([(0.7012, [3, 4], 0.5)]))
    assert any("were moved" in note for note in found.notes)
    assert not any("moved" in note for note in field_of(make_layout([(0.7, [3, 4], 0.5)])).notes)


def test_what_cannot_be_modeled_is_refused():
    with pytest.raises(InputError, match="has no length on plane"):
        field_of(make_layout([(0.7, [3, 30], 0.5)]))
    with pytest.raises(InputError, match="no clamp stands on it"):
        plane_field(make_layout([(0.7, [3], 0.5)]), 1, WIDE, PANEL, SOFT, CLAMP)
    with pytest.raises(InputError, match=r"panel_flexibility: plane S1 carries 801 clamps.*set it to false"):
        field_of(
            make_layout([(0.7, list(range(801)), 0.5)]),
            Polygon([(0, 0), (400, 0), (400, 5), (0, 5)]),
            name="S1",
        )
    askew = make_layout([(0.5 + 0.4 * k, [k], 0.5) for k in range(60)])
    with pytest.raises(InputError, match="lines across the seams"):
        field_of(askew, Polygon([(0, 0), (40, 0), (40, 40), (0, 40)]), refine=3.0)


def test_lines_of_a_strip_hang_so_that_rigid_motion_and_bending_pass():
    """Both sides of a cut agree under rigid motions, stretch along and one curvature."""
    mesh = strip_mesh(PANEL, SOFT, (-1.4, 0.0), np.zeros(0), GRIP, 0.4)
    at = np.array([-0.71])
    own, common = with_own_lines(mesh, at, GRIP[0], 0.4, -3.0)
    np.testing.assert_allclose(own.x[common], mesh.x, atol=5e-4)
    assert len(own.x) > len(mesh.x) + 4
    field = panel_field(own, PANEL, SOFT, GRIP, [at], np.array([6.0]))
    ties = hung(field, common).ties
    x, y, z = field.model.xyz.T
    none = np.zeros_like(x)
    motions = [
        [1, 0, 0, 0, 0, 0], [0, 1, 0, 0, 0, 0], [0, 0, 1, 0, 0, 0],
        [none, -z, y, 1, 0, 0], [z, none, -x, 0, 1, 0], [-y, x, none, 0, 0, 1],
        [x, 0, 0, 0, 0, 0], [0, 0, 0.5 * x**2, 0, -x, 0],
    ]  # fmt: skip
    for motion in motions:
        u = np.stack([none + part for part in motion], axis=1).ravel()
        lost = (ties.equation_coefficient * np.where(ties.equation_dof >= 0, u[ties.equation_dof], 0.0)).sum(
            1
        )
        np.testing.assert_allclose(lost, 0.0, atol=1e-12)
    assert len(ties.equation_dof) == 12 * (len(own.x) - len(mesh.x))


def test_lines_of_their_own_change_little(monkeypatch):
    """Clamps at many heights, with lines through all of them and with lines of their own on every strip."""
    layout = make_layout([(0.9 + 0.13 * k, [3 + k], 0.5) for k in range(6)])
    every = field_of(layout, refine=0.6, reach=4.0)
    monkeypatch.setattr("fea.panel.plane.CONFORMING", 0)
    own = field_of(layout, refine=0.6, reach=4.0)
    assert len(own.field.group.left) < 0.7 * len(every.field.group.left)
    found, wanted = (np.diag(np.linalg.inv(f.stiffness)).reshape(-1, 6) for f in (own, every))
    np.testing.assert_allclose(found[:, [0, 2]], wanted[:, [0, 2]], rtol=0.03)
    np.testing.assert_allclose(found, wanted, rtol=0.1)


def test_strips_are_meshed_around_the_clamps_beside_them():
    """The window of a strip is that of the clamps within two strips, or as far as the next one."""
    place, strip = np.array([1.0, 2.0, 6.0]), np.array([2, 3, 8])
    window = _windows(place, strip, 11, 0.5, FixedPoint.RIDGE)
    np.testing.assert_allclose(window[[2, 3], 0], 0.5)
    np.testing.assert_allclose(window[8], [1.5, np.inf])  # five strips from clamp to clamp are looked over
    near = _windows(np.arange(1.0, 4.0, 0.5), np.arange(2, 8), 10, 0.5, FixedPoint.EAVE)
    np.testing.assert_allclose(near[[0, 2, 5], 1], [1.5, 2.5, 4.0])
    assert np.isneginf(near[:, 0]).all()
