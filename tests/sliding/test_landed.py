"""Snow that lands above a row leans on it: by hand on a steep roof over a low one."""

from __future__ import annotations

import numpy as np
import pytest
from roofs import rectangle, rows, uniform

from roofmodel.shape.builders import RoofPart, build_roof
from roofmodel.sliding.landed import with_landed
from roofmodel.sliding.thrust import SlideOptions, slide

LOW, HIGH = np.radians(15.0), np.radians(35.0)
PRESSURE = 2000.0


def two_sheds(drop=3.0):
    """A shed of 4 m above one of 9 m, both falling south over 12 m."""
    upper = rectangle(12.0, 4.0) + np.array([0.0, 9.0])
    return build_roof(
        [
            RoofPart("shed", rectangle(12.0, 9.0), np.array([LOW]), 3.0, fall_azimuth=np.pi),
            RoofPart("shed", upper, np.array([HIGH]), 3.0 + 9.0 * np.tan(LOW) + drop, fall_azimuth=np.pi),
        ]
    )


def landed(roof, *tables):
    layout = rows(roof, *tables)
    case, options = uniform(roof, PRESSURE), SlideOptions()
    graph, force = slide(roof, (case,), layout, options)
    return force, with_landed(roof, layout, graph, force, (case,), options)


def low_plane(roof):
    return roof.planes.name[int(np.argmin(roof.planes.slope))]


def test_the_row_below_takes_the_whole_part_down_its_slope():
    """All of the upper snow lands on the lower plane above its row: W sin(lower slope)."""
    roof = two_sheds()
    before, after = landed(roof, {"plane": low_plane(roof), "up": "0.4 m"})
    assert not before.aside.any()
    weight = PRESSURE * 12.0 * 4.0
    assert -after.aside[0, :, 1].sum() == pytest.approx(weight * np.sin(LOW), rel=1e-9)
    np.testing.assert_array_equal(after.thrust, before.thrust)


def test_a_row_above_holds_it_up_there():
    """With a row at the upper eave only what lies below that row lands."""
    roof = two_sheds()
    upper = roof.planes.name[int(np.argmax(roof.planes.slope))]
    force = landed(
        roof,
        {"plane": low_plane(roof), "up": "0.4 m"},
        {"plane": upper, "up": "0.5 m", "edge_distance": "0 m"},
    )[1]
    lower = force.row == 0
    own = PRESSURE * 12.0 * 0.5 * np.cos(HIGH)
    assert -force.aside[0, lower, 1].sum() == pytest.approx(own * np.sin(LOW), rel=0.1)
    assert not force.aside[0, ~lower].any()


def test_roofs_at_one_level_drop_nothing_on_each_other():
    roof = build_roof([RoofPart("shed", rectangle(12.0, 9.0), np.array([LOW]), 3.0, fall_azimuth=np.pi)])
    before, after = landed(roof, {"plane": roof.planes.name[0], "up": "0.4 m"})
    assert not after.aside.any()
    assert before.aside.shape == after.aside.shape
