"""Valleys, conservation and invariance."""

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from roofs import force_per_row, gable, hip, l_shape, plan, rows, slope_length, turned, uniform

from roofmodel.shape.recognition import recognize
from roofmodel.sliding.thrust import SlideOptions, ValleyThrust, slide
from roofmodel.sliding.tributary import row_polygon_force


def valley_rows(roof, up=0.6):
    """Rows on the two planes that meet in the valley of `l_shape`."""
    return rows(roof, {"plane": "E1", "up": slope_length(up)}, {"plane": "N1", "up": slope_length(up)})


def valley_feed(up=0.6):
    """Thrust that one side feeds into the valley, per unit pressure: above its row, and below it."""
    leg = 4.0 - up * np.cos(np.radians(30.0))
    return np.sin(np.radians(30.0)) * 0.5 * (leg**2 + (4.0 - leg) ** 2)


def test_valley_stream_is_the_catchment_of_its_side():
    """Strips that end on the valley above the row: a right triangle on plan with legs r = 4 - up cos(30)."""
    roof = l_shape()
    layout = valley_rows(roof)
    _, force = slide(roof, (uniform(roof, 1600.0),), layout)
    stream = force_per_row(layout, force) - force.own[0]
    leg = 4.0 - 0.6 * np.cos(np.radians(30.0))
    np.testing.assert_allclose(stream, 1600.0 * np.sin(np.radians(30.0)) * 0.5 * leg**2, rtol=1e-9)


def test_one_row_alone_takes_both_streams():
    """The safe reading where only one side of the valley has a row; the far side's strips are cut there."""
    roof = l_shape()
    both, single = valley_rows(roof), rows(roof, {"plane": "E1", "up": "0.6 m"})
    pair = slide(roof, (uniform(roof, 1600.0),), both)[1]
    stream = (force_per_row(both, pair) - pair.own[0]).sum()
    for width in (0.9, 0.4, 0.05):
        options = SlideOptions(strip_width=width)
        alone = slide(roof, (uniform(roof, 1600.0),), single, options)[1]
        found = (force_per_row(single, alone) - alone.own[0])[0]
        assert found == pytest.approx(stream, rel=1e-9)


def test_vector_sum_keeps_the_part_along_the_valley():
    """Two equal planes at a right angle: cross parts cancel, the part along the valley goes on."""
    roof = l_shape()
    layout = valley_rows(roof)
    case = (uniform(roof, 1600.0),)
    scalar = slide(roof, case, layout)[1]
    vector = slide(roof, case, layout, SlideOptions(valley=ValleyThrust.VECTOR))[1]
    rise = np.tan(np.radians(30.0))
    fall = np.array([1.0, 0.0, -rise]) / np.hypot(1.0, rise)  # of E1
    valley = np.array([1.0, 1.0, -rise]) / np.sqrt(2.0 + rise**2)  # z = z0 - rise x on x = y
    along = fall @ valley
    stream = force_per_row(layout, scalar) - scalar.own[0]
    lateral = np.bincount(vector.row, vector.thrust[0, :, 0])
    extra = np.hypot(force_per_row(layout, vector) - vector.own[0], lateral)
    np.testing.assert_allclose(extra, along * stream, rtol=1e-9)
    feed = 2.0 * 1600.0 * valley_feed()
    assert vector.balance.canceled[0] == pytest.approx((1.0 - along) * feed, rel=1e-9)
    assert vector.balance.error.max() < 1e-12
    assert vector.valley_cross[0] < 1e-6 * feed


def test_unequal_snow_leaves_a_cross_thrust():
    """Only equal parts cancel: twice the snow on one side leaves that side's cross part."""
    roof = l_shape()
    layout = valley_rows(roof)
    pressure = np.where(np.array(roof.planes.name) == "E1", 2000.0, 1000.0)
    force = slide(roof, (uniform(roof, pressure),), layout)[1]
    feed = 1000.0 * valley_feed()
    across = np.cos(np.radians(30.0)) * np.sin(np.radians(45.0))
    assert force.valley_cross[0] == pytest.approx(feed * across, rel=1e-6)


