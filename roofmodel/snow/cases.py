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

from roofmodel.snow.sharing import centroids, shared_moments

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]


SPECK = 1e-12  # what zone and polygon share below this is rounding [m^2]
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
    return area * (coefficients[:, 0] + np.sum(coefficients[:, 1:] * centroids(polygons), axis=1))


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
    from scipy.sparse import coo_array

    present = set(plane.tolist())
    zones = [(q, zone) for q, case in enumerate(cases) for zone in case.zones if zone.plane in present]
    shape, numbers = _same_shapes([zone for _, zone in zones])
    on = np.array([zone.plane for zone in shape], dtype=np.int64)
    which, met, area, moment = _meet(
        np.array([zone.polygon for zone in shape], dtype=object), on, polygons, plane
    )
    case = np.array([q for q, _ in zones], dtype=np.int64)
    pressure = np.array([zone.pressure for _, zone in zones]).reshape(-1, 3)
    force = np.zeros((len(cases), len(polygons)))
    for k, amount in enumerate((area, *moment.T)):
        laid = coo_array((pressure[:, k], (case, numbers)), shape=(len(cases), len(shape)))
        force += (
            laid.tocsr() @ coo_array((amount, (which, met)), shape=(len(shape), len(polygons)))
        ).toarray()
    return force


def _same_shapes(zones: Sequence[Zone]) -> tuple[list[Zone], IntArray]:
    """Zones that differ in plane or polygon, and which of them each is like: cases share most of theirs."""
    distinct = {id(zone.polygon): zone.polygon for zone in zones}
    shapes = np.fromiter(distinct.values(), dtype=object, count=len(distinct))
    words = dict(zip(distinct, shapely.to_wkb(shapes), strict=True))
    first: dict[tuple[int, bytes], int] = {}
    kept: list[Zone] = []
    numbers = np.zeros(len(zones), dtype=np.int64)
    for i, zone in enumerate(zones):
        numbers[i] = first.setdefault((zone.plane, words[id(zone.polygon)]), len(kept))
        if numbers[i] == len(kept):
            kept.append(zone)
    return kept, numbers


def _meet(
    shapes: NDArray[np.object_], on: IntArray, polygons: NDArray[np.object_], plane: IntArray
) -> tuple[IntArray, IntArray, Array, Array]:
    """Shapes and polygons of one plane that meet: which, area and first moments of what they share."""
    which, met = shapely.STRtree(polygons).query(shapes)
    same = plane[met] == on[which]
    which, met = which[same], met[same]
    shapely.prepare(shapes)
    inside = shapely.contains_properly(shapes[which], polygons[met])
    area = np.asarray(shapely.area(polygons))[met]
    moment = area[:, None] * centroids(polygons)[met]
    edge = np.flatnonzero(~inside)
    apart = ~shapely.intersects(shapes[which[edge]], polygons[met[edge]])
    area[edge[apart]] = 0.0
    edge = edge[~apart]
    area[edge], moment[edge] = shared_moments(shapes, polygons, (which[edge], met[edge]))
    some = area > SPECK
    return which[some], met[some], area[some], moment[some]


def case_pressure_at(case: SnowCase, xy: Array, plane: IntArray) -> Array:
    """Pressure (n,) at plan points (n, 2) that lie on the given planes (n,). [Pa]."""
    pressure = np.zeros(len(xy))
    points = shapely.points(xy)
    for zone in case.zones:
        shapely.prepare(zone.polygon)
        hit = (plane == zone.plane) & shapely.intersects(zone.polygon, points)
        pressure[hit] += zone.pressure[0] + xy[hit] @ zone.pressure[1:]
    return pressure
