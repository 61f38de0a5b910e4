"""Snow from a slope goes straight across nearly flat roof, however that is drawn: sums by hand."""

import numpy as np
import pytest
from roofs import force_per_row, rows, slope_length, uniform

from roofmodel.layout import no_rows
from roofmodel.shape.recognition import recognize
from roofmodel.sliding.landing import landing
from roofmodel.sliding.thrust import SlideOptions, slide
from roofmodel.snow.inputs import EnSite
from roofmodel.snow.registry import snow_cases
from roofmodel.units import STANDARD_GRAVITY

P, WIDE = 1000.0, 9.0  # [Pa], [m]


def tangent(degrees):
    return float(np.tan(np.radians(degrees)))


def terraces(*bends, tilt=0.0):
    """Planes one behind the other over level lines at (y, z), 9 m wide; all fall to the west by `tilt`."""
    points = [(x, y, z + tilt * x) for y, z in bends for x in (0.0, WIDE)]
    first = 2 * np.arange(len(bends) - 1)
    faces = np.concatenate([np.stack([first, first + a, first + b], 1) for a, b in ((1, 3), (3, 2))])
    return recognize(np.array(points), faces)


def stepped(run, degrees, above=30.0):
    """A slope of 10 degrees over 4 m, a flat part, and a steep slope over 6 m; a row 1 m into the lowest."""
    z = 3.0 + 4.0 * tangent(10.0)
    flat = z + run * tangent(degrees)
    return terraces((0, 3.0), (4.0, z), (4.0 + run, flat), (10.0 + run, flat + 6.0 * tangent(above)))


def lowest(roof):
    (plane,) = np.flatnonzero(np.abs(roof.planes.slope - np.radians(10.0)) < 1e-6)
    return roof.planes.name[plane]


@pytest.mark.parametrize("degrees", [-1.0, -0.3, 0.0, 0.3])
@pytest.mark.parametrize("run", [3.0, 8.0, 9.5, 20.0])
def test_a_row_below_a_flat_part_gets_what_comes_over_it(run, degrees):
    """All thrust comes, less that of a flat part's own snow where it falls back.

    Parts longer than wide once turned it aside, and a fall of 0.3 degrees backward held all of it.
    """
    roof = stepped(run, degrees)
    layout = rows(roof, {"plane": lowest(roof), "up": slope_length(1.0 / np.cos(np.radians(10.0)))})
    force = slide(roof, (uniform(roof, P),), layout)[1]
    own = 6.0 * np.sin(np.radians(30.0)) + 3.0 * np.sin(np.radians(10.0))
    flat = run * np.sin(np.radians(degrees))
    rise = -run * tangent(degrees)
    back = rise / (6.0 * tangent(30.0) * np.cos(np.radians(30.0))) * 6.0 * np.sin(np.radians(30.0))
    expected = P * WIDE * (own + (flat if degrees > 0.0 else -back))
    np.testing.assert_allclose(force_per_row(layout, force), expected, rtol=1e-9)
    assert force.balance.error[0] < 1e-12
    per_meter = force.thrust[0, :, 1] / np.diff(force.span, axis=1)[:, 0]
    np.testing.assert_allclose(per_meter, per_meter.mean(), rtol=1e-6)


def test_what_falls_back_a_little_does_not_keep_snow_from_falling():
    """1.9 degrees over 3 m hold a tenth of a meter: the rest goes over the head, thrown by its own slope."""
    roof = terraces((0.0, 3.1), (3.0, 3.0), (9.0, 3.0 + 6.0 * tangent(30.0)))
    cases, options = (uniform(roof, P),), SlideOptions()
    graph, force = slide(roof, cases, no_rows())
    assert [roof.edges.name[e] for e in force.exit_edge] == ["N1 head"]
    held = 0.1 * P * WIDE
    assert force.exit_thrust[0, 0] == pytest.approx(P * WIDE * 3.0 - held, rel=1e-9)
    lands = landing(roof, graph, force, cases, options)
    g, up = STANDARD_GRAVITY, np.arctan(0.1 / 3.0)
    speed, top = np.sqrt(2.0 * g * 6.0 * tangent(30.0)), lands.fall[0] + P / (300.0 * g)
    time = (speed * np.sin(up) + np.sqrt((speed * np.sin(up)) ** 2 + 2.0 * g * top)) / g
    assert lands.throw[0] == pytest.approx(speed * np.cos(up) * time, rel=1e-9)
    np.testing.assert_allclose(lands.zone[0, 2:, 1], -lands.throw[0])  # out over the head, not back


def test_a_deep_valley_and_a_trough_still_hold():
    """A rise of more than a meter, and a flat part between two slopes that face one another."""
    rise = 3.0 * tangent(30.0)
    for roof in (
        terraces((0.0, 3.0 + rise), (3.0, 3.0), (9.0, 3.0 + 2.0 * rise)),
        terraces((0.0, 3.0 + rise), (3.0, 3.0), (8.0, 3.0), (11.0, 3.0 + rise)),
    ):
        force = slide(roof, (uniform(roof, P),), no_rows())[1]
        assert force.balance.gutters[0] == pytest.approx(force.balance.driving[0])


def test_a_fall_to_one_side_turns_no_blanket():
    """A flat roof that drains sideways at 1 degree: the snow of the slope behind goes over its front."""
    tilt = tangent(1.0)
    roof = terraces((0.0, 3.0), (20.0, 3.0), (26.0, 3.0 + 6.0 * tangent(30.0)), tilt=tilt)
    force = slide(roof, (uniform(roof, P),), no_rows())[1]
    left = dict(zip([roof.edges.name[e] for e in force.exit_edge], force.exit_thrust[0], strict=True))
    front = next(name for name in left if name.startswith("W1 rake"))
    assert left[front] > 0.9 * P * WIDE * 3.0


def test_a_row_on_the_flat_part_takes_what_comes():
    roof = stepped(3.0, 3.0)
    flat = roof.planes.name[int(np.argmin(roof.planes.slope))]
    layout = rows(roof, {"plane": flat, "up": "1 m"})
    force = slide(roof, (uniform(roof, P),), layout)[1]
    assert force_per_row(layout, force)[0] > P * WIDE * 3.0


def test_snow_above_a_flat_part_is_held_by_rows_below_it():
    """EN 1991-1-3 5.3.2(2): mu_1 of 45 degrees is not below 0.8 where a row holds the snow, 0.4 elsewhere."""
    roof = stepped(9.5, 0.0, above=45.0)
    steep = int(np.argmax(roof.planes.slope))
    low = roof.planes.name.index(lowest(roof))
    load = []
    for retained in ((), (low,)):
        balanced = snow_cases(roof, EnSite(ground_snow=2000.0), retained).cases[0]
        load.append(
            next(zone.pressure[2] + zone.pressure[0] for zone in balanced.zones if zone.plane == steep)
        )
    assert load == pytest.approx([800.0, 1600.0])
