"""Sheets of plan.dxf: every plane at its own scale, names of the roof from above on free roof."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from tests.demos import demo
from viewer.handover.overview import _place
from viewer.handover.sheets import PAPER, scale_for


@pytest.mark.parametrize("system", ["SI", "US"])
def test_a_small_plane_has_a_larger_scale(system: str) -> None:
    small, large = (scale_for(np.array(size), system) for size in ((3.0, 2.0), (20.0, 6.0)))
    assert small < large
    assert 3.0e3 / small > 0.25 * PAPER[system][0]  # and fills its sheet


def test_names_keep_off_what_is_taken() -> None:
    """The middle of the plane is taken: its name stands beside it, on the plane; with no room it is short."""
    project = demo("granary-door").project
    planes = project.roof.planes
    ring = planes.to_world(0, np.asarray(planes.outline[0].exterior.coords))[:, :2]
    outline = shapely.Polygon(ring)
    middle = outline.centroid.buffer(0.6)
    words, _, box = _place(project, 0, ("S1  30.0 deg", "S1"), 0.1, [middle])
    assert words == "S1  30.0 deg"
    assert outline.contains(box)
    assert not box.intersects(middle)
    nearly_all = outline.buffer(-0.35, join_style="mitre")
    assert _place(project, 0, ("S1  30.0 deg", "S1"), 0.1, [nearly_all])[0] == "S1"
