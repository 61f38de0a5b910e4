"""What an outline may have lost on its way out of a drawing: its inner line, or a digit of its wall."""

from __future__ import annotations

import numpy as np
import shapely

from roofmodel.profiles.data import Profile
from roofmodel.project.tested import sheet_text
from roofmodel.units import UnitSystem

# Largest circle in the metal, from where it is doubted: always; where it is out of scale with the walls or
# the section is a lump (judgment). [m]
STOUT, LUMP = 20e-3, 12e-3
SCALE = 3.0  # times the median wall, beyond which a circle is out of scale (judgment) [-]
COMPACT = (
    5.0  # of the area over the circle's square, below which a section is a lump, not of walls (judgment)
)
THIN = 0.5e-3  # of a wall, which no rail has (extrusions 1 mm, rolled sheet 0.6 mm; judgment) [m]


def outline_words(profile: Profile | None, units: UnitSystem) -> list[str]:
    """Lines on metal where a cell may be lost, and on very thin walls; none for a whole or undrawn one."""
    if profile is None:
        return []
    found, outline = [], profile.outline
    circle = 2.0 * float(shapely.length(shapely.maximum_inscribed_circle(outline)))
    if _stout(profile, circle):
        cells = len(outline.interiors)
        which = "no inner outline was read" if not cells else "an inner outline may be missing"
        found.append(
            f"CHECK THE OUTLINE: {'' if cells else 'solid, '}{which}, and a circle of "
            f"{units.text(circle, 'size')} has room in its metal. UNSAFE if the rail is hollow there: draw "
            "its inner line on the same layer."
        )
    thin = profile.walls.thickness
    if len(thin) and float(np.min(thin)) < THIN:
        found.append(
            f"CHECK THE OUTLINE: a wall of {sheet_text(float(np.min(thin)), units)} was read, thinner "
            "than rails have. Is its unit right, and is the inner line where it belongs?"
        )
    return found


def _stout(profile: Profile, circle: float) -> bool:
    """Whether so much metal lies in one place that a cell may have been lost."""
    if circle <= LUMP or circle > STOUT:
        return circle > STOUT
    thickness, outline = profile.walls.thickness, profile.outline
    lump = not len(outline.interiors) and float(outline.area) < COMPACT * circle**2
    return lump or not len(thickness) or circle > SCALE * float(np.median(thickness))
