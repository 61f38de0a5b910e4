"""Folded plates, saw-teeth and multiple vaults, ASCE/SEI 7 7.4.4 and 7.6.3."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from roofmodel.snow import asce7_22_drift as drift
from roofmodel.snow.cases import Value, Zone
from roofmodel.snow.regions import (
    CRACK,
    Plan,
    downhill_joints,
    falling_pressure,
    left_normal,
    plane_corners,
    uniform,
)
from roofmodel.surface import EdgeKind, RoofSurface

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]

LEVEL_VALLEY = 0.01  # ends of a level valley differ by less [m]
SQUARE = np.cos(np.radians(20.0))  # a tooth falls this squarely to the wall at its foot


def level_edges(roof: RoofSurface, *kinds: EdgeKind) -> IntArray:
    """Level edges of some kinds between two planes."""
    edges = roof.edges
    level = np.abs(edges.start[:, 2] - edges.end[:, 2]) < LEVEL_VALLEY
    return np.flatnonzero(level & np.isin(np.array(edges.kind), kinds) & (edges.plane.min(axis=1) >= 0))


def tooth_feet(roof: RoofSurface, plan: Plan) -> IntArray:
    """Steps that are valleys of saw-teeth: both roofs fall away from the wall's top, toward its foot."""
    steps = roof.steps
    if not steps.count:
        return np.zeros(0, dtype=np.int64)
    out = left_normal(steps.start, steps.end)
    lower = np.sum(plan.fall[steps.lower] * out, axis=1)
    upper = np.sum(plan.fall[steps.upper] * out, axis=1)
    return np.flatnonzero((lower < -SQUARE) & (upper < -SQUARE) & (steps.gap <= CRACK))


def folded_planes(roof: RoofSurface, plan: Plan) -> frozenset[int]:
    """Planes of folded plates, saw-teeth and multiple vaults, C_s = 1.0 by 7.4.4.

    Those at level valleys and at the feet of teeth, and all that level ridges, breaks and valleys join to
    them, such as the outer slopes (safe reading).
    """
    valleys, feet = level_edges(roof, EdgeKind.VALLEY), tooth_feet(roof, plan)
    first = [*roof.edges.plane[valleys].ravel(), *roof.steps.lower[feet], *roof.steps.upper[feet]]
    if not first:
        return frozenset()
    pair = roof.edges.plane[level_edges(roof, EdgeKind.VALLEY, EdgeKind.RIDGE, EdgeKind.BREAK)]
    count = roof.planes.count
    graph = coo_array((np.ones(len(pair)), (pair[:, 0], pair[:, 1])), shape=(count, count))
    group = connected_components(graph, directed=False)[1]
    return frozenset(np.flatnonzero(np.isin(group, group[first])).tolist())


def _uphill(joints: Iterable[tuple[int, int]], plane: int) -> list[int]:
    """A plane and those whose snow runs onto it over pitch breaks."""
    found, waiting = [plane], [plane]
    while waiting:
        below = waiting.pop()
        more = [above for above, under in joints if under == below and above not in found]
        found += more
        waiting += more
    return found


def valley_zones(
    roof: RoofSurface, plan: Plan, flat: tuple[Value, ...], density: Value, code: str
) -> list[Zone]:
    """Unbalanced load of 7.6.3 on each slope above a level valley or a tooth's foot; they may overlap.

    Parameters
    ----------
    roof : RoofSurface
    plan : Plan
    flat : tuple of Value
        p_f and what it takes, C_e among it.
    density : Value
        gamma.
    code : str
        Standard and edition.
    """
    edges, steps = roof.edges, roof.steps
    given = {value.symbol: value.value for value in flat}
    flat_load, exposure = given["p_f"], given["C_e"]
    kinds = dict(zip(map(tuple, np.sort(edges.plane, axis=1).tolist()), edges.kind, strict=True))
    joints = [
        pair for pair in downhill_joints(roof, plan) if kinds.get(tuple(sorted(pair))) is not EdgeKind.VALLEY
    ]
    lines: list[tuple[int, Array, Array, float]] = []
    for e in level_edges(roof, EdgeKind.VALLEY):
        first, second = (int(plane) for plane in edges.plane[e])
        lines += [(first, edges.start[e], edges.end[e], 0.0), (second, edges.end[e], edges.start[e], 0.0)]
    for i in tooth_feet(roof, plan):
        lines.append((int(steps.lower[i]), steps.start[i], steps.end[i], float(steps.wall[i].max())))
    zones = []
    for plane, start, end, wall in lines:
        slope = _uphill(joints, plane)
        corners = np.concatenate([plane_corners(roof, i) for i in slope])
        normal = left_normal(start, end)
        run = float(((corners[:, :2] - start[:2]) @ normal).max())
        own = float(corners[:, 2].max() - start[2])
        if np.arctan2(own, run) <= drift.FOLDED_SLOPE:
            continue
        rise = max(own, wall)
        ridge, valley = (float(x) for x in drift.folded_load(flat_load, exposure, density.value, rise))
        pressure = falling_pressure(start, normal, valley - ridge, run) + uniform(ridge)
        values = (
            *flat,
            density,
            Value("rise", rise, "m", "of the ridge, crown or tooth above the valley"),
            Value(
                "valley",
                valley,
                "Pa",
                "at the valley, not above the snow on the ridge",
                "min(2 p_f / C_e, 0.5 p_f + gamma rise)",
            ),
            Value("ridge", ridge, "Pa", "at the ridge", "0.5 p_f"),
            Value("run", run, "m", "plan distance from valley to ridge"),
        )
        zones += [
            Zone(
                f"valley snow on {roof.planes.name[i]}",
                i,
                plan.polygon[i],
                pressure,
                f"{code} 7.6.3",
                "valley - (valley - ridge) x / run",
                values,
            )
            for i in slope
        ]
    return zones
