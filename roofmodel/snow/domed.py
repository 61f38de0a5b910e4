"""Snow on domes and cones: linear pressures on parts of facets, each the standard's at its largest."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from itertools import combinations

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import Polygon
from shapely.geometry.base import BaseGeometry

from roofmodel.counting import within
from roofmodel.snow.cases import Value, Zone
from roofmodel.snow.regions import Plan, polygonal
from roofmodel.surface import Dome, RoofSurface

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]
Field = Callable[[Array], Array]
Told = Callable[[Array], tuple[str, tuple[Value, ...]]]

WINDS = 8  # every facet up to 45 degrees wide lies within the full sector of one of them
FULL = np.radians(45.0)  # ASCE/SEI 7 7.6.4: half of the sector that carries the whole load
NONE = np.radians(67.5)  # and half of that outside of which none lies
CLOSE = 0.04  # parts whose linear pressure lies farther above the standard's are halved, of the greatest
HALVINGS = 2
SAME = 1e-6  # places nearer than this are one [m]
CHORD = np.radians(7.5)  # a circle's longest chord
BATCH = 256  # parts at a time
DOME_NOTE = (
    "The {kind} counts as round, with its eave at the distance of the nearest one from the crown; the load at"
    " the eave holds from there on. Wind in any other direction turns the case: each facet takes the whole"
    " load in one of these. The largest pressure of each zone is that of the standard at the place given with"
    " it; from there it falls as a plane that is nowhere below the standard's load."
)


def dome_name(roof: RoofSurface, dome: Dome) -> str:
    """Name for titles, by its first facet where there are several."""
    several = sum(other.kind == dome.kind for other in roof.domes) > 1
    return f"the {dome.kind}{f' with {roof.planes.name[dome.plane[0]]}' if several else ''}"


def sphere_values(dome: Dome) -> tuple[Value, ...]:
    """Rise, corners and eave of a dome or cone, and the radius of a dome. [m]."""
    values = (
        Value("h", dome.rise, "m", "crown above the corners of the eave"),
        Value("r_c", dome.outer, "m", "from the crown to the farthest corner of the eave, on plan"),
        Value("x_s", dome.reach, "m", "from the crown to the nearest point of the eave, on plan"),
    )
    if dome.pitch:
        return values
    formula = "(r_c^2 + h^2) / (2 h)"
    if not math.isclose((dome.outer**2 + dome.rise**2) / (2.0 * dome.rise), dome.radius, rel_tol=5e-7):
        formula = ""
    note = (
        "of the sphere through the corners of the facets" if formula else "of the sphere nearest the corners"
    )
    return (*values, Value("R", dome.radius, "m", note, formula))


def place_values(dome: Dome, wind: Array, place: Array) -> tuple[float, float, float, float]:
    """Distance from the crown, angle from the wind, and both along it and across. [m, rad, m, m]."""
    local = place - dome.center
    along, across = float(local @ wind), abs(float(local @ np.array([wind[1], -wind[0]])))
    along, across = (0.0 if abs(part) < SAME else part for part in (along, across))
    return float(np.hypot(along, across)), float(np.arctan2(across, along)), along, across


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

    return [wedge(-NONE, -FULL), wedge(-FULL, FULL), wedge(FULL, NONE)]


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


def disc(plan: Plan, dome: Dome, radius: float, wind: Array) -> Polygon:
    """Circle around the crown as a polygon that bends where facets meet. [m]."""
    local = shapely.get_coordinates([plan.polygon[i] for i in dome.plane]) - dome.center
    local = local[np.hypot(*local.T) > 1e-6 * dome.outer]
    first = np.arctan2(wind[1], wind[0])
    turn = np.unique(np.round((np.arctan2(local[:, 1], local[:, 0]) - first) % (2.0 * np.pi), 6))
    if not 5 < len(turn) <= 60:
        turn = np.linspace(0.0, 2.0 * np.pi, 48, endpoint=False)
    gap = np.diff(np.r_[turn, turn[0] + 2.0 * np.pi])
    parts = np.maximum(np.ceil(gap / CHORD - 1e-6), 1.0).astype(int)
    step = within(parts)
    angle = first + np.repeat(turn, parts) + step * np.repeat(gap / parts, parts)
    return Polygon(dome.center + radius * np.stack([np.cos(angle), np.sin(angle)], axis=1))


def dome_zones(
    plan: Plan, dome: Dome, regions: Sequence[BaseGeometry], field: Field, like: Zone, told: Told
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
        Its name and clause.
    told : callable
        Formula of the standard and its values at a plan point (2,): where a zone has its largest pressure.
    """
    facets = np.array([plan.polygon[i] for i in dome.plane], dtype=object)
    shapes = np.array(regions, dtype=object)
    facet, region = shapely.STRtree(shapes).query(facets, predicate="intersects")
    cut = shapely.intersection(facets[facet], shapes[region])
    size = field(shapely.get_coordinates(facets)).max(initial=0.0)
    waiting = [
        _Part(int(plane), polygon)
        for plane, part in zip(dome.plane[facet], cut, strict=True)
        for polygon in _polygons(part)
    ]
    found: list[Zone] = []
    for left in range(HALVINGS, -1, -1):
        rest = []
        for begin in range(0, len(waiting), BATCH):
            some = waiting[begin : begin + BATCH]
            halve: list[_Part] = []
            tops, laws, over = _planes_above([part.polygon for part in some], dome.center, field)
            for part, top, law, above in zip(some, tops, laws, over, strict=True):
                if left and above > CLOSE * size:
                    halve.append(part)
                elif not np.isnan(above):
                    formula, values = told(top)
                    found.append(
                        replace(
                            like,
                            plane=part.plane,
                            polygon=part.polygon,
                            pressure=law,
                            formula=formula,
                            values=values,
                        )
                    )
            halves = _halved([part.polygon for part in halve], dome.center)
            rest += [_Part(part.plane, half) for part, two in zip(halve, halves, strict=True) for half in two]
        waiting = rest
    return sorted(found, key=lambda zone: zone.plane)


