"""What the snow cases of a project come to: different zones once, pressures where zones add, totals."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import MultiPolygon, Polygon

from roofmodel.project.load import Project
from roofmodel.snow.cases import SnowCase, SnowSet, Zone, case_forces
from roofmodel.snow.regions import plan_polygon, polygonal
from roofmodel.snow.sharing import GRID

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]
Shapes = NDArray[np.object_]

AGREE = 1e-6  # of a case's total: the two integrals of it may differ by this much [-]
WHOLE = 0.999  # a zone on this share of its plane lies on all of it [-]


@dataclass(frozen=True)
class Patch:
    """A zone of one or more cases, with what can be checked by hand.

    Attributes
    ----------
    number : int
        From 1, the same in all drawings and tables.
    zone : Zone
    cases : tuple of int
        Indices of the cases it belongs to.
    low, high : float
        Smallest and largest pressure in it. [Pa]
    high_at : (2,) float
        Corner with the largest pressure. [m]
    area : float
        On plan. [m^2]
    centroid : (2,) float
        [m]
    force : float
        Integral of the pressure, from the corners. [N]
    base : bool
        Whether it is a first layer that lies on the whole of its plane; others are drifts and surcharges.
    """

    number: int
    zone: Zone
    cases: tuple[int, ...]
    low: float
    high: float
    high_at: Array
    area: float
    centroid: Array
    force: float
    base: bool


@dataclass(frozen=True)
class Cells:
    """Parts of the planes in which the sum of all zones is one linear pressure.

    Attributes
    ----------
    polygon : (n,) shapely Polygon or MultiPolygon
        On plan. [m]
    plane : (n,) int
    pressure : (n, 3) float
        a, b, c of a + b x + c y. [Pa, Pa/m, Pa/m]
    """

    polygon: Shapes
    plane: IntArray
    pressure: Array


@dataclass(frozen=True)
class CaseFinding:
    """One case: its zones, the sum of them, and totals by two ways.

    Attributes
    ----------
    case : SnowCase
    patches : tuple of int
        Indices of the case's zones in `SnowFindings.patches`, in the order of the case.
    cells : Cells
    largest : float
        Largest pressure where zones add. [Pa]
    largest_at : (2,) float
        Where it is. [m]
    largest_cell : int
        Cell that holds it; -1 where the case has no zone.
    total : float
        Vertical load of all zones, from their corners. [N]
    plane_force : (p,) float
        Vertical load on each plane, as the analysis of the rows integrates it. [N]
    mean : float
        Total over the plan area of the roof. [Pa]
    """

    case: SnowCase
    patches: tuple[int, ...]
    cells: Cells
    largest: float
    largest_at: Array
    largest_cell: int
    total: float
    plane_force: Array
    mean: float

    @property
    def largest_plane(self) -> int:
        """Plane with the largest pressure; the first one for a case without zones."""
        return int(self.cells.plane[self.largest_cell]) if self.largest_cell >= 0 else 0

    @property
    def difference(self) -> float:
        """Difference of the two integrals over the total. [-]."""
        return abs(self.total - float(self.plane_force.sum())) / max(abs(self.total), 1e-9)


@dataclass(frozen=True)
class SnowFindings:
    """All cases of a project."""

    project: Project
    snow: SnowSet
    patches: tuple[Patch, ...]
    cases: tuple[CaseFinding, ...]

    @property
    def largest(self) -> float:
        """Largest pressure of all cases. [Pa]."""
        return max((case.largest for case in self.cases), default=0.0)

    def on_top(self, index: int) -> frozenset[int]:
        """Patches of a case that lie on earlier ones."""
        below: dict[int, list[Polygon | MultiPolygon]] = {}
        found = []
        for i in self.cases[index].patches:
            zone = self.patches[i].zone
            under = below.setdefault(zone.plane, [])
            if any(polygonal(shapely.intersection(other, zone.polygon)) is not None for other in under):
                found.append(i)
            under.append(zone.polygon)
        return frozenset(found)

    @property
    def proven(self) -> bool:
        """Whether the totals of every case agree."""
        return all(case.difference <= AGREE for case in self.cases)


def snow_findings(project: Project, snow: SnowSet) -> SnowFindings:
    """Sort the zones, add up their pressures and integrate them.

    Parameters
    ----------
    project : Project
    snow : SnowSet
        The cases of this project.
    """
    planes = project.roof.planes
    plan = np.array([plan_polygon(project.roof, i) for i in range(planes.count)])
    found: dict[tuple[object, ...], list[int]] = {}
    first: dict[tuple[object, ...], Zone] = {}
    order: list[list[tuple[object, ...]]] = []
    for number, case in enumerate(snow.cases):
        keys = [_key(zone) for zone in case.zones]
        order.append(keys)
        for key, zone in zip(keys, case.zones, strict=True):
            first.setdefault(key, zone)
            members = found.setdefault(key, [])
            if number not in members:
                members.append(number)
    place = {key: i for i, key in enumerate(first)}
    below = _first_layers(snow.cases)
    patches = tuple(
        _patch(i + 1, zone, tuple(found[key]), float(plan[zone.plane].area), key in below)
        for i, (key, zone) in enumerate(first.items())
    )
    forces = case_forces(snow.cases, plan, np.arange(planes.count))
    met: dict[tuple[int, ...], list[tuple[Polygon | MultiPolygon, Array]]] = {}
    area = float(planes.plan_area.sum())
    cases = tuple(
        _case(case, [place[key] for key in keys], patches, met, force, area)
        for case, keys, force in zip(snow.cases, order, forces, strict=True)
    )
    return SnowFindings(project, snow, patches, cases)


def _key(zone: Zone) -> tuple[object, ...]:
    return (
        zone.name,
        zone.plane,
        zone.pressure.tobytes(),
        zone.polygon.wkb,
        zone.clause,
        zone.formula,
        zone.values,
    )


def _first_layers(cases: Sequence[SnowCase]) -> set[tuple[object, ...]]:
    """Zones that are the first on their plane in some case."""
    found = set()
    for case in cases:
        seen: set[int] = set()
        for zone in case.zones:
            if zone.plane not in seen:
                found.add(_key(zone))
            seen.add(zone.plane)
    return found


def _patch(number: int, zone: Zone, cases: tuple[int, ...], plane_area: float, first: bool) -> Patch:
    corners = shapely.get_coordinates(zone.polygon)
    values = zone.pressure[0] + corners @ zone.pressure[1:]
    area, centroid = corner_integrals(zone.polygon)
    force = area * float(zone.pressure[0] + centroid @ zone.pressure[1:])
    top = int(np.argmax(values))
    return Patch(
        number,
        zone,
        cases,
        float(values.min()),
        float(values[top]),
        corners[top],
        area,
        centroid,
        force,
        first and area >= WHOLE * plane_area and not zone.pressure[1:].any(),
    )


def corner_integrals(polygon: Polygon | MultiPolygon) -> tuple[float, Array]:
    """Area and centroid of a polygon from its corners, by the sums that a reader would do by hand.

    Parameters
    ----------
    polygon : shapely Polygon or MultiPolygon
        Holes are taken off. [m]

    Returns
    -------
    (float, (2,) float)
        [m^2, m]
    """
    origin = shapely.get_coordinates(polygon)[0]
    area, moment = 0.0, np.zeros(2)
    for part in shapely.get_parts(polygon):
        for hole, ring in enumerate(shapely.get_rings(part)):
            p = shapely.get_coordinates(ring) - origin
            cross = p[:-1, 0] * p[1:, 1] - p[1:, 0] * p[:-1, 1]
            size = 0.5 * float(cross.sum())
            first = ((p[:-1] + p[1:]) * cross[:, None]).sum(axis=0) / 6.0
            sign = np.sign(size) * (-1.0 if hole else 1.0)
            area += sign * size
            moment += sign * first
    return area, origin + moment / max(area, 1e-300)


def _case(
    case: SnowCase,
    members: list[int],
    patches: Sequence[Patch],
    met: dict[tuple[int, ...], list[tuple[Polygon | MultiPolygon, Array]]],
    plane_force: Array,
    roof_area: float,
) -> CaseFinding:
    """Cells of one case; stacks of zones that other cases share are worked out once."""
    by_plane: dict[int, list[int]] = {}
    for i in members:
        by_plane.setdefault(patches[i].zone.plane, []).append(i)
    polygons: list[Polygon | MultiPolygon] = []
    pressures: list[Array] = []
    on: list[int] = []
    for plane, stack in by_plane.items():
        key = tuple(stack)
        if key not in met:
            met[key] = _stacked([patches[i].zone for i in stack])
        polygons += [polygon for polygon, _ in met[key]]
        pressures += [pressure for _, pressure in met[key]]
        on += [plane] * len(met[key])
    shapes = np.empty(len(polygons), dtype=object)
    shapes[:] = polygons
    cells = Cells(shapes, np.array(on, dtype=np.int64), np.array(pressures).reshape(-1, 3))
    corners, owner = shapely.get_coordinates(shapes, return_index=True)
    total = float(sum(patches[i].force for i in members))
    if not len(corners):
        return CaseFinding(case, tuple(members), cells, 0.0, np.zeros(2), -1, total, plane_force, 0.0)
    values = cells.pressure[owner, 0] + np.sum(corners * cells.pressure[owner, 1:], axis=1)
    top = int(np.argmax(values))
    cell = int(owner[top])
    return CaseFinding(
        case,
        tuple(members),
        cells,
        float(values[top]),
        _peak_place(cells, cell, corners[owner == cell], values[owner == cell]),
        cell,
        total,
        plane_force,
        total / roof_area,
    )


def _peak_place(cells: Cells, cell: int, corners: Array, values: Array) -> Array:
    """Where in a cell the pressure is largest: inside a uniform one, on the edge or corner of others. [m]."""
    least = values.max() - 1e-9 * max(abs(float(values.max())), 1.0)
    ends = np.unique(corners[values >= least], axis=0)  # an edge may have more than two corners
    if values.min() >= least:
        inside = shapely.maximum_inscribed_circle(cells.polygon[cell], tolerance=0.05)
        return np.asarray(shapely.get_coordinates(inside)[0])
    return np.asarray(0.65 * ends[0] + 0.35 * ends[-1])


def _stacked(zones: list[Zone]) -> list[tuple[Polygon | MultiPolygon, Array]]:
    """Cut the zones of one plane where they overlap, and add their pressures there."""
    cells: list[tuple[Polygon | MultiPolygon, Array]] = []
    for zone in zones:
        if not cells:
            cells = [(zone.polygon, zone.pressure)]
            continue
        old = np.empty(len(cells), dtype=object)
        old[:] = [polygon for polygon, _ in cells]
        both = shapely.intersection(old, zone.polygon, grid_size=GRID)
        alone = shapely.difference(old, zone.polygon, grid_size=GRID)
        new = shapely.difference(zone.polygon, shapely.union_all(old, grid_size=GRID), grid_size=GRID)
        parts = [(polygonal(a), pressure) for a, (_, pressure) in zip(alone, cells, strict=True)]
        parts += [
            (polygonal(b), pressure + zone.pressure) for b, (_, pressure) in zip(both, cells, strict=True)
        ]
        parts.append((polygonal(new), zone.pressure))
        cells = [(polygon, pressure) for polygon, pressure in parts if polygon is not None]
    return cells


def clauses(findings: SnowFindings, index: int) -> str:
    """Clauses that make a case what it is: those that the first case does not rest on, or else all."""
    patches = findings.patches
    first = {patches[i].zone.clause for i in findings.cases[0].patches}
    every = list(dict.fromkeys(patches[i].zone.clause for i in findings.cases[index].patches))
    return short_clauses([clause for clause in every if clause not in first] or every)


def short_clauses(found: Sequence[str]) -> str:
    """Clauses with their common standard said once, such as "ASCE/SEI 7-22 7.4, 7.6.1"."""
    seen: dict[str, list[str]] = {}
    for clause in found:
        standard, _, number = clause.rpartition(" ")
        seen.setdefault(standard, []).append(number)
    return "; ".join(f"{standard} {', '.join(numbers)}".strip() for standard, numbers in seen.items())
