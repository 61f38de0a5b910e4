"""Speed, throw and strip of snow that leaves the eaves: work and energy, free flight."""

from __future__ import annotations

import numpy as np
import pytest
from roofs import gable, l_shape, rows, uniform
from test_flat_parts import chain

from roofmodel.layout import no_rows
from roofmodel.shape.recognition import recognize
from roofmodel.sliding.landing import landing, throw
from roofmodel.sliding.thrust import SlideOptions, slide
from roofmodel.surface import EdgeKind

G = 9.80665
SLOPE = np.radians(25.0)
RISE = 8.0 * np.tan(SLOPE)


def landed(roof, *tables, friction=0.0, spread=1.0):
    case = uniform(roof, 2000.0)
    options = SlideOptions(friction=friction, valley_spread=spread)
    graph, force = slide(roof, (case,), rows(roof, *tables), options)
    found = landing(roof, graph, force, (case,), options)
    names = [roof.edges.name[e] for e in force.exit_edge]
    return names, force, found


@pytest.mark.parametrize("friction", [0.0, 0.2])
def test_speed_at_the_eave_by_energy(friction):
    """From ridge to eave: v^2 = 2 g (8 tan 25 - mu 8); a row at 3 m leaves only the run below it."""
    names, _, found = landed(gable(), {"plane": "N1", "up": "3 m"}, friction=friction)
    south, north = names.index("S1 eave"), names.index("N1 eave")
    assert found.speed[south] == pytest.approx(np.sqrt(2.0 * G * (RISE - 8.0 * friction)), rel=1e-9)
    behind = 3.0 * (np.sin(SLOPE) - friction * np.cos(SLOPE))
    assert found.speed[north] == pytest.approx(np.sqrt(2.0 * G * behind), rel=1e-6)
    assert found.throw[north] < found.throw[south]


def test_throw_solves_the_flight():
    """The body is at the ground when it is there; level throw v sqrt(2 H / g)."""
    x = throw(np.array([5.0]), np.array([0.0]), np.array([4.0]))
    assert x == pytest.approx([5.0 * np.sqrt(8.0 / G)])
    v, slope, fall = 8.0, np.radians(40.0), 6.0
    x = float(throw(np.array(v), np.array(slope), np.array(fall)))
    t = x / (v * np.cos(slope))
    assert v * np.sin(slope) * t + 0.5 * G * t**2 == pytest.approx(fall, rel=1e-12)


def test_the_top_of_the_snow_flies_farthest():
    """2 kPa at 300 kg/m3 lie 0.68 m deep: the fall is 3.68 m below an eave of 3 m."""
    names, _, found = landed(gable(), {"plane": "N1", "up": "3 m"})
    speed = np.sqrt(2.0 * G * RISE)
    expected = throw(np.array(speed), np.array(SLOPE), np.array(3.0 + 2000.0 / (300.0 * G)))
    assert found.throw[names.index("S1 eave")] == pytest.approx(float(expected), rel=1e-9)
    assert found.fall[names.index("S1 eave")] == pytest.approx(3.0)


def test_weight_volume_and_strip():
    """2 kPa on 8 m of plan run is 16 kN/m; at 300 kg/m3 that is 16 000 / (300 g) m3 for each meter."""
    roof = gable()
    names, force, found = landed(roof, {"plane": "N1", "up": "3 m"})
    south = names.index("S1 eave")
    assert found.line[0, south] == pytest.approx(16e3, rel=1e-9)
    assert found.volume[0, south] == pytest.approx(12.0 * 16e3 / (300.0 * G), rel=1e-9)
    assert force.exit_weight[0, south] == pytest.approx(12.0 * 16e3, rel=1e-9)
    zone = found.zone[south]
    np.testing.assert_allclose(zone[:, 2], roof.ground)
    assert zone[:, 1].max() == pytest.approx(0.0, abs=1e-9)
    assert zone[:, 1].min() == pytest.approx(-found.throw[south], rel=1e-9)
    assert found.fall[south] == pytest.approx(3.0)


def test_all_snow_lands_somewhere():
    names, force, found = landed(l_shape(), {"plane": "S1", "up": "1 m"})
    assert len(names) == len(found.throw)
    assert np.isfinite(found.throw).all()
    assert (found.throw[(force.exit_thrust > 0.0).any(axis=0)] > 0.0).all()
    assert (found.volume * 300.0 * G).sum() == pytest.approx(force.exit_weight.sum(), rel=1e-12)


