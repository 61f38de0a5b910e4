"""Sliding force on planes, hips and arcs against closed forms."""

import numpy as np
import pytest
import shapely
from roofs import (
    PANEL,
    PLF,
    drifted_shed,
    force_per_row,
    gable,
    hip,
    line_force,
    plan,
    rows,
    slope_length,
    unbalanced_gable,
    uniform,
)

from roofmodel.layout import Layout
from roofmodel.shape.recognition import recognize
from roofmodel.sliding.thrust import SlideOptions, slide
from roofmodel.sliding.tributary import clamp_shares, row_polygon_force
from roofmodel.snow.cases import LoadLevel, SnowCase, Zone


def test_plane_is_the_snow_guard_rule_of_en_1991_1_3():
    """EN 1991-1-3 6.4: F = s b sin(alpha); s 1.6 kPa, b 8 m, 25 deg: 5.4095 kN/m (two hand routes)."""
    roof = gable()
    layout = rows(roof, {"plane": "S1", "up": "0 m"})
    _, force = slide(roof, (uniform(roof, 1600.0),), layout)
    _, q = line_force(force, 0)
    np.testing.assert_allclose(q, 5409.5, rtol=2e-5)
    np.testing.assert_allclose(q, 1600.0 * 8.0 * np.sin(np.radians(25.0)), rtol=1e-9)


def test_friction_takes_its_part_and_no_more():
    """Statics: p b (sin - mu cos) = 4.2494 kN/m for mu = 0.1; above tan(25 deg) nothing slides."""
    roof = gable()
    layout = rows(roof, {"plane": "S1", "up": "0 m"})
    for friction, expected in ((0.1, 4249.4), (np.tan(np.radians(25.0)) + 0.01, 0.0)):
        _, force = slide(roof, (uniform(roof, 1600.0),), layout, SlideOptions(friction=friction))
        _, q = line_force(force, 0)
        np.testing.assert_allclose(q, expected, rtol=2e-5, atol=1e-9)
        assert force.balance.error.max() < 1e-12


def test_each_row_takes_the_run_to_the_next():
    """EN 1991-1-3 6.4, b to the next guard or ridge: rows at 0.5 and 4.5 m of 9 m, 2.7048 and 3.0429 kN/m."""
    roof = gable(width=18.0)
    c = np.cos(np.radians(25.0))
    layout = rows(
        roof, {"plane": "S1", "up": slope_length(0.5 / c)}, {"plane": "S1", "up": slope_length(4.5 / c)}
    )
    _, force = slide(roof, (uniform(roof, 1600.0),), layout)
    for row, expected in enumerate((2704.8, 3042.9)):
        np.testing.assert_allclose(line_force(force, row)[1], expected, rtol=2e-5)
    south = [i for i, e in enumerate(force.exit_edge) if roof.edges.name[e].startswith("S1 eave")]
    sheds = 1600.0 * 0.5 * np.sin(np.radians(25.0)) * 12.0
    np.testing.assert_allclose(force.exit_thrust[0, south].sum(), sheds, rtol=1e-9)


def test_hip_end_is_a_triangle():
    """Tributary by the fall line: 4.0571 at mid, 2.0286 at the quarter, total 24.343 kN (two hand routes)."""
    roof = hip()
    layout = rows(roof, {"plane": "S1", "up": "0 m"})
    _, force = slide(roof, (uniform(roof, 1600.0),), layout, SlideOptions(strip_width=0.05))
    s, q = line_force(force, 0)
    assert force_per_row(layout, force)[0] == pytest.approx(24343.0, rel=2e-5)
    np.testing.assert_allclose(np.interp([3.0, 9.0], s, q), 2028.6, rtol=2e-3)
    np.testing.assert_allclose(np.interp(6.0, s, q), 4057.1, rtol=1e-2)
    np.testing.assert_allclose(q, 1600.0 * np.minimum(s, 12.0 - s) * np.sin(np.radians(25.0)), rtol=1e-9)


def vault(pieces, radius=12.0, top=28.0, length=10.0):
    """A faceted arc from the crown down to `top` degrees, falling south."""
    angle = np.radians(np.linspace(0.0, top, pieces + 1))
    y, z = -radius * np.sin(angle), radius * np.cos(angle)
    points = np.array([[x, yy, zz] for yy, zz in zip(y, z, strict=True) for x in (0.0, length)])
    quads = 2 * np.arange(pieces)[:, None] + [0, 1, 3, 2]
    faces = np.concatenate([quads[:, [0, 1, 2]], quads[:, [0, 2, 3]]])
    return recognize(points, faces, angle_tolerance=np.radians(0.2), distance_tolerance=1e-4)


def test_arc_converges_to_the_chain_over_a_pulley():
    """Frictionless blanket on an arc, dT = w sin(theta) ds: T = p R sin^2(theta)/2 = 1.0579 kN/m.

    Facets converge with the square of their size.
    """
    exact = 800.0 * 12.0 * np.sin(np.radians(28.0)) ** 2 / 2.0
    assert exact == pytest.approx(1057.9, rel=1e-4)
    error = []
    for pieces in (2, 4, 8):
        roof = vault(pieces)
        lowest = int(np.argmin(roof.planes.origin[:, 2]))
        layout = rows(roof, {"plane": roof.planes.name[lowest], "up": "0 m"})
        _, force = slide(roof, (uniform(roof, 800.0),), layout)
        error.append(abs(line_force(force, 0)[1].mean() - exact))
        assert force.balance.error.max() < 1e-12
    rates = np.log2(np.array(error[:-1]) / error[1:])
    np.testing.assert_allclose(rates, 2.0, atol=0.1)


