"""Snow that goes over low far sides of valleys, past rows, boxes and corners in the way: sums by hand."""

from dataclasses import replace

import numpy as np
import pytest
from roofs import force_per_row, line_force, rows, uniform
from test_flat_parts import LOWEST, WIDE, P, chain, on_row, pushes, steep_loads, tangent, terraces

from fea.straight import straight_words
from roofmodel.layout import no_rows
from roofmodel.project.obstacle_schema import ObstructionTable
from roofmodel.project.obstacles import place_obstacles
from roofmodel.shape.recognition import recognize
from roofmodel.sliding.landing import landing
from roofmodel.sliding.thrust import SlideOptions, slide
from roofmodel.units import SYSTEMS


def plane_at(roof, degrees):
    return int(np.argmin(np.abs(roof.planes.slope - np.radians(degrees))))


@pytest.mark.parametrize("back", [5.1, 12.0])
def test_a_valley_that_falls_a_little_keeps_no_more_than_a_level_one(back):
    """0.2 % of fall once kept all in the stream: 4.8 kN on the row for 30.9."""
    got = [on_row(chain((4.0, 10.0), (1.0, -back), (6.0, 30.0), tilt=tilt)) for tilt in (0.0, 0.002)]
    assert got[1] == pytest.approx(got[0], rel=0.01)
    assert got[0] > 0.75 * pushes((6.0, 30.0))


def test_what_a_falling_valley_turns_grows_with_its_fall_and_its_far_side():
    """More with both, and nearly all of it from 15 degrees back and 5 degrees along on."""

    def kept(back, tilt):
        roof = chain((4.0, 10.0), (1.0, -back), (6.0, 30.0), tilt=tilt)
        graph, force = slide(roof, (uniform(roof, P),), no_rows())
        assert force.balance.error[0] < 1e-12
        stream = graph.exit_node >= graph.cells.count
        return float(force.node_weight[0, graph.exit_node[stream]].sum()) / (P * WIDE * 6.0)

    by_fall = [kept(13.0, tilt) for tilt in (0.02, 0.06, 0.1)]
    assert (np.diff(by_fall) > 0.0).all()
    by_slope = [kept(back, 0.1) for back in (5.0, 8.0, 14.9)]
    assert (np.diff(by_slope) > 0.0).all()
    assert by_slope[-1] > 1.0  # with its own snow


def test_a_row_beyond_flat_roof_takes_its_own_width_however_fine_the_strips():
    """EN 1991-1-3 6.4: p b sin(30) for each of the 3.21 m; a strip's middle once decided for all of it."""
    roof = chain((4.0, 10.0), (3.0, -1.0), (6.0, 30.0))
    plane = plane_at(roof, 1.0)
    table = {"plane": roof.planes.name[plane], "up": "1.3 m", "start": "2.13 m", "end": "5.34 m"}
    for strip in (0.2, 0.5, 1.0):
        layout = rows(roof, table)
        force = slide(roof, (uniform(roof, P),), layout, SlideOptions(strip_width=strip))[1]
        line = line_force(force, 0)[1]
        np.testing.assert_allclose(line, line.mean(), rtol=1e-9)
        row = 1.3 * np.cos(np.radians(1.0))  # on plan, from the foot of the slope
        hand = pushes((6.0, 30.0), (row, -1.0), (3.0 - row, 1.0)) / WIDE
        assert line.mean() == pytest.approx(hand, rel=1e-4)  # what is held: p h cos for p h sin/tan


def test_a_far_side_in_two_parts_divides_the_snow_where_they_part():
    """Half of the front is a slope with a row, half an eave, parted within a strip."""
    steep, low = 6.0 * tangent(30.0), 4.0 * tangent(10.0)
    x = [0.0, 4.13, 9.0]
    points = [(a, 0.0, 3.0) for a in x] + [(a, 3.0, 3.0) for a in (0.0, 9.0)]
    points += [(a, 9.0, 3.0 + steep) for a in (0.0, 9.0)] + [(a, -4.0, 3.0 - low) for a in x[:2]]
    faces = [(0, 1, 3), (1, 4, 3), (1, 2, 4), (3, 4, 6), (3, 6, 5), (7, 8, 1), (7, 1, 0)]
    roof = recognize(np.array(points), np.array(faces))
    layout = rows(roof, {"plane": roof.planes.name[plane_at(roof, 10.0)], "up": "1 m"})
    graph, force = slide(roof, (uniform(roof, P),), layout)
    expected = pushes((6.0, 30.0), LOWEST) * 4.13 / WIDE
    assert force_per_row(layout, force)[0] == pytest.approx(expected, rel=1e-9)
    lands = landing(roof, graph, force, (uniform(roof, P),), SlideOptions())
    front = [k for k, e in enumerate(force.exit_edge) if roof.edges.name[e].startswith("F1")]
    assert lands.line[0, front] == pytest.approx(6.0 * P)  # of each meter, in pieces of strips too


