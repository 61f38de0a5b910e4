"""Roofs with more than one plane above each eave, or eaves at several heights.

Half-hips, saltboxes, saw-teeth and domes; gambrels and mansards are skeletons.

All closed plane geometry; no source beyond it.
"""

from __future__ import annotations

import numpy as np
import shapely
from shapely import Polygon

from roofmodel.errors import InputError
from roofmodel.shape.envelopes import Cell, edge_planes, lowest
from roofmodel.surface import Array

STEEPEST = np.radians(75.0)  # steeper is a wall [rad]
SQUARE = np.sin(np.radians(0.5))  # how far a right angle may be off
ROUND = 0.01  # how far the corners of a dome's footprint may be off its circle, of the radius


def half_hip_cells(
    footprint: Array, pitches: Array, eave: float, clip: float, clip_pitch: float, label: str
) -> list[Cell]:
    """Gable roof whose ends are cut off by a hip that starts `clip` above the eaves. Heights in m."""
    gable = np.isnan(pitches)
    base = lowest(Polygon(footprint), edge_planes(footprint, pitches, eave))
    ridge = max(float((shapely.get_coordinates(c) @ p[:2] + p[2]).max()) for p, c in base) - eave
    if not clip < ridge:
        message = (
            f"{label}: clip_height {clip:.6g} m is not below the ridge, which is {ridge:.4g} m above the "
            "eaves."
        )
        raise InputError(message)
    height = eave + np.where(gable, clip, 0.0)
    return lowest(Polygon(footprint), edge_planes(footprint, np.where(gable, clip_pitch, pitches), height))


def saltbox_cells(
    footprint: Array, pitches: Array, eave: float, rear: float, fall: float, label: str
) -> list[Cell]:
    """Gable roof whose rear slope runs down to a lower eave.

    Parameters
    ----------
    footprint : (4, 2) float
        Rectangle, counter-clockwise. [m]
    pitches : (4,) float
        NaN on the two ends. [rad]
    eave, rear : float
        Heights of the front and the rear eave. [m]
    fall : float
        Compass direction the rear slope falls to. [rad]
    label : str
        For messages.
    """
    along = np.roll(footprint, -1, axis=0) - footprint
    outward = np.stack([along[:, 1], -along[:, 0]], axis=1) / np.linalg.norm(along, axis=1)[:, None]
    back = int(np.argmax(outward @ [np.sin(fall), np.cos(fall)]))
    if np.isnan(pitches[back]):
        message = (
            f"{label}: fall {np.degrees(fall):.4g} degrees points to a gable end; the rear slope falls to an "
            "eave."
        )
        raise InputError(message)
    if not rear < eave:
        message = (
            f"{label}: rear_eave_height {rear:.4g} m is not below eave_height, {eave:.4g} m; "
            'with equal eaves use shape "gable".'
        )
        raise InputError(message)
    height = np.where(np.arange(4) == back, rear, eave)
    depth = float(np.linalg.norm(along[(back + 1) % 4]))
    reached = rear + np.tan(pitches[back]) * depth
    if reached <= eave:
        message = (
            f"{label}: the rear slope is only {reached:.4g} m high at the front wall, below the front eave "
            f"at {eave:.4g} m; raise rear_eave_height or the pitch."
        )
        raise InputError(message)
    return lowest(Polygon(footprint), edge_planes(footprint, pitches, height))


def saw_tooth_cells(
    footprint: Array, pitch: float, eave: float, fall: float, teeth: int, label: str
) -> list[Cell]:
    """Sheds one behind the other over a rectangle, an upright face behind each. [m] and [rad]."""
    along = np.roll(footprint, -1, axis=0) - footprint
    length = np.linalg.norm(along, axis=1)
    unit = along / length[:, None]
    up = -np.array([np.sin(fall), np.cos(fall)])
    square = len(footprint) == 4 and np.abs(np.sum(unit * np.roll(unit, -1, axis=0), axis=1)).max() <= SQUARE
    if not square or np.abs(unit @ up).max() < np.cos(np.arcsin(SQUARE)):
        message = (
            f"{label}: a saw-tooth part needs a rectangle of 4 points, and a fall square to one of its sides."
        )
        raise InputError(message)
    first = int(np.argmax(unit @ up))  # the edge that runs up the slope
    start, way, side = footprint[first], along[first], along[(first + 1) % 4]
    cuts = np.linspace(0.0, 1.0, teeth + 1)
    foot = start + cuts[:, None] * way
    grade = np.tan(pitch) * unit[first]
    return [
        (
            np.array([*grade, eave - grade @ foot[i]]),
            Polygon([foot[i], foot[i + 1], foot[i + 1] + side, foot[i] + side]),
        )
        for i in range(teeth)
    ]


def dome_cells(footprint: Array, eave: float, rise: float, rings: int, label: str) -> list[Cell]:
    """Spherical cap over a regular polygon: rings of trapezoids, whose corners lie on the sphere. [m]."""
    center = footprint.mean(axis=0)
    reach = np.linalg.norm(footprint - center, axis=1)
    radius = float(reach.mean())
    if np.abs(reach - radius).max() > ROUND * radius or len(footprint) < 5:
        message = (
            f"{label}: a dome part needs a regular footprint of 5 corners or more; give center and radius."
        )
        raise InputError(message)
    if not 0.0 < rise <= radius:
        message = f"{label}: rise {rise:.4g} m must be above 0 and at most the radius, {radius:.4g} m."
        raise InputError(message)
    sphere = (radius**2 + rise**2) / (2.0 * rise)
    angle = np.linspace(np.arcsin(min(radius / sphere, 1.0)), 0.0, rings + 1)
    share = sphere * np.sin(angle) / radius
    height = eave + rise - sphere * (1.0 - np.cos(angle))
    spoke = footprint - center
    middle = 0.5 * (spoke + np.roll(spoke, -1, axis=0))
    apothem = np.linalg.norm(middle, axis=1)
    steepest = np.arctan((height[1] - height[0]) / ((share[0] - share[1]) * apothem.min()))
    if steepest >= STEEPEST:
        message = (
            f"{label}: its lowest ring is {np.degrees(steepest):.0f} degrees steep, a wall; below 75 degrees "
            "it is a roof: make rise smaller, or take fewer rings."
        )
        raise InputError(message)
    cells: list[Cell] = []
    for ring in range(rings):
        outer, inner = center + share[ring] * spoke, center + share[ring + 1] * spoke
        rate = (height[ring + 1] - height[ring]) / ((share[ring + 1] - share[ring]) * apothem)
        grade = rate[:, None] * middle / apothem[:, None]
        for i in range(len(spoke)):
            j = (i + 1) % len(spoke)
            top = [inner[j], inner[i]] if ring < rings - 1 else [center]
            corners = [outer[i], outer[j], *top]
            cells.append((np.array([*grade[i], height[ring] - grade[i] @ outer[i]]), Polygon(corners)))
    return cells
