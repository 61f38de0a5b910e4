"""Drifts that run radially around outside corners of walls: slices of a cone, never below it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree
from shapely import Polygon

from roofmodel.snow.cases import Zone
from roofmodel.snow.regions import falling_pressure, left_normal

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]

SAME_CORNER = 0.05  # ends of two walls closer than this on plan are one corner [m]
LEAST_TURN = np.sin(np.radians(5.0))  # walls that turn by less face the same way


def outside_note(code: str, falls: str, clauses: str = "") -> str:
    """What is said of drifts around outside corners; `falls` how they fall from the corner."""
    return (
        f"Judgment: around an outside corner each drift runs on radially, from {falls};"
        " where the drifts of both walls are there, the greater counts. At each distance the quadrant lies"
        f" between the two. {code} shows no shape for it{clauses and f' ({clauses})'};"
        " a drift cut off there leaves it bare."
    )


OUTSIDE = outside_note("ASCE/SEI 7", "p_d at the corner to nothing at w")
AROUND = ", around a corner"  # ends the names of such zones
SLICE = np.radians(15.0)  # the cone is overstated by 0.6 percent, 0.9 at most


def outside_corners(start: Array, end: Array) -> IntArray:
    """Pairs (n, 2) of walls of which the first ends, and the second begins, at an outside corner.

    Parameters
    ----------
    start, end : (w, 2 or 3) float
        Feet of walls, the roof in front of them on the left. [m]
    """
    if len(start) < 2:
        return np.zeros((0, 2), dtype=np.int64)
    met = cKDTree(end[:, :2]).sparse_distance_matrix(
        cKDTree(start[:, :2]), SAME_CORNER, output_type="ndarray"
    )
    pair = np.stack([met["i"], met["j"]], axis=1)
    normal = left_normal(start, end)
    first, second = normal[pair[:, 0]], normal[pair[:, 1]]
    turn = first[:, 0] * second[:, 1] - first[:, 1] * second[:, 0]
    return pair[turn < -LEAST_TURN]


def corner_slices(
    corner: Array, first: Array, second: Array, peak: float, length: float
) -> list[tuple[Polygon, Array]]:
    """Slices of a drift around an outside corner.

    Parameters
    ----------
    corner : (2,) float
        [m]
    first, second : (2,) float
        Unit normals of the two walls; the first turns clockwise to the second.
    peak : float
        At the corner. [Pa]
    length : float
        Where it is down to 0, in every direction. [m]

    Returns
    -------
    list of polygon and (3,) float
        Triangles and a, b, c of their pressure, peak (1 - x / length) along the middle of each.
    """
    whole = float(np.arccos(np.clip(first @ second, -1.0, 1.0)))
    count = max(int(np.ceil(whole / SLICE - 1e-9)), 1)
    begin = np.arctan2(first[1], first[0])
    angle = begin - np.linspace(0.0, whole, count + 1)
    rim = corner[:2] + length / np.cos(0.5 * whole / count) * np.stack([np.cos(angle), np.sin(angle)], axis=1)
    middle = 0.5 * (angle[:-1] + angle[1:])
    ways = np.stack([np.cos(middle), np.sin(middle)], axis=1)
    return [
        (Polygon([corner[:2], rim[k], rim[k + 1]]), falling_pressure(corner, ways[k], peak, length))
        for k in range(count)
    ]


def slices(zone: Zone, start: Array, end: Array, wall: int, pairs: IntArray) -> list[Zone]:
    """Drift of p_d over w in front of one wall, run on around its outside corners; not yet cut to planes."""
    given = {value.symbol: value.value for value in zone.values}
    return run_on(zone, given["p_d"], given["w"], (start, end), wall, pairs)


def run_on(
    zone: Zone, peak: float, length: float, feet: tuple[Array, Array], wall: int, pairs: IntArray
) -> list[Zone]:
    """Slices of a drift with a peak [Pa] and length [m] at both ends of a wall, not yet cut to planes.

    As `corner_slices`; none at ends that are no outside corners.
    """
    start, end = feet
    normal = left_normal(start, end)
    zone = replace(zone, name=f"{zone.name}{AROUND}")
    return [
        replace(zone, polygon=polygon, pressure=law)
        for a, b in pairs[(pairs == wall).any(axis=1)]
        for polygon, law in corner_slices(start[b], normal[a], normal[b], peak, length)
    ]