@pytest.mark.parametrize("degrees", [-1.0, 0.6])
@pytest.mark.parametrize("tilt", [0.0, 0.02])
def test_a_box_on_flat_roof_is_pushed_by_what_comes_straight_across(degrees, tilt):
    """Push p b sin(30) for each meter of its width; it relieves no row there."""
    roof = chain((4.0, 10.0), (5.0, degrees), (6.0, 30.0), tilt=tilt)
    flat = int(np.argmin(roof.planes.slope))
    middle = roof.planes.outline[flat].centroid
    box = ObstructionTable.model_validate(
        {"name": "light", "plane": roof.planes.name[flat], "across": f"{middle.x} m", "up": f"{middle.y} m"}
        | {"width": "1 m", "depth": "1 m", "height": "1 m", "strength": "90 kN"}
    )
    with_box = replace(roof, obstacles=place_obstacles(roof, [], [box], SYSTEMS["SI"]))
    layout = rows(roof, {"plane": roof.planes.name[plane_at(roof, 10.2)], "up": "1 m"})
    plain, force = (slide(one, (uniform(one, P),), layout)[1] for one in (roof, with_box))
    wide = 1.0 if tilt == 0.0 else np.sqrt(2.0)
    push = P * 6.0 * np.sin(np.radians(30.0))
    assert 0.999 * push < float(force.obstacle_push[0, 0]) < 1.1 * push * wide + 500.0
    straight = 0.0 if force.straight is None else float(force.straight[0, 0])
    lost = force_per_row(layout, plain) - force_per_row(layout, force)
    assert lost[0] < float(force.obstacle_held[0, 0]) + 1.0
    assert straight > 0.0 or (degrees > 0.0 and tilt == 0.0)


@pytest.mark.parametrize("back", [5.1, 14.0])
def test_snow_above_a_low_far_side_is_held_by_rows_beyond_it(back):
    """EN 1991-1-3 5.3.2(2): mu_1 of 45 degrees not below 0.8, as at 4.9; 0.4 where it rises higher."""
    roof = chain((4.0, 9.0), (2.0, -back), (6.0, 45.0))
    assert steep_loads(roof, plane_at(roof, 9.0)) == pytest.approx([800.0, 1600.0])
    gutter = chain((4.0, 9.0), (2.0, -back), (1.0, 0.5), (6.0, 45.0))
    assert steep_loads(gutter, plane_at(gutter, 9.0)) == pytest.approx([800.0, 1600.0])
    deep = terraces((0.0, 3.0), (4.0, 3.0 + 4.0 * tangent(9.0)), (12.0, 1.0), (14.0, 3.0))
    assert steep_loads(deep, plane_at(deep, 9.0)) == pytest.approx([800.0, 800.0])


def words_of(roof, *tables):
    layout = rows(roof, *tables) if tables else no_rows()
    graph, force = slide(roof, (uniform(roof, P),), layout)
    return straight_words(roof, layout, graph, force, SYSTEMS["SI"])


def test_words_say_where_the_law_is_judgment():
    """A low far side, a row met from behind, a plane that slopes aside, by name; nothing on a plain roof."""
    roof = chain((4.0, 10.0), (1.0, -8.0), (6.0, 30.0))
    back = roof.planes.name[plane_at(roof, 8.0)]
    (one,) = words_of(roof)
    assert f"from {roof.planes.name[plane_at(roof, 30.0)]} over {back}" in one
    assert "of 27.00 kN" in one  # all that the slope sends, by hand 9 m x 6 m x 1 kPa x sin(30)
    assert any(
        "R1" in one and "up their own slope" in one for one in words_of(roof, {"plane": back, "up": "0.5 m"})
    )
    aside = terraces((0.0, 3.0), (8.0, 3.0), (14.0, 3.0 + 6.0 * tangent(30.0)), tilt=tangent(6.0))
    (one,) = words_of(aside)
    assert one.startswith(f"{aside.planes.name[plane_at(aside, 6.0)]} (below ")
    assert words_of(chain((4.0, 10.0), (6.0, 30.0))) == []


def test_a_box_relieves_only_by_what_is_left_of_its_strength():
    """What comes straight across takes it first: nothing is left of 200 N, and 100 N of 100 N more."""
    roof = chain((4.0, 10.0), (5.0, 3.0), (6.0, 30.0), tilt=0.05)
    flat = int(np.argmin(roof.planes.slope))
    middle = roof.planes.outline[flat].centroid
    place = {
        "name": "light",
        "plane": roof.planes.name[flat],
        "across": f"{middle.x} m",
        "up": f"{middle.y} m",
    }
    size = {"width": "1 m", "depth": "1 m", "height": "1 m"}

    def held(strength):
        box = ObstructionTable.model_validate(place | size | {"strength": f"{strength} N"})
        with_box = replace(roof, obstacles=place_obstacles(roof, [], [box], SYSTEMS["SI"]))
        force = slide(with_box, (uniform(roof, P),), no_rows())[1]
        assert force.balance.error[0] < 1e-12
        return float(force.straight[0, 0]), float(force.obstacle_held[0, 0])

    straight, none = held(200.0)
    assert straight > 3000.0
    assert none == 0.0
    assert held(straight + 100.0)[1] == pytest.approx(100.0, rel=1e-6)
