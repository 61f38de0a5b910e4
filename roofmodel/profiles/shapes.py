"""Outlines of usual shapes, first coordinate up the slope, second away from the roof. [m]."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import Point, Polygon

from roofmodel.errors import InputError

Array = NDArray[np.float64]

ARC = 24  # chords to a quarter circle

SIZES = {
    "round tube": ("diameter", "wall"),
    "rectangular tube": ("width", "depth", "wall"),
    "angle": ("width", "depth", "wall"),
    "channel": ("width", "depth", "wall"),
    "lipped channel": ("width", "depth", "lip", "wall"),
    "tee": ("width", "depth", "wall"),
    "hat": ("width", "depth", "lip", "wall"),
    "plate and tube": ("diameter", "wall", "depth", "plate"),
}


def shape_outline(shape: str, size: Mapping[str, float], radius: float = 0.0) -> Polygon:
    """Outline of a shape by its outside sizes.

    Parameters
    ----------
    shape : str
        A key of `SIZES`.
    size : mapping
        The sizes that `SIZES` names. A channel's web is upright and its flanges point up the slope; an
        angle's upright leg is on the downhill side; a tee stands on its flange; a hat is open to the roof,
        its width without the two lips; a plate stands under the tube, `depth` from the roof to the tube's
        lowest point. [m]
    radius : float
        Inside radius of bends of walls that are bent. [m]

    Raises
    ------
    InputError
        Sizes that make no such shape.
    """
    s = {name: size[name] for name in SIZES[shape]}
    t = s["wall"]
    if shape == "round tube":
        outer = _circle(0.0, 0.0, 0.5 * s["diameter"])
        return _checked(shape, outer.difference(_circle(0.0, 0.0, 0.5 * s["diameter"] - t)), t, s)
    if shape == "plate and tube":
        lowest, half = s["depth"], 0.5 * s["diameter"]
        ring = _circle(0.0, lowest + half, half)
        plate = shapely.box(-0.5 * s["plate"], 0.0, 0.5 * s["plate"], lowest + 0.5 * t)
        hole = _circle(0.0, lowest + half, half - t)
        return _checked(shape, ring.union(plate).difference(hole), t, s)
    b, h = s["width"], s["depth"]
    if shape == "rectangular tube":
        outer, inner = shapely.box(0.0, 0.0, b, h), shapely.box(t, t, b - t, h - t)
        if min(b, h) <= 2.0 * t:
            inner = Polygon()
        if radius:
            inner = inner.buffer(-radius, quad_segs=ARC).buffer(radius, quad_segs=ARC)
            outer = outer.buffer(-radius - t, quad_segs=ARC).buffer(radius + t, quad_segs=ARC)
        return _checked(shape, outer.difference(inner), t, s)
    if shape == "tee":
        flange = shapely.box(0.0, 0.0, b, t)
        return _checked(shape, flange.union(shapely.box(0.5 * (b - t), 0.0, 0.5 * (b + t), h)), t, s)
    m = 0.5 * t
    lines = {
        "angle": [(b, m), (m, m), (m, h)],
        "channel": [(b, m), (m, m), (m, h - m), (b, h - m)],
        "hat": [(-s.get("lip", 0.0) + t, m), (m, m), (m, h - m), (b - m, h - m), (b - m, m),
                (b + s.get("lip", 0.0) - t, m)],
    }  # fmt: skip
    if shape == "lipped channel":
        c = s["lip"]
        line = [(b - m, c), (b - m, m), (m, m), (m, h - m), (b - m, h - m), (b - m, h - c)]
        if 2.0 * c >= h:
            message = f"profile: lip = {c * 1000.0:g} mm must be less than half of depth = {h * 1000.0:g} mm"
            raise InputError(message)
    else:
        line = lines[shape]
    return _checked(shape, bent(np.array(line), t, radius), t, s)


def bent(line: Array, thickness: float, radius: float = 0.0) -> Polygon:
    """Outline of a sheet bent along a middle line (k, 2), with an inside radius of bends. [m]."""
    if radius:
        return _rounded(line, thickness, radius)
    path = shapely.LineString(line)
    return path.buffer(0.5 * thickness, cap_style="flat", join_style="mitre", mitre_limit=5.0)


def _rounded(line: Array, thickness: float, radius: float) -> Polygon:
    """The same with arcs of the middle line in place of its corners."""
    r = radius + 0.5 * thickness
    points = [line[:1]]
    for before, corner, after in zip(line[:-2], line[1:-1], line[2:], strict=True):
        a, b = before - corner, after - corner
        la, lb = np.linalg.norm(a), np.linalg.norm(b)
        a, b = a / la, b / lb
        half = 0.5 * np.arccos(np.clip(a @ b, -1.0, 1.0))
        back = r / np.tan(half)
        if back > min(la, lb):
            message = f"profile: radius = {radius * 1000.0:g} mm is too large for its walls"
            raise InputError(message)
        middle = corner + (a + b) / np.linalg.norm(a + b) * r / np.sin(half)
        first, last = corner + back * a - middle, corner + back * b - middle
        turn = np.arctan2(first[0] * last[1] - first[1] * last[0], first @ last)
        angle = np.linspace(0.0, turn, ARC + 1)
        points.append(
            middle + np.cos(angle)[:, None] * first + np.sin(angle)[:, None] * np.array([-first[1], first[0]])
        )
    points.append(line[-1:])
    path = shapely.LineString(np.concatenate(points))
    return path.buffer(0.5 * thickness, cap_style="flat", join_style="mitre", mitre_limit=5.0)


def _circle(x: float, z: float, radius: float) -> Polygon:
    return Point(x, z).buffer(max(radius, 0.0), quad_segs=ARC)


def _checked(shape: str, outline: object, wall: float, sizes: Mapping[str, float]) -> Polygon:
    words = ", ".join(f"{name} {value * 1000.0:g} mm" for name, value in sizes.items())
    if not (isinstance(outline, Polygon) and outline.is_valid and outline.area > 0.0):
        message = f"profile: {words} make no {shape}"
        raise InputError(message)
    tubes = shape in ("round tube", "rectangular tube", "plate and tube")
    if tubes and not outline.interiors:
        message = f"profile: wall = {wall * 1000.0:g} mm leaves no hollow in a {shape} of {words}"
        raise InputError(message)
    if not tubes and 3.0 * wall > min(v for n, v in sizes.items() if n not in ("wall", "lip")):
        message = f"profile: wall = {wall * 1000.0:g} mm is too thick for a {shape} of {words}"
        raise InputError(message)
    return outline
