"""What retention does to the building: snow that stays on each plane, and the drag handed to it.

Rows hold snow that a slippery roof would shed, so the structure below carries more of it, and the panels'
fixed points hand its pull along the slope to the structure. Both are given without load factors, for the
engineer of the building.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from roofmodel.project.load import Project
from roofmodel.sliding.thrust import RowForce
from roofmodel.snow.cases import SnowSet, case_forces
from roofmodel.snow.inputs import DirectSite
from roofmodel.snow.regions import plan_polygon
from roofmodel.snow.registry import bare_snow

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]


@dataclass(frozen=True)
class BuildingLoads:
    """Loads on the planes (p,), at the level of the standard's own numbers.

    Attributes
    ----------
    held : (p,) float
        Largest weight of snow on the plane over all cases, with the rows. [N]
    case : (p,) int
        Case of it.
    free : (p,) float or None
        Largest weight if there were no rows; None where snow was measured. [N]
    area : (p,) float
        On plan. [m^2]
    drag : (p,) float
        Largest force down the slope of all rows of the plane, in one case: it ends at the fixed points of
        the panels. [N]
    drag_case : (p,) int
    rows : (p,) float
        Length of the rows on the plane. [m]
    """

    held: Array
    case: IntArray
    free: Array | None
    area: Array
    drag: Array
    drag_case: IntArray
    rows: Array


def building_loads(
    project: Project, snow: SnowSet, force: RowForce, bare: SnowSet | None = None
) -> BuildingLoads:
    """Loads with the rows against loads without them.

    Parameters
    ----------
    project : Project
    snow : SnowSet
        With the rows of the project.
    force : RowForce
    bare : SnowSet, optional
        Without the rows; found from the site by default.
    """
    roof, layout = project.roof, project.layout
    count = roof.planes.count
    polygons = np.array([plan_polygon(roof, i) for i in range(count)], dtype=object)
    plane = np.arange(count)
    weight = case_forces(snow.cases, polygons, plane)
    free = None
    if not isinstance(project.site, DirectSite):
        without = bare or bare_snow(roof, project.site)
        free = case_forces(without.cases, polygons, plane).max(axis=0)
    drag = plane_drag(project, force)
    rows = np.bincount(layout.row_plane, layout.row_length, count).astype(np.float64)
    return BuildingLoads(
        held=weight.max(axis=0),
        case=weight.argmax(axis=0),
        free=free,
        area=roof.planes.plan_area,
        drag=drag.max(axis=0),
        drag_case=drag.argmax(axis=0),
        rows=rows,
    )


def plane_drag(project: Project, force: RowForce) -> Array:
    """Force down the slope of all rows of each plane in each case, (q, p). [N]."""
    drag = np.zeros((len(force.thrust), project.roof.planes.count))
    np.add.at(drag.T, project.layout.row_plane[force.row], -force.thrust[..., 1].T)
    return drag
