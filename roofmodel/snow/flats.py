"""Nearly flat planes hand on the snow that steeper ones push onto them, whichever way they fall."""

from __future__ import annotations

import numpy as np

from roofmodel.surface import SHALLOW, EdgeKind, RoofSurface


def flat_joints(roof: RoofSurface) -> list[tuple[int, int]]:
    """Pairs (from, onto): nearly flat planes, and what snow can be pushed onto across them."""
    slope, pair = roof.planes.slope, roof.edges.plane
    ridge = np.array([kind is EdgeKind.RIDGE for kind in roof.edges.kind], dtype=bool)
    flat_pair = slope[pair].max(axis=1) < SHALLOW  # the two sides of a low gable hand nothing on
    joint = (pair >= 0).all(axis=1) & (slope[pair].min(axis=1) < SHALLOW) & ~(ridge & flat_pair)
    along = (roof.edges.end - roof.edges.start)[joint]
    inwards = np.stack([-along[:, 1], along[:, 0]], axis=1)  # into the first plane
    found = []
    for (first, second), inward in zip(pair[joint].tolist(), inwards, strict=True):
        for flat, other, out in ((first, second, -inward), (second, first, inward)):
            down = -roof.planes.upslope[other, :2] @ out > 0.0
            if slope[flat] < SHALLOW and (slope[other] < SHALLOW or down):
                found.append((flat, other))
    return found
