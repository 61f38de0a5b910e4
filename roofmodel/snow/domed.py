"""Snow on domes and cones: one linear pressure on each facet or part of one, nowhere below the standard's."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import Polygon
from shapely.geometry.base import BaseGeometry

from roofmodel.snow.cases import Zone
from roofmodel.snow.regions import Plan, polygonal
from roofmodel.surface import Dome, RoofSurface

Array = NDArray[np.float64]
Field = Callable[[Array], Array]

WINDS = 8  # every facet up to 45 degrees wide lies within the full sector of one of them
FULL = np.radians(45.0)  # ASCE/SEI 7 7.6.4: half of the sector that carries the whole load
NONE = np.radians(67.5)  # and half of that outside of which none lies
CLOSE = 0.04  # parts whose linear pressure lies farther above the standard's are halved, of the greatest
HALVINGS = 2
DOME_NOTE = (
    "The {kind} counts as round, with its eave at the distance of the nearest one from the crown; the load at"
    " the eave holds from there on. Wind in any other direction turns the case: each facet takes the whole"
    " load in one of these. Each zone is a plane at or just above the load of the standard."
)


def dome_name(roof: RoofSurface, dome: Dome) -> str:
    """Name for titles, by its first facet where there are several."""
    several = sum(other.kind == dome.kind for other in roof.domes) > 1
    return f"the {dome.kind}{f' with {roof.planes.name[dome.plane[0]]}' if several else ''}"


def dome_winds(roof: RoofSurface, dome: Dome) -> list[Array]:
    """Plan unit vectors of the winds: in the fall of each facet of few, else eight all around."""
    azimuth = np.sort(roof.planes.azimuth[dome.plane])
    apart = azimuth[np.r_[True, np.diff(azimuth) > np.radians(1.0)]]
    if len(apart) > 1 and apart[0] + 2.0 * np.pi - apart[-1] <= np.radians(1.0):
        apart = apart[:-1]
    if len(apart) > WINDS:
        first = roof.planes.azimuth[dome.plane[0]]
        apart = first + 2.0 * np.pi * np.arange(WINDS) / WINDS
    return list(np.stack([np.sin(apart), np.cos(apart)], axis=1))


def sector_regions(dome: Dome, wind: Array) -> list[BaseGeometry]:
    """Plan regions of ASCE/SEI 7 7.6.4 within which the load has no jump in direction. [m].

    Parameters
    ----------
    dome : Dome
    wind : (2,) float
        Unit vector, where the wind blows to.
    """
    side = np.array([wind[1], -wind[0]])
    far = 4.0 * dome.outer

    def wedge(low: float, high: float) -> Polygon:
        angle = np.array([low, 0.5 * (low + high), high])
        rim = np.cos(angle)[:, None] * wind + np.sin(angle)[:, None] * side
        return Polygon([dome.center, *(dome.center + far * rim)])

    return [wedge(-NONE, -FULL), wedge(-FULL, 0.0), wedge(0.0, FULL), wedge(FULL, NONE)]


def sector_field(dome: Dome, wind: Array, knots: Sequence[float], pressure: Sequence[float]) -> Field:
    """Load of ASCE/SEI 7 7.6.4: radial over 90 degrees downwind, to zero over 22.5 on each side.

    Parameters
    ----------
    dome : Dome
    wind : (2,) float
    knots : (k,) float
        Distances from the crown, from 0 to the eave; linear between, constant beyond. [m]
    pressure : (k,) float
        At the knots. [Pa]

    Returns
    -------
    callable
        Pressure (n,) [Pa] at plan points (n, 2) [m].
    """
    side = np.array([wind[1], -wind[0]])

    def field(xy: Array) -> Array:
        local = xy - dome.center
        angle = np.abs(np.arctan2(local @ side, local @ wind))
        share = np.clip((NONE - angle) / (NONE - FULL), 0.0, 1.0)
        share[np.hypot(*local.T) < 1e-9] = 1.0  # the crown is in every direction
        return np.asarray(share * np.interp(np.hypot(*local.T), knots, pressure))

    return field


def disc(dome: Dome, radius: float, wind: Array) -> Polygon:
    """Circle around the crown as a polygon that is symmetric about the wind. [m]."""
    angle = np.linspace(0.0, 2.0 * np.pi, 48, endpoint=False)[:, None]
    side = np.array([wind[1], -wind[0]])
    return Polygon(dome.center + radius * (np.cos(angle) * wind + np.sin(angle) * side))


def dome_zones(
    plan: Plan, dome: Dome, regions: Sequence[BaseGeometry], field: Field, like: Zone
) -> list[Zone]:
    """Zones of a load on the facets of a dome.

    Parameters
    ----------
    plan : Plan
    dome : Dome
    regions : sequence of shapely geometry
        Where there is load, cut along its bends. [m]
    field : callable
        Pressure at plan points.
    like : Zone
        Its name, clause, formula and values.
    """
    facets = np.array([plan.polygon[i] for i in dome.plane], dtype=object)
    shapes = np.array(regions, dtype=object)
    facet, region = shapely.STRtree(shapes).query(facets, predicate="intersects")
    cut = shapely.intersection(facets[facet], shapes[region])
    size = field(shapely.get_coordinates(facets)).max(initial=0.0)
    found = []
    for plane, part in zip(dome.plane[facet], cut, strict=True):
        for polygon in _polygons(part):
            found += [
                replace(like, plane=int(plane), polygon=piece, pressure=law)
                for piece, law in _planes_above(polygon, field, CLOSE * size, HALVINGS)
            ]
    return found


def _polygons(geometry: BaseGeometry) -> list[Polygon]:
    whole = polygonal(geometry)
    return [] if whole is None else [whole] if isinstance(whole, Polygon) else list(whole.geoms)


def _planes_above(polygon: Polygon, field: Field, close: float, left: int) -> list[tuple[Polygon, Array]]:
    """Parts of a polygon, each with the a, b, c of a plane that is nowhere below a field."""
    corners = np.unique(np.round(shapely.get_coordinates(polygon), 9), axis=0)
    center = np.array(polygon.centroid.coords[0])
    rim = shapely.get_coordinates(shapely.segmentize(polygon.exterior, np.sqrt(polygon.area) / 4.0))[:-1]
    points = np.concatenate([rim, 0.5 * (rim + center), [center]])
    inner = points + 1e-6 * (center - points)  # not beyond a bend
    value = field(inner)
    if value.max() <= 0.0:
        return []
    basis = np.column_stack([np.ones(len(points)), points - center])
    law = np.linalg.lstsq(basis, value, rcond=None)[0]
    law[0] += (value - basis @ law).max()
    above = basis @ law - value
    if left and above.max() > close:
        low, high = corners.min(axis=0), corners.max(axis=0)
        box = shapely.oriented_envelope(polygon)
        first, second, third = shapely.get_coordinates(box)[:3]
        sides = (second - first, third - second)
        long = max(sides, key=np.linalg.norm)
        along, reach = long / np.linalg.norm(long), float(np.linalg.norm(high - low)) + 1.0
        across = np.array([-along[1], along[0]])
        ahead, aside = reach * along, reach * across
        half = Polygon(center + np.array([-aside, ahead - aside, ahead + aside, aside]))
        halves = (*_polygons(polygon.intersection(half)), *_polygons(polygon.difference(half)))
        return [piece for part in halves for piece in _planes_above(part, field, close, left - 1)]
    return [(polygon, np.array([law[0] - law[1:] @ center, *law[1:]]))]
