"""Where a row begins is what a tape shows from the plane's left end, over dormers and wings too."""

import re
from xml.etree import ElementTree

import numpy as np
import pytest
from picture_projects import GABLE, read

from fea.analysis import Analysis
from roofmodel.project.placement import left_reach
from roofmodel.units import SYSTEMS
from viewer.quantities import drawn
from viewer.report.rows_plan import rows_svg

DORMER = """
[[roof.dormer]]
name = "D"
plane = "S1"
across = "4 m"
up = "0.8 m"
width = "2 m"
height = "0.8 m"
pitch = "30 deg"
"""
PIECES = """
[[row]]
name = "Left"
plane = "S1"
up = "1.2 m"
start = "0.4 m"
end = "2.9 m"
[[row]]
name = "Right"
plane = "S1"
up = "1.2 m"
start = "6.3 m"
end = "12 m"
"""


@pytest.fixture(scope="module")
def dormered(tmp_path_factory: pytest.TempPathFactory) -> Analysis:
    text = GABLE.replace("[surface]", DORMER + "[surface]", 1).replace("[design]", PIECES + "[design]")
    text = text.replace('up = "3 m"', 'up = "4.4 m"')  # over the dormer
    return read(text, tmp_path_factory.mktemp("dormered"))


@pytest.mark.parametrize("system", ["SI", "US"])
def test_a_row_beyond_a_dormer_is_drawn_as_far_from_the_left_as_the_file_has_it(
    dormered: Analysis, system: str
) -> None:
    """Its words and its line say the same, and the gap of the dormer counts."""
    project, units = dormered.project, SYSTEMS[system]
    plane = project.roof.planes.name.index("S1")
    layout = project.layout
    drawing = rows_svg(dormered, plane, units)
    words = [e.text for e in ElementTree.fromstring(drawing).iter("{http://www.w3.org/2000/svg}text")]
    lines = [
        np.array(re.findall(r"[ML](-?[0-9.]+) (-?[0-9.]+)", e.get("d", "")), dtype=float)
        for e in ElementTree.fromstring(drawing).iter("{http://www.w3.org/2000/svg}path")
        if e.get("stroke-width") == "0.8"
    ]
    level = np.array([abs(line[1, 0] - line[0, 0]) for line in lines if line[0, 1] == line[1, 1]])
    whole = float(level.max()) / 14.0  # pixels of a meter, from the dimension of the eave
    for name, start in (("Left", 0.4), ("Right", 6.3), ("High", 2.0)):
        row = layout.row_name.index(name)
        assert left_reach(project.roof, layout, row) == pytest.approx(start, abs=1e-9)
        assert drawn(start, "length", units) in words
        assert np.abs(level - start * whole).min() < 0.02
    assert left_reach(project.roof, layout, layout.row_name.index("Low")) == 0.0
    right = layout.row_name.index("Right")  # from the dormer's cheek, at 5 m
    assert left_reach(project.roof, layout, right, own=True) == pytest.approx(1.3, abs=1e-6)
