"""What stands in a project as `new` wrote it is told until its owner says that all is theirs."""

from __future__ import annotations

import re

import pytest

from roofmodel.units import SYSTEMS
from viewer.examples import examples_line
from viewer.starter import EXAMPLES, STANDARDS, starter_text


@pytest.mark.parametrize("units", ["SI", "US"])
@pytest.mark.parametrize("standard", STANDARDS)
def test_a_new_project_is_all_examples(units, standard):
    text = starter_text("hip", units, standard)
    line = examples_line(text, SYSTEMS[units])
    assert line.startswith("Still the EXAMPLES of a new project: site.ground_snow")
    assert re.search(r" and \d+ more", line)
    assert examples_line(text.replace(EXAMPLES, ""), SYSTEMS[units]) == ""


def test_only_quantities_left_alone_are_told():
    text = starter_text("gable", "SI")
    for old, new in (("1.8 kN/m^2", "2.1 kN/m^2"), ('seam_height = "', 'seam_height = "1')):
        assert old in text
        text = text.replace(old, new)
    line = examples_line(text, SYSTEMS["SI"])
    assert "ground_snow" not in line
    assert "seam_height" not in line
    assert "panel.seam_spacing, panel.thickness" in line
    for choice in ("standard", "thermal_factor", "metal", "anchorage_factor", "shape"):
        assert choice not in line
