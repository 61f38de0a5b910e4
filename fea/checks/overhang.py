"""What snow and rows bring to the overhang of an eave: shear and moment where it is carried."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fea.checks.purlins import plane_cells
from roofmodel.framing import Framing
from roofmodel.snow.cases import SnowCase, case_forces
from roofmodel.surface import RoofSurface

Array = NDArray[np.float64]


@dataclass(frozen=True)
class OverhangLoads:
    """Per length of eave, at the line that carries the overhang, before load factors.

    Attributes
    ----------
    cases : tuple of str, (q,)
    shear : (q, p) float
        Vertical force of the snow on the overhang; NaN where a plane has none. [N/m]
    moment : (q, p) float
        Hogging, by the level distance from that line. [N]
    """

    cases: tuple[str, ...]
    shear: Array
    moment: Array

    def some(self, which: slice) -> OverhangLoads:
        """Only some of the cases."""
        return OverhangLoads(self.cases[which], self.shear[which], self.moment[which])


def overhang_loads(
    roof: RoofSurface, framing: Framing, cases: tuple[SnowCase, ...], marks: Array
) -> OverhangLoads:
    """Shear and moment of every plane's overhang in every case, the largest along its eave.

    Parameters
    ----------
    roof : RoofSurface
    framing : Framing
    cases : tuple of SnowCase, (q,)
    marks : (p,) float
        As in `line_loads`.
    """
    count = roof.planes.count
    shear, moment = np.full((len(cases), count), np.nan), np.full((len(cases), count), np.nan)
    for plane in np.flatnonzero(np.nan_to_num(framing.overhang) > 0.0).tolist():
        reach = float(framing.overhang[plane])
        cells = plane_cells(roof, framing, plane, marks[plane : plane + 1], reach)
        force = case_forces(cases, cells.polygon, np.full(len(cells.polygon), plane))
        arm = (reach - cells.place) * np.cos(roof.planes.slope[plane])
        columns = np.zeros((len(cells.column), len(cells.edges) - 1))
        columns[np.arange(len(cells.column)), cells.column] = 1.0
        width = np.diff(cells.edges)
        shear[:, plane] = (force @ columns / width).max(axis=1)
        moment[:, plane] = ((force * arm) @ columns / width).max(axis=1)
    return OverhangLoads(tuple(case.name for case in cases), shear, moment)