@dataclass(frozen=True)
class _Part:
    """Part of a facet."""

    plane: int
    polygon: Polygon


def _polygons(geometry: BaseGeometry) -> list[Polygon]:
    whole = polygonal(geometry)
    return [] if whole is None else [whole] if isinstance(whole, Polygon) else list(whole.geoms)


def _halved(polygons: Sequence[Polygon], crown: Array) -> list[list[Polygon]]:
    """Both halves of each polygon, cut across its longer side, from the crown or around it."""
    if not polygons:
        return []
    whole = np.array(polygons, dtype=object)
    center = shapely.get_coordinates(shapely.centroid(whole))
    away = center - crown
    out = away / np.maximum(np.linalg.norm(away, axis=1), 1e-300)[:, None]
    ways = np.stack([out, np.stack([-out[:, 1], out[:, 0]], axis=1)], axis=1)
    corners, owner = shapely.get_coordinates(whole, return_index=True)
    reach = np.einsum("nki,ni->nk", ways[owner], corners)
    start = np.flatnonzero(np.diff(owner, prepend=-1))
    long = np.maximum.reduceat(reach, start) - np.minimum.reduceat(reach, start)
    radial = (long[:, 0] > 1.001 * long[:, 1])[:, None, None]
    along, across = np.moveaxis(np.where(radial, ways, ways[:, ::-1]), 1, 0)
    size = (2.0 * long.max(axis=1) + 1.0)[:, None]
    ahead, aside = size * along, size * across
    ring = np.stack([-aside, ahead - aside, ahead + aside, aside], axis=1) + center[:, None]
    half = shapely.polygons(ring)
    cuts = zip(shapely.intersection(whole, half), shapely.difference(whole, half), strict=True)
    return [[*_polygons(one), *_polygons(other)] for one, other in cuts]


