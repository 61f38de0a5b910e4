"""Nearly flat planes, and low ones that fall back, hand on the snow that steeper ones push onto them."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from roofmodel.surface import RISE, SHALLOW, STEEP, EdgeKind, RoofSurface

AGAINST = 0.1  # cosine: planes that fall so squarely toward an edge, or from it, count (judgment)


def flat_joints(roof: RoofSurface) -> list[tuple[int, int]]:
    """Pairs (from, onto): nearly flat planes, and what snow can be pushed onto across them.

    And slopes above a lower one that falls back, with that and what falls from its far side.
    """
    slope, pair = roof.planes.slope, roof.edges.plane
    ridge = np.array([kind is EdgeKind.RIDGE for kind in roof.edges.kind], dtype=bool)
    flat_pair = slope[pair].max(axis=1) < SHALLOW  # the two sides of a low gable hand nothing on
    joint = np.asarray((pair >= 0).all(axis=1))
    flat = joint & (slope[pair].min(axis=1) < SHALLOW) & ~(ridge & flat_pair)
    found = []
    for (first, second), out in zip(pair[flat].tolist(), _outward(roof, flat), strict=True):
        for level, other, way in ((first, second, out), (second, first, -out)):
            down = -roof.planes.upslope[other, :2] @ way > 0.0
            if slope[level] < SHALLOW and (slope[other] < SHALLOW or down):
                found.append((level, other))
    return found + _over_low_parts(roof, joint)


def _over_low_parts(roof: RoofSurface, joint: NDArray[np.bool_]) -> list[tuple[int, int]]:
    """Slopes whose blanket may go on over flat roof and what falls back, with all that it comes to."""
    planes, pair = roof.planes, roof.edges.plane[joint]
    fall = -planes.upslope[:, :2]
    fall = fall / np.maximum(np.linalg.norm(fall, axis=1, keepdims=True), 1e-12)
    out = _outward(roof, joint)
    out = out / np.maximum(np.linalg.norm(out, axis=1, keepdims=True), 1e-12)
    away = np.stack([np.sum(fall[pair[:, 0]] * out, axis=1), -np.sum(fall[pair[:, 1]] * out, axis=1)], axis=1)
    rings = [planes.to_world(p, np.asarray(o.exterior.coords))[:, 2] for p, o in enumerate(planes.outline)]
    high, low = np.array([(z.max(), z.min()) for z in rings]).T
    flat = planes.slope < SHALLOW
    little = (planes.slope < STEEP) | (high - low < RISE)
    first: list[tuple[int, int]] = []
    onward: dict[int, list[tuple[int, bool]]] = {}  # what each plane hands on to, and whether that is crossed
    for (a, b), (toward, back) in zip(pair.tolist(), away.tolist(), strict=True):
        for from_, onto, falls, rises in ((a, b, toward, back), (b, a, back, toward)):
            crossed = bool(flat[onto] or (rises > AGAINST and little[onto]))
            if falls > AGAINST and crossed and not flat[from_]:
                first.append((from_, onto))
            if (flat[from_] or -falls > AGAINST) and (crossed or -rises > AGAINST):
                onward.setdefault(from_, []).append((onto, crossed))
    found = []
    for upper, onto in first:
        waiting: list[tuple[int, bool]] = [(onto, True)]
        seen: set[tuple[int, bool]] = set()
        while waiting:
            plane, crossed = waiting.pop()
            if (plane, crossed) not in seen and high[plane] < high[upper]:
                seen.add((plane, crossed))
                waiting += onward.get(plane, ()) if crossed else ()
        found += [(upper, plane) for plane in sorted({plane for plane, _ in seen})]
    return found


def _outward(roof: RoofSurface, edge: NDArray[np.bool_]) -> NDArray[np.float64]:
    """Vectors on plan from the first plane of edges to the second."""
    along = (roof.edges.end - roof.edges.start)[edge]
    return np.stack([along[:, 1], -along[:, 0]], axis=1)
