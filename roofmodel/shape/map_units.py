"""Coordinates in degrees to meters about a place, for city models that are not in a map projection."""

from __future__ import annotations

import re

import numpy as np

from roofmodel.surface import Array
from roofmodel.units import shown

AXIS = 6_378_137.0  # GRS 80 (from memory; WGS 84 differs by 0.1 mm) [m]
FLATTENING = 1.0 / 298.257222101  # GRS 80 (from memory)
# EPSG codes of the usual systems of latitude and longitude in degrees (from memory).
DEGREES = frozenset((4019, 4171, 4258, 4269, 4283, 4326, 4612, 4617, 4759, 4937, 4939, 4955, 4979))
DEGREES |= frozenset((6318, 6319, 6667, 6668, 6697, 7843, 7844))


def is_geographic(reference: str) -> bool:
    """Whether the name of a reference system says latitude and longitude in degrees."""
    return "CRS84" in reference or any(int(code) in DEGREES for code in re.findall(r"\d{4,6}", reference))


def degrees_note(reference: str, origin: Array) -> str:
    """Say that coordinates were taken from degrees."""
    place = f"{origin[0]:g}, {origin[1]:g}"
    return f"The file is in degrees ({shown(reference)[1:-1]}): taken in meters about {place}."


def degrees_to_meters(points: Array, reference: str, origin: Array) -> Array:
    """Points about an origin, east and north in meters.

    Parameters
    ----------
    points : (n, 3) float
        Latitude, longitude (the other way round for CRS84) [degrees] and height [m].
    reference : str
        Name of the reference system.
    origin : (2,) float
        In the order of the points. [degrees]

    Returns
    -------
    (n, 3) float
        East, north and height, by the radii of curvature of the ellipsoid (Bowring, Krakiwsky or any text
        on geodesy; from memory). Over 1 km about the origin lengths are right to 1e-4. [m]
    """
    swap = "CRS84" in reference
    north, east = (points[:, 1], points[:, 0]) if swap else (points[:, 0], points[:, 1])
    north0, east0 = (origin[1], origin[0]) if swap else (origin[0], origin[1])
    latitude, base = np.radians(north), np.radians(north0)
    square = FLATTENING * (2.0 - FLATTENING)
    across = AXIS / np.sqrt(1.0 - square * np.sin(latitude) ** 2)
    along = AXIS * (1.0 - square) / (1.0 - square * np.sin(base) ** 2) ** 1.5
    x = across * np.cos(latitude) * np.radians(east - east0)
    return np.column_stack([x, along * (latitude - base), points[:, 2]])
