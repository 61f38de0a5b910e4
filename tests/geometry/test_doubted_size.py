"""A wrong unit or axis shows in the size of the house, and is told wherever a name is not found."""

import pytest

from roofmodel.errors import InputError
from roofmodel.project.load import load_project
from roofmodel.shape.up_axis import doubts

HOUSE = """
v 0 0 0
v 12000 0 0
v 12000 8000 0
v 0 8000 0
v 0 0 5000
v 12000 0 5000
v 12000 8000 5000
v 0 8000 5000
v 0 4000 8000
v 12000 4000 8000
f 5 6 10 9
f 8 9 10 7
f 1 2 6 5
f 3 4 8 7
f 2 3 7 10 6
f 4 1 5 9 8
"""
PROJECT = """
[project]
name = "test"
[site]
standard = "EN 1991-1-3"
ground_snow = "1.5 kN/m^2"
[roof]
file = "house.obj"
unit = "{unit}"
up = "{up}"
{more}
[surface]
slippery = true
friction = 0.0
[panel]
metal = "steel"
seam_spacing = "400 mm"
seam_height = "50 mm"
thickness = "0.6 mm"
anchorage = "20 kN"
anchorage_kind = "design"
[rail]
shape = "round tube"
diameter = "48 mm"
wall = "3 mm"
material = "steel"
yield_strength = "235 MPa"
[clamp]
height = "40 mm"
grip_length = "60 mm"
stiffness = {{ along = "3 kN/mm", across = "1 kN/mm", pull = "4 kN/mm" }}
strength = {{ along = "6 kN", across = "2 kN", pull = "4 kN", push = "6 kN" }}
strength_kind = "design"
[[row]]
name = "R1"
plane = "S1"
up = "0.5 m"
[design]
format = "EN"
"""


def read(folder, unit="mm", up="z", more=""):
    (folder / "house.obj").write_text(HOUSE)
    path = folder / "project.toml"
    path.write_text(PROJECT.format(unit=unit, up=up, more=more))
    return load_project(path)


def test_inches_for_millimeters_are_doubted_with_the_size(tmp_path):
    assert doubts(read(tmp_path).roof) == ()
    (note,) = doubts(read(tmp_path, "in").roof)
    assert note.startswith("IS THE UNIT RIGHT?")
    assert f"{12.0 * 25.4:.4g} m by {8.0 * 25.4:.4g} m" in note
    assert f"rises {3.0 * 25.4:.3g} m" in note


def test_a_plane_that_is_not_found_is_told_with_the_axis(tmp_path):
    """Turned on its side the house has other planes; the error on the name says how it was read."""
    more = 'rename = [{ plane = "S7", to = "porch" }]'
    with pytest.raises(InputError, match=r'no plane "S7".*read with unit "mm" and "z" up'):
        read(tmp_path, more=more)
    with pytest.raises(InputError) as told:
        read(tmp_path, up="y", more=more)
    assert "Is the up axis right?" in str(told.value) or '"y" up' in str(told.value)
    assert "\n" not in str(told.value)
