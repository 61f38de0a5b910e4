"""Demo projects as snow studies, and a two-level roof that can be turned."""

from __future__ import annotations

import math
from functools import cache
from pathlib import Path

import numpy as np

from roofmodel.project.load import load_project
from viewer.snow.study import SnowStudy, snow_study

MODELS = Path(__file__).parents[2] / "models"
DEMOS = sorted(path.parent.name for path in MODELS.glob("*/project.toml"))
TANNERY = (MODELS / "tannery-hall" / "project.toml").read_text()

ASCE = """standard = "ASCE/SEI 7-22"
ground_snow = "30 psf"
risk_category = "II"
terrain = "C"
exposure = "partially exposed"
thermal = "heated"
roof_r_value = 30
winter_wind = 0.4
"""
NBCC = """standard = "NBCC 2020"
ground_snow = "2.2 kN/m^2"
associated_rain = "0.3 kN/m^2"
importance = "normal"
"""
ASCE16 = """standard = "ASCE/SEI 7-16"
ground_snow = "30 psf"
risk_category = "II"
thermal = "unheated"
"""
ANNEX_B = """standard = "EN 1991-1-3"
ground_snow = "1.2 kN/m^2"
annex_b = true
"""
OBSTACLES = """[[parapet]]
edge = "S2 eave"
height = "0.9 m"

[[obstruction]]
name = "chimney"
plane = "N1"
across = "12 m"
up = "3 m"
width = "2.5 m"
depth = "1.5 m"
height = "1.4 m"

"""
VAULT = """[[roof.part]]
name = "hall"
shape = "vault"
footprint = "0 0, 24 0, 24 14, 0 14 m"
rise = "4 m"
facets = 14
eave_height = "6 m"

[[roof.part]]
name = "porch"
shape = "flat"
footprint = "4 -6, 20 -6, 20 0, 4 0 m"
eave_height = "3.2 m"

"""
DOME = """shape = "dome"
center = ["0 m", "0 m"]
radius = "9 m"
rise = "4.5 m"
facets = 16
eave_height = "5 m"
"""
CONE = """shape = "cone"
center = ["0 m", "0 m"]
radius = "5 m"
pitch = "38 deg"
eave_height = "5 m"
"""
SAW = """shape = "saw-tooth"
footprint = "0 0, 24 0, 24 18, 0 18 m"
pitch = "24 deg"
fall = "180 deg"
teeth = 3
eave_height = "5 m"
"""
ROW = """[[row]]
name = "a"
plane = "S1"
up = "0.3 m"

"""


@cache
def demo(name: str) -> SnowStudy:
    """Study of a demo."""
    return snow_study(load_project(MODELS / name / "project.toml"))


def study_of(text: str, folder: Path) -> SnowStudy:
    """Study of a project given as text."""
    path = folder / "project.toml"
    path.write_text(text)
    return snow_study(load_project(path))


def in_us_units(text: str = TANNERY) -> str:
    """The two-level hall, printed in US units."""
    return text.replace('units = "SI"', 'units = "US"')


def with_site(site: str) -> str:
    """The two-level hall with another table [site]."""
    begin, end = TANNERY.index('standard = "EN'), TANNERY.index("[[roof.part]]")
    return TANNERY[:begin] + site + "\n" + TANNERY[end:]


def under_asce(site: str = ASCE) -> str:
    """The two-level hall under ASCE/SEI 7, in US units."""
    text = in_us_units(with_site(site)).replace('format = "EN"', 'format = "ASD"')
    return text.replace('"characteristic"', '"nominal"').replace("factor = 1.33", "factor = 2.0")


def under_nbcc() -> str:
    """The two-level hall under NBCC 2020."""
    text = with_site(NBCC).replace('format = "EN"', 'format = "LRFD"')
    return text.replace('"characteristic"', '"nominal"').replace("factor = 1.33", "factor = 0.75")


def with_obstacles(text: str) -> str:
    """A parapet along the lower eave and a chimney on the hall."""
    return text.replace("[surface]", OBSTACLES + "[surface]")


def turned(degrees: float) -> str:
    """The two-level hall turned clockwise on plan, rows on the planes that fall as the lower roof."""
    name = {0.0: "S", 30.0: "SW", 137.0: "NW"}[degrees]
    rows = "".join(f'[[row]]\nname = "{n}"\nplane = "{name}{n}"\nup = "0.8 m"\n\n' for n in (1, 2))
    text = TANNERY[: TANNERY.index("[[row]]")] + rows + TANNERY[TANNERY.index("[design]") :]
    angle = math.radians(degrees)
    spin = np.array([[math.cos(angle), math.sin(angle)], [-math.sin(angle), math.cos(angle)]])
    for old in ("0 0, 24 0, 24 14, 0 14", "4 -6, 20 -6, 20 0, 4 0"):
        points = np.array([[float(n) for n in pair.split()] for pair in old.split(",")]) @ spin.T
        text = text.replace(f'"{old} m"', '"' + ", ".join(f"{x:.9f} {y:.9f}" for x, y in points) + ' m"')
    return text.replace('fall = "180 deg"', f'fall = "{180.0 + degrees} deg"')


def with_part(text: str, part: str) -> str:
    """Another roof part in place of the hall and its lower roof."""
    begin, end = text.index("[[roof.part]]"), text.index("[surface]")
    text = text[:begin] + f'[[roof.part]]\nname = "hall"\n{part}\n\n' + text[end:]
    return text[: text.index("[[row]]")] + ROW + text[text.index("[design]") :]


def with_vault(text: str) -> str:
    """A barrel vault and a flat porch in place of the hall and its lower roof."""
    begin, end = text.index("[[roof.part]]"), text.index("[surface]")
    text = text[:begin] + VAULT + text[end:]
    return text[: text.index("[[row]]")] + ROW + text[text.index("[design]") :]
