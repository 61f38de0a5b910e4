"""What the walls of higher roofs do with snow that slides against them, in words for a reader."""

from __future__ import annotations

from roofmodel.sliding.thrust import RowForce
from roofmodel.sliding.together import OVER
from roofmodel.sliding.walls import pushed_over
from roofmodel.surface import RoofSurface
from roofmodel.units import UnitSystem

NAMED = 4  # low walls named in a caution


def wall_words(roof: RoofSurface, force: RowForce, units: UnitSystem) -> list[str]:
    """Walls of higher roofs on which the snow of a slope leans, and low ones that it may push over."""
    steps = roof.steps
    most, line = force.wall_thrust.max(axis=0, initial=0.0), force.wall_line.max(axis=0, initial=0.0)
    over = units.text(OVER, "length")
    leaning = [
        f"{roof.edges.name[e]} {units.text(w, 'force')} (up to {units.text(p, 'line')} mean over {over})"
        for e, w, p in zip(force.wall_edge, most, line, strict=True)
        if p > 0.0
    ]
    found = []
    if leaning:
        found.append(
            "Snow slides against the walls of higher roofs, worst case before load factors: "
            f"{', '.join(leaning)}. These walls must hold this force down the slope; it is in no check."
        )
    low = [
        f"{roof.edges.name[steps.lower_edge[i]]} ({units.text(steps.wall[i].max(), 'length')} high, below "
        f"{roof.planes.name[steps.upper[i]]})"
        for i in pushed_over(roof).tolist()
    ]
    if low:
        found.append(
            f"Snow is taken to run down along low walls: {', '.join(low[:NAMED])}"
            f"{' and others' if len(low) > NAMED else ''}. What is deeper may push over them onto the "
            "roof above: nothing there, nor any row on it, is checked for that."
        )
    return found
