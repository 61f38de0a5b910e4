"""A small project with a seam, and ways to break it; invented data."""

from __future__ import annotations

GOOD = """\
[project]
name = "Test shed with a seam"
units = "SI"

[site]
standard = "EN 1991-1-3"
ground_snow = "1.8 kN/m^2"

[[roof.part]]
name = "shed"
shape = "shed"
footprint = "0 0, 4 0, 4 2.5, 0 2.5 m"
pitch = "20 deg"
fall = "180 deg"
eave_height = "3 m"

[surface]
slippery = true

[panel]
metal = "steel"
seam_spacing = "500 mm"
seam_height = "50 mm"
thickness = "0.63 mm"
clip_spacing = "400 mm"
anchorage = "9 kN"
anchorage_kind = "characteristic"
anchorage_factor = 1.33

[seam]
lock = "double lock"
yield_strength = "320 MPa"
clip_stiffness = { across = "1 kN/mm", pull = "2 kN/mm" }
clip_strength = "2 kN"
opening_strength = "15 N/mm"
strength_kind = "characteristic"
factor = 1.33
bearing = "deck"

[rail]
shape = "round tube"
diameter = "42 mm"
wall = "3 mm"
material = "aluminum"
yield_strength = "200 MPa"

[clamp]
height = "35 mm"
grip_length = "60 mm"
strength_kind = "characteristic"
factor = 1.33
stiffness = { along = "2.5 kN/mm", across = "1 kN/mm", pull = "4 kN/mm" }
strength = { along = "7 kN", across = "3 kN", pull = "4 kN", push = "6 kN" }

[[row]]
name = "R1"
plane = "S1"
up = "0.6 m"

[design]
format = "EN"
"""


def changed(old: str, new: str, text: str = GOOD) -> str:
    """The project with one piece of text replaced."""
    assert text.count(old) == 1, f"{old!r} is there {text.count(old)} times"
    return text.replace(old, new)


def without_seam() -> str:
    """The project without its table [seam]."""
    start, end = GOOD.index("[seam]"), GOOD.index("[rail]")
    return GOOD[:start] + GOOD[end:]
