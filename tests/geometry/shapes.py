"""Footprints and mesh operations that the geometry tests share."""

from __future__ import annotations

import numpy as np

from roofmodel.shape.builders import RoofPart

GABLE = np.nan


def rectangle(x0, y0, x1, y1):
    return np.array([[x0, y0], [x1, y0], [x1, y1], [x0, y1]], dtype=float)


L_PLAN = np.array([[0, 0], [12, 0], [12, 6], [6, 6], [6, 14], [0, 14]], dtype=float)


def gable(length=12.0, width=8.0, pitches=(30.0, GABLE, 30.0, GABLE), eave=3.0):
    return RoofPart("gable", rectangle(0, 0, length, width), np.radians(pitches), eave)


def hip(length=12.0, width=8.0, pitch=30.0, eave=3.0):
    return RoofPart("hip", rectangle(0, 0, length, width), np.radians([pitch] * 4), eave)


def l_part(pitches=(30.0,) * 6, footprint=L_PLAN, eave=3.0):
    return RoofPart("L", footprint, np.radians(pitches), eave)


def turned(points, angle, shift=(0.0, 0.0)):
    """Rotate plan points counter-clockwise and shift them; z stays."""
    turn = np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])
    result = np.array(points, dtype=float)
    result[:, :2] = result[:, :2] @ turn.T + shift
    return result


def subdivided(points, faces, times):
    """Split every triangle in four, again and again."""
    for _ in range(times):
        edge, number = np.unique(
            np.sort(faces[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2), axis=1), axis=0, return_inverse=True
        )
        middle = len(points) + number.reshape(-1, 3)
        points = np.vstack([points, points[edge].mean(axis=1)])
        a, b, c = faces.T
        ab, bc, ca = middle.T
        faces = np.vstack([np.c_[a, ab, ca], np.c_[ab, b, bc], np.c_[ca, bc, c], np.c_[ab, bc, ca]])
    return points, faces


def shuffled(points, faces, seed):
    """Renumber vertices, reorder triangles, rotate their corners and flip some."""
    rng = np.random.default_rng(seed)
    order = rng.permutation(len(points))
    number = np.argsort(order)
    mixed = number[faces][rng.permutation(len(faces))]
    mixed = np.take_along_axis(mixed, (np.arange(3) + rng.integers(0, 3, (len(mixed), 1))) % 3, axis=1)
    flip = rng.random(len(mixed)) < 0.5
    mixed[flip] = mixed[flip][:, ::-1]
    return points[order], mixed


def edge_lengths(roof):
    """Sum of edge lengths by kind."""
    total: dict[str, float] = {}
    for kind, length in zip(roof.edges.kind, roof.edges.length, strict=True):
        total[kind.value] = total.get(kind.value, 0.0) + float(length)
    return total


def mesh_area(points, faces):
    corner = points[faces]
    return 0.5 * np.linalg.norm(np.cross(corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0]), axis=1)
