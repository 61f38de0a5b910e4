"""The plan below plan.png: what is protected is where the project says, rows where the layout has them."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from plan_projects import loaded_without_rows

from fea.planning.plan import plan_rows
from viewer import style
from viewer.picture.sheet import Overlay
from viewer.plan.map import draw_map, guarded

MARKS = """
[[protect]]
name = "door"
area = "2 -3, 4 -3, 4 -1, 2 -1 m"
[[protect]]
name = "gutter"
eave = "S1 eave"
start = "2 m"
end = "5 m"
[[protect]]
name = "north side"
planes = ["N1"]
[plan]
every = [2]
"""
PORCH = """
[[roof.part]]
shape = "gable"
footprint = "0 0, 8 0, 8 6, 0 6 m"
pitches = [ "25 deg", "gable", "25 deg", "gable" ]
eave_height = "5 m"
"""


@pytest.fixture(scope="module")
def planned(tmp_path_factory):
    project = loaded_without_rows(tmp_path_factory.mktemp("plan"), PORCH, MORE=MARKS)
    return project, plan_rows(project)


def test_places_of_what_is_protected(planned):
    project, plan = planned
    door, gutter, north = guarded(project, plan)
    assert (door.name, door.planes) == ("door", ("S1",))
    assert door.shape.equals(shapely.box(2, -3, 4, -1))
    ends = shapely.get_coordinates(gutter.shape)
    np.testing.assert_allclose(ends, [[2.0, 0.0], [5.0, 0.0]], atol=1e-9)
    assert north.planes == ("N1",)
    assert north.shape.symmetric_difference(shapely.box(0, 3, 8, 6)).area == pytest.approx(0.0, abs=1e-6)


def test_rows_clamps_and_names_are_on_the_drawing(planned):
    project, plan = planned
    overlay = Overlay((2000, 1400))
    band = draw_map(overlay, project, plan)
    shapes = [shape.points for shape in overlay.shapes]
    assert min(points[:, 1].min() for points in shapes) >= 1400.0
    assert max(points[:, 1].max() for points in shapes) <= 1400.0 + band
    marks = [s for s in overlay.shapes if s.fill == style.PAPER]
    assert len(marks) == plan.clamps
    words = [text.text for text in overlay.texts]
    layout = plan.analysis.project.layout
    count = np.bincount(layout.clamp_row)
    for row, name in enumerate(layout.row_name):
        assert f"{name}: {count[row]} clamps" in words
    assert {"door", "gutter", "north side"} <= set(words)
    assert any(s.line == style.PROTECTED for s in overlay.shapes)
    boxes = [shapely.box(*text.box) for text in overlay.texts]
    assert all(box.bounds[0] >= 0.0 and box.bounds[2] <= 2000.0 for box in boxes)
