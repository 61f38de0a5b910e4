"""Snow that slides against the wall of a higher roof stays there: by hand on a gable beside a block."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from roofs import rectangle, turned, uniform

from fea.checks.walls import wall_words
from roofmodel.layout import no_rows
from roofmodel.shape.builders import RoofPart, build_roof
from roofmodel.sliding.flow import Exit
from roofmodel.sliding.landing import landing
from roofmodel.sliding.thrust import SlideOptions, ValleyThrust, slide
from roofmodel.surface import EdgeKind
from roofmodel.units import SYSTEMS

SLOPE = np.radians(25.0)
PRESSURE = 2000.0


def beside_block(wall, angle=0.0, length=12.0):
    """Gable of 12 m by 16 m whose south half falls against a block that is higher by `wall`."""
    pitches = np.radians([25.0, np.nan, 25.0, np.nan])
    block = rectangle(length, 5.0) - np.array([0.0, 5.0])
    return build_roof(
        [
            RoofPart("gable", turned(rectangle(12.0, 16.0), angle), pitches, 6.0),
            RoofPart("flat", turned(block, angle), np.zeros(0), 6.0 + wall),
        ]
    )


@pytest.mark.parametrize("angle", [0.0, 0.7])
def test_the_wall_holds_the_whole_thrust_and_nothing_falls_there(angle):
    """The force is p b sin(slope) for each meter of the foot, EN 1991-1-3 6.4."""
    roof = beside_block(3.0, angle)
    graph, force = slide(roof, (uniform(roof, PRESSURE),), no_rows())
    line = PRESSURE * 8.0 * np.sin(SLOPE)
    assert len(force.wall_edge) == 1
    assert force.wall_line[0, 0] == pytest.approx(line, rel=1e-9)
    assert force.wall_thrust[0, 0] == pytest.approx(12.0 * line, rel=1e-9)
    assert not np.isin(force.exit_edge, force.wall_edge).any()
    assert force.exit_thrust[0].sum() == pytest.approx(12.0 * line, rel=1e-9)  # of the north half
    assert float(force.balance.error[0]) < 1e-12
    assert set(graph.exit_kind.tolist()) == {Exit.EDGE, Exit.WALL}


@pytest.mark.parametrize("wall", [0.3, -2.0])
def test_a_low_wall_or_a_lower_block_holds_nothing(wall):
    roof = beside_block(wall)
    force = slide(roof, (uniform(roof, PRESSURE),), no_rows())[1]
    assert not len(force.wall_edge)
    assert force.exit_thrust[0].sum() == pytest.approx(24.0 * PRESSURE * 8.0 * np.sin(SLOPE), rel=1e-9)


def test_only_the_stretch_with_a_wall_is_held():
    roof = beside_block(3.0, length=5.0)
    force = slide(roof, (uniform(roof, PRESSURE),), no_rows())[1]
    line = PRESSURE * 8.0 * np.sin(SLOPE)
    assert force.wall_thrust[0].sum() == pytest.approx(5.0 * line, rel=1e-6)
    assert force.exit_thrust[0].sum() == pytest.approx(19.0 * line, rel=1e-6)


def beside_tower(low=0.0, angle=0.0, top=14.0):
    """Shed of 6 by 10 m that falls south-west, askew to a tower along its west side from `low` to 10 m."""
    tower = np.array([[0.0, low], [10.0, low], [10.0, 10.0], [0.0, 10.0]])
    shed = rectangle(6.0, 10.0) + np.array([10.0, 0.0])
    fall = np.radians(225.0) - angle
    return build_roof(
        [
            RoofPart("flat", turned(tower, angle), np.zeros(0), top),
            RoofPart("shed", turned(shed, angle), np.array([SLOPE]), 5.0, fall_azimuth=fall),
        ]
    )


def leaving(roof, options=None):
    """Force and weight that leave the slope by the kind of edge, all forces, the landing."""
    options = options or SlideOptions()
    case = uniform(roof, PRESSURE)
    graph, force = slide(roof, (case,), no_rows(), options)
    assert float(force.balance.error[0]) < 1e-12
    found = {}
    for edge, *out in zip(force.exit_edge, force.exit_thrust[0], force.exit_weight[0], strict=True):
        if roof.planes.slope[roof.edges.plane[edge, 0]] > 0.0:  # not of the tower
            kind = roof.edges.kind[edge]
            found[kind] = found.get(kind, np.zeros(2)) + np.array(out)
    return found, force, landing(roof, graph, force, (case,), options)


def test_a_low_wall_turns_it_too():
    """0.2 m at its upper end: what might push over must not be missing on rows below."""
    high = 5.0 + 10.0 * np.tan(SLOPE) / np.sqrt(2.0)  # of the shed at the tower's upper corner
    roof = beside_tower(top=high + 0.2)
    found, _, _ = leaving(roof)
    assert found[EdgeKind.STEP] == pytest.approx([42.0 * PRESSURE * np.sin(SLOPE), 42.0 * PRESSURE], rel=1e-9)


@pytest.mark.parametrize(("top", "told"), [(0.15, True), (14.0, False)])
def test_a_kerb_that_turns_snow_is_told(top, told):
    """A slope goes on 0.15 m higher: what is deeper pushes over that kerb. A tower lets nothing over."""
    high = 5.0 + 10.0 * np.tan(SLOPE) / np.sqrt(2.0)
    kerb = np.array([[0.0, 0.0], [10.0, 0.0], [10.0, 10.0], [0.0, 10.0]])
    pitch, fall = np.array([SLOPE]), np.radians(225.0)
    shed = RoofPart("shed", rectangle(6.0, 10.0) + np.array([10.0, 0.0]), pitch, 5.0, fall_azimuth=fall)
    block = RoofPart("shed", kerb, pitch, 10.0 - high + top, fall_azimuth=fall)
    if not told:
        block = RoofPart("flat", kerb, np.zeros(0), top)
    roof = build_roof([shed, block])
    _, force, _ = leaving(roof)
    words = wall_words(roof, force, SYSTEMS["SI"])
    assert any("0.15 m high" in word and "push over" in word for word in words) == told


# Of the shed 42 m2 of 60 on plan fall against the tower: all but the triangle that reaches the south edge.
@pytest.mark.parametrize("angle", [0.0, 0.8])
def test_snow_runs_along_a_wall_whose_foot_slopes_and_leaves_at_its_lower_end(angle):
    roof = beside_tower(angle=angle)
    found, force, lands = leaving(roof)
    assert found[EdgeKind.STEP] == pytest.approx([42.0 * PRESSURE * np.sin(SLOPE), 42.0 * PRESSURE], rel=1e-9)
    assert found[EdgeKind.EAVE] == pytest.approx([18.0 * PRESSURE * np.sin(SLOPE), 18.0 * PRESSURE], rel=1e-9)
    step = [roof.edges.kind[edge] for edge in force.exit_edge].index(EdgeKind.STEP)
    corner = turned(np.array([[10.0, 0.0]]), angle)[0] - roof.offset[:2]
    away = shapely.LineString(lands.zone[step, :2, :2]).distance(shapely.Point(corner))
    assert away < 1e-6
    assert lands.fall[step] == pytest.approx(5.0, abs=1e-9)
    assert not len(force.wall_edge)


def test_by_vectors_the_wall_takes_the_part_square_to_it():
    roof = beside_tower()
    found, force, _ = leaving(roof, SlideOptions(valley=ValleyThrust.VECTOR))
    plane = int(np.argmax(roof.planes.slope))
    step = roof.edges.kind.index(EdgeKind.STEP)
    way = roof.edges.end[step] - roof.edges.start[step]
    along = abs(float(roof.planes.upslope[plane] @ way)) / np.linalg.norm(way)
    assert found[EdgeKind.STEP][0] == pytest.approx(42.0 * PRESSURE * np.sin(SLOPE) * along, rel=1e-9)
    assert float(force.valley_cross[0]) == 0.0


def test_below_the_corner_of_the_tower_it_goes_on_down_the_slope():
    """With the tower's corner 4 m up the side all of it comes down over the south or the west edge."""
    roof = beside_tower(4.0)
    found, _, _ = leaving(roof)
    whole = np.sum(list(found.values()), axis=0)
    assert whole == pytest.approx([60.0 * PRESSURE * np.sin(SLOPE), 60.0 * PRESSURE], rel=1e-9)
