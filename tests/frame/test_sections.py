"""Sections against other routes to the same numbers."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from rails import DATA

from roofmodel.errors import InputError
from roofmodel.sections import from_values, rectangle, rectangular_tube, round_bar, round_tube


def test_round_tube_of_the_check_values():
    """Area, second moment and Cowper's hollow circle, 25.4 x 3.2 mm, nu 0.33."""
    case = next(c for c in DATA["cases"] if c["name"] == "rail_unequal_A_rigid_timoshenko")["inputs"]
    tube = round_tube(0.0254, 0.0032, case["nu"])
    np.testing.assert_allclose(tube.area * 1e6, case["A_mm2"], rtol=1e-8)
    np.testing.assert_allclose([tube.I_y * 1e12, tube.I_z * 1e12], case["I_mm4"], rtol=1e-8)
    np.testing.assert_allclose(tube.shear_y / tube.area, case["kappa"], rtol=1e-8)
    shear_stiffness = case["E_MPa"] / (2 * (1 + case["nu"])) * tube.shear_z * 1e6
    np.testing.assert_allclose(shear_stiffness, case["GAs_N"], rtol=1e-8)


def test_round_tube_limits():
    """A thin tube has half its area for shear (from memory); a tube without a hole is the bar."""
    thin = round_tube(0.1, 1e-6, 0.3)
    np.testing.assert_allclose(thin.shear_y / thin.area, 2 * 1.3 / (4 + 3 * 0.3), rtol=1e-4)
    assert thin.round
    assert not rectangle(0.03, 0.03).round
    full, bar = round_tube(0.03, 0.015 * (1 - 1e-9)), round_bar(0.03)
    for name in ("area", "I_y", "J", "W_t", "shear_y"):
        np.testing.assert_allclose(getattr(full, name), getattr(bar, name), rtol=1e-6)


@pytest.mark.parametrize(
    ("ratio", "beta", "alpha"), [(1, 0.1406, 0.208), (2, 0.229, 0.246), (10, 0.312, 0.312)]
)
def test_rectangle_torsion_table(ratio, beta, alpha):
    """J = beta a b^3 and W_t = alpha a b^2, Timoshenko and Goodier's table (from memory)."""
    b = 0.02
    bar = rectangle(ratio * b, b)
    np.testing.assert_allclose([bar.J, bar.W_t], [beta * ratio * b**4, alpha * ratio * b**3], rtol=3e-3)


@given(st.floats(0.001, 0.1), st.floats(0.001, 0.1))
def test_rectangle_against_roark(y, z):
    """Roark's Formulas, table of torsion, solid rectangle (from memory): good to a percent."""
    a, b = max(y, z) / 2, min(y, z) / 2
    K = a * b**3 * (16 / 3 - 3.36 * b / a * (1 - b**4 / (12 * a**4)))
    r = b / a
    W = 8 * a * b**2 / 3 / (1 + 0.6095 * r + 0.8865 * r**2 - 1.8023 * r**3 + 0.91 * r**4)
    bar = rectangle(y, z)
    np.testing.assert_allclose([bar.J, bar.W_t], [K, W], rtol=1e-2)
    turned = rectangle(z, y)
    np.testing.assert_allclose([bar.I_y, bar.W_y, bar.J], [turned.I_z, turned.W_z, turned.J], rtol=1e-12)


@given(st.floats(0.02, 0.2), st.floats(0.02, 0.2), st.floats(0.02, 0.45), st.floats(0.0, 1.0), st.booleans())
def test_rectangular_tube_by_counting(depth_y, depth_z, thin, round_off, flip):
    """Area and second moments against strips of the rounded outline."""
    if flip:
        depth_y, depth_z = depth_z, depth_y
    small = min(depth_y, depth_z)
    wall, radius = thin * small, round_off * small / 2
    tube = rectangular_tube(depth_y, depth_z, wall, radius)
    z = (np.arange(60000) + 0.5) / 60000 * depth_z / 2

    def width(outer_y, outer_z, r):
        in_corner = np.maximum(z - (outer_z / 2 - r), 0.0)
        chord = outer_y / 2 - r + np.sqrt(np.maximum(r**2 - in_corner**2, 0.0))
        return np.where(z < outer_z / 2, 2 * chord, 0.0)

    strip = width(depth_y, depth_z, radius) - width(
        depth_y - 2 * wall, depth_z - 2 * wall, max(radius - wall, 0.0)
    )
    dz = depth_z / 60000
    np.testing.assert_allclose(tube.area, strip.sum() * dz, rtol=2e-3)
    np.testing.assert_allclose(tube.I_y, (strip * z**2).sum() * dz, rtol=2e-3)


def test_rectangular_tube_torsion():
    """Thin wall tends to Bredt; corner radii as a full round tend to the thin round tube."""
    t = 1e-5
    box = rectangular_tube(0.08, 0.04, t)
    np.testing.assert_allclose(box.J, 4 * (0.08 * 0.04) ** 2 * t / (2 * 0.12), rtol=1e-3)
    np.testing.assert_allclose(box.W_t, 2 * 0.08 * 0.04 * t, rtol=1e-3)
    ring, tube = rectangular_tube(0.05, 0.05, 0.001, 0.025), round_tube(0.05, 0.001)
    np.testing.assert_allclose([ring.area, ring.I_y], [tube.area, tube.I_y], rtol=1e-9)
    np.testing.assert_allclose(ring.J, tube.J, rtol=2e-3)
    assert 0.97 * tube.W_t < ring.W_t <= tube.W_t  # the rule of the standard is a little on the safe side


def test_rectangular_tube_as_listed():
    """EN 10219-2 table, 100 x 50 x 4: A 10.9, I 134 and 44.9, I_t 113, C_t 31.3 in cm (from memory)."""
    tube = rectangular_tube(0.1, 0.05, 0.004, 0.008)
    found = [tube.area * 1e4, tube.I_z * 1e8, tube.I_y * 1e8, tube.J * 1e8, tube.W_t * 1e6]
    np.testing.assert_allclose(found, [10.9, 134.0, 44.9, 113.0, 31.3], rtol=6e-3)


VALUES = {
    "area": 1e-4, "I_y": 1e-8, "I_z": 1e-8, "J": 1e-8, "W_y": 1e-6, "W_z": 1e-6, "W_t": 1e-6,
    "depth_y": 0.04, "depth_z": 0.04,
}  # fmt: skip


@pytest.mark.parametrize(
    ("make", "words"),
    [
        (lambda: round_tube(0.04, 0.02), "wall = 20 mm"),
        (lambda: round_tube(-0.04, 0.002), "diameter = -0.04"),
        (lambda: round_tube(0.04, math.nan), "wall = nan"),
        (lambda: round_tube(0.04, 0.002, 0.5), "poisson = 0.5"),
        (lambda: round_bar(0.0), "diameter = 0"),
        (lambda: rectangle(0.04, math.inf), "depth_z = inf"),
        (lambda: rectangular_tube(0.06, 0.04, 0.02), "wall = 20 mm"),
        (lambda: rectangular_tube(0.06, 0.04, 0.002, 0.021), "radius = 21 mm"),
        (lambda: from_values(**{**VALUES, "J": 0.0}), "J = 0"),
        (lambda: from_values(**VALUES, shear_y=-1.0), "shear_y = -1"),
    ],
)
def test_bad_sections_are_refused(make, words):
    with pytest.raises(InputError, match=words):
        make()