def test_unbalanced_strip_reaches_the_eave_rail():
    """ASCE/SEI 7-16 7.6.1 worked by hand: 588.27 lb/ft at the eave of a 5:12 gable with W = 40 ft.

    30.8 psf all over and a strip of 29.874 psf over 9.9582 ft below the ridge.
    """
    roof, case = unbalanced_gable()
    layout = rows(roof, {"plane": "S1", "up": "0 m"})
    _, force = slide(roof, (case,), layout)
    np.testing.assert_allclose(line_force(force, 0)[1] / PLF, 588.27, rtol=1e-4)


def test_drift_triangle_on_a_sloping_lower_roof():
    """Load x sin by hand: 24 psf and a 60 psf triangle of 14 ft, run 20 ft, 14.036 deg: 218.28 lb/ft."""
    roof, case = drifted_shed()
    layout = rows(roof, {"plane": "S1", "up": "0 m"})
    _, force = slide(roof, (case,), layout)
    np.testing.assert_allclose(line_force(force, 0)[1] / PLF, 218.28, rtol=1e-4)
    assert row_polygon_force(roof, layout, case, 0) == pytest.approx(force.own[0, 0], rel=1e-9)


def test_partial_row_gets_a_bound_from_beyond_its_ends():
    """45 degrees: each end brings at most a triangle with legs equal to the slope length above the row."""
    roof = gable(length=40.0)
    layout = rows(roof, {"plane": "S1", "up": "0 m", "start": "18 m", "end": "22 m"})
    _, force = slide(roof, (uniform(roof, 1600.0),), layout, SlideOptions(strip_width=0.5))
    alpha = np.radians(25.0)
    h = 8.0 / np.cos(alpha)
    expected = 1600.0 * np.cos(alpha) * np.sin(alpha) * 0.5 * h**2
    np.testing.assert_allclose(force.end_bound[0, 0], expected, rtol=1e-9)
    none = slide(roof, (uniform(roof, 1600.0),), layout, SlideOptions(spread_angle=0.0))[1]
    np.testing.assert_allclose(none.end_bound, 0.0, atol=1e-6)


def test_bound_stops_at_a_higher_row():
    """What a row above the gap catches cannot arrive from beyond the ends."""
    roof = gable(length=40.0)
    alpha = np.radians(25.0)
    gap = 3.0
    layout = rows(
        roof,
        {"plane": "S1", "up": "0 m", "start": "18 m", "end": "22 m"},
        {"plane": "S1", "up": slope_length(gap)},
    )
    _, force = slide(roof, (uniform(roof, 1600.0),), layout)
    expected = 1600.0 * np.cos(alpha) * np.sin(alpha) * 0.5 * gap**2
    np.testing.assert_allclose(force.end_bound[0, 0], expected, rtol=1e-9)


def test_a_full_row_has_nothing_beyond_its_ends():
    roof = gable()
    _, force = slide(roof, (uniform(roof, 1600.0),), rows(roof, {"plane": "S1", "up": "0.4 m"}))
    np.testing.assert_allclose(force.end_bound, 0.0)


def test_holes_hold_nothing():
    """Snow above a hole in a plane goes on to the row below it: only the snow of the hole itself is gone."""
    points = np.array(
        [[0, 0, 0], [12, 0, 0], [12, 8, 0], [0, 8, 0], [5, 3, 0], [7, 3, 0], [7, 5, 0], [5, 5, 0]], float
    )
    points[:, 2] = points[:, 1] * np.tan(np.radians(25.0))
    ring = np.array([[0, 1, 5], [0, 5, 4], [1, 2, 6], [1, 6, 5], [2, 3, 7], [2, 7, 6], [3, 0, 4], [3, 4, 7]])
    roof = recognize(points, ring)
    assert roof.planes.count == 1
    assert len(roof.planes.outline[0].interiors) == 1
    layout = rows(roof, {"plane": roof.planes.name[0], "up": "0 m"})
    _, force = slide(roof, (uniform(roof, 1000.0),), layout)
    expected = 1000.0 * (96.0 - 4.0) * np.sin(np.radians(25.0))
    assert force_per_row(layout, force)[0] == pytest.approx(expected, rel=1e-9)


def test_clamp_shares_add_up_and_follow_the_seams():
    roof = gable()
    layout = rows(roof, {"plane": "S1", "up": "0.5 m"}, {"plane": "S1", "up": "4 m", "every": 3})
    assert isinstance(layout, Layout)
    _, force = slide(roof, (uniform(roof, 1600.0),), layout)
    share = clamp_shares(layout, force)[0]
    total = np.bincount(layout.clamp_row, share)
    np.testing.assert_allclose(total, force_per_row(layout, force), rtol=1e-12)
    inner = share[layout.clamp_row == 0][1:-1]
    q = 1600.0 * 3.5 * np.cos(np.radians(25.0)) * np.sin(np.radians(25.0))
    np.testing.assert_allclose(inner, q * PANEL.seam_spacing, rtol=1e-9)


def test_pressure_of_cells_is_the_exact_mean():
    roof = hip()
    slanted = np.array([100.0, 20.0, 30.0])
    zones = tuple(Zone("t", i, plan(roof, i), slanted, "none", "p") for i in range(4))
    tilted = SnowCase("tilted", "test", LoadLevel.MEASURED, zones, 300.0)
    graph, force = slide(roof, (tilted,), rows(roof, {"plane": "S1", "up": "0.5 m"}))
    centers = shapely.get_coordinates(shapely.centroid(graph.cells.plan))
    np.testing.assert_allclose(force.cell_pressure[0], 100.0 + centers @ [20.0, 30.0], rtol=1e-9)
