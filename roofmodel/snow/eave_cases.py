"""Loads that stand on the eaves as snow cases: for the building, since they do not slide and load no row."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from shapely import Polygon
from shapely.geometry.base import BaseGeometry

from roofmodel.snow.cases import SnowCase, Zone
from roofmodel.snow.inputs import AsceSite, DirectSite, NbccSite, Site
from roofmodel.snow.regions import band, plan_polygon, polygonal, uniform
from roofmodel.snow.registry import snow_cases
from roofmodel.snow.standing import REACH, StandingLoad, standing_loads
from roofmodel.surface import EdgeKind, RoofSurface

Array = NDArray[np.float64]

EDGE_STRIP = 0.01  # a load along the very edge acts on this width, on plan [m]
NOT_CARRIED = (
    "No row carries it: it does not slide, so no force of it reaches a row or clamp, and the verdict on the "
    "rows stands without it (judgment). Purlins and overhang below take it."
)

WHOLE = "It is put on the whole overhang here, however long (safe)."


@dataclass(frozen=True)
class EaveCases:
    """Cases for the building, and why others are not there."""

    cases: tuple[SnowCase, ...]
    skipped: tuple[tuple[str, str], ...]


def eave_cases(
    roof: RoofSurface,
    site: Site,
    retained: frozenset[int],
    overhang: Array,
    balanced: SnowCase | None = None,
    *,
    own_slope: bool = False,
) -> EaveCases:
    """Ice at the eaves (ASCE/SEI 7 7.4.5) and snow that hangs over them (EN 1991-1-3 6.3) as cases.

    Parameters
    ----------
    roof : RoofSurface
    site : Site
    retained : frozenset of int
        Planes that carry rows.
    overhang : (p,) float
        Overhang up the slope, NaN where nothing was said. [m]
    balanced : SnowCase, optional
        Snow that lies beside what hangs over, EN 1991-1-3; found from the site by default.
    own_slope : bool
        As for `en_cases`.
    """
    if isinstance(site, DirectSite):
        return EaveCases((), (("loads on eaves", "the snow was measured"),))
    if isinstance(site, NbccSite):
        return EaveCases(
            (), (("ice at the eaves", "no clause of NBCC 2020 4.1.6 asks for it (from memory)"),)
        )
    loads = standing_loads(roof, site, retained, own_slope=own_slope)
    if not loads:
        return EaveCases((), (("loads on eaves", "the roof has no loaded eave"),))
    ice = [load for load in loads if load.quantity == "pressure"]
    over = [load for load in loads if load.quantity == "line_load"]
    cases: list[SnowCase] = []
    skipped: list[tuple[str, str]] = []
    first = balanced or snow_cases(roof, site, retained).cases[0]
    for load in ice:
        whole = not isinstance(site, AsceSite)
        zones = _ice_zones(roof, load, overhang, whole=whole)
        if zones:
            cases.append(_case(load, first, zones, (WHOLE,) if whole else ()))
        else:
            skipped.append((load.name, "it stands on overhangs; [[framing]] gives none (7.4.5)"))
    if over:
        edge = [zone for load in over for zone in _edge_zones(roof, load, overhang)]
        if edge:
            cases.append(_case(over[0], first, (*first.zones, *edge)))
        else:
            skipped.append((over[0].name, "it hangs from overhangs; [[framing]] gives none (6.3)"))
    return EaveCases(tuple(cases), tuple(skipped))


def _case(load: StandingLoad, like: SnowCase, zones: Iterable[Zone], more: tuple[str, ...] = ()) -> SnowCase:
    notes = (f"Acts {load.when}.", *more, NOT_CARRIED)
    return SnowCase(load.name, like.standard, like.level, tuple(zones), like.density, notes)


def _ice_zones(roof: RoofSurface, load: StandingLoad, overhang: Array, *, whole: bool) -> list[Zone]:
    """2 p_f on the overhangs, alone; within 5 ft of the eave by 7-22, on all of it before (safe)."""
    found: list[Zone] = []
    for plane in range(roof.planes.count):
        depth = float(np.nan_to_num(overhang[plane])) * float(np.cos(roof.planes.slope[plane]))
        if depth > 0.0:
            found += _strips(roof, load, plane, depth if whole else min(depth, REACH), load.value)
    return found


def _edge_zones(roof: RoofSurface, load: StandingLoad, overhang: Array) -> list[Zone]:
    plane = roof.planes.name.index(load.where)
    if not np.nan_to_num(overhang[plane]) > 0.0:
        return []
    return _strips(roof, load, plane, EDGE_STRIP, load.value / EDGE_STRIP)


def _strips(roof: RoofSurface, load: StandingLoad, plane: int, depth: float, pressure: float) -> list[Zone]:
    edges, outline = roof.edges, plan_polygon(roof, plane)
    found: list[Zone] = []
    covered: BaseGeometry = Polygon()
    for edge in range(edges.count):
        if edges.kind[edge] is EdgeKind.EAVE and edges.plane[edge, 0] == plane:
            strip = band(edges.start[edge, :2], edges.end[edge, :2], 0.0, depth)
            part = polygonal(strip.intersection(outline).difference(covered))
            if part is not None:
                covered = covered.union(part)
                found.append(
                    Zone(load.name, plane, part, uniform(pressure), load.clause, load.formula, load.values)
                )
    return found
