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
    back = rise * np.cos(np.radians(degrees))  # its own snow's push: p h cos(theta)
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
    held = 0.1 * np.cos(np.arctan(0.1 / 3.0)) * P * WIDE
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


@pytest.mark.parametrize("floor", [1.0, 2.0, 3.0])
def test_a_trough_that_drains_along_its_floor_carries_all_away(floor):
    """Two slopes of 30 degrees and a floor between them that falls 2 degrees to its open end: none stays."""
    rise = 6.0 * tangent(30.0)
    bends = (0.0, 3.0 + rise), (6.0, 3.0), (6.0 + floor, 3.0), (12.0 + floor, 3.0 + rise)
    roof = terraces(*bends, tilt=tangent(2.0))
    force = slide(roof, (uniform(roof, P),), no_rows())[1]
    assert force.balance.gutters[0] == pytest.approx(0.0, abs=1e-6)
    assert force.balance.over_edges[0] == pytest.approx(force.balance.driving[0])
    assert force.valley_cross[0] > 0.4 * P * WIDE * 12.0 * np.sin(np.radians(30.0)) * np.cos(np.radians(30.0))


def test_an_edge_keeps_its_own_strip_below_where_other_snow_goes_over_it_too():
    """A flat part falls 4.9 degrees to the west, the slope behind it comes from the north."""
    fall = tangent(4.9)
    roof = terraces((0.0, 3.0), (20.0, 3.0), (26.0, 3.0 + 6.0 * tangent(30.0)), tilt=fall)
    graph, force = slide(roof, (uniform(roof, P),), no_rows())
    lands = landing(roof, graph, force, (uniform(roof, P),), SlideOptions())
    edge = next(k for k, e in enumerate(force.exit_edge) if roof.edges.name[e].startswith("W1 eave"))
    out = lands.zone[edge, :, 0].min()
    assert out == pytest.approx(-lands.throw[edge], rel=1e-6)
    assert lands.throw[edge] > 2.0


def test_a_fall_to_one_side_turns_no_blanket():
    """A flat roof that drains sideways at 1 degree: the snow of the slope behind goes over its front."""
    tilt = tangent(1.0)
    roof = terraces((0.0, 3.0), (20.0, 3.0), (26.0, 3.0 + 6.0 * tangent(30.0)), tilt=tilt)
    force = slide(roof, (uniform(roof, P),), no_rows())[1]
    left = dict(zip([roof.edges.name[e] for e in force.exit_edge], force.exit_thrust[0], strict=True))
    front = next(name for name in left if name.startswith("W1 rake"))
    assert left[front] > 0.9 * P * WIDE * 3.0


def chain(*parts, tilt=0.0):
    """Planes (run, degrees) from the lowest up."""
    points = [(0.0, 3.0)]
    for run, degrees in parts:
        points.append((points[-1][0] + run, points[-1][1] + run * tangent(degrees)))
    return terraces(*points, tilt=tilt)


def on_row(roof, degrees=10.0):
    """Force on a row 1 m up the plane of that slope."""
    plane = int(np.argmin(np.abs(roof.planes.slope - np.radians(degrees))))
    layout = rows(roof, {"plane": roof.planes.name[plane], "up": "1 m"})
    force = slide(roof, (uniform(roof, P),), layout)[1]
    assert force.balance.error[0] < 1e-12
    return float(force_per_row(layout, force)[0])


def pushes(*parts):
    """Push of even snow on (run, degrees), each p run sin(alpha). [N]."""
    return P * WIDE * sum(run * np.sin(np.radians(degrees)) for run, degrees in parts)


LOWEST = (4.0 - np.cos(np.radians(10.0)), 10.0)  # what of the lowest plane lies above the row


def test_a_row_on_a_part_that_falls_back_takes_what_comes():
    """Only the rise as far as the row counts: all of the part rises more than a meter."""
    for run in (14.0, 14.5):  # the far end rises 0.98 m and 1.01 m
        roof = chain((4.0, 10.0), (run, -4.0), (6.0, 31.0))
        row = np.cos(np.radians(4.0))  # on plan, from the foot of the slope
        expected = pushes((6.0, 31.0), (run - row, 4.0)) - pushes((row, 4.0))
        assert on_row(roof, 4.0) == pytest.approx(expected, rel=1e-9)


