"""Small roofs under a layer of snow."""

from __future__ import annotations

from pathlib import Path

from roofmodel.project.load import Project, load_project

SHED = """
[project]
name = "Test shed"
[site]
standard = "EN 1991-1-3"
ground_snow = "1.5 kN/m^2"
[[roof.part]]
name = "shed"
shape = "shed"
footprint = "0 0, 8 0, 8 5, 0 5 m"
pitch = "25 deg"
fall = "{fall}"
eave_height = "3 m"
[surface]
slippery = true
{friction}
[panel]
metal = "steel"
seam_spacing = "400 mm"
seam_height = "50 mm"
thickness = "0.63 mm"
[rail]
shape = "round tube"
diameter = "42 mm"
wall = "3 mm"
material = "steel"
yield_strength = "235 MPa"
[clamp]
height = "35 mm"
grip_length = "60 mm"
strength_kind = "design"
stiffness = {{ along = "2.5 kN/mm", across = "1 kN/mm", pull = "4 kN/mm", rocking = "1200 N*m/rad" }}
strength = {{ along = "6 kN", across = "3 kN", pull = "4 kN", push = "6 kN" }}
{held}
[blanket]
mesh = "0.25 m"
{blanket}
[design]
format = "EN"
"""

LOW = '[[row]]\nname = "low"\nplane = "{plane}"\nup = "0.5 m"\n'
HIGH = '[[row]]\nname = "high"\nplane = "{plane}"\nup = "3 m"\n'
DOOR = LOW + 'start = "3 m"\nend = "5 m"\n'
STOPS = '[[stops]]\nname = "A"\nplane = "{plane}"\nup = "0.5 m"\nwidth = "120 mm"\n'


def shed(
    folder: Path, held: str = LOW, blanket: str = "", friction: float = 0.0, fall: str = "180 deg"
) -> Project:
    plane = {"180 deg": "S1", "90 deg": "E1", "0 deg": "N1"}[fall]
    words = f'friction = {friction}\nfriction_reason = "test"' if friction else ""
    path = folder / "project.toml"
    text = SHED.format(held=held.format(plane=plane), blanket=blanket, friction=words, fall=fall)
    path.write_text(text)
    return load_project(path, rows_needed=False)