def _samples(polygons: Sequence[Polygon], crown: Array) -> tuple[Array, IntArray, Array, IntArray]:
    """Corners of polygons, and points to look at (rim, foot of the crown on edges, middle); whose each is."""
    whole = np.array(polygons, dtype=object)
    ring, owner = shapely.get_coordinates(shapely.get_exterior_ring(whole), return_index=True)
    last = np.diff(owner, append=-1) != 0
    first, edge, own = ring[~last], (np.roll(ring, -1, axis=0) - ring)[~last], owner[~last]
    share = np.sum((crown - first) * edge, axis=1) / np.maximum(np.sum(edge**2, axis=1), 1e-300)
    center = shapely.get_coordinates(shapely.centroid(whole))
    foot = first + np.clip(share, 0.0, 1.0)[:, None] * edge
    points = np.concatenate([first, foot, first + 0.5 * edge, center])
    at = np.concatenate([own, own, own, np.arange(len(whole))])
    order = np.argsort(at, kind="stable")
    points, at = points[order], at[order]
    crowned = np.linalg.norm(points - crown, axis=1) < 1e-9
    points[crowned] += 1e-6 * (center[at] - points)[crowned]  # the crown lies in every direction
    return first, own, points, at


def _planes_above(polygons: Sequence[Polygon], crown: Array, field: Field) -> tuple[Array, Array, Array]:
    """Planes nowhere below a field in polygons, and no higher than it is at its largest in each.

    Returns
    -------
    (n, 2), (n, 3), (n,) float
        Where the field is largest [m], where the plane meets it; a, b, c; by how much the plane is above the
        field at most, NaN where there is no load. [Pa]
    """
    corners, owner, points, at = _samples(polygons, crown)
    count = len(polygons)
    place, spot = (np.arange(len(one)) - np.searchsorted(one, one) for one in (at, owner))
    value = np.full((count, place.max() + 1), -np.inf)
    value[at, place] = field(points)
    best = np.argmax(value >= value.max(axis=1, keepdims=True) * (1.0 - 1e-12), axis=1)
    high = value[np.arange(count), best]
    top = points[np.searchsorted(at, np.arange(count)) + best]
    # Step from the largest, how much less is there, and steps to corners; padded by the largest itself.
    step, less = np.zeros((*value.shape, 2)), np.zeros(value.shape)
    step[at, place], less[at, place] = points - top[at], value[at, place] - high[at]
    edge = np.zeros((count, spot.max() + 1, 2))
    edge[owner, spot] = corners - top[owner]
    grade = _steepest(step, np.minimum(less, 0.0), edge)
    over = np.max(np.einsum("kni,ki->kn", step, grade) - less, axis=1)
    law = np.column_stack([high - np.sum(grade * top, axis=1), grade])
    return top, law, np.where(high > 0.0, over, np.nan)


def _steepest(step: Array, less: Array, edge: Array) -> Array:
    """Slopes (k, 2) with slope . step >= less and slope . edge <= 0 that bring the planes lowest.

    Linear programs of two unknowns: the best of all points where two bounds meet; level planes are allowed.
    """
    size = np.abs(less).max(axis=1, initial=0.0)
    size = np.where(size > 0.0, size, 1.0)
    length = np.maximum(np.linalg.norm(step, axis=2).max(axis=1), 1e-300)
    rows = np.concatenate([step, -edge], axis=1) / length[:, None, None]
    bounds = np.concatenate([less, np.zeros(edge.shape[:2])], axis=1) / size[:, None]
    first, second = np.array(list(combinations(range(rows.shape[1]), 2))).T
    a, b = rows[:, first], rows[:, second]
    cross = a[..., 0] * b[..., 1] - a[..., 1] * b[..., 0]
    with np.errstate(divide="ignore", invalid="ignore"):
        x = (bounds[:, first] * b[..., 1] - bounds[:, second] * a[..., 1]) / cross
        y = (bounds[:, second] * a[..., 0] - bounds[:, first] * b[..., 0]) / cross
    meet = np.where((np.abs(cross) > 1e-9)[..., None], np.stack([x, y], axis=-1), 0.0)
    kept = np.ones(meet.shape[:2], dtype=bool)
    for n in range(rows.shape[1]):  # row by row, to need little memory
        kept &= (
            meet[..., 0] * rows[:, None, n, 0] + meet[..., 1] * rows[:, None, n, 1]
            >= bounds[:, None, n] - 1e-9
        )
    total = np.where(kept, np.einsum("kmi,ki->km", meet, rows[:, : step.shape[1]].sum(axis=1)), np.inf)
    best = np.argmin(total, axis=1)
    chosen = meet[np.arange(len(meet)), best]
    return chosen * (size / length)[:, None]