@pytest.mark.parametrize("degrees", [0.0, 3.0, 4.9, 5.2, 6.0])
def test_a_flat_part_hands_on_to_one_that_falls_back(degrees):
    """However the first flat part is sloped, all comes but the push of the second part's own snow."""
    roof = chain((4.0, 10.0), (3.0, -0.3), (3.0, degrees), (6.0, 30.0))
    expected = pushes((6.0, 30.0), (3.0, degrees), (3.0, -0.3), LOWEST)
    assert on_row(roof) == pytest.approx(expected, rel=1e-3)  # 0.0 and -0.3 may be read as one plane


def test_the_rise_alone_says_what_a_long_part_holds():
    """45 degrees over 10 m; 4.99 degrees back rise to either side of a meter: p h cos(theta) is held."""
    for run in (11.4, 11.5):
        roof = chain((4.0, 10.0), (run, -4.99), (10.0, 45.0))
        assert on_row(roof) == pytest.approx(pushes((10.0, 45.0), (run, -4.99), LOWEST), rel=1e-9)


def test_what_falls_back_is_held_without_a_jump():
    """By slope, from nothing to the steep valley that holds all, no two near roofs differ by much."""
    slopes = np.array([0.0, 4.99, 5.01, 9.0, 14.99, 15.01])
    for run in (1.0, 3.0):
        got = np.array([on_row(chain((4.0, 12.0), (run, -d), (6.0, 30.0)), 12.0) for d in slopes])
        own = pushes((4.0 - np.cos(np.radians(12.0)), 12.0))
        assert (np.diff(got) < 1.0).all()  # steeper never holds less
        for k in (1, 4):  # 0.02 degrees apart
            assert got[k] - got[k + 1] < 0.005 * got[0]
        assert got[1] == pytest.approx(pushes((6.0, 30.0), (run, -4.99)) + own, rel=1e-9)
    full = [on_row(chain((4.0, 12.0), (5.0, -d), (6.0, 40.0)), 12.0) for d in (14.9, 15.1)]
    own = pushes((4.0 - np.cos(np.radians(12.0)), 12.0))
    assert full == pytest.approx([own, own], abs=0.01 * pushes((6.0, 40.0)))  # 1 m at 15 degrees holds all


def test_a_steep_rise_holds_in_proportion_to_its_height():
    """30 degrees back over 1 m: 0.577 of a meter keeps so much of what its own push leaves (judgment)."""
    roof = chain((4.0, 10.0), (1.0, -30.0), (6.0, 31.0))
    expected = pushes((6.0, 31.0), (1.0, -30.0)) * (1.0 - tangent(30.0)) + pushes(LOWEST)
    assert on_row(roof) == pytest.approx(expected, rel=1e-9)


def test_a_gambrel_pushes_with_both_its_slopes():
    roof = chain((4.0, 10.0), (8.0, -4.0), (1.0, 70.0), (6.0, 25.0))
    assert on_row(roof) == pytest.approx(pushes((1.0, 70.0), (6.0, 25.0), (8.0, -4.0), LOWEST), rel=1e-9)


@pytest.mark.parametrize("aside", [2.0, 14.9, 15.1, 45.0])
def test_a_small_fall_to_the_side_turns_nothing(aside):
    """A flat part 20 m long that falls at 0.4 degrees, to either side of 15 degrees from the stream."""
    fall = tangent(0.4)
    ahead = np.degrees(np.arctan(fall * np.cos(np.radians(aside))))
    roof = chain((4.0, 10.0), (20.0, ahead), (6.0, 30.0), tilt=fall * np.sin(np.radians(aside)))
    assert on_row(roof) > 0.9 * pushes((6.0, 30.0), LOWEST)


def test_the_drop_across_a_flat_part_is_in_the_speed():
    """v^2 = 2 g h with all the drop, whether the flat part hands on strip by strip or straight across."""
    for tilt in (0.0, 0.005, tangent(1.2), tangent(1.5)):
        roof = chain((20.0, 4.5), (6.0, 30.0), tilt=tilt)
        graph, force = slide(roof, (uniform(roof, P),), no_rows())
        lands = landing(roof, graph, force, (uniform(roof, P),), SlideOptions())
        drop = 20.0 * tangent(4.5) + 6.0 * tangent(30.0)
        assert lands.speed.max() > 0.97 * np.sqrt(2.0 * STANDARD_GRAVITY * drop)


