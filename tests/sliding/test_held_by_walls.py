"""Snow that slides against the wall of a higher roof stays there: by hand on a gable beside a block."""

from __future__ import annotations

import numpy as np
import pytest
from roofs import rectangle, turned, uniform

from roofmodel.layout import no_rows
from roofmodel.shape.builders import RoofPart, build_roof
from roofmodel.sliding.flow import Exit
from roofmodel.sliding.thrust import slide

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
