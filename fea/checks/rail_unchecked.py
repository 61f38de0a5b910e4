"""Ways for a rail to fail that are in no check, in words."""

from __future__ import annotations

import numpy as np

from fea.sections.plates import plate_factor, round_factor
from roofmodel.hardware import DesignFormat
from roofmodel.project.load import Project

SHEAR = 60.0  # width over thickness at 235 MPa above which shear may buckle (EN 1993-1-5 5.1, 72 at most)
FLAT = 1.5  # flat bars less slender than this do not buckle sideways (judgment)
FULL = 0.999  # share of yield that counts as all


def unchecked_words(project: Project) -> list[str]:
    """One sentence, or none."""
    rail = project.rail
    if rail.profile is None:
        ways = _plain(project)
        return [f"In no check of the rail: {' and '.join(ways)}; give it as rail.profile."] if ways else []
    ways, walls = [], rail.profile.walls
    slender = (walls.width / walls.thickness).max(initial=0.0)
    if slender > SHEAR * np.sqrt(235e6 / rail.material.yield_strength * rail.material.E / 210e9):
        ways.append("buckling of its walls by shear")
    if np.isnan(rail.bearing_length) and np.isnan(rail.bearing_strength):
        ways.append("crushing of its walls on the clamps (rail.bearing_length or bearing_strength)")
    return [f"In no check of the rail: {' and '.join(ways)}."] if ways else []


def _plain(project: Project) -> list[str]:
    """What a rail given by sizes or values may do before it yields."""
    rail, table = project.rail, project.table.rail
    form = DesignFormat(project.table.design.format)
    if table.shape == "values":
        return ["local buckling", "lateral-torsional buckling"] if rail.section.I_w > 0.0 else []
    if table.shape == "flat bar":
        sides = sorted((float(table.width or 0.0), float(table.depth or 0.0)))
        return ["lateral-torsional buckling"] if sides[1] > FLAT * sides[0] else []
    wall = float(table.wall or 1.0)
    if table.shape == "round tube":
        share = round_factor(float(table.diameter or 0.0) / wall, rail.material, form)
    elif table.shape == "rectangular tube":
        ratio = np.array([max(float(table.width or 0.0), float(table.depth or 0.0)) / wall - 2.0])
        en = form is DesignFormat.EN
        share = float(plate_factor(ratio, np.ones(1), np.zeros(1, dtype=bool), rail.material, en)[0])
    else:
        return []
    return [] if share > FULL else ["local buckling of its thin walls"]
