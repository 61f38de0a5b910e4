"""Steps across a ledge: a strip of roof, canopy or gutter between a wall and a lower roof hides neither.

Snow that blows off a high roof flies past a strip that is too narrow to hold its drift and lands on the roof
below, as it does across a gap of the same width.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import Polygon

from roofmodel.shape.planes import height_at
from roofmodel.shape.regions import components
from roofmodel.shape.steps import (
    FACING,
    MIN_OVERLAP,
    PROBE,
    Scene,
    StepRow,
    positive_stretch,
    uncovered,
    upper_height,
)
from roofmodel.surface import Array, IntArray

ACROSS = 15.0  # no drift of any standard is longer (EN 1991-1-3, 5.3.6) [m]
IN_TURN = 4  # so many ledges may follow one another, as on stairs


def steps_over_ledges(scene: Scene, rows: Sequence[StepRow], tolerance: float) -> list[StepRow]:
    """Steps from a roof down to another across roofs between them, from one to the next of which steps lead.

    Parameters
    ----------
    scene : Scene
    rows : sequence of StepRow
        Steps at walls and across open gaps.
    tolerance : float
        Least height of a wall. [m]

    Returns
    -------
    list of StepRow
        Where no step of `rows` joins the same two roofs. Their gap is the least width of what lies between,
        up to `ACROSS`; none leads across a roof that comes up to the upper edge.
    """
    if len(rows) < 2:
        return []
    taken: dict[tuple[int, int], list[tuple[float, float]]] = {}
    for row in rows:
        taken.setdefault((row.upper, row.lower), []).append(_stretch(scene, row.upper, row.start, row.end))
    level = components(scene.planes.count, scene.pieces.plane[scene.pieces.plane[:, 1] >= 0])[1]
    beyond = [_at_edge(scene, row) for row in rows]
    found: list[StepRow] = []
    latest: Sequence[StepRow] = rows
    for _ in range(IN_TURN):
        more: list[StepRow] = []
        for near, far, shared in _pairs(scene, latest, beyond, level):
            known = taken.setdefault((near.upper, far.lower), [])
            for low, high in uncovered(*shared, known):
                made = _joined(scene, near, far, (low, high), level, tolerance)
                if made is not None:
                    more.append(made)
                    known.append((low, high))
        if not more:
            break
        found += more
        latest = more
    return found


def _at_edge(scene: Scene, row: StepRow) -> StepRow:
    """A step whose upper edge overhangs its wall, taken below that edge: nothing blown lands behind it."""
    if row.overhang <= 2.0 * PROBE:
        return row
    at = (np.stack([row.start, row.end])[:, :2] - scene.start[row.upper]) @ scene.along[row.upper]
    xy = scene.start[row.upper] + at[:, None] * scene.along[row.upper]
    ends = np.column_stack([xy, height_at(scene.planes, row.lower, xy)])
    return replace(row, foot=-1, foot_at=(0.0, 0.0), start=ends[0], end=ends[1])


def _pairs(
    scene: Scene, first: Sequence[StepRow], rows: Sequence[StepRow], level: IntArray
) -> list[tuple[StepRow, StepRow, tuple[float, float]]]:
    """A step, one that faces the same way and goes on from the roof at its end, and what they share.

    That is a stretch of the first one's upper piece; the nearest come first.
    """
    if not first:
        return []
    piece = np.array([row.upper for row in first])
    ends = np.array([_stretch(scene, row.upper, row.start, row.end) for row in first])
    on_edge = scene.start[piece, None] + ends[:, :, None] * scene.along[piece, None]
    feet = np.array([[row.start[:2], row.end[:2]] for row in rows])
    lines = np.asarray(shapely.linestrings(feet))
    one, other = shapely.STRtree(lines).query(
        np.asarray(shapely.linestrings(on_edge)), predicate="dwithin", distance=ACROSS
    )
    owner = scene.pieces.plane[:, 0]
    lower = np.array([row.lower for row in first])
    above, below = owner[[row.upper for row in rows]], np.array([row.lower for row in rows])
    way = feet[:, 1] - feet[:, 0]
    out = np.stack([-way[:, 1], way[:, 0]], axis=1) / np.linalg.norm(way, axis=1)[:, None]
    keep = (level[lower[one]] == level[above[other]]) & (below[other] != owner[piece[one]])
    keep &= (below[other] != lower[one]) & (np.sum(out[other] * scene.outward[piece[one]], axis=1) > FACING)
    one, other = one[keep], other[keep]
    at = np.einsum("nkx,nx->nk", feet[other] - scene.start[piece[one], None], scene.along[piece[one]])
    low = np.maximum(np.maximum(at.min(axis=1), 0.0), ends[one, 0])
    high = np.minimum(np.minimum(at.max(axis=1), scene.length[piece[one]]), ends[one, 1])
    share = high - low >= MIN_OVERLAP
    one, other, low, high = one[share], other[share], low[share], high[share]
    far = np.sum((feet[other].mean(axis=1) - scene.start[piece[one]]) * scene.outward[piece[one]], axis=1)
    order = np.lexsort([far, one])
    return [
        (first[i], rows[j], (a, b))
        for i, j, a, b in zip(*(some[order].tolist() for some in (one, other, low, high)), strict=True)
    ]


def _stretch(scene: Scene, piece: int, start: Array, end: Array) -> tuple[float, float]:
    """Plan distances along a piece of two points. [m]."""
    t = (np.stack([start, end])[:, :2] - scene.start[piece]) @ scene.along[piece]
    return max(float(t.min()), 0.0), min(float(t.max()), float(scene.length[piece]))


def _joined(
    scene: Scene,
    near: StepRow,
    far: StepRow,
    stretch: tuple[float, float],
    level: IntArray,
    tolerance: float,
) -> StepRow | None:
    """The step from the upper edge of `near` to the foot of `far`; None where the gap does not let it be."""
    piece = near.upper
    origin, along, outward = scene.start[piece], scene.along[piece], scene.outward[piece]
    whole = (np.stack([far.end, far.start])[:, :2] - origin) @ along  # from low to high along the piece
    shares = (np.array(stretch) - whole[0]) / (whole[1] - whole[0])
    foot = far.end + shares[:, None] * (far.start - far.end)
    walls = [upper_height(scene, piece, at) - float(z) for at, z in zip(stretch, foot[:, 2], strict=True)]
    low, high = positive_stretch(*stretch, walls[0], walls[1], tolerance)
    if high - low < MIN_OVERLAP:
        return None
    walls = np.interp([low, high], stretch, walls).tolist()
    shares = np.interp([low, high], stretch, shares)
    foot = far.end + shares[:, None] * (far.start - far.end)
    reach = (foot[:, :2] - origin) @ outward
    if not 2.0 * PROBE < reach.min() <= reach.max() <= ACROSS:
        return None
    edge = origin + np.array([[low], [high]]) * along
    if _rises(scene, Polygon([*edge, *foot[::-1, :2]]), piece, level == level[near.lower], tolerance):
        return None
    ends = far.foot_at[1] + shares * (far.foot_at[0] - far.foot_at[1])
    return replace(
        far,
        upper=piece,
        upper_at=0.5 * (low + high) / float(scene.length[piece]),
        foot_at=(float(ends[1]), float(ends[0])),
        start=foot[1],
        end=foot[0],
        wall=(max(walls[1], 0.0), max(walls[0], 0.0)),
        gap=float(reach.min()),
        overhang=0.0,
        between=near.lower if near.between < 0 else near.between,
    )


def _rises(scene: Scene, gap: Polygon, piece: int, own: NDArray[np.bool_], tolerance: float) -> bool:
    """Whether a plane of the roof between comes up to the upper edge somewhere in the gap."""
    for plane in np.flatnonzero(own & shapely.intersects(scene.polygons, gap)).tolist():
        xy = shapely.get_coordinates(shapely.intersection(scene.polygons[plane], gap))
        at = np.clip((xy - scene.start[piece]) @ scene.along[piece], 0.0, scene.length[piece])
        over = height_at(scene.planes, plane, xy) - [upper_height(scene, piece, float(t)) for t in at]
        if over.max(initial=-np.inf) > -tolerance:
            return True
    return False
