"""Planes whose snow cannot slide off, since boxes and solar arrays stand in its way."""

from __future__ import annotations

import numpy as np
import shapely

from roofmodel.surface import FLAT_SLOPE, RoofSurface
from roofmodel.upper_faces import upper_faces

SMALL = 1.0  # judgment: a single box or array that is wider holds the snow of its plane [m]
SMALL_SHARE = 0.1  # judgment: boxes and arrays that take more of their plane's width hold its snow [-]
MANY = 4  # reasons name fewer than so many


def planes_with_boxes(roof: RoofSurface) -> dict[int, str]:
    """Sloping planes where boxes or arrays hold snow, and why.

    Every box counts, on legs or not, and every array that snow may lean on; arrays that let all of it go do
    not. All are small, and hold nothing, where none is wider than `SMALL` and their widths, each over the
    plane's width at its upper edge, add to no more than `SMALL_SHARE` (judgment; EN 1991-1-3 5.3.2(2),
    ASCE/SEI 7 7.4 and NBCC 2020 4.1.6.2 give no size).
    """
    faces = upper_faces(roof)
    if not faces.count:
        return {}
    width = np.ptp(faces.ends[:, :, 0], axis=1)
    outline = np.array(roof.planes.outline)[faces.plane]
    low, _, high, _ = shapely.bounds(outline).T
    height = faces.ends[:, :, 1].mean(axis=1)
    level = shapely.linestrings(np.stack([np.stack([x, height], 1) for x in (low - 1.0, high + 1.0)], 1))
    share = width / np.maximum(shapely.length(shapely.intersection(outline, level)), width)
    found = {}
    for plane in np.unique(faces.plane[roof.planes.slope[faces.plane] >= FLAT_SLOPE]).tolist():
        on = np.flatnonzero(faces.plane == plane)
        if width[on].max() <= SMALL and share[on].sum() <= SMALL_SHARE:
            continue
        names = [
            roof.arrays.name[faces.array[k]]
            if faces.array[k] >= 0
            else roof.obstacles.name[faces.obstacle[k]]
            for k in on
        ]
        who = " and ".join(names) if len(names) < MANY else f"{len(names)} obstructions and arrays"
        found[plane] = (
            f"{who} {'stands' if len(names) == 1 else 'stand'} in the way of its snow, widest"
            f" {100.0 * share[on].max():.0f} percent of the plane"
            f" (judgment: small up to 1 m each and {100.0 * SMALL_SHARE:.0f} percent in total)"
        )
    return found
