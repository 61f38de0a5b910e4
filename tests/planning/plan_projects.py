"""Small projects to plan and to move rows on."""

from roofmodel.project.load import load_project

GABLE = """
[project]
name = "Plan barn"
[site]
standard = "measured"
level = "strength"
layers = [{ depth = "@DEPTH@", density = ["300 kg/m^3"] }]
[[roof.part]]
shape = "gable"
footprint = "@FOOTPRINT@"
pitches = ["gable", "25 deg", "gable", "25 deg"]
eave_height = "3 m"
[surface]
slippery = true
[panel]
metal = "steel"
seam_spacing = "0.5 m"
seam_height = "50 mm"
thickness = "0.6 mm"
clip_spacing = "0.6 m"
anchorage = "@ANCHORAGE@"
anchorage_factor = 2.0
[seam]
lock = "double lock"
yield_strength = "280 MPa"
clip_first = "0.3 m"
clip_stiffness = { across = "1 kN/mm", pull = "2 kN/mm" }
bearing = "deck"
[rail]
shape = "round tube"
diameter = "42.4 mm"
wall = "3 mm"
material = "steel"
yield_strength = "235 MPa"
deflection_ratio = 50
[clamp]
height = "60 mm"
grip_length = "70 mm"
test_height = "60 mm"
stiffness = { along = "2 kN/mm", across = "1 kN/mm", pull = "3 kN/mm", rocking = "7200 N*m/rad" }
strength = { along = "@ALONG@", across = "4 kN", pull = "5 kN", push = "8 kN" }
strength_kind = "nominal"
factor = 2.0
@ROWS@
[design]
format = "ASD"
rail_height_ratio = @RATIO@
[analysis]
panel_flexibility = @FLEX@
@MORE@
"""

HIP = """
[[roof.part]]
shape = "hip"
footprint = "0 0, 9 0, 9 7, 0 7 m"
pitch = "25 deg"
eave_height = "3 m"
"""
TWO_ROWS = """
[[row]]
name = "E"
plane = "E1"
up = "0.4 m"
[[row]]
name = "W"
plane = "W1"
up = "0.4 m"
"""


def gable(**changes):
    """Project text of a gable barn with fall lines to east and west."""
    values = {
        "DEPTH": "0.5 m",
        "FOOTPRINT": "0 0, 3 0, 3 6, 0 6 m",
        "ANCHORAGE": "40 kN",
        "ALONG": "8 kN",
        "ROWS": TWO_ROWS,
        "FLEX": "false",
        "MORE": "",
        "RATIO": "0.05",
    }
    text = GABLE
    for key, value in (values | changes).items():
        text = text.replace(f"@{key}@", value)
    return text


def with_roof(roof, **changes):
    """The same project under another roof, without rows."""
    text = gable(**({"ROWS": ""} | changes))
    start = text.index("[[roof.part]]")
    return text[:start] + roof + text[text.index("[surface]") :]


def loaded_without_rows(folder, roof, **changes):
    """The project of `with_roof`, read to lay rows on it."""
    path = folder / "project.toml"
    path.write_text(with_roof(roof, **changes), encoding="utf-8")
    return load_project(path, rows_needed=False, rows_count=False)
