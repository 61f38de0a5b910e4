"""From planes and corner rings to a complete `RoofSurface`."""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from roofmodel.shape.domes import find_domes
from roofmodel.shape.edges import Pieces, edge_kinds, edge_names, match_edges
from roofmodel.shape.ledges import steps_over_ledges
from roofmodel.shape.planes import make_planes, plan_polygons
from roofmodel.shape.steps import StepRow, abutting_steps, make_scene, separated_steps, stretches_below
from roofmodel.shape.vaults import find_vaults
from roofmodel.surface import (
    FLAT_SLOPE,
    STOREY,
    Array,
    EdgeKind,
    Edges,
    IntArray,
    Planes,
    RoofSurface,
    Steps,
)

NO_GROUND = (
    "The file shows nothing below the roof: "
    f"its lowest point is taken {STOREY:g} m above the ground (judgment)."
)
LEAST_EDGE = 1e-3  # pieces of an edge are no shorter [m]
STUB = 0.1  # so near to a corner the wall of a cheek that tapers off runs on to it [m]
FLAT, OVERHANGS = "so the direction of fall is", "overhangs the wall above"  # what these notes say
OVERHANG_NOTE = 0.05  # overhangs from here on are mentioned [m]


def make_surface(
    normal: Array,
    point: Array,
    rings: Sequence[Sequence[Array]],
    points: Array,
    faces: IntArray,
    face_plane: IntArray,
    *,
    match_tolerance: float,
    corner_tolerance: float,
    wall_tolerance: float,
    offset: Array,
    notes: Sequence[str] = (),
    ground: float | None = None,
    names: Sequence[str] | None = None,
) -> RoofSurface:
    """Assemble planes, edges and steps.

    Parameters
    ----------
    normal, point : (p, 3) float
        Unit normals that point up, and one point on each plane. [m]
    rings : sequence (p) of sequences of (k, 3) float
        Corners of the outer ring (counter-clockwise from above), then of the holes. [m]
    points : (n, 3) float
    faces : (m, 3) int
    face_plane : (m,) int
        The mesh for display, and the plane of each triangle as numbered in `normal`.
    match_tolerance : float
        Distance up to which the outlines of two planes are one edge. [m]
    corner_tolerance : float
        Outline corners nearer than this to the line of their neighbors are removed. [m]
    wall_tolerance : float
        Least height of a wall. [m]
    offset : (3,) float
        Map coordinates of the local origin. [m]
    notes : sequence of str
    ground : float, optional
        Ground level in local coordinates; else `STOREY` below the lowest point of the roof. [m]
    names : sequence (p) of str, optional
        Names of the planes in the order of `normal`; by compass direction where there are none.

    Returns
    -------
    RoofSurface
        Planes by falling area.
    """
    planes, order = make_planes(normal, point, rings, corner_tolerance)
    if names is not None:
        planes = replace(planes, name=tuple(names[index] for index in order))
    number = np.full(len(normal), -1)
    number[order] = np.arange(len(order))
    plane = number[face_plane]
    pieces = match_edges(planes, match_tolerance)
    rows = _find_steps(planes, pieces, wall_tolerance)
    datum = float(points[faces][..., 2].min()) - STOREY if ground is None else ground
    edges, parent = _cut_edges(planes, pieces, rows, datum)
    steps = _steps(pieces, edges, parent, rows)
    told = list(notes) + _level_notes(planes) + _overhang_notes(pieces, planes, rows)
    if ground is None:
        told.append(NO_GROUND)
    return RoofSurface(
        points=points,
        faces=faces[plane >= 0],
        face_plane=plane[plane >= 0],
        planes=planes,
        edges=edges,
        steps=steps,
        offset=np.asarray(offset, dtype=float),
        notes=tuple(told),
        ground=datum,
        vaults=find_vaults(planes, edges),
        domes=find_domes(planes, edges),
        ground_assumed=ground is None,
    )


def _find_steps(planes: Planes, pieces: Pieces, tolerance: float) -> list[StepRow]:
    """Steps at walls, across open gaps and across ledges; edges before feet of walls are told apart."""
    scene = make_scene(planes, pieces, plan_polygons(planes))
    if len(scene.free) == 0:
        return []
    below = stretches_below(scene, tolerance)
    rows = abutting_steps(scene, below)
    feet = {row.foot for row in rows if row.foot >= 0}
    rows += separated_steps(scene, below, feet, tolerance)
    return rows + steps_over_ledges(scene, rows, tolerance)


def _level_notes(planes: Planes) -> list[str]:
    """Say which planes have no clear fall."""
    flat = [name for name, slope in zip(planes.name, planes.slope, strict=True) if slope < FLAT_SLOPE]
    if not flat:
        return []
    return [
        f"{', '.join(flat)}: flatter than {np.degrees(FLAT_SLOPE):.1f} degrees, {FLAT} "
        "nominal (toward the longest edge where level)."
    ]


