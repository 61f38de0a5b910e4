"""Snow cases as sums of linear pressure patches, integrated exactly.

A case is a list of zones. Each zone is a plan polygon on one plane with a pressure that varies linearly
inside it; where zones overlap, pressures add. Pressure is vertical, per plan area.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import MultiPolygon, Polygon

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]


# Overlays of shapes that share edges to rounding can go wrong without a grid. [m]
GRID = 1e-10
LONG = 5  # numbers in formulas with more digits are converted constants, and printed with so many


class LoadLevel(StrEnum):
    """What the standard's own number means."""

    STRENGTH = "strength"  # already factored (ASCE/SEI 7-22 ground snow)
    CHARACTERISTIC = "characteristic"  # to be multiplied by the load factor of the format
    MEASURED = "measured"  # what lay on the roof


@dataclass(frozen=True)
class Bare:
    """A formula between bare numbers, as standards print them in one set of units.

    Attributes
    ----------
    us : str
        With psf, ft, pcf and degrees.
    si : str
        With kN/m^2, m, kN/m^3 and degrees; "" where it is the same.
    """

    us: str
    si: str = ""

    def text(self, system: str) -> str:
        """Formula in "SI" or "US" numbers."""
        return self.si if self.si and system == "SI" else self.us


def short_numbers(formula: str) -> str:
    """Formula with its converted constants, of more than five digits, printed with five."""
    return re.sub(
        r"(?<![\w.])\d+\.\d+",
        lambda m: m[0] if len(m[0].replace(".", "").lstrip("0")) <= LONG else f"{float(m[0]):.{LONG}g}",
        formula,
    )


@dataclass(frozen=True)
class Value:
    """One number of a formula: symbol, SI value, SI unit as pint reads it, and where it comes from.

    `formula` is what it comes to from other values of the same zone: a text in their symbols that holds in
    any units, or `Bare`; empty where it is given, measured on the roof or read from a table.
    """

    symbol: str
    value: float
    unit: str = ""
    note: str = ""
    formula: str | Bare = ""


@dataclass(frozen=True)
class Zone:
    """A patch of snow on one plane.

    Attributes
    ----------
    name : str
        Plain words, such as "leeward drift below N1".
    plane : int
        Index of the plane.
    polygon : shapely Polygon or MultiPolygon
        Extent on plan, local roof coordinates. [m]
    pressure : (3,) float
        a, b, c of p(x, y) = a + b x + c y, vertical per plan area. [Pa, Pa/m, Pa/m]
    clause : str
        Standard and clause.
    formula : str
        The formula in symbols, such as "p_s = C_s p_f".
    values : tuple of Value
        What the symbols stand for here.
    """

    name: str
    plane: int
    polygon: Polygon | MultiPolygon
    pressure: Array
    clause: str
    formula: str
    values: tuple[Value, ...] = ()


@dataclass(frozen=True)
class SnowCase:
    """One arrangement of snow on the roof.

    Attributes
    ----------
    name : str
        Short and unique, such as "unbalanced, wind from W".
    standard : str
        Standard and edition.
    level : LoadLevel
        What the pressures mean.
    zones : tuple of Zone
        Patches that add up.
    density : float
        Density for depth, the lightest that fits the case. [kg/m^3]
    notes : tuple of str
        Choices made and said, such as that retained snow takes no slippery reduction.
    service : float
        Share of the case that counts for serviceability, where the standard itself has one.
    """

    name: str
    standard: str
    level: LoadLevel
    zones: tuple[Zone, ...]
    density: float
    notes: tuple[str, ...] = ()
    service: float = 1.0


@dataclass(frozen=True)
class SnowSet:
    """All cases of a roof, and those that were considered and do not apply, with why."""

    cases: tuple[SnowCase, ...]
    skipped: tuple[tuple[str, str], ...] = ()


def linear_integral(polygons: NDArray[np.object_], pressure: Array) -> Array:
    """Integrate linear pressures over polygons exactly.

    Parameters
    ----------
    polygons : (n,) shapely geometry
        Plan polygons; empty ones give 0. [m]
    pressure : (3,) or (n, 3) float
        a, b, c of a + b x + c y. [Pa, Pa/m, Pa/m]

    Returns
    -------
    (n,) float
        Force. [N] The integral of a linear function is its value at the centroid times the area.
    """
    area = np.asarray(shapely.area(polygons))
    coefficients = np.broadcast_to(pressure, (len(polygons), 3))
    return area * (coefficients[:, 0] + np.sum(coefficients[:, 1:] * _centroids(polygons), axis=1))


def case_force(case: SnowCase, polygons: NDArray[np.object_], plane: IntArray) -> Array:
    """Vertical snow force (n,) of one case; see `case_forces`. [N]."""
    return case_forces((case,), polygons, plane)[0]


def case_forces(cases: Sequence[SnowCase], polygons: NDArray[np.object_], plane: IntArray) -> Array:
    """Vertical snow force of every case on every plan polygon.

    Parameters
    ----------
    cases : sequence of SnowCase, (q,)
    polygons : (n,) shapely Polygon
        Plan polygons. [m]
    plane : (n,) int
        Plane each polygon lies on.

    Returns
    -------
    (q, n) float
        Exact integrals of the pressures. [N]
    """
    area = np.asarray(shapely.area(polygons))
    moment = area[:, None] * _centroids(polygons)
    met: dict[tuple[int, bytes], tuple[IntArray, Array, Array]] = {}
    force = np.zeros((len(cases), len(polygons)))
    present = set(plane.tolist())
    for number, case in enumerate(cases):
        for zone in case.zones:
            if zone.plane not in present:
                continue
            key = (zone.plane, zone.polygon.wkb)  # cases share most of their polygons
            if key not in met:
                met[key] = _meet(zone, polygons, plane, area, moment)
            index, size, first = met[key]
            force[number, index] += zone.pressure[0] * size + first @ zone.pressure[1:]
    return force


def _meet(
    zone: Zone, polygons: NDArray[np.object_], plane: IntArray, area: Array, moment: Array
) -> tuple[IntArray, Array, Array]:
    """Polygons that meet a zone: which, and area and first moments of what they share with it."""
    on = np.flatnonzero(plane == zone.plane)
    shapely.prepare(zone.polygon)
    inside = shapely.contains_properly(zone.polygon, polygons[on])
    edge = on[~inside]
    edge = edge[shapely.intersects(zone.polygon, polygons[edge])]
    cut = shapely.intersection(zone.polygon, polygons[edge], grid_size=GRID)
    cut_area = np.asarray(shapely.area(cut))
    whole = on[inside]
    return (
        np.concatenate([whole, edge]),
        np.concatenate([area[whole], cut_area]),
        np.concatenate([moment[whole], cut_area[:, None] * _centroids(cut)]),
    )


def _centroids(polygons: NDArray[np.object_]) -> Array:
    """Centroids (n, 2), the origin for empty shapes. [m]."""
    full = ~shapely.is_empty(polygons)
    centers = np.zeros((len(polygons), 2))
    centers[full] = shapely.get_coordinates(shapely.centroid(polygons[full]))
    return centers


def case_pressure_at(case: SnowCase, xy: Array, plane: IntArray) -> Array:
    """Pressure (n,) at plan points (n, 2) that lie on the given planes (n,). [Pa]."""
    pressure = np.zeros(len(xy))
    points = shapely.points(xy)
    for zone in case.zones:
        shapely.prepare(zone.polygon)
        hit = (plane == zone.plane) & shapely.intersects(zone.polygon, points)
        pressure[hit] += zone.pressure[0] + xy[hit] @ zone.pressure[1:]
    return pressure
