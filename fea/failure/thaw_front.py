"""What each clamp gets as a thaw front moves over its plane, strip after strip.

The snow of the case is cut into strips of equal width across the front's way on every plane; each strip
slides and is taken by the rails as the whole would be. Snow that has thawed leans on the rows below through
snow that has not, as if its bond took nothing of it: the safe reading (`fea.blanket` shares it).
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import shapely
from numpy.typing import NDArray

from fea.analysis import Analysis
from fea.failure.roof_case import Chosen, unit_forces
from roofmodel.snow.cases import SnowCase
from roofmodel.surface import RoofSurface

Array = NDArray[np.float64]

FAR = 1e4  # half width of a strip [m]
TINY = 1e-9  # of the largest force, that is none


def front_shares(analysis: Analysis, chosen: Chosen, start: str, steps: int) -> Array:
    """Share of the force of each clamp, then each part of a splice, that comes from each strip.

    Parameters
    ----------
    analysis : Analysis
    chosen : Chosen
    start : str
        Where the front begins: "eave", "ridge", "left" or "right", looking up the slope.
    steps : int
        Number of strips.

    Returns
    -------
    (steps, c + k) float
        Sums to 1 over the strips.
    """
    roof, case = analysis.project.roof, analysis.snow.cases[chosen.case]
    grid = np.array([analysis.project.slide.friction])
    strips = [_strip(roof, case, start, k, steps) for k in range(steps)]
    if steps % 2:
        strips.append(replace(case, zones=()))
    forces = [
        unit_forces(analysis, (one, two), grid, chosen.reading, chosen.roof.roof.splices)[1][0]
        for one, two in zip(strips[::2], strips[1::2], strict=True)
    ]
    found = np.concatenate(forces)[:steps]
    total = found.sum(axis=0)
    some = np.abs(total) > TINY * np.abs(total).max(initial=0.0)
    return np.asarray(np.divide(found, total, out=np.full_like(found, 1.0 / steps), where=some))


def _strip(roof: RoofSurface, case: SnowCase, start: str, number: int, steps: int) -> SnowCase:
    """The case with the snow of one strip of every plane alone."""
    zones = []
    for zone in case.zones:  # of one case
        across = _across(roof, zone.plane, start)
        ring = np.asarray(roof.planes.outline[zone.plane].exterior.coords)
        along = roof.planes.to_world(zone.plane, ring)[:, :2] @ across
        low, high = float(along.min()), float(along.max())
        ends = low + (high - low) * np.array([number, number + 1]) / steps
        side = np.array([-across[1], across[0]])
        corners = [
            e * across + f * side for e, f in zip(ends[[0, 1, 1, 0]], (-FAR, -FAR, FAR, FAR), strict=True)
        ]
        cut = shapely.intersection(zone.polygon, shapely.Polygon(corners))
        pieces = [one for one in shapely.get_parts(cut) if one.geom_type == "Polygon" and one.area > 0.0]
        if pieces:
            polygon = pieces[0] if len(pieces) == 1 else shapely.MultiPolygon(pieces)
            zones.append(replace(zone, polygon=polygon))
    return replace(case, zones=tuple(zones))


def _across(roof: RoofSurface, plane: int, start: str) -> Array:
    """Unit vector on plan in which the front moves over a plane, (2,)."""
    up = np.asarray(roof.planes.upslope[plane][:2], dtype=float)
    up = up / np.linalg.norm(up)
    right = np.array([up[1], -up[0]])
    return {"eave": up, "ridge": -up, "left": right, "right": -right}[start]