def _overhang_notes(pieces: Pieces, planes: Planes, rows: Sequence[StepRow]) -> list[str]:
    """Say where an upper roof overhangs the foot of its wall."""
    largest: dict[tuple[str, str], float] = {}
    for row in rows:
        key = (planes.name[int(pieces.plane[row.upper, 0])], planes.name[row.lower])
        largest[key] = max(largest.get(key, 0.0), row.overhang)
    return [
        f"{upper} {OVERHANGS} {lower} by up to {depth:.2f} m: the step is taken at the foot "
        "of the wall, without a gap."
        for (upper, lower), depth in largest.items()
        if depth > OVERHANG_NOTE
    ]


def _cut_edges(
    planes: Planes, pieces: Pieces, rows: Sequence[StepRow], datum: float
) -> tuple[Edges, list[list[tuple[float, int]]]]:
    """Edges with feet of walls cut out; and for every piece its edges as (end share, edge)."""
    kinds = edge_kinds(planes, pieces)
    feet: dict[int, list[tuple[float, float]]] = {}
    for row in rows:
        if row.foot >= 0 and row.gap == 0.0:
            feet.setdefault(row.foot, []).append(_to_ends(pieces, row))
    rows_of: list[tuple[int, float, float]] = []
    kind: list[EdgeKind] = []
    parent: list[list[tuple[float, int]]] = []
    length = np.linalg.norm(pieces.end - pieces.start, axis=1)
    for index in range(len(kinds)):
        spans = feet.get(index, [])
        cuts = _cuts(spans, LEAST_EDGE / max(float(length[index]), LEAST_EDGE))
        parent.append([])
        for low, high in itertools.pairwise(cuts):
            inside = any(a <= 0.5 * (low + high) <= b for a, b in spans)
            parent[-1].append((high, len(kind)))
            rows_of.append((index, low, high))
            kind.append(EdgeKind.STEP if inside else kinds[index])
    which = np.array([index for index, _, _ in rows_of], dtype=np.int64)
    shares = np.array([row[1:] for row in rows_of]).reshape(-1, 2)
    step = (pieces.end - pieces.start)[which]
    starts = pieces.start[which] + shares[:, :1] * step
    ends = np.where(shares[:, 1:] == 1.0, pieces.end[which], pieces.start[which] + shares[:, 1:] * step)
    owner = pieces.plane[which]
    height = np.minimum(starts[:, 2], ends[:, 2]) - datum
    for row in rows:
        if row.foot >= 0 and row.gap == 0.0:
            height[_locate(parent[row.foot], 0.5 * sum(row.foot_at))] = 0.5 * sum(row.wall)
    edges = Edges(edge_names(planes, owner, tuple(kind)), tuple(kind), starts, ends, owner, height)
    return edges, parent


def _to_ends(pieces: Pieces, row: StepRow) -> tuple[float, float]:
    """Where along its edge a wall stands; as far as the corner where it tapers off right before that."""
    low, high = row.foot_at
    stub = STUB / max(float(np.linalg.norm(pieces.end[row.foot] - pieces.start[row.foot])), 1e-9)
    return (0.0 if low < stub else low), (1.0 if high > 1.0 - stub else high)


def _cuts(spans: Sequence[tuple[float, float]], least: float) -> list[float]:
    """Shares at which an edge is cut, 0 and 1 among them, none nearer to one another than `least`."""
    cuts = [0.0]
    for share in sorted({share for span in spans for share in span}):
        if share - cuts[-1] > least and 1.0 - share > least:
            cuts.append(share)
    return [*cuts, 1.0]


def _locate(spans: Sequence[tuple[float, int]], share: float) -> int:
    """Edge of a piece that holds a share of its length."""
    return next((edge for high, edge in spans if share <= high), spans[-1][1])


def _steps(
    pieces: Pieces, edges: Edges, parent: Sequence[Sequence[tuple[float, int]]], rows: Sequence[StepRow]
) -> Steps:
    """Turn step rows into arrays that refer to the cut edges."""
    foot = [_locate(parent[row.foot], 0.5 * sum(row.foot_at)) if row.foot >= 0 else -1 for row in rows]
    upper_edge = [_locate(parent[row.upper], row.upper_at) for row in rows]
    return Steps(
        lower=np.array([row.lower for row in rows], dtype=np.int64),
        upper=np.array([pieces.plane[row.upper, 0] for row in rows], dtype=np.int64),
        lower_edge=np.array(foot, dtype=np.int64),
        upper_edge=np.array(upper_edge, dtype=np.int64),
        start=np.array([row.start for row in rows]).reshape(-1, 3),
        end=np.array([row.end for row in rows]).reshape(-1, 3),
        wall=np.array([row.wall for row in rows]).reshape(-1, 2),
        gap=np.array([row.gap for row in rows]),
        between=np.array([row.between for row in rows], dtype=np.int64),
    )