@settings(max_examples=25, deadline=None)
@given(
    shape=st.sampled_from([gable, hip, l_shape]),
    ups=st.lists(st.floats(0.0, 4.0), min_size=1, max_size=3, unique_by=lambda u: round(u, 1)),
    start=st.floats(0.0, 3.0),
    friction=st.sampled_from([0.0, 0.1]),
    width=st.floats(0.1, 0.8),
)
def test_nothing_is_lost(shape, ups, start, friction, width):
    """Driven = caught + friction + lost over edges, and the polygon road agrees, for any rows."""
    roof = shape()
    tables = [
        {"plane": roof.planes.name[0], "up": slope_length(round(up, 1)), "start": slope_length(start)}
        for up in ups
    ]
    case = uniform(roof, 1234.5)
    layout = rows(roof, *tables)
    options = SlideOptions(friction=friction, strip_width=width)
    graph, force = slide(roof, (case,), layout, options)
    assert graph.cells.plan_area.sum() == pytest.approx(roof.planes.plan_area.sum(), rel=1e-9)
    assert force.balance.error.max() < 1e-12
    assert np.all(force.cell_thrust >= 0.0)
    for row in range(len(tables)):
        again = row_polygon_force(roof, layout, case, row, friction)
        assert force.own[0, row] == pytest.approx(again, rel=1e-6, abs=1e-3)
    weight = force.weight.sum() + force.exit_weight.sum()
    assert weight == pytest.approx(1234.5 * roof.planes.plan_area.sum(), rel=1e-9)


def plane_over(roof, point):
    """Name of the plane above a plan point."""
    return next(n for i, n in enumerate(roof.planes.name) if plan(roof, i).contains(shapely.Point(point)))


@pytest.mark.parametrize("angle", [0.3, 1.2, 2.9])
def test_turning_the_roof_changes_nothing(angle):
    forces = []
    for a in (0.0, angle):
        roof = l_shape(angle=a)
        names = [plane_over(roof, turned(point, a)) for point in ([7.0, 13.0], [12.0, 7.0])]
        layout = rows(roof, *({"plane": name, "up": "0.6 m"} for name in names))
        _, force = slide(roof, (uniform(roof, 1600.0),), layout)
        forces.append(force_per_row(layout, force))
    np.testing.assert_allclose(forces[1], forces[0], rtol=1e-9)


def test_strip_width_does_not_change_totals():
    roof = l_shape()
    layout = valley_rows(roof)
    totals = [
        force_per_row(layout, slide(roof, (uniform(roof, 900.0),), layout, SlideOptions(strip_width=w))[1])
        for w in (0.15, 0.6, 3.0)
    ]
    np.testing.assert_allclose(totals[1:], [totals[0]] * 2, rtol=1e-9)


def test_flat_part_passes_on_what_comes_from_above():
    """A level terrace makes no thrust but passes on what arrives from the slope above it."""
    y = np.array([0.0, 3.0, 5.0, 8.0])
    z = np.array([0.0, 3.0, 3.0, 6.0]) * np.tan(np.radians(25.0))
    points = np.array([[x, yy, zz] for yy, zz in zip(y, z, strict=True) for x in (0.0, 10.0)])
    quads = 2 * np.arange(3)[:, None] + [0, 1, 3, 2]
    roof = recognize(points, np.concatenate([quads[:, [0, 1, 2]], quads[:, [0, 2, 3]]]))
    lowest = roof.planes.name[int(np.argmin(roof.planes.origin[:, 2]))]
    layout = rows(roof, {"plane": lowest, "up": "0 m"})
    _, force = slide(roof, (uniform(roof, 1000.0),), layout)
    expected = 1000.0 * 10.0 * (3.0 + 3.0) * np.sin(np.radians(25.0))
    assert force_per_row(layout, force)[0] == pytest.approx(expected, rel=1e-9)
    assert force.weight.sum() == pytest.approx(1000.0 * 80.0, rel=1e-9)
