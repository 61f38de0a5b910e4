"""Barrel vaults: built as facets, and found among the planes of any roof.

A vault is a chain of planes side by side whose common edges are level and parallel and lie on one circle.
The planes stay facets for the geometry; the standards' rules for curved roofs go by the circle.
"""

from __future__ import annotations

import numpy as np
from shapely import Polygon

from roofmodel.errors import InputError
from roofmodel.shape.regions import components
from roofmodel.surface import Array, EdgeKind, Edges, IntArray, Planes, Vault

FEWEST = 5  # planes that make a vault; fewer are a mansard
TURN = np.radians(25.0)  # largest turn from one facet to the next
LEVEL = np.sin(np.radians(1.0))  # of an edge
PARALLEL = np.cos(np.radians(1.0))
ROUND = 0.01  # largest distance of an edge from the circle, of the span


def vault_cells(
    footprint: Array, eave: float, rise: float, facets: int, label: str
) -> list[tuple[Array, Polygon]]:
    """Facets of a barrel vault over a rectangle, its axis along the longer side.

    Parameters
    ----------
    footprint : (4, 2) float
        Counter-clockwise. [m]
    eave, rise : float
        Height of the springings, and of the crown above them. [m]
    facets : int
    label : str
        For messages.

    Returns
    -------
    list of (a, b, c) and polygon
        Planes z = a x + b y + c over their plan.

    Raises
    ------
    InputError
        No rectangle; a rise that is more than half of the span.
    """
    sides = np.roll(footprint, -1, axis=0) - footprint
    lengths = np.linalg.norm(sides, axis=1)
    if len(footprint) != 4 or abs(sides[0] @ sides[1]) > 0.01 * lengths[0] * lengths[1]:
        message = f"{label}: a vault part needs a rectangle of 4 points."
        raise InputError(message)
    first = 0 if lengths[0] >= lengths[1] else 1
    start, along, across = footprint[first], sides[first], sides[(first + 1) % 4]
    span = float(np.linalg.norm(across))
    if not 0.0 < rise <= 0.5 * span:
        message = f"{label}: rise {rise:g} m must be above 0 and at most half of the span, {0.5 * span:g} m."
        raise InputError(message)
    radius = (0.25 * span**2 + rise**2) / (2.0 * rise)
    half = np.arcsin(min(0.5 * span / radius, 1.0))
    angle = np.linspace(-half, half, facets + 1)
    place, height = radius * np.sin(angle) + 0.5 * span, eave + radius * (np.cos(angle) - np.cos(half))
    unit = across / span
    foot = start + place[:, None] * unit
    cells = []
    for i in range(facets):
        grade = (height[i + 1] - height[i]) / (place[i + 1] - place[i]) * unit
        corners = np.stack([foot[i], foot[i] + along, foot[i + 1] + along, foot[i + 1]])
        cells.append((np.array([*grade, height[i] - grade @ foot[i]]), Polygon(corners)))
    return cells


def find_vaults(planes: Planes, edges: Edges) -> tuple[Vault, ...]:
    """Vaults among the planes of a roof.

    Parameters
    ----------
    planes : Planes
    edges : Edges

    Returns
    -------
    tuple of Vault
    """
    kinds = np.array(edges.kind)
    step = edges.end - edges.start
    length = np.linalg.norm(step, axis=1)
    joint = ((kinds == EdgeKind.BREAK) | (kinds == EdgeKind.RIDGE)) & (edges.plane.min(axis=1) >= 0)
    joint &= np.abs(step[:, 2]) <= LEVEL * length
    joint = np.flatnonzero(joint)
    if len(joint) < FEWEST - 1:
        return ()
    pair = edges.plane[joint]
    turn = np.arccos(
        np.clip(np.sum(planes.normal[pair[:, 0]] * planes.normal[pair[:, 1]], axis=1), -1.0, 1.0)
    )
    joint, pair = joint[turn <= TURN], pair[turn <= TURN]
    _, group = components(planes.count, pair)
    found = []
    for number in np.unique(group[pair[:, 0]]) if len(pair) else ():
        vault = _vault(planes, edges, np.flatnonzero(group == number), joint[group[pair[:, 0]] == number])
        if vault is not None:
            found.append(vault)
    return tuple(found)


def _vault(planes: Planes, edges: Edges, members: IntArray, joint: IntArray) -> Vault | None:
    """Vault of a chain of planes, None where their edges lie on no circle."""
    if len(members) < FEWEST:
        return None
    step = (edges.end - edges.start)[joint, :2]
    axis = step / np.linalg.norm(step, axis=1)[:, None]
    if (np.abs(axis @ axis[0]) < PARALLEL).any():
        return None
    along = axis[0] if (axis[0] @ [1.0, 1e-3]) > 0.0 else -axis[0]
    side = np.array([along[1], -along[0]])  # to the right of the axis
    middle = 0.5 * (edges.start + edges.end)[joint]
    x, z = middle[:, :2] @ side, middle[:, 2]
    # Circle through the joints: x^2 + z^2 = 2 a x + 2 b z + c, least squares.
    origin = np.array([x.mean(), z.mean()])
    u, w = x - origin[0], z - origin[1]
    a, b, c = np.linalg.lstsq(np.column_stack([2.0 * u, 2.0 * w, np.ones(len(u))]), u**2 + w**2, rcond=None)[
        0
    ]
    radius = float(np.sqrt(max(c + a * a + b * b, 0.0)))
    off = np.abs(np.hypot(u - a, w - b) - radius)
    corners = np.concatenate(
        [planes.to_world(int(i), np.array(planes.outline[i].exterior.coords)) for i in members]
    )
    low, high = float((corners[:, :2] @ side).min()), float((corners[:, :2] @ side).max())
    crown = float(a + origin[0])
    if off.max(initial=0.0) > ROUND * (high - low) or not low < crown < high or b > w.max():
        return None
    place = np.array(
        [
            np.mean(
                np.array(planes.to_world(int(i), np.array(planes.outline[i].exterior.coords)))[:, :2] @ side
            )
            for i in members
        ]
    )
    return Vault(
        plane=members[np.argsort(place)].astype(np.int64),
        across=side,
        crown=crown,
        ends=(low - crown, high - crown),
        radius=radius,
        top=float(b + origin[1]) + radius,
    )
