"""What an outline may have lost on its way out of a drawing: its inner line, or a digit of its wall."""

from __future__ import annotations

import numpy as np
import shapely

from roofmodel.profiles.data import Profile
from roofmodel.project.tested import sheet_text
from roofmodel.units import UnitSystem

STOUT = 20e-3  # of the largest circle in an outline, from where few rails are solid (judgment) [m]
THIN = 0.5e-3  # of a wall, which no rail has (extrusions 1 mm, rolled sheet 0.6 mm; judgment) [m]


def outline_words(profile: Profile | None, units: UnitSystem) -> list[str]:
    """Lines on a solid rail and on very thin walls; none for one that looks whole, or has no drawing."""
    if profile is None:
        return []
    found, outline = [], profile.outline
    if not len(outline.interiors):
        circle = 2.0 * float(shapely.length(shapely.maximum_inscribed_circle(outline)))
        if circle > STOUT:
            found.append(
                "CHECK THE OUTLINE: solid, no inner outline was read, and a circle of "
                f"{units.text(circle, 'size')} has room in its metal. UNSAFE if the rail is hollow: draw its "
                "inner line on the same layer."
            )
    thin = profile.walls.thickness
    if len(thin) and float(np.min(thin)) < THIN:
        found.append(
            f"CHECK THE OUTLINE: a wall of {sheet_text(float(np.min(thin)), units)} was read, thinner "
            "than rails have. Is its unit right, and is the inner line where it belongs?"
        )
    return found