def ahead_of(degrees, aside, **places):
    """Force on a row below a part that falls so, so far aside, what may come straight on, and its ends."""
    fall = tangent(degrees)
    along = np.degrees(np.arctan(fall * np.cos(np.radians(aside))))
    tilt = fall * np.sin(np.radians(aside))
    roof = chain((4.0, 10.0), (6.0, along), (6.0, 32.0), tilt=tilt)
    low = int(np.argmin(np.abs(roof.planes.slope - np.arctan(np.hypot(tangent(10.0), tilt)))))
    layout = rows(roof, {"plane": roof.planes.name[low], "up": "1 m", **places})
    force = slide(roof, (uniform(roof, P),), layout)[1]
    assert force.balance.error[0] < 1e-12
    return float(force_per_row(layout, force)[0]), float(-force.aside[0, :, 1].sum()), force.end_bound[0, 0]


@pytest.mark.parametrize("aside", [30.0, 60.0, 85.0])
def test_a_part_that_slopes_aside_lets_less_and_less_go_straight_on(aside):
    """All at 5 degrees, where a jump left a quarter to the row ahead (12.3 to 2.9 kN), nothing from 15 on."""
    flat, steep = sum(ahead_of(4.99, aside)[:2]), sum(ahead_of(5.01, aside)[:2])
    assert steep == pytest.approx(flat, rel=0.03)
    bound = [ahead_of(d, aside)[1] for d in (5.01, 8.0, 11.0, 14.0)]
    if aside > 45.0:
        assert (np.diff(bound) < 0.0).all()
        assert bound[0] > 2.0 * ahead_of(5.01, aside)[0]
    assert ahead_of(15.1, aside)[1] == 0.0


def test_what_goes_straight_on_beside_a_partial_row_leans_on_its_ends():
    """At 5 degrees, where their bounds fell from 3.6 to 0.8 kN."""
    place = {"start": "0.8 m", "end": "1.9 m"}
    flat, steep, more = (ahead_of(d, 60.0, **place)[2] for d in (4.99, 5.01, 9.0))
    assert (flat > 2000.0).all()
    np.testing.assert_allclose(steep, flat, rtol=0.05)
    assert (more < steep).all()


@pytest.mark.parametrize("degrees", [-0.3, 0.0, 0.3])
def test_a_hole_in_a_flat_part_holds_nothing(degrees):
    """A hole of 3 m by 2 m: what comes to its upper side goes on below it."""
    z = 3.0 + 4.0 * tangent(10.0)
    rise = tangent(degrees)
    x, y = np.array([0.0, 3.0, 6.0, 9.0]), np.array([0.0, 4.0, 6.0, 8.0, 10.0, 16.0])
    height = np.array([3.0, z, z + 2 * rise, z + 4 * rise, z + 6 * rise, z + 6 * rise + 6 * tangent(30.0)])
    points = np.array([(a, b, h) for b, h in zip(y, height, strict=True) for a in x])
    cells = [(i, j) for j in range(5) for i in range(3) if (i, j) != (1, 2)]
    first = np.array([4 * j + i for i, j in cells])
    faces = np.concatenate([np.stack([first, first + a, first + b], 1) for a, b in ((1, 5), (5, 4))])
    roof = recognize(points, faces)
    expected = pushes((6.0, 30.0), (6.0, min(degrees, 0.0)), LOWEST)
    assert on_row(roof) == pytest.approx(expected, rel=0.02)


def test_snow_above_a_flat_part_is_held_by_rows_below_it():
    """EN 1991-1-3 5.3.2(2): mu_1 of 45 degrees is not below 0.8 where a row holds the snow, 0.4 elsewhere."""
    for roof in (stepped(9.5, 0.0, above=45.0), chain((4.0, 8.0), (2.0, -3.5), (6.0, 45.0))):
        low = int(np.argmin(np.abs(roof.planes.slope - np.radians(9.0))))
        assert steep_loads(roof, low) == pytest.approx([800.0, 1600.0])


def steep_loads(roof, low):
    """Balanced load on the steepest plane without a row and with one on plane `low`. [Pa]."""
    steep, load = int(np.argmax(roof.planes.slope)), []
    for retained in ((), (low,)):
        balanced = snow_cases(roof, EnSite(ground_snow=2000.0), retained).cases[0]
        load.append(
            next(zone.pressure[2] + zone.pressure[0] for zone in balanced.zones if zone.plane == steep)
        )
    return load
