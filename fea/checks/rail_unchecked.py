"""Ways for a rail to fail that are in no check, in words."""

from __future__ import annotations

import numpy as np

from fea.sections.lost_walls import lost_words
from roofmodel.profiles.data import Profile
from roofmodel.profiles.plain import walls_profile
from roofmodel.project.load import Project
from roofmodel.units import SYSTEMS

SHEAR = 60.0  # width over thickness at 235 MPa above which shear may buckle (EN 1993-1-5 5.1, 72 at most)
THIN, ROUND = 20.0, 30.0  # width, and diameter, over wall from which plain tubes may be crushed (judgment)


def unchecked_words(project: Project) -> list[str]:
    """One sentence on what is in no check, one on walls that were not recognized; or none."""
    rail = project.rail
    profile = walls_profile(rail.section, rail.profile)
    tested = not np.isnan(rail.moment).any()
    units = SYSTEMS[project.table.project.units]
    lost = [] if profile is None or profile.section.round else lost_words(profile, units, tested)
    return [*_ways(project, profile), *lost]


def _ways(project: Project, profile: Profile | None) -> list[str]:
    rail = project.rail
    if profile is None:
        ways = ["local buckling", "lateral-torsional buckling"] if rail.section.I_w > 0.0 else []
        return [f"In no check of the rail: {' and '.join(ways)}; give it as rail.profile."] if ways else []
    ways, walls = [], profile.walls
    slender = (
        (walls.width / walls.thickness).max(initial=0.0)
        if profile.closed or rail.profile is not None
        else 0.0
    )
    if slender > SHEAR * np.sqrt(235e6 / rail.material.yield_strength * rail.material.E / 210e9):
        ways.append("buckling of its walls by shear")
    told = "rail.bearing_length or bearing_strength"
    thin = rail.profile is not None or slender > THIN
    if rail.section.kind == "round tube":
        told, thin = "rail.bearing_strength", rail.section.depth_y > ROUND * rail.section.wall
    if thin and np.isnan(rail.bearing_length) and np.isnan(rail.bearing_strength):
        ways.append(f"crushing of its walls on the clamps ({told})")
    return [f"In no check of the rail: {' and '.join(ways)}."] if ways else []
