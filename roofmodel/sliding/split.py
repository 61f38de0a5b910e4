"""Snow of cells that lies in a part of a plane: cells that straddle its bound are split exactly."""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from roofmodel.shape.envelopes import areal
from roofmodel.sliding.cells import Cells
from roofmodel.snow.cases import SnowCase, case_forces
from roofmodel.surface import RoofSurface

Array = NDArray[np.float64]

SLIVER = 1e-12  # less of a cell than this is none, and all but this is all [-]


def snow_within(
    roof: RoofSurface,
    cells: Cells,
    cases: Sequence[SnowCase],
    whole: Array,
    regions: dict[int, BaseGeometry],
) -> Array:
    """Vertical snow force of the part of each cell that lies in its plane's region.

    Parameters
    ----------
    roof : RoofSurface
    cells : Cells
    cases : sequence of SnowCase, (q,)
    whole : (q, n) float
        Vertical snow force of whole cells. [N]
    regions : dict of int to shapely geometry
        By plane, in its (u, v); planes without one have none. [m]

    Returns
    -------
    (q, n) float
        [N] Exact where pressures are linear, as those of snow zones are.
    """
    found = np.zeros_like(whole)
    for plane, region in regions.items():
        own = np.flatnonzero(cells.plane == plane)
        cut = np.asarray(shapely.intersection(shapely.polygons(cells.corners[own]), region), dtype=object)
        share = shapely.area(cut) / cells.true_area[own]
        full, split = share >= 1.0 - SLIVER, (share > SLIVER) & (share < 1.0 - SLIVER)
        found[:, own[full]] = whole[:, own[full]]
        parts, at = shapely.get_parts([areal(piece) for piece in cut[split]], return_index=True)
        if not len(parts):
            continue
        plan = shapely.transform(parts, partial(_on_plan, roof, plane))
        force = case_forces(cases, np.asarray(plan), np.full(len(parts), plane))
        np.add.at(found.T, own[split][at], force.T)
    return found


def _on_plan(roof: RoofSurface, plane: int, uv: Array) -> Array:
    return np.asarray(roof.planes.to_world(plane, uv)[:, :2])
