"""Steps: where a lower roof lies at the foot of a wall, or near one, below a higher roof edge."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import Polygon

from roofmodel.shape.edges import Pieces
from roofmodel.shape.planes import height_at
from roofmodel.surface import Array, IntArray, Planes

SEPARATION = (
    6.096  # 20 ft: farther roofs do not drift onto each other (ASCE/SEI 7-22, 7.7.2; from memory) [m]
)
OVERHANG = 1.5  # an upper edge may stand this far in front of the wall below it [m]
PROBE = 0.005  # how far outside an upper edge the roof below is looked for [m]
MIN_LENGTH = 0.05  # shorter steps are left out [m]
MIN_OVERLAP = 0.3  # shorter facing stretches of separated roofs are left out [m]
FACING = np.cos(np.radians(30.0))  # separated edges must face each other within this angle
PARALLEL = np.cos(np.radians(15.0))  # a wall's foot runs along the edge above it within this angle
BLOCKED = 0.5  # share of the gap covered by other roofs from which a separated step no longer counts


@dataclass(frozen=True)
class StepRow:
    """One step before the edges are cut.

    Attributes
    ----------
    upper, foot : int
        Pieces; foot -1 where the lower plane runs on.
    lower : int
        Lower plane.
    upper_at : float
        Middle of the step along the upper piece, as a share of its length.
    foot_at : (float, float)
        Ends along the foot piece, as shares of its length.
    start, end : (3,) float
        On the lower plane, which lies to the left. [m]
    wall : (float, float)
        [m]
    gap, overhang : float
        [m]
    between : int
        Plane below the upper edge where other roofs lie in the gap, -1 where none do.
    """

    upper: int
    foot: int
    lower: int
    upper_at: float
    foot_at: tuple[float, float]
    start: Array
    end: Array
    wall: tuple[float, float]
    gap: float
    overhang: float = 0.0
    between: int = -1


@dataclass(frozen=True)
class Scene:
    """Free pieces on plan: ends, direction (left side is the plane), length."""

    planes: Planes
    pieces: Pieces
    free: IntArray
    start: Array
    along: Array
    outward: Array
    length: Array
    polygons: NDArray[np.object_]


def make_scene(planes: Planes, pieces: Pieces, polygons: Sequence[Polygon]) -> Scene:
    """Plan view of the free pieces."""
    step = (pieces.end - pieces.start)[:, :2]
    length = np.linalg.norm(step, axis=1)
    along = step / np.maximum(length, 1e-300)[:, None]
    free = np.flatnonzero((pieces.plane[:, 1] < 0) & (length > MIN_LENGTH))
    outward = np.stack([along[:, 1], -along[:, 0]], axis=1)
    return Scene(planes, pieces, free, pieces.start[:, :2], along, outward, length, np.array(polygons))


def positive_stretch(
    low: float, high: float, wall_low: float, wall_high: float, least: float
) -> tuple[float, float]:
    """Part of [low, high] on which a linearly varying wall is higher than `least`. [m]."""
    if wall_low > least and wall_high > least:
        return low, high
    if wall_low <= least and wall_high <= least:
        return low, low
    zero = low + (least - wall_low) / (wall_high - wall_low) * (high - low)
    return (zero, high) if wall_high > least else (low, zero)


def upper_height(scene: Scene, piece: int, at: float) -> float:
    """Height z of a piece at a plan distance from its start. [m]."""
    share = at / scene.length[piece]
    start, end = scene.pieces.start[piece, 2], scene.pieces.end[piece, 2]
    return float(start + share * (end - start))


def wall_above(scene: Scene, piece: int, at: float, plane: int) -> float:
    """Height of a piece above a lower plane at a plan distance from its start. [m]."""
    xy = scene.start[piece] + at * scene.along[piece]
    return upper_height(scene, piece, at) - float(height_at(scene.planes, plane, xy[None])[0])


def stretches_below(scene: Scene, tolerance: float) -> list[tuple[int, int, float, float]]:
    """Find the roof just outside and below every free piece.

    Returns
    -------
    list of (piece, lower plane, from, to)
        Plan distances along the piece; where several planes lie below, the highest counts.
    """
    free = scene.free
    trim = np.minimum(2.0 * PROBE, 0.2 * scene.length[free])[:, None]
    shifted = scene.start[free] + PROBE * scene.outward[free]
    ends = (trim, scene.length[free, None] - trim)
    probe = np.asarray(
        shapely.linestrings(np.stack([shifted + at * scene.along[free] for at in ends], axis=1))
    )
    line, plane = shapely.STRtree(scene.polygons).query(probe, predicate="intersects")
    other = plane != scene.pieces.plane[free[line], 0]
    line, plane = line[other], plane[other]
    found: dict[int, list[tuple[float, int, float, float]]] = {}
    cut = np.asarray(shapely.intersection(probe[line], scene.polygons[plane]))
    for index, part in zip(*_line_parts(cut), strict=True):
        piece, lower = int(free[line[index]]), int(plane[index])
        t = np.sort((part - scene.start[piece]) @ scene.along[piece])
        slack = 2.5 * PROBE
        low = 0.0 if t[0] < slack else float(t[0])
        high = float(scene.length[piece] if t[-1] > scene.length[piece] - slack else t[-1])
        walls = [wall_above(scene, piece, at, lower) for at in (low, high)]
        low, high = positive_stretch(low, high, walls[0], walls[1], tolerance)
        if high - low > MIN_LENGTH:
            found.setdefault(piece, []).append((sum(walls), lower, low, high))
    result = []
    for piece, options in found.items():
        taken: list[tuple[float, float]] = []
        for _, lower, low, high in sorted(options):
            for a, b in uncovered(low, high, taken):
                if b - a > MIN_LENGTH:
                    result.append((piece, lower, a, b))
            taken.append((low, high))
    return result


def _line_parts(geometry: NDArray[np.object_]) -> tuple[list[int], list[Array]]:
    """Coordinates of every line part and the index of the geometry it comes from."""
    parts, index = shapely.get_parts(geometry, return_index=True)
    inner, inner_index = shapely.get_parts(parts, return_index=True)
    keep = (shapely.get_type_id(inner) == 1) & (shapely.length(inner) > 0.0)
    return list(index[inner_index[keep]]), [shapely.get_coordinates(part) for part in inner[keep]]


def uncovered(low: float, high: float, taken: Sequence[tuple[float, float]]) -> list[tuple[float, float]]:
    """Parts of [low, high] outside all taken intervals."""
    parts = [(low, high)]
    for a, b in taken:
        parts = [
            piece
            for start, end in parts
            for piece in ((start, min(end, a)), (max(start, b), end))
            if piece[1] - piece[0] > 0.0
        ]
    return parts


def _facing(scene: Scene, piece: int, others: IntArray, cosine: float) -> tuple[IntArray, Array, Array]:
    """Pieces that face `piece`: index, common stretch along it, outward distance at its ends."""
    others = others[scene.along[others] @ scene.along[piece] < -cosine]
    ends = (
        np.stack([scene.pieces.end[others, :2], scene.pieces.start[others, :2]], axis=1) - scene.start[piece]
    )
    t, reach = ends @ scene.along[piece], ends @ scene.outward[piece]
    low, high = np.maximum(t[:, 0], 0.0), np.minimum(t[:, 1], scene.length[piece])
    span = np.maximum(t[:, 1] - t[:, 0], 1e-300)
    rate = (reach[:, 1] - reach[:, 0]) / span
    stretch = np.stack([low, high], axis=1)
    return others, stretch, reach[:, :1] + rate[:, None] * (stretch - t[:, :1])


def _foot_share(scene: Scene, piece: int, foot: int, at: Array, reach: Array) -> Array:
    """Shares along the foot piece of the points at (along, outward) of the upper piece."""
    xy = scene.start[piece] + at[:, None] * scene.along[piece] + reach[:, None] * scene.outward[piece]
    share = (xy - scene.start[foot]) @ scene.along[foot] / scene.length[foot]
    share = np.where(share * scene.length[foot] < 2.5 * PROBE, 0.0, share)
    return np.asarray(np.where((1.0 - share) * scene.length[foot] < 2.5 * PROBE, 1.0, share))


def _on_foot(scene: Scene, piece: int, foot: int, stretch: Array, reach: Array, gap: float) -> StepRow:
    """Step whose foot is an edge of the lower plane; `stretch` and `reach` belong to the upper piece."""
    share = _foot_share(scene, piece, foot, stretch, reach)[::-1]
    start, end = scene.pieces.start[foot], scene.pieces.end[foot]
    foot_ends = start + share[:, None] * (end - start)
    walls = [
        upper_height(scene, piece, float(at)) - float(z)
        for at, z in zip(stretch[::-1], foot_ends[:, 2], strict=True)
    ]
    return StepRow(
        upper=piece,
        foot=foot,
        lower=int(scene.pieces.plane[foot, 0]),
        upper_at=float(stretch.mean() / scene.length[piece]),
        foot_at=(float(share[0]), float(share[1])),
        start=foot_ends[0],
        end=foot_ends[1],
        wall=(max(walls[0], 0.0), max(walls[1], 0.0)),
        gap=gap,
        overhang=max(float(-reach.min()), 0.0),
    )


def _open_foot(scene: Scene, piece: int, lower: int, low: float, high: float) -> StepRow:
    """Step on a lower plane that runs on below the upper edge."""
    at = np.array([high, low])
    xy = scene.start[piece] + at[:, None] * scene.along[piece]
    z = height_at(scene.planes, lower, xy)
    walls = [upper_height(scene, piece, t) - float(foot) for t, foot in zip((high, low), z, strict=True)]
    ends = np.column_stack([xy, z])
    middle = 0.5 * (low + high) / float(scene.length[piece])
    wall = (max(walls[0], 0.0), max(walls[1], 0.0))
    return StepRow(piece, -1, lower, middle, (0.0, 0.0), ends[0], ends[1], wall, 0.0)


def abutting_steps(scene: Scene, below: Sequence[tuple[int, int, float, float]]) -> list[StepRow]:
    """Steps at walls, from the stretches of roof found below the upper edges."""
    rows: list[StepRow] = []
    owner = scene.pieces.plane[:, 0]
    for piece, lower, low, high in below:
        others = scene.free[owner[scene.free] == lower]
        feet, stretch, reach = _facing(scene, piece, others, PARALLEL)
        stretch = np.clip(stretch, low, high)
        near = (reach.min(axis=1) > -OVERHANG) & (reach.max(axis=1) < 2.0 * PROBE)
        near &= stretch[:, 1] - stretch[:, 0] > MIN_LENGTH
        taken: list[tuple[float, float]] = []
        for index in np.argsort(-reach.mean(axis=1)):
            if not near[index]:
                continue
            for a, b in uncovered(stretch[index, 0], stretch[index, 1], taken):
                if b - a > MIN_LENGTH:
                    ends = np.array([a, b])
                    distance = np.interp(ends, stretch[index], reach[index])
                    rows.append(_on_foot(scene, piece, int(feet[index]), ends, distance, 0.0))
                    taken.append((a, b))
        rows.extend(
            _open_foot(scene, piece, lower, a, b)
            for a, b in uncovered(low, high, taken)
            if b - a > MIN_LENGTH
        )
    return rows


def separated_steps(
    scene: Scene, below: Sequence[tuple[int, int, float, float]], feet: set[int], tolerance: float
) -> list[StepRow]:
    """Steps across a gap between roofs that do not touch."""
    free = scene.free[~np.isin(scene.free, list(feet))]
    if len(free) == 0:
        return []
    ends = np.stack([scene.start[free], scene.pieces.end[free, :2]], axis=1)
    tree = shapely.STRtree(np.asarray(shapely.linestrings(ends)))
    lines = shapely.linestrings(np.stack([scene.start, scene.pieces.end[:, :2]], axis=1)[scene.free])
    first, second = tree.query(lines, predicate="dwithin", distance=SEPARATION)
    first, second = scene.free[first], free[second]
    facing = (
        np.einsum("kx,kx->k", scene.along[first], scene.along[second]) < 1e-9 - FACING
    )  # `_facing` decides
    facing &= scene.pieces.plane[first, 0] != scene.pieces.plane[second, 0]
    first, second = first[facing], second[facing]
    rows: list[StepRow] = []
    for piece in np.unique(first).tolist():
        others, stretch, reach = _facing(scene, piece, second[first == piece], FACING)
        distance = reach.mean(axis=1)
        taken = [(a, b) for index, _, a, b in below if index == piece]
        for index in np.argsort(distance):
            if not 2.0 * PROBE < distance[index] <= SEPARATION or reach[index].min() <= 0.0:
                continue
            for a, b in uncovered(stretch[index, 0], stretch[index, 1], taken):
                row = _across_gap(
                    scene, piece, int(others[index]), (a, b), stretch[index], reach[index], tolerance
                )
                if row is not None:
                    rows.append(row)
                    taken.append((a, b))
    return rows


def _across_gap(
    scene: Scene,
    piece: int,
    foot: int,
    part: tuple[float, float],
    stretch: Array,
    reach: Array,
    tolerance: float,
) -> StepRow | None:
    """One separated step, or None where there is no wall or another roof fills the gap."""
    ends = np.array(part)
    distance = np.interp(ends, stretch, reach)
    row = _on_foot(scene, piece, foot, ends, distance, float(distance.mean()))
    low, high = positive_stretch(
        part[0],
        part[1],
        upper_height(scene, piece, part[0]) - row.end[2],
        upper_height(scene, piece, part[1]) - row.start[2],
        tolerance,
    )
    if high - low < MIN_OVERLAP:
        return None
    ends = np.array([low, high])
    distance = np.interp(ends, stretch, reach)
    near = scene.start[piece] + ends[:, None] * scene.along[piece]
    far = near + distance[:, None] * scene.outward[piece]
    gap = Polygon([*near, *far[::-1]])
    crossed = scene.polygons[shapely.intersects(scene.polygons, gap)]
    covered = shapely.union_all(shapely.intersection(crossed, gap)).area if len(crossed) else 0.0
    if covered > BLOCKED * gap.area:
        return None
    return _on_foot(scene, piece, foot, ends, distance, float(distance.mean()))