def test_a_valley_throws_from_its_foot():
    """The stream leaves at the inner corner (8, 8), down the valley: north-east, from the eaves' height."""
    roof = l_shape()
    names, _, found = landed(roof, {"plane": "S1", "up": "1 m"})
    valley = next(i for i, name in enumerate(names) if "valley" in name)
    zone = found.zone[valley]
    np.testing.assert_allclose(0.5 * (zone[0] + zone[1])[:2], [8.0, 8.0], atol=1e-9)
    assert np.linalg.norm(zone[1] - zone[0]) == pytest.approx(1.0)
    way = (zone[3] - zone[0])[:2] / found.throw[valley]
    np.testing.assert_allclose(way, np.sqrt([0.5, 0.5]), atol=1e-9)
    assert found.fall[valley] == pytest.approx(3.0)


def test_a_valley_keeps_the_speed_of_the_way_down_it():
    """Rows beside the valley hold what does not run down it: v^2 = 2 g 4 tan 30 at least, and little more."""
    roof = l_shape()
    edge = roof.edges.kind.index(EdgeKind.VALLEY)
    beside = [roof.planes.name[p] for p in roof.edges.plane[edge]]
    tables = [{"plane": name, "up": "1 m", "edge_distance": "0.1 m"} for name in beside]
    names, _, found = landed(roof, *tables, spread=0.05)
    valley = next(i for i, name in enumerate(names) if "valley" in name)
    exact = np.sqrt(2.0 * G * 4.0 * np.tan(np.radians(30.0)))
    assert exact * (1.0 - 1e-9) <= found.speed[valley] <= 1.15 * exact


@pytest.mark.parametrize("spread", [0.3, 1.0])
def test_no_snow_is_faster_than_from_the_highest_point(spread):
    """Energy: at an eave or a valley foot v^2 <= 2 g (top of the roof - foot), and nearly all of it there."""
    roof = l_shape()
    names, force, found = landed(roof, {"plane": "S1", "up": "4.4 m"}, spread=spread)
    ends = np.stack([roof.edges.start, roof.edges.end], axis=1)[force.exit_edge, :, 2]
    top = float(roof.points[:, 2].max())
    bound = np.sqrt(2.0 * G * (top - ends.min(axis=1)))
    assert (found.speed <= bound * (1.0 + 1e-9)).all()
    valley = next(i for i, name in enumerate(names) if "valley" in name)
    assert found.speed[valley] > 0.9 * bound[valley]


def test_higher_ridges_and_higher_eaves_throw_farther():
    slope = np.full(4, SLOPE)
    near = throw(np.array([2.0, 4.0, 8.0, 12.0]), slope, np.full(4, 3.0))
    assert (np.diff(near) > 0.0).all()
    far = throw(np.full(4, 5.0), slope, np.array([2.0, 4.0, 8.0, 16.0]))
    assert (np.diff(far) > 0.0).all()


def lines(roof):
    """Largest weight on a meter of each edge that snow leaves over under 1 kPa, its mean, and the names."""
    case = uniform(roof, 1000.0)
    graph, force = slide(roof, (case,), no_rows())
    line = landing(roof, graph, force, (case,), SlideOptions()).line[0]
    ends = roof.edges.end[force.exit_edge] - roof.edges.start[force.exit_edge]
    mean = force.exit_weight[0] / np.linalg.norm(ends, axis=1)
    return line, mean, [roof.edges.name[e] for e in force.exit_edge]


def test_both_streams_of_a_valley_count_together():
    """Two slopes of 6 m, each with 18 m2 that drain to the valley: 36 kN on the meter it leaves over."""
    top = 3.0 + 6.0 * np.tan(np.radians(30.0))
    points = [(0, 0, 3), (6, 6, top), (-6, 0, 3), (-6, 6, top), (0, -6, 3), (6, -6, top)]
    roof = recognize(np.array(points, float), np.array([(0, 1, 3), (0, 3, 2), (0, 4, 5), (0, 5, 1)]))
    line, _, name = lines(roof)
    (valley,) = (k for k, n in enumerate(name) if "valley" in n)
    assert line[valley] == pytest.approx(36e3, rel=1e-6)


@pytest.mark.parametrize("run", [2.0, 4.0, 12.0])
def test_own_snow_and_what_comes_straight_across_count_together(run):
    """A flat part that falls 2 degrees aside below a slope of 6 m: never less than the mean of the edge."""
    roof = chain((run, 3.0), (6.0, 30.0), tilt=np.tan(np.radians(2.0)))
    line, mean, _ = lines(roof)
    assert (line >= mean - 1.0).all()
    assert line.max() == pytest.approx(1000.0 * (run + 6.0), rel=0.01)
