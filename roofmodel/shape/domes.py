"""Domes and cones among the planes of a roof.

A dome is a set of planes whose common edges end on one sphere, in at least two rings; a cone is a fan of
planes of one pitch that meet in one point. The planes stay facets for the geometry; the standards' rules
for round roofs go by the sphere or cone.
"""

from __future__ import annotations

import numpy as np

from roofmodel.shape.regions import components
from roofmodel.surface import Array, Dome, EdgeKind, Edges, IntArray, Planes

FEWEST = 6  # planes around a dome or cone; fewer are a hip roof
TURN = {True: np.radians(46.0), False: np.radians(62.0)}  # largest turn over level edges and over others
LEVEL = np.sin(np.radians(1.0))  # of an edge
ROUND = 0.01  # largest distance of an edge's end from the sphere, of its radius
MOST = 0.6  # share of the ends that must lie on it; the others may be cut off by other roofs
SMOOTH = np.radians(30.0)
SAME_PITCH = np.radians(1.0)
SAME_TIP = 0.01  # [m]


def find_domes(planes: Planes, edges: Edges) -> tuple[Dome, ...]:
    """Domes, then cones, among the planes of a roof.

    Parameters
    ----------
    planes : Planes
    edges : Edges

    Returns
    -------
    tuple of Dome
        No plane is in two of them.
    """
    if planes.count < FEWEST:
        return ()
    kinds = np.array(edges.kind)
    convex = np.isin(kinds, [EdgeKind.BREAK, EdgeKind.RIDGE, EdgeKind.HIP]) & (edges.plane.min(axis=1) >= 0)
    joint = np.flatnonzero(convex)
    pair = edges.plane[joint]
    cosine = np.sum(planes.normal[pair[:, 0]] * planes.normal[pair[:, 1]], axis=1)
    turn = np.arccos(np.clip(cosine, -1.0, 1.0))
    step = (edges.end - edges.start)[joint]
    level = np.abs(step[:, 2]) <= LEVEL * np.linalg.norm(step, axis=1)
    gentle = turn <= np.where(level, TURN[True], TURN[False])
    spheres = _spheres(planes, edges, joint[gentle], turn[gentle])
    taken = np.concatenate([[], *(dome.plane for dome in spheres)])
    hips = joint[~level & gentle]
    free = ~np.isin(edges.plane[hips], taken).any(axis=1)
    return (*spheres, *_cones(planes, edges, hips[free]))


def _spheres(planes: Planes, edges: Edges, joint: IntArray, turn: Array) -> list[Dome]:
    """One dome for each set of connected planes that lie on a sphere."""
    if len(joint) < 2 * FEWEST:
        return []
    pair = edges.plane[joint]
    _, group = components(planes.count, pair)
    found = []
    for number in np.unique(group[pair[:, 0]]):
        among = group[pair[:, 0]] == number
        own, members = joint[among], np.flatnonzero(group == number)
        if len(members) < 2 * FEWEST:
            continue
        sphere = _sphere(np.concatenate([edges.start[own], edges.end[own]]))
        if sphere is None:
            continue
        center, radius = sphere
        members = np.array([i for i in members if _reach(planes, int(i), center) <= radius * (1.0 + ROUND)])
        if len(members) < 2 * FEWEST or not _all_around(planes, members):
            continue
        inside = np.isin(pair[among], members).all(axis=1)
        smooth = bool(turn[among][inside].max(initial=0.0) <= SMOOTH)
        top = float(center[2]) + radius
        found.append(_dome(planes, edges, members, center[:2], radius, 0.0, top, smooth=smooth))
    return found


def _corners(planes: Planes, plane: int) -> Array:
    return planes.to_world(plane, np.array(planes.outline[plane].exterior.coords))


def _reach(planes: Planes, plane: int, center: Array) -> float:
    """Distance of the farthest corner of a plane. [m]."""
    return float(np.linalg.norm(_corners(planes, plane) - center, axis=1).max())


def _sphere(points: Array) -> tuple[Array, float] | None:
    """Center and radius of the sphere through most points, None where there is none or only one ring."""
    every = points = np.unique(np.round(points, 6), axis=0)
    for _ in range(2):
        origin = points.mean(axis=0)
        local = points - origin
        left = np.column_stack([2.0 * local, np.ones(len(local))])
        answer = np.linalg.lstsq(left, np.sum(local**2, axis=1), rcond=None)[0]
        center = origin + answer[:3]
        radius = float(np.sqrt(max(answer[3] + answer[:3] @ answer[:3], 0.0)))
        off = np.linalg.norm(every - center, axis=1) - radius
        on = np.abs(off) <= ROUND * radius
        if on.sum() < max(MOST * len(every), FEWEST):
            return None
        points = every[on]
    low, high = points[:, 2].min(), points[:, 2].max()
    ringed = ((points[:, 2] > low + 0.1 * (high - low)) & (points[:, 2] < high - 0.02 * (high - low))).any()
    below = center[2] < high and high <= center[2] + radius * (1.0 + ROUND)
    return (center, radius) if ringed and below and off.max() <= ROUND * radius else None


def _all_around(planes: Planes, members: IntArray) -> bool:
    """Whether the planes fall in enough directions to be a dome."""
    turned = np.round(planes.azimuth[members] / np.radians(5.0))
    return len(np.unique(turned)) >= FEWEST


def _cones(planes: Planes, edges: Edges, hips: IntArray) -> list[Dome]:
    """One cone for each point in which the hips of enough planes of one pitch end."""
    if len(hips) < FEWEST - 1:
        return []
    first_up = edges.start[hips, 2] > edges.end[hips, 2]
    tip = np.where(first_up[:, None], edges.start[hips], edges.end[hips])
    found = []
    waiting = np.ones(len(hips), dtype=bool)
    while waiting.any():
        here = tip[np.flatnonzero(waiting)[0]]
        own = waiting & (np.linalg.norm(tip - here, axis=1) <= SAME_TIP)
        waiting &= ~own
        members = np.unique(edges.plane[hips[own]])
        slope = planes.slope[members]
        if len(members) < FEWEST or np.ptp(slope) > SAME_PITCH:
            continue
        pitch = float(slope.mean())
        found.append(_dome(planes, edges, members, here[:2], np.inf, pitch, float(here[2]), smooth=False))
    return found


def _dome(
    planes: Planes,
    edges: Edges,
    members: IntArray,
    center: Array,
    radius: float,
    pitch: float,
    top: float,
    *,
    smooth: bool,
) -> Dome:
    corners = np.concatenate([_corners(planes, int(i)) for i in members])
    outer = float(np.linalg.norm(corners[:, :2] - center, axis=1).max())
    low = float(corners[:, 2].min())
    eave = np.flatnonzero((np.array(edges.kind) == EdgeKind.EAVE) & np.isin(edges.plane[:, 0], members))
    start, end = edges.start[eave, :2] - center, edges.end[eave, :2] - center
    along = end - start
    share = np.clip(-np.sum(start * along, axis=1) / np.maximum(np.sum(along**2, axis=1), 1e-300), 0.0, 1.0)
    near = np.linalg.norm(start + share[:, None] * along, axis=1)
    reach = float(near.min(initial=outer))
    return Dome(members.astype(np.int64), center.astype(float), reach, outer, radius, pitch, top, low, smooth)
