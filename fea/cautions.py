"""What a reader must know beside the numbers, in short sentences."""

from __future__ import annotations

import numpy as np

from fea.combinations import LoadFactors
from roofmodel.layout import Layout
from roofmodel.project.load import Project
from roofmodel.snow.cases import LoadLevel, SnowSet
from roofmodel.surface import EdgeKind, RoofSurface
from roofmodel.units import SYSTEMS

NEAR = 6.0  # a row that stops this many valley spreads short of a valley is pointed out


def cautions(project: Project, snow: SnowSet, factors: tuple[LoadFactors, ...]) -> tuple[str, ...]:
    """Sentences for the head of table and report.

    Parameters
    ----------
    project : Project
    snow : SnowSet
    factors : tuple of LoadFactors
        Strength factors of each case.

    Returns
    -------
    tuple of str
    """
    found: list[str] = []
    design = project.table.design
    if any(case.level is LoadLevel.MEASURED for case in snow.cases):
        factor = max(f.snow for f in factors)
        found.append(
            f"The snow was measured and counts {factor:g} times, without a load factor for design: "
            "this is an investigation of what lay there, not a design."
        )
    if design.snow_factor is not None:
        found.append(
            f"The user put {design.snow_factor:g} in place of the standard's factor on snow: "
            f"{design.snow_factor_reason}"
        )
    if project.slide.friction > 0.0:
        found.append(
            f"Friction of {project.slide.friction:g} is counted on: {project.table.surface.friction_reason}"
        )
    if not project.clamp.test_basis.strip():
        found.append("Nobody said which tests the clamp strengths come from (clamp.test_basis).")
    return (*found, *_short_of_valleys(project.roof, project.layout, project))


def _short_of_valleys(roof: RoofSurface, layout: Layout, project: Project) -> list[str]:
    """Rows that stop short of a valley and let its snow run past."""
    spread, units = project.slide.valley_spread, SYSTEMS[project.table.project.units]
    found = []
    for edge, kind in enumerate(roof.edges.kind):
        if kind is not EdgeKind.VALLEY:
            continue
        ends = np.stack([roof.edges.start[edge], roof.edges.end[edge]])
        top, foot = ends if ends[0, 2] >= ends[1, 2] else ends[::-1]
        way = foot - top
        for row in np.flatnonzero(np.isin(layout.row_plane, roof.edges.plane[edge])):
            tips = np.stack([layout.row_start[row], layout.row_end[row]])
            points = roof.planes.to_world(int(layout.row_plane[row]), tips)
            t = (points - top) @ way / (way @ way)
            gap = np.linalg.norm(points - top - t[:, None] * way, axis=1)
            nearest = int(np.argmin(gap))
            if spread < gap[nearest] <= NEAR * spread and 0.0 < t[nearest] < 1.0:
                found.append(
                    f"Row {layout.row_name[row]} ends {units.text(float(gap[nearest]), 'length')} short of "
                    f"{roof.edges.name[edge]}: in this check the valley's snow runs past it. Bring the row "
                    "to the valley, or hold that snow another way."
                )
    return found
