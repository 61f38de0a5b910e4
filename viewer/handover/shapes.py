"""Shapes of plan.dxf: the clamp, and what stands on a plane."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from roofmodel.project.load import Project

Array = NDArray[np.float64]


def clamp_block(drawing: Any) -> None:
    """A clamp: a unit square with its diagonals, so that it prints in one color."""
    block = drawing.blocks.new(name="CLAMP")
    block.add_lwpolyline([(-0.5, -0.5), (0.5, -0.5), (0.5, 0.5), (-0.5, 0.5)], close=True)
    block.add_line((-0.5, -0.5), (0.5, 0.5))
    block.add_line((-0.5, 0.5), (0.5, -0.5))


def standing(project: Project, plane: int) -> list[tuple[str, Array]]:
    """Names and outlines (k, 2) of chimneys, skylights and such on a plane, unfolded with it. [m]."""
    known = project.roof.obstacles
    mine = np.flatnonzero((known.plane == plane) & ~known.parapet)
    return [
        (known.name[one], project.roof.planes.to_plane(plane, known.start[known.face == one]))
        for one in mine.tolist()
    ]


def glass(project: Project, plane: int) -> list[tuple[str, Array]]:
    """Names and outlines (4, 2) of the solar arrays on a plane, unfolded with it. [m]."""
    known = project.roof.arrays
    return [(known.name[one], known.corners[one]) for one in np.flatnonzero(known.plane == plane).tolist()]
