"""Small projects for the checks."""

from roofmodel.project.load import load_project

GABLE_EN = """
[project]
name = "test"
[site]
standard = "EN 1991-1-3"
ground_snow = "{sk} kN/m^2"
[[roof.part]]
shape = "gable"
footprint = "0 0, 12 0, 12 16, 0 16 m"
pitches = ["25 deg", "gable", "25 deg", "gable"]
eave_height = "3 m"
[surface]
slippery = true
friction = {mu}
friction_reason = "test"
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
deflection_ratio = 100
temperature_change = "{warm} K"
[clamp]
height = "40 mm"
grip_length = "60 mm"
test_height = "{test_height} mm"
stiffness = {{ along = "3 kN/mm", across = "1 kN/mm", pull = "4 kN/mm", rocking = "1200 N*m/rad" }}
strength = {{ {strength} }}
strength_kind = "design"
interaction = "{interaction}"
[[row]]
name = "R1"
plane = "S1"
up = "0.5 m"
{row}
[design]
format = "EN"
rail_height_ratio = 0.1
"""

STRENGTH = 'along = "6 kN", across = "2 kN", pull = "4 kN", push = "6 kN"'


def project(folder, text=GABLE_EN, **changes):
    values = {
        "sk": 1.5,
        "mu": 0.0,
        "warm": 0,
        "test_height": 0,
        "strength": STRENGTH,
        "interaction": "linear",
        "row": "",
    }
    path = folder / "project.toml"
    path.write_text(text.format(**(values | changes)))
    return load_project(path)


def limit(analysis, name):
    return next(one for one in analysis.limits if one.name == name)
